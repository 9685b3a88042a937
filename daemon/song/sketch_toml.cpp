// Reads and writes a sketch as TOML. Errors name the line. Over 400 lines: one table of keys, each with what
// it accepts, and the text of each in the order of the table.
#include <fmt/format.h>

#include <toml++/toml.h>
#include <algorithm>
#include <array>
#include <cstdint>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/song/chord_line.h"
#include "daemon/song/lyrics.h"
#include "daemon/song/sketch.h"
#include "daemon/song/sketch_signs.h"

namespace undersong::song {
namespace {

constexpr std::array<std::string_view, 11> kPartKinds{"intro",  "theme",      "development", "bridge",
                                                      "solo",   "interlude",  "ending",      "verse",
                                                      "chorus", "pre-chorus", "outro"};
constexpr std::array<std::string_view, 2> kFeels{"straight", "swing"};
constexpr std::array<std::string_view, 6> kDynamicWords{"pp", "p", "mp", "mf", "f", "ff"};
constexpr std::size_t kLongestLyrics = 4000, kMostVerses = 64;
constexpr std::array<std::pair<std::string_view, bool Layers::*>, 4> kLayers{{{"melody", &Layers::melody},
                                                                              {"chords", &Layers::chords},
                                                                              {"bass", &Layers::bass},
                                                                              {"pad", &Layers::pad}}};
constexpr std::size_t kMostSections = 200, kLongestText = kLongestSketchText;

using Problem = std::optional<std::string>;  // the end of a sentence: "must be ..."

Problem text_of(const toml::node& node, std::string& out) {
  const auto* value = node.as_string();
  if (!value || value->get().size() > kLongestText)
    return fmt::format("must be quoted text of at most {} bytes", kLongestText);
  for (const char c : value->get())
    if (static_cast<unsigned char>(c) < 0x20) return "must be one line of text";
  out = value->get();
  return std::nullopt;
}
Problem whole(const toml::node& node, std::int64_t low, std::int64_t high, std::int64_t& out) {
  const auto* value = node.as_integer();
  if (!value || value->get() < low || value->get() > high)
    return fmt::format("must be a whole number from {} to {}", low, high);
  out = value->get();
  return std::nullopt;
}

Problem set_kind(SketchSection& s, const toml::node& node) {
  std::string word;
  if (const auto problem = text_of(node, word)) return problem;
  const auto kind = parse_sketch_kind(word);
  if (!kind) return fmt::format("must be one of {}", fmt::join(kPartKinds, ", "));
  s.kind = *kind;
  return std::nullopt;
}
Problem set_passes(SketchSection& s, const toml::node& node) {
  const auto* list = node.as_array();
  const char* wanted = "must be a list of passes counted from 1, such as [3, 4]";
  if (!list || list->empty() || list->size() > 64) return wanted;
  for (const auto& item : *list) {
    std::int64_t number = 0;
    if (whole(item, 1, 1'000'000, number)) return wanted;
    s.passes.push_back(static_cast<int>(number));
  }
  return std::nullopt;
}
Problem set_span(SketchSection& s, const toml::node& node) {
  const auto* list = node.as_array();
  const char* wanted = "must be two times in seconds, such as [12.5, 30.0]";
  if (!list || list->size() != 2 || !(*list)[0].is_number() || !(*list)[1].is_number()) return wanted;
  const double from = *(*list)[0].value<double>(), to = *(*list)[1].value<double>();
  if (!(from >= 0 && to > from && to <= 1e6)) return wanted;
  s.span = {from, to};
  return std::nullopt;
}
Problem set_layers(SketchSection& s, const toml::node& node) {
  const auto* list = node.as_array();
  const char* wanted = "must be a list of melody, chords, bass, pad";
  if (!list || list->empty()) return wanted;
  s.layers = {false, false, false, false};
  for (const auto& item : *list) {
    bool known = false;
    for (const auto& [name, layer] : kLayers)
      if (item.is_string() && item.as_string()->get() == name) s.layers.*layer = known = true;
    if (!known) return wanted;
  }
  return std::nullopt;
}
Problem set_chords(SketchSection& s, const toml::node& node) {
  if (const auto* line = node.as_string()) {
    if (line->get().size() > kLongestLyrics)
      return fmt::format("must be a line of at most {} bytes", kLongestLyrics);
    s.chord_line = line->get();
    if (const auto good = check_chord_line(s.chord_line); !good) return good.error().message;
    return std::nullopt;
  }
  const auto* list = node.as_array();
  const char* wanted =
      "must be a list of chords, such as [\"Am9\", \"D7\"], or a line, such as \"Am9 . D7 | G\"";
  if (!list || list->empty() || list->size() > 256) return wanted;
  for (const auto& item : *list) {
    if (!item.is_string()) return wanted;
    const std::string& name = item.as_string()->get();
    if (!harmony::parse_chord(name)) return fmt::format("holds \"{}\", which is not a chord", name);
    s.chords.push_back(name);
  }
  return std::nullopt;
}

Problem tempo_of(const toml::node& node, std::optional<double>& out) {
  const auto value = node.value<double>();
  if (!node.is_number() || !value || !is_tempo_mark(*value))
    return fmt::format("must be beats per minute, from {:g} to {:g}", kSlowestMark, kFastestMark);
  out = *value;
  return std::nullopt;
}
Problem feel_of(const toml::node& node, std::optional<Feel>& out) {
  for (std::size_t i = 0; i < kFeels.size(); ++i)
    if (node.is_string() && node.as_string()->get() == kFeels[i]) {
      out = static_cast<Feel>(i);
      return std::nullopt;
    }
  return fmt::format("must be one of {}", fmt::join(kFeels, ", "));
}
Problem yes_or_no(const toml::node& node, bool& out) {
  const auto* value = node.as_boolean();
  if (!value) return "must be true or false";
  out = value->get();
  return std::nullopt;
}
Problem set_dynamics(SketchSection& s, const toml::node& node) {
  if (!node.is_string() ||
      std::find(kDynamicWords.begin(), kDynamicWords.end(), node.as_string()->get()) == kDynamicWords.end())
    return fmt::format("must be one of {}", fmt::join(kDynamicWords, ", "));
  s.dynamic = node.as_string()->get();
  return std::nullopt;
}
Problem set_lyrics(SketchSection& s, const toml::node& node) {
  const std::string wanted =
      fmt::format("must be text, or a list of up to {} texts, one for each time, of at most {} bytes each",
                  kMostVerses, kLongestLyrics);
  const auto add = [&](const toml::node& item) -> Problem {
    const auto* line = item.as_string();
    if (!line || line->get().size() > kLongestLyrics) return wanted;
    for (const char c : line->get())
      if (static_cast<unsigned char>(c) < 0x20 && c != '\n' && c != '\r' && c != '\t') return wanted;
    const auto words = pickup_words(line->get());
    if (const auto good = syllables_of(words.rest); !good) return good.error().message;
    if (!words.pickup.empty())
      if (const auto good = syllables_of(words.pickup); !good) return good.error().message;
    s.lyrics.push_back(line->get());
    return std::nullopt;
  };
  if (node.is_string()) return add(node);
  const auto* list = node.as_array();
  if (!list || list->empty() || list->size() > kMostVerses) return wanted;
  for (const auto& item : *list)
    if (const auto problem = add(item)) return problem;
  return std::nullopt;
}
Problem set_tune(SketchSection& s, const toml::node& node) {
  const char* wanted = "must be the number of a take, or the name of a file in quotes";
  SketchSource tune;
  if (node.is_string() ? text_of(node, tune.file) || tune.file.empty()
                       : whole(node, 1, INT64_MAX, tune.take).has_value())
    return wanted;
  s.tune = std::move(tune);
  return std::nullopt;
}
Problem set_key(SketchSection& s, const toml::node& node) {
  if (node.is_string()) s.key = harmony::parse_key(node.as_string()->get());
  if (!s.key) return "must be a key, such as \"Eb\" or \"F#m\"";
  return std::nullopt;
}
Problem set_sign(SketchSection& s, const toml::node& node, bool (*set)(Signs&, std::string_view),
                 std::string (*known)()) {
  if (!node.is_string() || !set(s.signs, node.as_string()->get())) return "must be one of " + known();
  return std::nullopt;
}

struct SectionKey {
  std::string_view name;
  Problem (*set)(SketchSection&, const toml::node&);
};
// All keys that a section can have.
constexpr std::array kSectionKeys = {
    SectionKey{"name", [](SketchSection& s, const toml::node& n) { return text_of(n, s.name); }},
    SectionKey{"kind", set_kind},
    SectionKey{"source",
               [](SketchSection& s, const toml::node& n) -> Problem {
                 if (const auto problem = text_of(n, s.source.file)) return problem;
                 if (s.source.file.empty()) return "must name a file";
                 return std::nullopt;
               }},
    SectionKey{"take",
               [](SketchSection& s, const toml::node& n) { return whole(n, 1, INT64_MAX, s.source.take); }},
    SectionKey{"label",
               [](SketchSection& s, const toml::node& n) -> Problem {
                 if (const auto problem = text_of(n, s.label)) return problem;
                 if (s.label.empty()) return "must name a section, such as \"A\"";
                 return std::nullopt;
               }},
    SectionKey{"passes", set_passes},
    SectionKey{"span", set_span},
    SectionKey{"repeats",
               [](SketchSection& s, const toml::node& n) {
                 std::int64_t value = 0;
                 const auto problem = whole(n, 1, 64, value);
                 s.repeats = static_cast<int>(value);
                 return problem;
               }},
    SectionKey{"layers", set_layers},
    SectionKey{"reharmonise",
               [](SketchSection& s, const toml::node& n) {
                 std::int64_t value = 0;
                 const auto problem = whole(n, 1, static_cast<std::int64_t>(kMostProposals), value);
                 s.proposal = static_cast<int>(value);
                 return problem;
               }},
    SectionKey{"chords", set_chords},
    SectionKey{"transpose",
               [](SketchSection& s, const toml::node& n) {
                 std::int64_t value = 0;
                 const auto problem = whole(n, -24, 24, value);
                 s.transpose = static_cast<int>(value);
                 return problem;
               }},
    SectionKey{"key", set_key},
    SectionKey{"tune", set_tune},
    SectionKey{"tempo", [](SketchSection& s, const toml::node& n) { return tempo_of(n, s.tempo); }},
    SectionKey{"meter",
               [](SketchSection& s, const toml::node& n) -> Problem {
                 std::int64_t value = 0;
                 if (whole(n, 2, 12, value)) return "must be beats per bar, from 2 to 12";
                 s.meter = static_cast<int>(value);
                 return std::nullopt;
               }},
    SectionKey{"feel", [](SketchSection& s, const toml::node& n) { return feel_of(n, s.feel); }},
    SectionKey{"dynamics", set_dynamics},
    SectionKey{"lyrics", set_lyrics},
    SectionKey{"begins", [](SketchSection& s,
                            const toml::node& n) { return set_sign(s, n, set_begins, known_begins); }},
    SectionKey{"ends",
               [](SketchSection& s, const toml::node& n) { return set_sign(s, n, set_ends, known_ends); }},
    SectionKey{"ritardando",
               [](SketchSection& s, const toml::node& n) { return yes_or_no(n, s.ritardando); }},
    SectionKey{"fermata", [](SketchSection& s, const toml::node& n) { return yes_or_no(n, s.fermata); }},
};

class Reader {
 public:
  explicit Reader(const std::string& name) : name_(name) {}

