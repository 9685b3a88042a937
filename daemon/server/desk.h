// What a client's request can ask of the rest of the daemon, besides the store. The app implements it.
//
// Threads: all calls come from the io thread, and answers must be given there; calls must be short.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/harmony/pitch.h"
#include "protocol/messages.h"

namespace undersong::server {

using ClientId = std::uint64_t;  // of a connection; never used again while the daemon runs

class Desk {
 public:
  template <class T>
  using Answer = std::function<void(Result<T>)>;

  virtual ~Desk() = default;

  // Ports, outputs, the take being played, still, settings; the server adds the store's health and the log's
  // end.
  virtual protocol::Status status() = 0;
  // On the clock of the event stream.
  virtual Micros now() = 0;
  // Answered with the line's number when it is on disk. Error when there is no take to end.
  virtual void mark(std::string text, Answer<std::uint64_t> answer) = 0;
  virtual void end_take(Answer<std::uint64_t> answer) = 0;
  // What is played, in Harte syntax; empty after `stop`.
  virtual Result<std::optional<std::string>> hear(const protocol::Hear& wish) = 0;
  // Answered when it begins.
  virtual void play_take(const protocol::PlayTake& wish, Answer<protocol::Playing> answer) = 0;
  // The loop is found aside; answered when it begins.
  virtual void play_along(const protocol::PlayAlong& wish, Answer<protocol::Playing> answer) = 0;
  virtual std::optional<protocol::BeatNow> tap() = 0;
  virtual void correct_beat(const protocol::CorrectBeat& wish, Answer<protocol::Corrected> answer) = 0;
  virtual void take_beats(std::optional<std::uint64_t> take, Answer<protocol::TakeBeats> answer) = 0;
  // True if something was being played.
  virtual bool stop_playing() = 0;
  virtual Result<protocol::ChordVoicings> voicings(const protocol::VoiceChord& wish) = 0;
  // Returns whether the list is still now.
  virtual bool hold(bool on) = 0;
  // Notes of a client's keyboard; returns how many were taken in.
  virtual Result<std::uint64_t> play(ClientId client, const std::vector<protocol::PlayedNote>& notes) = 0;
  // The connection is gone: what it still holds must be released.
  virtual void client_gone(ClientId client) = 0;
  virtual protocol::Settings settings() = 0;
  virtual Result<protocol::Settings> change_settings(const protocol::SetSettings& change) = 0;
  virtual protocol::Settings reset_settings(const protocol::ResetSettings& which) = 0;
};

}  // namespace undersong::server
