// Analysis: takes one event after another and keeps the Moment, everything that is known about what sounds
// now. The same code runs live and on files.
//
//   Analysis analysis;
//   drive(analysis, event, [&](const Analysis& a) { show(a.moment()); });
//
// Time is an argument. Before an event at time t, the caller must call advance(d) for every next_deadline() d
// <= t, in order. drive() below does that, so that a file and a live performance give the same moments, event
// for event.
//
// Units: Micros of one stream.
// Threads: one owner.
// Errors: none; all functions are total.
// Source: the parts in daemon/harmony name theirs; the times in analysis.cpp are common practice, no source.
// Memory: allocates at construction only (NoteState); nothing per event.
#pragma once

#include <optional>
#include <utility>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/ear.h"
#include "daemon/harmony/headline.h"
#include "daemon/harmony/melody.h"
#include "daemon/listen/moment.h"
#include "daemon/listen/note_state.h"
#include "daemon/listen/returns.h"
#include "daemon/midi/event.h"

namespace undersong::listen {

// The melody notes that a suggested chord must fit.
enum class Under : std::uint8_t {
  kNote,  // only the newest note
  kTwo,   // the two newest, while both are held or the melody alternates between them
  kBar,   // all notes of the last bar; longer notes count more
};

// Which harmony the ranking expects. Numbers are on the wire: never renumber.
enum class Lean : std::uint8_t {
  kFound,  // found from what is played
  kSongbook,
  kPop,
  kJazz,
  kOwn,  // what the player played in kept takes
};

struct Settings {
  harmony::Wishes wishes;
  Under under = Under::kTwo;
  Micros bar{2'000'000};                         // length of a bar
  harmony::Style style = harmony::Style::kOpen;  // the style of the suggested voicings
  Lean lean = Lean::kFound;
  int reach = harmony::kUsualReach;  // how far one hand stretches, in semitones
  Micros offered_after{400'000};     // a list counts as offered once it has stood this long
  std::optional<harmony::Key> key;   // pinned by the player; overrides the key that is heard
  // If true, the chord in force is the ear's, not the name of the keys under the hands. Used to find bars and
  // loops.
  bool by_ear = false;
  bool names_only = false;  // harmony, melody and key only; no alternatives
};

// What the last call found, for the log. Cleared by the next event, advance or change of a setting.
struct Findings {
  bool harmony = false;  // a new chord is in force
  bool key = false;
  FixedVector<MelodyNote, 4> melody;  // notes that joined the melody
  bool alternatives = false;          // the list of alternatives changed
  bool offered = false;               // the list has stood for offered_after
  struct Tried {
    harmony::Alternative alternative;
    std::size_t place = 0;   // place in the list, from 0
    std::uint32_t list = 0;  // alternatives_number of that list
  };
  // The chord in force has settled, and it was in the last list that counted as offered.
  std::optional<Tried> tried;
};

class Analysis {
 public:
  explicit Analysis(Settings settings = {});

  // True if the moment changed; advance also returns true for a finding that leaves the moment as it is.
  bool event(const midi::Event& event);
  bool advance(Micros at);
  std::optional<Micros> next_deadline() const;

  const Moment& moment() const { return moment_; }
  const Findings& findings() const { return findings_; }
  const NoteState& notes() const { return notes_; }

  // The player's wishes and commands. Each returns true if the moment changed.
  bool set_wishes(Micros at, harmony::Wishes wishes);
  bool hold_still(Micros at, bool still);
  bool set_under(Micros at, Under under);
  bool set_style(Micros at, harmony::Style style);
  bool set_lean(Micros at, Lean lean);
  bool set_reach(Micros at, int reach);
  // What the player played in earlier takes, or null; it must outlive its use here. set_player makes a new
  // list at once; know_player takes effect with the next one.
  bool set_player(Micros at, const harmony::PlayerMemory* player);
  void know_player(const harmony::PlayerMemory* player) { player_ = player; }
  // Pins the key, or frees it (nullopt) so that the key that is heard counts again. Read findings()
  // afterwards, as after an event.
  bool pin_key(Micros at, std::optional<harmony::Key> key);
  // Takes effect with the next list.
  void set_bar(Micros length) { settings_.bar = length; }
  // Voicings of a chord for the hands as they are now, under the melody notes of the list.
  harmony::Voicings voicings(const harmony::Chord& chord) const;
  harmony::Hands hands() const;
  // The player marked this moment: the chord in force counts as liked in this take.
  void mark();
  // Starts a new take: forgets what was tried, liked and heard. The key and the sounding notes stay.
  void begin_take();

