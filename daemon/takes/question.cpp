// Over 400 lines: the rules of the parser call each other, and the sentence that says how the question was
// understood mirrors them.
#include "daemon/takes/question.h"

#include <spdlog/fmt/fmt.h>

#include <algorithm>
#include <initializer_list>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/question_words.h"

namespace undersong::takes {
namespace {

using Is = Clause::Is;
namespace chrono = std::chrono;

constexpr std::string_view kMayStand = "expected a chord, a kind of chord, a note, a degree, a key or days";

struct QuestionTerm {  // a condition or a sequence
  Clause condition;
  std::vector<Step> steps;
  std::size_t at = 0;       // index of its first word
  bool bare_chord = false;  // consists only of a chord symbol
};

Clause all(std::vector<Clause> parts) {
  Clause out;
  out.parts = std::move(parts);
  return out;
}
void append(Clause& to, Clause more) {
  if (more.is != Is::kAll) return to.parts.push_back(std::move(more));
  for (Clause& part : more.parts) to.parts.push_back(std::move(part));
}
Clause leaf(Is is, std::string words) {
  Clause out;
  out.is = is;
  out.words = std::move(words);
  return out;
}
Clause of_note(Is is, harmony::NoteName name) {
  Clause out = leaf(is, harmony::text(name));
  out.pc = name.pitch_class();
  return out;
}
bool only_when(const Clause& c) {
  if (c.is == Is::kKey || c.is == Is::kDays) return true;
  if (c.is != Is::kAll && c.is != Is::kAny && c.is != Is::kNot) return false;
  return std::all_of(c.parts.begin(), c.parts.end(), only_when);
}

std::string text_of(Day day) {
  return fmt::format("{:04d}-{:02d}-{:02d}", static_cast<int>(day.year()), static_cast<unsigned>(day.month()),
                     static_cast<unsigned>(day.day()));
}
Day plus(Day day, int days) {
  return chrono::sys_days(day) + chrono::days(days);
}
Day last_of_month(chrono::year year, chrono::month month) {
  return Day(chrono::sys_days(year / month / chrono::last));
}

class WordReader {
 public:
  WordReader(std::string_view text, Day today) : words_(words_of(text)), today_(today) {}

  Result<Question> read() {
    if (words_.empty())
      return invalid_input("The question is empty: ask for a chord under a note, such as Db under G.");
    Question question;
    auto choices = read_choices(0);
    if (choices && !at_end()) unexpected();
    if (wrong_) return invalid_input(*wrong_);
    question.choices = std::move(*choices);
    question.days = days_;
    return question;
  }

 private:
  bool at_end() const { return at_ >= words_.size(); }
  const Word* look(std::size_t ahead = 0) const {
    return at_ + ahead < words_.size() ? &words_[at_ + ahead] : nullptr;
  }
  bool says(std::initializer_list<std::string_view> any, std::size_t ahead = 0) const {
    const Word* word = look(ahead);
    return word && std::find(any.begin(), any.end(), word->plain) != any.end();
  }
  bool accept(std::initializer_list<std::string_view> any) {
    if (!says(any)) return false;
    ++at_;
    return true;
  }
  void fail(std::string sentence) {
    if (!wrong_) wrong_ = std::move(sentence);
  }
  void unexpected(std::string_view wanted = kMayStand) {
    if (const Word* word = look())
      return fail(fmt::format("The word \"{}\" at column {} is not understood: {}.", word->text, word->column,
                              wanted));
    const Word& last = words_.back();
    fail(fmt::format("The question ends after \"{}\" at column {}: {}.", last.text, last.column, wanted));
  }

  // ---- choices, sequences and steps

