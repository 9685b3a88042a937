// The list of messages. To add one, write its struct here, in song_messages.h if it is about songs, or in
// device_messages.h if it is about other devices: its name, one line of description, an example, and its
// place in `Requests` or `Notifications` at the end. Nothing else in protocol/ changes. A request also needs
// a line in daemon/server/handlers.h and its function in the _methods.cpp of its group there. PROTOCOL.md and
// schema.json are generated from these files (see schema.h). Over 400 lines: one list of what the daemon says
// and can be asked.
//
// A request is JSON-RPC 2.0 with named params. Its struct holds the params, and `Reply` is the result. The
// struct of a notification holds its params.
//
// Units and ranges: see shapes.h; the types of the members carry the ranges.
// Threads: plain values.
// Errors: a reader refuses params that do not fit and names the member; see json.h and rpc_code.h.
#pragma once

#include <array>
#include <boost/mp11/list.hpp>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "protocol/device_messages.h"
#include "protocol/rpc_code.h"
#include "protocol/shapes.h"
#include "protocol/song_messages.h"

namespace undersong::protocol {

// Version 2: chords are sent as parts instead of a symbol; take.sketch became take.thumbnail, and
// chord.symbols became chord.parts.
inline constexpr int kProtocolVersion = 2;

// What a daemon can do, as listed in `welcome`. A daemon without a capability leaves its word out.
struct Capability {
  const char* name;
  const char* says;
};
inline constexpr std::array<Capability, 10> kCapabilities{{
    {"moment", "the topic of that name, moment.get and hold"},
    {"status", "the topic of that name and status.get"},
    {"log", "the topic of that name, and all requests about kept takes"},
    {"hear", "plays suggestions on a MIDI output (hear)"},
    {"notes", "takes notes that a client plays (notes.send)"},
    {"export", "gives a take as a standard MIDI file (take.export)"},
    {"play", "plays kept takes and songs (take.play, sketch.play, play.stop)"},
    {"beat", "taps and corrections of the beat, beats of a take"},
    {"along", "repeats the loop of a take to play along with (play.along)"},
    {"song", "loops, other chords for them, sketches and pages for other musicians"},
}};

// ---- notifications from the daemon

struct Welcome {
  static constexpr const char* kMethod = "welcome";
  static constexpr const char* kSays =
      "The first message on every connection. `passing_us`: a chord of the log that lasted less was only on "
      "the way to the next one; clients that show what was played leave it out, as take.get does. "
      "`token_needed`: send hello with the token first; until then nothing else is answered. `may_pair`: "
      "this is the player at this machine, who may pair other devices.";
  static constexpr const char* kExample =
      R"({"protocol":2,"program":"0.1.0","capabilities":["moment","status","log","hear","notes","export","play","beat","along","song"],"passing_us":150000,"token_needed":false,"may_pair":true})";
  static constexpr std::array kAddedLater{"may_pair"};
  std::uint32_t protocol = kProtocolVersion;
  std::string program;
  std::vector<std::string> capabilities;
  TimeUs passing_us = 0;
  bool token_needed = false;
  std::optional<bool> may_pair{};  // optional: older daemons do not say
};
BOOST_DESCRIBE_STRUCT(Welcome, (), (protocol, program, capabilities, passing_us, token_needed, may_pair))

struct Moment {
  static constexpr const char* kMethod = "moment";
  static constexpr const char* kSays =
      "State: everything about what sounds now. A slow client receives only the newest, so `number` may "
      "skip. `alternatives_number` changes when the list changes; `under` are the melody notes it was made "
      "for. `beat` is null while there is no steady pulse. `returned`: the chords that were played most "
      "often in this take, at most six.";
  static constexpr const char* kExample =
      R"({"number":412,"at":83512004,"chord":{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7","dark_bright":0.05,"resolved_tense":0.18,"colour":["neutral","at rest"],"confidence":0.83,"since":83490112,"sounding":true},"readings":[{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7","confidence":0.83},{"root":9,"root_name":"A","quality":"min","letters":["m",""],"signs":["-",""],"bass":5,"bass_name":"F","harte":"A:min/b6","confidence":0.06}],"key":{"name":"C major","harte":"C:maj","tonic":0,"mode":"major","confidence":0.71,"pinned":false},"melody":[{"pitch":76,"name":"E5","degree":"7","since":83490112,"held":true}],"held":[{"pitch":53,"velocity":61,"key_down":true,"since":83490112},{"pitch":76,"velocity":74,"key_down":true,"since":83490112}],"alternatives_number":37,"beat":{"at":83400112,"tempo":96,"confidence":0.8,"place":3,"meter":4,"source":"played","division":2,"signature":{"upper":4,"lower":4},"swing":1},"still":false,"wishes":{"brighter":0,"tenser":0,"surprising":0.25},"returned":[{"root":0,"root_name":"C","quality":"maj","letters":["",""],"signs":["",""],"harte":"C:maj","times":3,"last":82011120}],"under":[76],"alternatives":[{"root":2,"root_name":"D","quality":"min9","letters":["m","9"],"signs":["-","9"],"harte":"D:min9","dark_bright":-0.2,"resolved_tense":0.24,"colour":["dark","at rest"],"degrees":["9"],"familiar":0.62,"hands_move":9,"left":[38,48],"right":[65,69,76],"names":["D2","C3","F4","A4","E5"],"reason":"down a third, two tones stay","tried":false,"tries":0}]})";
  std::uint64_t number = 0;
  TimeUs at = 0;
  Nullable<ChordInForce> chord;
  std::vector<Reading> readings;
  Nullable<KeyNow> key;
  std::vector<MelodyNote> melody;
  std::vector<HeldNote> held;
  std::uint32_t alternatives_number = 0;
  Nullable<BeatNow> beat;
  static constexpr std::array kAddedLater{"returned"};
  bool still = false;
  Wishes wishes;
  std::vector<Returned> returned;
  std::vector<PitchNumber> under;
  std::vector<Alternative> alternatives;
};
BOOST_DESCRIBE_STRUCT(Moment, (),
                      (number, at, chord, readings, key, melody, held, alternatives_number, beat, still,
                       wishes, returned, under, alternatives))

struct Status {
  static constexpr const char* kMethod = "status";
  static constexpr const char* kSays =
      "State: ports, the current take, what the MIDI output is playing, the health of the store, settings. "
      "`at`: the daemon's clock when this was written. `lost_events`: MIDI messages from inputs that were "
      "lost since the daemon started; each loss is also a line of the log. `finds_asked`: how often a pedal "
      "or pad has asked for the takes that hold what was just played; a client that shows takes then asks "
      "take.find_played. `midi_trouble`: why no MIDI input can be opened, in one sentence that says what to "
      "do; missing when all is well. `takes_studied`: how many kept takes have been studied since the "
      "daemon started; their names and pictures are better known then.";
  static constexpr const char* kExample =
      R"({"at":83512004,"ports":[{"number":0,"name":"Stage keyboard","connected":true,"own":false,"last_note":83490112}],"outputs":[{"name":"undersong","connected":true,"trouble":"","listeners":1,"offered":["Stage keyboard"]}],"playing":null,"take":{"take":12,"since":81200345,"begin_utc_ms":1790000000000,"notes":214},"store":{"good":true,"sentence":"","waiting":0,"lost":0,"id":"5b1d0c7e9a334f02","damage":"","checked_utc_ms":1790000004000,"backed_up_utc_ms":1789990000000},"still":false,"settings":{"wishes":{"brighter":0,"tenser":0,"surprising":0.25},"symbol_style":"letters","hear_output":"","hear_velocity":64,"settle_ms":250,"melody":"two","voicing":"open","key":"","lean":"found","reach":14,"own":true,"controls":[{"message":"cc 67","press":"single","action":"hear_next"}],"changed":[]},"log_last":90412,"lost_events":0,"finds_asked":0,"takes_studied":0})";
  static constexpr std::array kAddedLater{"finds_asked", "midi_trouble", "takes_studied"};
  TimeUs at = 0;
  std::vector<Port> ports;
  std::vector<OutputPort> outputs;
  Nullable<Playing> playing;
  Nullable<CurrentTake> take;
  StoreHealth store;
  bool still = false;
  Settings settings;
  std::uint64_t log_last = 0;
  std::uint64_t lost_events = 0;
  std::uint64_t finds_asked = 0;
  std::optional<std::string> midi_trouble{};
  std::uint64_t takes_studied = 0;
};
BOOST_DESCRIBE_STRUCT(Status, (),
                      (at, ports, outputs, playing, take, store, still, settings, log_last, lost_events,
                       finds_asked, midi_trouble, takes_studied))

struct Log : LogLine {
  static constexpr const char* kMethod = "log";
  static constexpr const char* kSays =
      "A line of the log. Lines arrive in order and without gaps, beginning with the number given in "
      "subscribe.";
  static constexpr const char* kExample =
      R"({"number":90412,"take":12,"at":83490112,"kind":"midi","midi":{"port":0,"bytes":[144,76,74]}})";
};
BOOST_DESCRIBE_STRUCT(Log, (LogLine), ())

// ---- greeting, subscriptions, state

struct Hello {
  static constexpr const char* kMethod = "hello";
  static constexpr const char* kSays =
      "Introduces the client. The reply is the same as `welcome`. `token` is needed only if the daemon says "
      "`token_needed`: the one of the configuration, or the one of a paired device. After five wrong tokens "
      "from an address, each further one makes that address wait longer (-32004).";
  static constexpr const char* kExample = R"({"client":"watch","token":"of your configuration"})";
  static constexpr const char* kReplyExample = Welcome::kExample;
  using Reply = Welcome;
  std::optional<std::string> client{}, token{};
};
BOOST_DESCRIBE_STRUCT(Hello, (), (client, token))

struct Subscribed {
  std::vector<Topic> topics;
  std::uint64_t log_next = 0;
  std::string store;
};
BOOST_DESCRIBE_STRUCT(Subscribed, (), (topics, log_next, store))

struct Subscribe {
  static constexpr const char* kMethod = "subscribe";
  static constexpr const char* kSays =
      "Adds topics. A state topic sends its newest message at once. `log_from`: the first log line wanted, "
      "1 for all; without it, lines are sent from now on. The reply has all subscribed topics, the number "
      "of the next log line and the id of the store.";
  static constexpr const char* kExample = R"({"topics":["moment","log"],"log_from":90000})";
  static constexpr const char* kReplyExample =
      R"({"topics":["moment","log"],"log_next":90000,"store":"5b1d0c7e9a334f02"})";
  using Reply = Subscribed;
  std::vector<Topic> topics;
  std::optional<std::uint64_t> log_from{};
};
BOOST_DESCRIBE_STRUCT(Subscribe, (), (topics, log_from))

struct Unsubscribe {
  static constexpr const char* kMethod = "unsubscribe";
  static constexpr const char* kSays = "Removes topics. The reply has those that remain.";
  static constexpr const char* kExample = R"({"topics":["log"]})";
  static constexpr const char* kReplyExample =
      R"({"topics":["moment"],"log_next":90413,"store":"5b1d0c7e9a334f02"})";
  using Reply = Subscribed;
  std::vector<Topic> topics;
};
BOOST_DESCRIBE_STRUCT(Unsubscribe, (), (topics))

struct GetMoment {
  static constexpr const char* kMethod = "moment.get";
  static constexpr const char* kSays = "The newest moment.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample = Moment::kExample;
  using Reply = Moment;
};
BOOST_DESCRIBE_STRUCT(GetMoment, (), ())

struct GetStatus {
  static constexpr const char* kMethod = "status.get";
  static constexpr const char* kSays = "The daemon's state now.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample = Status::kExample;
  using Reply = Status;
};
BOOST_DESCRIBE_STRUCT(GetStatus, (), ())

// ---- takes

struct TakeList {
  std::vector<TakeSummary> takes;
  bool more = false;
};
BOOST_DESCRIBE_STRUCT(TakeList, (), (takes, more))

struct ListTakes {
  static constexpr const char* kMethod = "take.list";
  static constexpr const char* kSays =
      "Takes that match all given filters, newest first by when they begin. `before`: only takes that follow "
      "this one in that order, for the next page. A chord is given as `harte`, which must match exactly, or "
      "as `root` and `family`. "
      "`key` is in Harte syntax. `melody` is a pitch class over the root `melody_over`, or of the degree "
      "`melody_degree`. `deleted`: lists the deleted takes instead.";
  static constexpr const char* kExample =
      R"({"limit":20,"root":10,"family":"dominant","melody":4,"melody_over":10})";
  static constexpr const char* kReplyExample =
      R"({"takes":[{"take":12,"begin_utc_ms":1790000000000,"at":81200345,"length_us":94200000,"title":"circling in F","annotation":"","ended":"silence","notes":861,"chords":58,"marks":2,"key":"F:maj","content":{"chords":[{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7"}],"times":1,"tempo":92,"circled_us":0,"returns":1},"deleted":false,"first_line":89101,"last_line":92310}],"more":false})";
  using Reply = TakeList;
  std::optional<Whole<1, 500>> limit{};
  std::optional<std::uint64_t> before{};
  std::optional<std::string> harte{};
  std::optional<PitchClassNumber> root{};
  std::optional<Family> family{};
  std::optional<std::string> key{};
  std::optional<PitchClassNumber> melody{};
  std::optional<PitchClassNumber> melody_over{};
  std::optional<std::string> melody_degree{};
  std::optional<TimeUtcMs> from_utc_ms{}, to_utc_ms{};
  std::optional<bool> deleted{};
};
BOOST_DESCRIBE_STRUCT(ListTakes, (),
                      (limit, before, harte, root, family, key, melody, melody_over, melody_degree,
                       from_utc_ms, to_utc_ms, deleted))

