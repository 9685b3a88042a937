#include "daemon/server/digest_wire.h"

#include <algorithm>

#include "daemon/server/beat_wire.h"
#include "daemon/server/music_wire.h"
#include "daemon/server/song_wire.h"
#include "daemon/server/wire.h"
#include "daemon/takes/take_times.h"
#include "protocol/json.h"

namespace undersong::server {
namespace {

// Both lists are in the same order.
static_assert(static_cast<int>(protocol::DigestReason::kNewChords) ==
              static_cast<int>(takes::DigestReason::kNewChords));
static_assert(static_cast<int>(protocol::Verdict::kOpen) == static_cast<int>(takes::Verdict::kOpen));

}  // namespace

protocol::TakePicture picture_of(const takes::AboutTake& take) {
  protocol::TakePicture out;
  out.take = take.take;
  out.studied = take.about.studied;
  out.length_us = std::max<std::int64_t>(0, take.length.count());
  for (const std::uint8_t note : take.about.melody) out.melody.emplace_back(note);
  for (const takes::AboutLoop& loop : take.about.loops) {
    protocol::PicturedLoop& to = out.loops.emplace_back();
    for (const auto& harte : loop.chords) put_chord(to.chords.emplace_back(), harte);
    for (const takes::AboutPass& pass : loop.passes) {
      protocol::PicturedPass& each = to.passes.emplace_back();
      each.from_us = std::max<std::int64_t>(0, pass.from.count());
      each.length_us = std::max<std::int64_t>(0, pass.length.count());
      each.transposed = pass.transposed;
      each.variant = pass.variant;
    }
  }
  if (take.about.content.tempo) {
    out.tempo = take.about.content.tempo;
    out.meter = static_cast<std::uint32_t>(take.about.meter);
  }
  return out;
}

protocol::SimilarTakes similar_of(const takes::SimilarTakes& found) {
  constexpr std::int64_t kHundredth = 10'000;
  protocol::SimilarTakes out;
  out.take = found.take;
  for (const takes::FoundPlace& place : found.places) {
    protocol::SimilarTake& to = out.found.emplace_back();
    to.take = place.found.take;
    to.title = place.title;
    if (place.content) to.content = content_of(*place.content);
    to.begin_utc_ms = place.begin_utc_ms;
    to.from_us = place.found.from * kHundredth;
    to.length_us = (place.found.to - place.found.from) * kHundredth;
    to.shift = takes::nearest_shift(0, place.found.shift);
  }
  return out;
}

takes::DigestSearch search_of(const protocol::GetDigest& wish) {
  takes::DigestSearch out;
  out.week = wish.span.value_or(protocol::DigestSpan::kEvening) == protocol::DigestSpan::kWeek;
  if (wish.limit) out.limit = static_cast<std::size_t>(wish.limit->value);
  return out;
}

protocol::Digest digest_of(const takes::FoundDigest& found) {
  protocol::Digest out;
  out.from_utc_ms = found.span.from_utc_ms;
  out.to_utc_ms = found.span.to_utc_ms;
  out.takes = found.takes.size();
  out.unstudied = found.unstudied;
  for (const takes::DigestMoment& moment : found.moments) {
    const takes::DigestTake& take = found.takes[moment.take];
    protocol::DigestMoment& to = out.moments.emplace_back();
    to.take = take.take;
    to.title = take.title;
    if (!take.about.content.chords.empty()) to.content = content_of(take.about.content);
    to.begin_utc_ms = take.begin_utc_ms;
    to.from_us = moment.from.count();
    to.length_us = moment.length.count();
    if (moment.bars) to.bars = static_cast<std::uint32_t>(*moment.bars);
    for (const takes::DigestReason reason : moment.reasons)
      to.reasons.push_back(static_cast<protocol::DigestReason>(reason));
    to.reason = moment.reason;
    for (const auto& harte : moment.chords) put_chord(to.chords.emplace_back(), harte);
    to.verdict = static_cast<protocol::Verdict>(moment.verdict);
  }
  return out;
}

Result<takes::Judgement> judgement_of(const protocol::JudgeMoment& wish) {
  if (wish.from_us < 0 || wish.from_us > takes::kLongestTake.count())
    return invalid_input("params.from_us must lie within the take.");
  if (wish.length_us <= 0 || wish.length_us > takes::kLongestTake.count())
    return invalid_input("params.length_us must be more than 0, and no longer than a take.");
  return takes::Judgement{Micros(wish.from_us), Micros(wish.length_us),
                          static_cast<takes::Verdict>(wish.verdict)};
}

std::vector<std::pair<std::string, std::string>> answers_of(const takes::Store::Midi& take,
                                                            const song::TakeStudy& study) {
  std::vector<std::pair<std::string, std::string>> out;
  out.emplace_back(kKeptBeats, protocol::to_json(beats_of(take.detail.summary, study)));
  if (study.loop) out.emplace_back(kKeptLoop, protocol::to_json(loop_of(study, take.detail.summary)));
  return out;
}

}  // namespace undersong::server
