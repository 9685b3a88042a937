#include "daemon/song/bars.h"

#include <algorithm>
#include <cmath>

namespace undersong::song {
namespace {

// Longer bars are split, because with beats of more than four seconds ticks would be coarse.
constexpr Micros kLongestBar{16'000'000};
// A file may be silent for years. A longer silence is written as so many bars, which are longer then.
constexpr std::int64_t kMostSilentBars = 1000;

double usual_interval(const std::vector<takes::Beat>& beats) {
  std::vector<double> gaps;
  for (std::size_t i = 1; i < beats.size(); ++i)
    if (!beats[i].begins) gaps.push_back(seconds(beats[i].at - beats[i - 1].at));
  if (gaps.empty()) return .5;
  const auto middle = gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2);
  std::nth_element(gaps.begin(), middle, gaps.end());
  return *middle;
}

// Moves the downbeats to the beginnings of the loop's passes, because they were found before the loop was
// known. A pass that begins near a downbeat begins there: its first chord may be pushed or late.
void bar_by_loop(std::vector<takes::Beat>& beats, const takes::Loop& loop, int meter) {
  const auto nearest = [&](Micros at) {
    auto it = std::lower_bound(beats.begin(), beats.end(), at,
                               [](const takes::Beat& b, Micros t) { return b.at < t; });
    if (it == beats.end() || (it != beats.begin() && at - (it - 1)->at < it->at - at)) --it;
    return static_cast<std::size_t>(it - beats.begin());
  };
  std::vector<std::size_t> starts;
  for (const takes::LoopPass& pass : loop.passes) {
    if (pass.cut && pass.places.front().begin == pass.places.front().end) continue;
    std::size_t at = nearest(pass.begin);
    for (const std::size_t by : {at, at + 1})
      if (by < beats.size() && beats[by].downbeat && !beats[by].begins && by > 0 &&
          std::chrono::abs(beats[by].at - pass.begin) < 2 * (beats[by].at - beats[by - 1].at) / 3) {
        at = by;
        break;
      }
    if (starts.empty() || at > starts.back()) starts.push_back(at);
  }
  if (starts.empty()) return;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    const auto after = std::upper_bound(starts.begin(), starts.end(), i);
    const std::size_t from = after == starts.begin() ? starts.front() : *(after - 1);
    const auto m = static_cast<std::size_t>(meter);
    beats[i].downbeat = i >= from ? (i - from) % m == 0 : (from - i) % m == 0;
  }
}

void add_bars(Bars& out, Ticks from, Ticks to, bool free) {
  for (Ticks at = from; at < to;) {
    const std::int64_t beats = Meter{out.meter}.next_bar(to - at) / kBeat;
    out.bars.push_back({at, static_cast<int>(beats)});
    out.free.push_back(free);
    at += beats * kBeat;
  }
}

