#include "daemon/song/hand_over.h"

#include <fmt/format.h>

#include <cmath>
#include <iterator>

#include "daemon/song/chart.h"
#include "daemon/song/lead_sheet.h"

namespace undersong::song {
namespace {

// XML cannot hold control characters, and a title is one line.
std::string printable(const std::string& title) {
  std::string out;
  for (const char c : title) out += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? ' ' : c;
  return out.empty() ? "Untitled" : out;
}

}  // namespace

Result<Folder> hand_over(const Played& played, const HandOverOptions& options) {
  return hand_over(played.events, study_take(played), options);
}

Result<Folder> hand_over(const std::vector<midi::Event>& events, const TakeStudy& study,
                         const HandOverOptions& options) {
  const auto& tempo = options.parts.tempo;
  if (tempo && !is_tempo_mark(*tempo))
    return invalid_input(fmt::format("A steady tempo of {:g} beats a minute is outside {:g} to {:g}.", *tempo,
                                     kSlowestMark, kFastestMark));
  auto form = form_of_take(study);
  if (!form) return form.error();
  Folder out;
  out.form = std::move(*form);
  out.form.title = printable(options.title);
  // All pages use the same steady tempo: the requested one, or the take's own, rounded.
  if (options.parts.steady) {
    out.form.steady = true;
    out.form.tempo = tempo.value_or(std::round(out.form.tempo));
  }
  auto parts =
      midi_parts(events, {study.take, study.melody, study.bars, &study.bass}, out.form, options.parts);
  if (!parts) return parts.error();
  out.pad_motion = parts->pad_motion;
  out.pad_parallels = parts->pad_parallels;
  out.files.push_back({"parts.mid", std::move(parts->bytes)});
  out.files.push_back({"lead_sheet.musicxml", bytes_of(lead_sheet(out.form))});
  out.files.push_back({"chart.txt", bytes_of(chart(out.form))});
  auto band = band_files(out.form, options.parts.strings);
  std::move(band.files.begin(), band.files.end(), std::back_inserter(out.files));
  if (!study.bars.pulse) {
    out.remarks.push_back(
        options.parts.steady
            ? "No pulse was found, so a bar is one chord change, and the steady tempo counts four beats to "
              "each."
            : "No pulse was found, so a bar is one chord change, and written lengths are free.");
  }
  if (study.melody.empty())
    out.remarks.push_back("No melody was heard above the chords; the lead sheet has chords only.");
  return out;
}

}  // namespace undersong::song
