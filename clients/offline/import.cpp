#include "clients/offline/import.h"

#include <fmt/format.h>

#include <chrono>
#include <future>
#include <optional>
#include <utility>

#include "daemon/base/private_folder.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/bring_date.h"
#include "daemon/takes/instance_lock.h"
#include "daemon/takes/store.h"

namespace undersong::offline {
namespace {

namespace fs = std::filesystem;

// Waits for the answer of the store, which gives it on its own thread.
template <class T, class Ask>
Result<T> answer_of(Ask ask) {
  auto promise = std::make_shared<std::promise<Result<T>>>();
  auto answer = promise->get_future();
  ask([promise](Result<T> result) { promise->set_value(std::move(result)); });
  return answer.get();
}

class IntoStore final : public FilesInto {
 public:
  static Result<std::unique_ptr<IntoStore>> open(const fs::path& path) {
    if (auto made = make_private_folder(path.parent_path()); !made) return made.error();
    auto lock = takes::InstanceLock::take(
        path, "without --takes, the files go to the undersongd that runs, also while you play");
    if (!lock) return lock.error();
    auto store = takes::Store::open({.path = path}, {});
    if (!store) return store.error();
    return std::unique_ptr<IntoStore>(new IntoStore(std::move(*lock), std::move(*store)));
  }

  // Takes of older versions must be recognised too. If that fails, `bring` says why.
  bool ready() override {
    constexpr std::size_t kAtOnce = 50;
    const auto left =
        answer_of<std::uint64_t>([&](auto answer) { store_->make_find_prints(kAtOnce, std::move(answer)); });
    return !left || *left == 0;
  }

  FileBrought bring(const fs::path& path) override {
    std::error_code failed;
    if (const auto size = fs::file_size(path, failed); !failed && size > kLargestFile)
      return FileBrought::refused(
          fmt::format("{}: The file is larger than {} MB.", path.string(), kLargestFile >> 20));
    const auto file = midi::read_smf_file(path);
    if (!file) return FileBrought::refused(file.error().message);
    const auto events = takes::events_to_bring(*file);
    if (!events) return FileBrought::refused(path.string() + ": " + events.error().message);
    const auto known = answer_of<std::optional<takes::TakeId>>(
        [&](auto answer) { store_->known(takes::notes_to_bring(*events), std::move(answer)); });
    if (!known) return FileBrought::no_place(known.error().message);
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    const auto begin =
        takes::date_brought(path.stem().string(), changed_utc_ms(path),
                            std::chrono::duration_cast<std::chrono::milliseconds>(now).count());
    FileBrought out{FileBrought::Outcome::kKnown, known->value_or(0), begin, {}};
    if (*known) return out;
    const auto brought = answer_of<takes::Brought>([&](auto answer) {
      store_->bring(takes::bring(*events, path.stem().string(), out.begin_utc_ms), std::move(answer));
    });
    if (!brought) return FileBrought::no_place(brought.error().message);
    if (!brought->known) out.outcome = FileBrought::Outcome::kBrought;
    out.take = brought->take;
    return out;
  }

  std::optional<std::string> close() override {
    const auto closed = store_->close();
    return closed.all_kept() ? std::nullopt : std::optional(closed.sentence);
  }

 private:
  IntoStore(std::unique_ptr<takes::InstanceLock> lock, std::unique_ptr<takes::Store> store)
      : lock_(std::move(lock)), store_(std::move(store)) {}

  const std::unique_ptr<takes::InstanceLock> lock_;  // released last
  const std::unique_ptr<takes::Store> store_;
};

}  // namespace

std::unique_ptr<FilesInto> open_for_files(const std::string& takes, int& exit_code) {
  auto opened = IntoStore::open(fs::absolute(takes));
  if (opened) return std::move(*opened);
  fmt::print(stderr, "undersong: {}\n", opened.error().message);
  exit_code = 1;
  return nullptr;
}

}  // namespace undersong::offline
