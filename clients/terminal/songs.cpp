// take loop, take reharmonise, take hand-over: what the daemon works out from a recorded take.
//
// They are a group of their own, because loop, reharmonise and hand-over alone are commands on files. So
// nobody has to guess whether 12 is a file or a take.
#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <memory>
#include <string>

#include "clients/replace_option.h"
#include "clients/strings_option.h"
#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/handed_files.h"
#include "clients/terminal/loop_picture.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

constexpr std::chrono::minutes kPatience{
    2};  // for a long take, on a small machine that also has to listen meanwhile

std::string symbols(const protocol::LoopProposal& proposal, protocol::SymbolStyle style) {
  std::string out;
  for (const auto& chord : proposal.chords) out += (out.empty() ? "" : "  ") + symbol(chord, style);
  return out;
}

void print_loop(const protocol::FoundLoop& loop, std::string_view title, protocol::SymbolStyle style) {
  say("{}", title);
  for (const auto& chord : loop.chords)
    say(" {}{}", symbol(chord, style), chord.beats ? fmt::format(" ({:.3g})", *chord.beats) : "");
  say("\n       {} times, {:.0f} % sure\n", loop.passes.size(), 100 * static_cast<double>(loop.confidence));
}

void print_sections(const protocol::FoundLoop& loop, protocol::TimeUs begin) {
  for (const auto& section : loop.sections) {
    say("\n{:<3} {}, {} to {}. {}\n", section.label, section.kind, duration(section.at - begin),
        duration(section.at + section.length_us - begin), section.reason);
    for (std::uint64_t i = section.first; i < section.first + section.passes && i < loop.passes.size(); ++i)
      say("    {:>2}  {:>8}{}{}\n", i + 1, duration(loop.passes[i].at - begin),
          loop.passes[i].difference.empty() ? "" : "  ", loop.passes[i].difference);
  }
}

// The loop as it was played, and the first other way to harmonise the same melody.
std::optional<Problem> picture(protocol::Connection& daemon, std::uint64_t take) {
  const auto found = daemon.request(protocol::Reharmonise{.take = take_or_last(take), .count = 1}, kPatience);
  if (!found) return found.error();
  const auto symbols = symbol_style(daemon);
  if (!symbols) return symbols.error();
  winsize size{};
  ioctl(STDOUT_FILENO, TIOCGWINSZ, &size);
  const char* colours = std::getenv("NO_COLOR");
  const PictureStyle style{.width = size.ws_col ? size.ws_col : 80u,
                           .colours = isatty(STDOUT_FILENO) != 0 && (!colours || !*colours),
                           .blocks = unicode_terminal()};
  const auto draw = [&](const protocol::LoopProposal& round) {
    std::vector<LoopBlock> blocks;
    for (const auto& chord : round.chords)
      blocks.push_back({symbol(chord, *symbols), static_cast<double>(chord.dark_bright),
                        static_cast<double>(chord.resolved_tense), chord.colour});
    say("{}", draw_loop(blocks, style));
  };
  say("The loop of take {}, {} times. Higher is tenser, lighter is brighter.\n\n", found->take,
      found->passes);
  draw(found->played);
  if (found->proposals.empty()) return std::nullopt;
  say("\nOther chords under the same melody: {}.\n\n", found->proposals[0].reason);
  draw(found->proposals[0]);
  return std::nullopt;
}

// " in 6/8" where beats are not quarter notes.
std::string signature_words(const std::optional<protocol::TimeSignature>& signature) {
  if (!signature || signature->lower == 4) return {};
  return fmt::format(" in {}/{}", signature->upper, signature->lower);
}

std::optional<Problem> loop(protocol::Connection& daemon, std::uint64_t take) {
  const auto found = daemon.request(protocol::GetLoop{.take = take_or_last(take)}, kPatience);
  if (!found) return found.error();
  const auto summary = daemon.request(protocol::GetTake{.take = found->take});
  if (!summary) return summary.error();
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  for (std::size_t i = 0; i < found->loops.size(); ++i) {
    if (i > 0) say("\n");
    print_loop(found->loops[i], i == 0 ? "Loop  " : fmt::format("Loop {}", i + 1), *style);
    if (i == 0)
      say("       take {}{}\n", found->take,
          found->tempo ? fmt::format(", {:.0f} beats a minute, {} a bar{}", *found->tempo,
                                     found->meter.value_or(4), signature_words(found->signature))
                       : ", no pulse");
    print_sections(found->loops[i], summary->summary.at);
  }
  return std::nullopt;
}

// Which proposal to play, and how. It is played in exactly the notes that were proposed.
struct Sounded {
  int hear = 0, along = 0;  // number of the proposal, from 1; 0: none
  int rounds = 0, count_in = -1, velocity = 0;
  double tempo = 0;
  std::vector<std::string> layers;
};

