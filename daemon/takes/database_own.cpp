// The part of Database that keeps the player's own idiom: one row for each take, made from what is indexed of
// the take, and added up when it is asked for.
#include <algorithm>
#include <string_view>
#include <utility>

#include "daemon/listen/tempo.h"
#include "daemon/takes/database.h"
#include "daemon/takes/own_idiom.h"
#include "daemon/takes/row_text.h"
#include "daemon/takes/sql_number.h"

namespace undersong::takes {
namespace {

// Where the own idiom begins: takes after this one count. And when it was erased last.
constexpr const char *kOwnAfter = "own_after", *kOwnErased = "own_erased_utc_ms";

}  // namespace

std::int64_t Database::number_about(const char* name) {
  SQLite::Statement query(file_, "SELECT CAST(value AS INTEGER) FROM about WHERE name = ?");
  query.bind(1, name);
  return query.executeStep() ? query.getColumn(0).getInt64() : 0;
}

void Database::keep_about(const char* name, std::int64_t value) {
  SQLite::Statement keep(file_, "INSERT OR REPLACE INTO about VALUES (?, ?)");
  keep.bind(1, name);
  keep.bind(2, std::to_string(value));
  keep.exec();
}

void Database::count_own(TakeId take, const std::vector<Statement>& statements,
                         const std::vector<KeptMeeting>& meetings) {
  Signs signs;
  SQLite::Statement query(
      file_,
      "SELECT at, kind, data FROM log WHERE take = ?1 AND kind IN (?2, ?3, ?4) AND number NOT IN (SELECT "
      "CAST(data AS INTEGER) FROM log WHERE take = ?1 AND kind = ?5) ORDER BY at, number");
  query.bind(1, signed_of(take));
  query.bind(2, static_cast<int>(LineKind::kMark));
  query.bind(3, static_cast<int>(LineKind::kTried));
  query.bind(4, static_cast<int>(LineKind::kHeard));
  query.bind(5, static_cast<int>(LineKind::kUnmark));  // a mark that was taken back says nothing
  while (query.executeStep()) {
    const Micros at = listen::near_enough(Micros(query.getColumn(0).getInt64()));
    switch (static_cast<LineKind>(query.getColumn(1).getInt())) {
      case LineKind::kMark: signs.marks.push_back(at); break;
      case LineKind::kTried: signs.taken.push_back(at); break;
      default: signs.heard.push_back({at, text_of(query.getColumn(2))});
    }
  }
  const std::string row = own_row(played_chords(statements, meetings, signs));
  SQLite::Statement keep(file_, "INSERT OR REPLACE INTO own VALUES (?, ?, ?)");
  keep.bind(1, signed_of(take));
  keep.bind(2, kOwnLayout);
  keep.bind(3, row.data(), static_cast<int>(row.size()));
  keep.exec();
}

// Takes that count, are indexed, and have no row of this layout, among the newest that matter.
std::uint64_t Database::count_own(std::size_t most) {
  std::vector<TakeId> missing;
  {
    SQLite::Statement query(
        file_,
        "SELECT take FROM (SELECT takes.take AS take, ifnull(layout, 0) AS layout FROM takes JOIN heard ON "
        "heard.take = takes.take LEFT JOIN own ON own.take = takes.take WHERE deleted = 0 AND ended IS NOT "
        "NULL AND takes.take > ? ORDER BY begin_utc_ms DESC, takes.take DESC LIMIT ?) WHERE layout <> ?");
    query.bind(1, number_about(kOwnAfter));
    query.bind(2, static_cast<std::int64_t>(kMostOwnTakes));
    query.bind(3, kOwnLayout);
    while (query.executeStep()) missing.push_back(static_cast<TakeId>(query.getColumn(0).getInt64()));
  }
  const std::size_t now = std::min(most, missing.size());
  if (now == 0) return 0;
  SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
  for (std::size_t i = 0; i < now; ++i) {
    const TakeMeetings heard = meetings(missing[i]);
    count_own(missing[i], heard.statements, heard.meetings);
  }
  group.commit();
  return missing.size() - now;
}

OwnIdiom Database::own() {
  OwnIdiom out;
  if (const std::int64_t erased = number_about(kOwnErased); erased != 0) out.erased_utc_ms = erased;
  SQLite::Statement query(
      file_,
      "SELECT counts, begin_utc_ms FROM own JOIN takes ON takes.take = own.take WHERE "
      "deleted = 0 AND layout = ? AND own.take > ? ORDER BY begin_utc_ms DESC, own.take DESC LIMIT ?");
  query.bind(1, kOwnLayout);
  query.bind(2, number_about(kOwnAfter));
  query.bind(3, static_cast<std::int64_t>(kMostOwnTakes));
  const auto counts = std::make_unique<harmony::PlayerCounts>();
  while (query.executeStep()) {
    const SQLite::Column blob = query.getColumn(0);
    const auto played =
        own_chords({static_cast<const char*>(blob.getBlob()), static_cast<std::size_t>(blob.getBytes())});
    if (!played) {
      ++out.damaged;
      continue;
    }
    if (played->empty()) continue;  // nothing that counts was played
    const float fade = harmony::PlayerCounts::fade_of(out.takes);
    for (const harmony::PlayedChord& each : *played) counts->add(each, fade);
    ++out.takes;
    out.since_utc_ms = query.getColumn(1).getInt64();
  }
  if (counts->empty()) return out;
  out.memory = std::make_shared<const harmony::PlayerMemory>(*counts);
  const auto keep_habits = [](auto count_habits, std::vector<harmony::PlayerCounts::Habit>& to) {
    to.resize(OwnIdiom::kMostHabits);
    to.resize(count_habits(std::span(to)));
  };
  keep_habits([&](auto room) { return counts->most_played(room); }, out.chords);
  keep_habits([&](auto room) { return counts->usual_steps(room); }, out.steps);
  return out;
}

void Database::erase_own(std::int64_t utc_ms) {
  SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
  file_.exec("DELETE FROM own");
  keep_about(kOwnAfter, signed_of(state_.next_take) - 1);  // the take being played does not count either
  keep_about(kOwnErased, utc_ms);
  group.commit();
}

}  // namespace undersong::takes