  std::optional<std::vector<Choice>> read_choices(std::size_t depth) {
    std::vector<Choice> out;
    do {
      auto choice = read_choice(depth);
      if (!choice) return std::nullopt;
      out.push_back(std::move(*choice));
    } while (accept({"or"}));
    // Choices without sequences become one condition.
    if (out.size() > 1 &&
        std::all_of(out.begin(), out.end(), [](const Choice& c) { return c.steps.size() == 1; })) {
      Clause any = leaf(Is::kAny, "");
      for (Choice& choice : out) any.parts.push_back(std::move(choice.steps[0].what));
      Choice one;
      one.steps.push_back({all({std::move(any)}), 0x0FFF, ""});
      out.clear();
      out.push_back(std::move(one));
    }
    return out;
  }

  std::optional<Choice> read_choice(std::size_t depth) {
    Choice choice;
    std::vector<std::pair<Clause, std::size_t>> conditions;  // with the index of its first word
    for (bool first = true; first || (!at_end() && !says({"or", ")"})); first = false) {
      if (!first) accept({"and", "but", "with", "where"});
      auto term = read_steps(depth);
      if (!term) return std::nullopt;
      if (term->steps.empty()) {
        conditions.emplace_back(std::move(term->condition), term->at);
      } else if (choice.steps.empty()) {
        choice.steps = std::move(term->steps);
      } else {
        fail(fmt::format("A second sequence begins at column {}: join them with \"or\".",
                         words_[term->at].column));
        return std::nullopt;
      }
    }
    if (choice.steps.empty()) {
      Clause what;
      for (auto& [condition, at] : conditions) append(what, std::move(condition));
      choice.steps.push_back({std::move(what), 0x0FFF, ""});
      return choice;
    }
    for (auto& [condition, at] : conditions) {
      if (!only_when(condition)) {
        fail(
            fmt::format("The word \"{}\" at column {} stands beside a sequence, where only a key or days are "
                        "possible: put chords and notes into a step, as in Cm7 under G then F7.",
                        words_[at].text, words_[at].column));
        return std::nullopt;
      }
      append(choice.always, std::move(condition));
    }
    return choice;
  }

  std::optional<QuestionTerm> read_steps(std::size_t depth) {
    auto first = read_unary(depth);
    if (!first) return std::nullopt;
    QuestionTerm out = std::move(*first);
    const auto as_steps = [](QuestionTerm term) {
      if (term.steps.empty())
        term.steps.push_back({all({}), 0x0FFF, ""}), append(term.steps[0].what, std::move(term.condition));
      return std::move(term.steps);
    };
    bool bare = out.bare_chord;
    for (;;) {
      // A row of chord symbols needs no "then".
      const bool implied = bare && next_is_symbol();
      if (!implied && !accept({"then"})) break;
      if (out.steps.empty()) out.steps = as_steps(std::move(out));
      std::uint16_t moves = 0x0FFF;
      std::string move_words;
      if (says({"up", "down"})) {
        if (!read_move(moves, move_words)) return std::nullopt;
      }
      QuestionTerm next;
      if (move_words.empty() ||
          !(at_end() || says({"then", "and", "or", ")", "in", "since", "last", "this"}))) {
        auto read = read_unary(depth);
        if (!read) return std::nullopt;
        next = std::move(*read);
      }
      bare = next.bare_chord;
      auto steps = as_steps(std::move(next));
      steps[0].moves = moves;
      steps[0].move_words = move_words;
      for (Step& step : steps) out.steps.push_back(std::move(step));
      if (out.steps.size() > kMostSteps) {
        fail(fmt::format("The sequence has more than {} chords.", kMostSteps));
        return std::nullopt;
      }
    }
    return out;
  }

