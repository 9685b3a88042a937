#include "clients/offline/backup.h"

#include <fmt/format.h>

#include <filesystem>
#include <future>
#include <memory>

#include "daemon/base/private_folder.h"
#include "daemon/takes/backup.h"
#include "daemon/takes/instance_lock.h"
#include "daemon/takes/store.h"

namespace undersong::offline {
namespace {

void fail(const std::string& sentence, int& exit_code) {
  fmt::print(stderr, "undersong: {}\n", sentence);
  exit_code = 1;
}

Result<std::filesystem::path> restored(const std::filesystem::path& path, const std::filesystem::path& from) {
  if (auto made = make_private_folder(path.parent_path()); !made) return made.error();
  const auto lock = takes::InstanceLock::take(path, "`undersong restore` without --takes asks it to restore");
  if (!lock) return lock.error();
  if (auto wrong = takes::not_a_store(from)) return *wrong;
  auto store = takes::Store::open({.path = path}, {});
  if (!store) return store.error();
  std::promise<Result<std::filesystem::path>> promise;
  (*store)->restore(from, [&](Result<std::filesystem::path> kept) { promise.set_value(std::move(kept)); });
  auto kept = promise.get_future().get();
  (void)(*store)->close();
  return kept;
}

}  // namespace

std::optional<std::uint64_t> back_up_file(const std::string& takes, const std::string& to, int& exit_code) {
  const auto size = takes::back_up(takes, to);
  if (size) return *size;
  fail(size.error().message, exit_code);
  return std::nullopt;
}

std::optional<std::string> restore_file(const std::string& takes, const std::string& from, int& exit_code) {
  const auto kept = restored(std::filesystem::absolute(takes), from);
  if (kept) return kept->string();
  fail(kept.error().message, exit_code);
  return std::nullopt;
}

}  // namespace undersong::offline
