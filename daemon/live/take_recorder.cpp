#include "daemon/live/take_recorder.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <utility>

namespace undersong::live {

TakeRecorder::TakeRecorder(Micros silence, World world) : world_(std::move(world)), boundary_(silence) {}

// ---- where takes begin and end

std::optional<Micros> TakeRecorder::next_deadline() const {
  return round_ ? next_pass() : boundary_.next_deadline();
}

takes::Boundary::Change TakeRecorder::advance(Micros at) {
  if (!round_) return boundary_.passed(at);
  if (const auto pass = next_pass(); pass && *pass <= at) begin_pass();
  return {};
}

void TakeRecorder::begin(Micros at, const std::optional<harmony::KeyReading>& pinned,
                         const std::optional<listen::ToldBeat>& newest) {
  marks_.clear();
  take_ = OpenTake{at, world_.utc_ms(), 0, std::nullopt};
  world_.store.append(takes::take_begin(at, take_->begin_utc_ms));
  if (pinned) world_.store.append(takes::key_heard(at, *pinned));
  // Pedals that were pressed before the take shape its sound.
  for (midi::Event pedal : pedals_) {
    pedal.at = at;
    world_.store.append(takes::midi_received(pedal));
  }
  begin_clock(at, newest);
  if (round_) {
    world_.store.append(takes::along_begins(at, round_->of, round_->along));
    if (round_->next > 1)
      world_.store.append(takes::pass_begins(round_->pass(round_->next - 1), round_->next - 1));
  }
  world_.changed_status();
}

void TakeRecorder::end(Micros at, takes::EndReason reason, Answer<takes::LineNumber> answer) {
  world_.store.append(takes::take_end(at, reason), std::move(answer));
  take_.reset();
  world_.changed_status();
}

void TakeRecorder::kept(const std::vector<takes::Line>& lines) {
  if (!take_) return;
  for (const auto& line : lines) {
    if (!take_->id && line.kind == takes::LineKind::kTakeBegin && line.at == take_->since) {
      take_->id = line.take;
      world_.changed_status();
    }
    if (line.kind == takes::LineKind::kMark && take_->id == line.take) marks_.push_back(line.number);
    if (line.kind == takes::LineKind::kUnmark)
      std::erase_if(marks_, [&](takes::LineNumber mark) { return std::to_string(mark) == line.data; });
  }
}

// ---- what is written

void TakeRecorder::event(const midi::Event& event, bool struck) {
  if (take_ && struck) ++take_->notes;
  remember_pedal(event);
  if (take_ && event.size > 0) world_.store.append(takes::midi_received(event));
}

void TakeRecorder::echo(const midi::Event& event) {
  if (take_) world_.store.append(takes::suspected_echo(event));
}

void TakeRecorder::lost(const midi::Event& notice) {
  std::uint64_t events = midi::lost_events(notice);
  std::uint64_t& told = losses_[notice.port];
  if (events == midi::kManyLost) events = std::max(events, world_.inputs.dropped(notice.port) - told);
  told += events;
  std::string name;
  for (const auto& port : world_.inputs.ports())
    if (port.number == notice.port) name = port.name;
  spdlog::warn(
      "{} messages of \"{}\" were lost: they came faster than they could be processed. All notes that "
      "sounded on it were ended.",
      events, name);
  world_.store.append(takes::events_lost(notice.at, notice.port, name, events));
}

void TakeRecorder::findings(const listen::Analysis& analysis) {
  if (!take_) return;
  const auto& found = analysis.findings();
  const auto& moment = analysis.moment();
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

void TakeRecorder::meetings(std::span<const listen::Meeting> meetings) {
  if (!take_) return;
  for (const auto& met : meetings) world_.store.append(takes::meeting(met));
}

void TakeRecorder::mark(Micros at, std::string text, Answer<takes::LineNumber> answer) {
  if (take_) return world_.store.append(takes::mark(at, std::move(text)), std::move(answer));
  if (answer) answer(unavailable("There is no take to mark: play something first."));
}

void TakeRecorder::undo_mark(Micros at, Answer<takes::LineNumber> answer) {
  if (take_ && take_->id && !marks_.empty())
    return world_.store.edit(
        takes::LineKind::kUnmark, *take_->id, at, std::to_string(marks_.back()),
        answer ? std::move(answer) : [](Result<takes::LineNumber>) {});
  if (answer) answer(unavailable("There is no mark to take back in this take."));
}

void TakeRecorder::said(const takes::BeatLine& line, Answer<takes::LineNumber> answer) {
  world_.store.append(takes::beat_said(line), std::move(answer));
}

void TakeRecorder::remember_pedal(const midi::Event& event) {
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

// ---- beats

void TakeRecorder::beat(const listen::ToldBeat& beat) {
  if (take_ && beat.at >= take_->since) keep_clock(beat);
}

void TakeRecorder::tapped(Micros at, Micros interval) {
  if (take_) world_.store.append(takes::beat_said({at, takes::BeatWord::kTap, interval, 0, 0}));
}

void TakeRecorder::heard(Micros at, const harmony::Chord& chord, harmony::NoteName root) {
  if (take_) world_.store.append(takes::chord_heard(at, chord, root));
}

// Writes a line for each bar of an external clock, so that all its beats can be found again. A clock without
// a song position has no bars; one line with the length of its beats is enough.
void TakeRecorder::keep_clock(const listen::ToldBeat& beat) {
  if (beat.source != listen::BeatSource::kClock) return;
  if (clock_kept_ && !(beat.barred && beat.place == 0)) return;
  clock_kept_ = true;
  world_.store.append(takes::beat_said(
      beat.barred ? takes::BeatLine{beat.at, takes::BeatWord::kClock, beat.interval, beat.meter, beat.place}
                  : takes::BeatLine{beat.at, takes::BeatWord::kTap, beat.interval, 0, 0}));
}

// If an external clock was already running, writes the beat in which the take begins. With it, the bars are
// known from the first note on.
void TakeRecorder::begin_clock(Micros take_begins, const std::optional<listen::ToldBeat>& newest) {
  clock_kept_ = false;
  if (newest && newest->at <= take_begins &&
      take_begins - newest->at <= newest->interval + newest->interval / 4)
    keep_clock(*newest);
}

// ---- the loop that is played along with

std::optional<Micros> TakeRecorder::next_pass() const {
  if (!round_ || (round_->along.rounds > 0 && round_->next > round_->along.rounds)) return std::nullopt;
  return round_->pass(round_->next);
}

void TakeRecorder::begin_pass() {
  const int number = round_->next++;
  if (take_) world_.store.append(takes::pass_begins(round_->pass(number), number));
}

}  // namespace undersong::live
