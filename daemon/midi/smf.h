// Reads and writes standard MIDI files, and converts between ticks and time.
//
//   auto file = read_smf_file("tune.mid");
//   if (!file) return file.error();
//   for (const Event& event : merged_events(*file)) analysis.event(event);
//
// Reads formats 0 and 1, with ticks per quarter note or SMPTE frames.
// - Skipped: system-exclusive data, unknown meta events and unknown chunks.
// - Refused, with one sentence and the byte offset: format 2, anything cut short, and a data byte where a
//   status byte is needed (system-exclusive and meta events cancel running status).
// - Accepted: a track without End of Track whose chunk is complete, because nothing is lost.
// - Left out and named in `warnings`: a malformed time or key signature, because the notes do not depend on
//   it.
//
// Units: ticks from the start of the file; Micros from the start of the file, rounded down.
// Threads: any; plain values and pure functions. Only the _file functions use the disk.
// Errors: Result with one sentence. Only std::bad_alloc is thrown.
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

// The latest tick accepted. The bound keeps all arithmetic exact in 64 bits; it is 828 days at 960 ticks per
// quarter note and 120 bpm.
inline constexpr Tick kLongestTick = Tick{1} << 36;
inline constexpr std::uint32_t kDefaultTempo = 500'000;  // microseconds per quarter note: 120 bpm

struct SmfDivision {
  std::uint16_t ticks_per_quarter = 480;  // 1..32767; 0 with SMPTE frames
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
  std::vector<SmfEvent> events;  // in order of tick
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
  std::uint8_t clocks_per_click = 24;  // MIDI clocks, 24 per quarter note
  std::uint8_t thirty_seconds = 8;     // notated 32nds per MIDI quarter note
  friend bool operator==(const SmfTimeSignature&, const SmfTimeSignature&) = default;
};

struct SmfKeySignature {
  Tick tick = 0;
  Micros at{};
  std::int8_t fifths = 0;  // -7 (seven flats) .. 7 (seven sharps)
  bool minor = false;
  friend bool operator==(const SmfKeySignature&, const SmfKeySignature&) = default;
};

struct SmfText {
  enum class Kind : std::uint8_t {  // numbers as in the standard
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
  std::vector<SmfTempo> tempos;                   // in order of tick; empty: 120 bpm throughout
  std::vector<SmfTimeSignature> time_signatures;  // in order of tick; empty: 4/4
  std::vector<SmfKeySignature> key_signatures;    // in order of tick
  std::vector<SmfText> markers;                   // in order of tick
  std::vector<SmfText> texts;                     // in order of tick; all other kinds
  std::vector<std::string> warnings;              // one sentence for each thing left out, at most 20
  friend bool operator==(const Smf&, const Smf&) = default;
};

// Converts ticks to time and back, for one division and tempo map. With SMPTE frames the tempos have no
// effect.
class TickClock {
 public:
  // Tempos may come in any order; of several at the same tick, the last one counts. A tempo of 0 counts as 1
  // microsecond.
  TickClock(SmfDivision division, std::span<const SmfTempo> tempos);
  Micros at(Tick tick) const;          // rounded down; ticks beyond kLongestTick count as kLongestTick
  Tick nearest_tick(Micros at) const;  // negative times give 0

 private:
  struct Segment {
    Tick tick;
    std::uint64_t start;  // microseconds * denominator_
    std::uint64_t step;   // microseconds * denominator_ per tick
  };
  std::vector<Segment> segments_;
  std::uint64_t denominator_ = 1;
};

Result<Smf> read_smf(std::span<const std::uint8_t> bytes);
// As read_smf; an error names `path`.
Result<Smf> read_smf_file(const std::filesystem::path& path);

// All channel events in the order in which they sound. At the same tick, a lower track comes first, and each
// track keeps its own order. A note-on with velocity 0 stays a note-on. All events have port 0.
std::vector<Event> merged_events(const Smf& file);

// Writes the ticks; `at` and `warnings` are ignored. Tempos, signatures and markers go to the first track.
// Format 0 needs exactly one track. Events need not be sorted; events at the same tick keep their order.
Result<std::vector<std::uint8_t>> write_smf(const Smf& file);
// Writes a temporary file beside `path` and renames it, so that a reader never sees half a file.
Result<void> write_smf_file(const Smf& file, const std::filesystem::path& path);

// A recorded performance as a file: one track for each port, 120 bpm, each event at the tick nearest to its
// time. Times count from 0 and are not shifted to the first event. System messages are left out.
Smf smf_from_events(std::span<const Event> events, const std::string& name,
                    std::uint16_t ticks_per_quarter = 960);

// A variable-length quantity, 0..0x0FFFFFFF in 1..4 bytes. write_smf refuses larger values; encode_vlq
// reduces them to kLargestVlq.
struct Vlq {
  std::array<std::uint8_t, 4> bytes{};
  std::uint8_t size = 0;
};
inline constexpr std::uint32_t kLargestVlq = 0x0FFF'FFFF;
Vlq encode_vlq(std::uint32_t value);

}  // namespace undersong::midi