  Result<Sketch> read(std::string_view text) {
    toml::table table;
    try {
      table = toml::parse(text);
    } catch (const toml::parse_error& error) {
      return invalid_input(
          fmt::format("{}, line {}: {}", name_, error.source().begin.line, error.description()));
    }
    Sketch out;
    for (const auto& [key, node] : table) {
      if (key == "title") {
        if (const auto problem = text_of(node, out.title)) return wrong(node, "title", *problem);
      } else if (key == "tempo") {
        if (const auto problem = tempo_of(node, out.tempo)) return wrong(node, "tempo", *problem);
      } else if (key == "feel") {
        std::optional<Feel> feel;
        if (const auto problem = feel_of(node, feel)) return wrong(node, "feel", *problem);
        out.feel = *feel;
      } else if (key == "count_in") {
        std::int64_t bars = 0;
        if (whole(node, 0, 2, bars)) return wrong(node, "count_in", "must be 0, 1 or 2 bars");
        out.count_in = static_cast<int>(bars);
      } else if (key != "section") {
        return unknown(key, "; the keys are title, tempo, feel, count_in and [[section]]");
      }
    }
    const toml::node* list = table.get("section");
    if (!list)
      return invalid_input(fmt::format("{}: there is no [[section]], so there is nothing to play", name_));
    const auto* sections = list->as_array();
    if (!sections || sections->empty() || !sections->is_array_of_tables())
      return wrong(*list, "section", "must be written as [[section]], once for each section");
    if (sections->size() > kMostSections)
      return wrong(*list, "section", fmt::format("must not occur more than {} times", kMostSections));
    for (const auto& item : *sections) {
      auto section = read_section(*item.as_table(), out.sections.size() + 1);
      if (!section) return section.error();
      out.sections.push_back(std::move(*section));
    }
    if (const auto lost = lost_sign(out)) {
      const SketchSection& at = out.sections[lost->section];
      return invalid_input(fmt::format("{}, line {}: section {} ({}) {}", name_, at.line, lost->section + 1,
                                       at.name, lost->problem));
    }
    return out;
  }

