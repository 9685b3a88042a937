// The reader. A Reader walks the bytes; each of its steps returns false once `error_` holds the sentence for
// the caller.
#include "daemon/midi/smf.h"

#include <spdlog/fmt/fmt.h>

#include <algorithm>
#include <cstring>
#include <fstream>
#include <optional>

namespace undersong::midi {
namespace {

constexpr std::size_t kLargestFile = std::size_t{256} << 20;
constexpr std::size_t kMostWarnings = 20;

constexpr std::size_t data_bytes(std::uint8_t status) {
  return (status & 0xF0) == 0xC0 || (status & 0xF0) == 0xD0 ? 1 : 2;
}

class Reader {
 public:
  explicit Reader(std::span<const std::uint8_t> bytes) : bytes_(bytes), end_(bytes.size()) {}

  Result<Smf> read() {
    if (!header()) return *error_;
    while (pos_ < bytes_.size()) {
      if (!chunk()) return *error_;
    }
    if (smf_.tracks.size() < promised_tracks_) {
      return invalid_input(fmt::format(
          "The file is cut short: its header promises {} tracks, but it ends at byte {} after {}.",
          promised_tracks_, bytes_.size(), smf_.tracks.size()));
    }
    if (smf_.format == 0 && smf_.tracks.size() > 1) {
      warn(fmt::format("The header says format 0 but there are {} tracks; they are read as format 1.",
                       smf_.tracks.size()));
      smf_.format = 1;
    }
    finish();
    return std::move(smf_);
  }

 private:
  bool fail(std::string sentence) {
    error_ = invalid_input(std::move(sentence));
    return false;
  }
  void warn(std::string sentence) {
    if (smf_.warnings.size() < kMostWarnings) smf_.warnings.push_back(std::move(sentence));
  }
  std::size_t left() const { return end_ - pos_; }
  std::uint32_t big_endian(std::size_t at, std::size_t size) const {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < size; ++i) value = (value << 8) | bytes_[at + i];
    return value;
  }
  bool names_chunk(const char* type) const { return std::memcmp(bytes_.data() + pos_, type, 4) == 0; }

  bool header() {
    if (bytes_.empty()) return fail("The file is empty.");
    if (bytes_.size() < 4 || !names_chunk("MThd")) {
      return fail("This is not a standard MIDI file: it doesn't begin with MThd at byte 0.");
    }
    if (bytes_.size() < 14) {
      return fail(fmt::format(
          "The file is cut short: the header needs 14 bytes but the file ends at byte {}.", bytes_.size()));
    }
    const std::uint32_t length = big_endian(4, 4);
    if (length < 6)
      return fail(fmt::format("The header length at byte 4 is {}, less than the 6 of the standard.", length));
    if (length > bytes_.size() - 8) {
      return fail(fmt::format("The header length at byte 4 is {} but only {} bytes follow.", length,
                              bytes_.size() - 8));
    }
    const std::uint32_t format = big_endian(8, 2);
    if (format == 2) {
      return fail(
          "Format 2 (independent patterns, byte 8) cannot be read: it does not say in which order the tracks "
          "are "
          "played.");
    }
    if (format > 2)
      return fail(fmt::format("The format at byte 8 is {}; there are only formats 0, 1 and 2.", format));
    smf_.format = static_cast<std::uint8_t>(format);
    promised_tracks_ = big_endian(10, 2);
    if (promised_tracks_ == 0) return fail("The header promises no tracks at byte 10.");
    if (!division()) return false;
    pos_ = 8 + std::size_t{length};
    return true;
  }

  bool division() {
    const std::uint32_t word = big_endian(12, 2);
    if (word & 0x8000) {
      const int frames = 256 - static_cast<int>(word >> 8);
      if (frames != 24 && frames != 25 && frames != 29 && frames != 30) {
        return fail(fmt::format(
            "The division at byte 12 asks for {} frames a second; the standard knows 24, 25, 29 and 30.",
            frames));
      }
      smf_.division = {0, static_cast<std::uint8_t>(frames), static_cast<std::uint8_t>(word & 0xFF)};
      if (smf_.division.ticks_per_frame == 0) return fail("The division at byte 12 has no ticks in a frame.");
    } else {
      if (word == 0) return fail("The division at byte 12 has no ticks in a quarter note.");
      smf_.division = {static_cast<std::uint16_t>(word), 0, 0};
    }
    return true;
  }

