// The desk: where what is played meets what clients ask. It owns the analysis and answers the server's
// requests.
//
// Every event passes here once: orders are taken out of it, the analysis hears it, the log keeps it. Time is
// data: the owner calls `advance` when next_deadline() has come, and gives every event its own time. What the
// moment doesn't wait for, the log and the beat, is done by `catch_up`: after the moment was published, and
// before anything else is asked.
//
// Threads: the io thread only. Errors: sentences in Results; nothing throws but memory exhaustion.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/app/config.h"
#include "daemon/app/kept_settings.h"
#include "daemon/app/playback.h"
#include "daemon/listen/analysis.h"
#include "daemon/listen/controls.h"
#include "daemon/listen/meetings.h"
#include "daemon/listen/pulse.h"
#include "daemon/midi/echo_guard.h"
#include "daemon/midi/inputs.h"
#include "daemon/server/desk.h"
#include "daemon/song/studies.h"
#include "daemon/takes/along.h"
#include "daemon/takes/boundary.h"
#include "daemon/takes/corrected_beats.h"
#include "daemon/takes/store.h"

namespace undersong::app {

class Desk : public server::Desk {
 public:
  struct World {  // what the desk stands among; all outlive it
    midi::Inputs& inputs;
    takes::Store& store;
    midi::SharedEchoGuard& echoes;  // of what is sent to the output
    std::function<std::unique_ptr<midi::Sink>(const std::string& name)> open_output;
    std::function<void()> changed_output;  // called from another thread; output_changed() is wanted then
    std::function<void()> changed_moment, changed_status;
    std::function<void()>
        changed_deadline;  // next_deadline() may be earlier now although nothing was received
    std::function<std::int64_t()> utc_ms;
    // Runs work that takes long aside; what it returns is run on io. False when too much is waiting.
    std::function<bool(std::function<std::function<void()>()> work)> aside;
    std::shared_ptr<song::Studies> studies = std::make_shared<song::Studies>();  // touched aside only
    // What is heard comes from a file, perhaps faster or slower than it was played: until it has ended, time
    // is what its events say (file_source.h), and nothing falls due by the clock on the wall but what we play
    // ourselves.
    bool follows_file = false;
    std::function<void(std::string text)> keep_settings{};  // see kept_settings.h; may be empty
  };
  Desk(const Config& config, World world);

  void received(const midi::Event& event);
  void catch_up();
  void advance(Micros now);
  // The earliest time at which `advance` has something to do.
  std::optional<Micros> next_deadline() const;
  void output_changed() {
    playback_.output_changed();
    if (!playback_.playing()) round_.reset();
  }
  // The daemon stops: sounds are ended and the take is closed.
  void stop();
  // The settings that were kept, over those of the configuration. To be called before anything is played.
  void take_kept(const Config& with_kept);
  // New options; what can't change while running is left, and named.
  std::vector<std::string> reconfigure(const Config& config);
  // Lines that are on disk: the number of the take being played is known from them.
  void kept(const std::vector<takes::Line>& lines);

  // With the beat; valid until the next call.
  const listen::Moment& moment();

  protocol::Status status() override;
  Micros now() override;
  void mark(std::string text, Answer<std::uint64_t> answer) override;
  void end_take(Answer<std::uint64_t> answer) override;
  Result<std::optional<std::string>> hear(const protocol::Hear& wish) override;
  void play_take(const protocol::PlayTake& wish, Answer<protocol::Playing> answer) override;
  void play_along(const protocol::PlayAlong& wish, Answer<protocol::Playing> answer) override;
  std::optional<protocol::BeatNow> tap() override;
  void correct_beat(const protocol::CorrectBeat& wish, Answer<protocol::Corrected> answer) override;
  void take_beats(std::optional<std::uint64_t> take, Answer<protocol::TakeBeats> answer) override;
  bool stop_playing() override;
  Result<protocol::ChordVoicings> voicings(const protocol::VoiceChord& wish) override;
  bool hold(bool on) override;
  Result<std::uint64_t> play(server::ClientId client,
                             const std::vector<protocol::PlayedNote>& notes) override;
  void client_gone(server::ClientId client) override;
  protocol::Settings settings() override;
  Result<protocol::Settings> change_settings(const protocol::SetSettings& change) override;
  protocol::Settings reset_settings(const protocol::ResetSettings& which) override;

