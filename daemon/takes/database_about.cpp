// The part of Database that keeps what is known of takes at a glance, and what is asked of it: names in
// lists, pictures, takes with the same loop, digests.
#include <algorithm>

#include "daemon/listen/tempo.h"
#include "daemon/takes/about_reader.h"
#include "daemon/takes/database.h"
#include "daemon/takes/find_chords.h"
#include "daemon/takes/find_reader.h"
#include "daemon/takes/line_check.h"
#include "daemon/takes/named_loops.h"
#include "daemon/takes/row_text.h"
#include "daemon/takes/sql_number.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kMostSimilar = 8;
// How much of the score with which a take holds its own loop another take must reach.
constexpr float kSimilarTakes = .8f;
constexpr Micros kHundredth{10'000};

// The chords of two rounds of the loop as the take has them; of one if no two follow each other.
std::vector<FindChord> rounds_of(const AboutLoop& loop, const std::vector<FindChord>& chords) {
  if (loop.passes.empty()) return {};
  std::size_t first = 0, last = 0;
  for (std::size_t i = 0; i + 1 < loop.passes.size() && last == first; ++i)
    if (loop.passes[i + 1].from - (loop.passes[i].from + loop.passes[i].length) < loop.passes[i].length / 4)
      first = i, last = i + 1;
  const auto time = [](Micros at) { return static_cast<FindTime>(at / kHundredth); };
  const FindTime from = time(loop.passes[first].from),
                 to = time(loop.passes[last].from + loop.passes[last].length);
  std::vector<FindChord> out;
  for (const FindChord& chord : chords)
    if (chord.at + kStruckTogether >= from && chord.at + kStruckTogether < to &&
        out.size() < kLongestProgression)
      out.push_back(chord);
  return out;
}

}  // namespace

AboutReader::AboutReader(SQLite::Database& file)
    : name_(file,
            "SELECT name, loop_key, loop_root, began_utc_ms FROM abouts WHERE take = ? AND version = ?"),
      picture_(file, "SELECT name, picture, studied FROM abouts WHERE take = ? AND version = ?"),
      again_(file,
             "SELECT abouts.take, began_utc_ms, loop_root FROM abouts JOIN takes ON takes.take = abouts.take "
             "WHERE loop_key = ? AND began_utc_ms < ? AND deleted = 0 ORDER BY began_utc_ms DESC LIMIT 1") {}

std::optional<TakeContent> AboutReader::content(TakeId take) {
  name_.reset();
  name_.bind(1, signed_of(take));
  name_.bind(2, kAboutVersion);
  if (!name_.executeStep()) return std::nullopt;
  TakeAbout about;
  if (!unpack_name(text_of(name_.getColumn(0)), about)) return std::nullopt;
  if (about.content.chords.empty()) return std::nullopt;
  if (const auto key = name_.getColumn(1).getInt64(); key != 0) {
    again_.reset();
    again_.bind(1, key);
    again_.bind(2, name_.getColumn(3).getInt64());
    if (again_.executeStep())
      about.content.again =
          LoopAgain{static_cast<TakeId>(again_.getColumn(0).getInt64()), again_.getColumn(1).getInt64(),
                    nearest_shift(again_.getColumn(2).getInt(), name_.getColumn(2).getInt())};
  }
  return std::move(about.content);
}

bool AboutReader::has(TakeId take) {
  name_.reset();
  name_.bind(1, signed_of(take));
  name_.bind(2, kAboutVersion);
  return name_.executeStep();
}

std::optional<TakeAbout> AboutReader::about(TakeId take) {
  picture_.reset();
  picture_.bind(1, signed_of(take));
  picture_.bind(2, kAboutVersion);
  if (!picture_.executeStep()) return std::nullopt;
  TakeAbout about;
  if (!unpack_name(text_of(picture_.getColumn(0)), about) ||
      !unpack_picture(text_of(picture_.getColumn(1)), about))
    return std::nullopt;
  about.studied = picture_.getColumn(2).getInt() != 0;
  return about;
}

void Database::keep_about(TakeId take, const TakeAbout& about) {
  const LoopKey key = about.loops.empty() ? LoopKey{} : loop_key(about.loops.front().chords);
  SQLite::Statement keep(file_,
                         "INSERT OR REPLACE INTO abouts SELECT take, ?2, ?3, begin_utc_ms, ?4, ?5, ?6, ?7 "
                         "FROM takes WHERE take = ?1");
  keep.bind(1, signed_of(take));
  keep.bind(2, kAboutVersion);
  keep.bind(3, about.studied ? 1 : 0);
  keep.bind(4, key.number);
  keep.bind(5, key.root);
  keep.bind(6, packed_name(about));
  keep.bind(7, packed_picture(about));
  keep.exec();
  SQLite::Statement stale(file_, "DELETE FROM kept_answers WHERE take = ?");
  stale.bind(1, signed_of(take));
  stale.exec();
}

void Database::forget_study(TakeId take) {
  for (const char* sql :
       {"UPDATE abouts SET studied = 0 WHERE take = ?", "DELETE FROM kept_answers WHERE take = ?"}) {
    SQLite::Statement forget(file_, sql);
    forget.bind(1, signed_of(take));
    forget.exec();
  }
}

