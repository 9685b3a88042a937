// Messages about songs: the loop of a take, other chords for it, parts for other musicians, and sketches of
// songs. messages.h lists them and says how a message is made.
//
// Over 400 lines: all messages about songs, so that one is added in one place.
//
// The daemon answers them on a thread of low priority; a take of an hour needs a second or two.
//
// Units and ranges: see shapes.h; the types of the members carry the ranges.
// Threads: plain values.
// Errors: as in messages.h.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "protocol/shapes.h"

namespace undersong::protocol {

// ---- the loop of a take

struct LoopChord : Chord {
  static constexpr const char* kSays =
      "`beats` is missing if there is no pulse. `length_us` is the median over all passes.";
  std::optional<double> beats{};
  TimeUs length_us = 0;
};
BOOST_DESCRIBE_STRUCT(LoopChord, (Chord), (beats, length_us))

struct LoopPass {
  static constexpr const char* kSays =
      "One round of the loop. `difference`: what was unusual in it, in words with chord names in letters; "
      "empty if nothing was. `transposed`: semitones upwards.";
  TimeUs at = 0, length_us = 0;
  std::string section;
  bool variant = false, cut = false;
  Whole<-6, 6> transposed;
  std::string difference;
};
BOOST_DESCRIBE_STRUCT(LoopPass, (), (at, length_us, section, variant, cut, transposed, difference))

struct LoopSection {
  static constexpr const char* kSays =
      "Passes with related melodies. `first`: index of the first in `passes`, from 0. `kind` and `reason` "
      "are words for people.";
  std::string label, kind;
  std::uint64_t first = 0, passes = 0;
  TimeUs at = 0, length_us = 0;
  std::string reason;
};
BOOST_DESCRIBE_STRUCT(LoopSection, (), (label, kind, first, passes, at, length_us, reason))

struct FoundLoop {
  static constexpr const char* kSays =
      "One loop of a take. `confidence` is the probability that these chords were really circled. The "
      "labels of all loops' sections differ.";
  Share confidence;
  std::vector<LoopChord> chords;
  std::vector<LoopPass> passes;
  std::vector<LoopSection> sections;
};
BOOST_DESCRIBE_STRUCT(FoundLoop, (), (confidence, chords, passes, sections))

struct TakeLoop {
  static constexpr const char* kSays =
      "`loops`: all loops of the take, the one that explains most first; `confidence`, `chords`, `passes` "
      "and `sections` are those of the first. `signature`: how the metre is written, as 6/8 for two beats a "
      "bar that are divided by three.";
  static constexpr std::array kAddedLater{"signature", "loops"};
  std::uint64_t take = 0;
  std::optional<double> tempo{};  // beats a minute
  std::optional<std::uint32_t> meter{};
  std::optional<TimeSignature> signature{};
  Share confidence;
  std::vector<LoopChord> chords;
  std::vector<LoopPass> passes;
  std::vector<LoopSection> sections;
  std::vector<FoundLoop> loops;
};
BOOST_DESCRIBE_STRUCT(TakeLoop, (),
                      (take, tempo, meter, signature, confidence, chords, passes, sections, loops))

struct GetLoop {
  static constexpr const char* kMethod = "take.loop";
  static constexpr const char* kSays =
      "The chord loops that were repeated in a take, their passes and sections. Without `take`: the newest. "
      "The error is -32001 (not found) if nothing repeats. `tempo`, `meter` and `signature` are missing if "
      "there is no pulse.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"tempo":92,"meter":4,"signature":{"upper":4,"lower":4},"confidence":0.97,"chords":[{"root":2,"root_name":"D","quality":"min7","letters":["m","7"],"signs":["-","7"],"harte":"D:min7","beats":4,"length_us":2608000}],"passes":[{"at":83512004,"length_us":10434000,"section":"A","variant":false,"cut":false,"transposed":0,"difference":""}],"sections":[{"label":"A","kind":"theme","first":0,"passes":1,"at":83512004,"length_us":10434000,"reason":"A melody that comes once; about three notes every two beats, as busy as usual."}],"loops":[{"confidence":0.97,"chords":[{"root":2,"root_name":"D","quality":"min7","letters":["m","7"],"signs":["-","7"],"harte":"D:min7","beats":4,"length_us":2608000}],"passes":[{"at":83512004,"length_us":10434000,"section":"A","variant":false,"cut":false,"transposed":0,"difference":""}],"sections":[{"label":"A","kind":"theme","first":0,"passes":1,"at":83512004,"length_us":10434000,"reason":"A melody that comes once; about three notes every two beats, as busy as usual."}]}]})";
  using Reply = TakeLoop;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetLoop, (), (take))

// ---- other chords for it

enum class RootsMove : std::uint8_t { kAny, kFifths, kRisingFifths, kThirds, kSteps, kSemitones };
BOOST_DESCRIBE_ENUM(RootsMove, kAny, kFifths, kRisingFifths, kThirds, kSteps, kSemitones)

enum class NoteRole : std::uint8_t { kChordTone, kTension, kAvoid };
BOOST_DESCRIBE_ENUM(NoteRole, kChordTone, kTension, kAvoid)

struct SungDegree {
  static constexpr const char* kSays =
      "A melody note over a chord. `length`: how long it sounds in one round, in beats, or in seconds if "
      "there is no pulse. `held`: true if it is long.";
  std::string note, degree;
  NoteRole role = NoteRole::kChordTone;
  double length = 0;
  bool held = false;
};
BOOST_DESCRIBE_STRUCT(SungDegree, (), (note, degree, role, length, held))

struct ProposedChord : Coloured {
  static constexpr const char* kSays =
      "`change`: what it does in place of the chord that was played. `reached_by`: the motion from the "
      "chord before it; the first follows the last. `outside`: how many of its tones lie outside the key. "
      "`left` and `right`: the keys of each hand, lowest first, the melody on top.";
  bool kept = false, changed = false;
  std::string change, reached_by;
  std::vector<SungDegree> melody;
  Whole<0, 12> outside;
  std::vector<PitchNumber> left, right;
};
BOOST_DESCRIBE_STRUCT(ProposedChord, (Coloured),
                      (kept, changed, change, reached_by, melody, outside, left, right))

struct LoopProposal {
  static constexpr const char* kSays =
      "Chords for one round of the loop. `score` only compares proposals of one answer. `dark_bright` and "
      "`resolved_tense` are means over the chords. `reason` names chords in letters. `hands_move`: "
      "semitones in one round. `pedal`: the note on which the bass stays, if that was asked for.";
  std::vector<ProposedChord> chords;
  double score = 0;
  Wish dark_bright;
  Share resolved_tense;
  std::vector<std::string> colour;
  std::uint64_t changed = 0, hands_move = 0;
  std::string reason;
  std::optional<PitchClassNumber> pedal{};
};
BOOST_DESCRIBE_STRUCT(LoopProposal, (),
                      (chords, score, dark_bright, resolved_tense, colour, changed, hands_move, reason,
                       pedal))

struct Reharmonised {
  static constexpr const char* kSays =
      "`apart`: any two proposals, and each proposal and what was `played`, differ in at least this many of "
      "the `free` chords. `exact`: true if the search was complete, so no better proposal exists.";
  std::uint64_t take = 0;
  std::optional<std::string> key{};
  std::string section;
  std::uint64_t passes = 0, free = 0, apart = 0;
  bool exact = true;
  LoopProposal played;
  std::vector<LoopProposal> proposals;
};
BOOST_DESCRIBE_STRUCT(Reharmonised, (), (take, key, section, passes, free, apart, exact, played, proposals))

struct Reharmonise {
  static constexpr const char* kMethod = "take.reharmonise";
  static constexpr const char* kSays =
      "Other chords for the loop of a take under the same melody, best first. `keep`: places in the loop "
      "whose chords stay, from 1. `section`: whose melody is kept; by default the section with the most "
      "passes. `pedal`: one bass note under all chords: \"any\" for the best one, or a note name such as "
      "Bb.";
  static constexpr const char* kExample =
      R"({"take":12,"brighter":-0.5,"roots":"fifths","keep":[1],"count":8})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"key":"C:maj","section":"A","passes":6,"free":1,"apart":1,"exact":true,"played":{"chords":[],"score":0.71,"dark_bright":0.1,"resolved_tense":0.4,"colour":["neutral","at rest"],"changed":0,"hands_move":12,"reason":"as played"},"proposals":[{"chords":[{"root":1,"root_name":"Db","quality":"9","letters":["","9"],"signs":["","9"],"harte":"Db:9","dark_bright":-0.2,"resolved_tense":0.6,"colour":["dark","mild"],"kept":false,"changed":true,"change":"tritone substitute","reached_by":"chromatic approach","melody":[{"note":"F","degree":"3","role":"chord_tone","length":2,"held":true}],"outside":3,"left":[37,47],"right":[63,68,77]}],"score":0.62,"dark_bright":-0.2,"resolved_tense":0.6,"colour":["dark","mild"],"changed":1,"hands_move":9,"reason":"from outside C major: Db9 (tritone substitute for G7); darker than the loop"}]})";
  using Reply = Reharmonised;
  std::optional<std::uint64_t> take{};
  std::optional<Wish> brighter{}, tenser{}, surprising{};
  std::optional<RootsMove> roots{};
  std::optional<std::string> pedal{};
  std::optional<std::vector<Whole<1, 1000>>> keep{};
  std::optional<std::string> section{};
  std::optional<Whole<1, 16>> count{};
};
BOOST_DESCRIBE_STRUCT(Reharmonise, (),
                      (take, brighter, tenser, surprising, roots, pedal, keep, section, count))

// ---- parts for other musicians

struct HandedFile {
  std::string name, base64;
};
BOOST_DESCRIBE_STRUCT(HandedFile, (), (name, base64))

struct HandedOver {
  static constexpr const char* kSays =
      "`folder`: a suggested name for the folder of the files. `remarks`: flaws that did not prevent the "
      "result, one sentence each.";
  std::string folder;
  std::vector<HandedFile> files;
  std::vector<std::string> remarks;
};
BOOST_DESCRIBE_STRUCT(HandedOver, (), (folder, files, remarks))

enum class StringStyle : std::uint8_t { kStill, kMoving, kChorale };
BOOST_DESCRIBE_ENUM(StringStyle, kStill, kMoving, kChorale)

struct HandOverTake {
  static constexpr const char* kMethod = "take.hand_over";
  static constexpr const char* kSays =
      "A take as files for other musicians: parts.mid, a full score, a lead sheet (also for instruments in "
      "B flat and E flat), parts for piano, bass and strings, a page of chords, and the chords as text. "
      "`steady`: an even tempo instead of the player's; `tempo`: that tempo in beats a minute, if given. "
      "`strings`: they hold what they can (`still`, the default), an inner voice moves (`moving`), or every "
      "chord is struck (`chorale`). `divisi`: violins I and violas divide where the chord has a tone that "
      "nobody plays.";
  static constexpr const char* kExample = R"({"take":12,"steady":true,"tempo":96})";
  static constexpr const char* kReplyExample =
      R"({"folder":"take-12","files":[{"name":"chart.txt","base64":"RG03IHwgRzcK"}],"remarks":[]})";
  static constexpr std::array kAddedLater{"strings", "divisi"};
  using Reply = HandedOver;
  std::optional<std::uint64_t> take{};
  std::optional<bool> steady{};
  std::optional<double> tempo{};
  std::optional<StringStyle> strings{};
  std::optional<bool> divisi{};
};
BOOST_DESCRIBE_STRUCT(HandOverTake, (), (take, steady, tempo, strings, divisi))

// ---- sketches of songs

enum class SectionRole : std::uint8_t {
  kIntro,
  kTheme,
  kDevelopment,
  kBridge,
  kSolo,
  kInterlude,
  kEnding,
  kVerse,
  kChorus,
  kPreChorus,
  kOutro
};
BOOST_DESCRIBE_ENUM(SectionRole, kIntro, kTheme, kDevelopment, kBridge, kSolo, kInterlude, kEnding, kVerse,
                    kChorus, kPreChorus, kOutro)

enum class SongFeel : std::uint8_t { kStraight, kSwing };
BOOST_DESCRIBE_ENUM(SongFeel, kStraight, kSwing)

enum class SongDynamic : std::uint8_t { kPp, kP, kMp, kMf, kF, kFf };
BOOST_DESCRIBE_ENUM(SongDynamic, kPp, kP, kMp, kMf, kF, kFf)

enum class SongLayer : std::uint8_t { kMelody, kChords, kBass, kPad };
BOOST_DESCRIBE_ENUM(SongLayer, kMelody, kChords, kBass, kPad)

struct SketchSection {
  static constexpr const char* kSays =
      "Where a section of a song comes from: a `take`, or a standard MIDI file `source` that lies beside "
      "the sketches. From it a section by `label`, or `passes` (from 1), or a `span` of two times in "
      "seconds; with none of these, the section with the most passes. `layers`: all by default. "
      "`reharmonise`: the number of a proposal; or `chords`: symbols or Harte syntax; or `chord_line`: "
      "chords with a rhythm of their own, such as \"Cm7 . Ab | G7\". `tune_take` or `tune_source`: whose "
      "melody is played instead. `transpose`: semitones. `key`: the key in which it is written, such as "
      "\"F#m\". `tempo`, `meter` and `feel`: where they differ from the song's. `lyrics`: one text for each "
      "time; words before a | are sung in the pickup. `begins`: \"segno\" or \"coda\"; `ends`: \"to coda\", "
      "\"fine\", \"D.C.\", \"D.S.\", and these with \"al coda\" or \"al fine\".";
  static constexpr std::array kAddedLater{"chord_line", "tune_take", "tune_source", "tempo",  "meter",
                                          "feel",       "dynamics",  "lyrics",      "begins", "ends",
                                          "ritardando", "fermata",   "key"};
  std::string name;
  SectionRole kind = SectionRole::kTheme;
  std::optional<std::uint64_t> take{};
  std::optional<std::string> source{}, label{};
  std::optional<std::vector<Whole<1, 1'000'000>>> passes{};
  std::optional<std::vector<double>> span{};
  std::optional<Whole<1, 64>> repeats{};
  std::optional<std::vector<SongLayer>> layers{};
  std::optional<Whole<1, 16>> reharmonise{};
  std::optional<std::vector<std::string>> chords{};
  std::optional<Whole<-24, 24>> transpose{};
  std::optional<std::string> chord_line{};
  std::optional<std::uint64_t> tune_take{};
  std::optional<std::string> tune_source{};
  std::optional<double> tempo{};
  std::optional<Whole<2, 12>> meter{};
  std::optional<SongFeel> feel{};
  std::optional<SongDynamic> dynamics{};
  std::optional<std::vector<std::string>> lyrics{};
  std::optional<std::string> begins{}, ends{};
  std::optional<bool> ritardando{}, fermata{};
  std::optional<std::string> key{};
};
BOOST_DESCRIBE_STRUCT(SketchSection, (),
                      (name, kind, take, source, label, passes, span, repeats, layers, reharmonise, chords,
                       transpose, chord_line, tune_take, tune_source, tempo, meter, feel, dynamics, lyrics,
                       begins, ends, ritardando, fermata, key))

struct SongSketch {
  static constexpr const char* kSays =
      "A song as an ordered list of sections taken from takes. `tempo`: beats a minute, 30 to 300; by "
      "default that of the first section. `count_in`: bars before the song, in its MIDI file.";
  static constexpr std::array kAddedLater{"feel", "count_in"};
  std::string title;
  std::optional<double> tempo{};
  std::vector<SketchSection> sections;
  std::optional<SongFeel> feel{};
  std::optional<Whole<0, 2>> count_in{};
};
BOOST_DESCRIBE_STRUCT(SongSketch, (), (title, tempo, sections, feel, count_in))

struct KeptSketch {
  static constexpr const char* kSays =
      "`text`: the contents of the TOML file of the sketch. `revision` changes whenever the text changes.";
  std::string name, revision, text;
  SongSketch sketch;
};
BOOST_DESCRIBE_STRUCT(KeptSketch, (), (name, revision, text, sketch))

struct SketchSummary {
  static constexpr const char* kSays =
      "`problem`: what is wrong with the sketch, with the line number; empty if it can be read.";
  std::string name, title;
  std::uint64_t sections = 0;
  std::string problem;
};
BOOST_DESCRIBE_STRUCT(SketchSummary, (), (name, title, sections, problem))

struct SketchList {
  std::string folder;
  std::vector<SketchSummary> sketches;
};
BOOST_DESCRIBE_STRUCT(SketchList, (), (folder, sketches))

struct ListSketches {
  static constexpr const char* kMethod = "sketch.list";
  static constexpr const char* kSays = "The sketches by name, and the folder of their TOML files.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"folder":"/home/player/.local/share/undersong/sketches","sketches":[{"name":"rounds","title":"Evening rounds","sections":6,"problem":""}]})";
  using Reply = SketchList;
};
BOOST_DESCRIBE_STRUCT(ListSketches, (), ())

struct ProposeSketch {
  static constexpr const char* kMethod = "sketch.propose";
  static constexpr const char* kSays =
      "A first sketch from what was found in these takes: theme, development, bridge, solo, ending. Nothing "
      "is saved.";
  static constexpr const char* kExample = R"({"takes":[1],"title":"Evening rounds"})";
  static constexpr const char* kReplyExample =
      R"({"title":"Evening rounds","sections":[{"name":"Theme","kind":"theme","take":1,"label":"A","repeats":2}]})";
  using Reply = SongSketch;
  std::vector<std::uint64_t> takes;
  std::optional<std::string> title{};
};
BOOST_DESCRIBE_STRUCT(ProposeSketch, (), (takes, title))

struct PutSketch {
  static constexpr const char* kMethod = "sketch.put";
  static constexpr const char* kSays =
      "Saves a sketch under a name of letters, digits, spaces, - and _. The reply has what is saved now. "
      "With `revision`, the revision that the client read, the request is refused if the sketch has changed "
      "since.";
  static constexpr const char* kExample =
      R"({"name":"rounds","sketch":{"title":"Evening rounds","sections":[{"name":"Theme","kind":"theme","take":1,"label":"A","repeats":2,"layers":["melody","chords"]}]}})";
  static constexpr const char* kReplyExample =
      R"({"name":"rounds","revision":"9f1c2a77","text":"title = \"Evening rounds\"\n","sketch":{"title":"Evening rounds","sections":[]}})";
  using Reply = KeptSketch;
  std::string name;
  SongSketch sketch;
  std::optional<std::string> revision{};
};
BOOST_DESCRIBE_STRUCT(PutSketch, (), (name, sketch, revision))