struct TakeChord : Chord {
  TimeUs at = 0;
};
BOOST_DESCRIBE_STRUCT(TakeChord, (Chord), (at))

struct TakeMark {
  static constexpr const char* kSays = "`line`: the number of its line in the log; take.unmark asks for it.";
  static constexpr std::array kAddedLater{"line"};
  TimeUs at = 0;
  std::string text;
  std::uint64_t line = 0;
};
BOOST_DESCRIBE_STRUCT(TakeMark, (), (at, text, line))

struct TakeKey {
  TimeUs at = 0;
  std::string harte;
  bool pinned = false;
};
BOOST_DESCRIBE_STRUCT(TakeKey, (), (at, harte, pinned))

struct TakePart {
  static constexpr const char* kSays = "`from_us` counts from the beginning of the take.";
  TimeUs from_us = 0, length_us = 0;
};
BOOST_DESCRIBE_STRUCT(TakePart, (), (from_us, length_us))

struct TakeDetail {
  static constexpr const char* kSays = "`kept`: the parts that the player kept; see take.judge.";
  static constexpr std::array kAddedLater{"kept"};
  TakeSummary summary;
  std::vector<TakeChord> chords;
  std::vector<TakeKey> keys;
  std::vector<TakeMark> marks;
  std::vector<TakePart> kept;
};
BOOST_DESCRIBE_STRUCT(TakeDetail, (), (summary, chords, keys, marks, kept))

struct GetTake {
  static constexpr const char* kMethod = "take.get";
  static constexpr const char* kSays =
      "A take with its chords, keys and marks. Without `take`: the newest that is not deleted.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"summary":{"take":12,"begin_utc_ms":1790000000000,"at":81200345,"length_us":94200000,"title":"circling in F","annotation":"","ended":"silence","notes":861,"chords":58,"marks":1,"key":"F:maj","deleted":false,"first_line":89101,"last_line":92310},"chords":[{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7","at":81200345}],"keys":[{"at":84100000,"harte":"F:maj","pinned":false}],"marks":[{"at":90100200,"text":"this turn","line":90413}],"kept":[{"from_us":8900000,"length_us":10434000}]})";
  using Reply = TakeDetail;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetTake, (), (take))

struct FoundMoment {
  static constexpr const char* kSays =
      "`at` is on the clock of the take; `from_us` is the same time counted from the beginning of the take, "
      "as take.play needs it. `chords`: one, or those of a sequence. `pitch`, `name` and `degree` of the "
      "melody note are missing if the question named only chords. `times`: how often this moment occurs in "
      "the take, and `time`: which of them this is, from 1. A moment that continues counts once; it counts "
      "again if the player came back to it after something else.";
  static constexpr std::array kAddedLater{"content"};
  std::uint64_t take = 0;
  std::string title;
  std::optional<TakeContent> content{};
  TimeUtcMs begin_utc_ms = 0;
  TimeUs at = 0, from_us = 0, length_us = 0;
  std::vector<Chord> chords;
  std::optional<PitchNumber> pitch{};
  std::optional<std::string> name{}, degree{};
  std::optional<std::string> key{};
  std::uint32_t time = 1, times = 1;
};
BOOST_DESCRIBE_STRUCT(FoundMoment, (),
                      (take, title, content, begin_utc_ms, at, from_us, length_us, chords, pitch, name,
                       degree, key, time, times))

