#include "daemon/harmony/colour_words.h"

#include <array>

namespace undersong::harmony {
namespace {

struct Step {
  float below;  // the word applies to numbers below this
  Word word;
};

template <std::size_t N>
const Word& word_of(const std::array<Step, N>& steps, const Word& most, float value) {
  for (const Step& step : steps)
    if (value < step.below) return step.word;
  return most;
}

constexpr std::array<Step, 4> kDarkBright{
    {{-.4f, Word("very dark")}, {-.15f, Word("dark")}, {.15f, Word("neutral")}, {.4f, Word("bright")}}};
constexpr Word kBrightest("very bright");
constexpr std::array<Step, 3> kResolvedTense{
    {{.5f, Word("at rest")}, {.62f, Word("mild")}, {.72f, Word("leaning")}}};
constexpr Word kTensest("tense");

}  // namespace

const Word& dark_bright_word(float dark_bright) {
  return word_of(kDarkBright, kBrightest, dark_bright);
}
const Word& resolved_tense_word(float resolved_tense) {
  return word_of(kResolvedTense, kTensest, resolved_tense);
}

}  // namespace undersong::harmony
