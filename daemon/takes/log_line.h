// The lines of the log of takes, and the entries from which the store makes them.
//
// An entry is something that happened. The store gives it a number when it is on disk; then it is a line.
// Numbers count from 1 without gaps, across all takes. `at` is the time from which the line applies, so it
// may be earlier than that of the line before.
//
// The contents of `data`, by kind:
//
//   take_begin              milliseconds since 1970, UTC
//   midi, echo              the port, then the 1 to 3 bytes received
//   chord, key, melody, offered, tried, beat, along, pass, lost, meeting, verdict
//                           a JSON object with members of LoggedChord, LoggedKey, ... in protocol/shapes.h
//   mark, rename, annotate  the text
//   correction, heard       the chord in Harte syntax; heard: the player listened to it
//   unmark                  the number of the line of the mark that is taken back
//   take_end                the reason
//   others                  empty
//
// In these objects a chord is stored as its parts: root, root_name, quality, family, bass, bass_name if the
// bass is not the root, and harte. Lines of older versions have a `symbol` instead of the names, and `tried`
// lines only harte. They are never rewritten: lines are history, there may be millions of them, and the Harte
// text contains all that the parts say. So readers use `harte`, and treat the other parts as optional.
//
// An echo is a received message that was probably sent by Undersong itself. Code that reads what was played
// skips these lines. They are stored so that nothing is lost if the guess is wrong.
//
// Units: Micros on the clock of the run that made the entry.
// Threads: plain values and pure functions; call them from any thread.
// Errors: functions that read a line return nullopt if it is of another kind or damaged.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/listen/meetings.h"
#include "daemon/listen/moment.h"
#include "daemon/midi/event.h"

namespace undersong::takes {

using LineNumber = std::uint64_t;
using TakeId = std::uint64_t;  // from 1

// What a correction says where there was no chord, in Harte syntax.
inline constexpr std::string_view kNoChord = "N";

// Stored. A number never changes its meaning and is never used again.
enum class LineKind : std::uint8_t {
  kTakeBegin = 1,
  kMidi = 2,
  kChord = 3,
  kKey = 4,
  kMelody = 5,
  kOffered = 6,
  kTried = 7,
  kMark = 8,
  kTakeEnd = 9,
  kCorrection = 10,
  kRename = 11,
  kAnnotate = 12,
  kDelete = 13,
  kRestore = 14,
  kBeat = 15,
  kAlong = 16,
  kPass = 17,
  kEcho = 18,
  kLost = 19,
  kMeeting = 20,
  kHeard = 21,
  kUnmark = 22,
  kVerdict = 23,
};
inline constexpr LineKind kLastKind = LineKind::kVerdict;

struct Line {
  LineNumber number = 0;
  TakeId take = 0;  // 0 if between takes
  Micros at{};
  LineKind kind = LineKind::kMidi;
  std::string data;
};

// What search needs to know about an entry in addition to its data.
struct ChordFacts {
  PitchClass root, bass;
  harmony::Family family = harmony::Family::kMajor;
  std::string harte;
};
struct MelodyFacts {
  Pitch pitch;
  std::optional<PitchClass> over;  // root of the chord in force
  std::string degree;              // "" if there is no chord
};
struct KeyFacts {
  std::string harte;
};
struct MeetingFacts {
  Micros length{};
  Pitch pitch;
  std::string name, degree;  // "G4", "#11"
  std::string harte;         // of the chord, as it was spelled
  std::string key;           // Harte form; "" if none was known
  std::uint32_t time = 1;    // see listen::Meeting
};

struct Entry {
  Micros at{};
  LineKind kind = LineKind::kMidi;
  std::string data;
  std::variant<std::monostate, ChordFacts, MelodyFacts, KeyFacts, MeetingFacts> facts;
};

enum class EndReason : std::uint8_t { kSilence, kRequest, kStop, kInterrupted };
std::string_view text(EndReason reason);

// Entries between take_begin and take_end belong to that take; the others belong to no take.
Entry take_begin(Micros at, std::int64_t utc_ms);
Entry take_end(Micros at, EndReason reason);
Entry midi_received(const midi::Event& event);  // allocates nothing
Entry suspected_echo(const midi::Event& event);
// `events` messages of this input were lost just before `at`. Everything that sounded on it has ended,
// because it is unknown what was released.
Entry events_lost(Micros at, midi::PortNumber port, const std::string& name, std::uint64_t events);
Entry chord_in_force(Micros since, const listen::Reading& reading);
Entry key_heard(Micros at, const harmony::KeyReading& key);
// The key of a line of kind key if the player pinned it; nothing if it was heard.
std::optional<harmony::Key> pinned_key(const Line& line);
Entry meeting(const listen::Meeting& met);
Entry melody_note(const listen::MelodyNote& note, const std::optional<harmony::Chord>& over);
Entry alternatives_offered(Micros at, std::uint32_t list, std::span<const listen::MelodyNote> melody,
                           const harmony::Alternatives& alternatives);
// `place` in the list counts from 0.
Entry alternative_tried(Micros at, std::uint32_t list, const harmony::Alternative& alternative,
                        std::size_t place);
Entry mark(Micros at, std::string text);
// The player listened to a chord of the list, or to any other.
Entry chord_heard(Micros at, const harmony::Chord& chord, harmony::NoteName root);

// The event of a midi or echo line; nullopt if the line is of another kind or damaged.
std::optional<midi::Event> midi_event(const Line& line);
// What search needs to know, read from stored data.
decltype(Entry::facts) facts_of(LineKind kind, const std::string& data);
// What the player said of a part of a take; it stands in a line of kind verdict.
enum class Verdict : std::uint8_t { kKept, kDismissed, kOpen };
struct Judgement {
  Micros from{}, length{};  // from the beginning of the take
  Verdict verdict = Verdict::kKept;
  friend bool operator==(const Judgement&, const Judgement&) = default;
};
std::string text(const Judgement& judgement);
std::optional<Judgement> judgement(const std::string& data);

// The input of a lost line; nullopt if the line is of another kind or damaged.
std::optional<midi::PortNumber> lost_port(const Line& line);

// A word such as "half_diminished". It is stored in the index of chords, so the words never change.
std::string_view text(harmony::Family family);

}  // namespace undersong::takes
