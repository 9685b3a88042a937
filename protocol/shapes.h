// The parts that messages are made of. See messages.h for the messages themselves.
//
// Units: times named `at`, `since` and lengths ending in `_us` are whole microseconds of the daemon's
// monotonic clock; those ending in `_utc_ms` are milliseconds since 1970 in UTC. Pitches are MIDI key
// numbers, 60 = middle C. Pitch classes are 0..11, 0 = C. A chord comes in its parts, from which a client
// puts the symbol together, and as `harte` for programs. Source of the latter: Harte, Sandler, Abdallah &
// Gomez (2005), "Symbolic representation of musical chords".
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "protocol/json.h"

namespace undersong::protocol {

using TimeUs = std::int64_t;
using TimeUtcMs = std::int64_t;
using PitchNumber = Whole<0, 127>;
using PitchClassNumber = Whole<0, 11>;
using VelocityNumber = Whole<0, 127>;
using Share = Real<0, 1>;
using Wish = Real<-1, 1>;

struct Chord {
  static constexpr const char* kSays =
      "A chord in its parts. Its symbol is `root_name`, then `letters` or `signs` as the setting "
      "symbol_style "
      "says, then a slash and `bass_name` where the bass is not the root: else `bass` and `bass_name` are "
      "missing. `letters` and `signs` are two texts each, what stands beside the root's letter and what is "
      "raised; either may be empty. Names have b and # for flats and sharps. `quality` is Harte's shorthand "
      "or "
      "list of degrees, `harte` the whole chord in that syntax.";
  PitchClassNumber root;
  std::string root_name;
  std::string quality;
  std::vector<std::string> letters, signs;
  std::optional<PitchClassNumber> bass{};
  std::optional<std::string> bass_name{};
  std::string harte;
};
BOOST_DESCRIBE_STRUCT(Chord, (), (root, root_name, quality, letters, signs, bass, bass_name, harte))

struct Reading : Chord {
  static constexpr const char* kSays = "One way to name what is under the hands.";
  Share confidence;
};
BOOST_DESCRIBE_STRUCT(Reading, (Chord), (confidence))

struct Coloured : Chord {
  static constexpr const char* kSays =
      "`dark_bright` -1 dark .. 1 bright; `resolved_tense` 0 .. 1; `colour`: a word for each of the two.";
  Wish dark_bright;
  Share resolved_tense;
  std::vector<std::string> colour;
};
BOOST_DESCRIBE_STRUCT(Coloured, (Chord), (dark_bright, resolved_tense, colour))

struct ChordInForce : Coloured {
  static constexpr const char* kSays =
      "The harmony in force. `since` may lie before the moment that tells it; `sounding` false: remembered, "
      "silent now.";
  Share confidence;
  TimeUs since = 0;
  bool sounding = false;
};
BOOST_DESCRIBE_STRUCT(ChordInForce, (Coloured), (confidence, since, sounding))

enum class Mode : std::uint8_t { kMajor, kMinor };
BOOST_DESCRIBE_ENUM(Mode, kMajor, kMinor)

struct KeyNow {
  static constexpr const char* kSays = "`pinned`: the player said it, and it stays whatever is heard.";
  std::string name, harte;
  PitchClassNumber tonic;
  Mode mode = Mode::kMajor;
  Share confidence;
  bool pinned = false;
};
BOOST_DESCRIBE_STRUCT(KeyNow, (), (name, harte, tonic, mode, confidence, pinned))

struct MelodyNote {
  static constexpr const char* kSays = "`degree` is that in the chord in force, null while there is none.";
  PitchNumber pitch;
  std::string name;
  Nullable<std::string> degree;
  TimeUs since = 0;
  bool held = false;
};
BOOST_DESCRIBE_STRUCT(MelodyNote, (), (pitch, name, degree, since, held))

struct HeldNote {
  static constexpr const char* kSays = "`key_down` false: only a pedal keeps it.";
  PitchNumber pitch;
  VelocityNumber velocity;
  bool key_down = false;
  TimeUs since = 0;
};
BOOST_DESCRIBE_STRUCT(HeldNote, (), (pitch, velocity, key_down, since))

struct Wishes {
  static constexpr const char* kSays =
      "-1 darker, more resolved, familiar; 1 brighter, more tense, surprising; 0 no wish.";
  Wish brighter, tenser, surprising;
};
BOOST_DESCRIBE_STRUCT(Wishes, (), (brighter, tenser, surprising))

struct Alternative : Coloured {
  static constexpr const char* kSays =
      "What else could stand under the melody. `degrees`: of each melody note in this chord; `familiar` 0 "
      "surprising .. 1 usual; `hands_move` in semitones, all voices together; `left` and `right` hand, "
      "lowest "
      "first, the melody on top; `names` of these keys, left hand first; `reason` names chords in letters; "
      "`tried`: already played under this note.";
  std::vector<std::string> degrees;
  Share familiar;
  Whole<0, 255> hands_move;
  std::vector<PitchNumber> left, right;
  std::vector<std::string> names;
  std::string reason;
  bool tried = false;
};
BOOST_DESCRIBE_STRUCT(Alternative, (Coloured),
                      (degrees, familiar, hands_move, left, right, names, reason, tried))

// ---- the log of takes

// Stored as numbers in takes/log_line.h; here as words.
enum class LineKind : std::uint8_t {
  kTakeBegin,
  kMidi,
  kChord,
  kKey,
  kMelody,
  kOffered,
  kTried,
  kMark,
  kTakeEnd,
  kCorrection,
  kRename,
  kAnnotate,
  kDelete,
  kRestore,
  kBeat,
  kAlong,
  kPass,
  kEcho,
  kLost,
  kMeeting,
};
BOOST_DESCRIBE_ENUM(LineKind, kTakeBegin, kMidi, kChord, kKey, kMelody, kOffered, kTried, kMark, kTakeEnd,
                    kCorrection, kRename, kAnnotate, kDelete, kRestore, kBeat, kAlong, kPass, kEcho, kLost,
                    kMeeting)

struct LoggedMidi {
  static constexpr const char* kSays = "A MIDI message as received: 1 to 3 bytes and the number of its port.";
  Whole<0, 255> port;
  std::vector<Whole<0, 255>> bytes;
};
BOOST_DESCRIBE_STRUCT(LoggedMidi, (), (port, bytes))

// Families of chord qualities, as words.
enum class Family : std::uint8_t {
  kMajor,
  kMinor,
  kDominant,
  kSuspended,
  kDiminished,
  kHalfDiminished,
  kAugmented,
  kPower
};
BOOST_DESCRIBE_ENUM(Family, kMajor, kMinor, kDominant, kSuspended, kDiminished, kHalfDiminished, kAugmented,
                    kPower)

struct LoggedChord : Chord {
  Family family = Family::kMajor;
  Share confidence;
};
BOOST_DESCRIBE_STRUCT(LoggedChord, (Chord), (family, confidence))

struct LoggedKey {
  static constexpr const char* kSays =
      "`pinned`: the player said it; a line without is heard, also the first after it was freed.";
  std::string harte;
  PitchClassNumber tonic;
  Mode mode = Mode::kMajor;
  Share confidence;
  std::optional<bool> pinned{};
};
BOOST_DESCRIBE_STRUCT(LoggedKey, (), (harte, tonic, mode, confidence, pinned))

struct LoggedMelody {
  static constexpr const char* kSays =
      "`name`: as it was spelled, missing in lines of before that was kept; `over` is the root of the chord "
      "in force, `degree` "
      "the note's place above it.";
  PitchNumber pitch;
  std::optional<std::string> name{};
  std::optional<PitchClassNumber> over{};
  std::optional<std::string> degree{};
};
BOOST_DESCRIBE_STRUCT(LoggedMelody, (), (pitch, name, over, degree))

struct LoggedOffer {
  static constexpr const char* kSays =
      "The list of alternatives as it stood, best first. There are many of them and few are ever looked at, "
      "so they come in "
      "Harte syntax alone; chord.parts gives the parts of those that are shown. `names`: of the melody "
      "notes, missing in lines of "
      "before they were kept.";
  std::uint32_t list = 0;
  std::vector<PitchNumber> melody;
  std::optional<std::vector<std::string>> names{};
  std::vector<std::string> harte;
};
BOOST_DESCRIBE_STRUCT(LoggedOffer, (), (list, melody, names, harte))

struct LoggedTrial : Chord {
  static constexpr const char* kSays =
      "The player's next chord matched an offered one; `place` in the list counts from 0.";
  std::uint32_t list = 0;
  Whole<0, 255> place;
};
BOOST_DESCRIBE_STRUCT(LoggedTrial, (Chord), (list, place))

enum class BeatSource : std::uint8_t { kPlayed, kTapped, kClock };
BOOST_DESCRIBE_ENUM(BeatSource, kPlayed, kTapped, kClock)

struct BeatNow {
  static constexpr const char* kSays =
      "The newest beat: when it fell, beats a minute, its `place` in the bar from 1 to `meter`, and whether "
      "the playing, taps or another machine's clock say so. It changes once a beat at most, and with a "
      "correction.";
  TimeUs at = 0;
  Whole<1, 1000> tempo{1};
  Share confidence;
  Whole<1, 16> place{1}, meter{4};
  BeatSource source = BeatSource::kPlayed;
};
BOOST_DESCRIBE_STRUCT(BeatNow, (), (at, tempo, confidence, place, meter, source))

enum class BeatWord : std::uint8_t { kTap, kClock, kOne, kTwice, kHalf, kMeter, kUndo };
BOOST_DESCRIBE_ENUM(BeatWord, kTap, kClock, kOne, kTwice, kHalf, kMeter, kUndo)

struct LoggedBeat {
  static constexpr const char* kSays =
      "What was said of the take's beats: `tap`: they are `interval_us` long; `clock`: another machine's bar "
      "begins (with `place`: here fell that beat of it, 1 is the second, when the take began in it); `one`: "
      "a bar begins here; `meter` beats a bar; `twice` or `half` as many; `undo` takes the last of these "
      "back but a clock's.";
  BeatWord what = BeatWord::kOne;
  std::optional<TimeUs> interval_us{};
  std::optional<Whole<1, 16>> meter{};
  std::optional<Whole<1, 15>> place{};
};
BOOST_DESCRIBE_STRUCT(LoggedBeat, (), (what, interval_us, meter, place))

struct AlongChord {
  static constexpr const char* kSays = "`at_us` from the beginning of the loop.";
  TimeUs at_us = 0;
  std::string harte;
};
BOOST_DESCRIBE_STRUCT(AlongChord, (), (at_us, harte))

struct LoggedAlong {
  static constexpr const char* kSays =
      "The loop of take `take` is played while this one is recorded; each time round takes `cycle_us`.";
  std::uint64_t take = 0;
  double tempo = 0;
  Whole<1, 16> meter{4};
  TimeUs cycle_us = 0;
  std::vector<AlongChord> chords;
};
BOOST_DESCRIBE_STRUCT(LoggedAlong, (), (take, tempo, meter, cycle_us, chords))

struct LoggedPass {
  static constexpr const char* kSays = "The loop begins again, for the time `number`, from 1.";
  std::uint32_t number = 0;
};
BOOST_DESCRIBE_STRUCT(LoggedPass, (), (number))

struct LoggedLoss {
  static constexpr const char* kSays =
      "So many messages of an input were lost just before: they came faster than they could be taken. What "
      "sounded on it was ended.";
  Whole<0, 255> port;
  std::string name;
  std::uint64_t events = 0;
};
BOOST_DESCRIBE_STRUCT(LoggedLoss, (), (port, name, events))

struct LoggedMeeting : Chord {
  static constexpr const char* kSays =
      "A melody note stood over a chord in force from `at` for `length_us`, told when it is over. `time`: "
      "how often this note has met "
      "this harmony (a root and a family) in the take: 1 the first time, more when it was returned to. "
      "`key`: missing when none was known.";
  PitchNumber pitch;
  std::string name, degree;
  Family family = Family::kMajor;
  TimeUs length_us = 0;
  std::uint32_t time = 1;
  std::optional<std::string> key{};
};
BOOST_DESCRIBE_STRUCT(LoggedMeeting, (Chord), (pitch, name, degree, family, length_us, time, key))

struct LogLine {
  static constexpr const char* kSays =
      "One line of the log. Numbers ascend without gaps over all takes, and a line that has one is on disk. "
      "Only the members of its kind are present; `text` belongs to mark, rename, annotate and correction "
      "(Harte), `reason` to take_end, `begin_utc_ms` to take_begin. `take` is missing on what happened "
      "between takes. An `echo` is a message as received that is probably only what the daemon had played "
      "itself: it is no part of what was played, and kept should that be wrong.";
  std::uint64_t number = 0;
  std::optional<std::uint64_t> take{};
  TimeUs at = 0;
  LineKind kind = LineKind::kMidi;
  std::optional<LoggedMidi> midi{};
  std::optional<LoggedChord> chord{};
  std::optional<LoggedKey> key{};
  std::optional<LoggedMelody> melody{};
  std::optional<LoggedOffer> offered{};
  std::optional<LoggedTrial> tried{};
  std::optional<LoggedBeat> beat{};
  std::optional<LoggedAlong> along{};
  std::optional<LoggedPass> pass{};
  std::optional<LoggedMidi> echo{};
  std::optional<LoggedLoss> lost{};
  std::optional<LoggedMeeting> meeting{};
  std::optional<std::string> text{};
  std::optional<std::string> reason{};
  std::optional<TimeUtcMs> begin_utc_ms{};
};
BOOST_DESCRIBE_STRUCT(LogLine, (),
                      (number, take, at, kind, midi, chord, key, melody, offered, tried, beat, along, pass,
                       echo, lost, meeting, text, reason, begin_utc_ms))

struct TakeSummary {
  static constexpr const char* kSays =
      "`at` is where the take begins on the clock of the run that made it; `length_us` of an open take is "
      "the time of its newest line. `ended` says why it ended: silence, request, stop, interrupted; missing "
      "while it is open.";
  std::uint64_t take = 0;
  TimeUtcMs begin_utc_ms = 0;
  TimeUs at = 0;
  TimeUs length_us = 0;
  std::string title;
  std::string annotation;
  std::optional<std::string> ended{};
  std::uint64_t notes = 0, chords = 0, marks = 0;
  std::optional<std::string> key;  // Harte form of the key that held longest
  bool deleted = false;
  std::uint64_t first_line = 0, last_line = 0;
};
BOOST_DESCRIBE_STRUCT(TakeSummary, (),
                      (take, begin_utc_ms, at, length_us, title, annotation, ended, notes, chords, marks, key,
                       deleted, first_line, last_line))

// ---- the daemon's state

struct Port {
  static constexpr const char* kSays = "An input. `own`: ours, for other programs to play into; no keyboard.";
  std::uint64_t number = 0;
  std::string name;
  bool connected = false;
  bool own = false;
};
BOOST_DESCRIBE_STRUCT(Port, (), (number, name, connected, own))

struct OutputPort {
  static constexpr const char* kSays =
      "`trouble`: why it isn't connected, in one sentence; empty when it is.";
  std::string name;
  bool connected = false;
  std::string trouble;
};
BOOST_DESCRIBE_STRUCT(OutputPort, (), (name, connected, trouble))

struct PlayingAlong {
  static constexpr const char* kSays =
      "The loop goes round after `count_in_us`; each time takes `cycle_us`. `rounds`: then it ends; missing "
      "when it goes on until it is stopped. `given`: the chords came with the request, they are not the "
      "loop's own. `listen`: nothing is kept against it.";
  double tempo = 0;
  Whole<1, 16> meter{4};
  TimeUs count_in_us = 0, cycle_us = 0;
  std::vector<AlongChord> chords;
  std::optional<std::uint32_t> rounds{};
  bool given = false, listen = false;
};
BOOST_DESCRIBE_STRUCT(PlayingAlong, (), (tempo, meter, count_in_us, cycle_us, chords, rounds, given, listen))

struct Playing {
  static constexpr const char* kSays =
      "What is played on the MIDI output: a take from `from_us` to `to_us`, counted from its beginning. "
      "`since`: when `from_us` sounded, on the daemon's clock. With `along` it is the take's loop, round and "
      "round, and both are 0.";
  std::uint64_t take = 0;
  TimeUs since = 0;
  TimeUs from_us = 0, to_us = 0;
  std::optional<PlayingAlong> along{};
};
BOOST_DESCRIBE_STRUCT(Playing, (), (take, since, from_us, to_us, along))

struct CurrentTake {
  static constexpr const char* kSays = "`take` is missing until its first line is on disk.";
  std::optional<std::uint64_t> take{};
  TimeUs since = 0;
  TimeUtcMs begin_utc_ms = 0;
  std::uint64_t notes = 0;
};
BOOST_DESCRIBE_STRUCT(CurrentTake, (), (take, since, begin_utc_ms, notes))

struct StoreHealth {
  static constexpr const char* kSays =
      "`sentence` says what is wrong, empty when nothing is; `waiting` lines are in memory, `lost` did not "
      "fit there. `id` names this store: log numbers of another one mean other lines.";
  bool good = true;
  std::string sentence;
  std::uint64_t waiting = 0, lost = 0;
  std::string id;
};
BOOST_DESCRIBE_STRUCT(StoreHealth, (), (good, sentence, waiting, lost, id))

enum class SymbolStyle : std::uint8_t { kLetters, kSigns };
BOOST_DESCRIBE_ENUM(SymbolStyle, kLetters, kSigns)

// Under which melody notes alternatives are sought.
enum class MelodySpan : std::uint8_t { kNote, kTwo, kBar };
BOOST_DESCRIBE_ENUM(MelodySpan, kNote, kTwo, kBar)

enum class VoicingStyle : std::uint8_t {
  kOpen,
  kShell,
  kRootlessA,
  kRootlessB,
  kDrop2,
  kSpread,
  kQuartal,
  kBlock
};
BOOST_DESCRIBE_ENUM(VoicingStyle, kOpen, kShell, kRootlessA, kRootlessB, kDrop2, kSpread, kQuartal, kBlock)

enum class SettingName : std::uint8_t {
  kBrighter,
  kTenser,
  kSurprising,
  kSymbolStyle,
  kHearOutput,
  kHearVelocity,
  kSettleMs,
  kMelody,
  kVoicing,
  kKey
};
BOOST_DESCRIBE_ENUM(SettingName, kBrighter, kTenser, kSurprising, kSymbolStyle, kHearOutput, kHearVelocity,
                    kSettleMs, kMelody, kVoicing, kKey)

struct Settings {
  static constexpr const char* kSays =
      "`symbol_style`: which of a chord's texts clients show, letters: Cmaj7, signs: CΔ7. `hear_output` "
      "empty: the daemon's own virtual port. "
      "`hear_velocity`: the loudest a suggestion is played. `settle_ms`: a chord that lasts less is not "
      "shown by clients that are read at a glance. `melody`: alternatives are sought under the newest note, "
      "the two newest while both are held or alternate, or all of the last bar. `voicing`: the style in "
      "which alternatives are laid out, where it can be had; open moves the hands least. `key`: pinned, in "
      "Harte syntax, empty while it is heard. `changed`: what differs from the configuration because a "
      "client changed it; it is kept over a restart, and settings.reset takes it back.";
  Wishes wishes;
  SymbolStyle symbol_style = SymbolStyle::kLetters;
  std::string hear_output;
  Whole<1, 127> hear_velocity{64};
  Whole<0, 60'000> settle_ms{250};  // harmony::kMeant; a test holds the two together
  MelodySpan melody = MelodySpan::kTwo;
  VoicingStyle voicing = VoicingStyle::kOpen;
  std::string key;
  std::vector<SettingName> changed;
};
BOOST_DESCRIBE_STRUCT(Settings, (),
                      (wishes, symbol_style, hear_output, hear_velocity, settle_ms, melody, voicing, key,
                       changed))

enum class Topic : std::uint8_t { kMoment, kStatus, kLog };
BOOST_DESCRIBE_ENUM(Topic, kMoment, kStatus, kLog)

struct PlayedNote {
  static constexpr const char* kSays = "A key going down (`on`) or up.";
  PitchNumber pitch;
  VelocityNumber velocity;
  bool on = false;
};
BOOST_DESCRIBE_STRUCT(PlayedNote, (), (pitch, velocity, on))

}  // namespace undersong::protocol
