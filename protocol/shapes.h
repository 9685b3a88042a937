// The parts that messages are made of. The messages themselves are in messages.h.
//
// Units: times named `at` or `since`, and lengths that end in `_us`, are whole microseconds of the daemon's
// monotonic clock. Names that end in `_utc_ms` are milliseconds since 1970, UTC. Pitches are MIDI keys,
// 60 = middle C (C4). Pitch classes are 0..11, 0 = C. A chord is sent as parts, from which a client builds
// the symbol, and as `harte` for programs.
// Threads: plain values.
// Errors: a reader refuses values out of range and names the member; see json.h.
// Source of `harte`: Harte, Sandler, Abdallah & Gomez (2005), "Symbolic representation of musical chords".
// Over 400 lines: the shapes are small and refer to each other.
#pragma once

#include <array>
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
      "A chord in parts. Its symbol is `root_name`, then `letters` or `signs` (see the setting "
      "symbol_style), then a slash and `bass_name` if the bass is not the root; otherwise `bass` and "
      "`bass_name` are missing. `letters` and `signs` hold two texts each: the first is written beside the "
      "root, the second is raised. Either may be empty. Names use b for flat and # for sharp. `quality` is "
      "the Harte shorthand or list of degrees, `harte` the whole chord in Harte syntax.";
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
  static constexpr const char* kSays = "One possible name for the keys that are held.";
  Share confidence;
};
BOOST_DESCRIBE_STRUCT(Reading, (Chord), (confidence))

struct Coloured : Chord {
  static constexpr const char* kSays =
      "`dark_bright`: -1 dark .. 1 bright. `resolved_tense`: 0 resolved .. 1 tense. `colour`: one word for "
      "each of the two.";
  Wish dark_bright;
  Share resolved_tense;
  std::vector<std::string> colour;
};
BOOST_DESCRIBE_STRUCT(Coloured, (Chord), (dark_bright, resolved_tense, colour))

struct ChordInForce : Coloured {
  static constexpr const char* kSays =
      "The harmony that applies now. `since` may be earlier than the first moment that reports it. "
      "`sounding` false: nothing sounds, and the chord is remembered.";
  Share confidence;
  TimeUs since = 0;
  bool sounding = false;
};
BOOST_DESCRIBE_STRUCT(ChordInForce, (Coloured), (confidence, since, sounding))

enum class Mode : std::uint8_t { kMajor, kMinor };
BOOST_DESCRIBE_ENUM(Mode, kMajor, kMinor)

struct KeyNow {
  static constexpr const char* kSays = "`pinned`: the player set the key, and it stays whatever is played.";
  std::string name, harte;
  PitchClassNumber tonic;
  Mode mode = Mode::kMajor;
  Share confidence;
  bool pinned = false;
};
BOOST_DESCRIBE_STRUCT(KeyNow, (), (name, harte, tonic, mode, confidence, pinned))

struct MelodyNote {
  static constexpr const char* kSays = "`degree`: of the note in the current chord; null if there is none.";
  PitchNumber pitch;
  std::string name;
  Nullable<std::string> degree;
  TimeUs since = 0;
  bool held = false;
};
BOOST_DESCRIBE_STRUCT(MelodyNote, (), (pitch, name, degree, since, held))

struct HeldNote {
  static constexpr const char* kSays = "`key_down` false: only a pedal holds the note.";
  PitchNumber pitch;
  VelocityNumber velocity;
  bool key_down = false;
  TimeUs since = 0;
};
BOOST_DESCRIBE_STRUCT(HeldNote, (), (pitch, velocity, key_down, since))

struct Wishes {
  static constexpr const char* kSays =
      "-1 means darker, more resolved or more familiar; 1 means brighter, more tense or more surprising; 0 "
      "means no wish.";
  Wish brighter, tenser, surprising;
};
BOOST_DESCRIBE_STRUCT(Wishes, (), (brighter, tenser, surprising))

struct Alternative : Coloured {
  static constexpr const char* kSays =
      "Another chord that fits under the melody. `degrees`: of each melody note in this chord. `familiar`: "
      "0 surprising .. 1 usual. `hands_move`: semitones, summed over all voices. `left` and `right`: the "
      "keys of each hand, lowest first, the melody on top; `names`: of these keys, left hand first. "
      "`reason`: one sentence; chord names in it use letters. `tried`: already played under this note, "
      "this very chord; `tries`: how often in this take.";
  static constexpr std::array kAddedLater{"tries"};
  std::vector<std::string> degrees;
  Share familiar;
  Whole<0, 255> hands_move;
  std::vector<PitchNumber> left, right;
  std::vector<std::string> names;
  std::string reason;
  bool tried = false;
  Whole<0, 255> tries;
};
BOOST_DESCRIBE_STRUCT(Alternative, (Coloured),
                      (degrees, familiar, hands_move, left, right, names, reason, tried, tries))

