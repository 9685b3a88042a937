#include "daemon/takes/backup.h"

#include <SQLiteCpp/SQLiteCpp.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <ctime>
#include <thread>

#include "daemon/base/private_folder.h"
#include "daemon/base/replace_file.h"
#include "daemon/takes/database.h"

namespace undersong::takes {
namespace {

namespace fs = std::filesystem;
constexpr int kPagesAtOnce = 256;
constexpr std::uintmax_t kRoomToLeave = 64u << 20;

Error failure(const SQLite::Exception& e, const fs::path& file) {
  const bool full = kind_of(e) == Trouble::kFull;
  return {full ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
          full ? "The disk that holds " + file.string() + " is full." : sentence_of(e, file)};
}

// Copies all pages. The transaction keeps what is read as it is, while others go on writing.
std::optional<Error> copy(SQLite::Database& from, SQLite::Database& to, const fs::path& file,
                          const BackupPace& pace) {
  SQLite::Transaction as_it_is(from);
  (void)from.execAndGet("SELECT count(*) FROM sqlite_master");
  const auto end = std::chrono::steady_clock::now() + pace.most;
  sqlite3_backup* backup = sqlite3_backup_init(to.getHandle(), "main", from.getHandle(), "main");
  if (backup == nullptr) throw SQLite::Exception(to.getHandle());
  int result = SQLITE_OK;
  std::optional<Error> gave_up;
  while (!gave_up && (result == SQLITE_OK || result == SQLITE_BUSY || result == SQLITE_LOCKED)) {
    result = sqlite3_backup_step(backup, kPagesAtOnce);
    if (pace.stop != nullptr && *pace.stop) gave_up = unavailable("The takes are being closed.");
    if (std::chrono::steady_clock::now() > end)
      gave_up = unavailable("Writing the backup " + file.string() + " took too long.");
    if (result != SQLITE_OK)
      std::this_thread::sleep_for(std::chrono::milliseconds(result == SQLITE_DONE ? 0 : 50));
    std::this_thread::sleep_for(pace.pause);
  }
  const int finished = sqlite3_backup_finish(backup);
  if (gave_up && result != SQLITE_DONE) return gave_up;
  if (finished != SQLITE_OK) throw SQLite::Exception("the backup failed", finished);
  return std::nullopt;
}

std::string day_of(std::chrono::system_clock::time_point now) {
  const std::time_t time = std::chrono::system_clock::to_time_t(now);
  std::tm local{};
  ::localtime_r(&time, &local);
  char text[16];
  return {text, std::strftime(text, sizeof text, "%Y-%m-%d", &local)};
}

}  // namespace

std::optional<Error> not_a_store(const fs::path& file) {
  std::error_code failed;
  if (!fs::is_regular_file(file, failed)) return not_found("There is no file " + file.string() + ".");
  try {
    SQLite::Database there(file.string(), SQLite::OPEN_READONLY, 250);
    if (there.execAndGet("PRAGMA application_id").getInt() != kApplicationId || !there.tableExists("log"))
      return invalid_input("The file " + file.string() + " does not hold takes.");
    if (const int layout = there.execAndGet("PRAGMA user_version").getInt(); layout > kLayoutVersion)
      return Error{ErrorCode::kConflict,
                   "The file " + file.string() + " was written by a newer undersong (layout " +
                       std::to_string(layout) + ", this one knows " + std::to_string(kLayoutVersion) + ")."};
    if (const std::string said = there.execAndGet("PRAGMA integrity_check(1)").getString(); said != "ok")
      return invalid_input("The file of takes " + file.string() + " is damaged.");
  } catch (const SQLite::Exception& e) {
    if (kind_of(e) == Trouble::kDamaged)
      return invalid_input("The file " + file.string() + " does not hold takes, or is damaged.");
    return failure(e, file);
  }
  return std::nullopt;
}

Result<std::uintmax_t> back_up(const fs::path& store, const fs::path& to, const BackupPace& pace) {
  std::error_code failed;
  if (fs::exists(fs::symlink_status(to, failed)))
    return Error{ErrorCode::kConflict, "There is a file " + to.string() + " already; name another."};
  if (!fs::is_regular_file(store, failed))
    return not_found("There is no file of takes " + store.string() + ".");
  const fs::path folder = to.has_parent_path() ? to.parent_path() : fs::path(".");
  if (auto made = make_private_folder(folder); !made) return made.error();
  const auto size = fs::file_size(store, failed);
  if (const auto space = fs::space(folder, failed); !failed && space.available < size + kRoomToLeave)
    return Error{ErrorCode::kExhausted, "There is no room in " + folder.string() +
                                            " for a backup of the takes, which needs " +
                                            std::to_string((size >> 20) + 1) + " MB."};
  const fs::path part = to.string() + ".part";
  fs::remove(part, failed);
  const auto give_up = [&](Error error) {
    fs::remove(part, failed);
    fs::remove(part.string() + "-journal", failed);
    return error;
  };
  try {
    // Made first, so that nobody else can read it at any time.
    const int made = ::open(part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (made < 0) return unavailable(part.string() + ": can't be written: " + std::strerror(errno) + ".");
    ::close(made);
    SQLite::Database from(store.string(), SQLite::OPEN_READONLY, 1000);
    SQLite::Database copied(part.string(), SQLite::OPEN_READWRITE, 1000);
    if (auto error = copy(from, copied, to, pace)) return give_up(*error);
    copied.exec("PRAGMA journal_mode = DELETE");
    if (copied.execAndGet("PRAGMA quick_check(1)").getString() != "ok")
      return give_up(unavailable("The copy of the takes in " + to.string() +
                                 " would be damaged, because the file of takes " + store.string() + " is."));
  } catch (const SQLite::Exception& e) {
    return give_up(failure(e, kind_of(e) == Trouble::kFull ? to : store));
  }
  const bool on_disk = sync_to_disk(part);
  // link() fails where there is a file of that name by now, rename() would replace it.
  if (!on_disk || ::link(part.c_str(), to.c_str()) != 0) {
    const int reason = errno;
    if (!on_disk || (reason != EPERM && reason != EOPNOTSUPP && reason != ENOSYS))
      return give_up(unavailable(to.string() + ": can't be written: " + std::strerror(reason) + "."));
    fs::rename(part, to, failed);  // a file system without hard links
    if (failed) return give_up(unavailable(to.string() + ": can't be written: " + failed.message() + "."));
  }
  fs::remove(part, failed);
  sync_to_disk(folder);
  return fs::file_size(to, failed);
}

fs::path DailyBackups::of_day(std::chrono::system_clock::time_point now) const {
  return folder_ / (store_.stem().string() + '-' + day_of(now) + store_.extension().string());
}

std::vector<fs::path> DailyBackups::all() const {
  const std::string begins = store_.stem().string() + '-', ends = store_.extension().string();
  std::vector<fs::path> out;
  std::error_code failed;
  for (fs::directory_iterator at(folder_, failed), last; !failed && at != last; at.increment(failed)) {
    const std::string name = at->path().filename().string();
    if (name.size() == begins.size() + 10 + ends.size() && name.starts_with(begins) && name.ends_with(ends) &&
        name.substr(begins.size(), 10).find_first_not_of("0123456789-") == std::string::npos)
      out.push_back(at->path());
  }
  std::sort(out.begin(), out.end());
  return out;
}

bool DailyBackups::due(std::chrono::system_clock::time_point now) const {
  std::error_code ignored;
  return keep_ != 0 && !fs::exists(of_day(now), ignored);
}

Result<fs::path> DailyBackups::make(std::chrono::system_clock::time_point now, const BackupPace& pace,
                                    bool remove_oldest) const {
  const fs::path to = of_day(now);
  if (const auto made = back_up(store_, to, pace); !made) return made.error();
  const auto there = all();
  std::error_code ignored;
  for (std::size_t i = 0; remove_oldest && i + keep_ < there.size(); ++i) fs::remove(there[i], ignored);
  return to;
}

std::optional<std::int64_t> DailyBackups::newest_utc_ms() const {
  const auto there = all();
  struct stat about {};
  if (there.empty() || ::stat(there.back().c_str(), &about) != 0) return std::nullopt;
  return std::int64_t{about.st_mtim.tv_sec} * 1000 + about.st_mtim.tv_nsec / 1'000'000;
}

}  // namespace undersong::takes
