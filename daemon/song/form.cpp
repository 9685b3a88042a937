// What is played each time a part is repeated.
#include "daemon/song/form.h"

#include <algorithm>
#include <type_traits>

namespace undersong::song {
namespace {

const Ending* ending_of(const Part& part, int time) {
  for (const Ending& ending : part.endings)
    if (std::find(ending.times.begin(), ending.times.end(), time) != ending.times.end()) return &ending;
  return nullptr;
}

template <class T>
std::vector<T> replaced(const std::vector<T>& usual, const std::vector<T>& instead, Ticks from) {
  const auto at = [](const T& item) {
    if constexpr (std::is_same_v<T, Ticks>)
      return item;
    else
      return item.at;
  };
  std::vector<T> out;
  for (const T& item : usual)
    if (at(item) < from) out.push_back(item);
  out.insert(out.end(), instead.begin(), instead.end());
  return out;
}

}  // namespace

std::vector<WrittenChord> chords_at(const Part& part, int time) {
  const Ending* ending = ending_of(part, time);
  return ending ? replaced(part.chords, ending->chords, ending->from) : part.chords;
}

std::vector<WrittenNote> melody_at(const Part& part, int time) {
  const Ending* ending = ending_of(part, time);
  return ending ? replaced(part.melody, ending->melody, ending->from) : part.melody;
}

BassLine bass_at(const Part& part, int time) {
  const Ending* ending = ending_of(part, time);
  if (!ending) return part.bass;
  return {replaced(part.bass.notes, ending->bass.notes, ending->from),
          replaced(part.bass.slashes, ending->bass.slashes, ending->from)};
}

Ticks length_at(const Part& part, int time) {
  const Ending* ending = ending_of(part, time);
  return ending ? ending->from + ending->length : part.length;
}

}  // namespace undersong::song
