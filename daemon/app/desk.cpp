// Over 400 lines: every entry point here touches the same state, and they are easier to check against each
// other in one place.
#include "daemon/app/desk.h"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/rtmidi_source.h"

namespace undersong::app {
namespace {

constexpr float kVelocityMemory = 0.08f;  // share of the newest note in the mean
constexpr float kUnderPlayer = 0.8f;      // suggestions stay under the player's own loudness

bool strikes(const midi::Event& event) {
  return event.size == 3 && event.kind() == midi::kNoteOn && event.bytes[2] > 0 &&
         event.channel() != midi::kDrumChannel;
}

listen::Settings analysis_settings(const Config& config) {
  listen::Settings out;
  out.wishes = config.wishes;
  out.under = config.melody;
  out.style = config.voicing;
  out.key = config.key;
  return out;
}

listen::Controls controls_of(const Config& config) {
  auto made = listen::Controls::make(config.controls);  // the configuration has been checked
  return made ? std::move(*made) : listen::Controls();
}

}  // namespace

Desk::Desk(const Config& config, World world)
    : config_(config),
      configured_(config),
      world_(std::move(world)),
      analysis_(analysis_settings(config)),
      controls_(controls_of(config)),
      boundary_(std::chrono::duration_cast<Micros>(config.silence)),
      playback_(config.hear_output,
                {world_.open_output, world_.changed_output, world_.changed_status, world_.changed_deadline}),
      client_lane_(world_.inputs.lane("keys of a client")),
      in_file_(world_.follows_file) {}

// ---- what is played

void Desk::received(const midi::Event& event) {
  catch_up();
  latest_ = std::max(latest_, event.at);
  advance_to(event.at);
  const midi::Notice notice = midi::notice_of(event);
  if (notice == midi::Notice::kPortCame)
    for (const auto& port : world_.inputs.ports()) controls_.set_port_name(port.number, port.name);
  if (notice == midi::Notice::kNone && event.size == 0) return;
  if (notice == midi::Notice::kPortGone) world_.echoes.port_gone(event.port);
  if (notice == midi::Notice::kLost) world_.echoes.events_lost(event.port);
  // What a client sends us came over a socket, so it is no echo.
  if (notice == midi::Notice::kNone && (!client_lane_ || event.port != client_lane_->port())) {
    const auto verdict = world_.echoes.judge(event);
    if (verdict == midi::EchoGuard::Verdict::kEcho && take_)
      world_.store.append(takes::suspected_echo(event));
    if (verdict != midi::EchoGuard::Verdict::kPlayed) return;
  }
  if (listen::is_clock(event))
    return beat_changed(pulse_.clock(event));  // no music: it wakes nothing else and isn't kept

  const auto heard = controls_.apply(event);
  const bool consumed = heard.consumed;
  obey(heard.orders);
  if (!consumed) {
    if (analysis_.event(event)) world_.changed_moment();
    heard_ = event;
  }
  if (notice != midi::Notice::kNone) catch_up();
  if (notice == midi::Notice::kLost) keep_loss(event);
  if (notice == midi::Notice::kEnded) in_file_ = false;
  if (notice == midi::Notice::kEnded && take_) end_take_at(event.at, takes::EndReason::kRequest, {});
  if (notice != midi::Notice::kNone) world_.changed_status();
}

void Desk::catch_up() {
  if (!heard_) return;
  const midi::Event event = *std::exchange(heard_, std::nullopt);
  const bool struck = strikes(event);
  boundary(boundary_.played(event.at, struck, !analysis_.notes().silent()), takes::EndReason::kSilence);
  if (struck) {
    beat_changed(pulse_.note_on(event.at, Pitch(event.bytes[1] & 0x7F), Velocity(event.bytes[2] & 0x7F)));
    player_velocity_ += (player_velocity_ == 0 ? 1 : kVelocityMemory) *
                        (static_cast<float>(event.bytes[2]) - player_velocity_);
    if (take_) ++take_->notes;
  }
  remember_pedal(event);
  if (take_ && event.size > 0) world_.store.append(takes::midi_received(event));
  keep_findings();
}

void Desk::advance(Micros now) {
  catch_up();
  advance_to(in_file_ ? latest_ : now);
  playback_.advance(midi::steady_now());
  if (!playback_.playing()) round_.reset();  // so many rounds are over
}

void Desk::advance_to(Micros at) {
  // In the order in which they fall due, so that an event that comes late finds the same state as one that
  // does not.
  for (;;) {
    // While a loop is played along, its player may listen as long as he likes: the take goes on.
    const auto heard = analysis_.next_deadline(), ends = round_ ? std::nullopt : boundary_.next_deadline(),
               pressed = controls_.next_deadline(), beat = pulse_.next_deadline(), pass = next_pass();
    std::optional<Micros> first;
    for (const auto& due : {heard, ends, pressed, beat, pass})
      if (due && *due <= at && (!first || *due < *first)) first = due;
    if (!first) return;
    if (first == heard) {
      const auto number = analysis_.moment().number;
      analysis_.advance(*first);
      keep_findings();
      if (analysis_.moment().number != number) world_.changed_moment();
    } else if (first == pressed) {
      obey(controls_.advance(*first));
    } else if (first == beat) {
      beat_changed(pulse_.advance(*first));
    } else if (first == pass) {
      begin_pass();
    } else {
      boundary(boundary_.passed(*first), takes::EndReason::kSilence);
    }
  }
}

std::optional<Micros> Desk::next_deadline() const {
  if (in_file_) return playback_.next_deadline();
  std::optional<Micros> first;
  for (const auto& due :
       {analysis_.next_deadline(), round_ ? std::nullopt : boundary_.next_deadline(),
        controls_.next_deadline(), playback_.next_deadline(), pulse_.next_deadline(), next_pass()})
    if (due && (!first || *due < *first)) first = due;
  return first;
}

void Desk::keep_findings() {
  keep_meetings(meetings_.hear(analysis_));
  if (!take_) return;
  const auto& found = analysis_.findings();
  const auto& moment = analysis_.moment();
  if (found.key) world_.store.append(takes::key_heard(moment.at, *moment.key));
  if (found.harmony)
    world_.store.append(takes::chord_in_force(moment.harmony->since, moment.harmony->reading));
  const auto over = moment.harmony ? std::optional(moment.harmony->reading.chord) : std::nullopt;
  for (const auto& note : found.melody) world_.store.append(takes::melody_note(note, over));
  if (found.tried)
    world_.store.append(
        takes::alternative_tried(moment.at, found.tried->list, found.tried->alternative, found.tried->place));
  if (found.offered)
    world_.store.append(takes::alternatives_offered(moment.at, moment.alternatives_number,
                                                    {moment.melody.begin(), moment.melody.size()},
                                                    moment.alternatives));
}

void Desk::keep_meetings(std::span<const listen::Meeting> meetings) {
  if (!take_) return;
  for (const auto& met : meetings) world_.store.append(takes::meeting(met));
}

void Desk::keep_loss(const midi::Event& notice) {
  std::uint64_t events = midi::lost_events(notice);
  std::uint64_t& told = losses_[notice.port];
  if (events == midi::kManyLost) events = std::max(events, world_.inputs.dropped(notice.port) - told);
  told += events;
  std::string name;
  for (const auto& port : world_.inputs.ports())
    if (port.number == notice.port) name = port.name;
  spdlog::warn(
      "{} messages of \"{}\" were lost: they came faster than they could be taken. What sounded on it has "
      "been ended.",
      events, name);
  world_.store.append(takes::events_lost(notice.at, notice.port, name, events));
}

void Desk::remember_pedal(const midi::Event& event) {
  const bool pedal = event.size == 3 && event.kind() == midi::kControlChange &&
                     (event.bytes[1] == 64 || event.bytes[1] == 66);
  const midi::Notice notice = midi::notice_of(event);
  const bool gone = notice == midi::Notice::kPortGone || notice == midi::Notice::kLost;
  if (!pedal && !gone) return;
  std::erase_if(pedals_, [&](const midi::Event& held) {
    return held.port == event.port &&
           (gone || (held.status() == event.status() && held.bytes[1] == event.bytes[1]));
  });
  if (pedal && event.bytes[2] >= 64) pedals_.push_back(event);
}

// ---- takes

void Desk::boundary(const takes::Boundary::Change& change, takes::EndReason reason) {
  if (change.ended) {
    keep_meetings(meetings_.end_take(*change.ended));
    world_.store.append(takes::take_end(*change.ended, reason));
    take_.reset();
  }
  if (change.begun) {
    analysis_.begin_take();
    meetings_.begin_take(*change.begun);
    pulse_.begin_take(*change.begun);
    take_ = OpenTake{*change.begun, world_.utc_ms(), 0, std::nullopt};
    world_.store.append(takes::take_begin(*change.begun, take_->begin_utc_ms));
    if (const auto& key = analysis_.moment().key; key && key->pinned)
      world_.store.append(takes::key_heard(*change.begun, *key));
    // A pedal that was pressed before belongs to what is heard.
    for (midi::Event pedal : pedals_) {
      pedal.at = *change.begun;
      world_.store.append(takes::midi_received(pedal));
    }
    begin_clock(*change.begun);
  }
  if (change.begun && round_) {
    world_.store.append(takes::along_begins(*change.begun, round_->of, round_->along));
    if (round_->next > 1)
      world_.store.append(takes::pass_begins(round_->pass(round_->next - 1), round_->next - 1));
  }
  if (change.ended || change.begun) world_.changed_status();
}

void Desk::kept(const std::vector<takes::Line>& lines) {
  if (!take_ || take_->id) return;
  for (const auto& line : lines)
    if (line.kind == takes::LineKind::kTakeBegin && line.at == take_->since) {
      take_->id = line.take;
      world_.changed_status();
    }
}

void Desk::mark(std::string text, Answer<std::uint64_t> answer) {
  mark_at(now(), std::move(text), std::move(answer));
}

void Desk::mark_at(Micros at, std::string text, Answer<std::uint64_t> answer) {
  if (!take_) {
    if (answer) answer(unavailable("There is no take to mark: play something first."));
    return;
  }
  analysis_.mark();
  world_.store.append(takes::mark(at, std::move(text)), std::move(answer));
}

void Desk::end_take(Answer<std::uint64_t> answer) {
  end_take_at(now(), takes::EndReason::kRequest, std::move(answer));
}

void Desk::end_take_at(Micros at, takes::EndReason reason, Answer<std::uint64_t> answer) {
  const auto change = boundary_.end(at);
  if (!change.ended) {
    if (answer) answer(unavailable("There is no take to end: none is being played."));
    return;
  }
  keep_meetings(meetings_.end_take(*change.ended));
  world_.store.append(takes::take_end(*change.ended, reason), std::move(answer));
  take_.reset();
  world_.changed_status();
}

// ---- orders

void Desk::obey(std::span<const listen::Order> given) {
  const std::vector<listen::Order> orders(given.begin(),
                                          given.end());  // carrying one out may ask the controls again
  for (const listen::Order& order : orders) {
    switch (order.action) {
      case listen::Action::kMark: mark_at(order.pressed, "", {}); break;
      case listen::Action::kHoldStill: hold(!analysis_.moment().still); break;
      case listen::Action::kHearNext: (void)hear({}); break;
      case listen::Action::kTap: tap_at(order.pressed); break;
      case listen::Action::kBeatOne:
        (void)correct_now({order.pressed, takes::BeatWord::kOne, {}, 0, 0});
        break;
      case listen::Action::kPinKey: {
        const auto& key = analysis_.moment().key;
        if (!key) break;  // nothing heard yet
        protocol::SetSettings pin;
        pin.key = key->pinned ? std::string() : harmony::harte(key->key);
        (void)change_settings(pin);
        break;
      }
      case listen::Action::kEndTake: end_take_at(order.pressed, takes::EndReason::kRequest, {}); break;
    }
  }
}

bool Desk::hold(bool on) {
  if (analysis_.hold_still(now(), on)) {
    world_.changed_moment();
    world_.changed_status();
  }
  return analysis_.moment().still;
}

Result<std::optional<std::string>> Desk::hear(const protocol::Hear& wish) {
  if (wish.stop.value_or(false)) {
    playback_.stop_striking();
    return std::optional<std::string>();
  }
  const auto& moment = analysis_.moment();
  if (wish.list && *wish.list != moment.alternatives_number)
    return Error{ErrorCode::kConflict, "The list of alternatives has changed since: look again."};
  if (auto wrong = wrong_notes(wish.notes, "params.notes")) return *wrong;
  if (wish.notes && (wish.place || wish.voicing))
    return invalid_input(fmt::format("params.notes say what is played; leave params.{} out.",
                                     wish.place ? "place" : "voicing"));
  if (auto there = playback_.ready(); !there) return there.error();
  if (wish.notes) {
    std::optional<std::string> name;
    if (wish.harte) {
      const auto chord = harmony::parse_harte(*wish.harte);
      if (!chord) return invalid_input(fmt::format("\"{}\" is no chord in Harte syntax.", *wish.harte));
      name = harmony::harte(chord->chord, chord->root);
    }
    sound(keys_of(*wish.notes));
    return name;
  }
  if (wish.harte) {
    const auto chord = harmony::parse_harte(*wish.harte);
    if (!chord) return invalid_input(fmt::format("\"{}\" is no chord in Harte syntax.", *wish.harte));
    std::vector<Pitch> melody;
    for (const auto& note : moment.melody) melody.push_back(note.pitch);
    if (melody.empty())
      melody.emplace_back(60 + chord->chord.root.value() + (chord->chord.root.value() < 5 ? 12 : 0));
    sound(styled(chord->chord, melody, wish.voicing));
    return std::optional(harmony::harte(chord->chord, chord->root));
  }
  if (moment.alternatives.empty()) return unavailable("There are no alternatives yet: hold a melody note.");
  std::size_t place = 0;
  if (wish.place) {
    place = static_cast<std::size_t>(wish.place->value);
    if (place >= moment.alternatives.size())
      return not_found(fmt::format("The list has {} places, counted from 0; there is no place {}.",
                                   moment.alternatives.size(), place));
  } else {
    if (heard_list_ != moment.alternatives_number) heard_next_ = 0;
    place = heard_next_ % moment.alternatives.size();
  }
  heard_list_ = moment.alternatives_number;
  heard_next_ = place + 1;
  const auto& chosen = moment.alternatives[place];
  const std::vector<Pitch> under(moment.under.begin(), moment.under.end());
  sound(wish.voicing ? styled(chosen.chord, under, wish.voicing) : chosen.voicing);
  return std::optional(harmony::harte(chosen.chord, chosen.root_name));
}

// Soft at first: the configured loudness until something was played, then under the player's own.
Velocity Desk::soft() const {
  float velocity = static_cast<float>(config_.hear_velocity);
  if (player_velocity_ > 0) velocity = std::min(velocity * 1.5f, kUnderPlayer * player_velocity_);
  return Velocity(std::max(1, static_cast<int>(std::lround(velocity))));
}

harmony::Voicing Desk::styled(const harmony::Chord& chord, const std::vector<Pitch>& melody,
                              std::optional<protocol::VoicingStyle> wish) const {
  const auto style = wish ? static_cast<harmony::Style>(*wish) : config_.voicing;
  const harmony::Hands hands = analysis_.hands();
  if (auto made = harmony::voice(chord, melody, hands, style)) return *made;
  return harmony::voice(chord, melody, hands);
}

Result<protocol::ChordVoicings> Desk::voicings(const protocol::VoiceChord& wish) {
  const auto chord = harmony::parse_harte(wish.harte);
  if (!chord) return invalid_input(fmt::format("\"{}\" is no chord in Harte syntax.", wish.harte));
  protocol::ChordVoicings out;
  if (analysis_.moment().under.empty()) return out;
  for (const auto& made : analysis_.voicings(chord->chord)) {
    protocol::StyledVoicing voicing;
    voicing.style = static_cast<protocol::VoicingStyle>(made.style);
    for (Pitch note : made.voicing.left) voicing.left.emplace_back(note.value());
    for (Pitch note : made.voicing.right) voicing.right.emplace_back(note.value());
    voicing.hands_move = made.voicing.hands_move;
    out.voicings.push_back(std::move(voicing));
  }
  return out;
}

void Desk::sound(const harmony::Voicing& voicing) {
  std::vector<Pitch> notes(voicing.left.begin(), voicing.left.end());
  notes.insert(notes.end(), voicing.right.begin(), voicing.right.end());
  sound(notes);
}

void Desk::sound(const std::vector<Pitch>& notes) {
  const midi::Strike strike{soft(), std::chrono::duration_cast<Micros>(config_.hear_length), Micros(12'000),
                            0};
  playback_.strike(notes, strike);
}

void Desk::play_take(const protocol::PlayTake& wish, Answer<protocol::Playing> answer) {
  if (auto there = playback_.ready(); !there) return answer(there.error());
  world_.store.midi(wish.take, [this, wish, answer, asked = ++play_asked_](Result<takes::Store::Midi> take) {
    if (!take) return answer(take.error());
    if (asked != play_asked_)
      return answer(Error{ErrorCode::kConflict, "Something else was asked for meanwhile."});
    round_.reset();
    answer(playback_.play_take(
        *take, wish,
        Velocity(wish.velocity ? static_cast<int>(wish.velocity->value) : config_.hear_velocity)));
  });
}

bool Desk::stop_playing() {
  ++play_asked_;
  round_.reset();
  return playback_.stop();
}

// ---- clients' keys

Result<std::uint64_t> Desk::play(server::ClientId client, const std::vector<protocol::PlayedNote>& notes) {
  if (!client_lane_) return Error{ErrorCode::kExhausted, "There are too many inputs for a client's keys."};
  std::uint64_t taken = 0;
  auto& keys = client_keys_[client];
  for (const auto& note : notes) {
    const Pitch pitch(static_cast<int>(note.pitch.value));
    const Micros at = midi::steady_now();
    const bool on = note.on && note.velocity.value > 0;
    const bool fitted =
        client_lane_->push(on ? midi::note_on(at, 0, pitch, Velocity(static_cast<int>(note.velocity.value)))
                              : midi::note_off(at, 0, pitch));
    if (!fitted) break;
    keys[static_cast<std::size_t>(pitch.value())] = on;
    ++taken;
  }
  return taken;
}

void Desk::client_gone(server::ClientId client) {
  const auto found = client_keys_.find(client);
  if (found == client_keys_.end()) return;
  for (std::size_t key = 0; key < found->second.size(); ++key)
    if (found->second[key])
      client_lane_->push(midi::note_off(midi::steady_now(), 0, Pitch(static_cast<int>(key))));
  client_keys_.erase(found);
}

// ---- state and settings

Micros Desk::now() {
  return in_file_ && latest_ > Micros{} ? latest_ : std::max(latest_, midi::steady_now());
}

protocol::Status Desk::status() {
  protocol::Status out;
  for (const auto& port : world_.inputs.ports())
    if (!client_lane_ || port.number != client_lane_->port())
      out.ports.push_back(
          {port.number, port.name, port.connected, port.name == midi::PortsOptions().virtual_port});
  out.at = now().count();
  out.outputs.push_back(playback_.output());
  if (playback_.playing()) out.playing = *playback_.playing();
  if (take_)
    out.take = protocol::CurrentTake{take_->id, take_->since.count(), take_->begin_utc_ms, take_->notes};
  out.still = analysis_.moment().still;
  out.settings = settings();
  out.lost_events = world_.inputs.dropped();
  return out;
}

protocol::Settings Desk::settings() {
  protocol::Settings out;
  out.wishes = {config_.wishes.brighter, config_.wishes.tenser, config_.wishes.surprising};
  out.symbol_style = config_.symbol_style == harmony::SymbolStyle::kSigns ? protocol::SymbolStyle::kSigns
                                                                          : protocol::SymbolStyle::kLetters;
  out.hear_output = config_.hear_output;
  out.hear_velocity = config_.hear_velocity;
  out.settle_ms = config_.settle.count();
  out.melody = static_cast<protocol::MelodySpan>(config_.melody);
  out.voicing = static_cast<protocol::VoicingStyle>(config_.voicing);
  out.key = config_.key ? harmony::harte(*config_.key) : std::string();
  out.changed = differing(configured_, config_);
  return out;
}

void Desk::apply(const Config& wanted) {
  catch_up();
  const bool other_output = wanted.hear_output != config_.hear_output;
  config_ = with(config_, wanted, differing(config_, wanted));
  analysis_.set_under(now(), config_.melody);
  analysis_.set_style(now(), config_.voicing);
  analysis_.set_wishes(now(), config_.wishes);
  if (analysis_.pin_key(now(), config_.key)) keep_findings();
  if (other_output) playback_.set_output(config_.hear_output);
  world_.changed_moment();
  world_.changed_status();
}

void Desk::keep_settings() {
  if (!world_.keep_settings) return;
  std::string text = kept_text(configured_, config_);
  if (text == kept_) return;
  kept_ = text;
  world_.keep_settings(std::move(text));
}

void Desk::take_kept(const Config& with_kept) {
  apply(with_kept);
  kept_ = kept_text(configured_, config_);
}

Result<protocol::Settings> Desk::change_settings(const protocol::SetSettings& change) {
  const auto wanted = changed(config_, change);
  if (!wanted) return wanted.error();
  apply(*wanted);
  keep_settings();
  return settings();
}

protocol::Settings Desk::reset_settings(const protocol::ResetSettings& which) {
  apply(with(config_, configured_, which.names ? *which.names : differing(configured_, config_)));
  keep_settings();
  return settings();
}

std::vector<std::string> Desk::reconfigure(const Config& fresh) {
  std::vector<std::string> needs_restart;
  const auto fixed = [&](bool differs, const char* name) {
    if (differs) needs_restart.emplace_back(name);
  };
  fixed(fresh.takes_file != config_.takes_file, "takes.file");
  fixed(fresh.socket != config_.socket, "server.socket");
  fixed(fresh.web_port != config_.web_port, "server.web_port");
  fixed(fresh.web_address != config_.web_address, "server.web_address");
  fixed(fresh.token != config_.token, "server.token");
  fixed(fresh.inputs != config_.inputs, "midi.inputs");
  fixed(fresh.service != config_.service, "midi.service");
  fixed(fresh.virtual_input != config_.virtual_input, "midi.virtual_input");
  controls_ = controls_of(fresh);
  for (const auto& port : world_.inputs.ports()) controls_.set_port_name(port.number, port.name);
  boundary_.set_silence(std::chrono::duration_cast<Micros>(fresh.silence));
  config_.controls = fresh.controls;
  config_.silence = fresh.silence;
  config_.hear_length = fresh.hear_length;
  // What was edited in the file takes the place of what a client changed; the rest of that stays.
  const Config wanted = with(config_, fresh, differing(configured_, fresh));
  configured_ = fresh;
  apply(wanted);
  keep_settings();
  return needs_restart;
}

void Desk::stop() {
  playback_.stop_striking();
  stop_playing();
  if (take_) end_take_at(now(), takes::EndReason::kStop, {});
}

}  // namespace undersong::app