  bool chunk() {
    const std::size_t start = pos_;
    const std::size_t rest = bytes_.size() - pos_;
    const bool is_track = rest >= 4 && names_chunk("MTrk");
    const bool has_all = smf_.tracks.size() >= promised_tracks_;
    if (rest < 8 || big_endian(pos_ + 4, 4) > rest - 8) {
      if (has_all && !is_track) {  // trailing bytes after the last track
        warn(fmt::format("The {} bytes from byte {} are no whole chunk and are left out.", rest, start));
        pos_ = bytes_.size();
        return true;
      }
      if (rest < 8)
        return fail(fmt::format("The file is cut short: it ends within the chunk header at byte {}.", start));
      return fail(fmt::format(
          "The file is cut short: the chunk at byte {} says it has {} bytes but only {} are left.", start,
          big_endian(pos_ + 4, 4), rest - 8));
    }
    pos_ += 8;
    end_ = pos_ + big_endian(start + 4, 4);
    if (is_track && !track()) return false;
    pos_ = end_;
    return true;
  }

  bool track() {
    smf_.tracks.emplace_back();
    named_ = false;
    tick_ = 0;
    running_ = 0;
    while (left() > 0) {
      std::uint32_t delta = 0;
      const std::size_t event_start = pos_;
      if (!vlq(delta, "delta time")) return false;
      tick_ += delta;
      if (tick_ > kLongestTick) {
        return fail(fmt::format("The event at byte {} lies {} ticks from the start; at most {} are read.",
                                event_start, tick_, kLongestTick));
      }
      if (left() == 0) {
        return fail(fmt::format("Track {} ends at byte {} after a delta time with no event.",
                                smf_.tracks.size(), pos_));
      }
      bool ended = false;
      if (!event(ended)) return false;
      if (ended) {
        if (left() > 0)
          warn(fmt::format("The {} bytes after End of Track at byte {} are left out.", left(), pos_));
        break;
      }
    }
    smf_.tracks.back().end = tick_;
    return true;
  }

  bool event(bool& ended) {
    const std::uint8_t first = bytes_[pos_];
    if (first == 0xFF) {
      running_ = 0;
      return meta(ended);
    }
    if (first == 0xF0 || first == 0xF7) {
      running_ = 0;
      ++pos_;
      std::uint32_t length = 0;
      return sized(length, "system-exclusive event") && (pos_ += length, true);
    }
    if (first > 0xF0) {
      return fail(fmt::format("The status {:02X} at byte {} has no place in a MIDI file.", first, pos_));
    }
    if (first & 0x80) {
      running_ = first;
      ++pos_;
    } else if (running_ == 0) {
      return fail(
          fmt::format("There is a data byte {:02X} at byte {} where a status is needed.", first, pos_));
    }
    SmfEvent event{tick_, {}, {running_, 0, 0}, static_cast<std::uint8_t>(1 + data_bytes(running_))};
    for (std::size_t i = 1; i < event.size; ++i, ++pos_) {
      if (left() == 0)
        return fail(
            fmt::format("Track {} ends at byte {} within a channel message.", smf_.tracks.size(), pos_));
      if (bytes_[pos_] & 0x80) {
        return fail(fmt::format("There is {:02X} at byte {} where status {:02X} needs a data byte.",
                                bytes_[pos_], pos_, running_));
      }
      event.bytes[i] = bytes_[pos_];
    }
    smf_.tracks.back().events.push_back(event);
    return true;
  }

  bool meta(bool& ended) {
    const std::size_t start = pos_++;
    if (left() == 0)
      return fail(fmt::format("Track {} ends at byte {} within a meta event.", smf_.tracks.size(), pos_));
    const std::uint8_t type = bytes_[pos_++];
    std::uint32_t length = 0;
    if (!sized(length, "meta event")) return false;
    const std::span<const std::uint8_t> data = bytes_.subspan(pos_, length);
    pos_ += length;
    if (type >= 1 && type <= 7) {
      text(type, std::string(data.begin(), data.end()));
    } else if (type == 0x2F) {
      ended = true;
    } else if (type == 0x51) {
      if (length < 3)
        return fail(fmt::format("The tempo at byte {} has {} bytes instead of 3.", start, length));
      const std::uint32_t tempo = (std::uint32_t{data[0]} << 16) | (std::uint32_t{data[1]} << 8) | data[2];
      if (tempo == 0)
        return fail(fmt::format("The tempo at byte {} is 0 microseconds a quarter note.", start));
      smf_.tempos.push_back({tick_, {}, tempo});
    } else if (type == 0x58) {
      if (length < 4 || data[0] == 0 || data[1] > 15) {
        warn(fmt::format("The time signature at byte {} is malformed and is left out.", start));
      } else {
        smf_.time_signatures.push_back(
            {tick_, {}, data[0], static_cast<std::uint16_t>(1u << data[1]), data[2], data[3]});
      }
    } else if (type == 0x59) {
      const int fifths = length < 1 ? 99 : static_cast<std::int8_t>(data[0]);
      if (length < 2 || fifths < -7 || fifths > 7 || data[1] > 1) {
        warn(fmt::format("The key signature at byte {} is malformed and is left out.", start));
      } else {
        smf_.key_signatures.push_back({tick_, {}, static_cast<std::int8_t>(fifths), data[1] == 1});
      }
    }
    return true;
  }

