#include "daemon/base/aside.h"

#include <gtest/gtest.h>

#include <new>
#include <optional>
#include <vector>

namespace undersong {
namespace {

// Both threads in one: what waits is run when it is told to.
struct Line {
  std::vector<Aside::Work> aside, posted;
  bool full = false;
  const Aside here{[this](Aside::Work work) {
                     if (!full) aside.push_back(std::move(work));
                     return !full;
                   },
                   [this](Aside::Work work) { posted.push_back(std::move(work)); }};
  std::optional<Result<int>> answer;
  void ask(std::function<Result<int>()> job) {
    here.answer<int>(
        "this was worked out", [this](Result<int> result) { answer = std::move(result); }, std::move(job));
  }
  void run() {
    for (auto* line : {&aside, &posted}) {
      for (const auto& work : *line) work();
      line->clear();
    }
  }
};

TEST(Aside, AnswersOnTheOwnersThread) {
  Line line;
  line.ask([] { return Result<int>(7); });
  EXPECT_FALSE(line.answer);
  ASSERT_EQ(line.aside.size(), 1u);
  line.aside[0]();
  EXPECT_FALSE(line.answer) << "not where it was worked out";
  line.aside.clear();
  line.run();
  ASSERT_TRUE(line.answer && *line.answer);
  EXPECT_EQ(**line.answer, 7);
}

TEST(Aside, ErrorsAreSentences) {
  Line line;
  line.ask([] { return Result<int>(not_found("no such thing")); });
  line.run();
  ASSERT_TRUE(line.answer && !*line.answer);
  EXPECT_EQ(line.answer->error().message, "No such thing.");
  line.ask([]() -> Result<int> { throw std::bad_alloc(); });
  line.run();
  EXPECT_EQ(line.answer->error().code, ErrorCode::kExhausted);
  EXPECT_EQ(line.answer->error().message,
            "There was not enough memory while this was worked out; everything else goes on.");
}

TEST(Aside, WhatDoesNotFitIsRefusedAtOnce) {
  Line line;
  line.full = true;
  line.ask([] { return Result<int>(7); });
  ASSERT_TRUE(line.answer && !*line.answer);
  EXPECT_EQ(line.answer->error().code, ErrorCode::kExhausted);
}

}  // namespace
}  // namespace undersong
