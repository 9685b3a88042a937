// What the log of takes is made of: a line, and the entries from which the store makes lines.
//
// An entry is what happened; it becomes a line when the store gives it a number, which it does when the line
// is on disk. Line numbers ascend from 1 without gaps over all takes. `at` is the time from which a thing
// holds, so it may lie before that of the line above.
//
// How a line's `data` looks: midi, echo: port, then the 1 to 3 bytes received. chord, key, melody, offered,
// tried: a JSON object with the members of LoggedChord, LoggedKey ... in protocol/shapes.h; so are beat,
// along, pass, lost and meeting. mark, rename, annotate: the text. correction: the chord in Harte syntax.
// take_end: the reason. take_begin: milliseconds since 1970 in UTC. Others: empty.
//
// A chord in these objects is its parts: root, root_name, quality, family, bass, bass_name where the bass is
// not the root, and harte. Lines of older versions have a rendered `symbol` instead of the names, and tried
// only harte. They stay as they are: lines are history, there may be millions, and their Harte text holds all
// that the parts say. So readers take `harte`, and what of the rest they need only as a help.
//
// echo: a message that was received and is probably only what we had sent ourselves. Whoever reads what was
// played leaves these lines out; they are there so that nothing is lost should the guess be wrong.
//
// Threads: plain values.
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

// Stored. A number never changes its meaning, and none is used again.
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
};
inline constexpr LineKind kLastKind = LineKind::kMeeting;

struct Line {
  LineNumber number = 0;
  TakeId take = 0;  // 0: between takes
  Micros at{};
  LineKind kind = LineKind::kMidi;
  std::string data;
};

// What search needs to know of an entry, besides its data.
struct ChordFacts {
  PitchClass root, bass;
  harmony::Family family = harmony::Family::kMajor;
  std::string harte;
};
struct MelodyFacts {
  Pitch pitch;
  std::optional<PitchClass> over;  // root of the chord in force
  std::string degree;              // "" when there is no chord
};
struct KeyFacts {
  std::string harte;
};
struct MeetingFacts {
  Micros length{};
  Pitch pitch;
  std::string name, degree;  // "G4", "#11"
  std::string harte;         // of the chord, as it was spelled
  std::string key;           // Harte form; "" when none was known
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

// Entries between take_begin and take_end belong to that take; others belong to none.
Entry take_begin(Micros at, std::int64_t utc_ms);
Entry take_end(Micros at, EndReason reason);
Entry midi_received(const midi::Event& event);  // no heap
Entry suspected_echo(const midi::Event& event);
// So many events of this input were lost just before `at`: what sounded on it has ended, for it can't be
// known.
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

// The event of a midi or an echo line; nullopt if the line is another or damaged.
std::optional<midi::Event> midi_event(const Line& line);
// What search needs to know of an entry whose data were stored without it.
decltype(Entry::facts) facts_of(LineKind kind, const std::string& data);
// The input of a lost line; nullopt if the line is another or damaged.
std::optional<midi::PortNumber> lost_port(const Line& line);

// "half_diminished"; stored in the index of chords, so words never change.
std::string_view text(harmony::Family family);

}  // namespace undersong::takes