struct NearQuestion {
  static constexpr const char* kSays =
      "The question with one condition left out, and how many moments match it.";
  std::string words;
  std::uint64_t moments = 0;
};
BOOST_DESCRIBE_STRUCT(NearQuestion, (), (words, moments))

struct FoundMoments {
  static constexpr const char* kSays =
      "`understood`: the question as the daemon understood it. `near` is filled only if nothing was found. "
      "`next`: pass it as `from` to get the moments that follow; missing if these were the last. `unheard`: "
      "how many takes still wait to be analysed again and are not in the answer.";
  std::string understood;
  std::vector<FoundMoment> moments;
  std::vector<NearQuestion> near;
  std::optional<std::string> next{};
  std::uint64_t unheard = 0;
};
BOOST_DESCRIBE_STRUCT(FoundMoments, (), (understood, moments, near, next, unheard))

struct FindMoments {
  static constexpr const char* kMethod = "take.find";
  static constexpr const char* kSays =
      "Moments that match a question in a musician's words, newest first. Examples: Db under G; #11 over a "
      "major seventh; any dominant on Bb under the 9; Cm7 then F7 then Bbmaj7; minor under A in F last "
      "week. Conditions are combined with and, or, not and brackets. If a word is not understood, the error "
      "is one sentence that gives its column.";
  static constexpr const char* kExample = R"({"question":"Db under G last week","limit":20})";
  static constexpr const char* kReplyExample =
      R"({"understood":"any chord on Db under G, from 2026-11-16 to 2026-11-22","moments":[{"take":12,"title":"circling in F","begin_utc_ms":1790000000000,"at":83490112,"from_us":2289767,"length_us":1180000,"chords":[{"root":1,"root_name":"Db","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"Db:maj7"}],"pitch":79,"name":"G5","degree":"#11","key":"F:min","time":2,"times":3}],"near":[],"next":"11:4","unheard":0})";
  using Reply = FoundMoments;
  std::string question;
  std::optional<Whole<1, 200>> limit{};
  std::optional<std::string> from{};
};
BOOST_DESCRIBE_STRUCT(FindMoments, (), (question, limit, from))

enum class FoundAs : std::uint8_t { kTune, kChords, kPassage };
BOOST_DESCRIBE_ENUM(FoundAs, kTune, kChords, kPassage)

struct FoundSpan {
  TimeUs from_us = 0, length_us = 0;
};
BOOST_DESCRIBE_STRUCT(FoundSpan, (), (from_us, length_us))

struct FoundTake {
  static constexpr const char* kSays =
      "A take that holds what was played. `from_us` counts from the beginning of the take. `as`: what of "
      "the playing was found: the tune, the chords or the whole passage. `times`: places in the take that "
      "are as good; places without a gap between them are one span, and `others` has the other spans, by "
      "time. `shift`: semitones from the playing to the take; for chords 0 to 11. `rate`: lengths in the "
      "take against those played; 2 means half as fast.";
  static constexpr std::array kAddedLater{"others"};
  std::uint64_t take = 0;
  std::string title;
  std::optional<TakeContent> content{};
  TimeUtcMs begin_utc_ms = 0;
  TimeUs from_us = 0, length_us = 0;
  FoundAs as = FoundAs::kTune;
  Whole<1, 100000> times;
  int shift = 0;
  double rate = 1;
  std::vector<FoundSpan> others;
};
BOOST_DESCRIBE_STRUCT(FoundTake, (),
                      (take, title, content, begin_utc_ms, from_us, length_us, as, times, shift, rate,
                       others))

struct FoundTakes {
  static constexpr const char* kSays =
      "Best first, each take once, at most 20. `notes`: how many were looked for. `takes`: how many takes "
      "were looked at. `unprepared`: older takes that are not prepared for this yet; the daemon does it "
      "while it runs.";
  std::vector<FoundTake> found;
  std::uint64_t notes = 0, takes = 0, unprepared = 0;
};
BOOST_DESCRIBE_STRUCT(FoundTakes, (), (found, notes, takes, unprepared))

struct AskedNote {
  static constexpr const char* kSays =
      "`at` counts from any beginning. Without a length: a quarter of a second.";
  TimeUs at = 0;
  PitchNumber pitch;
  std::optional<TimeUs> length_us{};
};
BOOST_DESCRIBE_STRUCT(AskedNote, (), (at, pitch, length_us))

struct FindPlayed {
  static constexpr const char* kMethod = "take.find_played";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "The takes that hold a tune, a progression or a whole passage, in any key, register and tempo, also "
      "with wrong and missing notes; at least three notes are needed. What is looked for are the `notes`; "
      "or without them a part of a take, by default of the newest: from `from_us` to `to_us` after its "
      "beginning, or its last `last_us`, or without these what was played since the last rest of two "
      "seconds, at most twenty seconds. That take itself is not looked at, nor is the one being played.";
  static constexpr const char* kExample =
      R"({"notes":[{"at":0,"pitch":67},{"at":400000,"pitch":71},{"at":800000,"pitch":69},{"at":1600000,"pitch":64}]})";
  static constexpr const char* kReplyExample =
      R"({"found":[{"take":12,"title":"rounds","begin_utc_ms":1790000000000,"from_us":63100000,"length_us":1500000,"as":"tune","times":3,"shift":-5,"rate":0.94,"others":[{"from_us":91200000,"length_us":1500000},{"from_us":119300000,"length_us":1500000}]}],"notes":4,"takes":412,"unprepared":0})";
  using Reply = FoundTakes;
  std::optional<std::vector<AskedNote>> notes{};
  std::optional<std::uint64_t> take{};
  std::optional<TimeUs> from_us{}, to_us{}, last_us{};
};
BOOST_DESCRIBE_STRUCT(FindPlayed, (), (notes, take, from_us, to_us, last_us))

struct TakeStatement : Chord {
  static constexpr const char* kSays =
      "A chord of the take that lasted long enough not to be only on the way to the next one. Ordered by "
      "beginning.";
  TimeUs at = 0, length_us = 0;
};
BOOST_DESCRIBE_STRUCT(TakeStatement, (Chord), (at, length_us))

struct TakeMeetings {
  static constexpr const char* kSays =
      "`statements`: the chords. `meetings`: the melody notes over them, ordered by beginning; `at` has the "
      "beginning of each. `heard` false: the take still waits to be analysed again.";
  std::uint64_t take = 0;
  bool heard = true;
  std::vector<TakeStatement> statements;
  std::vector<TimeUs> at;
  std::vector<LoggedMeeting> meetings;
};
BOOST_DESCRIBE_STRUCT(TakeMeetings, (), (take, heard, statements, at, meetings))