Bars by_chords(const takes::HeardTake& take, Micros end) {
  Bars out;
  std::vector<Anchor> anchors;
  Ticks at;
  const auto stretch = [&](Micros from, Micros to) {
    const auto parts = std::min(1 + (to - from) / kLongestBar, kMostSilentBars);
    const Micros each = (to - from) / parts, rest = (to - from) % parts;
    for (std::int64_t i = 0; i < parts; ++i) {
      anchors.push_back({from + each * i + rest * i / parts, at});
      out.bars.push_back({at, 4});
      out.free.push_back(true);
      at += 4 * kBeat;
    }
  };
  const Micros first = take.spans.empty() ? end : take.spans.front().begin;
  if (first > Micros(0)) {
    const auto lead = std::clamp<std::int64_t>(std::llround(seconds(first) / .5), 1, 4);
    if (lead < 4) {
      anchors.push_back({Micros(0), at});
      out.bars.push_back({at, static_cast<int>(lead)});
      out.free.push_back(true);
      at += lead * kBeat;
    } else {
      stretch(Micros(0), first);
    }
  }
  for (std::size_t i = 0; i < take.spans.size(); ++i) {
    const Micros to = i + 1 < take.spans.size() ? take.spans[i + 1].begin
                                                : std::max(end, take.spans[i].begin + Micros(500'000));
    if (to > take.spans[i].begin) stretch(take.spans[i].begin, to);
  }
  anchors.push_back({std::max(end, anchors.empty() ? Micros(1) : anchors.back().at + Micros(500'000)), at});
  out.map = BeatMap(std::move(anchors));
  return out;
}

}  // namespace

std::size_t Bars::bar_at(Ticks tick) const {
  const auto after =
      std::upper_bound(bars.begin(), bars.end(), tick, [](Ticks t, const Bar& bar) { return t < bar.at; });
  return after == bars.begin() ? 0 : static_cast<std::size_t>(after - bars.begin()) - 1;
}

int meter_of(const takes::Beats& beats, const std::optional<takes::Loop>& loop) {
  if (!loop || !beats.pulse() || beats.barred) return beats.meter;
  if (beats.meter != 3 && beats.meter != 4) return beats.meter;
  double total = 0;
  for (const auto& chord : loop->chords) total += chord.beats;
  const bool threes = std::fmod(total, 3) == 0, fours = std::fmod(total, 4) == 0;
  if (total <= 0 || threes == fours) return beats.meter;
  return threes ? 3 : 4;
}

Bars bars_of(const takes::HeardTake& take, const takes::Beats& found, const std::optional<takes::Loop>& loop,
             Micros end) {
  if (!found.pulse()) return by_chords(take, end);
  Bars out;
  out.pulse = true;
  out.barred = found.barred;
  out.meter = meter_of(found, loop);
  std::vector<takes::Beat> beats = found.beats;
  if (loop && !found.barred) bar_by_loop(beats, *loop, out.meter);
  out.seconds_a_beat = usual_interval(beats);
  if (found.feel.division == 2) out.swing = static_cast<double>(found.feel.swing);
  const auto whole_beats = [&](Micros length) {
    return std::clamp<std::int64_t>(std::llround(seconds(length) / out.seconds_a_beat), 1,
                                    kMostSilentBars * out.meter);
  };
  std::vector<Anchor> anchors;
  std::vector<Ticks> downbeats;
  std::vector<std::pair<Ticks, Ticks>> silent;
  Ticks at;
  if (beats.front().at > Micros(0)) {
    anchors.push_back({Micros(0), at});
    at += whole_beats(beats.front().at) * kBeat;
    silent.emplace_back(Ticks(0), at);
  }
  std::size_t since = 0;  // beats since the last downbeat
  bool any = false;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    if (i > 0) {
      std::int64_t gap = 1;
      if (beats[i].begins) {
        // Choose the number of beats so that the next downbeat falls on a bar line, if there is a downbeat
        // both before and after the gap.
        std::size_t next = i;
        while (next < beats.size() && !beats[next].downbeat) ++next;
        gap = whole_beats(beats[i].at - beats[i - 1].at);
        if (any && next < beats.size()) {
          const auto over = static_cast<std::int64_t>((since + static_cast<std::size_t>(gap) + next - i) %
                                                      static_cast<std::size_t>(out.meter));
          if (over != 0) gap += 2 * over > out.meter || gap <= over ? out.meter - over : -over;
        }
        silent.emplace_back(at, at + gap * kBeat);
      }
      at += gap * kBeat;
      since += static_cast<std::size_t>(gap);
    }
    if (beats[i].downbeat) downbeats.push_back(at), since = 0, any = true;
    anchors.push_back({beats[i].at, at});
  }
  out.map = BeatMap(anchors);
  const std::int64_t most = at / kBeat + kMostSilentBars * out.meter;
  if (out.map.beats_at(end) > static_cast<double>(most)) {
    anchors.push_back({end, most * kBeat});
    out.map = BeatMap(std::move(anchors));
  }
  Ticks last = Ticks(480 * std::max<std::int64_t>(
                               at / kBeat + 1, static_cast<std::int64_t>(std::ceil(out.map.beats_at(end)))));
  // Bars: first an incomplete one if the first downbeat leaves one, then from downbeat to downbeat.
  Ticks from;
  if (!downbeats.empty()) {
    const std::int64_t over = (downbeats.front() / kBeat) % out.meter;
    if (over > 0) add_bars(out, Ticks(0), over * kBeat, false), from = over * kBeat;
  }
  for (const Ticks downbeat : downbeats)
    if (downbeat > from) add_bars(out, from, downbeat, false), from = downbeat;
  const std::int64_t over = ((last - from) / kBeat) % out.meter;
  if (over > 0) last += (out.meter - over) * kBeat;
  add_bars(out, from, last, false);
  for (std::size_t b = 0; b < out.bars.size(); ++b)
    for (const auto& [begin, until] : silent)
      if (out.bars[b].at < until && out.bars[b].at + out.bars[b].beats * kBeat > begin) out.free[b] = true;
  return out;
}

}  // namespace undersong::song
