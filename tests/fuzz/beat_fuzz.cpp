// Gives the pulse any sequence of notes, taps, clocks and corrections at any times, and applies any stored
// lines to any beats. The tempo must stay within 20 to 400, the output must be bounded, and nothing may
// overflow.
#include <cstdlib>
#include <cstring>

#include "daemon/listen/pulse.h"
#include "daemon/takes/corrected_beats.h"
#include "tests/fuzz/bytes.h"

using namespace undersong;
using fuzz::Bytes;
using fuzz::must;

namespace {

void live(Bytes& in) {
  listen::Pulse pulse;
  Micros now(1'000'000);
  for (int step = 0; step < 80 && !in.empty(); ++step) {
    const int what = in.byte() % 16;
    const Micros at = in.time(now);
    if (std::chrono::abs(listen::near_enough(at) - now) < Micros(100'000'000)) now = std::max(now, at);
    switch (what) {
      case 0:
      case 1:
      case 2: pulse.note_on(at, Pitch(in.byte() & 0x7F), Velocity(1 + (in.byte() & 0x3F))); break;
      case 3:
      case 4: pulse.tap(at); break;
      case 5: pulse.advance(at); break;
      case 6: pulse.twice_as_fast(at); break;
      case 7: pulse.half_as_fast(at); break;
      case 8: pulse.undo(at); break;
      case 9: pulse.beat_one(at); break;
      case 10: pulse.set_meter(at, in.byte() % 20); break;
      case 11: pulse.begin_take(at); break;
      case 12:
      case 13: {
        constexpr std::uint8_t kStatus[] = {0xF8, 0xF8, 0xF8, 0xF8, 0xFA, 0xFB, 0xFC, 0xF2};
        const std::uint8_t status = kStatus[in.byte() % 8];
        pulse.clock({at,
                     {status, in.byte(), in.byte()},
                     static_cast<std::uint8_t>(status == 0xF2 ? 3 : 1),
                     static_cast<midi::PortNumber>(in.byte() % 3)});
        break;
      }
      case 14: {  // the clock runs for a beat
        const Micros tick(5'000 + 300 * in.byte());
        for (int i = 0; i < 24; ++i) pulse.clock({now += tick, {0xF8, 0, 0}, 1, 1});
        break;
      }
      case 15: {  // even taps, or notes
        const Micros beat(100'000 + 10'000 * in.byte());
        for (int i = 0; i < 4; ++i, now += beat) pulse.tap(now), pulse.note_on(now, Pitch(60), Velocity(70));
        break;
      }
    }
    int told = 0;
    while (const auto beat = pulse.take_beat()) {
      must(listen::is_tempo(beat->interval));
      must(beat->place >= 0 && beat->place < beat->meter && beat->meter <= 16);
      ++told;
    }
    must(told <= 64);
    if (const auto& shown = pulse.now())
      must(shown->tempo >= listen::kSlowest && shown->tempo <= listen::kFastest && shown->place >= 0 &&
           shown->place < shown->meter);
    (void)pulse.next_deadline();
  }
}

void kept(Bytes& in) {
  takes::Beats beats;
  beats.meter = 1 + in.byte() % 16;
  Micros at = listen::near_enough(in.time(Micros(0)));
  for (int n = in.byte(); n > 0; --n) {
    const int flags = in.byte();
    beats.beats.push_back({at, (flags & 1) != 0, (flags & 2) != 0 || beats.beats.empty(), (flags & 4) != 0});
    at = std::max(at, listen::near_enough(in.time(at))) + Micros(1);
  }
  std::vector<takes::Line> lines;
  std::size_t clocked = 0;
  while (!in.empty() && lines.size() < 400) {
    takes::Line line{1, 1, in.time(Micros(1'000'000)), takes::LineKind::kBeat, {}};
    const int kind = in.byte();
    if (kind == 255) {  // any text, as in a damaged file
      const std::size_t size = std::min<std::size_t>(in.byte(), static_cast<std::size_t>(in.end - in.at));
      line.data.assign(reinterpret_cast<const char*>(in.at), size);
      in.at += size;
    } else {
      takes::BeatLine said{line.at, static_cast<takes::BeatWord>(kind % 7), Micros(0), in.byte() % 18,
                           in.byte() % 18};
      said.interval = (kind & 64) != 0 ? Micros(in.word()) : Micros(100'000 + 15'000 * in.byte());
      line.data = takes::beat_data(said);
    }
    clocked += 16;
    lines.push_back(std::move(line));
  }
  const takes::Beats out = takes::corrected(beats, lines);
  must(out.beats.size() <= 64 * (beats.beats.size() + clocked + 1));
  for (const auto what : {takes::BeatWord::kTwice, takes::BeatWord::kHalf})
    if (const auto wrong = takes::refused(out, what, 1)) must(!wrong->message.empty());
}

// Looks for beats among a few notes that may be very far apart.
void sought(Bytes& in) {
  std::vector<takes::PlayedNote> notes;
  Micros at = listen::near_enough(in.time(Micros(0)));
  for (int n = 4 + in.byte() % 5; n > 0; --n) {
    notes.push_back(
        {at, Micros(10'000 * (1 + in.byte())), Pitch(in.byte() & 0x7F), Velocity(1 + (in.byte() & 0x3F))});
    at = std::max(at, listen::near_enough(in.time(at)));
  }
  const takes::Beats found = takes::find_beats(notes);
  must(found.beats.size() <= notes.size() * 42);  // about four beats a second, over 10 s for each note
  for (std::size_t i = 1; i < found.beats.size(); ++i) must(found.beats[i].at > found.beats[i - 1].at);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Bytes in{data, data + size};
  const int part = in.byte();
  if (part == 255)
    sought(in);
  else if (part % 2 == 0)
    live(in);
  else
    kept(in);
  return 0;
}
