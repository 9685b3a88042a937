#include "daemon/song/reharmonise.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"

namespace undersong::song {
namespace {

Micros at(double seconds) {
  return Micros(static_cast<std::int64_t>(seconds * 1e6));
}

// A take of chords of two seconds each, with a tune of equal notes over each. A beat is half a second.
struct Player {
  takes::HeardTake take;
  double now = 1;
  void chord(const std::string& harte, const std::vector<int>& tune, int transposed = 0) {
    const auto parsed = harmony::parse_harte(harte);
    const auto moved = [&](PitchClass pc) { return transpose(pc, transposed); };
    const auto name = harmony::spell_within(moved(parsed->root.pitch_class()), -5);
    take.spans.push_back({at(now),
                          at(now + 2),
                          {moved(parsed->chord.root), parsed->chord.quality, moved(parsed->chord.bass)},
                          name});
    const harmony::Chord& struck = take.spans.back().chord;
    take.notes.push_back({at(now), at(1.9), Pitch(36 + struck.bass.value()), Velocity(70)});
    for (int key = 48; key < 60; ++key)
      if (harmony::row(struck.quality).tones.transposed(struck.root.value()).contains(PitchClass(key)))
        take.notes.push_back({at(now), at(1.9), Pitch(key), Velocity(60)});
    for (std::size_t i = 0; i < tune.size(); ++i) {
      const double step = 2 / static_cast<double>(tune.size()), begin = now + step * static_cast<double>(i);
      const Pitch pitch(tune[i] + transposed);
      take.notes.push_back({at(begin), at(step - .02), pitch, Velocity(80)});
      take.melody.push_back({at(begin), pitch});
    }
    now += 2;
  }
};

struct Heard {
  takes::HeardTake take;
  takes::Loop loop;
  takes::Sections sections;
};
Heard found_in(const Player& player) {
  auto loop = takes::find_loop(player.take, {});
  EXPECT_TRUE(loop);
  Heard out{player.take, loop ? *loop : takes::Loop{}, {}};
  out.sections = takes::find_sections(out.take, out.loop);
  return out;
}

Heard four_chords() {
  Player player;
  for (int pass = 0; pass < 5; ++pass) {
    player.chord("A:min", {76, 72});
    player.chord("F:maj", {72, 69});
    player.chord("C:maj", {79, 76});
    player.chord("G:maj", {74, 71});
  }
  return found_in(player);
}

std::vector<std::string> symbols(const Proposal& made) {
  std::vector<std::string> out;
  for (const auto& chord : made.chords) out.push_back(harmony::symbol(chord.chord, chord.root));
  return out;
}

bool same_kind(const harmony::Chord& a, const harmony::Chord& b) {
  const auto kind = [](const harmony::Chord& c) {
    using harmony::Family;
    const Family family = harmony::row(c.quality).family;
    return family == Family::kMinor                                             ? 1
           : family == Family::kDiminished || family == Family::kHalfDiminished ? 2
                                                                                : 0;
  };
  return a.root == b.root && kind(a) == kind(b);
}
std::size_t differences(const Proposal& a, const Proposal& b) {
  std::size_t out = 0;
  for (std::size_t i = 0; i < a.chords.size(); ++i) out += !same_kind(a.chords[i].chord, b.chords[i].chord);
  return out;
}

void expect_sound(const Heard& heard, const Reharmonisation& found) {
  const std::size_t n = heard.loop.chords.size();
  std::vector<const Proposal*> all{&found.played};
  for (const auto& made : found.proposals) all.push_back(&made);
  for (std::size_t a = 0; a < all.size(); ++a)
    for (std::size_t b = a + 1; b < all.size(); ++b) EXPECT_GE(differences(*all[a], *all[b]), found.apart);
  for (std::size_t p = 0; p < found.proposals.size(); ++p) {
    const Proposal& made = found.proposals[p];
    ASSERT_EQ(made.chords.size(), n);
    EXPECT_FALSE(made.reason.empty());
    EXPECT_LE(made.score, found.proposals[p > 0 ? p - 1 : 0].score + 1e-9);
    for (std::size_t i = 0; i < n; ++i) {
      const auto& chord = made.chords[i];
      if (chord.kept) {
        EXPECT_EQ(chord.chord, heard.loop.chords[i].chord);
      }
      if (chord.chord == heard.loop.chords[i].chord) continue;
      for (const auto& note : chord.melody) {
        if (!note.is_long) continue;
        EXPECT_NE(note.role, harmony::Role::kAvoid)
            << harmony::symbol(chord.chord, chord.root) << " under " << harmony::text(note.name);
      }
      ASSERT_FALSE(chord.voicing.right.empty());
      EXPECT_EQ(chord.voicing.right.back(), found.melody.spans[i].top.value_or(chord.voicing.right.back()));
    }
  }
}

TEST(Reharmonise, GivesEightDifferentCyclesUnderTheSameMelody) {
  const Heard heard = four_chords();
  const auto found = reharmonise(heard.take, heard.loop, heard.sections, {});
  ASSERT_TRUE(found);
  EXPECT_EQ(found->proposals.size(), 8u);
  EXPECT_EQ(found->apart, 2u);
  EXPECT_TRUE(found->exact);
  ASSERT_TRUE(found->key);
  EXPECT_EQ(harmony::harte(*found->key), "C:maj");
  expect_sound(heard, *found);
}

TEST(Reharmonise, NeverContradictsALongNoteWhateverIsPlayed) {
  std::mt19937 random(11);
  std::size_t loops = 0, proposals = 0;
  const std::vector<const char*> qualities{"maj",  "min",   "7",        "maj7", "min7",
                                           "min9", "hdim7", "sus4(b7)", "maj9", "7(b9)"};
  const std::vector<const char*> roots{"C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"};
  for (int round = 0; round < 60; ++round) {
    Player player;
    const std::size_t n = 2 + random() % 5;
    std::vector<std::string> chords;
    std::vector<std::vector<int>> tunes(n);
    for (std::size_t i = 0; i < n; ++i) {
      chords.push_back(std::string(roots[(random() % 12 + i) % 12]) + ":" +
                       qualities[random() % qualities.size()]);
      for (std::size_t k = 1 + random() % 4; k > 0; --k)
        tunes[i].push_back(62 + static_cast<int>(random() % 20));
    }
    for (int pass = 0; pass < 5; ++pass)
      for (std::size_t i = 0; i < n; ++i) player.chord(chords[i], tunes[i]);
    const auto loop = takes::find_loop(player.take, {});
    if (!loop) continue;
    Heard heard{player.take, *loop, takes::find_sections(player.take, *loop)};
    ReharmoniseWish wish;
    wish.wishes = {static_cast<float>(random() % 3) - 1, static_cast<float>(random() % 3) - 1,
                   static_cast<float>(random() % 3) - 1};
    wish.roots = static_cast<RootMotion>(random() % 6);
    if (loop->chords.size() > 1 && random() % 2) wish.keep = {random() % loop->chords.size()};
    const auto found = reharmonise(heard.take, heard.loop, heard.sections, wish);
    if (!found) continue;  // only the played chords fit this melody
    ++loops;
    EXPECT_TRUE(found->exact);
    proposals += found->proposals.size();
    expect_sound(heard, *found);
  }
  EXPECT_GT(loops, 40u);
  EXPECT_GT(proposals, 250u);
}

TEST(Reharmonise, KeepsWhatIsAskedToStayAndCountsDifferenceOverTheRest) {
  const Heard heard = four_chords();
  ReharmoniseWish wish;
  wish.keep = {0, 2, 0};
  const auto found = reharmonise(heard.take, heard.loop, heard.sections, wish);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->free, 2u);
  EXPECT_EQ(found->apart, 1u);
  EXPECT_EQ(found->proposals.size(), 8u);
  for (const auto& made : found->proposals) {
    EXPECT_EQ(symbols(made)[0], "Am");
    EXPECT_EQ(symbols(made)[2], "C");
    EXPECT_TRUE(made.chords[0].kept);
  }
  expect_sound(heard, *found);
}

TEST(Reharmonise, WithoutAWishTheEightSpreadInColourAndMostKeepATonic) {
  const Heard heard = four_chords();
  const auto found = reharmonise(heard.take, heard.loop, heard.sections, {});
  ASSERT_TRUE(found);
  ASSERT_EQ(found->proposals.size(), 8u);
  const auto [dark, bright] =
      std::minmax_element(found->proposals.begin(), found->proposals.end(),
                          [](const auto& a, const auto& b) { return a.dark_bright < b.dark_bright; });
  EXPECT_GT(bright->dark_bright - dark->dark_bright, .15f);
  const auto [calm, tense] =
      std::minmax_element(found->proposals.begin(), found->proposals.end(),
                          [](const auto& a, const auto& b) { return a.resolved_tense < b.resolved_tense; });
  EXPECT_GT(tense->resolved_tense - calm->resolved_tense, .1f);
  int with_tonic = 0;
  for (const auto& made : found->proposals)
    with_tonic += std::any_of(made.chords.begin(), made.chords.end(),
                              [&](const auto& chord) { return chord.chord.root == found->key->tonic; });
  EXPECT_GE(with_tonic, 6);
  // Asked for motion by fifths, all roots but the closing one move by fifths: four fifths close no circle.
  for (const RootMotion motion : {RootMotion::kFallingFifths, RootMotion::kRisingFifths}) {
    ReharmoniseWish fifths;
    fifths.roots = motion;
    const auto moved = reharmonise(heard.take, heard.loop, heard.sections, fifths);
    ASSERT_TRUE(moved);
    int moves = 0;  // of three in each of the eight
    for (const auto& made : moved->proposals)
      for (std::size_t i = 0; i < 4; ++i)
        moves += moves_so(motion, made.chords[i].chord.root, made.chords[(i + 1) % 4].chord.root);
    EXPECT_GE(moves, 23) << text(motion);
  }
}

TEST(Reharmonise, WithoutAWishTheEightTogetherHaveTheKindsOfChordsOfTheLoop) {
  Player player;
  for (int pass = 0; pass < 5; ++pass) {
    player.chord("D:min7", {77, 72});
    player.chord("G:7", {74, 71});
    player.chord("C:maj7", {76, 71});
    player.chord("A:min7", {72, 76});
  }
  const Heard heard = found_in(player);
  const auto found = reharmonise(heard.take, heard.loop, heard.sections, {});
  ASSERT_TRUE(found);
  ASSERT_TRUE(found->key);
  ASSERT_EQ(harmony::harte(*found->key), "C:maj");
  ASSERT_EQ(found->proposals.size(), 8u);
  expect_sound(heard, *found);
  double dominants = 0, sevenths = 0, with_tonic = 0;
  for (const auto& made : found->proposals) {
    bool tonic = false;
    for (const auto& chord : made.chords) {
      const auto& row = harmony::row(chord.chord.quality);
      const bool major = row.family == harmony::Family::kMajor;
      dominants += row.family == harmony::Family::kDominant;
      sevenths += major && row.tones.contains(PitchClass(11));
      tonic |= major && chord.chord.root == found->key->tonic;
    }
    with_tonic += tonic;
  }
  EXPECT_NEAR(dominants / 32, .25, .125);
  EXPECT_NEAR(sevenths / 32, .25, .125);
  EXPECT_GE(with_tonic, 7);
}

TEST(Reharmonise, WishesMoveTheBestProposalTheirWay) {
  const Heard heard = four_chords();
  const auto best = [&](harmony::Wishes wishes) {
    ReharmoniseWish wish;
    wish.wishes = wishes;
    return reharmonise(heard.take, heard.loop, heard.sections, wish)->proposals[0];
  };
  float dark = -2, calm = -2;
  for (const float by : {-1.0f, -.5f, 0.0f, .5f, 1.0f}) {
    const auto bright = best({by, 0, 0}), tense = best({0, by, 0});
    EXPECT_GE(bright.dark_bright, dark - .02f) << by;
    EXPECT_GE(tense.resolved_tense, calm - .02f) << by;
    dark = bright.dark_bright, calm = tense.resolved_tense;
  }
  EXPECT_GT(best({1, 0, 0}).dark_bright, best({-1, 0, 0}).dark_bright + .2f);
  const auto outside = [](const Proposal& made) {
    int sum = 0;
    for (const auto& chord : made.chords) sum += chord.outside;
    return sum;
  };
  EXPECT_LE(outside(best({0, 0, -1})), outside(best({0, 0, 1})));
}

TEST(Reharmonise, RootsMoveAsWished) {
  const Heard heard = four_chords();
  for (int i = 1; i <= static_cast<int>(RootMotion::kSemitones); ++i) {
    const auto motion = static_cast<RootMotion>(i);
    const auto share = [&](RootMotion asked) {
      ReharmoniseWish wish;
      wish.roots = asked;
      const auto found = reharmonise(heard.take, heard.loop, heard.sections, wish);
      double sum = 0;
      for (const auto& made : found->proposals)
        for (std::size_t c = 0; c < made.chords.size(); ++c)
          sum += moves_so(motion, made.chords[c].chord.root,
                          made.chords[(c + 1) % made.chords.size()].chord.root);
      return sum / static_cast<double>(found->proposals.size() * 4);
    };
    EXPECT_GT(share(motion), share(RootMotion::kAny)) << text(motion);
    EXPECT_GE(share(motion), .5) << text(motion);
  }
}

TEST(Reharmonise, TheBassStaysOnTheNoteThatIsNamedOrOnTheBestOfAll) {
  const Heard heard = four_chords();
  const auto with = [&](Pedal pedal) {
    ReharmoniseWish wish;
    wish.pedal = pedal;
    wish.keep = {1};
    auto found = reharmonise(heard.take, heard.loop, heard.sections, wish);
    EXPECT_TRUE(found);
    return *found;
  };
  double best = -1e9;
  for (int bass = 0; bass < 12; ++bass) {
    const auto found = with({PitchClass(bass)});
    EXPECT_TRUE(found.exact);
    ASSERT_FALSE(found.proposals.empty());
    best = std::max(best, found.proposals[0].score);
    for (const auto& made : found.proposals) {
      EXPECT_EQ(made.pedal, PitchClass(bass));
      EXPECT_TRUE(made.reason.starts_with("the bass stays on ")) << made.reason;
      const Pitch key = made.chords[0].voicing.left[0];
      for (std::size_t i = 0; i < made.chords.size(); ++i) {
        const auto& chord = made.chords[i];
        EXPECT_EQ(chord.chord.bass, PitchClass(bass));
        EXPECT_EQ(chord.voicing.left[0].pitch_class(), PitchClass(bass));
        EXPECT_EQ(chord.voicing.left[0], key) << "one key, not only one name";
        EXPECT_EQ(chord.voicing.right.back(), found.melody.spans[i].top.value_or(chord.voicing.right.back()));
        const std::string symbol = harmony::symbol(chord.chord, chord.root);
        const auto slash = symbol.rfind('/');  // C/E, but C6/9
        const bool over_bass =
            slash != std::string::npos && symbol[slash + 1] >= 'A' && symbol[slash + 1] <= 'G';
        EXPECT_EQ(over_bass, chord.chord.root != PitchClass(bass)) << symbol;
        const auto again = harmony::parse_harte(harmony::harte(chord.chord, chord.root));
        ASSERT_TRUE(again);
        EXPECT_EQ(again->chord, chord.chord) << harmony::harte(chord.chord, chord.root);
        if (chord.kept) {
          EXPECT_TRUE(same_kind(chord.chord, heard.loop.chords[i].chord));
        } else {
          for (const auto& note : chord.melody)
            if (note.is_long && chord.changed) {
              EXPECT_NE(note.role, harmony::Role::kAvoid);
            }
        }
      }
    }
  }
  const auto any = with({});
  EXPECT_EQ(any.proposals.size(), 8u);
  EXPECT_NEAR(any.proposals[0].score, best, 1e-9) << "over all twelve";
  for (std::size_t a = 0; a < any.proposals.size(); ++a) {
    EXPECT_GE(differences(any.proposals[a], any.played), any.apart);
    for (std::size_t b = a + 1; b < any.proposals.size(); ++b)
      EXPECT_GE(differences(any.proposals[a], any.proposals[b]), any.apart);
    if (a > 0) {
      EXPECT_LE(any.proposals[a].score, any.proposals[a - 1].score + 1e-9);
    }
  }
  EXPECT_FALSE(any.played.pedal);
  EXPECT_EQ(parse_pedal("Bb")->note, PitchClass(10));
  EXPECT_FALSE(parse_pedal("any")->note);
  EXPECT_FALSE(parse_pedal("H"));
  EXPECT_FALSE(parse_pedal(""));
}

TEST(Reharmonise, TheMelodyOfATransposedPassCountsWhereItBelongs) {
  Player player;
  for (int pass = 0; pass < 6; ++pass) {
    const int moved = pass == 3 ? 2 : 0;
    player.chord("D:min7", {77}, moved);
    player.chord("G:7", {74}, moved);
    player.chord("C:maj7", {76}, moved);
    player.chord("A:7", {73}, moved);
  }
  const Heard heard = found_in(player);
  ASSERT_EQ(heard.loop.passes.size(), 6u);
  EXPECT_EQ(heard.loop.passes[3].transposed, 2);
  const Sung melody = sung(heard.take, heard.loop, heard.sections, "");
  ASSERT_EQ(melody.spans.size(), 4u);
  EXPECT_EQ(melody.passes, 6u);
  EXPECT_EQ(melody.spans[0].top, Pitch(77));
  EXPECT_EQ(melody.spans[0].long_notes.bits(), 1u << 5);
  EXPECT_EQ(melody.spans[3].long_notes.bits(), 1u << 1);
}

TEST(Reharmonise, ANoteHeldOverTheChangeCountsUnderBothChords) {
  Player player;
  for (int pass = 0; pass < 5; ++pass) {
    player.chord("D:min7", {77});
    player.take.notes.back().length = at(3.5);  // the tune is the last note of a chord
    player.chord("G:7", {});
  }
  const Heard heard = found_in(player);
  const Sung melody = sung(heard.take, heard.loop, heard.sections, "");
  EXPECT_TRUE(melody.spans[0].long_notes.contains(PitchClass(5)));
  EXPECT_TRUE(melody.spans[1].long_notes.contains(PitchClass(5)));
}

TEST(Reharmonise, SaysWhyItCannotBeDone) {
  const Heard heard = four_chords();
  const auto why = [&](ReharmoniseWish wish) {
    return reharmonise(heard.take, heard.loop, heard.sections, wish).error().message;
  };
  ReharmoniseWish wish;
  wish.keep = {1, 8};
  EXPECT_EQ(why(wish), "chord 9 can't be kept: the loop has 4 chords");
  wish.keep = {0, 1, 2, 3};
  EXPECT_EQ(why(wish), "all 4 chords are kept, so nothing is left to change");
  wish = {};
  wish.section = "Q";
  EXPECT_EQ(why(wish), "there is no section Q; there is A");
  wish = {};
  wish.count = 17;
  EXPECT_EQ(why(wish), "17 proposals are not possible; ask for 1 to 16");
  Player silent;
  for (int pass = 0; pass < 4; ++pass)
    silent.chord("D:min7", {}), silent.chord("G:7", {}), silent.chord("C:maj7", {});
  const Heard nothing = found_in(silent);
  EXPECT_EQ(reharmonise(nothing.take, nothing.loop, nothing.sections, {}).error().message,
            "there is no melody over the loop, so there is nothing to fit other chords to");
}

TEST(Reharmonise, TheDemoHasEightWays) {
  const auto file = midi::read_smf_file(std::string(UNDERSONG_SOURCE_DIR) + "/configs/demo.mid");
  ASSERT_TRUE(file);
  Heard heard;
  heard.take = takes::hear(midi::merged_events(*file));
  std::vector<Micros> changes;
  for (const auto& span : heard.take.spans) changes.push_back(span.begin);
  const auto loop = takes::find_loop(heard.take, takes::find_beats(heard.take.notes, changes));
  ASSERT_TRUE(loop);
  heard.loop = *loop;
  heard.sections = takes::find_sections(heard.take, heard.loop);
  const auto found = reharmonise(heard.take, heard.loop, heard.sections, {});
  ASSERT_TRUE(found);
  EXPECT_EQ(found->proposals.size(), 8u);
  EXPECT_TRUE(found->pulse);
  expect_sound(heard, *found);
}

}  // namespace
}  // namespace undersong::song