struct Returned : Chord {
  static constexpr const char* kSays =
      "A chord that the player came back to in this take. `times`: how often it was played, 2 or more. "
      "`last`: when it was played last.";
  Whole<2, 65535> times;
  TimeUs last = 0;
};
BOOST_DESCRIBE_STRUCT(Returned, (Chord), (times, last))

// ---- the log of takes

// takes/log_line.h stores these as numbers; on the wire they are words.
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
  kHeard,
  kUnmark,
  kVerdict,
};
BOOST_DESCRIBE_ENUM(LineKind, kTakeBegin, kMidi, kChord, kKey, kMelody, kOffered, kTried, kMark, kTakeEnd,
                    kCorrection, kRename, kAnnotate, kDelete, kRestore, kBeat, kAlong, kPass, kEcho, kLost,
                    kMeeting, kHeard, kUnmark, kVerdict)

struct LoggedMidi {
  static constexpr const char* kSays =
      "A MIDI message as received: 1 to 3 bytes, and the number of its port.";
  Whole<0, 255> port;
  std::vector<Whole<0, 255>> bytes;
};
BOOST_DESCRIBE_STRUCT(LoggedMidi, (), (port, bytes))

// Families of chord qualities.
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
      "`pinned` is present if the player set the key. A line without it is a key found by listening, "
      "including the first after the key was freed.";
  std::string harte;
  PitchClassNumber tonic;
  Mode mode = Mode::kMajor;
  Share confidence;
  std::optional<bool> pinned{};
};
BOOST_DESCRIBE_STRUCT(LoggedKey, (), (harte, tonic, mode, confidence, pinned))

struct LoggedMelody {
  static constexpr const char* kSays =
      "`name`: as the note was spelled; missing in lines of older versions. `over`: the root of the current "
      "chord; `degree`: of the note above that root.";
  PitchNumber pitch;
  std::optional<std::string> name{};
  std::optional<PitchClassNumber> over{};
  std::optional<std::string> degree{};
};
BOOST_DESCRIBE_STRUCT(LoggedMelody, (), (pitch, name, over, degree))

struct LoggedOffer {
  static constexpr const char* kSays =
      "A list of alternatives as it was shown, best first. There are many such lines and few are ever "
      "looked at, so the chords are sent in Harte syntax only; chord.parts gives the parts of those that "
      "are needed. `names`: of the melody notes; missing in lines of older versions.";
  std::uint32_t list = 0;
  std::vector<PitchNumber> melody;
  std::optional<std::vector<std::string>> names{};
  std::vector<std::string> harte;
};
BOOST_DESCRIBE_STRUCT(LoggedOffer, (), (list, melody, names, harte))

struct LoggedTrial : Chord {
  static constexpr const char* kSays =
      "The next chord that the player played was one of those offered. `place` in the list counts from 0.";
  std::uint32_t list = 0;
  Whole<0, 255> place;
};
BOOST_DESCRIBE_STRUCT(LoggedTrial, (Chord), (list, place))

enum class BeatSource : std::uint8_t { kPlayed, kTapped, kClock };
BOOST_DESCRIBE_ENUM(BeatSource, kPlayed, kTapped, kClock)

struct TimeSignature {
  static constexpr const char* kSays = "How a metre is written: 6/8 has `upper` 6 and `lower` 8.";
  Whole<1, 48> upper{4};
  Whole<4, 8> lower{4};
};
BOOST_DESCRIBE_STRUCT(TimeSignature, (), (upper, lower))

struct BeatNow {
  static constexpr const char* kSays =
      "The newest beat: when it fell, the tempo in beats a minute, its `place` in the bar from 1 to "
      "`meter`, and whether it comes from the playing, from taps or from an external MIDI clock. Changes at "
      "most once a beat, and with each correction. `division`: parts of a beat, 3 in compound metres, where "
      "a beat is a dotted quarter. `signature`: how the metre is written. `swing`: the first half of a beat "
      "in multiples of the second, 1 if straight.";
  static constexpr std::array kAddedLater{"division", "signature", "swing"};
  TimeUs at = 0;
  Whole<1, 1000> tempo{1};
  Share confidence;
  Whole<1, 16> place{1}, meter{4};
  BeatSource source = BeatSource::kPlayed;
  Whole<2, 3> division{2};
  TimeSignature signature{};
  Real<1, 3> swing{1};
};
BOOST_DESCRIBE_STRUCT(BeatNow, (), (at, tempo, confidence, place, meter, source, division, signature, swing))

