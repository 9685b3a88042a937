#include "daemon/takes/moment_matcher.h"

#include <algorithm>
#include <string>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/question_words.h"

namespace undersong::takes {
namespace {

using Is = Clause::Is;
constexpr std::size_t kKeys = 25;

bool speaks(const Clause& c, bool of_when) {
  const bool when = c.is == Is::kKey || c.is == Is::kDays;
  if (c.is != Is::kAll && c.is != Is::kAny && c.is != Is::kNot) return when == of_when;
  return std::any_of(c.parts.begin(), c.parts.end(),
                     [&](const Clause& part) { return speaks(part, of_when); });
}

}  // namespace

bool alike(const ChordKind& a, const ChordKind& b) {
  return a.root == b.root && harmony::row(a.quality).family == harmony::row(b.quality).family;
}

std::vector<Indexed> indexed(std::string_view digest, const std::vector<ChordKind>& kinds) {
  std::vector<Indexed> out;
  out.reserve(digest.size() / kDigestEntry);
  for (std::size_t i = 0; i + kDigestEntry <= digest.size(); i += kDigestEntry) {
    const DigestEntry entry = digest_entry(digest.data() + i);
    Indexed made;
    if (entry.kind < kinds.size() && entry.kind <= 0xFFFF) made.kind = static_cast<std::uint16_t>(entry.kind);
    made.met = entry.met & 0x0FFF;
    made.key = entry.key < kKeys ? entry.key : std::uint8_t{0};
    made.same = !out.empty() && alike(kinds[out.back().kind], kinds[made.kind]);
    out.push_back(made);
  }
  return out;
}

std::optional<ChordKind> chord_kind(PitchClass root, std::string_view quality, PitchClass bass) {
  if (const auto row = harmony::find_quality(quality)) return ChordKind{root, bass, *row};
  // The vocabulary has changed since it was stored.
  const auto parsed = harmony::parse_harte("C:" + std::string(quality));
  if (!parsed) return std::nullopt;
  return ChordKind{root, bass, parsed->chord.quality};
}

MomentMatcher::MomentMatcher(const Question& question, const std::vector<ChordKind>& kinds,
                             std::vector<std::pair<std::int64_t, std::int64_t>> days_ms)
    : kinds_(kinds), days_ms_(std::move(days_ms)) {
  for (const Choice& choice : question.choices) {
    std::vector<Compiled> steps;
    for (const Step& step : choice.steps) {
      Compiled made;
      made.moves = step.moves;
      made.notes = speaks_of_note(step.what);
      std::vector<const Clause*> chord;
      const auto sort = [&](const Clause& part) {
        (!speaks(part, true) ? chord : speaks(part, false) ? made.mixed : made.when).push_back(&part);
      };
      if (step.what.is == Is::kAll) {
        for (const Clause& part : step.what.parts) sort(part);
      } else {
        sort(step.what);
      }
      for (const Clause& part : choice.always.parts) sort(part);
      made.by_kind.reserve(kinds_.size());
      for (std::size_t kind = 0; kind < kinds_.size(); ++kind) {
        Mask mask = kind == 0 ? Mask{0} : kTrue;
        for (const Clause* part : chord) mask &= mask == 0 ? Mask{0} : evaluate(*part, kinds_[kind], 0);
        made.by_kind.push_back(mask);
        made.may.push_back(made.notes ? (mask & 0x0FFF) != 0 : (mask >> 12 & 1) != 0);
        made.kinds += made.may.back();
      }
      steps.push_back(std::move(made));
    }
    choices_.push_back(std::move(steps));
  }
}

bool MomentMatcher::set_day(std::int64_t begin_utc_ms) {
  std::uint32_t bits = 0;
  for (std::size_t i = 0; i < days_ms_.size(); ++i)
    if (begin_utc_ms >= days_ms_[i].first && begin_utc_ms <= days_ms_[i].second) bits |= 1u << i;
  if (day_known_ && bits == day_bits_) return day_may_match_;
  day_bits_ = bits;
  day_known_ = true;
  day_may_match_ = false;
  for (auto& steps : choices_) {
    bool all = true;
    for (Compiled& step : steps) {
      bool any = false;
      for (std::size_t key = 0; key < kKeys; ++key) {
        step.keys[key] = std::all_of(step.when.begin(), step.when.end(), [&](const Clause* c) {
          return evaluate(*c, kinds_[0], static_cast<std::uint8_t>(key)) != 0;
        });
        any = any || step.keys[key];
      }
      if (!step.mixed.empty()) step.known.assign(kinds_.size() * kKeys, kUnknown);
      all = all && any;
    }
    day_may_match_ = day_may_match_ || all;
  }
  return day_may_match_;
}

MomentMatcher::Mask MomentMatcher::evaluate(const Clause& c, const ChordKind& kind, std::uint8_t key) const {
  const auto whole = [](bool is) { return is ? kTrue : Mask{0}; };
  switch (c.is) {
    case Is::kAll: {
      Mask out = kTrue;
      for (const Clause& part : c.parts) out &= evaluate(part, kind, key);
      return out;
    }
    case Is::kAny: {
      Mask out = 0;
      for (const Clause& part : c.parts) out |= evaluate(part, kind, key);
      return out;
    }
    case Is::kNot: return static_cast<Mask>(~evaluate(c.parts[0], kind, key) & kTrue);
    case Is::kRoot: return whole(c.pc == kind.root);
    case Is::kKind: return whole(c.rows[static_cast<std::size_t>(kind.quality.row())]);
    case Is::kBass: return whole(c.pc == kind.bass);
    case Is::kNote: return static_cast<Mask>(1u << c.pc.value());
    case Is::kDegree: {
      unsigned out = 0;
      for (int interval = 0; interval < 12; ++interval)
        if (same_degree(harmony::degree_in(kind.quality, interval), c.degree))
          out |= 1u << transpose(kind.root, interval).value();
      return static_cast<Mask>(out);
    }
    case Is::kKey: return whole(key != 0 && (c.keys >> (key - 1) & 1u));
    case Is::kDays: return whole(day_bits_ >> c.days & 1u);
  }
  return 0;
}

MomentMatcher::Mask MomentMatcher::mask(Compiled& step, const Indexed& at) {
  Mask out = step.by_kind[at.kind];
  if (out == 0 || !step.keys[at.key]) return 0;
  if (step.mixed.empty()) return out;
  std::uint16_t& known = step.known[at.kind * kKeys + at.key];
  if (known == kUnknown) {
    known = kTrue;
    for (const Clause* part : step.mixed) known &= evaluate(*part, kinds_[at.kind], at.key);
  }
  return out & known;
}

template <class Each>
void MomentMatcher::each_match(std::span<const Indexed> take, std::int64_t begin_utc_ms, Each each) {
  if (!set_day(begin_utc_ms)) return;
  for (auto& steps : choices_) {
    // Search for the rarest step first, and check its neighbours only where it matches.
    const auto rarest = static_cast<std::size_t>(
        std::min_element(steps.begin(), steps.end(),
                         [](const Compiled& a, const Compiled& b) { return a.kinds < b.kinds; }) -
        steps.begin());
    Compiled& pivot = steps[rarest];
    const std::uint8_t* may = pivot.may.data();
    if (steps.size() == 1) {
      for (std::size_t i = 0; i < take.size(); ++i) {
        if (!may[take[i].kind] || !holds(pivot, take[i])) continue;
        if (!pivot.notes) {
          each(i, i, std::optional<PitchClass>());
          continue;
        }
        int pc = 0;
        for (unsigned met = mask(pivot, take[i]) & take[i].met; met != 0; met >>= 1, ++pc)
          if (met & 1) each(i, i, std::optional(PitchClass(pc)));
      }
      continue;
    }
    // A step matches a run of statements with the same harmony, whatever their colours.
    const auto begin_of = [&](std::size_t at) {
      while (take[at].same) --at;
      return at;
    };
    const auto end_of = [&](std::size_t at) {
      do ++at;
      while (at < take.size() && take[at].same);
      return at;
    };
    const auto moves = [&](std::size_t step, std::size_t from, std::size_t to) {
      return steps[step].moves == 0x0FFF ||
             (steps[step].moves >> ascending(kinds_[take[from].kind].root, kinds_[take[to].kind].root) & 1) !=
                 0;
    };
    const auto any_holds = [&](std::size_t step, std::size_t begin) {
      for (std::size_t at = begin; at == begin || (at < take.size() && take[at].same); ++at)
        if (holds(steps[step], take[at])) return true;
      return false;
    };
    std::size_t tried = take.size();  // beginning of the last harmony that was tried
    for (std::size_t i = 0; i < take.size(); ++i) {
      if (!may[take[i].kind] || !holds(pivot, take[i])) continue;
      const std::size_t here = begin_of(i);
      if (here == tried) continue;
      tried = here;
      bool matches = true;
      std::size_t last = here, first = here;
      for (std::size_t s = rarest + 1; s < steps.size() && matches; ++s) {
        const std::size_t next = end_of(last);
        matches = next < take.size() && moves(s, last, next) && any_holds(s, next);
        last = next;
      }
      for (std::size_t s = rarest; s-- > 0 && matches;) {
        matches = first > 0;
        if (!matches) break;
        const std::size_t before = begin_of(first - 1);
        matches = moves(s + 1, before, first) && any_holds(s, before);
        first = before;
      }
      if (matches) each(first, end_of(last) - 1, std::optional<PitchClass>());
    }
  }
}

bool MomentMatcher::may_match(std::size_t kind) const {
  // For a sequence, its rarest step decides.
  return std::any_of(choices_.begin(), choices_.end(), [&](const auto& steps) {
    return std::min_element(steps.begin(), steps.end(), [](const Compiled& a, const Compiled& b) {
             return a.kinds < b.kinds;
           })->may[kind] != 0;
  });
}

std::vector<std::uint64_t> count_all(
    std::vector<MomentMatcher>& matchers, std::size_t kinds,
    const std::function<void(const std::function<void(std::span<const Indexed>, std::int64_t)>&)>& takes) {
  std::vector<std::uint64_t> out(matchers.size(), 0);
  if (matchers.empty()) return out;
  // For each kind of chord, which matchers look for it. Most statements interest no matcher and are skipped
  // at once.
  std::vector<std::uint16_t> wanted(kinds, 0);
  for (std::size_t kind = 0; kind < kinds; ++kind)
    for (std::size_t i = 0; i < matchers.size(); ++i)
      if (matchers[i].may_match(kind)) wanted[kind] = static_cast<std::uint16_t>(wanted[kind] | 1u << i);
  takes([&](std::span<const Indexed> take, std::int64_t begin_utc_ms) {
    unsigned of_take = 0;
    for (const Indexed& statement : take) of_take |= wanted[statement.kind];
    for (std::size_t i = 0; of_take != 0; ++i, of_take >>= 1)
      if (of_take & 1) out[i] += matchers[i].count(take, begin_utc_ms);
  });
  return out;
}

std::size_t MomentMatcher::count(std::span<const Indexed> take, std::int64_t begin_utc_ms) {
  std::size_t n = 0;
  each_match(take, begin_utc_ms, [&](std::size_t, std::size_t, std::optional<PitchClass>) { ++n; });
  return n;
}

void MomentMatcher::find(std::span<const Indexed> take, std::int64_t begin_utc_ms, std::vector<Place>& out) {
  const std::size_t begins = out.size();
  each_match(take, begin_utc_ms, [&](std::size_t first, std::size_t last, std::optional<PitchClass> note) {
    out.push_back({first, last, note, 1, 1});
  });
  // Count how often this note met this harmony, or this harmony or sequence occurred.
  for (std::size_t p = begins; p < out.size(); ++p) {
    Place& place = out[p];
    place.time = place.times = 0;
    if (place.first != place.last && !place.note) {
      for (std::size_t q = begins; q < out.size(); ++q) {
        if (out[q].first == out[q].last) continue;
        ++place.times;
        if (out[q].first <= place.first) ++place.time;
      }
      continue;
    }
    const ChordKind& kind = kinds_[take[place.first].kind];
    bool counted = false;  // this harmony has been counted already
    for (std::size_t i = 0; i < take.size(); ++i) {
      if (!take[i].same) counted = false;
      if (counted || !alike(kinds_[take[i].kind], kind) ||
          (place.note && !(take[i].met >> place.note->value() & 1)))
        continue;
      counted = true;
      ++place.times;
      if (i <= place.first) ++place.time;
    }
    place.time = std::max(place.time, 1u);
  }
  std::stable_sort(out.begin() + static_cast<std::ptrdiff_t>(begins), out.end(),
                   [](const Place& a, const Place& b) { return a.first < b.first; });
}

}  // namespace undersong::takes
