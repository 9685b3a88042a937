// Converts loops, proposals and sketches between the daemon's own types and those of the protocol.
//
// Units: as in protocol/shapes.h.
// Threads: pure functions; call them from any thread.
// Errors: wish_of returns one sentence for a wish that cannot be read; the others cannot fail.
#pragma once

#include "daemon/song/sketch.h"
#include "daemon/song/sketch_grow.h"
#include "daemon/song/sounding_song.h"
#include "daemon/song/take_study.h"
#include "daemon/takes/search.h"
#include "protocol/song_messages.h"

namespace undersong::server {

// REQUIRES: a loop was found.
protocol::TakeLoop loop_of(const song::TakeStudy& found, const takes::Summary& take);
protocol::Reharmonised reharmonised_of(const song::Reharmonisation& made, takes::TakeId take);
Result<song::ReharmoniseWish> wish_of(const protocol::Reharmonise& wish);
protocol::SongSketch sketch_of(const song::Sketch& sketch);
Result<song::Sketch> sketch_of(const protocol::SongSketch& sketch);
// Without `sound`.
protocol::SketchOutline outline_of(const song::Form& form);
protocol::SongSound sound_of(const song::SoundingSong& song);
// Without `added`.
protocol::GrownSketch grown_of(const song::SketchGrowth& grown, const song::Sketch& sketch);

}  // namespace undersong::server