 private:
  static int line_of(const toml::node& node) { return static_cast<int>(node.source().begin.line); }
  Error wrong(const toml::node& node, std::string_view key, const std::string& problem) const {
    return invalid_input(fmt::format("{}, line {}: {} {}", name_, line_of(node), key, problem));
  }
  Error unknown(const toml::key& key, std::string_view known) const {
    return invalid_input(
        fmt::format("{}, line {}: {} is not known here{}", name_, key.source().begin.line, key.str(), known));
  }

  Result<SketchSection> read_section(const toml::table& table, std::size_t number) const {
    SketchSection out;
    out.line = line_of(table);
    for (const auto& [key, node] : table) {
      const auto* found = std::find_if(kSectionKeys.begin(), kSectionKeys.end(),
                                       [name = key.str()](const SectionKey& k) { return k.name == name; });
      if (found == kSectionKeys.end()) {
        std::string known;
        for (const SectionKey& k : kSectionKeys) known += (known.empty() ? "" : ", ") + std::string(k.name);
        return unknown(key, "; the keys of a section are " + known);
      }
      if (const auto problem = found->set(out, node)) return wrong(node, found->name, *problem);
    }
    if (out.name.empty()) {  // as it is printed: "Verse"
      out.name = std::string(text(out.kind));
      out.name.front() = static_cast<char>(out.name.front() - 'a' + 'A');
    }
    const auto section = [&](const std::string& problem) {
      return invalid_input(
          fmt::format("{}, line {}: section {} ({}) {}", name_, out.line, number, out.name, problem));
    };
    if (out.source.file.empty() == (out.source.take == 0))
      return section(out.source.take == 0 ? "has neither source nor take, so there is nothing to play"
                                          : "has both source and take; use one of them");
    if (!out.label.empty() + !out.passes.empty() + out.span.has_value() > 1)
      return section("has more than one of label, passes and span; use one of them");
    if (out.proposal && (!out.chords.empty() || !out.chord_line.empty()))
      return section("has both reharmonise and chords; use one of them");
    if (out.proposal && out.span)
      return section(
          "has both span and reharmonise, but proposals are for the loop only; list the chords instead");
    return out;
  }