enum class BeatWord : std::uint8_t { kTap, kClock, kOne, kTwice, kHalf, kMeter, kUndo };
BOOST_DESCRIBE_ENUM(BeatWord, kTap, kClock, kOne, kTwice, kHalf, kMeter, kUndo)

struct LoggedBeat {
  static constexpr const char* kSays =
      "A statement about the beats of the take. `tap`: beats are `interval_us` long. `clock`: an external "
      "MIDI clock starts a bar here; with `place`, because the take began in the middle of a bar, that beat "
      "of the bar falls here instead (1 = second). `one`: a bar begins here. `meter`: beats in a bar. "
      "`twice`, `half`: twice or half as many beats. `undo`: takes back the last of these, except `clock`.";
  BeatWord what = BeatWord::kOne;
  std::optional<TimeUs> interval_us{};
  std::optional<Whole<1, 16>> meter{};
  std::optional<Whole<1, 15>> place{};
};
BOOST_DESCRIBE_STRUCT(LoggedBeat, (), (what, interval_us, meter, place))

struct AlongChord {
  static constexpr const char* kSays = "`at_us`: counted from the beginning of the loop.";
  TimeUs at_us = 0;
  std::string harte;
};
BOOST_DESCRIBE_STRUCT(AlongChord, (), (at_us, harte))

struct LoggedAlong {
  static constexpr const char* kSays =
      "The loop of take `take` is played while this take is recorded. One round lasts `cycle_us`.";
  std::uint64_t take = 0;
  double tempo = 0;
  Whole<1, 16> meter{4};
  TimeUs cycle_us = 0;
  std::vector<AlongChord> chords;
};
BOOST_DESCRIBE_STRUCT(LoggedAlong, (), (take, tempo, meter, cycle_us, chords))

struct LoggedPass {
  static constexpr const char* kSays = "A round of the loop begins here; `number` counts from 1.";
  std::uint32_t number = 0;
};
BOOST_DESCRIBE_STRUCT(LoggedPass, (), (number))

struct LoggedLoss {
  static constexpr const char* kSays =
      "`events` messages of an input were lost just before this line, because they came faster than they "
      "could be read. Notes that sounded on that input were ended.";
  Whole<0, 255> port;
  std::string name;
  std::uint64_t events = 0;
};
BOOST_DESCRIBE_STRUCT(LoggedLoss, (), (port, name, events))

struct LoggedMeeting : Chord {
  static constexpr const char* kSays =
      "A melody note sounded over a chord, from `at` for `length_us`; logged when it is over. `time`: how "
      "often this note has met this harmony (root and family) in the take; more than 1 means that the "
      "player came back to it. `key`: missing if none was known.";
  PitchNumber pitch;
  std::string name, degree;
  Family family = Family::kMajor;
  TimeUs length_us = 0;
  std::uint32_t time = 1;
  std::optional<std::string> key{};
};
BOOST_DESCRIBE_STRUCT(LoggedMeeting, (Chord), (pitch, name, degree, family, length_us, time, key))

enum class Verdict : std::uint8_t { kKept, kDismissed, kOpen };
BOOST_DESCRIBE_ENUM(Verdict, kKept, kDismissed, kOpen)

struct LoggedVerdict {
  static constexpr const char* kSays =
      "What the player said of a part of the take: it is kept, it is dismissed, or neither any longer "
      "(`open`). `from_us` counts from the beginning of the take.";
  TimeUs from_us = 0, length_us = 0;
  Verdict verdict = Verdict::kKept;
};
BOOST_DESCRIBE_STRUCT(LoggedVerdict, (), (from_us, length_us, verdict))

