// Converts what is known of takes at a glance: pictures, takes with the same loop, digests; and what the
// player says of their moments.
//
// Units: as in protocol/shapes.h.
// Threads: pure functions; call them from any thread.
// Errors: judgement_of returns one sentence that names the member of the params.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "daemon/song/take_study.h"
#include "daemon/takes/store.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::TakePicture picture_of(const takes::AboutTake& take);
protocol::SimilarTakes similar_of(const takes::SimilarTakes& found);
takes::DigestSearch search_of(const protocol::GetDigest& wish);
protocol::Digest digest_of(const takes::FoundDigest& found);
Result<takes::Judgement> judgement_of(const protocol::JudgeMoment& wish);

// The answers that are kept with the study of a take, so that they cost nothing later.
inline constexpr const char *kKeptBeats = "beats", *kKeptLoop = "loop";
std::vector<std::pair<std::string, std::string>> answers_of(const takes::Store::Midi& take,
                                                            const song::TakeStudy& study);

}  // namespace undersong::server
