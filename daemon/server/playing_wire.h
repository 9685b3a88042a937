// Converts requests for sound, and what is being played, between the daemon's own types and the protocol's.
//
// Units: Micros and MIDI key numbers, as in the protocol.
// Threads: pure functions; call them from any thread.
// Errors: one sentence that names the member of the params.
#pragma once

#include <vector>

#include "daemon/base/result.h"
#include "daemon/live/client_keys.h"
#include "daemon/live/player.h"

namespace undersong::protocol {
struct Hear;
struct Heard;
struct PlayAlong;
struct PlayTake;
struct PlayedNote;
struct Playing;
struct SoundingNote;
}  // namespace undersong::protocol

namespace undersong::server {

Result<live::HearWish> hear_wish_of(const protocol::Hear& wish);
protocol::Heard heard_of(const std::optional<live::NamedChord>& heard);
live::PlayWish play_wish_of(const protocol::PlayTake& wish);
Result<live::AlongWish> along_wish_of(const protocol::PlayAlong& wish);
protocol::Playing playing_of(const live::Playing& playing);
// The notes of a score, ordered by beginning.
std::vector<protocol::SoundingNote> sounding_notes(const midi::Score& score);
std::vector<live::ClientNote> notes_of(const std::vector<protocol::PlayedNote>& notes);

}  // namespace undersong::server