struct LogLine {
  static constexpr const char* kSays =
      "One line of the log. Numbers ascend without gaps over all takes, and a line is saved before it is "
      "sent. Only the members of its kind are present: `text` in mark, rename, annotate, in correction and "
      "heard (there in Harte syntax; the player listened to that chord), and in unmark (the number of the "
      "line of the mark that is taken back), `reason` in take_end, `begin_utc_ms` in take_begin. `take` is "
      "missing if the event was between takes. An `echo` is a received message that was probably sent by "
      "the daemon itself. It does not count as playing, and is stored in case that guess is wrong.";
  static constexpr std::array kAddedLater{"verdict"};
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
  std::optional<LoggedVerdict> verdict{};
  std::optional<std::string> text{};
  std::optional<std::string> reason{};
  std::optional<TimeUtcMs> begin_utc_ms{};
};
BOOST_DESCRIBE_STRUCT(LogLine, (),
                      (number, take, at, kind, midi, chord, key, melody, offered, tried, beat, along, pass,
                       echo, lost, meeting, verdict, text, reason, begin_utc_ms))

struct LoopAgain {
  static constexpr const char* kSays =
      "An earlier take that went round the same chords, and when it began. `shift`: semitones from that take "
      "to this one, upwards or downwards, whichever is nearer.";
  std::uint64_t take = 0;
  TimeUtcMs begin_utc_ms = 0;
  Whole<-5, 6> shift;
};
BOOST_DESCRIBE_STRUCT(LoopAgain, (), (take, begin_utc_ms, shift))

struct TakeContent {
  static constexpr const char* kSays =
      "What a take without a title is called by: the chords that were gone round in it, and how often. A "
      "take that goes round nothing has its first chords, once. It is kept with the take. At first it is "
      "read from the names of the chords; soon after the take has ended the daemon has looked for its beats "
      "and loops, and then it is that of the loop that explains most, with its tempo in beats a minute. "
      "`circled_us`: how long loops were gone round in all. `returns`: how many pairs of a melody note and a "
      "chord the player came back to.";
  std::vector<Chord> chords;
  std::uint64_t times = 1;
  std::optional<double> tempo{};
  TimeUs circled_us = 0;
  std::uint64_t returns = 0;
  std::optional<LoopAgain> again{};
};
BOOST_DESCRIBE_STRUCT(TakeContent, (), (chords, times, tempo, circled_us, returns, again))

struct TakeSummary {
  static constexpr const char* kSays =
      "`at`: where the take begins, on the clock of the run that recorded it. `length_us`: of an open take, "
      "up to its newest line. `ended`: why it ended (silence, request, stop or interrupted); missing while "
      "it is open. `content`: missing while it is open, and for a take without chords.";
  static constexpr std::array kAddedLater{"content"};
  std::uint64_t take = 0;
  TimeUtcMs begin_utc_ms = 0;
  TimeUs at = 0;
  TimeUs length_us = 0;
  std::string title;
  std::string annotation;
  std::optional<std::string> ended{};
  std::uint64_t notes = 0, chords = 0, marks = 0;
  std::optional<std::string> key;  // Harte form of the key that held longest
  std::optional<TakeContent> content{};
  bool deleted = false;
  std::uint64_t first_line = 0, last_line = 0;
};
BOOST_DESCRIBE_STRUCT(TakeSummary, (),
                      (take, begin_utc_ms, at, length_us, title, annotation, ended, notes, chords, marks, key,
                       content, deleted, first_line, last_line))

// ---- the daemon's state

struct Port {
  static constexpr const char* kSays =
      "A MIDI input. `own`: the daemon's own port, into which other programs play; it is not a keyboard. "
      "`last_note`: when a key was struck on it last, missing before the first; status.get says how it is "
      "now, but a new note alone causes no `status`.";
  static constexpr std::array kAddedLater{"last_note"};
  std::uint64_t number = 0;
  std::string name;
  bool connected = false;
  bool own = false;
  std::optional<TimeUs> last_note{};
};
BOOST_DESCRIBE_STRUCT(Port, (), (number, name, connected, own, last_note))

struct OutputPort {
  static constexpr const char* kSays =
      "`trouble`: why it is not connected, in one sentence; empty if it is. `listeners`: how many programs "
      "and instruments are connected to the daemon's own output; with 0, what is played there is heard by "
      "nobody. Missing for an output of another program, or while it is not known. `offered`: names of the "
      "outputs that the setting hear_output could name instead.";
  static constexpr std::array kAddedLater{"listeners", "offered"};
  std::string name;
  bool connected = false;
  std::string trouble;
  std::optional<std::uint32_t> listeners{};
  std::optional<std::vector<std::string>> offered{};
};
BOOST_DESCRIBE_STRUCT(OutputPort, (), (name, connected, trouble, listeners, offered))

struct SoundingNote {
  static constexpr const char* kSays = "`at_us`: from `since` on.";
  TimeUs at_us = 0, length_us = 0;
  PitchNumber pitch;
  VelocityNumber velocity;
};
BOOST_DESCRIBE_STRUCT(SoundingNote, (), (at_us, length_us, pitch, velocity))

