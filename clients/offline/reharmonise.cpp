// undersong reharmonise FILE.mid: proposes other chords for the loop, under the same melody.
#include <fmt/format.h>

#include <boost/json.hpp>
#include <charconv>
#include <cmath>
#include <iostream>
#include <memory>
#include <string>

#include "clients/offline/chord_json.h"
#include "clients/offline/commands.h"
#include "clients/offline/heard_loop.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/reharmonise.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

struct ReharmoniseOptions {
  std::string file;
  bool json = false;
  std::string keep;
  std::string roots = "any";
  std::string pedal;
  song::ReharmoniseWish wish;
};

double to_thousandth(double value) {
  return std::round(value * 1e3) / 1e3;
}

// "1,3": places in the loop, counted from 1.
Result<std::vector<std::size_t>> parse_keep(const std::string& text) {
  std::vector<std::size_t> out;
  for (const char* at = text.data(); at < text.data() + text.size();) {
    std::size_t number = 0;
    const auto read = std::from_chars(at, text.data() + text.size(), number);
    const bool goes_on = read.ptr < text.data() + text.size();
    if (read.ec != std::errc() || number == 0 ||
        (goes_on && (*read.ptr != ',' || read.ptr + 1 == text.data() + text.size())))
      return invalid_input(
          fmt::format("--keep {}: must be places in the loop counted from 1, such as --keep 1,3", text));
    out.push_back(number - 1);
    at = read.ptr + 1;
  }
  return out;
}

std::string melody_words(const song::ProposedChord& chord) {
  std::string out;
  for (const auto& note : chord.melody) {
    if (!note.is_long) continue;
    out += (out.empty() ? "" : ", ") +
           fmt::format("{} {}", harmony::text(note.name),
                       note.degree == harmony::Degree{1, 0} ? "root" : harmony::text(note.degree));
  }
  return out.empty() ? "-" : out;
}

std::string keys(const song::ProposedChord& chord) {
  std::string out;
  const auto add = [&](Pitch key) {
    // Use the letter name that this tone has in the chord.
    const auto name = harmony::name_in(chord.chord, chord.root, key.pitch_class());
    out += (out.empty() || out.back() == ' ' ? "" : " ") + harmony::text(name, key);
  };
  for (Pitch key : chord.voicing.left) add(key);
  out += out.empty() ? "" : " | ";
  for (Pitch key : chord.voicing.right) add(key);
  return out;
}

std::string change_words(const song::ProposedChord& chord, const takes::LoopChord& played) {
  if (chord.kept) return "kept";
  const std::string usual = harmony::symbol(played.chord, played.root);
  if (chord.chord == played.chord) return "as played";
  if (chord.change == harmony::Substitution::kSame) return fmt::format("{} in other colours", usual);
  if (chord.change == harmony::Substitution::kOther) return "in place of " + usual;
  return fmt::format("{} for {}", text(chord.change), usual);
}

// The members are those of the protocol's LoopProposal.
json::object proposal_json(const song::Proposal& made) {
  json::array chords;
  for (const auto& chord : made.chords) {
    json::array melody, left, right;
    for (const auto& note : chord.melody)
      melody.push_back(json::object{{"note", harmony::text(note.name)},
                                    {"degree", harmony::text(note.degree)},
                                    {"role", note.role == harmony::Role::kChordTone ? "chord_tone"
                                             : note.role == harmony::Role::kTension ? "tension"
                                                                                    : "avoid"},
                                    {"length", to_thousandth(note.length)},
                                    {"held", note.is_long}});
    for (Pitch key : chord.voicing.left) left.emplace_back(key.value());
    for (Pitch key : chord.voicing.right) right.emplace_back(key.value());
    json::object to = chord_json(chord.chord, chord.root, chord.dark_bright, chord.resolved_tense);
    to["kept"] = chord.kept;
    to["changed"] = chord.changed;
    to["change"] = text(chord.change);
    to["reached_by"] = text(chord.reached);
    to["melody"] = std::move(melody);
    to["outside"] = chord.outside;
    to["left"] = std::move(left);
    to["right"] = std::move(right);
    chords.push_back(std::move(to));
  }
  json::object out{{"chords", std::move(chords)}, {"score", to_thousandth(made.score)}};
  put_colour(out, made.dark_bright, made.resolved_tense);
  out["changed"] = made.changed;
  out["hands_move"] = made.hands_move;
  out["reason"] = made.reason;
  if (made.pedal) out["pedal"] = made.pedal->value();
  return out;
}

// The members are those of the protocol's Reharmonised; and `beats` of the loop's chords, null where there is
// no pulse.
void print_reharmonise_json(const song::Reharmonisation& found, const takes::Loop& loop) {
  json::array proposals, beats;
  for (const auto& made : found.proposals) proposals.push_back(proposal_json(made));
  for (const auto& chord : loop.chords)
    beats.push_back(found.pulse ? json::value(chord.beats) : json::value());
  json::object out{{"section", found.melody.section},
                   {"passes", found.melody.passes},
                   {"beats", std::move(beats)},
                   {"free", found.free},
                   {"apart", found.apart},
                   {"exact", found.exact},
                   {"played", proposal_json(found.played)},
                   {"proposals", std::move(proposals)}};
  if (found.key) out["key"] = harmony::harte(*found.key);
  std::cout << json::serialize(out) << '\n';
}

