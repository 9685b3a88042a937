// Measures the core: time per event, per list, per chord and per message, and a whole file in multiples of
// real time.
#include <benchmark/benchmark.h>

#include <cstdlib>
#include <memory>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/player_memory.h"
#include "daemon/harmony/recogniser.h"
#include "daemon/listen/analysis.h"
#include "daemon/listen/meetings.h"
#include "daemon/midi/smf.h"
#include "daemon/server/wire.h"

namespace undersong {
namespace {

std::vector<midi::Event> performance() {
  const char* file = std::getenv("UNDERSONG_BENCH_FILE");
  const auto read = midi::read_smf_file(file ? file : UNDERSONG_SOURCE_DIR "/configs/demo.mid");
  if (!read) std::abort();
  return midi::merged_events(*read);
}

void wholePerformance(benchmark::State& state) {
  const auto events = performance();
  for (auto _ : state) {
    listen::Analysis analysis;
    for (const auto& event : events) listen::drive(analysis, event, [](const listen::Analysis&) {});
    benchmark::DoNotOptimize(analysis.moment().number);
  }
  const double seconds = std::chrono::duration<double>(events.back().at).count();
  state.counters["times_real_time"] =
      benchmark::Counter(seconds * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
  state.counters["per_event"] =
      benchmark::Counter(static_cast<double>(events.size()) * static_cast<double>(state.iterations()),
                         benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}
BENCHMARK(wholePerformance)->Unit(benchmark::kMillisecond);

// The same with Meetings, which also records which melody note meets which chord.
void wholePerformanceWithMeetings(benchmark::State& state) {
  const auto events = performance();
  std::size_t met = 0;
  for (auto _ : state) {
    listen::Analysis analysis;
    listen::Meetings meetings;
    for (const auto& event : events)
      listen::drive(analysis, event,
                    [&](const listen::Analysis& heard) { met += meetings.hear(heard).size(); });
    benchmark::DoNotOptimize(met);
  }
  state.counters["per_event"] =
      benchmark::Counter(static_cast<double>(events.size()) * static_cast<double>(state.iterations()),
                         benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}
BENCHMARK(wholePerformanceWithMeetings)->Unit(benchmark::kMillisecond);

void rankAlternatives(benchmark::State& state) {
  harmony::Question question;
  question.key = harmony::Key{PitchClass(3), harmony::Mode::kMajor};
  question.previous = harmony::Chord{PitchClass(5), harmony::quality("min7"), PitchClass(5)};
  question.melody.push_back(Pitch(72));
  const std::array<Pitch, 5> held{Pitch(41), Pitch(56), Pitch(60), Pitch(63), Pitch(72)};
  harmony::Alternatives list;
  int i = 0;
  for (auto _ : state) {
    question.melody[0] = Pitch(60 + i++ % 24);
    const harmony::Hands hands(held);
    harmony::rank_alternatives(question, state.range(0) ? &hands : nullptr, list);
    benchmark::DoNotOptimize(list.size());
  }
}
BENCHMARK(rankAlternatives)->Arg(0)->Arg(1);

// The same for a player who is known from earlier takes.
void rankAlternativesForAKnownPlayer(benchmark::State& state) {
  const auto counts = std::make_unique<harmony::PlayerCounts>();
  for (int i = 0; i < 3000; ++i)
    counts->add({harmony::PlayedChord::kNoChord, static_cast<std::uint8_t>(i * 7 % 156),
                 static_cast<std::uint8_t>(i * 11 % 156), static_cast<std::uint8_t>(i % 12), 1},
                1);
  const auto player = std::make_unique<harmony::PlayerMemory>(*counts);
  harmony::Question question;
  question.key = harmony::Key{PitchClass(3), harmony::Mode::kMajor};
  question.previous = harmony::Chord{PitchClass(5), harmony::quality("min7"), PitchClass(5)};
  question.player = player.get();
  question.melody.push_back(Pitch(72));
  harmony::Alternatives list;
  int i = 0;
  for (auto _ : state) {
    question.melody[0] = Pitch(60 + i++ % 24);
    harmony::rank_alternatives(question, nullptr, list);
    benchmark::DoNotOptimize(list.size());
  }
}
BENCHMARK(rankAlternativesForAKnownPlayer);

void voiceOne(benchmark::State& state) {
  const std::array<Pitch, 5> held{Pitch(41), Pitch(56), Pitch(60), Pitch(63), Pitch(72)};
  const harmony::Hands hands(held);
  const std::array<Pitch, 1> melody{Pitch(72)};
  int root = 0;
  for (auto _ : state) {
    const harmony::Chord chord{PitchClass(root), harmony::quality("min7"), PitchClass(root)};
    root = (root + 1) % 12;
    benchmark::DoNotOptimize(harmony::voice(chord, melody, hands));
  }
}
BENCHMARK(voiceOne);

void voicingsOfAChord(benchmark::State& state) {
  const std::array<Pitch, 5> held{Pitch(41), Pitch(56), Pitch(60), Pitch(63), Pitch(72)};
  const harmony::Hands hands(held);
  const std::array<Pitch, 1> melody{Pitch(72)};
  int root = 0;
  for (auto _ : state) {
    const harmony::Chord chord{PitchClass(root), harmony::quality("9"), PitchClass(root)};
    root = (root + 1) % 12;
    benchmark::DoNotOptimize(harmony::voicings(chord, melody, hands));
  }
}
BENCHMARK(voicingsOfAChord);

void colourOfAVoicing(benchmark::State& state) {
  const std::array<Pitch, 5> voiced{Pitch(41), Pitch(56), Pitch(60), Pitch(63), Pitch(72)};
  for (auto _ : state)
    benchmark::DoNotOptimize(
        harmony::colour(std::span<const Pitch>(voiced), harmony::Key{PitchClass(3), harmony::Mode::kMajor}));
}
BENCHMARK(colourOfAVoicing);

void recognise(benchmark::State& state) {
  const std::array<Pitch, 6> held{Pitch(41), Pitch(56), Pitch(60), Pitch(63), Pitch(67), Pitch(72)};
  for (auto _ : state) benchmark::DoNotOptimize(harmony::recognise(held));
}
BENCHMARK(recognise);

void momentToJson(benchmark::State& state) {
  listen::Analysis analysis;
  for (const auto& event : performance()) {
    listen::drive(analysis, event, [](const listen::Analysis&) {});
    if (event.at > Micros(40'000'000)) break;
  }
  std::size_t bytes = 0;
  server::ListText list;
  for (auto _ : state) {
    if (state.range(0)) list.number = 0;
    bytes = server::moment_message(analysis.moment(), list)->size();
  }
  state.counters["bytes"] = static_cast<double>(bytes);
}
BENCHMARK(momentToJson)->ArgName("new list")->Arg(0)->Arg(1);

}  // namespace
}  // namespace undersong

BENCHMARK_MAIN();