  void text(std::uint8_t type, std::string words) {
    const auto kind = static_cast<SmfText::Kind>(type);
    if (kind == SmfText::Kind::kTrackName && !named_) {
      named_ = true;
      smf_.tracks.back().name = std::move(words);
      return;
    }
    auto& list = kind == SmfText::Kind::kMarker ? smf_.markers : smf_.texts;
    list.push_back({tick_, {}, kind, static_cast<std::uint16_t>(smf_.tracks.size() - 1), std::move(words)});
  }

  bool vlq(std::uint32_t& value, const char* what) {
    const std::size_t start = pos_;
    value = 0;
    for (int i = 0; i < 4; ++i) {
      if (left() == 0)
        return fail(fmt::format("Track {} ends at byte {} within a {}.", smf_.tracks.size(), pos_, what));
      const std::uint8_t byte = bytes_[pos_++];
      value = (value << 7) | (byte & 0x7Fu);
      if (!(byte & 0x80)) return true;
    }
    return fail(fmt::format("The {} at byte {} is longer than the four bytes of the standard.", what, start));
  }
  bool sized(std::uint32_t& length, const char* what) {
    const std::size_t start = pos_;
    if (!vlq(length, "length")) return false;
    if (length <= left()) return true;
    return fail(
        fmt::format("The {} whose length is at byte {} says it has {} bytes but its track has {} left.", what,
                    start, length, left()));
  }

  // Sorts the events of all tracks and computes their times, now that all tempos are known.
  void finish() {
    const auto sort = [](auto& list) {
      std::stable_sort(list.begin(), list.end(),
                       [](const auto& a, const auto& b) { return a.tick < b.tick; });
    };
    sort(smf_.tempos), sort(smf_.time_signatures), sort(smf_.key_signatures), sort(smf_.markers),
        sort(smf_.texts);
    const TickClock clock(smf_.division, smf_.tempos);
    const auto time = [&](auto& list) {
      for (auto& item : list) item.at = clock.at(item.tick);
    };
    time(smf_.tempos), time(smf_.time_signatures), time(smf_.key_signatures), time(smf_.markers),
        time(smf_.texts);
    for (SmfTrack& track : smf_.tracks) time(track.events);
  }

  std::span<const std::uint8_t> bytes_;
  std::size_t pos_ = 0;
  std::size_t end_;  // end of the chunk being read
  std::uint32_t promised_tracks_ = 0;
  Tick tick_ = 0;
  std::uint8_t running_ = 0;
  bool named_ = false;
  Smf smf_;
  std::optional<Error> error_;
};

}  // namespace

Result<Smf> read_smf(std::span<const std::uint8_t> bytes) {
  return Reader(bytes).read();
}

Result<Smf> read_smf_file(const std::filesystem::path& path) {
  std::error_code ignored;
  if (std::filesystem::is_directory(path, ignored))
    return invalid_input(fmt::format("{} is a folder, not a MIDI file.", path.string()));
  std::ifstream in(path, std::ios::binary);
  if (!in) return not_found(fmt::format("{} can't be opened: {}.", path.string(), std::strerror(errno)));
  std::vector<std::uint8_t> bytes;
  std::array<char, 65536> block;
  while (in.read(block.data(), block.size()), in.gcount() > 0) {
    bytes.insert(bytes.end(), block.begin(), block.begin() + in.gcount());
    if (bytes.size() > kLargestFile) {
      return invalid_input(
          fmt::format("{} is larger than the {} MB that are read.", path.string(), kLargestFile >> 20));
    }
  }
  if (in.bad()) return unavailable(fmt::format("{} can't be read: {}.", path.string(), std::strerror(errno)));
  auto smf = read_smf(bytes);
  if (!smf) return Error{smf.error().code, fmt::format("{}: {}", path.string(), smf.error().message)};
  return smf;
}

}  // namespace undersong::midi