  bool read_move(std::uint16_t& moves, std::string& words) {
    const bool up = says({"up"});
    ++at_;
    words = up ? "up" : "down";
    accept({"by"});
    if (accept({"a", "an"})) words += " a";
    int half = -1;  // of a second, third, sixth or seventh: 0 the smaller, 1 the larger, -1 both
    if (says({"half", "whole"}) && says({"step", "tone"}, 1)) {
      moves = says({"half"}) ? 1 << 1 : 1 << 2;
      words += " " + look()->plain + " " + look(1)->plain;
      at_ += 2;
    } else {
      if (says({"minor", "major", "perfect"})) {
        half = says({"minor"}) ? 0 : 1;
        words += " " + look()->plain;
        ++at_;
      }
      const auto interval = look() ? interval_word(*look()) : std::nullopt;
      if (!interval) {
        unexpected("expected an interval, such as fourth, minor third or tritone");
        return false;
      }
      words += " " + look()->plain;
      ++at_;
      moves = *interval;
      const std::uint16_t lower = static_cast<std::uint16_t>(moves & -moves);
      if (half >= 0 && moves != lower) moves = half == 0 ? lower : static_cast<std::uint16_t>(moves & ~lower);
    }
    if (!up) {
      std::uint16_t down = 0;
      for (int i = 0; i < 12; ++i)
        if (moves >> i & 1) down = static_cast<std::uint16_t>(down | 1 << ((12 - i) % 12));
      moves = down;
    }
    return true;
  }

  std::optional<QuestionTerm> read_unary(std::size_t depth) {
    if (depth > kDeepest) {
      fail(fmt::format("The brackets are more than {} deep at column {}.", kDeepest,
                       look() ? look()->column : 0));
      return std::nullopt;
    }
    const std::size_t begins = at_;
    if (accept({"not", "without", "except"})) {
      auto term = read_unary(depth + 1);
      if (!term) return std::nullopt;
      if (!term->steps.empty()) {
        fail(fmt::format("At column {} \"{}\" stands before a sequence: put it before one of the steps.",
                         words_[begins].column, words_[begins].text));
        return std::nullopt;
      }
      QuestionTerm out;
      out.at = begins;
      out.condition = leaf(Is::kNot, "");
      out.condition.parts.push_back(std::move(term->condition));
      return out;
    }
    if (accept({"("})) {
      auto choices = read_choices(depth + 1);
      if (!choices) return std::nullopt;
      if (!accept({")"})) {
        unexpected(fmt::format("the bracket at column {} is not closed", words_[begins].column));
        return std::nullopt;
      }
      QuestionTerm out;
      out.at = begins;
      if (choices->size() == 1 && choices->front().steps.size() == 1) {
        out.condition = std::move(choices->front().steps[0].what);
        if (accept({"under"})) {
          auto above = read_notes();
          if (!above) {
            unexpected("expected a melody note or a degree");
            return std::nullopt;
          }
          append(out.condition, std::move(*above));
        }
      } else if (choices->size() == 1) {
        out.steps = std::move(choices->front().steps);
        for (Step& step : out.steps) append(step.what, choices->front().always);
      } else {
        fail(fmt::format("The brackets at column {} hold a choice of sequences: write it without brackets.",
                         words_[begins].column));
        return std::nullopt;
      }
      return out;
    }
    return read_statement();
  }

  // ---- conditions

