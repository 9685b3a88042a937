// Work that would keep its owner's thread too long: it runs on another one, and its answer is given on the
// owner's.
//
//   const Aside aside{[&](auto work) { return worker.run(std::move(work)); },
//                     [&](auto work) { post(io, std::move(work)); }};
//   aside.answer<Loop>("the loop was looked for", std::move(answer), [take]() -> Result<Loop> { ... });
//
// What the job holds is let go of on the other thread too. Threads: `answer` on the owner's thread; the job
// runs where `run` says. Errors: the job's own, as a sentence for people; kExhausted when too much waits
// already; what the job throws, as caught.h makes it.
#pragma once

#include <cctype>
#include <functional>
#include <memory>
#include <string>
#include <utility>

#include "daemon/base/caught.h"
#include "daemon/base/result.h"

namespace undersong {

// For people: capital letter, full stop.
inline Error as_sentence(Error error) {
  if (error.message.empty()) error.message = "it could not be done";
  error.message[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(error.message[0])));
  if (error.message.back() != '.') error.message += '.';
  return error;
}

class Aside {
 public:
  using Work = std::function<void()>;
  template <class T>
  using Answer = std::function<void(Result<T>)>;

  // `run` gives work to the other thread, false when too much waits there; `post` gives it to the owner's.
  Aside(std::function<bool(Work)> run, std::function<void(Work)> post)
      : run_(std::move(run)), post_(std::move(post)) {}

  // `while_what` goes on "while ...", for what the job throws.
  template <class T>
  void answer(std::string while_what, Answer<T> answer, std::function<Result<T>()> job) const {
    // Made here, so that the other thread needs no memory to say that there was not enough.
    const auto result = std::make_shared<Result<T>>(Error{});
    const bool taken =
        run_([post = post_, result, while_what = std::move(while_what), answer, job = std::move(job)] {
          *result = guarded<T>(while_what, job);
          post([answer, result] {
            answer(*result ? std::move(*result) : Result<T>(as_sentence(std::move(result->error()))));
          });
        });
    if (!taken)
      answer(Error{ErrorCode::kExhausted, "Too much is being worked out already; ask again in a moment."});
  }

  // The plain form: what the work returns is done on the owner's thread. False when too much waits already.
  bool run(std::function<Work()> work) const {
    return run_([post = post_, work = std::move(work)] { post(work()); });
  }

 private:
  std::function<bool(Work)> run_;
  std::function<void(Work)> post_;
};

}  // namespace undersong