struct GetKeptSketch {
  static constexpr const char* kMethod = "sketch.get";
  static constexpr const char* kSays = "One sketch.";
  static constexpr const char* kExample = R"({"name":"rounds"})";
  static constexpr const char* kReplyExample = PutSketch::kReplyExample;
  using Reply = KeptSketch;
  std::string name;
};
BOOST_DESCRIBE_STRUCT(GetKeptSketch, (), (name))

struct OutlinedPart {
  static constexpr const char* kSays =
      "`at` and `beats`: in written beats from the beginning of the song, over all repeats. `chords`: of "
      "one time. `key`: only if it is not the key of the song. `section`: of the sketch, from 1; a section "
      "whose passes differ makes several parts.";
  static constexpr std::array kAddedLater{"section"};
  std::string name;
  std::optional<std::string> key{};
  double at = 0, beats = 0;
  std::uint32_t times = 1;
  std::vector<SongLayer> layers;
  std::vector<Chord> chords;
  std::uint64_t section = 0;
};
BOOST_DESCRIBE_STRUCT(OutlinedPart, (), (name, key, at, beats, times, layers, chords, section))

struct SongTurn {
  static constexpr const char* kSays =
      "A part begins: number `part` of the outline, from 0, for the time `time`, from 1. Repeats and jumps "
      "are written out.";
  std::uint64_t part = 0, time = 1;
  TimeUs at_us = 0;
};
BOOST_DESCRIBE_STRUCT(SongTurn, (), (part, time, at_us))

