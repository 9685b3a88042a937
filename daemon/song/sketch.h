// A sketch: a song as the player plans it, an ordered list of sections drawn from takes. It turns a loop into
// a form. The takes themselves do not change.
//
//   title = "Evening rounds"
//   tempo = 92
//   feel = "swing"          # or "straight"
//   count_in = 1            # bars, in the MIDI file
//
//   [[section]]
//   name = "Verse"
//   kind = "verse"          # intro, verse, pre-chorus, chorus, theme, development, bridge, solo, interlude,
//   ... source = "rounds.mid"   # a standard MIDI file beside the sketch; or take = 12 for a kept take label
//   = "A"             # as `undersong loop` names it; or passes = [3, 4]; or span = [12.5, 30.0] repeats = 2
//   layers = ["melody", "chords", "bass", "pad"]
//   reharmonise = 3         # a proposal for these chords; or chords = ["Am9", "D7", ...]; or a line with a
//                           # rhythm of its own: chords = "Cm7 . Ab | G7" (chord_line.h)
//   tune = 12               # the melody of another take, or of a file: tune = "tune.mid"
//   transpose = -2          # semitones
//   key = "Am"              # it is written in this key; without it, the key is found
//   tempo, meter, feel      # of this section, where they differ from the song's
//   dynamics = "mf"         # pp, p, mp, mf, f or ff; until the next section that has some
//   lyrics = ["first verse", "sec-ond verse"]   # or one text (lyrics.h)
//   begins = "segno"        # or "coda"
//   ends = "D.S. al coda"   # to coda, fine, D.C., D.S., and these al fine or al coda
//   ritardando = true       # the end slows down
//   fermata = true          # the last note is held
//
// Only `source` (or `take`) is required. Without label, passes and span the section with the most passes is
// used. Without repeats it is played as often as in the take.
//
// Units: spans in seconds of the take; tempo in beats per minute.
// Threads: plain values and pure functions; use them from any thread.
// Errors: one sentence with the file, the line and what is wrong there.
// Source: common practice, no source; the text is TOML 1.0.
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

inline constexpr std::size_t kLongestSketchText = 200;  // bytes of a title or a name

enum class SketchKind : std::uint8_t {
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
std::string_view text(SketchKind kind);
std::optional<SketchKind> parse_sketch_kind(std::string_view text);

struct SketchSource {
  std::string file;  // as written in the sketch; empty for a take
  std::int64_t take = 0;
  friend auto operator<=>(const SketchSource&, const SketchSource&) = default;
};

struct SketchSection {
  std::string name;
  SketchKind kind = SketchKind::kTheme;
  SketchSource source;
  // At most one of the next three is set. If none is, the section with the most passes is used.
  std::string label;
  std::vector<int> passes;                        // counted from 1, in the order in which they are played
  std::optional<std::pair<double, double>> span;  // seconds of the take
  std::optional<int> repeats;                     // 1..64; empty: as often as in the take
  Layers layers;
  std::optional<int> proposal;       // of reharmonise() without wishes, counted from 1
  std::vector<std::string> chords;   // symbols or Harte syntax, one for each chord that is replaced
  std::string chord_line;            // instead of `chords`, as chord_line.h reads it
  std::optional<SketchSource> tune;  // whose melody is played instead
  int transpose = 0;                 // semitones, -24..24
  std::optional<harmony::Key> key;   // in which it is written; empty: found over all sections of its take
  std::optional<double> tempo;       // beats per minute, 30..300; empty: that of the song
  std::optional<int> meter;          // beats per bar, 2..12; empty: as in its take
  std::optional<Feel> feel;          // empty: that of the song
  std::string dynamic;               // "pp" to "ff"; empty: what holds already
  std::vector<std::string> lyrics;   // a line for each time
  Signs signs;
  bool ritardando = false, fermata = false;
  int line = 0;  // first line in the text; 0: made by a program
};

struct Sketch {
  std::string title;
  std::optional<double> tempo;  // beats per minute, 30..300; empty: the tempo of the first source
  Feel feel = Feel::kStraight;
  int count_in = 0;  // bars, 0..2
  std::vector<SketchSection> sections;
};

// The takes and files from which sections or their tunes come, each once.
std::vector<SketchSource> sources_of(const Sketch& sketch);

// `name` appears in errors: "song.toml, line 7: ...".
Result<Sketch> read_sketch(std::string_view text, const std::string& name);
std::string write_sketch(const Sketch& sketch);
// One section, from [[section]] on.
std::string write_section(const SketchSection& section);

// Returns the study of a source. It is called on the thread that calls form_of_sketch or propose_sketch.
using SourceReader = std::function<Result<std::shared_ptr<const TakeStudy>>(const SketchSource&)>;

// Writes out the song. Errors name the section.
Result<Form> form_of_sketch(const Sketch& sketch, const SourceReader& read);

// Proposes a first sketch from what was found in the sources: theme, development, a sparse section as a
// bridge, solo, ending. form_of_sketch makes a song of it, and read_sketch reads what write_sketch writes.
Result<Sketch> propose_sketch(const std::vector<SketchSource>& sources, const SourceReader& read,
                              const std::string& title);

}  // namespace undersong::song
