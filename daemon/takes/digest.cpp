#include "daemon/takes/digest.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <ctime>
#include <map>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::takes {
namespace {

constexpr double kFewestBarsHeard = 4, kUsualBars = 8, kMostBars = 16;
constexpr double kBarsBefore = 6;               // a mark: what one has just heard is what one marks
constexpr double kHeldBars = 2;                 // a new chord
constexpr double kBarWithoutPulse = 2'000'000;  // microseconds
constexpr int kFirstEvening = 5;                // o'clock

// What a group of eight is made of.
constexpr std::array kPattern{DigestReason::kMarked,   DigestReason::kCircled, DigestReason::kCircled,
                              DigestReason::kMarked,   DigestReason::kCircled, DigestReason::kReturned,
                              DigestReason::kNewChords};

struct Candidate {
  DigestMoment moment;
  double weight = 0;      // within its reason
  std::int64_t loop = 0;  // number of the loop that was circled; 0 for none
};

class Collector {
 public:
  Collector(const std::vector<DigestTake>& takes, const MetChords& known) : takes_(takes), known_(known) {}

  std::array<std::vector<Candidate>, 4> all() {
    for (std::size_t i = 0; i < takes_.size(); ++i) {
      marked(i);
      circled(i);
      met(i);
    }
    for (auto& list : found_)
      std::stable_sort(list.begin(), list.end(),
                       [](const Candidate& a, const Candidate& b) { return a.weight > b.weight; });
    return std::move(found_);
  }

 private:
  double bar_of(const DigestTake& take) const {
    const auto& tempo = take.about.content.tempo;
    return tempo ? 60e6 / *tempo * take.about.meter : kBarWithoutPulse;
  }

  // A part of about so many bars within the take; not added if the player dismissed it.
  void add(DigestReason reason, std::size_t index, double from, double bars, double weight, std::string why,
           std::vector<std::string> chords, std::int64_t loop = 0) {
    const DigestTake& take = takes_[index];
    const double bar = bar_of(take), end = static_cast<double>(take.length.count());
    const double length = std::clamp(bars, kFewestBarsHeard, kMostBars) * bar;
    from = std::max(0., std::min(from, end - length));
    DigestMoment moment;
    moment.take = index;
    moment.from = Micros(static_cast<std::int64_t>(from));
    moment.length = Micros(static_cast<std::int64_t>(std::min(length, end - from)));
    if (take.about.content.tempo)
      moment.bars =
          std::max(1, static_cast<int>(std::lround(static_cast<double>(moment.length.count()) / bar)));
    moment.reasons = {reason};
    moment.reason = std::move(why);
    moment.chords = std::move(chords);
    for (const Judgement& said : take.judged) {
      const Micros both =
          std::min(moment.from + moment.length, said.from + said.length) - std::max(moment.from, said.from);
      if (2 * both <= std::min(moment.length, said.length)) continue;
      if (said.verdict == Verdict::kDismissed) return;
      if (said.verdict == Verdict::kKept) moment.verdict = Verdict::kKept;
    }
    found_[static_cast<std::size_t>(reason)].push_back({std::move(moment), weight, loop});
  }

  void marked(std::size_t index) {
    const DigestTake& take = takes_[index];
    for (const DigestMark& mark : take.marks)
      add(DigestReason::kMarked, index, static_cast<double>(mark.at.count()) - kBarsBefore * bar_of(take),
          kUsualBars, static_cast<double>(take.begin_utc_ms) * 1000 + static_cast<double>(mark.at.count()),
          mark.text.empty() ? "marked" : fmt::format("marked \"{}\"", mark.text), {});
  }