struct GetMeetings {
  static constexpr const char* kMethod = "take.meetings";
  static constexpr const char* kSays =
      "Which chords were tried under each melody note of a take, and which the player came back to.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"heard":true,"statements":[{"root":1,"root_name":"Db","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"Db:maj7","at":83490112,"length_us":1180000}],"at":[83490112],"meetings":[{"root":1,"root_name":"Db","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"Db:maj7","pitch":79,"name":"G5","degree":"#11","family":"major","length_us":1180000,"time":2,"key":"F:min"}]})";
  using Reply = TakeMeetings;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetMeetings, (), (take))

struct TakeLines {
  std::vector<LogLine> lines;
  std::uint64_t next = 0;
  bool more = false;
};
BOOST_DESCRIBE_STRUCT(TakeLines, (), (lines, next, more))

struct GetEvents {
  static constexpr const char* kMethod = "take.events";
  static constexpr const char* kSays =
      "Log lines from number `from` on, of one take or of all; with `kinds`, only lines of these kinds. "
      "While `more` is true, ask again with `next` as `from`.";
  static constexpr const char* kExample = R"({"take":12,"from":89101,"limit":1})";
  static constexpr const char* kReplyExample =
      R"({"lines":[{"number":89101,"take":12,"at":81200345,"kind":"take_begin","begin_utc_ms":1790000000000}],"next":89102,"more":true})";
  using Reply = TakeLines;
  std::optional<std::uint64_t> take{}, from{};
  std::optional<Whole<1, 2000>> limit{};
  std::optional<std::vector<LineKind>> kinds{};
};
BOOST_DESCRIBE_STRUCT(GetEvents, (), (take, from, limit, kinds))

struct PedalMove {
  static constexpr const char* kSays = "The sustain pedal goes down or up.";
  TimeUs at = 0;
  bool down = false;
};
BOOST_DESCRIBE_STRUCT(PedalMove, (), (at, down))

struct TakeNotes {
  static constexpr const char* kSays =
      "Lists of equal length with one item for each note, ordered by beginning. `length_us` lasts until the "
      "key goes up. The drum channel is left out.";
  std::uint64_t take = 0;
  std::vector<TimeUs> at;
  std::vector<std::int64_t> length_us;
  std::vector<PitchNumber> pitch;
  std::vector<VelocityNumber> velocity;
  std::vector<PedalMove> pedal;
};
BOOST_DESCRIBE_STRUCT(TakeNotes, (), (take, at, length_us, pitch, velocity, pedal))

struct GetNotes {
  static constexpr const char* kMethod = "take.notes";
  static constexpr const char* kSays = "All notes of a take at once, in columns, for drawing or playing.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"at":[81200345,81200391],"length_us":[410000,1220000],"pitch":[41,76],"velocity":[58,74],"pedal":[{"at":81300000,"down":true}]})";
  using Reply = TakeNotes;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetNotes, (), (take))

struct TakeThumbnail {
  static constexpr const char* kSays =
      "The take divided into equal spans of time: how many `notes` begin in each, and their `lowest` and "
      "`highest` (0 if there are none).";
  std::uint64_t take = 0;
  std::vector<std::uint32_t> notes;
  std::vector<PitchNumber> lowest, highest;
};
BOOST_DESCRIBE_STRUCT(TakeThumbnail, (), (take, notes, lowest, highest))

struct GetThumbnail {
  static constexpr const char* kMethod = "take.thumbnail";
  static constexpr const char* kSays = "A coarse overview of a take, for a small picture in a list.";
  static constexpr const char* kExample = R"({"take":12,"spans":4})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"notes":[12,9,0,14],"lowest":[36,41,0,38],"highest":[79,76,0,84]})";
  using Reply = TakeThumbnail;
  std::optional<std::uint64_t> take{};
  std::optional<Whole<1, 1000>> spans{};
};
BOOST_DESCRIBE_STRUCT(GetThumbnail, (), (take, spans))

struct SimilarTake {
  static constexpr const char* kSays =
      "Another take that goes round the loop of this one, and where. `shift`: semitones from this take to "
      "that one, upwards or downwards, whichever is nearer.";
  std::uint64_t take = 0;
  std::string title;
  std::optional<TakeContent> content{};
  TimeUtcMs begin_utc_ms = 0;
  TimeUs from_us = 0, length_us = 0;
  Whole<-5, 6> shift;
};
BOOST_DESCRIBE_STRUCT(SimilarTake, (), (take, title, content, begin_utc_ms, from_us, length_us, shift))

struct SimilarTakes {
  static constexpr const char* kSays =
      "Most alike first, at most 8. Empty if the take goes round nothing, or nothing else does so.";
  std::uint64_t take = 0;
  std::vector<SimilarTake> found;
};
BOOST_DESCRIBE_STRUCT(SimilarTakes, (), (take, found))

struct GetSimilar {
  static constexpr const char* kMethod = "take.similar";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "The takes that go round the same chords as this one, in any key and tempo. Without `take`: the "
      "newest.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"found":[{"take":7,"title":"rounds","begin_utc_ms":1780000000000,"from_us":63100000,"length_us":41500000,"shift":-5}]})";
  using Reply = SimilarTakes;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetSimilar, (), (take))

struct PicturedPass {
  static constexpr const char* kSays =
      "One time round the loop. `from_us` counts from the beginning of the take. `variant`: a chord was "
      "replaced, added or left out.";
  TimeUs from_us = 0, length_us = 0;
  Whole<-6, 6> transposed;
  bool variant = false;
};
BOOST_DESCRIBE_STRUCT(PicturedPass, (), (from_us, length_us, transposed, variant))

struct PicturedLoop {
  std::vector<Chord> chords;
  std::vector<PicturedPass> passes;
};
BOOST_DESCRIBE_STRUCT(PicturedLoop, (), (chords, passes))

struct TakePicture {
  static constexpr const char* kSays =
      "The take at a glance, as it is kept with it. `melody`: the take cut into parts of equal length, and "
      "in each the melody note that sounds longest, 0 where there is none. `loops`: the one that explains "
      "most first. `studied` false: the daemon has not looked for beats and loops yet; the loops are read "
      "from the names of the chords, and `tempo` and `meter` are missing. They are also missing if there is "
      "no pulse.";
  std::uint64_t take = 0;
  bool studied = false;
  TimeUs length_us = 0;
  std::vector<PitchNumber> melody;
  std::vector<PicturedLoop> loops;
  std::optional<double> tempo{};
  std::optional<std::uint32_t> meter{};
};
BOOST_DESCRIBE_STRUCT(TakePicture, (), (take, studied, length_us, melody, loops, tempo, meter))

struct GetPicture {
  static constexpr const char* kMethod = "take.picture";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "The line of the melody over the loops of a take. It costs little: nothing is listened to again. "
      "Without `take`: the newest.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"studied":true,"length_us":94200000,"melody":[76,79,0,74],"loops":[{"chords":[{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7"}],"passes":[{"from_us":2311659,"length_us":10434000,"transposed":0,"variant":false}]}],"tempo":92,"meter":4})";
  using Reply = TakePicture;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetPicture, (), (take))

enum class DigestSpan : std::uint8_t { kEvening, kWeek };
BOOST_DESCRIBE_ENUM(DigestSpan, kEvening, kWeek)

enum class DigestReason : std::uint8_t { kMarked, kCircled, kReturned, kNewChords };
BOOST_DESCRIBE_ENUM(DigestReason, kMarked, kCircled, kReturned, kNewChords)

struct DigestMoment {
  static constexpr const char* kSays =
      "`from_us` counts from the beginning of the take, as take.play needs it. `bars`: how many bars long; "
      "missing without a pulse. `reasons`: why it is worth hearing again, the weightiest first, and `reason` "
      "the same in words. `chords`: of the loop that was circled, or those that the note was held over. "
      "`verdict`: what the player has said of it; dismissed moments are not in the answer.";
  std::uint64_t take = 0;
  std::string title;
  std::optional<TakeContent> content{};
  TimeUtcMs begin_utc_ms = 0;
  TimeUs from_us = 0, length_us = 0;
  std::optional<std::uint32_t> bars{};
  std::vector<DigestReason> reasons;
  std::string reason;
  std::vector<Chord> chords;
  Verdict verdict = Verdict::kOpen;
};
BOOST_DESCRIBE_STRUCT(DigestMoment, (),
                      (take, title, content, begin_utc_ms, from_us, length_us, bars, reasons, reason, chords,
                       verdict))

struct Digest {
  static constexpr const char* kSays =
      "The best first. `from_utc_ms` and `to_utc_ms`: the evening or week. `takes`: how many were played in "
      "it. `unstudied`: how many of them the daemon has not looked through yet; ask again in a moment.";
  TimeUtcMs from_utc_ms = 0, to_utc_ms = 0;
  std::uint64_t takes = 0, unstudied = 0;
  std::vector<DigestMoment> moments;
};
BOOST_DESCRIBE_STRUCT(Digest, (), (from_utc_ms, to_utc_ms, takes, unstudied, moments))

struct GetDigest {
  static constexpr const char* kMethod = "take.digest";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "The moments most worth hearing again of the last evening on which something was played, or of the "
      "seven days up to it: what was marked, circled longest and returned to, and new chords under a note "
      "that were held for long. An evening ends at five in the morning. By default the evening, and at most "
      "24 moments.";
  static constexpr const char* kExample = R"({"span":"week","limit":8})";
  static constexpr const char* kReplyExample =
      R"({"from_utc_ms":1789400000000,"to_utc_ms":1790000000000,"takes":31,"unstudied":0,"moments":[{"take":12,"title":"","begin_utc_ms":1790000000000,"from_us":22000000,"length_us":20870000,"bars":8,"reasons":["circled"],"reason":"circled for 3:12, 18 times","chords":[{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7"}],"verdict":"open"}]})";
  using Reply = Digest;
  std::optional<DigestSpan> span{};
  std::optional<Whole<1, 100>> limit{};
};
BOOST_DESCRIBE_STRUCT(GetDigest, (), (span, limit))

