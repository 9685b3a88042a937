// The analysis: one event in, the moment out. The same code live and offline.
//
// Time is data. Whoever drives it must, before an event at time t, call advance(d) for every next_deadline()
// d <= t in order; Driver below does that, so that a file and a live performance give the same moments, event
// for event.
//
// Threads: none; one owner. Heap: at construction only (NoteState); none per event.
#pragma once

#include <optional>
#include <utility>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/ear.h"
#include "daemon/harmony/headline.h"
#include "daemon/harmony/melody.h"
#include "daemon/listen/moment.h"
#include "daemon/listen/note_state.h"
#include "daemon/midi/event.h"

namespace undersong::listen {

// Under which melody notes alternatives are sought.
enum class Under : std::uint8_t {
  kNote,  // the newest
  kTwo,   // the two newest while both are held or while they alternate
  kBar,   // all of the last bar, by how long they sounded
};

struct Settings {
  harmony::Wishes wishes;
  Under under = Under::kTwo;
  Micros bar{2'000'000};                         // how long a bar lasts
  harmony::Style style = harmony::Style::kOpen;  // of the voicings offered
  Micros offered_after{400'000};                 // a list that stood so long counts as offered
  std::optional<harmony::Key> key;               // pinned by the player: this one counts, whatever is heard
  // The chord in force is what the ear makes of the music, not what the keys of the moment sound: for bars
  // and loops.
  bool by_ear = false;
  bool names_only = false;  // only harmony, melody and key: no alternatives
};

// What the last call found, for whoever keeps it. Cleared at each call.
struct Findings {
  bool harmony = false;  // the chord in force changed
  bool key = false;
  FixedVector<MelodyNote, 4> melody;  // notes that joined the melody
  bool alternatives = false;          // the list changed
  bool offered = false;               // the list has stood long enough to count as offered
  struct Tried {
    harmony::Alternative alternative;
    std::size_t place = 0;   // in the list, from 0
    std::uint32_t list = 0;  // its alternatives_number
  };
  std::optional<Tried> tried;  // the chord in force has settled, and was in the list that stood before
};

class Analysis {
 public:
  explicit Analysis(Settings settings = {});

  // True if the moment changed.
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
  // The player pins the key, or frees it: then the one that is heard counts again. Ask `findings` afterwards,
  // as after an event.
  bool pin_key(Micros at, std::optional<harmony::Key> key);
  // Counts from the next list on.
  void set_bar(Micros length) { settings_.bar = length; }
  // A chord under the hands as they are now and under the melody notes of the list.
  harmony::Voicings voicings(const harmony::Chord& chord) const;
  harmony::Hands hands() const;
  // The player marked this moment: the chord in force is liked in this take.
  void mark();
  // A new take: what was tried, liked and heard is forgotten; the key and what sounds stay.
  void begin_take();

 private:
  // Takes over what the ear found at `at`; true if anything did.
  bool collect(Micros at);
  // While the ear knows of no melody note that is held, the highest held key stands for it after a while: a
  // player who holds a chord and listens means its top.
  bool hold_highest(Micros at);
  std::optional<Pitch> highest_held() const;
  std::optional<Micros> supposed_from() const;  // when that will be so if nothing is played until then
  void take_key();                              // the one in force: pinned, or heard
  void refresh_alternatives(Micros at);
  void write_moment(Micros at);
  MelodyNote described(MelodyNote note) const;  // with name and degree
  bool publish(Micros at);

  Settings settings_;
  NoteState notes_;
  struct InForce {
    harmony::Chord chord;
    float confidence = 0;
    Micros since{};
  };
  // The chord in force was meant: is it one of those that were offered under the melody note?
  void note_tried();

  // The ear counts from the first thing it hears, so that it hears the same whenever a stream begins.
  Micros to_ear(Micros at);
  Micros from_ear(Micros at) const { return at + origin_.value_or(Micros{}); }

  std::optional<Micros> origin_;
  harmony::Ear ear_;
  harmony::Headline headline_;
  std::optional<InForce> in_force_;
  harmony::StandingMelody melody_;
  bool damper_ = false;
  std::array<harmony::Tried, 12> tried_;  // by pitch class of the melody note
  harmony::Liked liked_;
  harmony::TakeMemory memory_;
  FixedVector<harmony::Chord, harmony::kChordsBefore> settled_;  // chords that were meant, newest first
  struct Sung {
    Pitch pitch;
    Micros onset{};
  };
  FixedVector<Sung, 24> sung_;  // the melody, newest last
  harmony::Phrase phrase_at(Micros at, Micros since) const;
  // The two notes that the melody goes to and fro between, the higher first; empty if it does not.
  harmony::MelodyPitches alternating(Micros at) const;
  bool ask_anew(Micros at);
  harmony::Question asked_;  // what the list in the moment answers
  Micros list_since_{};
  bool list_offered_ = true;
  harmony::Alternatives offered_;  // the last list that stood long enough
  harmony::Question offered_question_;
  std::uint32_t offered_number_ = 0;
  std::optional<Micros> settled_from_;  // the chord in force counts as meant from then
  Findings findings_;
  Moment moment_;
};

// Gives an Analysis its deadlines at their exact times between the events. `Each` is called as each(const
// Analysis&) after every call that changed the moment or found something.
template <class Each>
void drive(Analysis& analysis, const midi::Event& event, Each each) {
  while (const auto due = analysis.next_deadline()) {
    if (*due > event.at) break;
    if (analysis.advance(*due)) each(std::as_const(analysis));
  }
  if (analysis.event(event)) each(std::as_const(analysis));
}
// The same for time alone.
template <class Each>
void drive(Analysis& analysis, Micros until, Each each) {
  while (const auto due = analysis.next_deadline()) {
    if (*due > until) break;
    if (analysis.advance(*due)) each(std::as_const(analysis));
  }
}

}  // namespace undersong::listen