  std::optional<QuestionTerm> read_statement() {
    QuestionTerm out;
    out.at = at_;
    if (at_end()) {
      unexpected();
      return std::nullopt;
    }
    if (auto days = read_days()) {
      out.condition = std::move(*days);
      return out;
    }
    if (wrong_) return std::nullopt;
    if (auto key = read_key()) {
      out.condition = std::move(*key);
      return out;
    }
    if (says({"note", "melody"})) {
      ++at_;
      accept({"note", "notes"});
      auto note = read_note();
      if (!note) {
        unexpected("expected the name of a note");
        return std::nullopt;
      }
      out.condition = std::move(*note);
      return out;
    }
    const std::size_t begins = at_;
    auto note = read_note();
    const std::size_t after_note = at_;
    at_ = begins;
    auto chord = read_chord();
    const std::size_t after_chord = at_;
    const bool symbol = symbol_;
    // A note or a degree over a chord.
    at_ = after_note;
    if (note && says({"over"}) && !(chord && after_chord > after_note)) {
      ++at_;
      auto below = read_chord();
      if (!below) {
        unexpected("expected a chord");
        return std::nullopt;
      }
      out.condition = std::move(*below);
      append(out.condition, std::move(*note));
      return out;
    }
    at_ = after_chord;
    if (chord && accept({"over"})) {  // a chord over its bass
      const auto bass = read_name();
      if (!bass) {
        unexpected("expected a bass note");
        return std::nullopt;
      }
      append(*chord, of_note(Is::kBass, *bass));
      out.condition = std::move(*chord);
      return out;
    }
    if (chord && accept({"under"})) {
      auto above = read_notes();
      if (!above) {
        unexpected("expected a melody note or a degree");
        return std::nullopt;
      }
      append(*chord, std::move(*above));
      out.condition = std::move(*chord);
      return out;
    }
    // Standing alone, b9 is a degree and B9 a chord.
    if (note && note->is == Is::kDegree &&
        (!chord || after_note > after_chord || words_[begins].text[0] != 'B')) {
      at_ = after_note;
      out.condition = std::move(*note);
      return out;
    }
    if (!chord) {
      at_ = begins;
      unexpected();
      return std::nullopt;
    }
    out.condition = std::move(*chord);
    out.bare_chord = symbol;
    return out;
  }

  bool next_is_symbol() const {
    const Word* word = look();
    if (!word || !symbol_word(*word)) return false;
    if (word->text.size() == 1 && word->text == "a") return false;
    return true;
  }

  // A note name in one word or two: "B flat".
  std::optional<harmony::NoteName> read_name() {
    const Word* word = look();
    const auto name = word ? note_word(*word) : std::nullopt;
    if (!name) return std::nullopt;
    ++at_;
    if (word->text.size() == 1 && says({"flat", "sharp"})) {
      const bool flat = says({"flat"});
      ++at_;
      return harmony::NoteName(name->fifths() + (flat ? -7 : 7));
    }
    return name;
  }

  std::optional<Clause> read_note() {
    const std::size_t begins = at_;
    accept({"the"});
    accept({"melody"});
    accept({"note"});
    if (look() && look()->text == "a" && look(1) && degree_word(*look(1))) ++at_;  // "a third"
    if (const Word* word = look()) {
      Word one = *word;
      std::size_t used = 1;
      if (says({"flat", "sharp"}) && look(1)) {  // "flat nine"
        one.plain += look(1)->plain;
        one.text = one.plain;
        used = 2;
      }
      const auto degree = degree_word(one);
      if (degree) {
        at_ += used;
        Clause out = leaf(Is::kDegree, harmony::text(*degree));
        out.degree = *degree;
        return out;
      }
    }
    if (const auto name = read_name()) return of_note(Is::kNote, *name);
    at_ = begins;
    return std::nullopt;
  }

  // "G", or "G or A".
  std::optional<Clause> read_notes() {
    auto note = read_note();
    if (!note) return std::nullopt;
    std::vector<Clause> notes{std::move(*note)};
    while (says({"or"})) {
      const std::size_t before = at_;
      ++at_;
      auto more = read_note();
      // "or Ab under G" is another choice.
      if (!more || says({"under", "over", "on", "then"}) ||
          (look() && (family_word(*look()) || quality_word(look()->text)))) {
        at_ = before;
        break;
      }
      notes.push_back(std::move(*more));
    }
    if (notes.size() == 1) return std::move(notes[0]);
    Clause any = leaf(Is::kAny, "");
    any.parts = std::move(notes);
    return any;
  }

  bool kind_stands(std::size_t ahead) const {
    const Word* word = look(ahead);
    if (!word) return false;
    return family_word(*word) || says({"half", "altered", "chord", "chords"}, ahead) ||
           (quality_word(word->text) && !number_word(*word));
  }