struct SongNote {
  TimeUs at_us = 0, length_us = 0;
  PitchNumber pitch;
  VelocityNumber velocity;
  SongLayer layer = SongLayer::kMelody;
};
BOOST_DESCRIBE_STRUCT(SongNote, (), (at_us, length_us, pitch, velocity, layer))

struct SongSound {
  static constexpr const char* kSays =
      "The song as it sounds, from its first note on: without count-in, with all repeats and jumps, in the "
      "tempos that are written.";
  TimeUs length_us = 0;
  std::vector<SongTurn> turns;
  std::vector<SongNote> notes;
};
BOOST_DESCRIBE_STRUCT(SongSound, (), (length_us, turns, notes))

struct SketchOutline {
  static constexpr std::array kAddedLater{"signature", "sound"};
  std::string title;
  std::optional<std::string> key{};
  std::uint32_t meter = 4;
  std::optional<TimeSignature> signature{};
  double tempo = 120;
  std::vector<OutlinedPart> parts;
  std::optional<SongSound> sound{};
};
BOOST_DESCRIBE_STRUCT(SketchOutline, (), (title, key, meter, signature, tempo, parts, sound))

struct OutlineSketch {
  static constexpr const char* kMethod = "sketch.outline";
  static constexpr const char* kSays =
      "The parts of the song that a sketch makes, in order: of a kept one by `name`, or of the `sketch` "
      "that comes with the request. With `sounding`, the reply has the notes too. If a section cannot be "
      "made, the error says which one.";
  static constexpr const char* kExample = R"({"name":"rounds","sounding":true})";
  static constexpr const char* kReplyExample =
      R"({"title":"Evening rounds","key":"C:min","meter":4,"signature":{"upper":4,"lower":4},"tempo":73,"parts":[{"name":"Theme","at":0,"beats":16,"times":2,"layers":["melody","chords"],"section":1,"chords":[{"root":3,"root_name":"Eb","quality":"maj9","letters":["","maj9"],"signs":["Δ","9"],"harte":"Eb:maj9"},{"root":0,"root_name":"C","quality":"min7","letters":["m","7"],"signs":["-","7"],"bass":10,"bass_name":"Bb","harte":"C:min7/b7"}]}],"sound":{"length_us":26301370,"turns":[{"part":0,"time":1,"at_us":0},{"part":0,"time":2,"at_us":13150685}],"notes":[{"at_us":0,"length_us":1643836,"pitch":74,"velocity":70,"layer":"melody"}]}})";
  static constexpr std::array kAddedLater{"sketch", "sounding"};
  using Reply = SketchOutline;
  std::optional<std::string> name{};
  std::optional<SongSketch> sketch{};
  std::optional<bool> sounding{};
};
BOOST_DESCRIBE_STRUCT(OutlineSketch, (), (name, sketch, sounding))

