// Commands to the daemon: mark, end, hear, play, along, stop, tap, beat, hold, wish, key, settings.
#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

// Sends `request` and prints the text that `words` makes from the reply.
template <class Request, class Words>
void order(Session& session, const Request& request, Words words) {
  session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
    const auto reply = daemon.request(request);
    if (!reply) return reply.error();
    say("{}\n", words(*reply));
    return std::nullopt;
  });
}

// The value of an enumeration for its name in the protocol, and the name of a value.
template <class E>
E value_of(const std::string& name) {
  for (const auto& [value, text] : protocol::enum_names<E>())
    if (text == name) return value;
  return E{};  // CLI11 has checked it
}
template <class E>
std::string name_of(E wanted) {
  for (const auto& [value, text] : protocol::enum_names<E>())
    if (value == wanted) return text;
  return {};
}
protocol::VoicingStyle style_of(const std::string& name) {
  return value_of<protocol::VoicingStyle>(name);
}
std::vector<std::string> style_names() {
  std::vector<std::string> out;
  for (const auto& [value, text] : protocol::enum_names<protocol::VoicingStyle>()) out.push_back(text);
  return out;
}
constexpr const char* kStyles = "style of the voicing; open moves the hands least";

std::string key_words(const protocol::Nullable<protocol::KeyNow>& key) {
  if (!key) return "No key has been found yet.";
  return key->pinned ? fmt::format("The key is pinned: {}.", key->name)
                     : fmt::format("The key is {}, found by listening.", key->name);
}

// Changes the pinned key and prints the key that applies now.
std::optional<Problem> pin(protocol::Connection& daemon, const std::string& key) {
  protocol::SetSettings request;
  request.key = key;
  if (const auto settings = daemon.request(request); !settings) return settings.error();
  const auto moment = daemon.request(protocol::GetMoment{});
  if (!moment) return moment.error();
  say("{}\n", key_words(moment->key));
  return std::nullopt;
}

void add_key(CLI::App& program, Session& session) {
  auto* key =
      program.add_subcommand("key", "Show the key; pin it, so that it stays whatever you play, or free it");
  key->require_subcommand(0, 1);
  auto given = std::make_shared<std::string>();
  auto* pinning = key->add_subcommand("pin", "Pin the current key, or the one you name");
  pinning->add_option("KEY", *given, "for example Ebm, \"Eb minor\" or F#");
  add_json(*pinning, session, {protocol::SetSettings::kMethod});
  pinning->callback([given, &session] {
    session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
      if (!given->empty()) return pin(daemon, *given);
      const auto moment = daemon.request(protocol::GetMoment{});
      if (!moment) return moment.error();
      if (!moment->key)
        return Problem{
            "No key has been found yet. Name the key to pin, for example `undersong key pin Ebm`."};
      return pin(daemon, moment->key->harte);
    });
  });
  auto* freeing = key->add_subcommand("free", "Unpin the key, so that it is found by listening again");
  add_json(*freeing, session, {protocol::SetSettings::kMethod});
  freeing->callback(
      [&session] { session.with_daemon([](protocol::Connection& daemon) { return pin(daemon, ""); }); });
  add_json(*key, session, {protocol::GetMoment::kMethod});
  key->callback([key, &session] {
    if (!key->get_subcommands().empty()) return;
    order(session, protocol::GetMoment{}, [](const auto& moment) { return key_words(moment.key); });
  });
}

std::string settings_words(const protocol::Settings& settings) {
  std::string out;
  const auto row = [&](protocol::SettingName name, const std::string& value) {
    const bool changed =
        std::find(settings.changed.begin(), settings.changed.end(), name) != settings.changed.end();
    out += fmt::format("{}{} {}{}", out.empty() ? "" : "\n", padded(name_of(name), 14), padded(value, 14),
                       changed ? "changed; differs from the configuration" : "");
    while (!out.empty() && out.back() == ' ') out.pop_back();
  };
  using protocol::SettingName;
  row(SettingName::kBrighter, fmt::format("{:+.2f}", settings.wishes.brighter.value));
  row(SettingName::kTenser, fmt::format("{:+.2f}", settings.wishes.tenser.value));
  row(SettingName::kSurprising, fmt::format("{:+.2f}", settings.wishes.surprising.value));
  row(SettingName::kSymbolStyle, name_of(settings.symbol_style));
  row(SettingName::kHearOutput, settings.hear_output.empty() ? "Undersong out" : settings.hear_output);
  row(SettingName::kHearVelocity, std::to_string(settings.hear_velocity.value));
  row(SettingName::kSettleMs, std::to_string(settings.settle_ms.value));
  row(SettingName::kMelody, name_of(settings.melody));
  row(SettingName::kVoicing, name_of(settings.voicing));
  row(SettingName::kKey, settings.key.empty() ? "not pinned" : settings.key);
  row(SettingName::kLean, name_of(settings.lean));
  row(SettingName::kReach, std::to_string(settings.reach.value));
  row(SettingName::kOwn, settings.own ? "on" : "off");
  return out;
}