struct BroughtTake {
  static constexpr const char* kSays =
      "`received`: how many bytes of the file have come so far. With the last piece also `take`, when it "
      "begins, and `known`: the same notes were there already, in that take, and nothing was written.";
  std::uint64_t received = 0;
  std::optional<std::uint64_t> take{};
  std::optional<TimeUtcMs> begin_utc_ms{};
  bool known = false;
};
BOOST_DESCRIBE_STRUCT(BroughtTake, (), (received, take, begin_utc_ms, known))

struct BringTake {
  static constexpr const char* kMethod = "take.bring";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Makes a take of a standard MIDI file, with the date in its name, or else `changed_utc_ms`. It is "
      "analysed as if it had been played, in the background, also while something is being played. All "
      "channels are one keyboard; drums are left out. A file may have 16 MB and comes in pieces of at most "
      "40 KB, one after another on one connection: `offset` counts the bytes before the piece, and 0 begins "
      "a file. Answered when the take is on disk.";
  static constexpr const char* kExample =
      R"({"file":"2019-05-31 rounds.mid","size":51,"offset":0,"base64":"TVRoZAAAAAYAAAABA+hNVHJrAAAAHQCQPEAAkEBAAJBDQIdogDwAAIBAAACAQwAA/y8A","changed_utc_ms":1559329499000})";
  static constexpr const char* kReplyExample =
      R"({"received":51,"take":31,"begin_utc_ms":1559296800000,"known":false})";
  using Reply = BroughtTake;
  std::string file;
  std::uint64_t size = 0, offset = 0;
  std::string base64;
  std::optional<TimeUtcMs> changed_utc_ms{};
};
BOOST_DESCRIBE_STRUCT(BringTake, (), (file, size, offset, base64, changed_utc_ms))

struct SpelledPitches {
  std::vector<std::string> names;
};
BOOST_DESCRIBE_STRUCT(SpelledPitches, (), (names))

struct SpellPitches {
  static constexpr const char* kMethod = "chord.spell";
  static constexpr const char* kSays = "Names keys as they are spelled in a chord: Eb4 in Cm, D#4 in B.";
  static constexpr const char* kExample = R"({"harte":"C:min7","pitches":[48,63,70]})";
  static constexpr const char* kReplyExample = R"({"names":["C3","Eb4","Bb4"]})";
  using Reply = SpelledPitches;
  std::string harte;
  std::vector<PitchNumber> pitches;
};
BOOST_DESCRIBE_STRUCT(SpellPitches, (), (harte, pitches))

struct Kept {
  static constexpr const char* kSays =
      "The number of the log line that stores the request. The line is on disk.";
  std::uint64_t number = 0;
};
BOOST_DESCRIBE_STRUCT(Kept, (), (number))

struct MarkTake {
  static constexpr const char* kMethod = "take.mark";
  static constexpr const char* kSays =
      "Marks this moment of the current take. Answered when the mark is on disk. A mark without a text gets "
      "one that says what sounded and when.";
  static constexpr const char* kExample = R"({"text":"this turn"})";
  static constexpr const char* kReplyExample = R"({"number":90413})";
  using Reply = Kept;
  std::optional<std::string> text{};
};
BOOST_DESCRIBE_STRUCT(MarkTake, (), (text))

struct JudgeMoment {
  static constexpr const char* kMethod = "take.judge";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Keeps or dismisses a part of a take, as take.digest proposes it, or takes that back (`open`). What "
      "was dismissed is not proposed again.";
  static constexpr const char* kExample =
      R"({"take":12,"from_us":8900000,"length_us":10434000,"verdict":"kept"})";
  static constexpr const char* kReplyExample = R"({"number":90414})";
  using Reply = Kept;
  std::uint64_t take = 0;
  TimeUs from_us = 0, length_us = 0;
  Verdict verdict = Verdict::kKept;
};
BOOST_DESCRIBE_STRUCT(JudgeMoment, (), (take, from_us, length_us, verdict))

struct LearntControl {
  std::string message;
};
BOOST_DESCRIBE_STRUCT(LearntControl, (), (message))

struct UnmarkTake {
  static constexpr const char* kMethod = "take.unmark";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Takes a mark back. `line`: the number of its line; without it, the newest mark of the take that is "
      "being played. Nothing is erased: the log keeps both lines, and the mark is no longer shown.";
  static constexpr const char* kExample = R"({"take":12,"line":90413})";
  static constexpr const char* kReplyExample = R"({"number":90420})";
  using Reply = Kept;
  std::optional<std::uint64_t> take{}, line{};
};
BOOST_DESCRIBE_STRUCT(UnmarkTake, (), (take, line))

struct LearnControl {
  static constexpr const char* kMethod = "controls.learn";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Answers with the next pedal, pad, key or program change that is pressed, as settings.set takes it in "
      "`controls`; an error if nothing is pressed for fifteen seconds. What is pressed is heard as always.";
  static constexpr const char* kExample = R"({})";
  static constexpr const char* kReplyExample = R"({"message":"cc 67"})";
  using Reply = LearntControl;
};
BOOST_DESCRIBE_STRUCT(LearnControl, (), ())

struct EndTake {
  static constexpr const char* kMethod = "take.end";
  static constexpr const char* kSays = "Ends the current take. The next note begins a new one.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample = R"({"number":90414})";
  using Reply = Kept;
};
BOOST_DESCRIBE_STRUCT(EndTake, (), ())

struct RenameTake {
  static constexpr const char* kMethod = "take.rename";
  static constexpr const char* kSays = "Gives a take a title.";
  static constexpr const char* kExample = R"({"take":12,"title":"circling in F"})";
  static constexpr const char* kReplyExample = R"({"number":90415})";
  using Reply = Kept;
  std::uint64_t take = 0;
  std::string title;
};
BOOST_DESCRIBE_STRUCT(RenameTake, (), (take, title))

struct AnnotateTake {
  static constexpr const char* kMethod = "take.annotate";
  static constexpr const char* kSays = "Writes a note about a take; it replaces the one before.";
  static constexpr const char* kExample = R"({"take":12,"text":"slower next time"})";
  static constexpr const char* kReplyExample = R"({"number":90416})";
  using Reply = Kept;
  std::uint64_t take = 0;
  std::string text;
};
BOOST_DESCRIBE_STRUCT(AnnotateTake, (), (take, text))

struct CorrectTake {
  static constexpr const char* kMethod = "take.correct";
  static constexpr const char* kSays = "The player says which chord began at `at`, a time within the take.";
  static constexpr const char* kExample = R"({"take":12,"at":83490112,"harte":"D:min7"})";
  static constexpr const char* kReplyExample = R"({"number":90417})";
  using Reply = Kept;
  std::uint64_t take = 0;
  TimeUs at = 0;
  std::string harte;
};
BOOST_DESCRIBE_STRUCT(CorrectTake, (), (take, at, harte))

struct Tapped {
  Nullable<BeatNow> beat;
};
BOOST_DESCRIBE_STRUCT(Tapped, (), (beat))

struct TapBeat {
  static constexpr const char* kMethod = "beat.tap";
  static constexpr const char* kSays =
      "One tap of the beat. Four even taps set tempo and bar: the first is beat one, and from there the "
      "pulse follows the playing. The reply has the beat as it is now, null if there is none.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"beat":{"at":83400112,"tempo":96,"confidence":1,"place":4,"meter":4,"source":"tapped","division":2,"signature":{"upper":4,"lower":4},"swing":1}})";
  using Reply = Tapped;
};
BOOST_DESCRIBE_STRUCT(TapBeat, (), ())

struct Corrected {
  static constexpr const char* kSays =
      "`number`: the log line that stores the correction, null if no take is being recorded. `beat`: as it "
      "is now.";
  Nullable<std::uint64_t> number;
  Nullable<BeatNow> beat;
};
BOOST_DESCRIBE_STRUCT(Corrected, (), (number, beat))

enum class BeatCorrection : std::uint8_t { kOne, kTwice, kHalf, kMeter, kUndo };
BOOST_DESCRIBE_ENUM(BeatCorrection, kOne, kTwice, kHalf, kMeter, kUndo)