struct PlaySketch {
  static constexpr const char* kMethod = "sketch.play";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Plays the song that a sketch makes on the MIDI output, with all layers on one channel as one piano "
      "would: a kept sketch by `name`, or the `sketch` that comes with the request. `section`: begins there, "
      "numbered from 1; with `only` it ends where that section ends. `velocity`: the mean loudness to reduce "
      "it to; by default the setting hear_velocity. Replaces what is being played; play.stop ends it.";
  static constexpr const char* kExample = R"({"name":"rounds","section":1,"only":true,"velocity":50})";
  static constexpr const char* kReplyExample =
      R"({"take":0,"since":97200345,"from_us":0,"to_us":26301370,"song":{"title":"Evening rounds","length_us":39452055,"turns":[{"section":1,"time":1,"at_us":0},{"section":1,"time":2,"at_us":13150685},{"section":2,"time":1,"at_us":26301370}]}})";
  using Reply = Playing;
  std::optional<std::string> name{};
  std::optional<SongSketch> sketch{};
  std::optional<Whole<1, 200>> section{};
  std::optional<bool> only{};
  std::optional<Whole<1, 127>> velocity{};
};
BOOST_DESCRIBE_STRUCT(PlaySketch, (), (name, sketch, section, only, velocity))

struct HandOverSketch {
  static constexpr const char* kMethod = "sketch.hand_over";
  static constexpr const char* kSays =
      "A sketch as files for other musicians: song.mid, and the pages as take.hand_over makes them.";
  static constexpr const char* kExample = R"({"name":"rounds"})";
  static constexpr const char* kReplyExample =
      R"({"folder":"rounds","files":[{"name":"chart.txt","base64":"RG03IHwgRzcK"}],"remarks":[]})";
  static constexpr std::array kAddedLater{"strings", "divisi"};
  using Reply = HandedOver;
  std::string name;
  std::optional<StringStyle> strings{};
  std::optional<bool> divisi{};
};
BOOST_DESCRIBE_STRUCT(HandOverSketch, (), (name, strings, divisi))