std::optional<Problem> sound(protocol::Connection& daemon, const protocol::Reharmonised& found,
                             const Sounded& how) {
  const auto number = static_cast<std::size_t>(how.hear > 0 ? how.hear : how.along);
  if (number > found.proposals.size())
    return Problem{
        fmt::format("There are {} proposals, and no proposal {}.", found.proposals.size(), number)};
  protocol::PlayAlong request;
  request.take = found.take;
  request.chords.emplace();
  for (const auto& chord : found.proposals[number - 1].chords) {
    protocol::GivenChord given{chord.harte, chord.left};
    given.notes->insert(given.notes->end(), chord.right.begin(), chord.right.end());
    request.chords->push_back(std::move(given));
  }
  request.listen = how.hear > 0;
  request.count_in = how.count_in >= 0 ? how.count_in : how.hear > 0 ? 0 : 1;
  if (how.rounds > 0 || how.hear > 0) request.rounds = std::max(1, how.rounds);
  if (how.tempo > 0) request.tempo = how.tempo;
  if (how.velocity > 0) request.velocity = how.velocity;
  if (!how.layers.empty()) {
    request.layers.emplace();
    for (const auto& layer : how.layers)
      request.layers->push_back(layer == "bass"     ? protocol::Layer::kBass
                                : layer == "chords" ? protocol::Layer::kChords
                                                    : protocol::Layer::kMelody);
  }
  const auto playing = daemon.request(request, kPatience);
  if (!playing) return playing.error();
  const auto& along = *playing->along;
  say("\nPlaying {} at {:.0f} beats a minute, {}. `undersong stop` ends it.\n", number, along.tempo,
      !along.rounds        ? std::string("repeating")
      : *along.rounds == 1 ? "once"
                           : fmt::format("{} times", *along.rounds));
  return std::nullopt;
}

std::optional<Problem> reharmonise(protocol::Connection& daemon, const protocol::Reharmonise& wish,
                                   const Sounded& how) {
  const auto found = daemon.request(wish, kPatience);
  if (!found) return found.error();
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  say("Loop   {}\n       take {}{}; melody of {}, {} times; brightness {:+.2f}, tension {:.2f}\n",
      symbols(found->played, *style), found->take, found->key ? ", " + *found->key : "", found->section,
      found->passes, static_cast<double>(found->played.dark_bright),
      static_cast<double>(found->played.resolved_tense));
  for (std::size_t i = 0; i < found->proposals.size(); ++i) {
    const auto& made = found->proposals[i];
    say("\n{:>2}  {}\n    {}.\n    brightness {:+.2f}, tension {:.2f}, hands move {} semitones a round\n",
        i + 1, symbols(made, *style), made.reason, static_cast<double>(made.dark_bright),
        static_cast<double>(made.resolved_tense), made.hands_move);
  }
  say("\nAny two of these, and each and the loop as played, differ in at least {} of {} free chords.\n",
      found->apart, found->free);
  if (how.hear > 0 || how.along > 0) return sound(daemon, *found, how);
  return std::nullopt;
}

std::optional<Problem> hand_over(protocol::Connection& daemon, const protocol::HandOverTake& wish,
                                 const std::string& directory, bool replace) {
  if (auto unfit = unfit_for_files(directory, replace)) return unfit;
  const auto made = daemon.request(wish, kPatience);
  if (!made) return made.error();
  return write_files(*made, directory);
}

}  // namespace

