#include "daemon/harmony/key.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {

int signature(Key key) {
  const int major_tonic = key.mode == Mode::kMajor ? key.tonic.value() : key.tonic.value() + 3;
  // Major tonics are spelled within Gb..B, which makes the relative minor Eb minor and not D# minor.
  return spell_within(PitchClass(major_tonic), -6).fifths();
}

NoteName tonic_name(Key key) {
  return NoteName(signature(key) + (key.mode == Mode::kMajor ? 0 : 3));
}

std::string text(Key key) {
  return text(tonic_name(key)) + (key.mode == Mode::kMajor ? " major" : " minor");
}
std::string harte(Key key) {
  return text(tonic_name(key)) + (key.mode == Mode::kMajor ? ":maj" : ":min");
}

std::optional<Key> parse_key(std::string_view text) {
  const auto trim = [&] {
    while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
    while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  };
  trim();
  std::size_t letters = 1;
  while (letters < text.size() && (text[letters] == '#' || text[letters] == 'b')) ++letters;
  if (text.empty() || letters > 2) return std::nullopt;
  std::string name(text.substr(0, letters));
  if (name[0] >= 'a' && name[0] <= 'g') name[0] = static_cast<char>(name[0] - 'a' + 'A');
  const auto tonic = parse_note_name(name);
  if (!tonic) return std::nullopt;
  text.remove_prefix(letters);
  trim();
  const bool colon = text.starts_with(':');
  if (colon) text.remove_prefix(1);
  if (text.empty() && !colon) return Key{tonic->pitch_class(), Mode::kMajor};
  if (text == "m") return Key{tonic->pitch_class(), Mode::kMinor};
  std::string word(text);
  std::transform(word.begin(), word.end(), word.begin(),
                 [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
  if (word == "maj" || word == "major") return Key{tonic->pitch_class(), Mode::kMajor};
  if (word == "min" || word == "minor") return Key{tonic->pitch_class(), Mode::kMinor};
  return std::nullopt;
}

double profile_correlation(const std::array<double, 12>& weights, Key key) {
  const auto& profile = key.mode == Mode::kMajor ? kMajorProfile : kMinorProfile;
  double mean_w = 0, mean_p = 0;
  for (std::size_t i = 0; i < 12; ++i) mean_w += weights[i] / 12, mean_p += profile[i] / 12;
  double wp = 0, ww = 0, pp = 0;
  for (std::size_t i = 0; i < 12; ++i) {
    const double w = weights[(i + static_cast<std::size_t>(key.tonic.value())) % 12] - mean_w,
                 p = profile[i] - mean_p;
    wp += w * p;
    ww += w * w;
    pp += p * p;
  }
  return ww < 1e-12 ? 0 : wp / std::sqrt(ww * pp);
}

}  // namespace undersong::harmony
