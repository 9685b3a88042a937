#include "daemon/server/beat_wire.h"

#include <algorithm>
#include <array>

#include "daemon/server/wire.h"
#include "daemon/takes/take_times.h"
#include "protocol/messages.h"

namespace undersong::server {

Result<live::CorrectionWish> correction_of(const protocol::CorrectBeat& wish) {
  using takes::BeatWord;
  constexpr std::array kWords{BeatWord::kOne, BeatWord::kTwice, BeatWord::kHalf, BeatWord::kMeter,
                              BeatWord::kUndo};
  live::CorrectionWish out;
  out.what = kWords[static_cast<std::size_t>(wish.what)];
  if (wish.meter) out.meter = static_cast<int>(wish.meter->value);
  if (out.what == BeatWord::kMeter && out.meter == 0)
    return invalid_input("params.meter is missing: how many beats a bar?");
  out.take = wish.take;
  if (wish.at) out.at = Micros(*wish.at);
  out.at_name = "params.at";
  return out;
}

protocol::Corrected corrected_of(const live::Corrected& corrected) {
  protocol::Corrected out;
  if (corrected.number) out.number.emplace(*corrected.number);
  if (corrected.beat) out.beat.emplace(beat_of(*corrected.beat));
  return out;
}

protocol::Tapped tapped_of(const std::optional<listen::BeatNow>& beat) {
  protocol::Tapped out;
  if (beat) out.beat.emplace(beat_of(*beat));
  return out;
}

protocol::TakeBeats beats_of(const takes::Summary& take, const song::TakeStudy& study) {
  const takes::Beats& beats = study.beats;
  const Micros from = takes::span_of(take).from;  // the study counts its times from here
  protocol::TakeBeats out;
  out.take = take.take;
  out.pulse = beats.pulse();
  out.confidence = static_cast<double>(beats.confidence);
  out.meter = beats.meter;
  out.division = beats.feel.division;
  out.signature = signature_of(beats.meter, beats.feel, seconds(takes::usual_length(beats)));
  out.swing = static_cast<double>(beats.feel.swing);
  // If the take begins within a bar, its first beats are the last ones of that bar.
  const auto one =
      std::find_if(beats.beats.begin(), beats.beats.end(), [](const auto& beat) { return beat.downbeat; });
  const auto before = one - beats.beats.begin();
  std::uint32_t place =
      one != beats.beats.end() && before < beats.meter ? static_cast<std::uint32_t>(beats.meter - before) : 0;
  for (const auto& beat : beats.beats) {
    place = beat.downbeat ? 1 : place + 1;
    out.at.push_back((from + beat.at).count());
    out.place.push_back(place);
  }
  return out;
}

}  // namespace undersong::server