  std::optional<Clause> read_chord() {
    const std::size_t begins = at_;
    symbol_ = false;
    Clause out;
    bool exactly = false, any = false;
    for (;;) {
      if (accept({"exactly", "just", "only"}))
        exactly = true;
      else if (accept({"any", "every", "some", "all"}))
        any = true;
      else if (accept({"an", "the"}))
        continue;
      else if (look() && look()->text == "a" && kind_stands(1))
        ++at_;
      else
        break;
    }
    const auto give_up = [&]() -> std::optional<Clause> {
      at_ = begins;
      return std::nullopt;
    };
    if (accept({"chord", "chords", "anything", "something"})) {
      // "any chord"
    } else if (auto kind = read_kind(exactly)) {
      out.parts.push_back(std::move(*kind));
    } else if (any && says({"on"})) {
      // "any on Bb"
    } else {
      const auto symbol = look() ? symbol_word(*look()) : std::nullopt;
      if (!symbol) return give_up();
      const bool bare = !symbol->quality && !symbol->bass;
      auto root = symbol->root;
      const std::string text = look()->text;
      ++at_;
      symbol_ = true;
      bool two_words = false;
      if (bare && text.size() == 1 && says({"flat", "sharp"})) {
        root = harmony::NoteName(root.fifths() + (says({"flat"}) ? -7 : 7));
        ++at_;
        two_words = true;
      }
      out.parts.push_back(of_note(Is::kRoot, root));
      if (symbol->quality) {
        Clause written = leaf(Is::kKind, (exactly ? "exactly " : "") + symbol->quality_words);
        if (exactly)
          written.rows.set(static_cast<std::size_t>(symbol->quality->row()));
        else
          written.rows = rows_containing(*symbol->quality);
        out.parts.push_back(std::move(written));
      } else if (bare && !says({"in"})) {
        const Word* next = look();
        if (next &&
            (family_word(*next) || says({"half", "altered"}) || (two_words && quality_word(next->text)))) {
          if (auto named = read_kind(exactly)) out.parts.push_back(std::move(*named));
        }
      }
      if (symbol->bass) out.parts.push_back(of_note(Is::kBass, *symbol->bass));
    }
    accept({"chord", "chords"});
    if (!symbol_ && says({"on"})) {
      ++at_;
      accept({"the"});
      const auto root = read_name();
      if (!root) {
        --at_;
        return out.parts.empty() ? give_up() : std::optional(std::move(out));
      }
      out.parts.push_back(of_note(Is::kRoot, *root));
    }
    return out;
  }

  // A family with the size of the chord, or a quality without a root.
  std::optional<Clause> read_kind(bool exactly) {
    const Word* word = look();
    if (!word) return std::nullopt;
    if (says({"altered"})) {
      ++at_;
      accept({"dominant", "dominants"});
      Clause altered = leaf(Is::kKind, "altered dominant");
      altered.rows = altered_rows();
      return altered;
    }
    auto family = family_word(*word);
    if (says({"half"}) && says({"diminished", "dim"}, 1)) {
      family = harmony::Family::kHalfDiminished;
      ++at_;
    }
    if (family) {
      ++at_;
      std::optional<int> size;
      std::string words(word_for(*family));
      if (look() && (size = size_word(*look()))) {
        static constexpr std::pair<int, std::string_view> kSizes[] = {
            {3, "triad"}, {6, "sixth"}, {7, "seventh"}, {9, "ninth"}, {11, "eleventh"}, {13, "thirteenth"}};
        for (const auto& [n, name] : kSizes)
          if (n == *size) words += " " + std::string(name);
        ++at_;
      } else if (exactly) {
        size = 3;
        words += " triad";
      }
      Clause of_family = leaf(Is::kKind, words);
      of_family.rows = rows_of(*family, size);
      return of_family;
    }
    const auto quality = number_word(*word) ? std::nullopt : quality_word(word->text);
    if (!quality) return std::nullopt;
    ++at_;
    Clause kind = leaf(Is::kKind, (exactly ? "exactly " : "") + std::string(harmony::row(*quality).letters));
    if (exactly)
      kind.rows.set(static_cast<std::size_t>(quality->row()));
    else
      kind.rows = rows_containing(*quality);
    return kind;
  }