void add_settings(CLI::App& program, Session& session) {
  auto* settings =
      program.add_subcommand("settings", "Show the settings, and which of them override the configuration");
  settings->require_subcommand(0, 1);
  auto names = std::make_shared<std::vector<std::string>>();
  auto* reset =
      settings->add_subcommand("reset", "Set the named settings, or all, back to the configuration");
  std::vector<std::string> known;
  for (const auto& [value, text] : protocol::enum_names<protocol::SettingName>()) known.push_back(text);
  reset->add_option("NAME", *names, "name of a setting")->check(CLI::IsMember(known));
  add_json(*reset, session, {protocol::ResetSettings::kMethod});
  reset->callback([names, &session] {
    protocol::ResetSettings request;
    if (!names->empty()) {
      request.names.emplace();
      for (const auto& name : *names) request.names->push_back(value_of<protocol::SettingName>(name));
    }
    order(session, request, settings_words);
  });
  add_json(*settings, session, {protocol::GetSettings::kMethod});
  settings->callback([settings, &session] {
    if (settings->get_subcommands().empty()) order(session, protocol::GetSettings{}, settings_words);
  });
}

}  // namespace

void add_orders(CLI::App& program, Session& session) {
  auto text = std::make_shared<std::string>();
  auto* mark = program.add_subcommand("mark", "Mark this moment of the current take");
  mark->add_option("TEXT", *text, "text of the mark");
  auto undo = std::make_shared<bool>(false);
  mark->add_flag("--undo", *undo, "take the newest mark of the current take back")->excludes("TEXT");
  add_json(*mark, session, {protocol::MarkTake::kMethod, protocol::UnmarkTake::kMethod});
  mark->callback([text, undo, &session] {
    if (*undo)
      return order(session, protocol::UnmarkTake{},
                   [](const auto&) { return "The mark was taken back. The log keeps both lines."; });
    protocol::MarkTake request;
    if (!text->empty()) request.text = *text;
    order(session, request, [](const auto& kept) { return fmt::format("Marked in line {}.", kept.number); });
  });

  auto* end = program.add_subcommand("end", "End the current take");
  add_json(*end, session, {protocol::EndTake::kMethod});
  end->callback([&session] {
    order(session, protocol::EndTake{},
          [](const auto&) { return "The take has ended. The next note begins a new one."; });
  });

  auto place = std::make_shared<int>(0);
  auto chord = std::make_shared<std::string>();
  auto stop = std::make_shared<bool>(false);
  auto* hear = program.add_subcommand(
      "hear", "Play an alternative on the MIDI output, quietly (mind the instrument's volume)");
  auto* place_option =
      hear->add_option("PLACE", *place, "its place in the list, from 1; by default the next one")
          ->check(CLI::Range(1, 256));
  auto* chord_option =
      hear->add_option("--chord", *chord, "play this chord instead: Bb9, or for programs Bb:9")
          ->excludes(place_option);
  auto style = std::make_shared<std::string>();
  auto* style_option = hear->add_option("--voicing", *style, kStyles)->check(CLI::IsMember(style_names()));
  hear->add_flag("--stop", *stop, "stop what sounds")->excludes(place_option)->excludes(chord_option);
  add_json(*hear, session, {protocol::Hear::kMethod});
  hear->callback([place, chord, stop, style, style_option, &session] {
    protocol::Hear request;
    if (*place > 0) request.place = *place - 1;
    if (*style_option) request.voicing = style_of(*style);
    if (*stop) request.stop = true;
    session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
      if (!chord->empty()) {
        const auto named = chord_named(daemon, *chord);
        if (!named) return named.error();
        request.harte = named->harte;
      }
      const auto reply = daemon.request(request);
      if (!reply) return reply.error();
      const auto& heard = *reply;
      std::string said = heard.harte ? "Playing " + *heard.harte + "." : std::string("Silent.");
      if (heard.unheard.value_or(false))
        said +=
            "\nNothing is connected to \"Undersong out\", so nobody hears it. `undersong doctor` says what "
            "could be "
            "connected; the companion page sounds suggestions itself.";
      say("{}\n", said);
      return std::nullopt;
    });
  });

  auto number = std::make_shared<std::uint64_t>(0);
  auto from = std::make_shared<std::string>(), to = std::make_shared<std::string>();
  auto velocity = std::make_shared<int>(0);
  auto* play = program.add_subcommand(
      "play", "Play a take on the MIDI output, quietly (mind the instrument's volume)");
  play->add_option("TAKE", *number, "number of the take; by default the newest");
  play->add_option("--from", *from, "where to begin: seconds, or 1:23.4");
  play->add_option("--to", *to, "where to end");
  play->add_option("--velocity", *velocity, "mean loudness to reduce it to; by default as in the settings")
      ->check(CLI::Range(1, 127));
  add_json(*play, session, {protocol::PlayTake::kMethod});
  play->callback([=, &session] {
    protocol::PlayTake request;
    if (*number != 0) request.take = *number;
    if (*velocity > 0) request.velocity = *velocity;
    for (const auto& [written, time] : {std::pair{from, &request.from_us}, std::pair{to, &request.to_us}}) {
      if (written->empty()) continue;
      *time = time_in_take(*written);
      if (*time) continue;
      fmt::print(stderr,
                 "undersong: \"{}\" is not a time. Write seconds (83.4) or minutes and seconds (1:23.4).\n",
                 *written);
      session.exit_code = 2;
      return;
    }
    order(session, request, [](const auto& playing) {
      return fmt::format("Playing take {} from {} to {}. `undersong stop` ends it.", playing.take,
                         duration(playing.from_us), duration(playing.to_us));
    });
  });

  auto along_take = std::make_shared<std::uint64_t>(0);
  auto tempo = std::make_shared<double>(0);
  auto count_in = std::make_shared<int>(1);
  auto layers = std::make_shared<std::vector<std::string>>();
  auto loudness = std::make_shared<int>(0);
  auto* along = program.add_subcommand(
      "along",
      "Repeat the loop of a take on the MIDI output, to improvise over it (mind the instrument's volume)");
  along->add_option("TAKE", *along_take, "number of the take; by default the newest");
  along->add_option("--tempo", *tempo, "beats a minute; by default the tempo of the take")
      ->check(CLI::Range(20.0, 400.0));
  along->add_option("--count-in", *count_in, "number of bars before the loop begins")
      ->check(CLI::Range(0, 8));
  along->add_option("--layers", *layers, "bass, chords or both")
      ->delimiter(',')
      ->check(CLI::IsMember({"bass", "chords"}));
  along->add_option("--velocity", *loudness, "loudness; by default softer than your own playing")
      ->check(CLI::Range(1, 127));
  add_json(*along, session, {protocol::PlayAlong::kMethod});
  along->callback([=, &session] {
    protocol::PlayAlong request;
    if (*along_take != 0) request.take = *along_take;
    if (*tempo > 0) request.tempo = *tempo;
    request.count_in = *count_in;
    if (*loudness > 0) request.velocity = *loudness;
    if (!layers->empty()) {
      request.layers.emplace();
      for (const auto& layer : *layers)
        request.layers->push_back(layer == "bass" ? protocol::Layer::kBass : protocol::Layer::kChords);
    }
    order(session, request, [](const auto& playing) {
      std::string chords;
      for (const auto& each : playing.along->chords) chords += " " + each.harte;
      return fmt::format(
          "Repeating the loop of take {} at {:.0f} beats a minute:{}. `undersong stop` ends it.",
          playing.take, playing.along->tempo, chords);
    });
  });

  auto* tap = program.add_subcommand("tap", "Tap the beat: run it four times, evenly, first on beat one");
  add_json(*tap, session, {protocol::TapBeat::kMethod});
  tap->callback([&session] {
    order(session, protocol::TapBeat{}, [](const auto& tapped) {
      return tapped.beat ? beat_words(*tapped.beat) : std::string("Keep tapping.");
    });
  });

  auto what = std::make_shared<std::string>();
  auto of_take = std::make_shared<std::uint64_t>(0);
  auto where = std::make_shared<std::string>();
  auto* beat = program.add_subcommand(
      "beat", "Correct the beat: beat one is here, twice or half as fast, beats in a bar, or undo");
  beat->add_option("WHAT", *what, "one, twice, half, undo, or the number of beats in a bar (3)")->required();
  beat->add_option("--take", *of_take, "correct this take instead of what is being played");
  beat->add_option("--at", *where, "where in that take: seconds, or 1:23.4");
  add_json(*beat, session, {protocol::CorrectBeat::kMethod});
  beat->callback([=, &session] {
    protocol::CorrectBeat request;
    using protocol::BeatCorrection;
    const auto refuse = [&session](const std::string& sentence) {
      fmt::print(stderr, "undersong: {}\n", sentence);
      session.exit_code = 2;
    };
    if (*what == "one")
      request.what = BeatCorrection::kOne;
    else if (*what == "twice")
      request.what = BeatCorrection::kTwice;
    else if (*what == "half")
      request.what = BeatCorrection::kHalf;
    else if (*what == "undo")
      request.what = BeatCorrection::kUndo;
    else if (const auto beats = time_in_take(*what);
             beats && *beats % 1'000'000 == 0 && *beats >= 1'000'000 && *beats <= 16'000'000) {
      request.what = BeatCorrection::kMeter;
      request.meter = static_cast<int>(*beats / 1'000'000);
    } else {
      return refuse(
          fmt::format("\"{}\" is not one, twice, half, undo or a number of beats from 1 to 16.", *what));
    }
    if (*of_take != 0) request.take = *of_take;
    const auto time = time_in_take(*where);
    if (!where->empty() && (!time || *of_take == 0))
      return refuse(time ? "--at also needs --take." : fmt::format("\"{}\" is not a time.", *where));
    session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
      if (!where->empty()) {
        const auto take = daemon.request(protocol::GetTake{.take = *of_take});
        if (!take) return take.error();
        request.at = take->summary.at + *time;
      }
      const auto reply = daemon.request(request);
      if (!reply) return reply.error();
      say("{}\n", reply->beat && *of_take == 0 ? beat_words(*reply->beat) : std::string("Corrected."));
      return std::nullopt;
    });
  });

  auto* stopping = program.add_subcommand("stop", "Stop what the MIDI output is playing");
  add_json(*stopping, session, {protocol::StopPlaying::kMethod});
  stopping->callback([&session] {
    order(session, protocol::StopPlaying{},
          [](const auto& stopped) { return stopped.was ? "Stopped." : "Nothing was being played."; });
  });

  auto on = std::make_shared<std::string>();
  auto* hold = program.add_subcommand("hold", "Freeze the list of alternatives, or let it follow again");
  hold->add_option("STATE", *on, "on or off")->required()->check(CLI::IsMember({"on", "off"}));
  add_json(*hold, session, {protocol::Hold::kMethod});
  hold->callback([on, &session] {
    order(session, protocol::Hold{.on = *on == "on"}, [](const auto& holding) {
      return holding.still ? "The list is frozen." : "The list follows your playing.";
    });
  });

  auto wish = std::make_shared<protocol::SetSettings>();
  auto brighter = std::make_shared<double>(), tenser = std::make_shared<double>(),
       surprising = std::make_shared<double>();
  auto* wishes = program.add_subcommand(
      "wish", "Ask for darker or brighter, more resolved or more tense, familiar or surprising");
  auto* b =
      wishes->add_option("--brighter", *brighter, "-1 darker .. 1 brighter")->check(CLI::Range(-1.0, 1.0));
  auto* t = wishes->add_option("--tenser", *tenser, "-1 more resolved .. 1 more tense")
                ->check(CLI::Range(-1.0, 1.0));
  auto* s = wishes->add_option("--surprising", *surprising, "-1 familiar .. 1 surprising")
                ->check(CLI::Range(-1.0, 1.0));
  auto voicing = std::make_shared<std::string>(), melody = std::make_shared<std::string>(),
       lean = std::make_shared<std::string>();
  auto reach = std::make_shared<int>();
  auto* v = wishes->add_option("--voicing", *voicing, kStyles)->check(CLI::IsMember(style_names()));
  auto* m =
      wishes
          ->add_option(
              "--melody", *melody,
              "which notes a chord must fit: note (the newest), two (the two newest), bar (the last bar)")
          ->check(CLI::IsMember({"note", "two", "bar"}));
  auto* l = wishes
                ->add_option("--lean", *lean,
                             "which harmony to expect: found (by listening), songbook, pop, jazz, or own")
                ->check(CLI::IsMember({"found", "songbook", "pop", "jazz", "own"}));
  auto* r = wishes
                ->add_option("--reach", *reach,
                             "semitones that one hand stretches with ease: 12 an octave .. 16 a tenth")
                ->check(CLI::Range(12, 16));
  add_json(*wishes, session, {protocol::SetSettings::kMethod});
  wishes->callback([=, &session] {
    protocol::SetSettings request;
    if (*v) request.voicing = style_of(*voicing);
    if (*m) request.melody = value_of<protocol::MelodySpan>(*melody);
    if (*l) request.lean = value_of<protocol::Lean>(*lean);
    if (*r) request.reach = *reach;
    if (*b) request.brighter = *brighter;
    if (*t) request.tenser = *tenser;
    if (*s) request.surprising = *surprising;
    order(session, request, [](const auto& settings) {
      return fmt::format(
          "Wishes: brighter {:+.2f}, tenser {:+.2f}, surprising {:+.2f}; voicing {}, melody {}, lean {}, "
          "reach {}.",
          settings.wishes.brighter.value, settings.wishes.tenser.value, settings.wishes.surprising.value,
          name_of(settings.voicing), name_of(settings.melody), name_of(settings.lean), settings.reach.value);
    });
  });
  add_key(program, session);
  add_settings(program, session);
}

}  // namespace undersong::terminal