struct CorrectBeat {
  static constexpr const char* kMethod = "beat.correct";
  static constexpr const char* kSays =
      "Corrects the beats at once. `one`: the beat nearest to `at` begins a bar. `meter`: the number of "
      "beats in a bar. `twice` and `half`: twice or half as many beats. `undo`: takes the last correction "
      "back. With `take` it applies to that take, otherwise to what is being played. `at` must lie within "
      "the take; without it, it is now. A correction that would leave the range of 20 to 400 beats a minute "
      "is refused.";
  static constexpr const char* kExample = R"({"what":"meter","meter":3})";
  static constexpr const char* kReplyExample =
      R"({"number":90420,"beat":{"at":83400112,"tempo":96,"confidence":0.8,"place":1,"meter":3,"source":"played","division":2,"signature":{"upper":3,"lower":4},"swing":1}})";
  using Reply = Corrected;
  BeatCorrection what = BeatCorrection::kOne;
  std::optional<std::uint64_t> take{};
  std::optional<TimeUs> at{};
  std::optional<Whole<1, 16>> meter{};
};
BOOST_DESCRIBE_STRUCT(CorrectBeat, (), (what, take, at, meter))

struct TakeBeats {
  static constexpr const char* kSays =
      "Lists of equal length: when each beat fell, and its `place` in the bar, from 1. `pulse` false: no "
      "steady pulse was found, and the beats are only the best fit. `division`, `signature` and `swing` as "
      "in BeatNow.";
  static constexpr std::array kAddedLater{"division", "signature", "swing"};
  std::uint64_t take = 0;
  bool pulse = false;
  Share confidence;
  Whole<1, 16> meter{4};
  std::vector<TimeUs> at;
  std::vector<std::uint32_t> place;
  Whole<2, 3> division{2};
  TimeSignature signature{};
  Real<1, 3> swing{1};
};
BOOST_DESCRIBE_STRUCT(TakeBeats, (), (take, pulse, confidence, meter, at, place, division, signature, swing))

struct GetBeats {
  static constexpr const char* kMethod = "take.beats";
  static constexpr const char* kSays =
      "Beats and bars of a take, found from the whole take and with all corrections applied. May take a "
      "second.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"pulse":true,"confidence":0.9,"meter":4,"at":[81200345,81825345],"place":[1,2],"division":2,"signature":{"upper":4,"lower":4},"swing":1})";
  using Reply = TakeBeats;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetBeats, (), (take))

struct StudyProgress {
  static constexpr const char* kSays =
      "`working`: the take is being studied now. `done`: how much of the work is done, 0 to 1.";
  bool working = false;
  Share done;
};
BOOST_DESCRIBE_STRUCT(StudyProgress, (), (working, done))

struct GetStudyProgress {
  static constexpr const char* kMethod = "study.progress";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "How far the work on a take is that take.beats, take.loop and others wait for.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample = R"({"working":true,"done":0.4})";
  using Reply = StudyProgress;
  std::uint64_t take = 0;
};
BOOST_DESCRIBE_STRUCT(GetStudyProgress, (), (take))

struct StudyCancelled {
  static constexpr const char* kSays = "`was`: true if the take was being studied.";
  bool was = false;
};
BOOST_DESCRIBE_STRUCT(StudyCancelled, (), (was))

struct CancelStudy {
  static constexpr const char* kMethod = "study.cancel";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Gives that work up. The requests that wait for it are answered with an error (-32002).";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample = R"({"was":true})";
  using Reply = StudyCancelled;
  std::uint64_t take = 0;
};
BOOST_DESCRIBE_STRUCT(CancelStudy, (), (take))

struct DeleteTake {
  static constexpr const char* kMethod = "take.delete";
  static constexpr const char* kSays =
      "Removes a take from the list. Nothing is erased; take.restore brings it back.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample = R"({"number":90418})";
  using Reply = Kept;
  std::uint64_t take = 0;
};
BOOST_DESCRIBE_STRUCT(DeleteTake, (), (take))

struct RestoreTake {
  static constexpr const char* kMethod = "take.restore";
  static constexpr const char* kSays = "Brings a deleted take back.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample = R"({"number":90419})";
  using Reply = Kept;
  std::uint64_t take = 0;
};
BOOST_DESCRIBE_STRUCT(RestoreTake, (), (take))

struct ExportedTake {
  std::uint64_t take = 0;
  std::string file_name;
  std::string base64;
};
BOOST_DESCRIBE_STRUCT(ExportedTake, (), (take, file_name, base64))

