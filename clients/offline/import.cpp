// undersong import FILES OR FOLDERS --takes STORE: makes each standard MIDI file a take, with the date on
// which it was played.
//
// The file of takes is locked as by a daemon, so that two programs never number lines at once; while a daemon
// keeps takes in it, the command says so and does nothing. Each take is one transaction. If the command is
// stopped or killed, what was written stays, and running it again goes on: takes that are there already are
// recognised by their notes, before they are analysed.
#include <fmt/format.h>
#include <signal.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <boost/json.hpp>
#include <chrono>
#include <csignal>
#include <ctime>
#include <filesystem>
#include <future>
#include <iostream>
#include <memory>
#include <optional>
#include <regex>
#include <string>
#include <vector>

#include "clients/offline/commands.h"
#include "daemon/base/private_folder.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/instance_lock.h"
#include "daemon/takes/store.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;
namespace fs = std::filesystem;

constexpr int kStopped = 130;  // as a shell reports a program that was stopped with Ctrl-C
constexpr std::uintmax_t kLargestFile = 64u << 20;

volatile std::sig_atomic_t stop = 0;

struct ImportOptions {
  std::vector<std::string> from;
  std::string takes;
  bool json = false;
};

bool is_midi(const fs::path& path) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return ending == ".mid" || ending == ".midi" || ending == ".smf";
}

// The files named, and the MIDI files in the folders named and below, each once and in order of name.
std::vector<fs::path> all_files(const std::vector<std::string>& from, std::vector<std::string>& trouble) {
  std::vector<fs::path> out;
  for (const auto& name : from) {
    std::error_code failed;
    if (!fs::is_directory(name, failed)) {
      out.emplace_back(name);
      continue;
    }
    std::vector<fs::path> here;
    for (auto it =
             fs::recursive_directory_iterator(name, fs::directory_options::skip_permission_denied, failed);
         !failed && it != fs::recursive_directory_iterator(); it.increment(failed)) {
      std::error_code unknown;
      if (it->is_regular_file(unknown) && is_midi(it->path())) here.push_back(it->path());
    }
    if (failed) trouble.push_back(fmt::format("{}: can't be read: {}.", name, failed.message()));
    std::sort(here.begin(), here.end());
    out.insert(out.end(), here.begin(), here.end());
  }
  return out;
}

// 2019-05-31, 20190531 or 2019_05_31, and after it, if there is one, a time: 21-04-59, 210459 or 21.04.
std::optional<std::int64_t> date_in(const std::string& name) {
  static const std::regex kDate(
      R"((?:^|[^0-9])((?:19|20)[0-9]{2})([-_.]?)([01][0-9])\2([0-3][0-9])(?:[T _.-]+([0-2][0-9])[-_.:h]?([0-5][0-9])(?:[-_.:m]?([0-5][0-9]))?)?(?![0-9]))");
  std::smatch found;
  if (!std::regex_search(name, found, kDate)) return std::nullopt;
  const auto number = [&](std::size_t i, int otherwise) {
    return found[i].matched ? std::stoi(found[i].str()) : otherwise;
  };
  std::tm when{};
  when.tm_year = number(1, 0) - 1900;
  when.tm_mon = number(3, 1) - 1;
  when.tm_mday = number(4, 1);
  when.tm_hour = number(5, 12);
  when.tm_min = number(6, 0);
  when.tm_sec = number(7, 0);
  when.tm_isdst = -1;
  const std::tm wanted = when;
  const std::time_t time = std::mktime(&when);
  if (time == -1 || when.tm_mon != wanted.tm_mon || when.tm_mday != wanted.tm_mday || wanted.tm_hour > 23)
    return std::nullopt;
  return std::int64_t{time} * 1000;
}

std::int64_t date_of(const fs::path& path) {
  if (const auto date = date_in(path.stem().string())) return *date;
  struct stat about {};
  if (::stat(path.c_str(), &about) != 0) return 0;
  return std::int64_t{about.st_mtim.tv_sec} * 1000 + about.st_mtim.tv_nsec / 1'000'000;
}

// Waits for the answer of the store, which gives it on its own thread.
template <class T, class Ask>
Result<T> answer_of(Ask ask) {
  auto promise = std::make_shared<std::promise<Result<T>>>();
  auto answer = promise->get_future();
  ask([promise](Result<T> result) { promise->set_value(std::move(result)); });
  return answer.get();
}

enum class Outcome : std::uint8_t { kBrought, kKnown, kRefused, kNoStore };
struct OfFile {
  Outcome outcome = Outcome::kRefused;
  takes::TakeId take = 0;
  std::int64_t begin_utc_ms = 0;
  std::string reason;
};

OfFile bring_file(takes::Store& store, const fs::path& path) {
  const auto refuse = [](std::string reason) { return OfFile{Outcome::kRefused, 0, 0, std::move(reason)}; };
  std::error_code failed;
  if (const auto size = fs::file_size(path, failed); !failed && size > kLargestFile)
    return refuse(fmt::format("{}: it is larger than {} MB.", path.string(), kLargestFile >> 20));
  const auto file = midi::read_smf_file(path);
  if (!file) return refuse(file.error().message);
  const auto events = takes::events_to_bring(*file);
  if (!events) return refuse(path.string() + ": " + events.error().message);
  OfFile out;
  out.begin_utc_ms = date_of(path);
  const auto no_store = [&](const Error& error) {
    out.outcome = Outcome::kNoStore;
    out.reason = error.message;
    return out;
  };
  const auto known = answer_of<std::optional<takes::TakeId>>(
      [&](auto answer) { store.known(takes::notes_to_bring(*events), std::move(answer)); });
  if (!known) return no_store(known.error());
  if (*known) {
    out.outcome = Outcome::kKnown;
    out.take = **known;
    return out;
  }
  const auto brought = answer_of<takes::Brought>([&](auto answer) {
    store.bring(takes::bring(*events, path.stem().string(), out.begin_utc_ms), std::move(answer));
  });
  if (!brought) return no_store(brought.error());
  out.outcome = brought->known ? Outcome::kKnown : Outcome::kBrought;
  out.take = brought->take;
  return out;
}

