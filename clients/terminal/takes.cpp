// Commands on the log of takes: list, show, export, rename, annotate, delete, restore.
#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <memory>
#include <string>
#include <vector>

#include "clients/replace_option.h"
#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/say.h"
#include "protocol/base64.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

struct ListOptions {
  int limit = 20;
  std::string chord, key, melody, over;
  bool deleted = false;
};

std::string title(const protocol::TakeSummary& take, protocol::SymbolStyle style) {
  if (!take.title.empty() || !take.content) return take.title;
  return content_name(*take.content, style) +
         (take.content->tempo ? fmt::format("; {:.0f}", *take.content->tempo) : "");
}

std::string take_line(const protocol::TakeSummary& take, protocol::SymbolStyle style) {
  return fmt::format("{:5d}  {}  {:>8}  {:5d} notes {:4d} chords {:2d} marks  {}  {}{}", take.take,
                     local_time(take.begin_utc_ms), duration(take.length_us), take.notes, take.chords,
                     take.marks, padded(key_text(take.key.value_or("")), 8), title(take, style),
                     take.ended ? "" : "  (being played)");
}

std::optional<Problem> list_takes(protocol::Connection& daemon, const ListOptions& options) {
  protocol::ListTakes wanted;
  wanted.limit = options.limit;
  if (!options.chord.empty()) {
    const auto chord = chord_named(daemon, options.chord);
    if (!chord) return chord.error();
    wanted.harte = chord->harte;
  }
  if (!options.key.empty()) wanted.key = options.key;
  if (const auto note = pitch_class_of(options.melody)) wanted.melody = *note;
  if (const auto note = pitch_class_of(options.over)) wanted.melody_over = *note;
  if (options.deleted) wanted.deleted = true;
  const auto found = daemon.request(wanted);
  if (!found) return found.error();
  if (found->takes.empty())
    say("No takes{}.\n", options.chord.empty() && options.key.empty() ? " yet: play something" : " match");
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  if (!found->takes.empty())
    say("{:>5}  {:<16}  {:>8}  {:>11} {:>11} {:>8}  {}  title, or its chords\n", "take", "begun", "length",
        "notes", "chords", "marks", padded("key", 8));
  for (const auto& take : found->takes) say("{}\n", take_line(take, *style));
  if (found->more) say("There are older takes. Show more with --limit.\n");
  return std::nullopt;
}

// Prints which chords were tried under each melody note that had more than one, and which the player came
// back to.
void show_tried(const protocol::TakeMeetings& met, protocol::SymbolStyle style) {
  struct Tried {
    std::string words;
    std::int64_t root;
    protocol::Family family;
    std::uint32_t times;
  };
  struct Note {
    std::int64_t pitch_class;
    std::string name;
    std::vector<Tried> tried;
  };
  std::vector<Note> notes;
  for (const auto& meeting : met.meetings) {
    const std::int64_t pitch_class = meeting.pitch.value % 12;
    auto note = std::find_if(notes.begin(), notes.end(),
                             [&](const Note& each) { return each.pitch_class == pitch_class; });
    if (note == notes.end())
      note = notes.insert(
          notes.end(), {pitch_class, meeting.name.substr(0, meeting.name.find_first_of("-0123456789")), {}});
    const auto known = std::find_if(note->tried.begin(), note->tried.end(), [&](const Tried& each) {
      return each.root == meeting.root.value && each.family == meeting.family;
    });
    if (known == note->tried.end())
      note->tried.push_back({fmt::format("{} {}", symbol(meeting, style), meeting.degree), meeting.root.value,
                             meeting.family, meeting.time});
    else
      known->times = std::max(known->times, meeting.time);
  }
  bool first = true;
  for (const Note& note : notes) {
    if (note.tried.size() < 2) continue;
    std::vector<std::string> words;
    for (const Tried& each : note.tried)
      words.push_back(each.times > 1 ? fmt::format("{} ({} times)", each.words, each.times) : each.words);
    say("{}Under {}: {}\n", first ? "\n" : "", note.name, fmt::join(words, ", "));
    first = false;
  }
}

std::optional<Problem> show_take(protocol::Connection& daemon, std::uint64_t take) {
  const auto detail = daemon.request(protocol::GetTake{.take = take_or_last(take)});
  if (!detail) return detail.error();
  const auto& summary = detail->summary;
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  say("{}\n", take_line(summary, *style));
  if (!summary.annotation.empty()) say("       {}\n", summary.annotation);
  say("\n");
  // Chords, keys and marks on one timeline.
  std::size_t key = 0, mark = 0;
  const auto until = [&](protocol::TimeUs at) {
    for (; key < detail->keys.size() && detail->keys[key].at <= at; ++key)
      say("{:>9}  key {}\n", duration(detail->keys[key].at - summary.at), key_text(detail->keys[key].harte));
    for (; mark < detail->marks.size() && detail->marks[mark].at <= at; ++mark)
      say("{:>9}  mark {}\n", duration(detail->marks[mark].at - summary.at), detail->marks[mark].text);
  };
  const auto met = daemon.request(protocol::GetMeetings{.take = summary.take});
  if (!met) return met.error();
  if (!met->heard) {
    say("       This take waits to be analysed again. Then the melody over its chords is shown.\n\n");
    for (const auto& chord : detail->chords) {
      until(chord.at);
      say("{:>9}  {}\n", duration(chord.at - summary.at), symbol(chord, *style));
    }
  }
  // Each chord with the melody over it.
  std::size_t next = 0;
  for (std::size_t i = 0; met->heard && i < met->statements.size(); ++i) {
    const auto& chord = met->statements[i];
    until(chord.at);
    std::vector<std::string> notes;
    for (; next < met->meetings.size() && met->at[next] < chord.at + chord.length_us; ++next) {
      const auto& meeting = met->meetings[next];
      std::string note = fmt::format("{} {}", meeting.name, meeting.degree);
      if (meeting.time > 1) note += fmt::format(" ({} time)", nth(meeting.time));
      if (std::find(notes.begin(), notes.end(), note) == notes.end()) notes.push_back(note);
    }
    say("{:>9}  {}{}\n", duration(chord.at - summary.at),
        notes.empty() ? symbol(chord, *style) : padded(symbol(chord, *style), 12) + "  ",
        fmt::join(notes, ", "));
  }
  until(summary.at + summary.length_us);
  show_tried(*met, *style);
  return std::nullopt;
}

