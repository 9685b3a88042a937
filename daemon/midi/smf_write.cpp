// The writer of standard MIDI files.
#include <spdlog/fmt/fmt.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <map>

#include "daemon/base/replace_file.h"
#include "daemon/midi/smf.h"

namespace undersong::midi {
namespace {

using Bytes = std::vector<std::uint8_t>;

void append_big_endian(Bytes& out, std::uint32_t value, int size) {
  for (int shift = 8 * (size - 1); shift >= 0; shift -= 8)
    out.push_back(static_cast<std::uint8_t>(value >> shift));
}

void append_vlq(Bytes& out, std::uint32_t value) {
  const Vlq vlq = encode_vlq(value);
  out.insert(out.end(), vlq.bytes.begin(), vlq.bytes.begin() + vlq.size);
}

// One event of a track, before delta times are known. At the same tick, a lower rank comes first, so that
// signatures and markers stand before the notes they govern.
struct Line {
  Tick tick;
  int rank;
  Bytes bytes;  // a whole meta event including FF, or a channel message with its status
};

Bytes meta(std::uint8_t type, std::span<const std::uint8_t> data) {
  Bytes out{0xFF, type};
  append_vlq(out, static_cast<std::uint32_t>(data.size()));
  out.insert(out.end(), data.begin(), data.end());
  return out;
}
Bytes meta(std::uint8_t type, const std::string& text) {
  return meta(type, std::span(reinterpret_cast<const std::uint8_t*>(text.data()), text.size()));
}

bool valid_channel_message(const SmfEvent& event) {
  const std::uint8_t status = event.bytes[0];
  if (status < 0x80 || status >= 0xF0) return false;
  const std::uint8_t kind = status & 0xF0;
  const std::uint8_t size = kind == 0xC0 || kind == 0xD0 ? 2 : 3;
  return event.size == size && event.bytes[1] < 0x80 && (size == 2 || event.bytes[2] < 0x80);
}

Result<Bytes> track_chunk(std::vector<Line> lines, Tick end, std::size_t number) {
  std::stable_sort(lines.begin(), lines.end(), [](const Line& a, const Line& b) {
    return a.tick != b.tick ? a.tick < b.tick : a.rank < b.rank;
  });
  if (!lines.empty()) end = std::max(end, lines.back().tick);
  lines.push_back({end, 9, {0xFF, 0x2F, 0x00}});
  Bytes body;
  Tick now = 0;
  std::uint8_t running = 0;
  for (const Line& line : lines) {
    if (line.tick - now > kLargestVlq) {
      return invalid_input(
          fmt::format("Track {} is silent for {} ticks from tick {}; a MIDI file can hold {}.", number,
                      line.tick - now, now, kLargestVlq));
    }
    append_vlq(body, static_cast<std::uint32_t>(line.tick - now));
    now = line.tick;
    const bool is_meta = line.bytes[0] == 0xFF;
    const bool same = !is_meta && line.bytes[0] == running;
    body.insert(body.end(), line.bytes.begin() + (same ? 1 : 0), line.bytes.end());
    running = is_meta ? 0 : line.bytes[0];
  }
  if (body.size() > 0xFFFF'FFFFu)
    return invalid_input(fmt::format("Track {} is too long for a MIDI file.", number));
  Bytes chunk{'M', 'T', 'r', 'k'};
  append_big_endian(chunk, static_cast<std::uint32_t>(body.size()), 4);
  chunk.insert(chunk.end(), body.begin(), body.end());
  return chunk;
}

std::string check(const Smf& file) {
  if (file.format > 1) return fmt::format("Format {} can't be written; only 0 and 1.", file.format);
  if (file.tracks.empty() || file.tracks.size() > 0xFFFF) {
    return fmt::format("A MIDI file has 1 to 65535 tracks, not {}.", file.tracks.size());
  }
  if (file.format == 0 && file.tracks.size() != 1) {
    return fmt::format("A file of format 0 has one track, not {}.", file.tracks.size());
  }
  const SmfDivision& d = file.division;
  if (d.smpte() ? (d.frames_per_second != 24 && d.frames_per_second != 25 && d.frames_per_second != 29 &&
                   d.frames_per_second != 30) ||
                      d.ticks_per_frame == 0
                : d.ticks_per_quarter == 0 || d.ticks_per_quarter > 0x7FFF) {
    return "The division is outside what a MIDI file can hold.";
  }
  const auto too_late = [](const auto& list) {
    return std::any_of(list.begin(), list.end(), [](const auto& item) { return item.tick > kLongestTick; });
  };
  bool late = too_late(file.tempos) || too_late(file.time_signatures) || too_late(file.key_signatures) ||
              too_late(file.markers) || too_late(file.texts);
  for (std::size_t t = 0; t < file.tracks.size(); ++t) {
    late = late || file.tracks[t].end > kLongestTick || too_late(file.tracks[t].events);
    for (const SmfEvent& event : file.tracks[t].events) {
      if (!valid_channel_message(event)) {
        return fmt::format("Track {} has a malformed channel message at tick {}.", t + 1, event.tick);
      }
    }
  }
  if (late) return fmt::format("Something lies beyond tick {}, the last that can be written.", kLongestTick);
  for (const SmfTempo& tempo : file.tempos) {
    if (tempo.micros_per_quarter == 0 || tempo.micros_per_quarter > 0xFF'FFFF) {
      return fmt::format("The tempo of {} microseconds a quarter at tick {} doesn't fit.",
                         tempo.micros_per_quarter, tempo.tick);
    }
  }
  for (const SmfTimeSignature& s : file.time_signatures) {
    if (s.numerator == 0 || s.denominator == 0 || (s.denominator & (s.denominator - 1)) != 0) {
      return fmt::format("The time signature {}/{} at tick {} doesn't fit.", s.numerator, s.denominator,
                         s.tick);
    }
  }
  for (const SmfKeySignature& k : file.key_signatures) {
    if (k.fifths < -7 || k.fifths > 7)
      return fmt::format("The key signature of {} fifths at tick {} doesn't fit.", k.fifths, k.tick);
  }
  for (const auto* list : {&file.markers, &file.texts}) {
    for (const SmfText& text : *list) {
      if (text.track >= file.tracks.size() || text.text.size() > kLargestVlq) {
        return fmt::format("The text at tick {} doesn't fit into track {}.", text.tick, text.track + 1);
      }
    }
  }
  return {};
}

void add_first_track_lines(const Smf& file, std::vector<Line>& lines) {
  for (const SmfTimeSignature& s : file.time_signatures) {
    std::uint8_t power = 0;
    while ((1u << power) < s.denominator) ++power;
    const std::array<std::uint8_t, 4> data{s.numerator, power, s.clocks_per_click, s.thirty_seconds};
    lines.push_back({s.tick, 2, meta(0x58, data)});
  }
  for (const SmfKeySignature& k : file.key_signatures) {
    const std::array<std::uint8_t, 2> data{static_cast<std::uint8_t>(k.fifths),
                                           static_cast<std::uint8_t>(k.minor)};
    lines.push_back({k.tick, 2, meta(0x59, data)});
  }
  for (const SmfTempo& tempo : file.tempos) {
    const std::uint32_t v = tempo.micros_per_quarter;
    const std::array<std::uint8_t, 3> data{static_cast<std::uint8_t>(v >> 16),
                                           static_cast<std::uint8_t>(v >> 8), static_cast<std::uint8_t>(v)};
    lines.push_back({tempo.tick, 2, meta(0x51, data)});
  }
  for (const SmfText& marker : file.markers) lines.push_back({marker.tick, 2, meta(6, marker.text)});
}

}  // namespace

Vlq encode_vlq(std::uint32_t value) {
  value = std::min(value, kLargestVlq);
  Vlq out;
  for (int shift = 21; shift >= 0; shift -= 7) {
    const auto group = static_cast<std::uint8_t>((value >> shift) & 0x7F);
    if (out.size == 0 && group == 0 && shift > 0) continue;
    out.bytes[out.size++] = static_cast<std::uint8_t>(group | (shift > 0 ? 0x80 : 0));
  }
  return out;
}

Result<Bytes> write_smf(const Smf& file) {
  if (std::string wrong = check(file); !wrong.empty()) return invalid_input(std::move(wrong));
  Bytes out{'M', 'T', 'h', 'd'};
  append_big_endian(out, 6, 4);
  append_big_endian(out, file.format, 2);
  append_big_endian(out, static_cast<std::uint32_t>(file.tracks.size()), 2);
  const SmfDivision& d = file.division;
  append_big_endian(
      out, d.smpte() ? ((256u - d.frames_per_second) << 8) | d.ticks_per_frame : d.ticks_per_quarter, 2);
  for (std::size_t t = 0; t < file.tracks.size(); ++t) {
    const SmfTrack& track = file.tracks[t];
    std::vector<Line> lines;
    if (!track.name.empty()) lines.push_back({0, 1, meta(3, track.name)});
    if (t == 0) add_first_track_lines(file, lines);
    for (const SmfText& text : file.texts) {
      if (text.track == t)
        lines.push_back({text.tick, 2, meta(static_cast<std::uint8_t>(text.kind), text.text)});
    }
    for (const SmfEvent& event : track.events) {
      lines.push_back({event.tick, 3, Bytes(event.bytes.begin(), event.bytes.begin() + event.size)});
    }
    auto chunk = track_chunk(std::move(lines), track.end, t + 1);
    if (!chunk) return chunk.error();
    out.insert(out.end(), chunk->begin(), chunk->end());
  }
  return out;
}

Result<void> write_smf_file(const Smf& file, const std::filesystem::path& path) {
  auto bytes = write_smf(file);
  if (!bytes) return bytes.error();
  std::filesystem::path beside = path;
  beside += ".part";
  const auto fail = [&](int reason) -> Result<void> {
    std::error_code ignored;
    std::filesystem::remove(beside, ignored);
    return Error{reason == ENOSPC ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
                 fmt::format("{} can't be written: {}.", path.string(), std::strerror(reason))};
  };
  errno = 0;
  std::ofstream out(beside, std::ios::binary | std::ios::trunc);
  out.write(reinterpret_cast<const char*>(bytes->data()), static_cast<std::streamsize>(bytes->size()));
  out.close();
  if (!out) return fail(errno != 0 ? errno : EIO);
  if (!sync_to_disk(beside)) return fail(errno);
  std::error_code renamed;
  std::filesystem::rename(beside, path, renamed);
  if (renamed) return fail(renamed.value());
  sync_to_disk(path.has_parent_path() ? path.parent_path() : ".");
  return {};
}

Smf smf_from_events(std::span<const Event> events, const std::string& name, std::uint16_t ticks_per_quarter) {
  Smf out;
  out.division.ticks_per_quarter = std::clamp<std::uint16_t>(ticks_per_quarter, 1, 0x7FFF);
  out.tempos.push_back({0, {}, kDefaultTempo});
  const TickClock clock(out.division, out.tempos);
  std::map<PortNumber, SmfTrack> by_port;
  for (const Event& event : events) {
    SmfEvent copy{clock.nearest_tick(event.at), {}, event.bytes, event.size};
    copy.at = clock.at(copy.tick);
    if (!valid_channel_message(copy)) continue;
    SmfTrack& track = by_port[event.port];
    track.end = std::max(track.end, copy.tick);
    track.events.push_back(copy);
  }
  if (by_port.empty()) by_port[0];
  out.format = by_port.size() == 1 ? 0 : 1;
  for (auto& [port, track] : by_port) {
    track.name = out.tracks.empty() ? name : fmt::format("{} (input {})", name, port);
    out.tracks.push_back(std::move(track));
  }
  return out;
}

}  // namespace undersong::midi