  // "in F", "in F minor", "in the key of Bb"
  std::optional<Clause> read_key() {
    const std::size_t begins = at_;
    const bool in = accept({"in"});
    accept({"the"});
    const bool key = accept({"key"});
    if (!in && !key) {
      at_ = begins;
      return std::nullopt;
    }
    if (key) accept({"of"});
    const auto give_up = [&] {
      at_ = begins;
      return std::nullopt;
    };
    const Word* word = look();
    std::optional<bool> minor;
    auto name = read_name();
    if (!name && word) {  // "Fm"
      const auto symbol = symbol_word(*word);
      if (!symbol || symbol->bass || !symbol->quality) return give_up();
      const auto quality = harmony::row(*symbol->quality).harte;
      if (quality != "maj" && quality != "min") return give_up();
      name = symbol->root;
      minor = quality == "min";
      ++at_;
    }
    if (!name) return give_up();
    if (!minor && says({"major", "maj"}))
      minor = false, ++at_;
    else if (!minor && says({"minor", "min"}))
      minor = true, ++at_;
    Clause out = leaf(Is::kKey, harmony::text(*name) + (!minor ? "" : *minor ? " minor" : " major"));
    const int tonic = name->pitch_class().value();
    if (!minor || !*minor) out.keys |= 1u << tonic;
    if (!minor || *minor) out.keys |= 1u << (12 + tonic);
    return out;
  }

  // ---- days

  struct Span {
    std::optional<Day> first, last;
  };

  std::optional<Clause> read_days() {
    const std::size_t begins = at_;
    std::optional<Span> span;
    if (accept({"since", "from", "after", "before", "until", "between"})) {
      const std::string how = words_[begins].plain;
      auto one = read_span();
      if (!one) {
        if (how != "from" || !at_end()) unexpected("expected a day, such as 2026-11-05, yesterday or March");
        return std::nullopt;
      }
      span = *one;
      if (how == "before")
        span = Span{std::nullopt, one->first ? std::optional(plus(*one->first, -1)) : std::nullopt};
      if (how == "until") span->first.reset();
      if (how == "after")
        span = Span{one->last ? std::optional(plus(*one->last, 1)) : std::nullopt, std::nullopt};
      if (how == "since") span->last.reset();
      if (how == "from" || how == "between") {
        if (accept({"to", "until", "till", "and"})) {
          const auto other = read_span();
          if (!other) {
            unexpected("expected a day, such as 2026-11-05, yesterday or March");
            return std::nullopt;
          }
          span->last = other->last;
        } else {
          span->last.reset();
        }
      }
    } else {
      if (says({"in", "on"})) ++at_;
      span = read_span();
      if (!span) {
        at_ = begins;
        return std::nullopt;
      }
      if (says({"to", "until", "till"})) {
        ++at_;
        const auto other = read_span();
        if (!other) {
          unexpected("expected a day, such as 2026-11-05, yesterday or March");
          return std::nullopt;
        }
        span->last = other->last;
      }
    }
    if (days_ == kMostDays) {
      fail(fmt::format("The question names more than {} spans of days.", kMostDays));
      return std::nullopt;
    }
    if (span->first && span->last && *span->first > *span->last) {
      fail(fmt::format("The days at column {} end before they begin: {} to {}.", words_[begins].column,
                       text_of(*span->first), text_of(*span->last)));
      return std::nullopt;
    }
    std::string words;
    if (span->first && span->last)
      words = *span->first == *span->last ? "on " + text_of(*span->first)
                                          : "from " + text_of(*span->first) + " to " + text_of(*span->last);
    else if (span->first)
      words = "since " + text_of(*span->first);
    else
      words = span->last ? "until " + text_of(*span->last) : "on any day";
    Clause out = leaf(Is::kDays, words);
    out.first = span->first;
    out.last = span->last;
    out.days = days_++;
    return out;
  }

