#include "daemon/takes/search.h"

namespace undersong::takes {
namespace {

class Builder {
 public:
  void add(std::string_view sql) {
    if (!condition_.sql.empty()) condition_.sql += " AND ";
    condition_.sql += sql;
  }
  template <class... Numbers>
  void add(std::string_view sql, Numbers... arguments) {
    add(sql);
    (condition_.arguments.emplace_back(std::int64_t{arguments}), ...);
  }
  // Adds: `table` has a row of this take that meets all conditions that are set.
  void exists(
      std::string_view table,
      const std::vector<std::pair<std::string_view, std::optional<std::variant<std::int64_t, std::string>>>>&
          wanted) {
    std::string sql;
    for (const auto& [column, value] : wanted) {
      if (!value) continue;
      sql.append(" AND ").append(column).append(" = ?");
      condition_.arguments.push_back(*value);
    }
    if (!sql.empty())
      add("takes.take IN (SELECT take FROM " + std::string(table) + " WHERE" + sql.substr(4) + ")");
  }
  Condition done() && { return std::move(condition_); }

 private:
  Condition condition_;
};

std::optional<std::variant<std::int64_t, std::string>> pitch_class_number(
    const std::optional<PitchClass>& pc) {
  if (!pc) return std::nullopt;
  return std::int64_t{pc->value()};
}
std::optional<std::variant<std::int64_t, std::string>> word(const std::optional<std::string>& text) {
  if (!text) return std::nullopt;
  return *text;
}

}  // namespace

Condition sql_of(const Search& search) {
  Builder builder;
  builder.add("deleted = ?", search.deleted);
  if (search.before) {
    const auto take = static_cast<std::int64_t>(*search.before);
    builder.add(
        "(begin_utc_ms, takes.take) < (ifnull((SELECT begin_utc_ms FROM takes AS other WHERE other.take = "
        "?), "
        "9223372036854775807), ?)",
        take, take);
  }
  if (search.from_utc_ms) builder.add("begin_utc_ms >= ?", *search.from_utc_ms);
  if (search.to_utc_ms) builder.add("begin_utc_ms <= ?", *search.to_utc_ms);
  std::optional<std::string> family;
  if (search.family) family = std::string(text(*search.family));
  builder.exists(
      "chords",
      {{"harte", word(search.harte)}, {"root", pitch_class_number(search.root)}, {"family", word(family)}});
  builder.exists("keys", {{"harte", word(search.key)}});
  builder.exists("melody", {{"pitch_class", pitch_class_number(search.melody)},
                            {"over", pitch_class_number(search.melody_over)},
                            {"degree", word(search.melody_degree)}});
  return std::move(builder).done();
}

}  // namespace undersong::takes
