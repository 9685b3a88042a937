#include "daemon/harmony/ranking_table.h"

#include <cstdlib>

namespace undersong::harmony {
namespace {

constexpr std::int16_t kNumbers[] = {
#include "daemon/harmony/ranking_table.inc"
};
constexpr float kUnit = 1.0f / 50, kNetworkUnit = 1.0f / 1024;

class Reader {
 public:
  explicit Reader(std::span<const std::int32_t> numbers) : numbers_(numbers) {}
  std::int32_t next() {
    if (at_ < numbers_.size()) return numbers_[at_++];
    short_ = true;
    return 0;
  }
  void read(float& value) { value = unit_ * static_cast<float>(next()); }
  void unit(float unit) { unit_ = unit; }
  template <class T, std::size_t N>
  void read(std::array<T, N>& values) {
    for (T& value : values) read(value);
  }
  template <class T>
  void read(std::vector<T>& values, std::size_t size) {
    values.resize(size);
    for (T& value : values) read(value);
  }
  void read(RankingTable::WideRow& row) {
    row = {};
    for (std::size_t c = 0; c < kTableChords; ++c) read(row[c]);
  }
  void read(RankingTable::OfIdiom& of) {
    read(of.after);
    read(of.after_second);
    read(of.seen_from);
    read(of.restated);
    read(of.by_length);
    read(of.by_style);
    read(of.note);
    read(of.held);
    read(of.first);
    read(of.last);
    read(of.take);
  }
  // The upper bounds keep what is read within the table, whatever the file says.
  void read(std::vector<RankingTable::Listed>& list) {
    const std::int32_t count = next();
    if (count < 0 || static_cast<std::size_t>(count) > numbers_.size()) {
      short_ = true;
      return;
    }
    for (std::int32_t i = 0; i < count; ++i) {
      const std::int32_t context = next(), chord = next();
      float value = 0;
      read(value);
      if (context < 0 || context > 65535 || chord < 0 || static_cast<std::size_t>(chord) >= kTableChords ||
          (!list.empty() && context < list.back().context))
        short_ = true;
      else
        list.push_back({static_cast<std::uint16_t>(context), static_cast<std::uint8_t>(chord), value});
    }
  }
  bool complete() const { return !short_ && at_ == numbers_.size(); }

 private:
  std::span<const std::int32_t> numbers_;
  std::size_t at_ = 0;
  float unit_ = kUnit;
  bool short_ = false;
};

}  // namespace

QualityClass quality_class(Quality of) {
  static const auto kTable = [] {
    std::vector<QualityClass> out;
    for (const QualityRow& made : chord_vocabulary()) {
      const auto has = [&](int number, int alter) {
        for (Degree degree : made.degrees)
          if (degree == Degree{static_cast<std::int8_t>(number), static_cast<std::int8_t>(alter)})
            return true;
        return false;
      };
      const bool sixth = has(6, 0) || has(13, 0), flat7 = has(7, -1), seventh = has(7, 0);
      using enum QualityClass;
      QualityClass cls = kNone;
      if (has(3, 0) && has(5, 1) && !has(5, 0))
        cls = flat7 ? kAugmentedSeventh : kAugmented;
      else if (has(3, 0))
        cls = flat7 ? kDominant : seventh ? kMajorSeventh : sixth ? kSixth : kMajor;
      else if (has(3, -1) && has(5, -1) && !has(5, 0))
        cls = flat7 ? kHalfDiminished : kDiminished;
      else if (has(3, -1))
        cls = flat7 ? kMinorSeventh : seventh ? kMinorMajorSeventh : sixth ? kMinorSixth : kMinor;
      else if (has(4, 0) || has(2, 0) || has(11, 0) || has(9, 0))
        cls = kSuspended;
      out.push_back(cls);
    }
    return out;
  }();
  return kTable[static_cast<std::size_t>(of.row())];
}

Chord plainest(std::size_t chord) {
  constexpr std::array<std::string_view, kQualityClasses> kNames{
      "maj",     "maj6",  "maj7", "7",   "min",     "min6", "min7",
      "minmaj7", "hdim7", "dim7", "aug", "aug(b7)", "sus4"};
  const PitchClass root(static_cast<int>(chord / kQualityClasses));
  return {root, quality(kNames[chord % kQualityClasses]), root};
}

std::size_t RankingTable::family(std::size_t cls) {
  constexpr std::array<std::uint8_t, kQualityClasses> kFamily{0, 0, 0, 1, 2, 2, 2, 2, 3, 3, 4, 4, 5};
  return kFamily[cls];
}

std::optional<RankingTable> RankingTable::from(std::span<const std::int32_t> numbers) {
  Reader in(numbers);
  if (in.next() != 2) return std::nullopt;  // the version
  RankingTable out;
  in.read(out.gate.at_first);
  in.read(out.gate.quality);
  in.read(out.gate.step);
  in.read(out.gate.chord);
  in.read(out.idiom, kIdioms);
  for (float* weight : {&out.again.second, &out.again.third, &out.again.fourth, &out.again.circle_of_two,
                        &out.again.circle_of_three})
    in.read(*weight);
  in.read(out.after_two);
  in.read(out.after_two_seen);
  in.unit(kNetworkUnit);
  in.read(out.network_in, kInputs);
  in.read(out.network_bias);
  in.read(out.network_out, kHidden);
  in.read(out.network_out_seen, kHidden);
  if (!in.complete()) return std::nullopt;
  return out;
}

const RankingTable& RankingTable::standard() {
  static const RankingTable kTable = [] {
    auto made = from(std::vector<std::int32_t>(std::begin(kNumbers), std::end(kNumbers)));
    if (!made) std::abort();  // cannot happen: the table is compiled in
    return *std::move(made);
  }();
  return kTable;
}

}  // namespace undersong::harmony
