#include "protocol/json.h"

#include <gtest/gtest.h>

#include "protocol/messages.h"
#include "protocol/nearest.h"

namespace undersong::protocol {
namespace {

std::string problem_of(const Read<SendNotes>& read) {
  return read ? "none" : read.error().sentence;
}
Read<SendNotes> notes(std::string_view text) {
  return read_text<SendNotes>(text, "params");
}

TEST(Reader, IgnoresUnknownMembersAndAllowsMissingOptionalOnes) {
  const auto mark = read_text<MarkTake>(R"({"colour":"blue","deep":[{"x":1}]})", "params");
  ASSERT_TRUE(mark);
  EXPECT_EQ(mark->text, std::nullopt);
  EXPECT_EQ(read_text<MarkTake>(R"({"text":null})", "params")->text, std::nullopt);
  EXPECT_EQ(read_text<MarkTake>(R"({"text":"here"})", "params")->text, "here");
}

TEST(Reader, NamesTheMemberThatIsMissingOrWrong) {
  EXPECT_EQ(problem_of(notes("{}")), "params.notes is missing.");
  EXPECT_EQ(problem_of(notes("[1]")), "params must be an object, not an array.");
  EXPECT_EQ(problem_of(notes(R"({"notes":3})")), "params.notes must be an array, not 3.");
  EXPECT_EQ(problem_of(notes(
                R"({"notes":[{"pitch":60,"velocity":1,"on":true},{"pitch":200,"velocity":1,"on":true}]})")),
            "params.notes[1].pitch must be a whole number from 0 to 127, not 200.");
  EXPECT_EQ(problem_of(notes(R"({"notes":[{"pitch":60,"velocity":"loud","on":true}]})")),
            "params.notes[0].velocity must be a whole number from 0 to 127, not \"loud\".");
  EXPECT_EQ(problem_of(notes(R"({"notes":[{"pitch":60,"velocity":1}]})")), "params.notes[0].on is missing.");
  EXPECT_EQ(read_text<Subscribe>(R"({"topics":["moments"]})", "params").error().sentence,
            "params.topics[0] must be one of moment, status, log, not \"moments\".");
  EXPECT_EQ(read_text<SetSettings>(R"({"tenser":1.5})", "params").error().sentence,
            "params.tenser must be a number from -1 to 1, not 1.5E0.");
}

TEST(Reader, TakesWholeNumbersInAnySpellingAndRefusesOthers) {
  EXPECT_EQ(read_text<GetTake>(R"({"take":12.0})", "params")->take, 12u);
  EXPECT_EQ(read_text<GetTake>(R"({"take":18446744073709551615})", "params")->take, UINT64_MAX);
  EXPECT_FALSE(read_text<GetTake>(R"({"take":12.5})", "params"));
  EXPECT_FALSE(read_text<GetTake>(R"({"take":-1})", "params"));
  EXPECT_FALSE(read_text<GetTake>(R"({"take":true})", "params"));
}

TEST(Reader, RefusesWhatIsNotJsonWithThePlace) {
  EXPECT_NE(parse("{\"a\":1").operator bool(), true);
  EXPECT_NE(parse("{} {}").error().sentence.find("near byte 3"), std::string::npos)
      << parse("{} {}").error().sentence;
  EXPECT_FALSE(parse(std::string(100, '[') + std::string(100, ']'))) << "nested too deep";
  EXPECT_FALSE(parse("\"\xff\"")) << "not UTF-8";
  EXPECT_FALSE(parse(""));
}

TEST(Reader, RefusesUndescribedMembersOnlyWhenAsked) {
  EXPECT_TRUE(read_text<Hold>(R"({"on":true,"x":1})", "params"));
  EXPECT_FALSE(read_text<Hold>(R"({"on":true,"x":1})", "params", Unknown::kRefuse));
}

TEST(Reader, NamesAMisspeltMemberAndTheOneThatWasMeant) {
  const auto sentence = [](const char* text) {
    return read_text<ListTakes>(text, "params", Unknown::kRefuse).error().sentence;
  };
  EXPECT_EQ(sentence(R"({"limt":5})"), "params.limt is not known; did you mean limit?");
  EXPECT_EQ(sentence(R"({"meldoy":5})"), "params.meldoy is not known; did you mean melody?");
  EXPECT_EQ(sentence(R"({"colour":5})"), "params.colour is not known.");
}

TEST(Nearest, IsWhatSomebodyMeantAndNothingElse) {
  const std::vector<std::string_view> commands{"list", "live", "loop", "reharmonise", "hand-over"};
  EXPECT_EQ(nearest("lsit", commands), "list");
  EXPECT_EQ(nearest("reharmonize", commands), "reharmonise");
  EXPECT_EQ(nearest("HAND_OVER", commands), "hand-over");
  EXPECT_EQ(nearest("banana", commands), std::nullopt);
  EXPECT_EQ(slips("list", "list"), 0u);
  EXPECT_EQ(slips("list", "lsit"), 1u) << "two letters that changed places are one slip";
  EXPECT_EQ(slips("", "loop"), kMostSlips + 1);
}

TEST(Writer, EscapesWhatJsonCannotCarryPlain) {
  std::string out;
  append_string(out, std::string_view("a\"b\\c\n\t\x01\x7f é", 12));
  EXPECT_EQ(out, "\"a\\\"b\\\\c\\n\\t\\u0001\x7f é\"");
  EXPECT_EQ(parse(out)->as_string(), std::string_view("a\"b\\c\n\t\x01\x7f é", 12));
}

TEST(Writer, ShortNumbersRoundToThreeDecimals) {
  const auto text = [](double d) {
    std::string out;
    append_short(out, d);
    return out;
  };
  EXPECT_EQ(text(0), "0");
  EXPECT_EQ(text(1), "1");
  EXPECT_EQ(text(0.5), "0.5");
  EXPECT_EQ(text(-0.125), "-0.125");
  EXPECT_EQ(text(0.0404), "0.04");
  EXPECT_EQ(text(0.9996), "1");
  EXPECT_EQ(text(-0.0001), "0");
  EXPECT_EQ(text(12.03), "12.03");
  EXPECT_EQ(text(std::nan("")), "null");
  EXPECT_EQ(text(1e300), "1e+300");
}

TEST(Writer, NumbersComeBackAsTheyWere) {
  for (const double d : {0.1, -0.0, 1.5, 1e300, 5e-324, 123456789.125, -2.0 / 3}) {
    std::string out, again;
    append_double(out, d);
    append_double(again, parse(out)->to_number<double>());
    EXPECT_EQ(out, again);
    EXPECT_EQ(parse(out)->to_number<double>(), d);
  }
}

TEST(Writer, LeavesOutEmptyOptionalsAndKeepsNullables) {
  EXPECT_EQ(to_json(MarkTake{}), "{}");
  EXPECT_EQ(to_json(Heard{}), R"({"harte":null})");
  EXPECT_EQ(to_json(LogLine{.number = 3, .kind = LineKind::kTakeEnd, .reason = "silence"}),
            R"({"number":3,"at":0,"kind":"take_end","reason":"silence"})");
}

TEST(Names, EnumeratorsBecomeWords) {
  EXPECT_EQ(wire_name("kTakeBegin"), "take_begin");
  EXPECT_EQ(wire_name("kMidi"), "midi");
}

}  // namespace
}  // namespace undersong::protocol
