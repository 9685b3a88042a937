#include "daemon/live/playback.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/midi/source.h"
#include "daemon/takes/replay.h"

namespace undersong::live {
namespace {

double seconds(Micros time) {
  return std::chrono::duration<double>(time).count();
}

}  // namespace

Result<TakeScore> score_of(const takes::Store::Midi& take, const TakeSpan& span, Velocity velocity) {
  const auto& summary = take.detail.summary;
  const Micros length = std::max(Micros(0), summary.last_at - summary.at);
  const Micros from = span.from.value_or(Micros(0)), to = std::min(span.to.value_or(length), length);
  if (from < Micros(0) || from >= to)
    return invalid_input(
        fmt::format("Take {} lasts {:.1f} s; there is nothing in it from {:.1f} s to {:.1f} s.", summary.take,
                    seconds(length), seconds(from), seconds(span.to.value_or(length))));
  return TakeScore{summary.take, from, to,
                   std::make_shared<const midi::Score>(
                       takes::replay(take.events, summary.at + from, summary.at + to, velocity, span.held))};
}

Playback::Playback(std::string output, World world)
    : name_(std::move(output)),
      world_(std::move(world)),
      sender_(world_.open_output(name_), world_.changed_output) {}

Result<void> Playback::ready() {
  if (sender_.listeners() == 0u) sender_.look();  // somebody may have connected to it since
  if (sender_.connected()) return {};
  sender_.look();  // the port may have just appeared; the next request would then succeed
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
  const bool silent = playing_ && playing_->along && playing_->along->by_client;
  if (!sender_.connected() && !silent) playing_.reset();  // the Sender dropped the score with the output
  world_.changed_status();
}

OutputState Playback::output() const {
  std::string name = sender_.port_name();
  if (name.empty()) name = name_.empty() ? "Undersong out" : name_;
  return {name, sender_.connected(), sender_.trouble(), sender_.listeners(), sender_.offered()};
}

void Playback::strike(std::span<const Pitch> chord, const midi::Strike& strike) {
  audition_.play(chord, strike, midi::steady_now(), send());
  world_.changed_deadline();  // later notes of a rolled chord, and the release
}

void Playback::stop_striking() {
  audition_.stop(midi::steady_now(), send());
}

Playing Playback::begin(std::shared_ptr<const midi::Score> score, Micros length, bool by_client) {
  stop_striking();
  Playing out;
  out.since = midi::steady_now() + (by_client ? kClientLead : kLead);
  ends_ = length == Micros::max() ? length : out.since + length;
  if (by_client)
    sender_.stop();
  else
    sender_.play(std::move(score), out.since);
  return out;
}

Result<Playing> Playback::play_span(std::shared_ptr<const midi::Score> score, Playing what) {
  if (auto there = ready(); !there) return there.error();
  const Micros length = score->length;
  what.since = begin(std::move(score), length).since;
  playing_ = std::move(what);
  world_.changed_status();
  world_.changed_deadline();
  return *playing_;
}

Result<Playing> Playback::play(const TakeScore& take) {
  Playing what;
  what.take = take.take;
  what.from = take.from;
  what.to = take.to;
  return play_span(take.score, std::move(what));
}

Result<Playing> Playback::play_song(const song::SongScore& song) {
  Playing what;
  what.from = song.from;
  what.to = song.to;
  what.song = Playing::Song{song.title, song.length, song.turns};
  return play_span(song.score, std::move(what));
}

Result<Playing> Playback::play_along(takes::TakeId of, const takes::Along& along, bool listen,
                                     bool by_client) {
  if (!by_client)
    if (auto there = ready(); !there) return there.error();
  const auto score = std::make_shared<const midi::Score>(along.score);
  playing_ = begin(score, along.rounds > 0 ? score->length : Micros::max(), by_client);
  playing_->take = of;
  playing_->along = Playing::Along{along.tempo,  along.meter, along.count_in, along.cycle, along.chords,
                                   along.rounds, along.given, listen,         by_client,   score};
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

}  // namespace undersong::live