void add_songs(CLI::App& program, Session& session) {
  auto* group = program.add_subcommand(
      "take",
      "What the daemon works out from a take: its loop, other chords for it, parts for other musicians");
  group->require_subcommand(1);
  add_find_played(*group, session);

  auto take = std::make_shared<std::uint64_t>(0);
  auto drawn = std::make_shared<bool>(false);
  auto* loop_command = group->add_subcommand("loop", "Show the loop of a take, its passes and sections");
  loop_command->add_option("TAKE", *take, "number of the take; by default the newest");
  loop_command->add_flag("--picture", *drawn,
                         "draw the loop and its colours, and other chords under the same melody");
  add_json(*loop_command, session, {protocol::GetLoop::kMethod, protocol::Reharmonise::kMethod});
  loop_command->callback([take, drawn, &session] {
    session.with_daemon(
        [&](protocol::Connection& daemon) { return *drawn ? picture(daemon, *take) : loop(daemon, *take); });
  });

  struct Asked {
    std::uint64_t take = 0;
    std::vector<std::int64_t> keep;
    std::string roots = "any", section, pedal;
    double brighter = 0, tenser = 0, surprising = 0;
    int count = 8;
    Sounded sounded;
  };
  auto asked = std::make_shared<Asked>();
  auto* other = group->add_subcommand("reharmonise",
                                      "Propose other chords for the loop of a take, under the same melody");
  other->add_option("TAKE", asked->take, "number of the take; by default the newest");
  other->add_option("--count", asked->count, "number of proposals, 1 to 16")->check(CLI::Range(1, 16));
  other->add_option("--brighter", asked->brighter, "-1 darker .. 1 brighter")->check(CLI::Range(-1.0, 1.0));
  other->add_option("--tenser", asked->tenser, "-1 resolved .. 1 tense")->check(CLI::Range(-1.0, 1.0));
  other->add_option("--surprising", asked->surprising, "-1 familiar .. 1 surprising")
      ->check(CLI::Range(-1.0, 1.0));
  other->add_option("--keep", asked->keep, "places in the loop whose chords stay, for example 1,3")
      ->delimiter(',')
      ->check(CLI::Range(1, 1000));
  other
      ->add_option("--roots-move", asked->roots,
                   "how roots should move: fifths (falling), rising-fifths, thirds, steps, semitones")
      ->check(CLI::IsMember({"any", "fifths", "rising-fifths", "thirds", "steps", "semitones"}));
  other->add_option("--pedal", asked->pedal,
                    "one bass note under all chords: a note (Bb), or the best one (any)");
  other->add_option("--section", asked->section, "keep the melody of this section");
  Sounded& sounded = asked->sounded;
  auto* hear =
      other
          ->add_option("--hear", sounded.hear,
                       "play this proposal once on the MIDI output, in tempo (mind the instrument's volume)")
          ->check(CLI::Range(1, 16));
  other
      ->add_option(
          "--along", sounded.along,
          "repeat this proposal to improvise over it; your playing is recorded with its place in the loop")
      ->check(CLI::Range(1, 16))
      ->excludes(hear);
  other->add_option("--rounds", sounded.rounds, "number of rounds after which it ends")
      ->check(CLI::Range(1, 64));
  other->add_option("--tempo", sounded.tempo, "beats a minute; by default the tempo of the take")
      ->check(CLI::Range(20.0, 400.0));
  other->add_option("--count-in", sounded.count_in, "number of bars before it begins")
      ->check(CLI::Range(0, 8));
  other
      ->add_option("--layers", sounded.layers,
                   "which notes to play: bass, chords, melody (the held note on top)")
      ->delimiter(',')
      ->check(CLI::IsMember({"bass", "chords", "melody"}));
  other->add_option("--velocity", sounded.velocity, "loudness; by default softer than your own playing")
      ->check(CLI::Range(1, 127));
  add_json(*other, session, {protocol::Reharmonise::kMethod, protocol::PlayAlong::kMethod});
  other->callback([asked, &session] {
    protocol::Reharmonise wish;
    wish.take = take_or_last(asked->take);
    wish.brighter = asked->brighter;
    wish.tenser = asked->tenser;
    wish.surprising = asked->surprising;
    wish.count = asked->count;
    if (!asked->keep.empty()) wish.keep.emplace(asked->keep.begin(), asked->keep.end());
    if (!asked->section.empty()) wish.section = asked->section;
    if (!asked->pedal.empty()) wish.pedal = asked->pedal;
    using protocol::RootsMove;
    for (const auto& [word, roots] : {std::pair{"fifths", RootsMove::kFifths},
                                      {"rising-fifths", RootsMove::kRisingFifths},
                                      {"thirds", RootsMove::kThirds},
                                      {"steps", RootsMove::kSteps},
                                      {"semitones", RootsMove::kSemitones}})
      if (asked->roots == word) wish.roots = roots;
    session.with_daemon(
        [&](protocol::Connection& daemon) { return reharmonise(daemon, wish, asked->sounded); });
  });

  struct Given {
    std::string directory;
    std::uint64_t take = 0;
    bool replace = false, divisi = false;
    std::optional<protocol::StringStyle> strings;
  };
  auto given = std::make_shared<Given>();
  auto* give = group->add_subcommand(
      "hand-over", "Write score, parts, lead sheet and chord chart of a take into a folder");
  give->add_option("TAKE", given->take, "number of the take")->required();
  give->add_option("DIR", given->directory, "the folder; created if it does not exist")->required();
  add_strings_option<protocol::StringStyle>(*give, given->strings);
  add_divisi_option(*give, given->divisi);
  add_replace_option(*give, given->replace, kIntoFullFolder);
  give->callback([given, &session] {
    session.with_daemon([&](protocol::Connection& daemon) {
      return hand_over(
          daemon, {.take = take_or_last(given->take), .strings = given->strings, .divisi = given->divisi},
          given->directory, given->replace);
    });
  });
}

}  // namespace undersong::terminal
