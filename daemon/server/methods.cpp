#include "daemon/server/methods.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>

#include "daemon/base/caught.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/server/moment_wire.h"
#include "daemon/server/music_wire.h"
#include "daemon/server/session.h"
#include "daemon/server/songs.h"
#include "daemon/takes/along.h"
#include "daemon/takes/midi_export.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/played_notes.h"
#include "daemon/takes/take_times.h"
#include "protocol/base64.h"

namespace undersong::server {
namespace {

using namespace protocol;  // NOLINT: this file is about its messages

// A Reply that takes the message's own type.
template <class T>
struct To {
  Reply reply;
  void operator()(const T& value) const { reply.result(to_json(value)); }
  void operator()(const Error& error) const { reply.error(error); }
};

template <class T, void (*Answer)(Session&, const T&, To<typename T::Reply>)>
constexpr Method row{T::kMethod, [](Session& session, const boost::json::value& params, Reply reply) {
                       auto read = read_value<T>(params, "params");
                       if (!read) return reply.error(RpcCode::kInvalidParams, read.error().sentence);
                       Answer(session, *read, {std::move(reply)});
                     }};

// Hands the number of a line over as Kept.
takes::Store::Answer<takes::LineNumber> kept(To<Kept> to) {
  return [to](Result<takes::LineNumber> number) {
    if (!number) return to(number.error());
    to(Kept{*number});
  };
}

void hello(Session& session, const Hello& params, To<Welcome> to) {
  if (!session.show_token(params.token))
    return to.reply.error(RpcCode::kTokenNeeded, "The token is missing or wrong.");
  to(session.welcome());
}
void subscribe(Session& session, const Subscribe& params, To<Subscribed> to) {
  to(session.subscribe(params));
}
void unsubscribe(Session& session, const Unsubscribe& params, To<Subscribed> to) {
  to(session.unsubscribe(params));
}

void get_moment(Session& session, const GetMoment&, To<Moment> to) {
  to.reply.result(std::string(params_of(*session.room().newest_moment())));
}
void get_status(Session& session, const GetStatus&, To<Status> to) {
  to.reply.result(std::string(params_of(*session.room().newest_status())));
}

std::optional<PitchClass> pitch_class(const std::optional<PitchClassNumber>& number) {
  if (!number) return std::nullopt;
  return PitchClass(static_cast<int>(number->value));
}

void list_takes(Session& session, const ListTakes& params, To<TakeList> to) {
  takes::Search search;
  if (params.limit) search.limit = static_cast<std::size_t>(params.limit->value);
  search.before = params.before;
  search.harte = params.harte;
  search.root = pitch_class(params.root);
  if (params.family) search.family = static_cast<harmony::Family>(*params.family);
  search.key = params.key;
  search.melody = pitch_class(params.melody);
  search.melody_over = pitch_class(params.melody_over);
  search.melody_degree = params.melody_degree;
  search.from_utc_ms = params.from_utc_ms;
  search.to_utc_ms = params.to_utc_ms;
  search.deleted = params.deleted.value_or(false);
  session.room().store.list(std::move(search), [to](Result<takes::Found> found) {
    if (!found) return to(found.error());
    TakeList list;
    list.more = found->more;
    for (const auto& take : found->takes) list.takes.push_back(summary_of(take));
    to(list);
  });
}
// Both lists of families are in the same order; the names are compared by a test.
static_assert(static_cast<int>(Family::kPower) == static_cast<int>(harmony::Family::kPower));

void get_take(Session& session, const GetTake& params, To<TakeDetail> to) {
  session.room().store.detail(params.take, [to](Result<takes::Detail> detail) {
    if (!detail) return to(detail.error());
    to(detail_of(*detail));
  });
}

// The protocol names kinds in the order in which the store numbers them, from 1.
constexpr takes::LineKind stored_kind(LineKind kind) {
  return static_cast<takes::LineKind>(static_cast<int>(kind) + 1);
}
static_assert(stored_kind(LineKind::kTakeBegin) == takes::LineKind::kTakeBegin &&
              stored_kind(LineKind::kMelody) == takes::LineKind::kMelody &&
              stored_kind(LineKind::kRestore) == takes::LineKind::kRestore &&
              stored_kind(LineKind::kPass) == takes::LineKind::kPass &&
              stored_kind(LineKind::kLost) == takes::LineKind::kLost &&
              stored_kind(LineKind::kMeeting) == takes::kLastKind);

void get_events(Session& session, const GetEvents& params, To<TakeLines> to) {
  const std::size_t limit = params.limit ? static_cast<std::size_t>(params.limit->value) : 500;
  const takes::LineNumber from = params.from.value_or(1);
  std::vector<takes::LineKind> kinds;
  if (params.kinds)
    for (const LineKind kind : *params.kinds) kinds.push_back(stored_kind(kind));
  session.room().store.lines(params.take, from, limit + 1, std::move(kinds),
                             [to, limit, from](Result<std::vector<takes::Line>> lines) {
                               if (!lines) return to(lines.error());
                               const bool more = lines->size() > limit;
                               if (more) lines->pop_back();
                               std::string out = R"({"lines":[)";
                               for (const takes::Line& line : *lines) {
                                 if (&line != lines->data()) out += ',';
                                 append_line(out, line);
                               }
                               out += R"(],"next":)";
                               append_json(out, lines->empty() ? from : lines->back().number + 1);
                               out.append(R"(,"more":)").append(more ? "true}" : "false}");
                               to.reply.result(std::move(out));
                             });
}

// "12:4": so many moments of take 12 are left.
std::optional<takes::MomentSearch::From> from_of(const std::string& text) {
  takes::MomentSearch::From from;
  const char* end = text.data() + text.size();
  const auto take = std::from_chars(text.data(), end, from.take);
  if (take.ec != std::errc() || take.ptr == end || *take.ptr != ':') return std::nullopt;
  const auto left = std::from_chars(take.ptr + 1, end, from.left);
  if (left.ec != std::errc() || left.ptr != end) return std::nullopt;
  return from;
}

void find_moments(Session& session, const FindMoments& params, To<FoundMoments> to) {
  const auto utc_ms = std::chrono::duration_cast<std::chrono::milliseconds>(
                          std::chrono::system_clock::now().time_since_epoch())
                          .count();
  auto question = takes::read_question(params.question, takes::day_at(utc_ms));
  if (!question) return to(question.error());
  takes::MomentSearch search;
  if (params.limit) search.limit = static_cast<std::size_t>(params.limit->value);
  if (params.from) {
    search.from = from_of(*params.from);
    if (!search.from)
      return to(invalid_input("params.from is not what a reply gave as next: \"" + *params.from + "\"."));
  }
  const std::string understood = takes::in_words(*question);
  search.days_ms = takes::days_ms(*question);
  search.question = std::move(*question);
  session.room().store.find(std::move(search), [to, understood](Result<takes::FoundMoments> found) {
    if (!found) return to(found.error());
    to(found_of(*found, understood));
  });
}

void get_meetings(Session& session, const GetMeetings& params, To<TakeMeetings> to) {
  session.room().store.meetings(params.take, [to](Result<takes::TakeMeetings> met) {
    if (!met) return to(met.error());
    to(meetings_of(*met));
  });
}

void get_notes(Session& session, const GetNotes& params, To<TakeNotes> to) {
  session.room().store.midi(params.take, [to](Result<takes::Store::Midi> take) {
    if (!take) return to(take.error());
    const auto played = takes::played_notes(take->events);
    TakeNotes out;
    out.take = take->detail.summary.take;
    for (const auto& note : played.notes) {
      out.at.push_back(note.at.count());
      out.length_us.push_back(note.length.count());
      out.pitch.emplace_back(note.pitch.value());
      out.velocity.emplace_back(note.velocity.value());
    }
    for (const auto& move : played.pedal) out.pedal.push_back({move.at.count(), move.down});
    to(out);
  });
}

void get_thumbnail(Session& session, const GetThumbnail& params, To<TakeThumbnail> to) {
  const std::size_t spans = params.spans ? static_cast<std::size_t>(params.spans->value) : 96;
  session.room().store.midi(params.take, [to, spans](Result<takes::Store::Midi> take) {
    if (!take) return to(take.error());
    const auto& summary = take->detail.summary;
    TakeThumbnail out;
    out.take = summary.take;
    for (const auto& span :
         takes::thumbnail(take->events, summary.at, summary.last_at - summary.at, spans).spans) {
      out.notes.push_back(span.notes);
      out.lowest.emplace_back(span.notes == 0 ? 0 : span.lowest.value());
      out.highest.emplace_back(span.notes == 0 ? 0 : span.highest.value());
    }
    to(out);
  });
}

void mark_take(Session& session, const MarkTake& params, To<Kept> to) {
  session.room().desk.mark(params.text.value_or(""), kept(to));
}
void end_take(Session& session, const EndTake&, To<Kept> to) {
  session.room().desk.end_take(kept(to));
}

void edit(Session& session, takes::LineKind kind, std::uint64_t take, std::string text, To<Kept> to) {
  session.room().store.edit(kind, take, session.room().desk.now(), std::move(text), kept(to));
}
void rename_take(Session& s, const RenameTake& p, To<Kept> to) {
  edit(s, takes::LineKind::kRename, p.take, p.title, to);
}
void annotate_take(Session& s, const AnnotateTake& p, To<Kept> to) {
  edit(s, takes::LineKind::kAnnotate, p.take, p.text, to);
}
void delete_take(Session& s, const DeleteTake& p, To<Kept> to) {
  edit(s, takes::LineKind::kDelete, p.take, "", to);
}
void restore_take(Session& s, const RestoreTake& p, To<Kept> to) {
  edit(s, takes::LineKind::kRestore, p.take, "", to);
}
void correct_take(Session& session, const CorrectTake& params, To<Kept> to) {
  if (params.harte != "N" && !harmony::parse_harte(params.harte))
    return to(invalid_input("params.harte is not a chord in Harte syntax: " + params.harte + "."));
  auto& store = session.room().store;
  const Micros time = session.room().desk.now();
  store.detail(params.take, [to, params, time, &store](Result<takes::Detail> detail) {
    if (!detail) return to(detail.error());
    auto summary = detail->summary;
    if (!summary.ended) summary.last_at = std::max(summary.last_at, time);  // it is being played
    if (const auto wrong = takes::outside(summary, Micros(params.at), "params.at")) return to(*wrong);
    store.edit(takes::LineKind::kCorrection, params.take, Micros(params.at), params.harte, kept(to));
  });
}

void export_take(Session& session, const ExportTake& params, To<ExportedTake> to) {
  session.room().store.midi(params.take, [to](Result<takes::Store::Midi> take) {
    if (!take) return to(take.error());
    const auto bytes = takes::standard_midi_file(*take);
    if (!bytes) return to(bytes.error());
    const auto number = take->detail.summary.take;
    to(ExportedTake{number, "take-" + std::to_string(number) + ".mid", base64(*bytes)});
  });
}

void hear(Session& session, const Hear& params, To<Heard> to) {
  auto heard = session.room().desk.hear(params);
  if (!heard) return to(heard.error());
  Heard answer;
  if (*heard) answer.harte.emplace(**heard);
  to(answer);
}
void play_take(Session& session, const PlayTake& params, To<Playing> to) {
  session.room().desk.play_take(params, [to](Result<Playing> playing) {
    if (!playing) return to(playing.error());
    to(*playing);
  });
}
void play_along(Session& session, const PlayAlong& params, To<Playing> to) {
  session.room().desk.play_along(params, [to](Result<Playing> playing) {
    if (!playing) return to(playing.error());
    to(*playing);
  });
}
void tap_beat(Session& session, const TapBeat&, To<Tapped> to) {
  Tapped out;
  if (const auto beat = session.room().desk.tap()) out.beat.emplace(*beat);
  to(out);
}
void correct_beat(Session& session, const CorrectBeat& params, To<Corrected> to) {
  session.room().desk.correct_beat(params, [to](Result<Corrected> corrected) {
    if (!corrected) return to(corrected.error());
    to(*corrected);
  });
}
void get_beats(Session& session, const GetBeats& params, To<TakeBeats> to) {
  session.room().desk.take_beats(params.take, [to](Result<TakeBeats> beats) {
    if (!beats) return to(beats.error());
    to(*beats);
  });
}
void get_passes(Session& session, const GetPasses& params, To<TakePasses> to) {
  auto& store = session.room().store;
  store.midi(params.take, [to, &store](Result<takes::Store::Midi> take) {
    if (!take) return to(take.error());
    const auto number = take->detail.summary.take;
    store.lines(
        number, 1, 1'000'000, {takes::LineKind::kAlong, takes::LineKind::kPass},
        [to, number, events = std::move(take->events)](Result<std::vector<takes::Line>> lines) {
          if (!lines) return to(lines.error());
          const auto along = takes::read_along(*lines);
          if (!along)
            return to(not_found("Take " + std::to_string(number) + " was not played along with a loop."));
          TakePasses out;
          out.take = number;
          out.along.take = along->of;
          out.along.tempo = along->tempo;
          out.along.meter = along->meter;
          out.along.cycle_us = along->cycle.count();
          for (const auto& chord : along->chords) out.along.chords.push_back({chord.at.count(), chord.harte});
          out.first_pass = static_cast<std::uint32_t>(along->first_pass);
          for (const Micros at : along->passes) out.pass_at.push_back(at.count());
          for (const auto& note : takes::place_notes(takes::played_notes(events).notes, *along)) {
            out.at.push_back(note.at.count());
            out.pitch.emplace_back(note.pitch.value());
            out.pass.push_back(static_cast<std::uint32_t>(note.pass));
            out.place_us.push_back(note.place.count());
            out.chord.push_back(note.chord);
          }
          to(out);
        });
  });
}
void stop_playing(Session& session, const StopPlaying&, To<Stopped> to) {
  to(Stopped{session.room().desk.stop_playing()});
}
void hold(Session& session, const Hold& params, To<Holding> to) {
  to(Holding{session.room().desk.hold(params.on)});
  session.room().publish_status();
}
void send_notes(Session& session, const SendNotes& params, To<Accepted> to) {
  auto accepted = session.room().desk.play(session.id(), params.notes);
  if (!accepted) return to(accepted.error());
  to(Accepted{*accepted});
}

void voice_chord(Session& session, const VoiceChord& params, To<ChordVoicings> to) {
  auto made = session.room().desk.voicings(params);
  if (!made) return to(made.error());
  to(*made);
}
void spell(Session&, const SpellPitches& params, To<SpelledPitches> to) {
  const auto parsed = harmony::parse_harte(params.harte);
  if (!parsed) return to(invalid_input("params.harte is not a chord in Harte syntax: " + params.harte + "."));
  SpelledPitches out;
  for (const auto& number : params.pitches) {
    const Pitch pitch(static_cast<int>(number.value));
    out.names.push_back(
        harmony::text(harmony::name_in(parsed->chord, parsed->root, pitch.pitch_class()), pitch));
  }
  to(out);
}

void get_chord_parts(Session&, const GetChordParts& params, To<ChordParts> to) {
  ChordParts out;
  for (const auto& name : params.names) {
    auto chord = chord_named(name);
    out.chords.push_back(chord ? Nullable<Chord>(std::move(*chord)) : Nullable<Chord>());
  }
  to(out);
}

void get_places(Session& session, const GetPlaces&, To<Places> to) {
  to(session.room().places);
}
void get_settings(Session& session, const GetSettings&, To<Settings> to) {
  to(session.room().desk.settings());
}
void reset_settings(Session& session, const ResetSettings& params, To<Settings> to) {
  to(session.room().desk.reset_settings(params));
  session.room().publish_status();
}
void set_settings(Session& session, const SetSettings& params, To<Settings> to) {
  auto settings = session.room().desk.change_settings(params);
  if (!settings) return to(settings.error());
  to(*settings);
  session.room().publish_status();
}

// A Songs answer as a reply.
template <class T>
Songs::Answer<T> answered(To<T> to) {
  return [to](Result<T> result) {
    if (!result) return to(result.error());
    to(*result);
  };
}
void get_loop(Session& s, const GetLoop& p, To<TakeLoop> to) {
  s.room().songs.loop(p, answered(to));
}
void reharmonise(Session& s, const Reharmonise& p, To<Reharmonised> to) {
  s.room().songs.reharmonise(p, answered(to));
}
void hand_over_take(Session& s, const HandOverTake& p, To<HandedOver> to) {
  s.room().songs.hand_over(p, answered(to));
}
void propose_sketch(Session& s, const ProposeSketch& p, To<SongSketch> to) {
  s.room().songs.propose(p, answered(to));
}
void put_sketch(Session& s, const PutSketch& p, To<KeptSketch> to) {
  s.room().songs.put(p, answered(to));
}
void get_kept_sketch(Session& s, const GetKeptSketch& p, To<KeptSketch> to) {
  s.room().songs.get(p.name, answered(to));
}
void list_sketches(Session& s, const ListSketches&, To<SketchList> to) {
  s.room().songs.list(answered(to));
}
void outline_sketch(Session& s, const OutlineSketch& p, To<SketchOutline> to) {
  s.room().songs.outline(p.name, answered(to));
}
void hand_over_sketch(Session& s, const HandOverSketch& p, To<HandedOver> to) {
  s.room().songs.hand_over_sketch(p.name, answered(to));
}
void delete_sketch(Session& s, const DeleteSketch& p, To<SketchName> to) {
  s.room().songs.remove(p.name, answered(to));
}

constexpr std::array kMethods{
    row<CorrectBeat, correct_beat>,
    row<TapBeat, tap_beat>,
    row<GetChordParts, get_chord_parts>,
    row<SpellPitches, spell>,
    row<VoiceChord, voice_chord>,
    row<Hear, hear>,
    row<Hello, hello>,
    row<Hold, hold>,
    row<GetMoment, get_moment>,
    row<SendNotes, send_notes>,
    row<GetPlaces, get_places>,
    row<PlayAlong, play_along>,
    row<StopPlaying, stop_playing>,
    row<GetSettings, get_settings>,
    row<ResetSettings, reset_settings>,
    row<SetSettings, set_settings>,
    row<DeleteSketch, delete_sketch>,
    row<GetKeptSketch, get_kept_sketch>,
    row<HandOverSketch, hand_over_sketch>,
    row<ListSketches, list_sketches>,
    row<OutlineSketch, outline_sketch>,
    row<ProposeSketch, propose_sketch>,
    row<PutSketch, put_sketch>,
    row<GetStatus, get_status>,
    row<Subscribe, subscribe>,
    row<AnnotateTake, annotate_take>,
    row<GetBeats, get_beats>,
    row<CorrectTake, correct_take>,
    row<DeleteTake, delete_take>,
    row<EndTake, end_take>,
    row<GetEvents, get_events>,
    row<ExportTake, export_take>,
    row<FindMoments, find_moments>,
    row<GetTake, get_take>,
    row<HandOverTake, hand_over_take>,
    row<ListTakes, list_takes>,
    row<GetLoop, get_loop>,
    row<MarkTake, mark_take>,
    row<GetMeetings, get_meetings>,
    row<GetNotes, get_notes>,
    row<GetPasses, get_passes>,
    row<PlayTake, play_take>,
    row<Reharmonise, reharmonise>,
    row<RenameTake, rename_take>,
    row<RestoreTake, restore_take>,
    row<GetThumbnail, get_thumbnail>,
    row<Unsubscribe, unsubscribe>,
};
static_assert(std::is_sorted(kMethods.begin(), kMethods.end(),
                             [](const Method& a, const Method& b) { return a.name < b.name; }));
static_assert(kMethods.size() == boost::mp11::mp_size<Requests>::value,
              "every request of the protocol has its row");

}  // namespace

std::span<const Method> methods() {
  return kMethods;
}

void call_method(Session& session, std::string_view name, const boost::json::value& params, Reply reply) {
  const auto found = std::lower_bound(kMethods.begin(), kMethods.end(), name,
                                      [](const Method& m, std::string_view n) { return m.name < n; });
  if (found == kMethods.end() || found->name != name)
    return reply.error(RpcCode::kMethodNotFound, "Method not found: " + std::string(name) + ".");
  if (!session.trusted() && name != Hello::kMethod)
    return reply.error(RpcCode::kTokenNeeded, "Say hello with the token first.");
  const Reply spare = reply;  // of two answers the first one counts
  try {
    found->answer(session, params, std::move(reply));
  } catch (...) {
    spare.error(caught(std::string(name) + " was answered"));
  }
}

}  // namespace undersong::server
