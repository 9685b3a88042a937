#include "daemon/live/performance.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/source.h"

namespace undersong::live {
namespace {

// What sounded at a mark, and when: "Dbmaj7 under G, 0:46".
std::string words_of_mark(const listen::Moment& moment, Micros into_take) {
  std::string out;
  if (moment.harmony) out = harmony::symbol(moment.harmony->reading.chord, moment.harmony->reading.root_name);
  if (!moment.melody.empty()) {
    if (!out.empty()) out += " under ";
    out += harmony::text(moment.melody[0].name);
  }
  const auto seconds = std::max<std::int64_t>(0, into_take.count() / 1'000'000);
  return fmt::format("{}{}{}:{:02}", out, out.empty() ? "" : ", ", seconds / 60, seconds % 60);
}

constexpr float kLoudnessMemory = 0.08f;  // weight of the newest note in the mean; common practice, no source

bool strikes(const midi::Event& event) {
  return event.size == 3 && event.kind() == midi::kNoteOn && event.bytes[2] > 0 &&
         event.channel() != midi::kDrumChannel;
}

listen::Settings analysis_settings(const Settings& settings) {
  listen::Settings out;
  out.wishes = settings.wishes;
  out.under = settings.melody;
  out.style = settings.voicing;
  out.key = settings.key;
  out.lean = settings.lean;
  out.reach = settings.reach;
  return out;
}

listen::Controls controls_of(const std::vector<listen::Mapping>& mappings) {
  auto made = listen::Controls::make(mappings);  // cannot fail: the configuration was checked
  return made ? std::move(*made) : listen::Controls();
}

}  // namespace

Performance::Performance(const Settings& settings, World world)
    : world_(std::move(world)),
      recorder_(world_.recorder),
      analysis_(analysis_settings(settings)),
      mapped_(settings.controls),
      controls_(controls_of(mapped_)),
      in_file_(world_.follows_file),
      own_(settings.own) {}

// ---- what is played

void Performance::received(const midi::Event& event) {
  catch_up();
  latest_ = std::max(latest_, event.at);
  advance_to(event.at);
  const midi::Notice notice = midi::notice_of(event);
  if (notice == midi::Notice::kPortCame) name_ports();
  if (notice == midi::Notice::kNone && event.size == 0) {
    if (event.port == midi::kNoPort) world_.changed_status();  // see Inputs::set_trouble
    return;
  }
  if (notice == midi::Notice::kPortGone) world_.echoes.port_gone(event.port);
  if (notice == midi::Notice::kLost) world_.echoes.events_lost(event.port);
  if (notice == midi::Notice::kNone && event.port != world_.clients) {
    const auto verdict = world_.echoes.judge(event);
    if (verdict == midi::EchoGuard::Verdict::kEcho) recorder_.echo(event);
    if (verdict != midi::EchoGuard::Verdict::kPlayed) return;
  }
  if (event.size == 3 && event.kind() == midi::kNoteOn && event.bytes[2] > 0)
    last_note_[event.port] = event.at;
  if (listen::is_clock(event))
    return beat_changed(pulse_.clock(event));  // not music: only the pulse uses it, and it is not logged

  if (learning_)
    if (const auto message = listen::pressed(event)) learnt(*message);
  const auto heard = controls_.apply(event);
  const bool consumed = heard.consumed;
  obey(heard.orders);
  if (!consumed) {
    if (analysis_.event(event)) world_.changed_moment();
    heard_ = event;
  }
  if (notice == midi::Notice::kNone) return;
  catch_up();
  if (notice == midi::Notice::kLost) recorder_.lost(event);
  if (notice == midi::Notice::kEnded) in_file_ = false;
  if (notice == midi::Notice::kEnded && recorder_.take()) end_take(event.at, takes::EndReason::kRequest, {});
  world_.changed_status();
}

void Performance::catch_up() {
  if (!heard_) return;
  const midi::Event event = *std::exchange(heard_, std::nullopt);
  const bool struck = strikes(event);
  boundary(recorder_.played(event.at, struck, !analysis_.notes().silent()));
  if (struck) {
    beat_changed(pulse_.note_on(event.at, Pitch(event.bytes[1] & 0x7F), Velocity(event.bytes[2] & 0x7F)));
    loudness_ += (loudness_ == 0 ? 1 : kLoudnessMemory) * (static_cast<float>(event.bytes[2]) - loudness_);
  }
  recorder_.event(event, struck);
  keep_findings();
}

// ---- time

void Performance::advance(Micros now) {
  catch_up();
  advance_to(in_file_ ? latest_ : now);
}

void Performance::advance_to(Micros at) {
  for (;;) {
    const auto heard = analysis_.next_deadline(), pressed = controls_.next_deadline(),
               beat = pulse_.next_deadline(), recorded = recorder_.next_deadline();
    std::optional<Micros> first;
    const auto waited = learning_ ? std::optional(learning_->until) : std::nullopt;
    for (const auto& due : {heard, pressed, beat, recorded, waited})
      if (due && *due <= at && (!first || *due < *first)) first = due;
    if (!first) return;
    if (first == heard) {
      const auto number = analysis_.moment().number;
      analysis_.advance(*first);
      keep_findings();
      if (analysis_.moment().number != number) world_.changed_moment();
    } else if (first == pressed) {
      obey(controls_.advance(*first));
    } else if (first == waited) {
      learnt(unavailable("Nothing was pressed."));
    } else if (first == beat) {
      beat_changed(pulse_.advance(*first));
    } else {
      boundary(recorder_.advance(*first));
    }
  }
}

std::optional<Micros> Performance::next_deadline() const {
  if (in_file_) return std::nullopt;
  std::optional<Micros> first;
  for (const auto& due :
       {analysis_.next_deadline(), controls_.next_deadline(), pulse_.next_deadline(),
        recorder_.next_deadline(), learning_ ? std::optional(learning_->until) : std::nullopt})
    if (due && (!first || *due < *first)) first = due;
  return first;
}

Micros Performance::now() const {
  return in_file_ && latest_ > Micros{} ? latest_ : std::max(latest_, midi::steady_now());
}

// ---- takes

void Performance::keep_findings() {
  recorder_.meetings(meetings_.hear(analysis_));
  recorder_.findings(analysis_);
}

void Performance::boundary(const takes::Boundary::Change& change) {
  if (change.ended) {
    recorder_.meetings(meetings_.end_take(*change.ended));
    recorder_.end(*change.ended, takes::EndReason::kSilence);
  }
  if (!change.begun) return;
  analysis_.begin_take();
  meetings_.begin_take(*change.begun);
  pulse_.begin_take(*change.begun);
  const auto& key = analysis_.moment().key;
  recorder_.begin(*change.begun, key && key->pinned ? key : std::nullopt, pulse_.newest());
}

void Performance::mark(Micros at, std::string text, Answer<takes::LineNumber> answer) {
  if (recorder_.take()) {
    analysis_.mark();
    if (text.empty()) text = words_of_mark(analysis_.moment(), at - recorder_.take()->since);
  }
  recorder_.mark(at, std::move(text), std::move(answer));
}

void Performance::undo_mark(Answer<takes::LineNumber> answer) {
  recorder_.undo_mark(now(), std::move(answer));
}

void Performance::end_take(Micros at, takes::EndReason reason, Answer<takes::LineNumber> answer) {
  const auto change = recorder_.asked_to_end(at);
  if (!change.ended) {
    if (answer) answer(unavailable("There is no take to end: none is being played."));
    return;
  }
  recorder_.meetings(meetings_.end_take(*change.ended));
  recorder_.end(*change.ended, reason, std::move(answer));
}

// ---- the beat

const listen::Moment& Performance::moment() {
  shown_ = analysis_.moment();
  shown_.number += beat_changes_;
  shown_.beat = pulse_.now();
  if (shown_.beat) shown_.at = std::max(shown_.at, shown_.beat->at);
  return shown_;
}

void Performance::beat_changed(bool changed) {
  while (const auto beat = pulse_.take_beat()) recorder_.beat(*beat);
  if (!changed) return;
  // Suggestions may have to fit the melody of the last bar, so the analysis must know how long a bar is.
  if (const auto& beat = pulse_.now(); beat && beat->tempo > 0)
    analysis_.set_bar(Micros(60'000'000LL * beat->meter / beat->tempo));
  ++beat_changes_;
  world_.changed_moment();
}

void Performance::tap(Micros at) {
  beat_changed(pulse_.tap(at));
  if (pulse_.tapped()) recorder_.tapped(at, *pulse_.tapped());
  world_.changed_deadline();
}

listen::Correction Performance::correct(const takes::BeatLine& said) {
  using listen::Correction;
  Correction became = Correction::kNothing;
  switch (said.what) {
    case takes::BeatWord::kOne:
      became = pulse_.now() ? Correction::kDone : Correction::kNoPulse;
      if (became == Correction::kDone && said.meter != 0) became = pulse_.set_meter(said.at, said.meter);
      if (became == Correction::kDone) became = pulse_.beat_one(said.at);
      break;
    case takes::BeatWord::kTwice: became = pulse_.twice_as_fast(said.at); break;
    case takes::BeatWord::kHalf: became = pulse_.half_as_fast(said.at); break;
    case takes::BeatWord::kMeter: became = pulse_.set_meter(said.at, said.meter); break;
    case takes::BeatWord::kUndo: became = pulse_.undo(said.at); break;
    case takes::BeatWord::kTap:
    case takes::BeatWord::kClock: break;
  }
  beat_changed(became == Correction::kDone);
  world_.changed_deadline();
  return became;
}

// ---- what the player wants

void Performance::obey(std::span<const listen::Order> given) {
  const std::vector<listen::Order> orders(given.begin(), given.end());  // a copy: obeying may use controls_
  for (const listen::Order& order : orders) world_.obey(order);
}

void Performance::learn(Answer<listen::ControlMessage> answer) {
  if (learning_) learnt(Error{ErrorCode::kConflict, "Another client asked for the next press."});
  learning_ = Learning{std::move(answer), now() + kLearnFor};
  world_.changed_deadline();
}

void Performance::learnt(Result<listen::ControlMessage> what) {
  const Learning asked = *std::exchange(learning_, std::nullopt);
  asked.answer(std::move(what));
}

bool Performance::hold(bool on) {
  if (analysis_.hold_still(now(), on)) {
    world_.changed_moment();
    world_.changed_status();
  }
  return analysis_.moment().still;
}

harmony::Voicings Performance::voicings(const harmony::Chord& chord) const {
  return analysis_.moment().under.empty() ? harmony::Voicings() : analysis_.voicings(chord);
}

void Performance::use(const Settings& settings) {
  catch_up();
  analysis_.set_under(now(), settings.melody);
  analysis_.set_style(now(), settings.voicing);
  analysis_.set_wishes(now(), settings.wishes);
  analysis_.set_lean(now(), settings.lean);
  analysis_.set_reach(now(), settings.reach);
  if (std::exchange(own_, settings.own) != settings.own)
    analysis_.set_player(now(), own_ ? player_.get() : nullptr);
  if (analysis_.pin_key(now(), settings.key)) keep_findings();
  if (mapped_ != settings.controls) {  // otherwise what is pressed now stays known
    mapped_ = settings.controls;
    controls_ = controls_of(mapped_);
    name_ports();
  }
  world_.changed_moment();  // the style of the symbols may have changed
}

void Performance::use(std::shared_ptr<const harmony::PlayerMemory> player) {
  catch_up();
  // The list that stands stays as it is: nobody asked for another one.
  if (own_) analysis_.know_player(player.get());
  player_ = std::move(player);
}

void Performance::name_ports() {
  for (const auto& port : world_.inputs.ports()) controls_.set_port_name(port.number, port.name);
}

}  // namespace undersong::live
