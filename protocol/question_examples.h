// Example questions that show the language of take.find, for the help of clients. A test asks every one of
// them.
//
// Units: none.
// Threads: constants.
// Errors: none.
#pragma once

#include <array>
#include <string_view>

namespace undersong::protocol {

struct QuestionExample {
  std::string_view question, says;
};

inline constexpr std::array kQuestionExamples{
    QuestionExample{"Db under G", "any chord on Db while G was the melody"},
    QuestionExample{"Dbmaj7 under G", "Dbmaj7, or what contains it: Dbmaj9, Dbmaj7#11"},
    QuestionExample{"exactly Dbmaj7 under G", "nothing more in it"},
    QuestionExample{"minor under A", "any minor chord while A was the melody"},
    QuestionExample{"any dominant on Bb under the 9", "Bb7, Bb9, Bb13 ... under C"},
    QuestionExample{"#11 over a major seventh", "a degree over a kind of chord"},
    QuestionExample{"flat nine over any dominant", "the same in words"},
    QuestionExample{"B flat major seventh under D", "names in words"},
    QuestionExample{"Bb/D", "a chord over a bass"},
    QuestionExample{"half-diminished under G or A", "several notes"},
    QuestionExample{"Db under G in F minor", "while the key was F minor"},
    QuestionExample{"Db under G last week",
                    "days: today, last 10 days, on Monday, in March, since 2026-11-01"},
    QuestionExample{"suspended 2026-11-01 to 2026-11-20", "a span of days"},
    QuestionExample{"Cm7 then F7 then Bbmaj7", "a sequence; Cm7 F7 Bbmaj7 says the same"},
    QuestionExample{"minor seventh then up a fourth any dominant then up a fourth major",
                    "by the movement of roots, in any key"},
    QuestionExample{"Db under G then C under G", "notes in a sequence"},
    QuestionExample{"(Db or Gb) under G and not in C", "combined; brackets join"},
};

}  // namespace undersong::protocol
