#include "daemon/listen/note_state.h"

#include "daemon/midi/source.h"

namespace undersong::listen {
namespace {
constexpr std::uint8_t kDamper = 64, kSostenuto = 66;
constexpr std::uint8_t kAllSoundOff = 120, kResetAllControllers = 121, kAllNotesOff = 123;
constexpr std::uint8_t kPedalDownFrom = 64;
}  // namespace

NoteState::NoteState() : channels_(std::size_t{256} * 16) {}

std::span<const NoteChange> NoteState::apply(const midi::Event& event) {
  const midi::Notice notice = midi::notice_of(event);
  if (notice == midi::Notice::kPortGone || notice == midi::Notice::kEnded || notice == midi::Notice::kLost) {
    return release_port(event.port);
  }
  change_count_ = 0;
  if (event.size == 3 && event.channel() != midi::kDrumChannel) {
    Channel& c = channel(event.port, event.channel());
    const Pitch pitch(event.bytes[1]);
    if (event.kind() == midi::kNoteOn && event.bytes[2] > 0) {
      strike(c, pitch, Velocity(event.bytes[2]), event.at);
    } else if (event.kind() == midi::kNoteOn || event.kind() == midi::kNoteOff) {
      if (c.down[index(pitch)]) {
        PitchSet down = c.down, sounding = c.sounding;
        down.reset(index(pitch));
        if (!c.damper && !c.latched[index(pitch)]) sounding.reset(index(pitch));
        reduce(c, down, sounding);
      }
    } else if (event.kind() == midi::kControlChange) {
      control(c, event.bytes[1], event.bytes[2]);
    }
  }
  return {changes_.data(), change_count_};
}

std::span<const NoteChange> NoteState::release_port(midi::PortNumber port) {
  change_count_ = 0;
  // All channels end together. A pitch held on two of them is reported once, because the counts reach 0 only
  // once.
  for (std::uint8_t number = 0; number < 16; ++number) {
    Channel& c = channel(port, number);
    if (c.damper) --dampers_;
    c.damper = c.sostenuto = false;
    c.latched.reset();
    reduce(c, {}, {});
  }
  return {changes_.data(), change_count_};
}

std::optional<Micros> NoteState::onset(Pitch pitch) const {
  if (!is_sounding(pitch)) return std::nullopt;
  return onset_[index(pitch)];
}

std::optional<Velocity> NoteState::velocity(Pitch pitch) const {
  if (!is_sounding(pitch)) return std::nullopt;
  return velocity_[index(pitch)];
}

void NoteState::strike(Channel& c, Pitch pitch, Velocity velocity, Micros at) {
  const std::size_t p = index(pitch);
  if (!c.down[p]) ++down_count_[p];
  if (!c.sounding[p]) ++sounding_count_[p];
  c.down.set(p), c.sounding.set(p);
  down_.set(p), sounding_.set(p);
  onset_[p] = at;
  velocity_[p] = velocity;
  note(NoteChange::Kind::kStruck, p);
}

void NoteState::control(Channel& c, std::uint8_t controller, std::uint8_t value) {
  if (controller == kDamper) {
    set_damper(c, value >= kPedalDownFrom);
  } else if (controller == kSostenuto) {
    set_sostenuto(c, value >= kPedalDownFrom);
  } else if (controller == kAllSoundOff) {
    c.latched.reset();
    reduce(c, {}, {});
  } else if (controller == kResetAllControllers) {
    // Both go up before the notes are looked at, so that neither hides the other's release.
    c.sostenuto = false;
    c.latched.reset();
    if (c.damper) --dampers_;
    c.damper = false;
    reduce(c, c.down, c.down);
  } else if (controller >= kAllNotesOff) {
    reduce(c, {}, c.damper ? c.sounding : c.sounding & c.latched);
  }
}

void NoteState::set_damper(Channel& c, bool down) {
  if (c.damper == down) return;
  c.damper = down;
  dampers_ += down ? 1 : -1;
  if (!down) reduce(c, c.down, c.sounding & (c.down | c.latched));
}

void NoteState::set_sostenuto(Channel& c, bool down) {
  if (c.sostenuto == down) return;
  c.sostenuto = down;
  if (down) {
    c.latched = c.down;
  } else {
    c.latched.reset();
    if (!c.damper) reduce(c, c.down, c.down);
  }
}

void NoteState::reduce(Channel& c, const PitchSet& down, const PitchSet& sounding) {
  const PitchSet went_up = c.down & ~down, stopped = c.sounding & ~sounding;
  if (went_up.none() && stopped.none()) return;
  c.down = down;
  c.sounding = sounding;
  for (std::size_t p = 0; p < 128; ++p) {
    if (went_up[p] && --down_count_[p] == 0) {
      down_.reset(p);
      note(NoteChange::Kind::kReleased, p);
    }
    if (stopped[p] && --sounding_count_[p] == 0) {
      sounding_.reset(p);
      note(NoteChange::Kind::kStopped, p);
    }
  }
}

void NoteState::note(NoteChange::Kind kind, std::size_t pitch) {
  changes_[change_count_++] = {kind, Pitch(static_cast<int>(pitch)), velocity_[pitch]};
}

}  // namespace undersong::listen
