// Reads any bytes as the file of a sketch. It is refused with a sentence, or it can be written and read
// again, and the song that is made of it can be handed over: its MIDI file and its sheets can be read.
#include "daemon/song/form_midi.h"
#include "daemon/song/sketch.h"
#include "tests/fuzz/bytes.h"
#include "tests/fuzz/pages.h"

using namespace undersong;
using namespace undersong::song;
using fuzz::must;

namespace {

// Every source is the same short take: a loop of four chords, played four times, with a melody.
Result<std::shared_ptr<const TakeStudy>> source(const SketchSource& wanted) {
  static const auto study = [] {
    Played played;
    Micros at(0);
    for (int round = 0; round < 4; ++round)
      for (const int root : {48, 45, 53, 55}) {
        for (const int key : {root, root + 12 + (root == 45 ? 3 : 4), root + 19, 72 + round})
          played.events.push_back(midi::note_on(at, 0, Pitch(key), Velocity(70)));
        at += Micros(1'900'000);
        for (const int key : {root, root + 12 + (root == 45 ? 3 : 4), root + 19, 72 + round})
          played.events.push_back(midi::note_off(at, 0, Pitch(key)));
        at += Micros(100'000);
      }
    return std::make_shared<const TakeStudy>(study_take(played));
  }();
  if (wanted.take > 9) return not_found("There is no such take.");
  return study;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  auto sketch = read_sketch({reinterpret_cast<const char*>(data), size}, "song.toml");
  if (!sketch) {
    must(!sketch.error().message.empty());
    return 0;
  }
  const std::string text = write_sketch(*sketch);
  const auto again = read_sketch(text, "song.toml");
  must(again && write_sketch(*again) == text);
  // A long song is only more of the same, and takes more than its turn.
  int rounds = 0;
  for (SketchSection& section : sketch->sections) {
    section.proposal.reset();  // looking for other chords takes seconds here, and is no matter of the file
    rounds += section.repeats.value_or(4) + static_cast<int>(section.passes.size());
  }
  if (rounds > 16) return 0;
  const auto form = form_of_sketch(*sketch, source);
  if (!form) {
    must(!form.error().message.empty());
    return 0;
  }
  const auto folder = hand_over_form(*form);
  if (!folder) {
    must(!folder.error().message.empty());
    return 0;
  }
  fuzz::must_be_read_again(*folder);
  return 0;
}
