// The part of Database that answers questions about moments: it indexes takes and searches the index.
//
// The digests of all takes are read with the first question and then kept in memory, about six bytes per
// chord. A question scans them, newest take first, until a page is full. Only the moments on that page are
// read from the tables. So no question costs more than one scan of the digests.
#include <algorithm>
#include <limits>
#include <span>
#include <string_view>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/tempo.h"
#include "daemon/takes/about_reader.h"
#include "daemon/takes/database.h"
#include "daemon/takes/row_text.h"
#include "daemon/takes/sql_number.h"

namespace undersong::takes {
namespace {

Micros time_of(const SQLite::Column& column) {
  return listen::near_enough(Micros(column.getInt64()));
}

KeptMeeting meeting_of(SQLite::Statement& row, int from) {
  KeptMeeting out;
  out.at = time_of(row.getColumn(from));
  out.facts.pitch = Pitch(row.getColumn(from + 1).getInt());
  out.facts.length = Micros(std::max<std::int64_t>(0, row.getColumn(from + 2).getInt64()));
  out.facts.harte = text_of(row.getColumn(from + 3));
  out.facts.name = text_of(row.getColumn(from + 4));
  out.facts.degree = text_of(row.getColumn(from + 5));
  out.facts.key = text_of(row.getColumn(from + 6));
  out.facts.time = static_cast<std::uint32_t>(row.getColumn(from + 7).getInt64());
  return out;
}
constexpr const char* kMeetingColumns = "at, pitch, length, harte, name, degree, key, time";

}  // namespace

void Database::insert_meeting(TakeId take, Micros at, const MeetingFacts& met) {
  SQLite::Statement insert(file_, "INSERT OR REPLACE INTO meetings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)");
  insert.bind(1, signed_of(take));
  insert.bind(2, std::int64_t{at.count()});
  insert.bind(3, met.pitch.value());
  insert.bind(4, std::int64_t{met.length.count()});
  insert.bind(5, met.harte);
  insert.bind(6, met.name);
  insert.bind(7, met.degree);
  insert.bind(8, met.key);
  insert.bind(9, std::int64_t{met.time});
  insert.exec();
}

std::vector<KeptMeeting> Database::kept_meetings(TakeId take) {
  SQLite::Statement query(
      file_, std::string("SELECT ") + kMeetingColumns + " FROM meetings WHERE take = ? ORDER BY at, pitch");
  query.bind(1, signed_of(take));
  std::vector<KeptMeeting> out;
  while (query.executeStep()) out.push_back(meeting_of(query, 0));
  return out;
}

std::vector<Statement> Database::heard_statements(TakeId take, Micros end,
                                                  const std::vector<KeptMeeting>& meetings) {
  const auto read = [&](const char* sql) {
    SQLite::Statement query(file_, sql);
    query.bind(1, signed_of(take));
    std::vector<KeptChord> out;
    while (query.executeStep()) out.push_back({time_of(query.getColumn(0)), text_of(query.getColumn(1))});
    return out;
  };
  // Only lines of kind chord have a row in `chords`. The kinds are those of the partial index log_shown, so
  // that SQLite uses it.
  const auto chords = read(
      "SELECT chords.at, chords.harte FROM log JOIN chords USING (number) WHERE log.take = ? AND log.kind IN "
      "(3, 4, 8) ORDER BY number");
  const auto keys = read("SELECT at, harte FROM keys WHERE take = ? ORDER BY at, number");
  return statements_of(chords, keys, meetings, end);
}

void Database::load_kinds() {
  if (!kinds_.empty()) return;
  kind_names_.clear();
  kinds_.push_back({PitchClass(0), PitchClass(0), harmony::Quality()});  // kind 0 means none
  SQLite::Statement query(file_, "SELECT kind, root, quality, bass FROM chord_kinds ORDER BY kind");
  while (query.executeStep()) {
    const auto kind = query.getColumn(0).getInt64();
    if (kind < 1 || kind > 1'000'000) continue;  // not written by this program
    const auto made = chord_kind(PitchClass(query.getColumn(1).getInt()), text_of(query.getColumn(2)),
                                 PitchClass(query.getColumn(3).getInt()));
    kinds_.resize(std::max(kinds_.size(), static_cast<std::size_t>(kind) + 1), kinds_[0]);
    if (made) kinds_[static_cast<std::size_t>(kind)] = *made;
  }
}

std::vector<Database::IndexedTake>& Database::all_indexed() {
  if (!index_) {
    load_kinds();
    std::vector<IndexedTake> all;
    SQLite::Statement query(file_,
                            "SELECT takes.take, begin_utc_ms, deleted, digest FROM takes JOIN heard ON "
                            "heard.take = takes.take ORDER BY begin_utc_ms, takes.take");
    while (query.executeStep()) {
      const SQLite::Column blob = query.getColumn(3);
      const std::string_view digest(static_cast<const char*>(blob.getBlob()),
                                    static_cast<std::size_t>(blob.getBytes()));
      all.push_back({static_cast<TakeId>(query.getColumn(0).getInt64()), query.getColumn(1).getInt64(),
                     query.getColumn(2).getInt() != 0, indexed(digest, kinds_)});
    }
    index_ = std::move(all);
  }
  return *index_;
}

void Database::forget_index() {
  printed_.clear();
  desk_->forget();
  kinds_.clear();
  index_.reset();
  unheard_.reset();
}

std::uint32_t Database::kind_of_chord(const std::string& harte, bool kept) {
  if (const auto known = kind_names_.find(harte); known != kind_names_.end()) return known->second;
  const auto parsed = harmony::parse_harte(harte);
  if (!parsed) return 0;
  const ChordKind made{parsed->chord.root, parsed->chord.bass, parsed->chord.quality};
  const auto quality = harmony::row(made.quality).harte;
  std::uint32_t number = 0;
  for (std::size_t i = 1; i < kinds_.size() && number == 0; ++i)
    if (kinds_[i].root == made.root && kinds_[i].bass == made.bass && kinds_[i].quality == made.quality)
      number = static_cast<std::uint32_t>(i);
  if (number == 0) {
    number = static_cast<std::uint32_t>(kinds_.size());
    if (kept) {
      SQLite::Statement insert(file_, "INSERT INTO chord_kinds VALUES (?, ?, ?, ?)");
      insert.bind(1, std::int64_t{number});
      insert.bind(2, made.root.value());
      insert.bind(3, std::string(quality));
      insert.bind(4, made.bass.value());
      insert.exec();
    }
    kinds_.push_back(made);
  }
  if (kept) kind_names_.emplace(harte, number);
  return number;
}

std::string Database::digest_of(const std::vector<Statement>& statements, bool kept) {
  load_kinds();
  std::string out;
  out.reserve(statements.size() * kDigestEntry);
  for (const Statement& s : statements)
    append_digest(out, {kind_of_chord(s.harte, kept), key_code(s.key), s.met});
  return out;
}

void Database::index_heard(TakeId take, int ear, const std::vector<Statement>& statements) {
  unheard_.reset();
  SQLite::Statement old(file_, "DELETE FROM statements WHERE take = ?");
  old.bind(1, signed_of(take));
  old.exec();
  SQLite::Statement insert(file_, "INSERT INTO statements VALUES (?, ?, ?, ?, ?, ?, ?)");
  for (std::size_t i = 0; i < statements.size(); ++i) {
    const Statement& s = statements[i];
    insert.reset();
    insert.bind(1, signed_of(take));
    insert.bind(2, signed_of(i));
    insert.bind(3, std::int64_t{s.at.count()});
    insert.bind(4, std::int64_t{s.length.count()});
    insert.bind(5, s.harte);
    insert.bind(6, s.key);
    insert.bind(7, static_cast<int>(s.met));
    insert.exec();
  }
  const std::string digest = digest_of(statements, true);
  SQLite::Statement heard(file_, "INSERT OR REPLACE INTO heard VALUES (?, ?, ?)");
  heard.bind(1, signed_of(take));
  heard.bind(2, ear);
  heard.bind(3, digest.data(), static_cast<int>(digest.size()));
  heard.exec();
  if (!index_) return;
  SQLite::Statement row(file_, "SELECT begin_utc_ms, deleted FROM takes WHERE take = ?");
  row.bind(1, signed_of(take));
  if (!row.executeStep()) return;
  const Begun begun{row.getColumn(0).getInt64(), take};
  auto place =
      std::lower_bound(index_->begin(), index_->end(), begun,
                       [](const IndexedTake& each, const Begun& other) { return begun_of(each) < other; });
  if (place == index_->end() || place->take != take)
    place = index_->insert(place, {take, begun.utc_ms, row.getColumn(1).getInt() != 0, {}});
  place->statements = indexed(digest, kinds_);
}

void Database::put_heard(const HeardAgain& heard) {
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    SQLite::Statement old(file_, "DELETE FROM meetings WHERE take = ?");
    old.bind(1, signed_of(heard.take));
    old.exec();
    for (const KeptMeeting& met : heard.meetings) insert_meeting(heard.take, met.at, met.facts);
    const auto statements = statements_of(heard.chords, heard.keys, heard.meetings, heard.end);
    index_heard(heard.take, kEarVersion, statements);
    count_own(heard.take, statements, heard.meetings);
    keep_find_print(heard.take);
    keep_about(heard.take, about_from_log(heard.take));
    commit(group);
  } catch (...) {
    forget_index();
    throw;
  }
}