void say_json(const fs::path& path, const OfFile& of) {
  json::object line{{"file", path.string()}};
  switch (of.outcome) {
    case Outcome::kBrought: line["take"] = of.take, line["begin_utc_ms"] = of.begin_utc_ms; break;
    case Outcome::kKnown: line["known"] = of.take; break;
    default: line["reason"] = of.reason;
  }
  std::cout << json::serialize(line) << std::endl;
}

class Progress {
 public:
  explicit Progress(std::size_t files) : files_(files), shown_(isatty(STDERR_FILENO) != 0) {}
  void at(std::size_t done) {
    const auto now = std::chrono::steady_clock::now();
    if (!shown_ || (now - last_ < std::chrono::milliseconds(200) && done != files_)) return;
    last_ = now;
    const double took = std::chrono::duration<double>(now - begin_).count();
    const double left = done == 0 ? 0 : took / static_cast<double>(done) * static_cast<double>(files_ - done);
    fmt::print(stderr, "\r{} of {} files{}\033[K", done, files_,
               done == 0 ? std::string()
                         : fmt::format(", {}:{:02d} left", static_cast<int>(left) / 60,
                                       static_cast<int>(left) % 60));
  }
  // Clears the line for a message.
  void clear() const {
    if (shown_) fmt::print(stderr, "\r\033[K");
  }

 private:
  const std::size_t files_;
  const bool shown_;
  const std::chrono::steady_clock::time_point begin_ = std::chrono::steady_clock::now();
  std::chrono::steady_clock::time_point last_{};
};

int run_import(const ImportOptions& options) {
  const auto fail = [](const std::string& sentence) {
    fmt::print(stderr, "undersong: {}\n", sentence);
    return 1;
  };
  const fs::path path = fs::absolute(options.takes);
  if (auto made = make_private_folder(path.parent_path()); !made) return fail(made.error().message);
  const auto lock = takes::InstanceLock::take(path, "import when it has stopped");
  if (!lock) return fail(lock.error().message);
  auto store = takes::Store::open({.path = path}, {});
  if (!store) return fail(store.error().message);
  struct sigaction act {
  }, before{};
  act.sa_handler = [](int) { stop = 1; };
  sigaction(SIGINT, &act, &before);
  // Takes of older versions must be recognised too.
  for (std::uint64_t left = 1; left > 0 && !stop;) {
    const auto made =
        answer_of<std::uint64_t>([&](auto answer) { (*store)->make_find_prints(50, std::move(answer)); });
    if (!made) return fail(made.error().message);
    left = *made;
  }
  std::vector<std::string> refused;
  const auto files = all_files(options.from, refused);
  std::size_t brought = 0, known = 0, done = 0;
  Progress progress(files.size());
  for (const auto& file : files) {
    if (stop) break;
    progress.at(done);
    const OfFile of = bring_file(**store, file);
    if (of.outcome == Outcome::kNoStore) {
      progress.clear();
      return fail(of.reason);
    }
    ++done;
    if (of.outcome == Outcome::kBrought) ++brought;
    if (of.outcome == Outcome::kKnown) ++known;
    if (of.outcome == Outcome::kRefused) refused.push_back(of.reason);
    if (options.json) say_json(file, of);
  }
  progress.at(done);
  progress.clear();
  sigaction(SIGINT, &before, nullptr);
  const auto closed = (*store)->close();
  if (!closed.all_kept()) return fail(closed.sentence);
  for (const auto& reason : refused) fmt::print(stderr, "undersong: {}\n", reason);
  if (!options.json)
    fmt::print("{} take{} brought, {} known already, {} file{} not readable as a take.\n", brought,
               brought == 1 ? "" : "s", known, refused.size(), refused.size() == 1 ? "" : "s");
  if (stop) {
    fmt::print(stderr, "undersong: stopped after {} of {} files; the same command goes on from there.\n",
               done, files.size());
    return kStopped;
  }
  return refused.empty() ? 0 : 1;
}

}  // namespace

void add_import(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<ImportOptions>();
  auto* command =
      program.add_subcommand("import", "Bring standard MIDI files into the takes, each with its date");
  command->add_option("FILES", options->from, "files, or folders with all that is below them")->required();
  command->add_option("--takes", options->takes, "the file of takes; it is made if there is none")
      ->required();
  command->add_flag("--json", options->json, "print one JSON object for each file");
  command->footer(
      "The date is the one in the file's name (2019-05-31, 20190531_2104), or that of the file. A file that "
      "was "
      "brought before is recognised by its notes. Exit code: 0 if all files could be read, 1 if not, 130 "
      "after "
      "Ctrl-C.");
  command->callback([options, &exit_code] { exit_code = run_import(*options); });
}

}  // namespace undersong::offline
