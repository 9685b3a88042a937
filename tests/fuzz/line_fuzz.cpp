// Reads any bytes as what the store holds: lines, rows of indexes, spill files. Every reader answers with
// values within bounds or with nothing, and a line that passes for whole can be shown to a client.
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "daemon/server/wire.h"
#include "daemon/takes/along.h"
#include "daemon/takes/corrected_beats.h"
#include "daemon/takes/corrected_chords.h"
#include "daemon/takes/find_print.h"
#include "daemon/takes/line_check.h"
#include "daemon/takes/own_idiom.h"
#include "daemon/takes/spill.h"
#include "daemon/takes/study.h"
#include "daemon/takes/timeline.h"
#include "protocol/json.h"
#include "tests/fuzz/bytes.h"

using namespace undersong;
using namespace undersong::takes;
using fuzz::Bytes;
using fuzz::must;

namespace {

void shown(const Line& line) {
  const bool whole = is_whole(line);
  must(is_sound(line, checksum(line)));
  must(is_sound(line, std::nullopt) == whole);
  (void)facts_of(line.kind, line.data);
  (void)pinned_key(line);
  (void)lost_port(line);
  if (const auto event = midi_event(line)) must(event->size >= 1 && event->size <= 3);
  if (const auto judged = judgement(line.data)) must(judgement(text(*judged)) == judged);
  if (!whole) return;
  std::string json;
  server::append_line(json, line);
  must(protocol::parse(json).has_value());
}

void lines(Bytes& in) {
  std::vector<Line> all;
  Micros at(0);
  for (std::uint64_t number = 1; !in.empty() && number <= 60; ++number) {
    Line line;
    line.number = number;
    line.kind = static_cast<LineKind>(1 + in.byte() % static_cast<int>(kLastKind));
    line.take = in.byte() % 4;
    line.at = at = in.time(at);
    line.data = in.text(in.byte());
    shown(line);
    if (is_whole(line)) all.push_back(std::move(line));  // the store leaves out the others
  }
  (void)settled_chords(all);
  (void)read_along(all);
  // What was said is applied to a take that was played.
  std::vector<midi::Event> played;
  std::vector<Line> keys;
  for (const Line& line : all) {
    if (const auto event = midi_event(line); event && (played.empty() || event->at >= played.back().at))
      played.push_back(*event);
    if (line.kind == LineKind::kKey) keys.push_back(line);
  }
  if (played.size() < 30) {
    const auto study = study_of(played, all, keys);
    must(study.beats.beats.size() <= 64 * (played.size() + 16 * all.size() + 1));
  }
}

void rows(Bytes& in) {
  const std::string bytes = in.text(4096);
  if (const auto own = own_chords(bytes)) must(own_row(*own).size() <= bytes.size());
  FindPrint print;
  if (unpack_lines(bytes, print)) {
    FindPrint again;
    must(unpack_lines(packed_lines(print), again) && again == print);
  }
  if (const auto notes = unpack_notes(bytes)) {
    must(unpack_notes(packed_notes(*notes)) == notes);
    (void)highest_line(*notes);
    (void)content_of(*notes);
    must(same_content(*notes, *notes));
  }
}

void spilled(Bytes& in) {
  static const auto folder = [] {
    char name[] = "/dev/shm/undersong-fuzz-XXXXXX";
    must(::mkdtemp(name) != nullptr);
    static struct Removed {
      std::filesystem::path path;
      ~Removed() { std::filesystem::remove_all(path); }
    } removed{name};
    return removed.path;
  }();
  const auto file = folder / "spill";
  std::ofstream(file, std::ios::binary) << in.text(1 << 16);
  const auto spill = read_spill(file);
  if (!spill) return must(!spill.error().message.empty());
  const auto written = write_spill(*spill, {folder});
  must(written.has_value());
  const auto again = read_spill(*written);
  must(again && again->entries.size() == spill->entries.size() && again->damaged == 0);
  std::filesystem::remove(*written);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Bytes in{data, data + size};
  switch (in.byte() % 4) {
    case 0: rows(in); break;
    case 1: spilled(in); break;
    default: lines(in); break;
  }
  return 0;
}
