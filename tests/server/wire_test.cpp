#include "daemon/server/wire.h"

#include <gtest/gtest.h>
#include <cctype>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "daemon/midi/smf.h"
#include "daemon/server/music_wire.h"
#include "protocol/json.h"
#include "protocol/messages.h"
#include "protocol/schema.h"
#include "tests/base/times.h"
#include "tests/takes/store_fixture.h"

namespace undersong::server {
namespace {

using protocol::Unknown;
using takes::reading;

listen::Moment full_moment() {
  listen::Moment m;
  m.number = 7;
  m.at = us(123456789);
  m.harmony = listen::HarmonyInForce{reading(0, "min7", -3, 3), us(123000000), true};
  m.harmony->reading.root_name = harmony::NoteName(0);
  for (int i = 0; i < 5; ++i) m.readings.push_back(reading(i, "maj7", i));
  m.key = harmony::KeyReading{{PitchClass(6), harmony::Mode::kMinor}, 0.456789f};
  m.melody.push_back({Pitch(67), harmony::NoteName(1), {5, 0}, us(5), true});
  m.melody.push_back({Pitch(70), harmony::NoteName(-2), {7, -1}, us(6), false});
  m.held.push_back({Pitch(48), Velocity(61), true, us(7)});
  m.held.push_back({Pitch(67), Velocity(80), false, us(8)});
  harmony::Question question;
  for (const auto& note : m.melody) question.melody.push_back(note.pitch);
  question.key = m.key->key;
  question.previous = m.harmony->reading.chord;
  harmony::rank_alternatives(question, nullptr, m.alternatives);
  for (auto& alternative : m.alternatives) {
    alternative.voicing.left.push_back(Pitch(40));
    alternative.voicing.right.push_back(Pitch(67));
  }
  // One on another bass than its root.
  m.alternatives[2].chord.bass = transpose(m.alternatives[2].chord.root, 4);
  for (std::size_t i = 0; i < m.melody.size(); ++i) {
    m.under.push_back(m.melody[i].pitch);
    m.under_names.push_back(m.melody[i].name);
  }
  m.alternatives[1].tried = 3;
  m.alternatives_number = 12;
  m.wishes = {0.25f, -1, 0};
  m.returned.push_back(
      {{PitchClass(8), *harmony::find_quality("maj7"), PitchClass(8)}, harmony::NoteName(-4), 3, us(11)});
  m.returned.push_back(
      {{PitchClass(5), *harmony::find_quality("maj"), PitchClass(7)}, harmony::NoteName(-1), 2, us(10)});
  m.returned_number = 4;
  m.beat = listen::BeatNow{us(9), 96, .8f, 2, 4, listen::BeatSource::kTapped};
  m.still = true;
  return m;
}

TEST(Wire, AMomentSaysEverythingAndNothingUndescribed) {
  const listen::Moment m = full_moment();
  ASSERT_GE(m.alternatives.size(), 12u);
  {
    const Buffer message = moment_message(m);
    ASSERT_TRUE(message->ends_with("}\n"));
    const auto read = protocol::read_text<protocol::Moment>(params_of(*message), "moment", Unknown::kRefuse);
    ASSERT_TRUE(read) << read.error().sentence << *message;
    EXPECT_EQ(read->number, 7u);
    EXPECT_EQ(read->at, 123456789);
    ASSERT_TRUE(read->beat);
    EXPECT_EQ(read->beat->tempo, 96);
    EXPECT_EQ(read->beat->place, 3) << "people count from one";
    EXPECT_EQ(read->beat->source, protocol::BeatSource::kTapped);
    ASSERT_TRUE(read->chord);
    EXPECT_EQ(read->chord->harte, harmony::harte(m.harmony->reading.chord, m.harmony->reading.root_name));
    EXPECT_EQ(read->chord->quality, "min7");
    ASSERT_TRUE(read->chord->bass);
    EXPECT_EQ(*read->chord->bass, 3);
    EXPECT_EQ(read->chord->colour.size(), 2u);
    const auto as_elsewhere = [](const protocol::Chord& told, const harmony::Chord& chord,
                                 harmony::NoteName root) {
      EXPECT_EQ(protocol::to_json(told), protocol::to_json(chord_parts(chord, root)));
    };
    as_elsewhere(*read->chord, m.harmony->reading.chord, m.harmony->reading.root_name);
    for (std::size_t i = 0; i < m.readings.size(); ++i)
      as_elsewhere(read->readings[i], m.readings[i].chord, m.readings[i].root_name);
    EXPECT_EQ(read->chord->since, 123000000);
    EXPECT_TRUE(read->chord->sounding);
    EXPECT_EQ(read->readings.size(), 5u);
    EXPECT_EQ(read->key->harte, harmony::harte(m.key->key));
    EXPECT_EQ(read->key->mode, protocol::Mode::kMinor);
    EXPECT_DOUBLE_EQ(read->key->confidence, 0.457);
    ASSERT_EQ(read->melody.size(), 2u);
    EXPECT_EQ(read->melody[1].name, "Bb4");
    EXPECT_EQ(*read->melody[1].degree, "b7");
    EXPECT_FALSE(read->melody[1].held);
    ASSERT_EQ(read->held.size(), 2u);
    EXPECT_EQ(read->held[0].velocity, 61);
    EXPECT_FALSE(read->held[1].key_down);
    EXPECT_TRUE(read->still);
    EXPECT_DOUBLE_EQ(read->wishes.tenser, -1);
    EXPECT_EQ(read->alternatives_number, 12u);
    ASSERT_EQ(read->returned.size(), 2u);
    for (std::size_t i = 0; i < 2; ++i) {
      as_elsewhere(read->returned[i], m.returned[i].chord, m.returned[i].root_name);
      EXPECT_EQ(read->returned[i].times, m.returned[i].times);
      EXPECT_EQ(read->returned[i].last, m.returned[i].last.count());
    }
    ASSERT_EQ(read->alternatives.size(), m.alternatives.size());
    for (std::size_t i = 0; i < m.alternatives.size(); ++i) {
      const auto& a = read->alternatives[i];
      as_elsewhere(a, m.alternatives[i].chord, m.alternatives[i].root_name);
      EXPECT_EQ(a.colour, colour_words(m.alternatives[i].dark_bright, m.alternatives[i].resolved_tense));
      ASSERT_EQ(a.names.size(), 2u);
      const Pitch low(40);
      EXPECT_EQ(a.names[0], harmony::text(harmony::name_in(m.alternatives[i].chord,
                                                           m.alternatives[i].root_name, low.pitch_class()),
                                          low));
      EXPECT_EQ(a.names[1], "G4") << "the melody note has one name, whatever stands under it";
      EXPECT_EQ(a.degrees.size(), m.alternatives[i].degrees.size());
      EXPECT_NEAR(a.familiar, static_cast<double>(m.alternatives[i].familiar), 0.0006);
      EXPECT_GT(a.reason.size(), 3u);
      EXPECT_EQ(a.right.back(), 67);
      EXPECT_EQ(a.tried, i == 1);
      EXPECT_EQ(a.tries.value, i == 1 ? 3 : 0);
    }
    // The text has the same content as the one written through protocol::Moment.
    EXPECT_EQ(*protocol::parse(protocol::to_json(*read)), *protocol::parse(params_of(*message)));
  }
}

TEST(Wire, AListThatIsKeptReadsAsOneWrittenAnew) {
  const auto file = midi::read_smf_file(UNDERSONG_SOURCE_DIR "/configs/demo.mid");
  ASSERT_TRUE(file);
  listen::Analysis analysis;
  ListText list;
  std::size_t moments = 0, lists = 0;
  std::uint32_t newest = 0;
  const auto compare = [&] {
    const auto& moment = analysis.moment();
    ASSERT_EQ(*moment_message(moment, list), *moment_message(moment)) << "moment " << moment.number;
    ++moments;
    lists += std::exchange(newest, moment.alternatives_number) != moment.alternatives_number;
  };
  for (const auto& event : midi::merged_events(*file)) {
    while (const auto due = analysis.next_deadline()) {
      if (*due > event.at) break;
      if (analysis.advance(*due)) compare();
    }
    if (analysis.event(event)) compare();
    if (HasFatalFailure()) return;
  }
  EXPECT_GT(lists, 100u);
  EXPECT_GT(moments, 2 * lists);
}

TEST(Wire, AnEmptyMomentHasTheSameShape) {
  const auto read =
      protocol::read_text<protocol::Moment>(params_of(*moment_message({})), "moment", Unknown::kRefuse);
  ASSERT_TRUE(read) << read.error().sentence;
  EXPECT_FALSE(read->chord);
  EXPECT_FALSE(read->key);
}

TEST(Wire, EveryKindOfLineIsDescribed) {
  using namespace takes;
  const listen::Moment m = full_moment();
  const std::vector<std::pair<Entry, protocol::LineKind>> entries{
      {take_begin(us(1), 1'790'000'000'000), protocol::LineKind::kTakeBegin},
      {note(2, 60), protocol::LineKind::kMidi},
      {chord_in_force(us(3), reading(11, "hdim7", 5, 2)), protocol::LineKind::kChord},
      {key_heard(us(4), *m.key), protocol::LineKind::kKey},
      {melody_note(m.melody[0], m.harmony->reading.chord), protocol::LineKind::kMelody},
      {melody_note(m.melody[0], std::nullopt), protocol::LineKind::kMelody},
      {alternatives_offered(us(5), 12, {m.melody.begin(), m.melody.end()}, m.alternatives),
       protocol::LineKind::kOffered},
      {alternative_tried(us(6), 12, m.alternatives[3], 3), protocol::LineKind::kTried},
      {mark(us(7), "a \"quoted\"\nmark"), protocol::LineKind::kMark},
      {chord_heard(us(7), {PitchClass(1), harmony::quality("9"), PitchClass(1)}, harmony::NoteName(-5)),
       protocol::LineKind::kHeard},
      {{us(8), takes::LineKind::kCorrection, "D:min7", {}}, protocol::LineKind::kCorrection},
      {{us(8), takes::LineKind::kRename, "title", {}}, protocol::LineKind::kRename},
      {{us(8), takes::LineKind::kAnnotate, "text", {}}, protocol::LineKind::kAnnotate},
      {{us(8), takes::LineKind::kDelete, "", {}}, protocol::LineKind::kDelete},
      {{us(8), takes::LineKind::kRestore, "", {}}, protocol::LineKind::kRestore},
      {take_end(us(9), EndReason::kSilence), protocol::LineKind::kTakeEnd}};
  for (const auto& [entry, kind] : entries) {
    const Line line{42, 3, entry.at, entry.kind, entry.data};
    const Buffer message = log_message(line);
    const auto read = protocol::read_text<protocol::Log>(params_of(*message), "log", Unknown::kRefuse);
    ASSERT_TRUE(read) << read.error().sentence << *message;
    EXPECT_EQ(read->number, 42u);
    EXPECT_EQ(read->take, 3u);
    EXPECT_EQ(read->kind, kind) << *message;
    EXPECT_EQ(*protocol::parse(protocol::to_json(*read)), *protocol::parse(params_of(*message))) << *message;
  }
  for (const auto& [family, name] : protocol::enum_names<protocol::Family>())
    EXPECT_EQ(takes::text(static_cast<harmony::Family>(family)), name);
  for (const auto& [style, name] : protocol::enum_names<protocol::VoicingStyle>()) {
    std::string core;  // the name without spaces, in lower case
    for (const char c : harmony::name(static_cast<harmony::Style>(style)))
      if (c != ' ') core += static_cast<char>(std::tolower(c));
    std::string wire = name;
    std::erase(wire, '_');
    EXPECT_EQ(core, wire);
  }
}

}  // namespace
}  // namespace undersong::server