std::optional<TakeId> Database::next_unheard(TakeId before) {
  SQLite::Statement query(file_,
                          "SELECT takes.take FROM takes LEFT JOIN heard ON heard.take = takes.take WHERE "
                          "takes.take < ? AND ended IS NOT NULL AND "
                          "ifnull(ear, 0) < ? ORDER BY takes.take DESC LIMIT 1");
  query.bind(1, signed_of(std::min<TakeId>(before, INT64_MAX)));
  query.bind(2, kEarVersion);
  if (!query.executeStep()) return std::nullopt;
  return static_cast<TakeId>(query.getColumn(0).getInt64());
}

std::uint64_t Database::unheard() {
  if (!unheard_) {
    SQLite::Statement query(file_,
                            "SELECT count(*) FROM takes LEFT JOIN heard ON heard.take = takes.take WHERE "
                            "ended IS NOT NULL AND deleted = 0 AND ifnull(ear, 0) < ?");
    query.bind(1, kEarVersion);
    query.executeStep();
    unheard_ = static_cast<std::uint64_t>(query.getColumn(0).getInt64());
  }
  return *unheard_;
}

TakeMeetings Database::meetings(TakeId take) {
  TakeMeetings out;
  out.take = take;
  SQLite::Statement query(file_,
                          "SELECT at, last_at, ended, ifnull(ear, 0) FROM takes LEFT JOIN heard ON "
                          "heard.take = takes.take WHERE takes.take = ?");
  query.bind(1, signed_of(take));
  if (!query.executeStep()) return out;
  out.at = time_of(query.getColumn(0));
  out.heard = query.getColumn(3).getInt() >= kEarVersion || query.getColumn(2).isNull();
  out.meetings = kept_meetings(take);
  if (query.getColumn(2).isNull()) {
    out.statements = heard_statements(take, time_of(query.getColumn(1)), out.meetings);
    return out;
  }
  SQLite::Statement rows(file_,
                         "SELECT at, length, harte, key, met FROM statements WHERE take = ? ORDER BY place");
  rows.bind(1, signed_of(take));
  while (rows.executeStep())
    out.statements.push_back({time_of(rows.getColumn(0)), Micros(rows.getColumn(1).getInt64()),
                              text_of(rows.getColumn(2)), text_of(rows.getColumn(3)),
                              static_cast<std::uint16_t>(rows.getColumn(4).getInt())});
  return out;
}