std::optional<Problem> export_take(protocol::Connection& daemon, std::uint64_t take, std::string file,
                                   bool replace) {
  const auto exported = daemon.request(protocol::ExportTake{.take = take_or_last(take)});
  if (!exported) return exported.error();
  if (file.empty()) file = exported->file_name;
  const auto bytes = protocol::from_base64(exported->base64);
  if (!bytes) return Problem{"The daemon sent a file that is not base64."};
  if (!replace && std::ifstream(file))
    return Problem{fmt::format("{} already exists. Use --replace to overwrite it.", file)};
  std::ofstream out(file, std::ios::binary);
  out.write(reinterpret_cast<const char*>(bytes->data()), static_cast<std::streamsize>(bytes->size()));
  out.close();
  if (!out) return Problem{fmt::format("{} cannot be written: {}.", file, std::strerror(errno))};
  say("Take {} is in {}.\n", exported->take, file);
  return std::nullopt;
}

// Adds a command whose reply is the number of the log line that stores it.
template <class Request>
void add_edit(CLI::App& program, Session& session, const char* name, const char* says, const char* done,
              std::string Request::*text, const char* text_name) {
  auto request = std::make_shared<Request>();
  auto* command = program.add_subcommand(name, says);
  command->add_option("TAKE", request->take, "number of the take")->required();
  if (text) command->add_option(text_name, (*request).*text, "the new text, in quotes")->required();
  add_json(*command, session, {Request::kMethod});
  command->callback([request, done, &session] {
    session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
      const auto kept = daemon.request(*request);
      if (!kept) return kept.error();
      say("Take {} {}.\n", request->take, done);
      return std::nullopt;
    });
  });
}

}  // namespace

void add_takes(CLI::App& program, Session& session) {
  auto options = std::make_shared<ListOptions>();
  auto* list_command = program.add_subcommand("list", "List the takes, newest first");
  list_command->add_option("--limit", options->limit, "number of takes shown")->check(CLI::Range(1, 500));
  list_command->add_option("--chord", options->chord,
                           "only takes with this chord: Bb9, or for programs Bb:9");
  list_command->add_option("--key", options->key, "only takes in this key: \"F minor\", Fm or F:min");
  const CLI::Validator note(
      [](const std::string& text) {
        return pitch_class_of(text) ? std::string() : "\"" + text + "\" is no note, such as G or Db";
      },
      "NOTE");
  list_command->add_option("--melody", options->melody, "only takes with this melody note: G")->check(note);
  list_command->add_option("--over", options->over, "only takes with that melody note over this root: Db")
      ->check(note);
  list_command->add_flag("--deleted", options->deleted, "list the deleted takes instead");
  add_json(*list_command, session, {protocol::ListTakes::kMethod});
  list_command->callback([options, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return list_takes(daemon, *options); });
  });

  auto take = std::make_shared<std::uint64_t>(0);
  auto* show_command = program.add_subcommand(
      "show",
      "Show a take: its chords with the melody over them, keys, marks, and what was tried under which note");
  show_command->add_option("TAKE", *take, "number of the take; by default the newest");
  add_json(*show_command, session, {protocol::GetTake::kMethod, protocol::GetMeetings::kMethod});
  show_command->callback([take, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return show_take(daemon, *take); });
  });

  auto exported = std::make_shared<std::uint64_t>(0);
  auto file = std::make_shared<std::string>();
  auto replace = std::make_shared<bool>(false);
  auto* export_command = program.add_subcommand("export", "Write a take as a standard MIDI file");
  export_command->add_option("TAKE", *exported, "number of the take; by default the newest");
  export_command->add_option("-o,--output", *file, "the file to write; by default take-NUMBER.mid");
  add_replace_option(*export_command, *replace, "write over a file that exists");
  export_command->callback([exported, file, replace, &session] {
    session.with_daemon(
        [&](protocol::Connection& daemon) { return export_take(daemon, *exported, *file, *replace); });
  });

  add_edit<protocol::RenameTake>(program, session, "rename", "Give a take a title", "has the new title",
                                 &protocol::RenameTake::title, "TITLE");
  add_edit<protocol::AnnotateTake>(program, session, "annotate", "Write a note about a take",
                                   "has the new note", &protocol::AnnotateTake::text, "TEXT");
  add_edit<protocol::DeleteTake>(program, session, "delete",
                                 "Remove a take from the list; restore brings it back", "is off the list",
                                 nullptr, "");
}

}  // namespace undersong::terminal