struct GrownSection {
  static constexpr const char* kSays =
      "A bridge or an interlude that contrasts with a section of a song. `chords`: one a bar. `key`: in "
      "Harte syntax. `pedal`: the bass note under all chords but the last, if there is one. `section`: what "
      "the sketch gets.";
  SketchSection section;
  std::string key;
  std::vector<Chord> chords;
  std::optional<PitchClassNumber> pedal{};
  std::string reason;
};
BOOST_DESCRIBE_STRUCT(GrownSection, (), (section, key, chords, pedal, reason))

struct GrownSketch {
  static constexpr const char* kSays =
      "`section`: number of the section with the loop, from 1; `chords` are its own. `exact`: no better "
      "proposal exists. `added`: what is saved now, if one was added.";
  std::uint64_t section = 0;
  std::string from, key;
  std::vector<Chord> chords;
  bool exact = true;
  std::vector<GrownSection> proposals;
  std::optional<KeptSketch> added{};
};
BOOST_DESCRIBE_STRUCT(GrownSketch, (), (section, from, key, chords, exact, proposals, added))

struct GrowSketch {
  static constexpr const char* kMethod = "sketch.grow";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Sections without a tune that contrast with the loop of a section: four bridges in other keys, four "
      "interludes in other modes or over a pedal point. `section`: from 1; by default the first verse, "
      "theme or chorus. `add`: saves the sketch with the proposal of this number after the section, and the "
      "section once more where the song did not go back to it.";
  static constexpr const char* kExample = R"({"name":"rounds","add":1})";
  static constexpr const char* kReplyExample =
      R"({"section":2,"from":"Theme","key":"C:maj","chords":[],"exact":true,"proposals":[{"section":{"name":"Bridge","kind":"bridge","take":1,"label":"A","repeats":1,"layers":["chords","bass","pad"],"chord_line":"Am7 | D7"},"key":"A:min","chords":[{"root":9,"root_name":"A","quality":"min7","letters":["m","7"],"signs":["-","7"],"harte":"A:min7"}],"reason":"in A minor, the relative minor"}]})";
  using Reply = GrownSketch;
  std::string name;
  std::optional<Whole<1, 200>> section{};
  std::optional<Whole<1, 8>> add{};
};
BOOST_DESCRIBE_STRUCT(GrowSketch, (), (name, section, add))

struct SketchName {
  std::string name;
};
BOOST_DESCRIBE_STRUCT(SketchName, (), (name))

struct DeleteSketch {
  static constexpr const char* kMethod = "sketch.delete";
  static constexpr const char* kSays =
      "Removes a sketch from the list. Its file stays beside the others under a name that ends in .deleted.";
  static constexpr const char* kExample = R"({"name":"rounds"})";
  static constexpr const char* kReplyExample = R"({"name":"rounds"})";
  using Reply = SketchName;
  std::string name;
};
BOOST_DESCRIBE_STRUCT(DeleteSketch, (), (name))

}  // namespace undersong::protocol
