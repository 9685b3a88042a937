#include "daemon/song/lyrics.h"

#include <fmt/format.h>

#include <algorithm>

namespace undersong::song {
namespace {

bool is_space(char c) {
  return c == ' ' || c == '\n' || c == '\r' || c == '\t';
}

// The notes of one time of a part, in order.
std::vector<WrittenNote*> notes_at(Part& part, int time) {
  std::vector<WrittenNote*> out;
  Ticks until = part.length;
  Ending* found = nullptr;
  for (Ending& ending : part.endings)
    if (std::find(ending.times.begin(), ending.times.end(), time) != ending.times.end()) found = &ending;
  if (found) until = found->from;
  for (WrittenNote& note : part.melody)
    if (note.at < until) out.push_back(&note);
  if (found)
    for (WrittenNote& note : found->melody) out.push_back(&note);
  return out;
}

}  // namespace

PickupWords pickup_words(std::string_view line) {
  const std::size_t bar = line.find('|');
  if (bar == std::string_view::npos) return {{}, line};
  return {line.substr(0, bar), line.substr(bar + 1)};
}

Result<std::vector<Syllable>> syllables_of(std::string_view words) {
  std::vector<Syllable> out;
  std::string text;
  bool begun = false;  // an earlier syllable of the same word
  const auto take = [&](bool word_ends) {
    if (!text.empty())
      out.push_back({1, text,
                     begun && word_ends ? Syllabic::kEnd
                     : begun            ? Syllabic::kMiddle
                     : word_ends        ? Syllabic::kSingle
                                        : Syllabic::kBegin});
    // After "wa-_-ter" the hyphen has been read already; a word that ends with "_" ended with its syllable.
    begun = !word_ends && (begun || !text.empty());
    text.clear();
  };
  for (std::size_t i = 0; i < words.size(); ++i) {
    const char c = words[i];
    if (is_space(c)) {
      take(true);
    } else if (c == '-') {
      take(false);
    } else if (c == '_') {
      if (!text.empty()) {  // "light_": does the word go on behind the line?
        std::size_t next = i;
        while (next < words.size() && words[next] == '_') ++next;
        take(next >= words.size() || words[next] != '-');
      }
      if (out.empty()) return invalid_input("begin with _, but there is no syllable before it to go on");
      out.back().goes_on = true;
      out.push_back({1, "", out.back().syllabic, false});
    } else if (c == '|') {
      return invalid_input("have a second bar line (|); one may end the pickup");
    } else {
      text += c;
    }
  }
  take(true);
  if (out.empty()) return invalid_input("have no words");
  return out;
}

Result<void> lay_lyrics(std::span<Part> parts, std::size_t round, const std::vector<std::string>& lines) {
  const std::size_t times =
      parts.size() == 1 ? static_cast<std::size_t>(parts.front().times) : parts.size() / round;
  if (lines.size() > times)
    return invalid_input(fmt::format("its lyrics have {} verses, but it is played {} {}", lines.size(), times,
                                     times == 1 ? "time" : "times"));
  for (std::size_t verse = 0; verse < lines.size(); ++verse) {
    const auto words = syllables_of(lines[verse]);
    if (!words) return invalid_input("its lyrics " + words.error().message);
    std::vector<std::pair<WrittenNote*, int>> notes;
    const auto add = [&](Part& part, int time) {
      for (WrittenNote* note : notes_at(part, time)) notes.emplace_back(note, time);
    };
    if (parts.size() == 1) {
      add(parts.front(), static_cast<int>(verse) + 1);
    } else {
      for (Part& part : parts.subspan(verse * round, round))
        for (int time = 1; time <= part.times; ++time) add(part, time);
    }
    if (words->size() > notes.size())
      return invalid_input(fmt::format("its lyrics{} have {} syllables, but its tune has {} {}",
                                       lines.size() > 1 ? fmt::format(" of verse {}", verse + 1) : "",
                                       words->size(), notes.size(), notes.size() == 1 ? "note" : "notes"));
    for (std::size_t i = 0; i < words->size(); ++i) {
      Syllable syllable = (*words)[i];
      syllable.verse = notes[i].second;
      notes[i].first->words.push_back(std::move(syllable));
    }
  }
  return {};
}

}  // namespace undersong::song