FindPrint Database::find_lines(TakeId take) {
  SQLite::Statement query(file_, "SELECT lines FROM find_prints WHERE take = ? AND version = ?");
  query.bind(1, signed_of(take));
  query.bind(2, kFindVersion);
  FindPrint out;
  if (!query.executeStep()) return out;
  const SQLite::Column blob = query.getColumn(0);
  if (!unpack_lines({static_cast<const char*>(blob.getBlob()), static_cast<std::size_t>(blob.getBytes())},
                    out))
    out = {};
  return out;
}

// From what is indexed of an ended take; nothing is listened to.
TakeAbout Database::about_from_log(TakeId take) {
  const TakeMeetings heard = meetings(take);
  TakeAbout out = about_from_names(heard.statements, heard.meetings, heard.at);
  if (const auto about = summary(take))
    out.melody = melody_picture(find_lines(take).melody, about->last_at - about->at);
  return out;
}

std::optional<TakeAbout> Database::about(TakeId take) {
  AboutReader reader(file_);
  if (auto kept = reader.about(take)) return kept;
  const auto about = summary(take);
  if (!about || !about->ended) return std::nullopt;
  return about_from_log(take);
}

// Takes that an older version kept have no row yet: it is made when they are listed first.
void Database::find_contents(std::span<Summary> takes) {
  AboutReader reader(file_);
  std::vector<Summary*> missing;
  for (Summary& take : takes) {
    if (!take.ended || take.chords == 0) continue;
    take.content = reader.content(take.take);
    if (!take.content && !reader.has(take.take)) missing.push_back(&take);
  }
  if (missing.empty()) return;
  std::vector<TakeAbout> made;
  for (const Summary* take : missing) made.push_back(about_from_log(take->take));
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    for (std::size_t i = 0; i < missing.size(); ++i) keep_about(missing[i]->take, made[i]);
    group.commit();
  } catch (const SQLite::Exception&) {  // the disk is full, or another program writes: next time
  }
  for (std::size_t i = 0; i < missing.size(); ++i)
    if (!made[i].content.chords.empty()) missing[i]->content = std::move(made[i].content);
}

std::optional<TakeId> Database::next_unstudied(TakeId before) {
  SQLite::Statement query(file_,
                          "SELECT takes.take FROM takes LEFT JOIN abouts ON abouts.take = takes.take WHERE "
                          "takes.take < ? AND deleted = 0 AND ended IS NOT NULL AND (ifnull(version, 0) <> ? "
                          "OR studied = 0) ORDER BY takes.take DESC LIMIT 1");
  query.bind(1, signed_of(std::min<TakeId>(before, INT64_MAX)));
  query.bind(2, kAboutVersion);
  if (!query.executeStep()) return std::nullopt;
  return static_cast<TakeId>(query.getColumn(0).getInt64());
}

// Kinds 10 and 15: correction and beat.
LineNumber Database::last_said(TakeId take) {
  SQLite::Statement query(file_,
                          "SELECT ifnull(max(number), 0) FROM log WHERE take = ? AND kind IN (10, 15)");
  query.bind(1, signed_of(take));
  query.executeStep();
  return static_cast<LineNumber>(query.getColumn(0).getInt64());
}

bool Database::put_study(const StudiedTake& studied) {
  SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
  if (last_said(studied.take) != studied.said) return false;
  TakeAbout about = studied.about;
  about.studied = true;
  const TakeAbout before = about_from_log(studied.take);
  about.melody = before.melody;
  about.loops = with_others(std::move(about.loops), before.loops);
  about.content.returns = returns(meetings(studied.take).meetings, about.loops, summary(studied.take)->at);
  if (about.content.chords.empty()) {  // nothing is gone round: its first chords, as before
    about.content.chords = before.content.chords;
    about.content.times = before.loops.empty() ? before.content.times : 1;
  }
  about.content.circled = circled(about.loops);
  keep_about(studied.take, about);
  SQLite::Statement keep(file_, "INSERT INTO kept_answers VALUES (?, ?, ?, ?)");
  for (const auto& [name, text] : studied.answers) {
    keep.reset();
    keep.bind(1, signed_of(studied.take));
    keep.bind(2, name);
    keep.bind(3, text);
    keep.bind(4, std::int64_t{checksum(text)});
    keep.exec();
  }
  group.commit();
  return true;
}

std::optional<std::string> Database::kept_answer(TakeId take, const std::string& name) {
  SQLite::Statement query(
      file_,
      "SELECT answer, sum FROM kept_answers JOIN abouts ON abouts.take = kept_answers.take WHERE "
      "kept_answers.take = ? AND kept_answers.name = ? AND version = ? AND studied = 1");
  query.bind(1, signed_of(take));
  query.bind(2, name);
  query.bind(3, kAboutVersion);
  if (!query.executeStep()) return std::nullopt;
  std::string answer = query.getColumn(0).getString();
  // It goes to clients as it is. A damaged one is as good as none, and so is an old one without a checksum.
  if (query.getColumn(1).isNull() || query.getColumn(1).getInt64() != std::int64_t{checksum(answer)})
    return std::nullopt;
  return answer;
}

