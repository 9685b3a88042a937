// A song as its player sketches it: an ordered list of sections drawn from takes, so that a loop becomes a
// form. The takes themselves are not touched.
//
//   title = "Evening rounds"
//
//   [[section]]
//   name = "Theme"
//   kind = "theme"                 # intro, theme, development, bridge, solo, interlude, ending
//   source = "rounds.mid"          # a standard MIDI file beside the sketch; or take = 12 for one that is
//   kept label = "A"                    # a section of it as `undersong loop` names it; or passes = [3, 4];
//   or span = [12.5, 30.0] repeats = 2 layers = ["melody", "chords", "bass", "pad"] reharmonise = 3 # a
//   proposal for these chords; or chords = ["Am9", "D7", ...] transpose = -2                 # semitones
//
// Everything but `source` (or `take`) may be left out: without label, passes and span the section with the
// most times round is taken, once for every time it was played. Threads: plain values, pure functions.
// Errors: one sentence that names the file, the line and what is wrong there. Source: common practice, no
// source; the text is TOML 1.0.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/song/form.h"
#include "daemon/song/reharmonise.h"
#include "daemon/song/take_study.h"

namespace undersong::song {

enum class SketchKind : std::uint8_t { kIntro, kTheme, kDevelopment, kBridge, kSolo, kInterlude, kEnding };
std::string_view text(SketchKind kind);
std::optional<SketchKind> parse_sketch_kind(std::string_view text);

struct SketchSource {
  std::string file;  // as written; empty for a take
  std::int64_t take = 0;
  friend auto operator<=>(const SketchSource&, const SketchSource&) = default;
};

struct SketchSection {
  std::string name;
  SketchKind kind = SketchKind::kTheme;
  SketchSource source;
  // At most one of these three; none: the section with the most times round.
  std::string label;
  std::vector<int> passes;                        // times round, the first is 1; as they are to be played
  std::optional<std::pair<double, double>> span;  // seconds of the take
  std::optional<int> repeats;                     // 1..64; nothing: as often as it was played
  Layers layers;
  std::optional<int> proposal;      // of reharmonise with no wishes, the first is 1
  std::vector<std::string> chords;  // symbols or Harte syntax, one for each chord that is replaced
  int transpose = 0;                // -24..24
  int line = 0;                     // where it begins in the text; 0: made by a program
};

struct Sketch {
  std::string title;
  std::optional<double> tempo;  // beats a minute, 10..400; nothing: the first source's
  std::vector<SketchSection> sections;
};

// `name` is named in errors: "song.toml, line 7: ...".
Result<Sketch> read_sketch(std::string_view text, const std::string& name);
std::string write_sketch(const Sketch& sketch);

// What a section is drawn from.
using SourceReader = std::function<Result<std::shared_ptr<const TakeStudy>>(const SketchSource&)>;

// The song written out. Errors name the section.
Result<Form> form_of_sketch(const Sketch& sketch, const SourceReader& read);

// A first sketch from what was found in these sources: theme, development, what is sparse as a bridge, solo,
// ending.
Result<Sketch> propose_sketch(const std::vector<SketchSource>& sources, const SourceReader& read,
                              const std::string& title);

}  // namespace undersong::song