  static Span year_span(int year) {
    using namespace std::chrono;
    return {Day(chrono::year(year) / January / 1), Day(chrono::year(year) / December / 31)};
  }
  static Span month_span(chrono::year year, chrono::month month) {
    return {Day(year / month / 1), last_of_month(year, month)};
  }
  Span week_span(int back) const {
    const auto monday = chrono::sys_days(today_) -
                        (chrono::weekday(chrono::sys_days(today_)) - chrono::Monday) - chrono::days(7 * back);
    return {Day(monday), Day(monday + chrono::days(6))};
  }
  std::optional<int> year_word(std::size_t ahead) const {
    const Word* word = look(ahead);
    const auto year = word && word->text.size() == 4 ? number_word(*word) : std::nullopt;
    return year && *year >= 1900 && *year <= 9999 ? year : std::nullopt;
  }

  std::optional<Span> read_span() {
    const Word* word = look();
    if (!word) return std::nullopt;
    const auto take = [&](Span span, std::size_t words = 1) {
      at_ += words;
      return std::optional(span);
    };
    if (says({"today"})) return take({today_, today_});
    if (says({"yesterday"})) return take({plus(today_, -1), plus(today_, -1)});
    if (const auto day = date_word(*word)) return take({*day, *day});
    if (word->text.size() == 7 && word->text[4] == '-') {  // "2026-11"
      const auto year = number_word({word->text.substr(0, 4), "", 1}),
                 month = number_word({word->text.substr(5), "", 1});
      if (year && month && *year >= 1900 && *month >= 1 && *month <= 12)
        return take(month_span(chrono::year(*year), chrono::month(static_cast<unsigned>(*month))));
    }
    if (const auto year = year_word(0)) return take(year_span(*year));
    if (const auto month = month_word(*word)) {
      if (const auto year = year_word(1))
        return take(month_span(chrono::year(*year), chrono::month(*month)), 2);
      const auto year =
          chrono::month(*month) <= today_.month() ? today_.year() : today_.year() - chrono::years(1);
      return take(month_span(year, chrono::month(*month)));
    }
    if (const auto weekday = weekday_word(*word)) {  // the most recent such day
      const auto back = chrono::weekday(chrono::sys_days(today_)) - chrono::weekday(*weekday);
      const Day day(chrono::sys_days(today_) - back);
      return take({day, day});
    }
    if (says({"this", "last"})) {
      const bool last = says({"last"});
      if (says({"week"}, 1)) return take(week_span(last ? 1 : 0), 2);
      if (says({"month"}, 1)) {
        const auto month = chrono::year_month(today_.year(), today_.month()) - chrono::months(last ? 1 : 0);
        return take(month_span(month.year(), month.month()), 2);
      }
      if (says({"year"}, 1)) return take(year_span(static_cast<int>(today_.year()) - (last ? 1 : 0)), 2);
      const auto count = last && look(1) ? number_word(*look(1)) : std::nullopt;
      if (count && *count >= 1 && *count <= 10'000 &&
          says({"day", "days", "week", "weeks", "month", "months"}, 2)) {
        const int length = says({"day", "days"}, 2) ? 1 : says({"week", "weeks"}, 2) ? 7 : 30;
        return take({plus(today_, 1 - *count * length), today_}, 3);
      }
    }
    return std::nullopt;
  }

