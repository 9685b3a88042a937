#include "daemon/app/playback.h"

#include <fmt/format.h>

#include "daemon/midi/source.h"
#include "daemon/takes/replay.h"

namespace undersong::app {
namespace {

double seconds(std::int64_t us) {
  return static_cast<double>(us) / 1e6;
}

}  // namespace

Playback::Playback(std::string output, World world)
    : name_(std::move(output)),
      world_(std::move(world)),
      sender_(world_.open_output(name_), world_.changed_output) {}

Result<void> Playback::ready() {
  if (sender_.connected()) return {};
  sender_.look();  // it may have come just now; whoever asks again will find it
  const std::string why = sender_.trouble();
  return unavailable(why.empty() ? std::string("The MIDI output is not there.") : why);
}

void Playback::set_output(const std::string& name) {
  if (name == name_) return;
  stop();
  stop_striking();
  name_ = name;
  sender_.use(world_.open_output(name_));
  world_.changed_status();
}

void Playback::output_changed() {
  if (!sender_.connected()) playing_.reset();  // it went with the output
  world_.changed_status();
}

protocol::OutputPort Playback::output() const {
  std::string name = sender_.port_name();
  if (name.empty()) name = name_.empty() ? "Undersong out" : name_;
  return {name, sender_.connected(), sender_.trouble()};
}

void Playback::strike(std::span<const Pitch> chord, const midi::Strike& strike) {
  audition_.play(chord, strike, midi::steady_now(), send());
  world_.changed_deadline();  // the other notes, and the end
}

void Playback::stop_striking() {
  audition_.stop(midi::steady_now(), send());
}

Result<protocol::Playing> Playback::play_take(const takes::Store::Midi& take, const protocol::PlayTake& wish,
                                              Velocity velocity) {
  if (auto there = ready(); !there) return there.error();
  const auto& summary = take.detail.summary;
  const std::int64_t length = std::max<std::int64_t>(0, (summary.last_at - summary.at).count());
  const std::int64_t from = wish.from_us.value_or(0), to = std::min(wish.to_us.value_or(length), length);
  if (from < 0 || from >= to)
    return invalid_input(
        fmt::format("Take {} lasts {:.1f} s; there is nothing in it from {:.1f} s to {:.1f} s.", summary.take,
                    seconds(length), seconds(from), seconds(wish.to_us.value_or(length))));
  auto score = std::make_shared<midi::Score>(takes::replay(
      take.events, summary.at + Micros(from), summary.at + Micros(to), velocity, wish.held.value_or(false)));
  stop_striking();
  const Micros begin = midi::steady_now() + kLead;
  ends_ = begin + score->length;
  sender_.play(std::move(score), begin);
  playing_ = protocol::Playing{summary.take, begin.count(), from, to, std::nullopt};
  world_.changed_status();
  world_.changed_deadline();
  return *playing_;
}

Result<protocol::Playing> Playback::play_along(takes::TakeId of, const takes::Along& along, bool listen) {
  if (auto there = ready(); !there) return there.error();
  stop_striking();
  const Micros begin = midi::steady_now() + kLead;
  sender_.play(std::make_shared<midi::Score>(along.score), begin);
  ends_ = along.rounds > 0 ? begin + along.score.length : Micros::max();
  protocol::PlayingAlong out;
  out.tempo = along.tempo;
  out.meter = along.meter;
  out.count_in_us = along.count_in.count();
  out.cycle_us = along.cycle.count();
  for (const auto& chord : along.chords) out.chords.push_back({chord.at.count(), chord.harte});
  if (along.rounds > 0) out.rounds = static_cast<std::uint32_t>(along.rounds);
  out.given = along.given;
  out.listen = listen;
  playing_ = protocol::Playing{of, begin.count(), 0, 0, std::move(out)};
  world_.changed_status();
  world_.changed_deadline();
  return *playing_;
}

bool Playback::stop() {
  const bool was = playing_.has_value();
  if (was) {
    playing_.reset();
    sender_.stop();
    world_.changed_status();
  }
  return was;
}

void Playback::advance(Micros now) {
  audition_.advance(now, send());
  if (playing_ && ends_ <= now) {
    playing_.reset();
    world_.changed_status();
  }
}

std::optional<Micros> Playback::next_deadline() const {
  auto next = audition_.next_deadline();
  if (playing_ && ends_ != Micros::max() && (!next || ends_ < *next)) next = ends_;
  return next;
}

}  // namespace undersong::app