  const std::string& name_;
};

std::string quoted(const std::string& text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? ' ' : c;
  }
  return out + '"';
}

}  // namespace

std::string_view text(SketchKind kind) {
  return kPartKinds[static_cast<std::size_t>(kind)];
}

std::optional<SketchKind> parse_sketch_kind(std::string_view word) {
  for (std::size_t i = 0; i < kPartKinds.size(); ++i)
    if (kPartKinds[i] == word) return static_cast<SketchKind>(i);
  return std::nullopt;
}

std::vector<SketchSource> sources_of(const Sketch& sketch) {
  std::vector<SketchSource> out;
  const auto add = [&](const SketchSource& source) {
    if (std::find(out.begin(), out.end(), source) == out.end()) out.push_back(source);
  };
  for (const SketchSection& section : sketch.sections) {
    add(section.source);
    if (section.tune) add(*section.tune);
  }
  return out;
}

Result<Sketch> read_sketch(std::string_view text, const std::string& name) {
  return Reader(name).read(text);
}

std::string write_sketch(const Sketch& sketch) {
  std::string out = fmt::format("title = {}\n", quoted(sketch.title));
  if (sketch.tempo) out += fmt::format("tempo = {:g}\n", *sketch.tempo);
  if (sketch.feel != Feel::kStraight)
    out += fmt::format("feel = \"{}\"\n", kFeels[static_cast<std::size_t>(sketch.feel)]);
  if (sketch.count_in != 0) out += fmt::format("count_in = {}\n", sketch.count_in);
  for (const SketchSection& section : sketch.sections) out += "\n" + write_section(section);
  return out;
}