struct ExportTake {
  static constexpr const char* kMethod = "take.export";
  static constexpr const char* kSays =
      "A take as a standard MIDI file in base64: the notes as played, marks as markers. Without `take`: the "
      "newest.";
  static constexpr const char* kExample = R"({"take":12})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"file_name":"take-12.mid","base64":"TVRoZAAAAAYAAAABAeBNVHJrAAAABAD/LwA="})";
  using Reply = ExportedTake;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(ExportTake, (), (take))

// ---- hearing and playing

struct Heard {
  static constexpr const char* kSays =
      "`unheard`: true if nothing is connected to the output, so that nobody hears it; otherwise missing.";
  static constexpr std::array kAddedLater{"unheard"};
  Nullable<std::string> harte;
  std::optional<bool> unheard{};
};
BOOST_DESCRIBE_STRUCT(Heard, (), (harte, unheard))

struct Hear {
  static constexpr const char* kMethod = "hear";
  static constexpr const char* kSays =
      "Plays a chord on the MIDI output: an alternative by its `place` in the list (from 0), or a chord "
      "given as `harte`. With neither, the next alternative. `list` is the alternatives_number that the "
      "client saw; if the list has changed since, nothing is played and an error says so. `voicing`: the "
      "style, if the chord can be played in it. `notes`: exactly these keys, 1 to 16 of them, named by "
      "`harte` if given. `stop` ends what sounds. The reply names what is played; it is null after stop and "
      "for notes without a name.";
  static constexpr const char* kExample = R"({"place":0,"list":37})";
  static constexpr const char* kReplyExample = R"({"harte":"D:min9"})";
  using Reply = Heard;
  std::optional<Whole<0, 255>> place{};
  std::optional<std::string> harte{};
  std::optional<std::uint32_t> list{};
  std::optional<VoicingStyle> voicing{};
  std::optional<std::vector<PitchNumber>> notes{};
  std::optional<bool> stop{};
};
BOOST_DESCRIBE_STRUCT(Hear, (), (place, harte, list, voicing, notes, stop))

struct PlayTake {
  static constexpr const char* kMethod = "take.play";
  static constexpr const char* kSays =
      "Plays a take with its pedals on the MIDI output, from `from_us` to `to_us`, counted from its "
      "beginning; without them, all of it. Without `take`: the newest. `velocity`: the mean loudness to "
      "reduce it to; by default the setting hear_velocity. `held`: notes that are already held at `from_us` "
      "are struck there. Replaces what is being played.";
  static constexpr const char* kExample = R"({"take":12,"from_us":4000000,"to_us":12000000,"held":true})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"since":97200345,"from_us":4000000,"to_us":12000000})";
  using Reply = Playing;
  std::optional<std::uint64_t> take{};
  std::optional<TimeUs> from_us{}, to_us{};
  std::optional<Whole<1, 127>> velocity{};
  std::optional<bool> held{};
};
BOOST_DESCRIBE_STRUCT(PlayTake, (), (take, from_us, to_us, velocity, held))

enum class Layer : std::uint8_t { kBass, kChords, kMelody };
BOOST_DESCRIBE_ENUM(Layer, kBass, kChords, kMelody)

struct GivenChord {
  static constexpr const char* kSays =
      "`notes`: exactly these keys, 1 to 16, held as long as the chord lasts; without them the chord gets a "
      "new voicing. Of two or more, the lowest is the bass and the highest the melody.";
  std::string harte;
  std::optional<std::vector<PitchNumber>> notes{};
};
BOOST_DESCRIBE_STRUCT(GivenChord, (), (harte, notes))

struct PlayAlong {
  static constexpr const char* kMethod = "play.along";
  static constexpr const char* kSays =
      "Finds the loop of a take and repeats its bass roots and chords on the MIDI output, after `count_in` "
      "bars (default 1), at `tempo` beats a minute (default: the tempo of the take). `chords`: play these "
      "instead of the chords of the loop, one for each, as take.reharmonise proposes them; without `layers` "
      "all their notes are played. The current take ends, and the next note begins a take that is recorded "
      "against the loop: see take.passes. With `listen`, no take ends and nothing is recorded against the "
      "loop. With `by_client`, the client itself sounds what the answer's `notes` say, as the page does "
      "where there is no MIDI output; all else stays the same. Ends with play.stop, after `rounds` rounds, "
      "or, with `by_client`, when that client's connection ends.";
  static constexpr const char* kExample =
      R"({"take":12,"tempo":92,"count_in":1,"layers":["bass","chords"],"chords":[{"harte":"F:maj7","notes":[41,57,60,64]}],"rounds":2})";
  static constexpr const char* kReplyExample =
      R"({"take":12,"since":97200345,"from_us":0,"to_us":0,"along":{"tempo":92,"meter":4,"count_in_us":2608696,"cycle_us":10434783,"chords":[{"at_us":0,"harte":"F:maj7"}],"rounds":2,"given":true,"listen":false}})";
  static constexpr std::array kAddedLater{"by_client"};
  using Reply = Playing;
  std::optional<std::uint64_t> take{};
  std::optional<Real<20, 400>> tempo{};
  std::optional<Whole<0, 8>> count_in{};
  std::optional<std::vector<Layer>> layers{};
  std::optional<Whole<1, 127>> velocity{};
  std::optional<std::vector<GivenChord>> chords{};
  std::optional<Whole<1, 64>> rounds{};
  std::optional<bool> listen{}, by_client{};
};
BOOST_DESCRIBE_STRUCT(PlayAlong, (),
                      (take, tempo, count_in, layers, velocity, chords, rounds, listen, by_client))

struct TakePasses {
  static constexpr const char* kSays =
      "`pass_at`: when each round began; the first has the number `first_pass`. The lists after it have "
      "equal length, one item for each note, ordered by beginning: its `pass` (0: before the first), its "
      "`place_us` in the loop, and the index in `chords` of the chord it is over (from 0; -1 in pass 0). A "
      "note played a little early belongs to the chord or round that it anticipates.";
  std::uint64_t take = 0;
  LoggedAlong along;
  std::uint32_t first_pass = 1;
  std::vector<TimeUs> pass_at;
  std::vector<TimeUs> at;
  std::vector<PitchNumber> pitch;
  std::vector<std::uint32_t> pass;
  std::vector<TimeUs> place_us;
  std::vector<std::int64_t> chord;
};
BOOST_DESCRIBE_STRUCT(TakePasses, (), (take, along, first_pass, pass_at, at, pitch, pass, place_us, chord))

struct GetPasses {
  static constexpr const char* kMethod = "take.passes";
  static constexpr const char* kSays =
      "For a take that was played along with a loop: the round and the place in the loop of every note.";
  static constexpr const char* kExample = R"({"take":13})";
  static constexpr const char* kReplyExample =
      R"({"take":13,"along":{"take":12,"tempo":92,"meter":4,"cycle_us":10434783,"chords":[{"at_us":0,"harte":"F:maj7"}]},"first_pass":1,"pass_at":[99809041],"at":[100120333],"pitch":[76],"pass":[1],"place_us":[311292],"chord":[0]})";
  using Reply = TakePasses;
  std::optional<std::uint64_t> take{};
};
BOOST_DESCRIBE_STRUCT(GetPasses, (), (take))

struct Stopped {
  static constexpr const char* kSays = "`was`: true if something was being played.";
  bool was = false;
};
BOOST_DESCRIBE_STRUCT(Stopped, (), (was))

struct StopPlaying {
  static constexpr const char* kMethod = "play.stop";
  static constexpr const char* kSays = "Ends what the MIDI output is playing and releases all its notes.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample = R"({"was":true})";
  using Reply = Stopped;
};
BOOST_DESCRIBE_STRUCT(StopPlaying, (), ())

struct Holding {
  bool still = false;
};
BOOST_DESCRIBE_STRUCT(Holding, (), (still))

struct Hold {
  static constexpr const char* kMethod = "hold";
  static constexpr const char* kSays =
      "Freezes the list of alternatives, or lets it follow the playing again.";
  static constexpr const char* kExample = R"({"on":true})";
  static constexpr const char* kReplyExample = R"({"still":true})";
  using Reply = Holding;
  bool on = false;
};
BOOST_DESCRIBE_STRUCT(Hold, (), (on))

struct Accepted {
  std::uint64_t accepted = 0;
};
BOOST_DESCRIBE_STRUCT(Accepted, (), (accepted))

struct SendNotes {
  static constexpr const char* kMethod = "notes.send";
  static constexpr const char* kSays =
      "Plays notes as if on a keyboard. Keys that this client still holds are released when it disconnects. "
      "The reply has the number of notes accepted.";
  static constexpr const char* kExample =
      R"({"notes":[{"pitch":60,"velocity":80,"on":true},{"pitch":64,"velocity":72,"on":true}]})";
  static constexpr const char* kReplyExample = R"({"accepted":2})";
  using Reply = Accepted;
  std::vector<PlayedNote> notes;
};
BOOST_DESCRIBE_STRUCT(SendNotes, (), (notes))

struct ChordParts {
  static constexpr const char* kSays = "In the order asked for; null for a name that is not a chord.";
  std::vector<Nullable<Chord>> chords;
};
BOOST_DESCRIBE_STRUCT(ChordParts, (), (chords))

struct StyledVoicing {
  static constexpr const char* kSays =
      "Keys of the `left` and `right` hand, lowest first. `hands_move`: semitones that the hands move from "
      "the keys held now.";
  VoicingStyle style = VoicingStyle::kOpen;
  std::vector<PitchNumber> left, right;
  Whole<0, 255> hands_move;
};
BOOST_DESCRIBE_STRUCT(StyledVoicing, (), (style, left, right, hands_move))

struct ChordVoicings {
  std::vector<StyledVoicing> voicings;
};
BOOST_DESCRIBE_STRUCT(ChordVoicings, (), (voicings))

struct VoiceChord {
  static constexpr const char* kMethod = "chord.voicings";
  static constexpr const char* kSays =
      "Voicings of a chord, given in Harte syntax, under the melody notes of the list and from where the "
      "hands are now: the best first, then up to three others. Empty while there is no melody note.";
  static constexpr const char* kExample = R"({"harte":"D:min9"})";
  static constexpr const char* kReplyExample =
      R"({"voicings":[{"style":"open","left":[38,48],"right":[65,69,76],"hands_move":9},{"style":"shell","left":[38,48],"right":[65,76],"hands_move":11}]})";
  using Reply = ChordVoicings;
  std::string harte;
};
BOOST_DESCRIBE_STRUCT(VoiceChord, (), (harte))

struct GetChordParts {
  static constexpr const char* kMethod = "chord.parts";
  static constexpr const char* kSays =
      "The parts of chords known only by name: in Harte syntax, or as symbols (Cm7, C-7).";
  static constexpr const char* kExample = R"({"names":["F:maj7","N"]})";
  static constexpr const char* kReplyExample =
      R"({"chords":[{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7"},null]})";
  using Reply = ChordParts;
  std::vector<std::string> names;
};
BOOST_DESCRIBE_STRUCT(GetChordParts, (), (names))

// ---- where things are

struct Places {
  static constexpr const char* kSays =
      "`configuration`: the configuration file; `configured`: true if it exists and was read. `takes`: the "
      "file of the log. `socket`: the path of the socket. `page`: the address of the page, null if none is "
      "served. `page_trouble`: why no page is served although one was configured.";
  std::string configuration;
  bool configured = false;
  std::string takes, socket;
  Nullable<std::string> page;
  std::optional<std::string> page_trouble{};
};
BOOST_DESCRIBE_STRUCT(Places, (), (configuration, configured, takes, socket, page, page_trouble))

struct GetPlaces {
  static constexpr const char* kMethod = "places.get";
  static constexpr const char* kSays = "Where the daemon keeps its files, its socket and its page.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"configuration":"/home/player/.config/undersong/undersong.toml","configured":false,"takes":"/home/player/.local/share/undersong/takes.sqlite","socket":"/run/user/1000/undersong/socket","page":"http://127.0.0.1:8344/"})";
  using Reply = Places;
};
BOOST_DESCRIBE_STRUCT(GetPlaces, (), ())

// ---- the file of takes

struct BackedUp {
  static constexpr const char* kSays = "`bytes`: how large the copy is.";
  std::string file;
  std::uint64_t bytes = 0;
};
BOOST_DESCRIBE_STRUCT(BackedUp, (), (file, bytes))

