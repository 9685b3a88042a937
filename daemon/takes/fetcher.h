// Kept takes for whoever works on them: read from the store, worked on aside, answered on the owner's thread.
//
//   fetcher.with_take<Sketch>(12, answer, [](const Store::Midi& take) -> Result<Sketch> { ... });
//
// An hour's take is a megabyte or two, so no more than kMostAtOnce questions are under way, whoever asks; the
// rest wait in line. Threads: all calls on the owner's thread, where the store delivers; jobs run on that of
// `aside`, which must have stopped before this goes. Errors: the store's, the job's, and those of aside.h,
// one sentence each.
#pragma once

#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/base/aside.h"
#include "daemon/takes/store.h"

namespace undersong::takes {

class Fetcher {
 public:
  using Midi = Store::Midi;
  using Takes = std::vector<std::shared_ptr<const Midi>>;
  static constexpr std::size_t kMostAtOnce = 8;  // questions under way
  template <class T>
  using Answer = Store::Answer<T>;

  // The store outlives this.
  Fetcher(Store& store, Aside aside) : store_(store), aside_(std::move(aside)) {}

  Store& store() { return store_; }
  const Aside& aside() const { return aside_; }

  // The newest that is not deleted without a number.
  template <class T>
  void with_take(std::optional<TakeId> take, Answer<T> answer, std::function<Result<T>(const Midi&)> job) {
    begin([this, take, answer = counted<T>(std::move(answer)), job = std::move(job)] {
      store_.midi(take, [this, answer, job](Result<Midi> got) {
        if (!got) return answer(got.error());
        const auto midi = std::make_shared<const Midi>(std::move(*got));
        aside_.answer<T>("take " + std::to_string(midi->detail.summary.take) + " was listened to again",
                         answer, [midi, job] { return job(*midi); });
      });
    });
  }
  // In the order in which they are named.
  template <class T>
  void with_takes(std::vector<TakeId> wanted, Answer<T> answer, std::function<Result<T>(const Takes&)> job) {
    begin([this, wanted = std::move(wanted), answer = counted<T>(std::move(answer)), job = std::move(job)] {
      fetch(wanted, {}, [this, answer, job](Result<Takes> got) {
        if (!got) return answer(got.error());
        aside_.answer<T>("takes were listened to again", answer,
                         [takes = std::move(*got), job] { return job(takes); });
      });
    });
  }

 private:
  // One after another, into `so_far`.
  void fetch(std::vector<TakeId> wanted, Takes so_far, std::function<void(Result<Takes>)> use) {
    if (so_far.size() == wanted.size()) return use(std::move(so_far));
    const TakeId next = wanted[so_far.size()];
    store_.midi(next, [this, wanted = std::move(wanted), so_far = std::move(so_far),
                       use = std::move(use)](Result<Midi> got) mutable {
      if (!got) return use(got.error());
      so_far.push_back(std::make_shared<const Midi>(std::move(*got)));
      fetch(std::move(wanted), std::move(so_far), std::move(use));
    });
  }

  // Begun when there is room; takes that wait are not read yet.
  void begin(std::function<void()> work) {
    if (under_way_ == kMostAtOnce) return waiting_.push_back(std::move(work));
    ++under_way_;
    work();
  }
  template <class T>
  Answer<T> counted(Answer<T> answer) {
    return [this, answer = std::move(answer)](Result<T> result) {
      ended();
      answer(std::move(result));
    };
  }
  void ended() {
    if (waiting_.empty()) {
      --under_way_;
      return;
    }
    const auto next = std::move(waiting_.front());
    waiting_.pop_front();
    next();
  }

  Store& store_;
  const Aside aside_;
  std::size_t under_way_ = 0;
  std::deque<std::function<void()>> waiting_;
};

}  // namespace undersong::takes