std::string write_section(const SketchSection& s) {
  std::string out = fmt::format("[[section]]\nname = {}\nkind = \"{}\"\n", quoted(s.name), text(s.kind));
  out += s.source.file.empty() ? fmt::format("take = {}\n", s.source.take)
                               : fmt::format("source = {}\n", quoted(s.source.file));
  if (!s.label.empty()) out += fmt::format("label = {}\n", quoted(s.label));
  if (!s.passes.empty()) out += fmt::format("passes = [{}]\n", fmt::join(s.passes, ", "));
  if (s.span) out += fmt::format("span = [{:.3f}, {:.3f}]\n", s.span->first, s.span->second);
  if (s.repeats) out += fmt::format("repeats = {}\n", *s.repeats);
  if (!(s.layers == Layers{})) {
    std::vector<std::string> layers;
    for (const auto& [name, layer] : kLayers)
      if (s.layers.*layer) layers.push_back(fmt::format("\"{}\"", name));
    out += fmt::format("layers = [{}]\n", fmt::join(layers, ", "));
  }
  if (s.proposal) out += fmt::format("reharmonise = {}\n", *s.proposal);
  if (!s.chords.empty()) {
    std::vector<std::string> chords;
    for (const std::string& chord : s.chords) chords.push_back(quoted(chord));
    out += fmt::format("chords = [{}]\n", fmt::join(chords, ", "));
  }
  if (!s.chord_line.empty()) out += fmt::format("chords = {}\n", quoted(s.chord_line));
  if (s.tune)
    out += s.tune->file.empty() ? fmt::format("tune = {}\n", s.tune->take)
                                : fmt::format("tune = {}\n", quoted(s.tune->file));
  if (s.transpose != 0) out += fmt::format("transpose = {}\n", s.transpose);
  if (s.key) out += fmt::format("key = {}\n", quoted(harmony::text(*s.key)));
  if (s.tempo) out += fmt::format("tempo = {:g}\n", *s.tempo);
  if (s.meter) out += fmt::format("meter = {}\n", *s.meter);
  if (s.feel) out += fmt::format("feel = \"{}\"\n", kFeels[static_cast<std::size_t>(*s.feel)]);
  if (!s.dynamic.empty()) out += fmt::format("dynamics = {}\n", quoted(s.dynamic));
  if (!s.lyrics.empty()) {
    std::vector<std::string> lines;
    for (const std::string& line : s.lyrics) lines.push_back(quoted(line));
    out += lines.size() == 1 ? fmt::format("lyrics = {}\n", lines.front())
                             : fmt::format("lyrics = [\n  {},\n]\n", fmt::join(lines, ",\n  "));
  }
  if (const std::string sign = begins_text(s.signs); !sign.empty())
    out += fmt::format("begins = \"{}\"\n", sign);
  if (const std::string sign = ends_text(s.signs); !sign.empty()) out += fmt::format("ends = \"{}\"\n", sign);
  if (s.ritardando) out += "ritardando = true\n";
  if (s.fermata) out += "fermata = true\n";
  return out;
}

}  // namespace undersong::song