 private:
  // Takes over what the ear found by `at`; true if it found anything.
  bool collect(Micros at);
  // While no melody note is held, the highest held key takes its place after a while: a player who holds a
  // chord and listens means its top note.
  bool hold_highest(Micros at);
  std::optional<Pitch> highest_held() const;
  // When hold_highest will take a key, if nothing is played until then.
  std::optional<Micros> supposed_from() const;
  void take_key();  // sets the key in force: the pinned one, or the one that is heard
  void refresh_alternatives(Micros at);
  void write_moment(Micros at);
  MelodyNote described(MelodyNote note) const;  // fills in name and degree
  bool publish(Micros at);

  Settings settings_;
  NoteState notes_;
  struct InForce {
    harmony::Chord chord;
    float confidence = 0;
    Micros since{};
  };
  // The chord in force has settled: looks it up in the list that was offered under the melody note.
  void note_tried();

  // The ear's times count from the first event, so that it gives the same result whenever a stream begins.
  Micros to_ear(Micros at);
  Micros from_ear(Micros at) const { return at + origin_.value_or(Micros{}); }

  std::optional<Micros> origin_;
  harmony::Ear ear_;
  harmony::Headline headline_;
  std::optional<InForce> in_force_;
  harmony::StandingMelody melody_;
  bool damper_ = false;
  std::array<harmony::Tried, 12> tried_;  // by pitch class of the melody note
  struct NewestTried {
    PitchClass under;
    harmony::Chord chord;
  };
  std::optional<NewestTried> newest_tried_;
  harmony::Liked liked_;
  Returns returns_;
  std::uint32_t returned_written_ = 0;  // number of the returns in the moment, and the key of their names
  std::optional<harmony::Key> returned_key_;
  void write_returned();
  harmony::TakeMemory memory_;
  const harmony::PlayerMemory* player_ = nullptr;
  FixedVector<harmony::Chord, harmony::kChordsBefore> settled_;  // chords that have settled, newest first
  struct Sung {
    Pitch pitch;
    Micros onset{};
  };
  FixedVector<Sung, 24> sung_;  // melody notes, newest last
  harmony::Phrase phrase_at(Micros at, Micros since) const;
  // The two notes between which the melody alternates, the higher one first; empty if it does not.
  harmony::MelodyPitches alternating(Micros at) const;
  bool ask_anew(Micros at);
  harmony::Question asked_;  // the question that the list in the moment answers
  Micros list_since_{};
  bool list_offered_ = true;
  harmony::Alternatives offered_;  // the last list that counted as offered
  harmony::Question offered_question_;
  std::uint32_t offered_number_ = 0;
  std::optional<Micros> settled_from_;  // when the chord in force will have settled
  Findings findings_;
  Moment moment_;
};

// Calls advance() for every deadline before the event, at its exact time, then event(). `each(const
// Analysis&)` is called on the calling thread after every call that changed the moment or found something.
template <class Each>
void drive(Analysis& analysis, const midi::Event& event, Each each) {
  while (const auto due = analysis.next_deadline()) {
    if (*due > event.at) break;
    if (analysis.advance(*due)) each(std::as_const(analysis));
  }
  if (analysis.event(event)) each(std::as_const(analysis));
}
// The same without an event, up to `until`.
template <class Each>
void drive(Analysis& analysis, Micros until, Each each) {
  while (const auto due = analysis.next_deadline()) {
    if (*due > until) break;
    if (analysis.advance(*due)) each(std::as_const(analysis));
  }
}

}  // namespace undersong::listen