void print_reharmonise_table(const song::Reharmonisation& found, const takes::Loop& loop) {
  fmt::print("Loop  ");
  for (const auto& chord : loop.chords) {
    fmt::print(" {}", harmony::symbol(chord.chord, chord.root));
    if (found.pulse) fmt::print(" ({:.3g})", chord.beats);
  }
  fmt::print("\n       {}melody of {}, {} {}; brightness {:+.2f}, tension {:.2f}, score {:.2f}\n",
             found.key ? harmony::text(*found.key) + "; " : "", found.melody.section, found.melody.passes,
             found.melody.passes == 1 ? "time" : "times", found.played.dark_bright,
             found.played.resolved_tense, found.played.score);
  if (!found.pulse)
    fmt::print("       no pulse was found: a chord lasts as long as it was played, lengths are in seconds\n");
  for (std::size_t i = 0; i < found.proposals.size(); ++i) {
    const auto& made = found.proposals[i];
    std::string names;
    for (const auto& chord : made.chords)
      names += (names.empty() ? "" : "  ") + harmony::symbol(chord.chord, chord.root);
    fmt::print(
        "\n{:>2}  {}\n    {}.\n    brightness {:+.2f}, tension {:.2f}, score {:.2f}, hands move {} semitones "
        "once round\n",
        i + 1, names, made.reason, made.dark_bright, made.resolved_tense, made.score, made.hands_move);
    for (std::size_t c = 0; c < made.chords.size(); ++c) {
      const auto& chord = made.chords[c];
      const std::string reached =
          chord.reached == harmony::Relation::kNone ? "" : std::string(text(chord.reached));
      fmt::print("      {:<10} {:<22} {:<19} {:<32} {}\n", harmony::symbol(chord.chord, chord.root),
                 melody_words(chord), reached, change_words(chord, loop.chords[c]), keys(chord));
    }
  }
  if (found.proposals.size() > 1 || found.apart > 0)
    fmt::print(
        "\nAny two of these, and each of them and the loop as played, differ in at least {} of {} free "
        "chords.\n",
        found.apart, found.free);
}

int run_reharmonise(ReharmoniseOptions& options) {
  const auto keep = parse_keep(options.keep);
  if (!keep) {
    fmt::print(stderr, "undersong: {}.\n", keep.error().message);
    return 2;
  }
  options.wish.keep = *keep;
  options.wish.roots = *song::parse_root_motion(options.roots);
  if (!options.pedal.empty() && !(options.wish.pedal = song::parse_pedal(options.pedal))) {
    fmt::print(stderr, "undersong: --pedal {}: must be a note name such as Bb, or any.\n", options.pedal);
    return 2;
  }
  const auto heard = hear_loop(options.file);
  if (!heard) return 1;
  const auto found = song::reharmonise(heard->take, *heard->loop, heard->sections, options.wish);
  if (!found) {
    fmt::print(stderr, "undersong: {}: {}.\n", options.file, found.error().message);
    return 1;
  }
  options.json ? print_reharmonise_json(*found, *heard->loop) : print_reharmonise_table(*found, *heard->loop);
  return 0;
}

}  // namespace

void add_reharmonise(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<ReharmoniseOptions>();
  auto* command = program.add_subcommand(
      "reharmonise", "Propose other chords for the loop of a standard MIDI file, under the same melody");
  command->add_option("FILE", options->file, "standard MIDI file, format 0 or 1")->required();
  command->add_flag("--json", options->json, "print one JSON object");
  command->add_option("--count", options->wish.count, "how many proposals, 1 to 16")
      ->check(CLI::Range(std::size_t{1}, song::kMostProposals))
      ->default_val(8);
  command->add_option("--brighter", options->wish.wishes.brighter, "darker -1 .. 1 brighter")
      ->check(CLI::Range(-1.0, 1.0));
  command->add_option("--tenser", options->wish.wishes.tenser, "resolved -1 .. 1 tense")
      ->check(CLI::Range(-1.0, 1.0));
  command->add_option("--surprising", options->wish.wishes.surprising, "familiar -1 .. 1 surprising")
      ->check(CLI::Range(-1.0, 1.0));
  command->add_option("--keep", options->keep, "places in the loop whose chords stay, such as 1,3");
  command
      ->add_option("--roots-move", options->roots,
                   "how the roots should move: fifths (falling), rising-fifths, thirds, steps, semitones")
      ->check(CLI::IsMember({"any", "fifths", "rising-fifths", "thirds", "steps", "semitones"}));
  command->add_option("--pedal", options->pedal,
                      "the bass stays on this note under all chords (Bb), or on the best one (any)");
  command->add_option("--section", options->wish.section,
                      "keep the melody of this section, as undersong loop names it");
  command->callback([options, &exit_code] { exit_code = run_reharmonise(*options); });
}

}  // namespace undersong::offline
