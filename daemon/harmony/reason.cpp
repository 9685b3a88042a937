#include "daemon/harmony/reason.h"

#include <array>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/words.h"

namespace undersong::harmony {

void write_reason(TextWriter& out, const Alternative& alternative, const MelodyPitches& melody,
                  const MelodyNames& names, const std::optional<Chord>& previous) {
  const Reason& reason = alternative.reason;
  for (std::size_t i = 0; i < melody.size() && i < alternative.degrees.size(); ++i) {
    if (i > 0) out.put(", ");
    out.put(
        word(i < names.size() ? names[i] : plain_name(alternative.root_name.above(alternative.degrees[i]))));
    out.put(" is its ");
    static constexpr Word kRoot("root");
    out.put(alternative.degrees[i] == Degree{1, 0} ? kRoot : word(alternative.degrees[i]));
  }
  if (previous && reason.relation != Relation::kNone) {
    out.put("; ");
    out.put(word(reason.relation));
    static constexpr Word kUnder(" under "), kAs(" as "), kFrom(" from ");
    out.put(reason.relation == Relation::kPedalPoint ? kUnder
            : reason.relation == Relation::kSameRoot ? kAs
                                                     : kFrom);
    out.put(word(reason.from));
    out.put(words(previous->quality).letters);
  }
  if (reason.key) {
    static constexpr std::array<Word, 5> kCount{Word("; stays in "), Word("; one tone outside "),
                                                Word("; two tones outside "), Word("; three tones outside "),
                                                Word("; four tones outside ")};
    static constexpr Word kMost("; most tones outside ");
    out.put(reason.outside < kCount.size() ? kCount[reason.outside] : kMost);
    out.put(word(*reason.key));
  }
  static constexpr Word kUsual("; usual here"), kRare("; rare here"), kNeither,
      kBack("; you came back to it");
  out.put(alternative.familiar >= kUsualFrom ? kUsual : alternative.familiar < kRareBelow ? kRare : kNeither);
  out.put(reason.liked > 0 ? kBack : kNeither);
}

void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const MelodyNames& names, const std::optional<Chord>& previous) {
  std::array<char, kLongestReason + TextWriter::kSlack> text;
  TextWriter writer(text.data());
  write_reason(writer, alternative, melody, names, previous);
  out.append(text.data(), writer.at());
}

}  // namespace undersong::harmony