struct PlayingAlong {
  static constexpr const char* kSays =
      "The loop repeats after `count_in_us`; one round lasts `cycle_us`. `rounds`: how many are played; "
      "missing if it repeats until it is stopped. `given`: the chords came with the request and are not "
      "those of the loop. `listen`: nothing is recorded against the loop. `by_client`: the client that asked "
      "sounds it, and the MIDI output is silent; the answer to that client has `notes`, those of the "
      "count-in and of one round.";
  static constexpr std::array kAddedLater{"by_client", "notes"};
  double tempo = 0;
  Whole<1, 16> meter{4};
  TimeUs count_in_us = 0, cycle_us = 0;
  std::vector<AlongChord> chords;
  std::optional<std::uint32_t> rounds{};
  bool given = false, listen = false;
  std::optional<bool> by_client{};
  std::optional<std::vector<SoundingNote>> notes{};
};
BOOST_DESCRIBE_STRUCT(PlayingAlong, (),
                      (tempo, meter, count_in_us, cycle_us, chords, rounds, given, listen, by_client, notes))

struct PlayingTurn {
  static constexpr const char* kSays =
      "A section of the sketch begins: number `section`, from 1, for the time `time`, from 1. Repeats and "
      "jumps are written out.";
  std::uint64_t section = 0, time = 1;
  TimeUs at_us = 0;
};
BOOST_DESCRIBE_STRUCT(PlayingTurn, (), (section, time, at_us))

struct PlayingSong {
  static constexpr const char* kSays = "`length_us`: of the whole song, however much of it is played.";
  std::string title;
  TimeUs length_us = 0;
  std::vector<PlayingTurn> turns;
};
BOOST_DESCRIBE_STRUCT(PlayingSong, (), (title, length_us, turns))

struct Playing {
  static constexpr const char* kSays =
      "What the MIDI output is playing: a take from `from_us` to `to_us`, counted from its beginning. "
      "`since`: when `from_us` sounded, on the daemon's clock. With `along` it is the loop of the take, and "
      "`from_us` and `to_us` are 0. With `song` it is a song, `from_us` and `to_us` count from its "
      "beginning, and `take` is 0.";
  static constexpr std::array kAddedLater{"song"};
  std::uint64_t take = 0;
  TimeUs since = 0;
  TimeUs from_us = 0, to_us = 0;
  std::optional<PlayingAlong> along{};
  std::optional<PlayingSong> song{};
};
BOOST_DESCRIBE_STRUCT(Playing, (), (take, since, from_us, to_us, along, song))

struct CurrentTake {
  static constexpr const char* kSays = "`take` is missing until the first line of the take is on disk.";
  std::optional<std::uint64_t> take{};
  TimeUs since = 0;
  TimeUtcMs begin_utc_ms = 0;
  std::uint64_t notes = 0;
};
BOOST_DESCRIBE_STRUCT(CurrentTake, (), (take, since, begin_utc_ms, notes))

struct StoreHealth {
  static constexpr const char* kSays =
      "`sentence`: what is wrong; empty if nothing is. `waiting`: lines in memory that are not on disk yet; "
      "`lost`: lines dropped because memory was full. `id`: names this store; in another store the same log "
      "number means another line. `damage`: what of the takes is damaged and could not be put right; empty "
      "if nothing is known to be. `checked_utc_ms`: when the takes were last checked as a whole, in the "
      "background after the start; missing until then. `backed_up_utc_ms`: when the newest daily backup was "
      "made; missing if there is none.";
  static constexpr std::array kAddedLater{"damage", "checked_utc_ms", "backed_up_utc_ms"};
  bool good = true;
  std::string sentence;
  std::uint64_t waiting = 0, lost = 0;
  std::string id;
  std::string damage;
  std::optional<TimeUtcMs> checked_utc_ms{}, backed_up_utc_ms{};
};
BOOST_DESCRIBE_STRUCT(StoreHealth, (),
                      (good, sentence, waiting, lost, id, damage, checked_utc_ms, backed_up_utc_ms))

enum class SymbolStyle : std::uint8_t { kLetters, kSigns };
BOOST_DESCRIBE_ENUM(SymbolStyle, kLetters, kSigns)

// Which melody notes an alternative must fit.
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

