// undersong import FILES OR FOLDERS: makes each standard MIDI file a take, with the date on which it was
// played. The files go to the daemon that runs, or with --takes into a file of takes.
//
// If the command is stopped or killed, what was brought stays, and running it again goes on: takes that are
// there already are recognised by their notes, before they are analysed.
#include <fmt/format.h>
#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "clients/files_into.h"
#include "clients/terminal/commands.h"
#include "protocol/base64.h"
#include "protocol/rpc_code.h"

namespace undersong::terminal {
namespace {

namespace fs = std::filesystem;
using Outcome = FileBrought::Outcome;

constexpr int kStopped = 130;  // as a shell reports a program that was stopped with Ctrl-C
volatile std::sig_atomic_t import_stopped = 0;

struct ImportOptions {
  std::vector<std::string> from;
  std::string takes;
  bool json = false;
};

class IntoDaemon final : public FilesInto {
 public:
  explicit IntoDaemon(protocol::Connection daemon) : daemon_(std::move(daemon)) {}

  FileBrought bring(const fs::path& path) override {
    const auto bytes = read(path);
    if (!bytes) return FileBrought::refused(bytes.error().sentence);
    protocol::BringTake piece{path.filename().string(), bytes->size(), 0, {}, changed_utc_ms(path)};
    for (int patience = kPatience;;) {
      const std::span<const std::uint8_t> left(*bytes);
      const auto next = left.subspan(piece.offset, std::min(kPiece, left.size() - piece.offset));
      piece.base64 = protocol::base64(next);
      const auto answer = daemon_.request(piece, kLongest);
      if (!answer) {
        // Others keep it busy. Everything is sent again.
        if (answer.error().code == static_cast<int>(protocol::RpcCode::kExhausted) && --patience > 0 &&
            !import_stopped) {
          std::this_thread::sleep_for(std::chrono::milliseconds(500));
          piece.offset = 0;
          continue;
        }
        const bool of_file = answer.error().code == static_cast<int>(protocol::RpcCode::kInvalidParams);
        return {of_file ? Outcome::kRefused : Outcome::kNoPlace, 0, 0,
                of_file ? path.string() + ": " + answer.error().sentence : answer.error().sentence};
      }
      piece.offset += next.size();
      if (!answer->take && piece.offset == bytes->size())
        return FileBrought::no_place("The daemon took a file and did not say what became of it.");
      if (!answer->take) continue;
      return {answer->known ? Outcome::kKnown : Outcome::kBrought,
              *answer->take,
              answer->begin_utc_ms.value_or(0),
              {}};
    }
  }

 private:
  static constexpr std::size_t kPiece = 40u << 10;            // as take.bring allows
  static constexpr auto kLongest = std::chrono::minutes(10);  // the study of a long take may be under way
  static constexpr int kPatience = 120;                       // attempts

  static protocol::Read<std::vector<std::uint8_t>> read(const fs::path& path) {
    std::error_code failed;
    if (fs::is_directory(path, failed))
      return protocol::Problem{path.string() + " is a folder, not a MIDI file."};
    std::ifstream in(path, std::ios::binary);
    if (!in)
      return protocol::Problem{fmt::format("{} can't be opened: {}.", path.string(), std::strerror(errno))};
    if (const auto size = fs::file_size(path, failed); !failed && size > kLargestFile)
      return protocol::Problem{
          fmt::format("{}: The file is larger than {} MB.", path.string(), kLargestFile >> 20)};
    std::vector<std::uint8_t> bytes{std::istreambuf_iterator<char>(in), {}};
    if (in.bad()) return protocol::Problem{path.string() + " can't be read."};
    if (bytes.empty()) return protocol::Problem{path.string() + ": The file is empty."};
    return bytes;
  }
  protocol::Connection daemon_;
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

void say_json(const fs::path& path, const FileBrought& of) {
  boost::json::object line{{"file", path.string()}};
  switch (of.outcome) {
    case Outcome::kBrought: line["take"] = of.take, line["begin_utc_ms"] = of.begin_utc_ms; break;
    case Outcome::kKnown: line["known"] = of.take; break;
    default: line["reason"] = of.reason;
  }
  std::cout << boost::json::serialize(line) << std::endl;
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

int bring_all(FilesInto& into, const ImportOptions& options) {
  const auto fail = [](const std::string& sentence) {
    fmt::print(stderr, "undersong: {}\n", sentence);
    return 1;
  };
  struct sigaction act {
  }, before{};
  act.sa_handler = [](int) { import_stopped = 1; };
  sigaction(SIGINT, &act, &before);
  while (!import_stopped && !into.ready()) {
  }
  std::vector<std::string> refused;
  const auto files = all_files(options.from, refused);
  std::size_t brought = 0, known = 0, done = 0;
  Progress progress(files.size());
  std::optional<std::string> trouble;
  for (const auto& file : files) {
    if (import_stopped) break;
    progress.at(done);
    const FileBrought of = into.bring(file);
    if (of.outcome == Outcome::kNoPlace) {
      trouble = of.reason;
      break;
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
  const auto lost = into.close();
  for (const auto& reason : refused) fmt::print(stderr, "undersong: {}\n", reason);
  if (!options.json)
    fmt::print("{} take{} brought, {} known already, {} file{} not readable as a take.\n", brought,
               brought == 1 ? "" : "s", known, refused.size(), refused.size() == 1 ? "" : "s");
  if (lost) return fail(*lost);
  const auto goes_on =
      fmt::format("stopped after {} of {} files; the same command goes on from there.", done, files.size());
  if (trouble) return fail(*trouble + (done == 0 ? "" : " It " + goes_on));
  if (import_stopped) {
    fmt::print(stderr, "undersong: {}\n", goes_on);
    return kStopped;
  }
  return refused.empty() ? 0 : 1;
}

void run_import(Session& session, const ImportOptions& options) {
  if (!options.takes.empty()) {
    if (const auto store = session.open_for_files(options.takes))
      session.exit_code = bring_all(*store, options);
    return;
  }
  auto daemon = open_or_name_file(session);
  if (!daemon) return;
  IntoDaemon into(std::move(*daemon));
  session.exit_code = bring_all(into, options);
}

}  // namespace

void add_import(CLI::App& program, Session& session) {
  auto options = std::make_shared<ImportOptions>();
  auto* command =
      program.add_subcommand("import", "Bring standard MIDI files into the takes, each with its date");
  command->add_option("FILES", options->from, "files, or folders with all that is below them")->required();
  command->add_option("--takes", options->takes,
                      "bring them into this file of takes directly; it is made if there is none, and no "
                      "daemon may keep takes in it");
  command->add_flag("--json", options->json, "print one JSON object for each file");
  command->footer(
      "The files go to the daemon that runs, which analyses them in the background, also while you play. The "
      "date is the one in the file's name (2019-05-31, 20190531_2104), or that of the file. A file that was "
      "brought before is recognised by its notes. Exit code: 0 if all files could be read, 1 if not, 130 "
      "after Ctrl-C.");
  command->callback([options, &session] { run_import(session, *options); });
}

}  // namespace undersong::terminal