struct BackUpTakes {
  static constexpr const char* kMethod = "store.backup";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Writes a copy of the file of takes. `file`: an absolute path on the daemon's machine; no file may "
      "have that name. Only the player at this machine may ask.";
  static constexpr const char* kExample = R"({"file":"/media/stick/takes.sqlite"})";
  static constexpr const char* kReplyExample = R"({"file":"/media/stick/takes.sqlite","bytes":41943040})";
  static constexpr bool kLocalOnly = true;
  using Reply = BackedUp;
  std::string file;
};
BOOST_DESCRIBE_STRUCT(BackUpTakes, (), (file))

struct BroughtBack {
  static constexpr const char* kSays = "`kept`: where the file of takes that was there before is kept.";
  std::string kept;
};
BOOST_DESCRIBE_STRUCT(BroughtBack, (), (kept))

struct RestoreTakes {
  static constexpr const char* kMethod = "store.restore";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "A copy of a backup takes the place of the file of takes, which is kept beside it. `file`: an "
      "absolute path on the daemon's machine. Refused while a take is being played. Afterwards the store "
      "has another `id`, and its numbers go on where those of the file before ended. Only the player at "
      "this machine may ask.";
  static constexpr const char* kExample = R"({"file":"/media/stick/takes.sqlite"})";
  static constexpr const char* kReplyExample =
      R"({"kept":"/home/player/.local/share/undersong/takes.sqlite.before-restore-1"})";
  static constexpr bool kLocalOnly = true;
  using Reply = BroughtBack;
  std::string file;
};
BOOST_DESCRIBE_STRUCT(RestoreTakes, (), (file))

// ---- settings

struct GetSettings {
  static constexpr const char* kMethod = "settings.get";
  static constexpr const char* kSays = "The settings now.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"wishes":{"brighter":0,"tenser":0,"surprising":0.25},"symbol_style":"letters","hear_output":"","hear_velocity":64,"settle_ms":250,"melody":"two","voicing":"open","key":"","lean":"found","reach":14,"own":true,"controls":[{"message":"cc 67","press":"single","action":"hear_next"}],"changed":[]})";
  using Reply = Settings;
};
BOOST_DESCRIBE_STRUCT(GetSettings, (), ())

struct SetSettings {
  static constexpr const char* kMethod = "settings.set";
  static constexpr const char* kSays =
      "Changes the given settings and leaves the rest. The reply has all settings. Changes survive a "
      "restart. `key`: pins the key (Eb:min, Ebm or Eb minor); empty frees it.";
  static constexpr const char* kExample = R"({"brighter":-0.5,"symbol_style":"signs"})";
  static constexpr const char* kReplyExample =
      R"({"wishes":{"brighter":-0.5,"tenser":0,"surprising":0.25},"symbol_style":"signs","hear_output":"","hear_velocity":64,"settle_ms":250,"melody":"two","voicing":"open","key":"","lean":"found","reach":14,"own":true,"controls":[{"message":"cc 67","press":"single","action":"hear_next"}],"changed":["brighter","symbol_style"]})";
  static constexpr std::array kAddedLater{"lean", "reach", "own", "controls"};
  using Reply = Settings;
  std::optional<Wish> brighter{}, tenser{}, surprising{};
  std::optional<SymbolStyle> symbol_style{};
  std::optional<std::string> hear_output{};
  std::optional<Whole<1, 127>> hear_velocity{};
  std::optional<Whole<0, 60'000>> settle_ms{};
  std::optional<MelodySpan> melody{};
  std::optional<VoicingStyle> voicing{};
  std::optional<std::string> key{};
  std::optional<Lean> lean{};
  std::optional<Whole<12, 16>> reach{};
  std::optional<bool> own{};
  std::optional<std::vector<Control>> controls{};
};
BOOST_DESCRIBE_STRUCT(SetSettings, (),
                      (brighter, tenser, surprising, symbol_style, hear_output, hear_velocity, settle_ms,
                       melody, voicing, key, lean, reach, own, controls))

struct ResetSettings {
  static constexpr const char* kMethod = "settings.reset";
  static constexpr const char* kSays =
      "Sets the named settings, or all that were changed, back to the configuration. The reply has all "
      "settings.";
  static constexpr const char* kExample = R"({"names":["brighter"]})";
  static constexpr const char* kReplyExample =
      R"({"wishes":{"brighter":0,"tenser":0,"surprising":0.25},"symbol_style":"signs","hear_output":"","hear_velocity":64,"settle_ms":250,"melody":"two","voicing":"open","key":"","lean":"found","reach":14,"own":true,"controls":[{"message":"cc 67","press":"single","action":"hear_next"}],"changed":["symbol_style"]})";
  using Reply = Settings;
  std::optional<std::vector<SettingName>> names{};
};
BOOST_DESCRIBE_STRUCT(ResetSettings, (), (names))

// ---- the player's own harmony

struct Habit {
  static constexpr const char* kSays =
      "A chord, or the step to it from the chord `after`, and its share of everything that counted.";
  Chord chord;
  std::optional<Chord> after{};
  Share share;
};
BOOST_DESCRIBE_STRUCT(Habit, (), (chord, after, share))

struct OwnIdiom {
  static constexpr const char* kSays =
      "What kept takes tell of the player's own harmony. `takes`: how many count; `since_utc_ms`: when the "
      "oldest of them began, null if there is none. `erased_utc_ms`: when it was erased last, null if never. "
      "`chords` and `steps`: what the player goes to most, greatest share first, written as if every key "
      "were C major or A minor; a chord with extensions counts as its seventh chord.";
  std::uint64_t takes = 0;
  Nullable<std::int64_t> since_utc_ms, erased_utc_ms;
  std::vector<Habit> chords, steps;
};
BOOST_DESCRIBE_STRUCT(OwnIdiom, (), (takes, since_utc_ms, erased_utc_ms, chords, steps))

struct GetIdiom {
  static constexpr const char* kMethod = "idiom.get";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "What Undersong has learnt of the player's own harmony. It shapes the list of alternatives while the "
      "setting `own` is on.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"takes":31,"since_utc_ms":1790000000000,"erased_utc_ms":null,"chords":[{"chord":{"root":9,"root_name":"A","quality":"min7","letters":["m","7"],"signs":["-","7"],"harte":"A:min7"},"share":0.21}],"steps":[{"chord":{"root":5,"root_name":"F","quality":"maj7","letters":["","maj7"],"signs":["Δ","7"],"harte":"F:maj7"},"after":{"root":9,"root_name":"A","quality":"min7","letters":["m","7"],"signs":["-","7"],"harte":"A:min7"},"share":0.08}]})";
  using Reply = OwnIdiom;
};
BOOST_DESCRIBE_STRUCT(GetIdiom, (), ())

struct EraseIdiom {
  static constexpr const char* kMethod = "idiom.erase";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Forgets the player's own harmony up to now. The takes stay, but those so far, and the take that is "
      "being played, no longer count. It can't be undone. The reply says what is left: nothing.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"takes":0,"since_utc_ms":null,"erased_utc_ms":1790000000000,"chords":[],"steps":[]})";
  using Reply = OwnIdiom;
};
BOOST_DESCRIBE_STRUCT(EraseIdiom, (), ())

// ---- the list

using Notifications = boost::mp11::mp_list<Welcome, Moment, Status, Log>;
using Requests = boost::mp11::mp_list<
    Hello, Subscribe, Unsubscribe, GetMoment, GetStatus, ListTakes, GetTake, FindMoments, FindPlayed,
    GetMeetings, GetSimilar, GetPicture, GetDigest, BringTake, GetEvents, GetNotes, GetThumbnail, MarkTake,
    UnmarkTake, JudgeMoment, EndTake, RenameTake, AnnotateTake, CorrectTake, DeleteTake, RestoreTake,
    ExportTake, TapBeat, CorrectBeat, GetBeats, GetStudyProgress, CancelStudy, Hear, PlayTake, PlayAlong,
    GetPasses, StopPlaying, Hold, SendNotes, SpellPitches, VoiceChord, GetChordParts, GetPlaces, BackUpTakes,
    RestoreTakes, GetSettings, SetSettings, ResetSettings, LearnControl, GetIdiom, EraseIdiom, GetLoop,
    Reharmonise, HandOverTake, ProposeSketch, PutSketch, GetKeptSketch, ListSketches, OutlineSketch,
    PlaySketch, HandOverSketch, DeleteSketch, GrowSketch, OpenDevices, PairDevice, ListDevices, RevokeDevice>;

}  // namespace undersong::protocol