// Which harmony the ranking expects: what it finds by listening, that of old songs, pop or jazz, or the
// player's own.
enum class Lean : std::uint8_t { kFound, kSongbook, kPop, kJazz, kOwn };
BOOST_DESCRIBE_ENUM(Lean, kFound, kSongbook, kPop, kJazz, kOwn)

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
  kKey,
  kLean,
  kReach,
  kOwn,
  kControls
};
BOOST_DESCRIBE_ENUM(SettingName, kBrighter, kTenser, kSurprising, kSymbolStyle, kHearOutput, kHearVelocity,
                    kSettleMs, kMelody, kVoicing, kKey, kLean, kReach, kOwn, kControls)

// How a control is pressed, and what it orders; in the order of listen::Press and listen::Action.
enum class ControlPress : std::uint8_t { kSingle, kDouble, kLong };
BOOST_DESCRIBE_ENUM(ControlPress, kSingle, kDouble, kLong)
enum class ControlAction : std::uint8_t {
  kMark,
  kHoldStill,
  kHearNext,
  kEndTake,
  kTap,
  kBeatOne,
  kPinKey,
  kUndoMark,
  kHearPrevious,
  kHearAgain,
  kBrighter,
  kDarker,
  kMoreTense,
  kMoreResolved,
  kMoreSurprising,
  kMoreFamiliar,
  kNoWishes,
  kAlong,
  kFindPlayed,
};
BOOST_DESCRIBE_ENUM(ControlAction, kMark, kHoldStill, kHearNext, kEndTake, kTap, kBeatOne, kPinKey, kUndoMark,
                    kHearPrevious, kHearAgain, kBrighter, kDarker, kMoreTense, kMoreResolved, kMoreSurprising,
                    kMoreFamiliar, kNoWishes, kAlong, kFindPlayed)

struct Control {
  static constexpr const char* kSays =
      "A pedal, pad or key that gives an order and is not heard as music. `message`: \"cc 67\", \"note "
      "108\", \"pad 36\" or \"program 5\", then optionally \"channel 1\" to \"channel 16\" and \"port "
      "NAME\".";
  std::string message;
  ControlPress press = ControlPress::kSingle;
  ControlAction action = ControlAction::kMark;
};
BOOST_DESCRIBE_STRUCT(Control, (), (message, press, action))

struct Settings {
  static constexpr const char* kSays =
      "`symbol_style`: which texts of a chord clients show, letters (Cmaj7) or signs (CΔ7). `hear_output`: "
      "empty means the daemon's own virtual port. `hear_velocity`: the greatest loudness of a suggestion. "
      "`settle_ms`: clients wait this long before they show a new chord, so that the display does not "
      "flicker. `melody`: alternatives must fit the newest note, the two newest while both are held or "
      "alternate, or all notes of the last bar. `voicing`: the style of the voicings, where a chord can be "
      "played in it; open moves the hands least. `key`: the pinned key in Harte syntax; empty while none is "
      "pinned. `lean`: which harmony suggestions lean to; found means that it is found from what is played. "
      "`reach`: how far one hand of the player stretches with ease, in semitones. `own`: whether what the "
      "player returned to, marked and took from the list in kept takes shapes suggestions. `changed`: the "
      "settings that a client changed from the configuration. They survive a "
      "restart; settings.reset undoes them.";
  static constexpr std::array kAddedLater{"lean", "reach", "own", "controls"};
  Wishes wishes;
  SymbolStyle symbol_style = SymbolStyle::kLetters;
  std::string hear_output;
  Whole<1, 127> hear_velocity{64};
  Whole<0, 60'000> settle_ms{250};  // harmony::kMeant; a test holds the two together
  MelodySpan melody = MelodySpan::kTwo;
  VoicingStyle voicing = VoicingStyle::kOpen;
  std::string key;
  Lean lean = Lean::kFound;
  Whole<12, 16> reach{14};
  bool own = true;
  std::vector<Control> controls;
  std::vector<SettingName> changed;
};
BOOST_DESCRIBE_STRUCT(Settings, (),
                      (wishes, symbol_style, hear_output, hear_velocity, settle_ms, melody, voicing, key,
                       lean, reach, own, controls, changed))

enum class Topic : std::uint8_t { kMoment, kStatus, kLog };
BOOST_DESCRIBE_ENUM(Topic, kMoment, kStatus, kLog)

struct PlayedNote {
  static constexpr const char* kSays = "A key goes down (`on`) or up.";
  PitchNumber pitch;
  VelocityNumber velocity;
  bool on = false;
};
BOOST_DESCRIBE_STRUCT(PlayedNote, (), (pitch, velocity, on))

}  // namespace undersong::protocol