 private:
  struct OpenTake {
    Micros since{};
    std::int64_t begin_utc_ms = 0;
    std::uint64_t notes = 0;
    std::optional<takes::TakeId> id;
  };
  // The loop that is played along: where it stands.
  struct Round {
    takes::TakeId of = 0;
    takes::Along along;
    Micros begin{};
    int next = 1;  // pass that begins next
    Micros pass(int number) const { return begin + along.count_in + along.cycle * (number - 1); }
  };
  template <class T>
  void with_take_aside(
      std::optional<std::uint64_t> take, Answer<T> answer,
      std::function<std::function<void()>(const takes::Summary&, const song::TakeStudy&)> work);
  void advance_to(Micros at);
  void beat_changed(bool changed);
  void keep_clock(const listen::ToldBeat& beat);
  void begin_clock(Micros take_begins);
  void tap_at(Micros at);
  static std::vector<Pitch> keys_of(const std::vector<protocol::PitchNumber>& notes);
  // What is wrong with notes that a client gave; nothing when they are 1 to 16.
  static std::optional<Error> wrong_notes(const std::optional<std::vector<protocol::PitchNumber>>& notes,
                                          const std::string& where);
  listen::Correction correct_now(const takes::BeatLine& said);
  void correct_kept(const takes::BeatLine& said, takes::TakeId take, bool has_time,
                    Answer<protocol::Corrected> answer);
  std::optional<Micros> next_pass() const;
  void begin_pass();
  Velocity soft() const;
  void keep_findings();
  void keep_meetings(std::span<const listen::Meeting> meetings);
  void keep_loss(const midi::Event& notice);
  void remember_pedal(const midi::Event& event);
  void boundary(const takes::Boundary::Change& change, takes::EndReason reason);
  void obey(std::span<const listen::Order> orders);
  void mark_at(Micros at, std::string text, Answer<std::uint64_t> answer);
  void end_take_at(Micros at, takes::EndReason reason, Answer<std::uint64_t> answer);
  void sound(const harmony::Voicing& voicing);
  void sound(const std::vector<Pitch>& notes);
  harmony::Voicing styled(const harmony::Chord& chord, const std::vector<Pitch>& melody,
                          std::optional<protocol::VoicingStyle> wish) const;
  void apply(const Config& wanted);  // its settings, as far as they differ
  void keep_settings();

  Config config_;      // with what clients changed
  Config configured_;  // as the file says
  std::string kept_;   // of settings, what was handed over last
  World world_;
  listen::Analysis analysis_;
  listen::Meetings meetings_;
  listen::Pulse pulse_;
  std::uint64_t beat_changes_ = 0;
  listen::Moment shown_;
  std::optional<Round> round_;
  bool clock_kept_ = false;  // the take being played has a line about a clock
  listen::Controls controls_;
  takes::Boundary boundary_;
  Playback playback_;
  std::uint64_t play_asked_ = 0;  // counts; of two that are asked for the later one is played
  midi::Lane* client_lane_ = nullptr;
  std::map<server::ClientId, listen::PitchSet> client_keys_;
  std::vector<midi::Event> pedals_;  // that are down
  std::optional<OpenTake> take_;
  Micros latest_{};                                   // of all events
  bool in_file_ = false;                              // the file goes on
  std::map<midi::PortNumber, std::uint64_t> losses_;  // events of each input that a line says were lost
  std::optional<midi::Event> heard_;                  // by the analysis, and nobody else yet
  float player_velocity_ = 0;                         // slow mean of what is played; 0 before the first note
  std::uint32_t heard_list_ = 0;                      // hear_next goes through one list, then begins again
  std::size_t heard_next_ = 0;
};

}  // namespace undersong::app
