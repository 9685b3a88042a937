#include "daemon/live/stage.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <utility>

#include "daemon/midi/source.h"

namespace undersong::live {
namespace {

constexpr float kWishStep = 0.25f;  // how far one press moves a wish; common practice, no source

Micros micros(auto duration) {
  return std::chrono::duration_cast<Micros>(duration);
}

}  // namespace

Stage::Stage(const StageOptions& options, World world)
    : world_(std::move(world)),
      settings_(options.settings, {[this] { use_settings(); }, world_.keep_settings}),
      client_keys_(world_.inputs),
      recorder_(micros(options.silence), {world_.store, world_.inputs, world_.utc_ms, world_.changed_status}),
      performance_(options.settings, {.inputs = world_.inputs,
                                      .echoes = world_.echoes,
                                      .recorder = recorder_,
                                      .clients = client_keys_.port(),
                                      .changed_moment = world_.changed_moment,
                                      .changed_status = world_.changed_status,
                                      .changed_deadline = world_.changed_deadline,
                                      .obey = [this](const listen::Order& order) { obey(order); },
                                      .follows_file = world_.follows_file}),
      player_({performance_, recorder_, settings_, world_.studies, world_.fetcher, world_.changed_deadline},
              {world_.open_output, world_.changed_output, world_.changed_status, world_.changed_deadline},
              micros(options.hear_length)),
      corrections_({performance_, recorder_, world_.studies}),
      own_({world_.store, [this](const takes::OwnIdiom& own) { performance_.use(own.memory); },
            [this](const std::string& sentence) {
              if (world_.say) world_.say(sentence);
            }}) {}

void Stage::advance(Micros now) {
  performance_.advance(now);
  player_.advance(midi::steady_now());
}

std::optional<Micros> Stage::next_deadline() const {
  const auto heard = performance_.next_deadline(), sounds = player_.next_deadline();
  return heard && sounds ? std::min(*heard, *sounds) : heard ? heard : sounds;
}

void Stage::obey(const listen::Order& order) {
  switch (order.action) {
    case listen::Action::kMark: performance_.mark(order.pressed, "", {}); break;
    case listen::Action::kUndoMark: performance_.undo_mark({}); break;
    case listen::Action::kHoldStill: performance_.hold(!performance_.moment().still); break;
    case listen::Action::kHearNext: hear(Step::kNext); break;
    case listen::Action::kHearPrevious: hear(Step::kPrevious); break;
    case listen::Action::kHearAgain: hear(Step::kAgain); break;
    case listen::Action::kBrighter: wish(&harmony::Wishes::brighter, kWishStep); break;
    case listen::Action::kDarker: wish(&harmony::Wishes::brighter, -kWishStep); break;
    case listen::Action::kMoreTense: wish(&harmony::Wishes::tenser, kWishStep); break;
    case listen::Action::kMoreResolved: wish(&harmony::Wishes::tenser, -kWishStep); break;
    case listen::Action::kMoreSurprising: wish(&harmony::Wishes::surprising, kWishStep); break;
    case listen::Action::kMoreFamiliar: wish(&harmony::Wishes::surprising, -kWishStep); break;
    case listen::Action::kNoWishes: {
      Settings wanted = settings_.now();
      wanted.wishes = {};
      settings_.change(wanted);
      break;
    }
    case listen::Action::kAlong: start_or_stop_along(); break;
    case listen::Action::kFindPlayed:
      ++finds_asked_;
      world_.changed_status();
      break;
    case listen::Action::kTap: performance_.tap(order.pressed); break;
    case listen::Action::kBeatOne:
      (void)performance_.correct({order.pressed, takes::BeatWord::kOne, {}, 0, 0});
      break;
    case listen::Action::kPinKey: pin_key(); break;
    case listen::Action::kEndTake:
      performance_.end_take(order.pressed, takes::EndReason::kRequest, {});
      break;
  }
}

// Pins the key that is heard, or frees a pinned key. Does nothing while no key is known.
void Stage::pin_key() {
  const auto& key = performance_.moment().key;
  if (!key) return;
  Settings wanted = settings_.now();
  wanted.key = key->pinned ? std::nullopt : std::optional(key->key);
  settings_.change(wanted);
}

void Stage::hear(Step step) {
  HearWish wish;
  wish.step = step;
  (void)player_.hear(wish);  // a pedal has no place for a refusal
}

void Stage::wish(float harmony::Wishes::*which, float by) {
  Settings wanted = settings_.now();
  wanted.wishes.*which = std::clamp(wanted.wishes.*which + by, -1.0f, 1.0f);
  settings_.change(wanted);
}

void Stage::start_or_stop_along() {
  if (player_.stop()) return;
  player_.play_along({}, [](Result<Playing> begun) {
    if (!begun) spdlog::info("No loop to play along with: {}", begun.error().message);
  });
}

void Stage::use_settings() {
  performance_.use(settings_.now());
  player_.use_output(settings_.now().hear_output);
  world_.changed_status();
}

void Stage::reconfigure(const StageOptions& options) {
  recorder_.set_silence(micros(options.silence));
  player_.set_hear_length(micros(options.hear_length));
  settings_.reconfigure(options.settings);
}

void Stage::stop() {
  player_.stop_hearing();
  player_.stop();
  if (recorder_.take()) performance_.end_take(performance_.now(), takes::EndReason::kStop, {});
}

}  // namespace undersong::live
