// Standard MIDI files: reading, writing, and the map between ticks and time.
//
// Reads formats 0 and 1 with ticks a quarter or SMPTE frames. What is skipped by its length: system-exclusive
// data, meta events and chunks that are not known. What is refused, with one sentence and the byte offset:
// format 2, anything cut short, a data byte where no status can hold (system-exclusive and meta events cancel
// running status). A track whose last event is not End of Track is accepted when its chunk is whole, because
// nothing is lost then; a malformed time or key signature is left out and named in `warnings`, because the
// notes don't depend on it.
//
// Units: ticks from the start of the file; Micros from the start of the file, rounded down.
// Threads: plain values and pure functions; only the _file functions touch the disk.
// Errors: Result with a sentence; nothing throws but memory exhaustion.
// Source: Standard MIDI Files 1.0, RP-001 (MIDI Manufacturers Association, 1996).
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"

namespace undersong::midi {

using Tick = std::uint64_t;

// Longest file accepted, a bound that keeps all arithmetic exact in 64 bits: 828 days at 960 ticks a quarter,
// 120 bpm.
inline constexpr Tick kLongestTick = Tick{1} << 36;
inline constexpr std::uint32_t kDefaultTempo = 500'000;  // microseconds a quarter: 120 bpm

struct SmfDivision {
  std::uint16_t ticks_per_quarter = 480;  // 1..32767; 0 when SMPTE frames count
  std::uint8_t frames_per_second = 0;     // 24, 25, 29 (means 29.97) or 30
  std::uint8_t ticks_per_frame = 0;       // 1..255
  constexpr bool smpte() const { return frames_per_second != 0; }
  friend bool operator==(const SmfDivision&, const SmfDivision&) = default;
};

struct SmfEvent {  // a channel message
  Tick tick = 0;
  Micros at{};
  std::array<std::uint8_t, 3> bytes{};
  std::uint8_t size = 0;  // 2 or 3
  friend bool operator==(const SmfEvent&, const SmfEvent&) = default;
};

struct SmfTrack {
  std::string name;
  std::vector<SmfEvent> events;  // by tick
  Tick end = 0;                  // tick of End of Track
  friend bool operator==(const SmfTrack&, const SmfTrack&) = default;
};

struct SmfTempo {
  Tick tick = 0;
  Micros at{};
  std::uint32_t micros_per_quarter = kDefaultTempo;  // 1..16777215
  friend bool operator==(const SmfTempo&, const SmfTempo&) = default;
};

struct SmfTimeSignature {
  Tick tick = 0;
  Micros at{};
  std::uint8_t numerator = 4;
  std::uint16_t denominator = 4;       // a power of two, 1..32768
  std::uint8_t clocks_per_click = 24;  // MIDI clocks, 24 a quarter
  std::uint8_t thirty_seconds = 8;     // notated 32nds in what MIDI calls a quarter
  friend bool operator==(const SmfTimeSignature&, const SmfTimeSignature&) = default;
};

struct SmfKeySignature {
  Tick tick = 0;
  Micros at{};
  std::int8_t fifths = 0;  // -7 flats .. 7 sharps
  bool minor = false;
  friend bool operator==(const SmfKeySignature&, const SmfKeySignature&) = default;
};

struct SmfText {
  enum class Kind : std::uint8_t {  // the standard's own numbers
    kText = 1,
    kCopyright = 2,
    kTrackName = 3,  // a second name in one track; the first is SmfTrack::name
    kInstrument = 4,
    kLyric = 5,
    kMarker = 6,
    kCue = 7
  };
  Tick tick = 0;
  Micros at{};
  Kind kind = Kind::kText;
  std::uint16_t track = 0;
  std::string text;  // bytes as in the file; the standard promises no encoding
  friend bool operator==(const SmfText&, const SmfText&) = default;
};

struct Smf {
  std::uint8_t format = 1;  // 0 or 1
  SmfDivision division;
  std::vector<SmfTrack> tracks;
  std::vector<SmfTempo> tempos;                   // by tick; empty = 120 bpm throughout
  std::vector<SmfTimeSignature> time_signatures;  // by tick; empty = 4/4
  std::vector<SmfKeySignature> key_signatures;    // by tick
  std::vector<SmfText> markers;                   // by tick
  std::vector<SmfText> texts;                     // by tick, all other kinds
  std::vector<std::string> warnings;              // a sentence for each thing that was left out
  friend bool operator==(const Smf&, const Smf&) = default;
};

// From tick to time and back, for one division and tempo map. With SMPTE frames the tempos don't matter.
class TickClock {
 public:
  // Tempos in any order; at the same tick the last one counts. Tempo 0 is taken as 1 microsecond.
  TickClock(SmfDivision division, std::span<const SmfTempo> tempos);
  Micros at(Tick tick) const;          // rounded down; ticks beyond kLongestTick count as kLongestTick
  Tick nearest_tick(Micros at) const;  // negative times give 0

 private:
  struct Segment {
    Tick tick;
    std::uint64_t start;  // micros * denominator_
    std::uint64_t step;   // micros * denominator_ a tick
  };
  std::vector<Segment> segments_;
  std::uint64_t denominator_ = 1;
};

Result<Smf> read_smf(std::span<const std::uint8_t> bytes);
// `path` is named in the error.
Result<Smf> read_smf_file(const std::filesystem::path& path);

// All channel events in time order as they would have been played: at the same tick a lower track comes
// first, and within a track the file's order stands. A note-on with velocity 0 stays one. Port 0.
std::vector<Event> merged_events(const Smf& file);

// Only ticks are written; `at` and `warnings` are not looked at. Tempo, signatures and markers go to the
// first track. Format 0 wants exactly one track. Events need not be sorted: equal ticks keep their order.
Result<std::vector<std::uint8_t>> write_smf(const Smf& file);
// Writes beside `path` and renames, so that a reader never sees half a file.
Result<void> write_smf_file(const Smf& file, const std::filesystem::path& path);

// A performance as it was played: one track for each port, 120 bpm, ticks nearest to the times of the events,
// the first event at its own time. System messages are left out.
Smf smf_from_events(std::span<const Event> events, const std::string& name,
                    std::uint16_t ticks_per_quarter = 960);

// Variable-length quantity, 0..0x0FFFFFFF in 1..4 bytes; larger values are refused by write_smf before they
// get here.
struct Vlq {
  std::array<std::uint8_t, 4> bytes{};
  std::uint8_t size = 0;
};
inline constexpr std::uint32_t kLargestVlq = 0x0FFF'FFFF;
Vlq encode_vlq(std::uint32_t value);

}  // namespace undersong::midi
