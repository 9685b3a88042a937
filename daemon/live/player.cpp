#include "daemon/live/player.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "daemon/midi/source.h"
#include "daemon/song/loop_of.h"

namespace undersong::live {
namespace {

constexpr float kUnderPlayer = 0.8f;  // of the player's own loudness; common practice, no source
constexpr Micros kRoll{12'000};       // between the notes of a chord; common practice, no source

std::vector<Pitch> notes_of(const harmony::Voicing& voicing) {
  std::vector<Pitch> notes(voicing.left.begin(), voicing.left.end());
  notes.insert(notes.end(), voicing.right.begin(), voicing.right.end());
  return notes;
}

Error overtaken() {
  return {ErrorCode::kConflict, "Something else was asked for meanwhile."};
}

}  // namespace

Player::Player(World world, Playback::World output, Micros hear_length)
    : world_(std::move(world)),
      hear_length_(hear_length),
      playback_(world_.settings.now().hear_output, std::move(output)) {}

// ---- suggestions

Result<std::optional<NamedChord>> Player::hear(const HearWish& wish) {
  auto heard = make_heard(wish);
  if (heard && *heard) world_.recorder.heard(world_.performance.now(), (*heard)->chord, (*heard)->root);
  return heard;
}

Result<std::optional<NamedChord>> Player::make_heard(const HearWish& wish) {
  const auto& moment = world_.performance.moment();
  if (wish.list && *wish.list != moment.alternatives_number)
    return Error{ErrorCode::kConflict, "The list of alternatives has changed since: look again."};
  if (auto there = playback_.ready(); !there) return there.error();
  if (!wish.notes.empty()) {
    sound(wish.notes);
    return wish.chord;
  }
  if (wish.chord) {
    std::vector<Pitch> melody;
    for (const auto& note : moment.melody) melody.push_back(note.pitch);
    const int root = wish.chord->chord.root.value();
    if (melody.empty()) melody.emplace_back(60 + root + (root < 5 ? 12 : 0));
    sound(styled(wish.chord->chord, melody, wish.voicing));
    return wish.chord;
  }
  const auto heard = hear_from_list(wish);
  if (!heard) return heard.error();
  return std::optional(*heard);
}

Result<NamedChord> Player::hear_from_list(const HearWish& wish) {
  const auto& moment = world_.performance.moment();
  if (wish.step == Step::kAgain && !wish.place && heard_) {
    sound(heard_->notes);
    return heard_->chord;
  }
  if (moment.alternatives.empty()) return unavailable("There are no alternatives yet: hold a melody note.");
  std::size_t place = 0;
  if (wish.place) {
    place = *wish.place;
    if (place >= moment.alternatives.size())
      return not_found(fmt::format("The list has {} places, counted from 0; there is no place {}.",
                                   moment.alternatives.size(), place));
  } else if (heard_ && heard_->list == moment.alternatives_number) {
    const std::size_t count = moment.alternatives.size();
    place = (heard_->place + (wish.step == Step::kPrevious ? count - 1 : 1)) % count;
  }
  const auto& chosen = moment.alternatives[place];
  const std::vector<Pitch> under(moment.under.begin(), moment.under.end());
  heard_ = Heard{moment.alternatives_number,
                 place,
                 {chosen.chord, chosen.root_name},
                 notes_of(wish.voicing ? styled(chosen.chord, under, wish.voicing) : chosen.voicing)};
  sound(heard_->notes);
  return heard_->chord;
}

// Until something was played: the loudness of the settings. Then softer than the player, and at most one and
// a half times the loudness of the settings.
Velocity Player::soft() const {
  auto velocity = static_cast<float>(world_.settings.now().hear_velocity);
  if (const float played = world_.performance.loudness(); played > 0)
    velocity = std::min(velocity * 1.5f, kUnderPlayer * played);
  return Velocity(std::max(1, static_cast<int>(std::lround(velocity))));
}

harmony::Voicing Player::styled(const harmony::Chord& chord, const std::vector<Pitch>& melody,
                                std::optional<harmony::Style> wish) const {
  const harmony::Hands hands = world_.performance.hands();
  if (auto made = harmony::voice(chord, melody, hands, wish.value_or(world_.settings.now().voicing)))
    return *made;
  return harmony::voice(chord, melody, hands);
}

void Player::sound(const harmony::Voicing& voicing) {
  sound(notes_of(voicing));
}

void Player::sound(const std::vector<Pitch>& notes) {
  playback_.strike(notes, midi::Strike{soft(), hear_length_, kRoll, 0});
}

// ---- takes and loops

void Player::play_take(const PlayWish& wish, Answer<Playing> answer) {
  if (auto there = playback_.ready(); !there) return answer(there.error());
  const Velocity velocity = wish.velocity.value_or(Velocity(world_.settings.now().hear_velocity));
  world_.fetcher.with_take<TakeScore>(
      wish.take,
      [this, answer, asked = ++play_asked_](Result<TakeScore> score) {
        if (!score) return answer(score.error());
        if (asked != play_asked_) return answer(overtaken());
        world_.recorder.along_is_over();
        answer(playback_.play(*score));
      },
      [span = wish.span, velocity](const takes::Store::Midi& take) {
        return score_of(take, span, velocity);
      });
}

void Player::play_song(const MakeSong& make, Answer<Playing> answer) {
  if (auto there = playback_.ready(); !there) return answer(there.error());
  make([this, answer, asked = ++play_asked_](Result<song::SongScore> song) {
    if (!song) return answer(song.error());
    if (asked != play_asked_) return answer(overtaken());
    world_.recorder.along_is_over();
    answer(playback_.play_song(*song));
  });
}

void Player::play_along(const AlongWish& wish, Answer<Playing> answer) {
  if (!wish.sounded_by)
    if (auto there = playback_.ready(); !there) return answer(there.error());
  takes::AlongWish how = wish.how;
  if (!wish.own_velocity) how.velocity = soft();
  using Found = std::pair<takes::TakeId, takes::Along>;
  world_.studies.with_study<Found>(
      wish.take,
      [this, answer, listen = wish.listen, by = wish.sounded_by, asked = ++play_asked_](Result<Found> found) {
        if (!found) return answer(found.error());
        if (asked != play_asked_) return answer(overtaken());
        const auto& [take, along] = *found;
        auto playing = playback_.play_along(take, along, listen, by.has_value());
        if (!playing) return answer(playing.error());
        sounded_by_ = by;
        world_.recorder.along_is_over();
        if (listen) return answer(*playing);
        if (world_.recorder.take())
          world_.performance.end_take(world_.performance.now(), takes::EndReason::kRequest, {});
        world_.recorder.play_along(take, along, playing->since);
        world_.changed_deadline();
        answer(*playing);
      },
      [how](const takes::Store::Midi& take, const song::TakeStudy& study) -> Result<Found> {
        const auto loop = song::loop_of(study);
        if (!loop) return loop.error();
        auto along = takes::accompaniment(**loop, study.beats, how);
        if (!along) return along.error();
        return Found(take.detail.summary.take, std::move(*along));
      });
}

void Player::gone(ClientId client) {
  if (sounded_by_ == client && playing() && playing()->along && playing()->along->by_client) stop();
}

bool Player::stop() {
  ++play_asked_;
  world_.recorder.along_is_over();
  return playback_.stop();
}

void Player::output_changed() {
  playback_.output_changed();
  if (!playback_.playing()) world_.recorder.along_is_over();
}

void Player::advance(Micros now) {
  playback_.advance(now);
  if (!playback_.playing()) world_.recorder.along_is_over();  // the last round is over
}

}  // namespace undersong::live