  void circled(std::size_t index) {
    const DigestTake& take = takes_[index];
    const double bar = bar_of(take);
    for (const AboutLoop& loop : take.about.loops) {
      if (loop.passes.empty()) continue;
      // The longest run of passes without a gap.
      std::size_t first = 0, best_first = 0, best_last = 0;
      Micros best{};
      for (std::size_t i = 0; i < loop.passes.size(); ++i) {
        if (i > 0 && loop.passes[i].from - (loop.passes[i - 1].from + loop.passes[i - 1].length) >
                         loop.passes[i].length / 2)
          first = i;
        const Micros run = loop.passes[i].from + loop.passes[i].length - loop.passes[first].from;
        if (run > best) best = run, best_first = first, best_last = i;
      }
      std::size_t begin = best_last;
      const Micros end = loop.passes[best_last].from + loop.passes[best_last].length;
      const auto bars_from = [&](std::size_t i) {
        return static_cast<double>((end - loop.passes[i].from).count()) / bar;
      };
      while (begin > best_first && bars_from(begin) < kUsualBars - .5 &&
             bars_from(begin - 1) < kMostBars + .5)
        --begin;
      const Micros whole = takes::circled(std::span(&loop, 1));
      const auto number = loop_key(loop.chords).number;
      add(DigestReason::kCircled, index, static_cast<double>(loop.passes[begin].from.count()),
          bars_from(begin), static_cast<double>(whole.count()), circled_for(whole, loop.passes.size()),
          loop.chords, number);
    }
  }

  static std::string circled_for(Micros whole, std::size_t times) {
    const auto seconds = whole.count() / 1'000'000;
    return fmt::format("circled for {}:{:02}, {} times", seconds / 60, seconds % 60, times);
  }

  void met(std::size_t index) {
    const DigestTake& take = takes_[index];
    const double bar = bar_of(take);
    struct Back {
      const KeptMeeting* last = nullptr;
      int times = 0;
      std::uint32_t time = 0;
    };
    std::map<std::pair<int, std::string>, Back> back;         // by pitch class and chord
    std::map<std::pair<int, int>, const KeptMeeting*> fresh;  // by degree and quality: the longest
    for (const KeptMeeting& met : take.meetings) {
      const auto parsed = harmony::parse_harte(met.facts.harte);
      if (!parsed) continue;
      const bool in_loop =
          std::any_of(take.about.loops.begin(), take.about.loops.end(), [&](const AboutLoop& loop) {
            return std::any_of(loop.passes.begin(), loop.passes.end(), [&](const AboutPass& pass) {
              return pass.from <= met.at && met.at < pass.from + pass.length;
            });
          });
      if (!in_loop) {
        Back& each = back[{met.facts.pitch.pitch_class().value(), met.facts.harte}];
        if (each.time != met.facts.time) each.time = met.facts.time, ++each.times;
        each.last = &met;
      }
      const int degree = (met.facts.pitch.value() - parsed->chord.root.value()) % 12;
      const auto quality = parsed->chord.quality;
      if (known_.has((degree + 12) % 12, quality)) continue;
      const auto length = static_cast<double>(met.facts.length.count());
      if (length < kHeldBars * std::min(bar, kBarWithoutPulse)) continue;
      const KeptMeeting*& longest = fresh[{(degree + 12) % 12, quality.row()}];
      if (!longest || longest->facts.length < met.facts.length) longest = &met;
    }
    const auto from = [&](const KeptMeeting& met) { return static_cast<double>(met.at.count()) - bar; };
    for (const auto& [key, each] : back)
      if (each.times > 1)
        add(DigestReason::kReturned, index, from(*each.last), kFewestBarsHeard, each.times,
            fmt::format("came back to {} under {}, {} times", symbol_of(each.last->facts.harte),
                        each.last->facts.name, each.times),
            {each.last->facts.harte});
    for (const auto& [key, longest] : fresh) {
      const double seconds = static_cast<double>(longest->facts.length.count()) / 1e6;
      add(DigestReason::kNewChords, index, from(*longest),
          std::ceil(static_cast<double>(longest->facts.length.count()) / bar) + 1, seconds,
          fmt::format("new: {} under {}, held for {:.0f} seconds", symbol_of(longest->facts.harte),
                      longest->facts.name, seconds),
          {longest->facts.harte});
    }
  }

  static std::string symbol_of(const std::string& harte) {
    const auto parsed = harmony::parse_harte(harte);
    return parsed ? harmony::symbol(parsed->chord, parsed->root) : harte;
  }