FoundMoments Database::find(const MomentSearch& search) {
  auto& all = all_indexed();
  const std::size_t kept_kinds = kinds_.size();
  // New kinds from the take being played are known only until this question is answered.
  struct Shorten {
    std::vector<ChordKind>& kinds;
    std::size_t size;
    ~Shorten() { kinds.resize(std::min(kinds.size(), size)); }
  } shorten{kinds_, kept_kinds};
  FoundMoments found;
  found.unheard = unheard();
  // The take being played has no digest yet.
  std::optional<TakeMeetings> open;
  std::vector<Indexed> open_statements;
  std::int64_t open_begin = 0;
  if (state_.take != 0) {
    open = meetings(state_.take);
    open_statements = indexed(digest_of(open->statements, false), kinds_);
    open_begin = summary(state_.take)->begin_utc_ms;
  }
  // Visits takes, newest first, from `first` on, until `use` returns false.
  const auto each_take = [&](const Begun& first, auto use) {
    if (open && Begun{open_begin, open->take} <= first &&
        !use(open->take, open_begin, std::span<const Indexed>(open_statements)))
      return;
    auto end =
        std::upper_bound(all.begin(), all.end(), first,
                         [](const Begun& other, const IndexedTake& each) { return other < begun_of(each); });
    while (end != all.begin()) {
      --end;
      if (end->deleted || (open && end->take == open->take)) continue;
      if (!use(end->take, end->begin_utc_ms, std::span<const Indexed>(end->statements))) return;
    }
  };
  constexpr Begun kNewest{std::numeric_limits<std::int64_t>::max(), ~TakeId{0}};
  Begun begin_with = kNewest;
  if (search.from)
    if (const auto take = summary(search.from->take)) begin_with = {take->begin_utc_ms, take->take};

  SQLite::Statement take_row(file_, "SELECT title, at FROM takes WHERE take = ?");
  SQLite::Statement statement_rows(file_,
                                   "SELECT at, length, harte, key FROM statements WHERE take = ? AND place "
                                   "BETWEEN ? AND ? ORDER BY place");
  SQLite::Statement meeting_rows(
      file_, std::string("SELECT ") + kMeetingColumns +
                 " FROM meetings WHERE take = ? AND at >= ? AND at < ? ORDER BY at, pitch");
  AboutReader names(file_);
  const auto add = [&](TakeId take, std::int64_t begin, const Place& place) {
    FoundMoment moment;
    moment.take = take;
    moment.begin_utc_ms = begin;
    moment.time = place.time;
    moment.times = place.times;
    take_row.reset();
    take_row.bind(1, signed_of(take));
    if (take_row.executeStep()) {
      moment.title = text_of(take_row.getColumn(0));
      moment.take_at = time_of(take_row.getColumn(1));
    }
    if (moment.title.empty()) moment.content = names.content(take);
    bool first = true;
    const auto say = [&](Micros at, Micros length, std::string harte, std::string key) {
      if (first) {
        moment.at = at;
        moment.key = std::move(key);
      }
      moment.length = at + length - moment.at;
      moment.harte.push_back(std::move(harte));
      first = false;
    };
    const bool of_open = open && take == open->take;
    if (of_open) {
      for (std::size_t i = place.first; i <= place.last; ++i)
        say(open->statements[i].at, open->statements[i].length, open->statements[i].harte,
            open->statements[i].key);
    } else {
      statement_rows.reset();
      statement_rows.bind(1, signed_of(take));
      statement_rows.bind(2, signed_of(place.first));
      statement_rows.bind(3, signed_of(place.last));
      while (statement_rows.executeStep())
        say(time_of(statement_rows.getColumn(0)), Micros(statement_rows.getColumn(1).getInt64()),
            text_of(statement_rows.getColumn(2)), text_of(statement_rows.getColumn(3)));
    }
    if (place.note && !first) {
      const Micros begins = moment.at, ends = moment.at + moment.length;
      const auto meet = [&](KeptMeeting met) {
        if (met.facts.pitch.pitch_class() != *place.note) return;
        const Micros over = met.at + met.facts.length;
        if (!moment.note) {
          moment.at = met.at;
          moment.note = std::move(met);
        }
        moment.length = std::max(moment.length, over - moment.at);
      };
      moment.length = Micros(0);
      if (of_open) {
        for (const KeptMeeting& met : open->meetings)
          if (met.at >= begins && met.at < ends) meet(met);
      } else {
        meeting_rows.reset();
        meeting_rows.bind(1, signed_of(take));
        meeting_rows.bind(2, std::int64_t{begins.count()});
        meeting_rows.bind(3, std::int64_t{ends.count()});
        while (meeting_rows.executeStep()) meet(meeting_of(meeting_rows, 0));
      }
    }
    if (!first && (!place.note || moment.note)) found.moments.push_back(std::move(moment));
  };

  MomentMatcher matcher(search.question, kinds_, search.days_ms);
  std::vector<Place> places;
  each_take(begin_with, [&](TakeId take, std::int64_t begin, std::span<const Indexed> statements) {
    places.clear();
    matcher.find(statements, begin, places);
    std::size_t left = places.size();
    if (search.from && take == search.from->take) left = std::min(left, search.from->left);
    for (; left > 0; --left) {
      if (found.moments.size() == search.limit) {
        found.next = MomentSearch::From{take, left};
        return false;
      }
      add(take, begin, places[left - 1]);
    }
    return true;
  });

  if (found.moments.empty() && !search.from) {
    const auto questions = near_questions(search.question);
    std::vector<MomentMatcher> matchers;
    for (const Question& near : questions) {
      matchers.emplace_back(near, kinds_, search.days_ms);
      found.near.push_back({in_words(near), 0});
    }
    const auto counts = count_all(matchers, kinds_.size(), [&](const auto& count) {
      each_take(kNewest, [&](TakeId, std::int64_t begin, std::span<const Indexed> statements) {
        count(statements, begin);
        return true;
      });
    });
    for (std::size_t i = 0; i < counts.size(); ++i) found.near[i].moments = counts[i];
    std::stable_sort(found.near.begin(), found.near.end(),
                     [](const NearQuestion& a, const NearQuestion& b) { return a.moments > b.moments; });
  }
  return found;
}

}  // namespace undersong::takes
