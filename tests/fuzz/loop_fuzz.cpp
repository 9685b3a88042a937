// Studies any notes: from a MIDI file, or from bytes that say when which key was struck. The beats, the loop
// and the parts made of them stay within bounds, and what is handed over can be read again.
#include "daemon/listen/tempo.h"
#include "daemon/midi/smf.h"
#include "daemon/song/hand_over.h"
#include "daemon/song/reharmonise.h"
#include "daemon/song/take_study.h"
#include "daemon/takes/along.h"
#include "tests/fuzz/bytes.h"
#include "tests/fuzz/pages.h"

using namespace undersong;
using fuzz::Bytes;
using fuzz::must;

namespace {

constexpr std::size_t kMostEvents = 120;  // so that one input takes no longer than a fraction of a second

std::vector<midi::Event> struck(Bytes& in) {
  std::vector<midi::Event> out;
  Micros at(0);
  while (!in.empty() && out.size() < kMostEvents) {
    const int what = in.byte();
    if (what == 255) at = std::max(at, listen::near_enough(in.time(at)));
    if (what >= 250) {
      out.push_back({at, {0xB0, 64, static_cast<std::uint8_t>(what == 250 ? 0 : 127)}, 3, 0});
    } else if (what >= 200) {  // a round of chords, as loops have them, so that few bytes are a loop
      const Micros beat(200'000 + 10'000 * (what - 200) * 2);
      const int root = 48 + in.byte() % 12, steps = 1 + in.byte() % 4, rounds = 1 + in.byte() % 6;
      const std::uint8_t shape = in.byte();
      for (int round = 0; round < rounds; ++round)
        for (int step = 0; step < steps && out.size() < kMostEvents; ++step, at += beat)
          for (const int tone : {0, shape & 1 ? 3 : 4, 7}) {
            const Pitch key(root + tone + (step * (1 + shape / 2 % 11)) % 12);
            out.push_back(midi::note_on(at, 0, key, Velocity(70)));
            out.push_back(midi::note_off(at + beat - Micros(10'000), 0, key));
          }
    } else {
      at += Micros(10'000) * what;
      const int key = in.byte();
      const auto port = static_cast<midi::PortNumber>(key >> 7);
      const int force = in.byte() & 0x7F;
      if (force == 0)
        out.push_back(midi::note_off(at, 0, Pitch(key & 0x7F), port));
      else
        out.push_back(midi::note_on(at, 0, Pitch(key & 0x7F), Velocity(force), port));
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return out;
}

void check(const takes::Loop& loop, const takes::Beats& beats) {
  must(!loop.chords.empty() && !loop.passes.empty());
  must(loop.confidence >= 0 && loop.confidence <= 1);
  for (std::size_t i = 0; i < loop.passes.size(); ++i) {
    const auto& pass = loop.passes[i];
    must(pass.places.size() == loop.chords.size() && pass.begin <= pass.end);
    must(i == 0 || loop.passes[i - 1].begin <= pass.begin);
    must(pass.transposed >= -5 && pass.transposed <= 6);
    (void)takes::describe_difference(loop, pass);
  }
  const auto along = takes::accompaniment(loop, beats, {});
  if (!along)
    must(!along.error().message.empty());
  else
    must(along->cycle > Micros(0) && along->score.length >= along->cycle);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Bytes in{data, data + size};
  song::Played played;
  if (in.byte() % 4 == 3) {
    const auto file = midi::read_smf({in.at, static_cast<std::size_t>(in.end - in.at)});
    if (!file) return 0;
    played.events = midi::merged_events(*file);
    if (played.events.size() > kMostEvents) return 0;
  } else {
    played.events = struck(in);
  }
  const auto study = song::study_take(played);
  must(study.beats.beats.size() <= 64 * (played.events.size() + 1));
  for (std::size_t i = 1; i < study.beats.beats.size(); ++i)
    must(study.beats.beats[i].at > study.beats.beats[i - 1].at);
  if (study.loop) check(*study.loop, study.beats);
  for (const auto& other : study.others) check(other.loop, study.beats);
  const auto folder = song::hand_over(played.events, study, {});
  if (!folder) {
    must(!folder.error().message.empty());
    return 0;
  }
  fuzz::must_be_read_again(*folder);
  return 0;
}