  const std::vector<DigestTake>& takes_;
  const MetChords& known_;
  std::array<std::vector<Candidate>, 4> found_;
};

// True if one of them lies mostly within the other.
bool same_part(const DigestMoment& a, const DigestMoment& b) {
  if (a.take != b.take) return false;
  const Micros both = std::min(a.from + a.length, b.from + b.length) - std::max(a.from, b.from);
  return 2 * both > std::min(a.length, b.length);
}

class Picker {
 public:
  Picker(std::array<std::vector<Candidate>, 4> lists, std::size_t limit)
      : lists_(std::move(lists)), limit_(limit) {}

  std::vector<DigestMoment> pick() && {
    for (bool more = true; more && picked_.size() < limit_;) {
      more = false;
      const std::size_t before = picked_.size();
      for (const DigestReason reason : kPattern) more = next(reason) || more;
      // Those that are left of a reason move up where another had too few.
      for (std::size_t r = 0; r < lists_.size() && picked_.size() - before < kPattern.size() + 1;)
        if (!next(static_cast<DigestReason>(r))) ++r;
      more = more || picked_.size() > before;
    }
    std::vector<DigestMoment> out;
    for (Candidate& each : picked_) out.push_back(std::move(each.moment));
    if (out.size() > limit_) out.resize(limit_);
    return out;
  }

 private:
  // Picks the next of this reason; false if there is none left.
  bool next(DigestReason reason) {
    auto& list = lists_[static_cast<std::size_t>(reason)];
    std::size_t& at = at_[static_cast<std::size_t>(reason)];
    while (at < list.size()) {
      Candidate& each = list[at++];
      if (!joined(each)) {
        picked_.push_back(std::move(each));
        return true;
      }
    }
    return false;
  }

  // Adds its reason to a moment that is there already, if it is the same one.
  bool joined(const Candidate& each) {
    for (Candidate& other : picked_) {
      const bool loop = each.loop != 0 && each.loop == other.loop;
      if (!loop && !same_part(each.moment, other.moment)) continue;
      const DigestReason reason = each.moment.reasons.front();
      auto& reasons = other.moment.reasons;
      if (std::find(reasons.begin(), reasons.end(), reason) == reasons.end()) {
        reasons.push_back(reason);
        other.moment.reason += "; " + each.moment.reason;
        if (other.moment.chords.empty()) other.moment.chords = each.moment.chords;
        if (other.loop == 0) other.loop = each.loop;
      }
      if (each.moment.verdict == Verdict::kKept) other.moment.verdict = Verdict::kKept;
      return true;
    }
    return false;
  }

  std::array<std::vector<Candidate>, 4> lists_;
  std::array<std::size_t, 4> at_{};
  std::vector<Candidate> picked_;
  std::size_t limit_;
};

}  // namespace

std::vector<DigestMoment> digest(const std::vector<DigestTake>& takes, const MetChords& known,
                                 std::size_t limit) {
  auto lists = Collector(takes, known).all();
  // The same loop in several takes is one: it counts with the time that all of them took.
  std::map<std::int64_t, double> together;
  auto& loops = lists[static_cast<std::size_t>(DigestReason::kCircled)];
  for (const Candidate& each : loops) together[each.loop] += each.weight;
  std::stable_sort(loops.begin(), loops.end(), [&](const Candidate& a, const Candidate& b) {
    const auto weight = [&](const Candidate& each) {
      return each.loop == 0 ? each.weight : together[each.loop];
    };
    return weight(a) > weight(b);
  });
  return Picker(std::move(lists), limit).pick();
}

namespace {

// Five o'clock of the day `days` after that of the time.
std::int64_t five_o_clock(std::int64_t utc_ms, int days) {
  const std::time_t seconds = static_cast<std::time_t>(utc_ms / 1000);
  std::tm local{};
  localtime_r(&seconds, &local);
  if (local.tm_hour < kFirstEvening) --days;
  local.tm_mday += days;
  local.tm_hour = kFirstEvening;
  local.tm_min = local.tm_sec = 0;
  local.tm_isdst = -1;
  return std::int64_t{std::mktime(&local)} * 1000;
}

}  // namespace

Evening evening_of(std::int64_t utc_ms) {
  return {five_o_clock(utc_ms, 0), five_o_clock(utc_ms, 1)};
}

Evening week_of(std::int64_t utc_ms) {
  return {five_o_clock(utc_ms, -6), five_o_clock(utc_ms, 1)};
}

}  // namespace undersong::takes