  const std::vector<Word> words_;
  const Day today_;
  std::size_t at_ = 0;
  std::size_t days_ = 0;
  bool symbol_ = false;  // the last chord that was read had its own root
  std::optional<std::string> wrong_;
};

// ---- the question as a sentence

std::string in_words(const Clause& c, bool inner);

// "G or A" if all alternatives are of the kinds in `of`; else nullopt.
std::optional<std::string> choice_of(const Clause& any, std::initializer_list<Is> of) {
  std::string out;
  for (const Clause& part : any.parts) {
    const Clause& one = part.is == Is::kAll && part.parts.size() == 1 ? part.parts[0] : part;
    if (std::find(of.begin(), of.end(), one.is) == of.end()) return std::nullopt;
    out += (out.empty() ? "" : " or ") + std::string(one.is == Is::kDegree ? "its " : "") + one.words;
  }
  return out;
}

std::string chord_words(const std::vector<const Clause*>& parts) {
  std::string kind, root, bass, above, rest;
  const auto add = [](std::string& to, const std::string& more, std::string_view between) {
    to += (to.empty() ? "" : std::string(between)) + more;
  };
  for (const Clause* part : parts) {
    if (part->is == Is::kAny) {
      if (const auto names = choice_of(*part, {Is::kNote, Is::kDegree})) {
        add(above, *names, " and ");
        continue;
      }
      if (const auto names = choice_of(*part, {Is::kRoot})) {
        add(root, *names, " and ");
        continue;
      }
    }
    switch (part->is) {
      case Is::kKind: add(kind, part->words, " and "); break;
      case Is::kRoot: add(root, part->words, " and "); break;
      case Is::kBass: add(bass, part->words, " and "); break;
      case Is::kNote: add(above, part->words, " and "); break;
      case Is::kDegree: add(above, "its " + part->words, " and "); break;
      case Is::kKey: rest += ", in " + part->words; break;
      case Is::kDays: rest += ", " + part->words; break;
      default: rest += ", " + in_words(*part, true); break;
    }
  }
  const bool named = !kind.empty() || !root.empty() || !bass.empty() || !above.empty();
  if (!named && !rest.empty()) return rest.substr(2);
  std::string out = kind.empty() ? "any chord" : kind;
  if (!root.empty()) out += " on " + root;
  if (!bass.empty()) out += " with " + bass + " in the bass";
  if (!above.empty()) out += " under " + above;
  return out + rest;
}

std::string in_words(const Clause& c, bool inner) {
  switch (c.is) {
    case Is::kAll: {
      if (c.parts.empty()) return "any chord";
      std::vector<const Clause*> parts;
      for (const Clause& part : c.parts) parts.push_back(&part);
      return chord_words(parts);
    }
    case Is::kAny: {
      std::string out;
      if (choice_of(c, {Is::kNote, Is::kDegree}) || choice_of(c, {Is::kRoot})) return chord_words({&c});
      for (const Clause& part : c.parts) out += (out.empty() ? "" : " or ") + in_words(part, true);
      return inner ? "(" + out + ")" : out;
    }
    case Is::kNot: return "not (" + in_words(c.parts[0], false) + ")";
    case Is::kKey: return "in " + c.words;
    case Is::kDays: return c.words;
    default: return chord_words({&c});
  }
}

}  // namespace

bool speaks_of_note(const Clause& c) {
  if (c.is == Is::kNote || c.is == Is::kDegree) return true;
  return std::any_of(c.parts.begin(), c.parts.end(), speaks_of_note);
}

Result<Question> read_question(std::string_view text, Day today) {
  if (text.size() > kLongestQuestion)
    return invalid_input(fmt::format("The question is longer than {} letters.", kLongestQuestion));
  return WordReader(text, today).read();
}

std::string in_words(const Choice& choice) {
  std::string out;
  for (const Step& step : choice.steps) {
    if (!out.empty()) out += ", then ";
    if (!step.move_words.empty()) out += step.move_words + " to ";
    out += step.what.parts.size() == 1 ? in_words(step.what.parts[0], false) : in_words(step.what, false);
  }
  if (!choice.always.parts.empty()) out += ", " + in_words(choice.always, false);
  return out;
}

std::string in_words(const Question& question) {
  std::string out;
  for (const Choice& choice : question.choices) out += (out.empty() ? "" : "; or ") + in_words(choice);
  return out;
}

}  // namespace undersong::takes