std::vector<Judgement> Database::judged(TakeId take) {
  SQLite::Statement query(
      file_, "SELECT from_us, length_us, verdict FROM verdicts WHERE take = ? ORDER BY from_us, length_us");
  query.bind(1, signed_of(take));
  std::vector<Judgement> out;
  while (query.executeStep())
    out.push_back({Micros(query.getColumn(0).getInt64()), Micros(query.getColumn(1).getInt64()),
                   query.getColumn(2).getInt() == 0 ? Verdict::kKept : Verdict::kDismissed});
  return out;
}

void Database::keep_judgement(TakeId take, const Judgement& said) {
  SQLite::Statement keep(file_, said.verdict == Verdict::kOpen
                                    ? "DELETE FROM verdicts WHERE take = ? AND from_us = ? AND length_us = ?"
                                    : "INSERT OR REPLACE INTO verdicts VALUES (?, ?, ?, ?)");
  keep.bind(1, signed_of(take));
  keep.bind(2, std::int64_t{said.from.count()});
  keep.bind(3, std::int64_t{said.length.count()});
  if (said.verdict != Verdict::kOpen) keep.bind(4, static_cast<int>(said.verdict));
  keep.exec();
}

std::optional<Database::SimilarQuestion> Database::similar_to(TakeId take) {
  const auto kept = about(take);
  if (!kept || kept->loops.empty()) return std::nullopt;
  const FindPrint own = find_lines(take);
  FindQuery query;
  query.print.chords = rounds_of(kept->loops.front(), own.chords);
  query.of = take;
  const auto itself = ProgressionFinder(query.print.chords).find(own.chords, -1e9f);
  if (query.print.chords.size() < 2 || itself.empty()) return std::nullopt;
  return SimilarQuestion{std::move(query), kSimilarTakes * itself.front().score};
}

std::vector<FoundPlace> Database::similar(TakeId take) {
  const auto question = similar_to(take);
  if (!question) return {};
  return similar_of(*question, find_places(question->query));
}

std::vector<FoundPlace> Database::similar_of(const SimilarQuestion& question, FoundPlaces found) {
  std::erase_if(found.places, [&](const FoundPlace& place) {
    return place.found.as != FoundAs::kChords || place.found.score < question.least;
  });
  if (found.places.size() > kMostSimilar) found.places.resize(kMostSimilar);
  return std::move(found.places);
}

std::vector<DigestMark> Database::marks_of(const Summary& take) {
  std::vector<DigestMark> out;
  if (take.marks == 0) return out;
  const auto found = detail(take.take);
  if (!found) return out;
  for (const Line& mark : found->marks) out.push_back({mark.at - take.at, mark.data});
  return out;
}

FoundDigest Database::digest(const DigestSearch& search) {
  FoundDigest out;
  SQLite::Statement newest(
      file_,
      "SELECT begin_utc_ms FROM takes WHERE deleted = 0 AND ended IS NOT NULL AND notes > "
      "0 ORDER BY begin_utc_ms DESC LIMIT 1");
  if (!newest.executeStep()) return out;
  const std::int64_t last = newest.getColumn(0).getInt64();
  out.span = search.week ? week_of(last) : evening_of(last);
  SQLite::Statement within(
      file_,
      "SELECT take FROM takes WHERE deleted = 0 AND ended IS NOT NULL AND begin_utc_ms >= "
      "? AND begin_utc_ms < ? ORDER BY begin_utc_ms DESC, take DESC");
  within.bind(1, out.span.from_utc_ms);
  within.bind(2, out.span.to_utc_ms);
  AboutReader reader(file_);
  while (within.executeStep()) {
    const auto number = static_cast<TakeId>(within.getColumn(0).getInt64());
    const auto about = summary(number);
    if (!about) continue;
    DigestTake take;
    take.take = number;
    take.title = about->title;
    take.begin_utc_ms = about->begin_utc_ms;
    take.length = about->last_at - about->at;
    if (auto kept = reader.about(number))
      take.about = std::move(*kept);
    else
      take.about = about_from_log(number);
    if (const auto content = reader.content(number)) take.about.content = *content;
    out.unstudied += take.about.studied ? 0 : 1;
    take.marks = marks_of(*about);
    take.meetings = kept_meetings(number);
    for (KeptMeeting& met : take.meetings) met.at -= about->at;
    take.judged = judged(number);
    out.takes.push_back(std::move(take));
  }
  MetChords known;
  for (const IndexedTake& take : all_indexed()) {
    if (take.deleted || take.begin_utc_ms >= out.span.from_utc_ms) continue;
    for (const Indexed& each : take.statements) {
      if (each.kind == 0) continue;
      const ChordKind& kind = kinds_[each.kind];
      for (int note = 0; note < 12; ++note)
        if (each.met >> note & 1) known.add((note - kind.root.value() + 12) % 12, kind.quality);
    }
  }
  out.moments = takes::digest(out.takes, known, search.limit);
  return out;
}

}  // namespace undersong::takes
