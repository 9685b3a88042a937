// Reads any bytes as a question. It is either understood, and can then be put into words and matched with a
// take, or refused with a sentence.
#include <cstdlib>
#include <string>
#include <vector>

#include "daemon/takes/moment_matcher.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/question.h"

using namespace undersong;
using namespace undersong::takes;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace std::chrono_literals;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto question = read_question(text, 2026y / 11 / 26);
  if (!question) {
    if (question.error().message.empty() || question.error().message.back() != '.') std::abort();
    return 0;
  }
  if (in_words(*question).empty()) std::abort();
  static const auto kinds = [] {
    std::vector<ChordKind> out;
    for (int i = 0; i < 400; ++i)
      out.push_back({PitchClass(i), PitchClass(i * 7),
                     harmony::Quality(i % static_cast<int>(harmony::chord_vocabulary().size()))});
    return out;
  }();
  static const auto digest = [] {
    std::string out;
    for (std::uint32_t i = 0; i < 200; ++i)
      append_digest(out,
                    {(i * 37) % 420, static_cast<std::uint8_t>(i % 27), static_cast<std::uint16_t>(i * 521)});
    return indexed(out, kinds);
  }();
  std::vector<std::pair<std::int64_t, std::int64_t>> days(question->days, {0, 1'000'000});
  MomentMatcher matcher(*question, kinds, days);
  std::vector<Place> places;
  matcher.find(digest, 1000, places);
  if (places.size() != matcher.count(digest, 1000)) std::abort();
  for (const Place& place : places)
    if (place.first > place.last || place.last >= 200 || place.time < 1 || place.time > place.times)
      std::abort();
  for (const Question& near : near_questions(*question)) {
    if (in_words(near).empty()) std::abort();
    MomentMatcher less(near, kinds, days);
    (void)less.count(digest, 1000);
  }
  return 0;
}
