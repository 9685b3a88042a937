#include "clients/offline/beat_options.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "clients/time_text.h"
#include "daemon/listen/tempo.h"
#include "daemon/takes/corrected_beats.h"

namespace undersong::offline {
namespace {

using takes::BeatWord;

std::optional<takes::BeatLine> line_of(const std::string& word) {
  takes::BeatLine out;
  if (word == "one") {
    out.what = BeatWord::kOne;
  } else if (word == "twice") {
    out.what = BeatWord::kTwice;
  } else if (word == "half") {
    out.what = BeatWord::kHalf;
  } else {
    const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), out.meter);
    if (error != std::errc() || end != word.data() + word.size() || out.meter < 1 || out.meter > 16)
      return std::nullopt;
    out.what = BeatWord::kMeter;
  }
  return out;
}

}  // namespace

void BeatOptions::add_to(CLI::App& command) {
  command
      .add_option("--beat", words_,
                  "correct the beat, as `undersong beat` does: one, twice, half, or the number of beats in a "
                  "bar; several in the order in which they apply (half,3)")
      ->delimiter(',');
  command.add_option("--at", at_, "where beat one is: seconds, or 1:23.4");
}

Result<std::vector<takes::Line>> BeatOptions::said(const std::vector<midi::Event>& events) const {
  std::vector<takes::Line> out;
  std::optional<Micros> at;
  if (!at_.empty()) {
    const auto time = time_of(at_);
    if (!time) return invalid_input(fmt::format("--at: \"{}\" is not a time.", at_));
    at = Micros(*time);
    const Micros end = events.empty() ? Micros(0) : events.back().at;
    if (*at > end)
      return invalid_input(
          fmt::format("--at: {} is after the end of the file, at {:.1f} seconds.", at_, seconds(end)));
    if (words_.empty()) return invalid_input("--at also needs --beat one, or the number of beats in a bar.");
  }
  bool placed = false;
  for (const std::string& word : words_) {
    auto line = line_of(word);
    if (!line)
      return invalid_input(
          fmt::format("--beat: \"{}\" is not one, twice, half or a number of beats from 1 to 16.", word));
    if (line->what == BeatWord::kOne && !at) return invalid_input("--beat one also needs --at: where is it?");
    placed = placed || line->what == BeatWord::kOne || line->what == BeatWord::kMeter;
    line->at = at.value_or(Micros(0));
    takes::Entry entry = takes::beat_said(*line);
    out.push_back({out.size() + 1, 0, entry.at, entry.kind, std::move(entry.data)});
  }
  if (at && !placed) return invalid_input("--at also needs --beat one, or the number of beats in a bar.");
  return out;
}

std::optional<Error> BeatOptions::refused(const takes::Beats& found) const {
  if (words_.empty()) return std::nullopt;
  const Micros usual = takes::usual_length(found);
  if (usual <= Micros(0)) return unavailable("no beat was found that could be corrected.");
  return std::nullopt;
}

}  // namespace undersong::offline
