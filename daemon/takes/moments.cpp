#include "daemon/takes/moments.h"

#include <algorithm>
#include <ctime>
#include <limits>

namespace undersong::takes {
namespace {

using Is = Clause::Is;
constexpr std::size_t kMostNear = 8;

std::int64_t begin_of(Day day) {
  std::tm local{};
  local.tm_year = static_cast<int>(day.year()) - 1900;
  local.tm_mon = static_cast<int>(static_cast<unsigned>(day.month())) - 1;
  local.tm_mday = static_cast<int>(static_cast<unsigned>(day.day()));
  local.tm_isdst = -1;
  return std::int64_t{std::mktime(&local)} * 1000;
}

void collect(const Clause& c, std::vector<std::pair<std::int64_t, std::int64_t>>& out) {
  if (c.is == Is::kDays && c.days < out.size()) {
    out[c.days] = {c.first ? begin_of(*c.first) : std::numeric_limits<std::int64_t>::min(),
                   c.last ? begin_of(std::chrono::sys_days(*c.last) + std::chrono::days(1)) - 1
                          : std::numeric_limits<std::int64_t>::max()};
  }
  for (const Clause& part : c.parts) collect(part, out);
}

}  // namespace

Day day_at(std::int64_t utc_ms) {
  const std::time_t seconds = utc_ms / 1000;
  std::tm local{};
  localtime_r(&seconds, &local);
  return Day{std::chrono::year(local.tm_year + 1900),
             std::chrono::month(static_cast<unsigned>(local.tm_mon + 1)),
             std::chrono::day(static_cast<unsigned>(local.tm_mday))};
}

std::vector<std::pair<std::int64_t, std::int64_t>> days_ms(const Question& question) {
  std::vector<std::pair<std::int64_t, std::int64_t>> out(question.days);
  for (const Choice& choice : question.choices) {
    collect(choice.always, out);
    for (const Step& step : choice.steps) collect(step.what, out);
  }
  return out;
}

std::vector<Question> near_questions(const Question& question) {
  std::vector<Question> out;
  const auto add = [&](Choice choice) {
    if (out.size() == kMostNear) return;
    Question near;
    near.days = question.days;
    near.choices.push_back(std::move(choice));
    out.push_back(std::move(near));
  };
  const auto without = [&](const Choice& choice, std::size_t step, std::size_t part) {
    Choice less = choice;
    auto& parts = less.steps[step].what.parts;
    parts.erase(parts.begin() + static_cast<std::ptrdiff_t>(part));
    add(std::move(less));
  };
  for (const Choice& choice : question.choices) {
    for (std::size_t i = 0; i < choice.always.parts.size(); ++i) {
      Choice less = choice;
      less.always.parts.erase(less.always.parts.begin() + static_cast<std::ptrdiff_t>(i));
      add(std::move(less));
    }
    if (choice.steps.size() > 1) {
      for (std::size_t i = 0; i < choice.steps.size(); ++i) {  // any chord in that place
        Choice less = choice;
        less.steps[i].what = {};
        add(std::move(less));
      }
      continue;
    }
    const auto& parts = choice.steps[0].what.parts;
    if (parts.size() == 1 && parts[0].is == Is::kAny) {  // each alternative in turn
      for (const Clause& one : parts[0].parts) {
        Choice alone = choice;
        alone.steps[0].what = one.is == Is::kAll ? one : Clause{};
        if (one.is == Is::kAll && one.parts.size() > 1)
          for (std::size_t i = 0; i < one.parts.size(); ++i) without(alone, 0, i);
      }
    } else if (parts.size() > 1) {
      for (std::size_t i = 0; i < parts.size(); ++i) without(choice, 0, i);
    }
  }
  return out;
}

}  // namespace undersong::takes
