#include "daemon/takes/line_check.h"

#include <boost/crc.hpp>
#include <boost/json.hpp>

#include "daemon/base/utf8.h"
#include "daemon/listen/tempo.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kLongestLine = 8u << 20;  // longer than any that is written

bool is_object(const std::string& data) {
  boost::system::error_code wrong;
  const boost::json::value tree = boost::json::parse(data, wrong);
  return !wrong && tree.is_object();
}

bool is_whole_number(const std::string& data) {
  const std::size_t sign = data.starts_with('-') ? 1 : 0;
  return data.size() > sign && data.size() <= 19 &&
         data.find_first_not_of("0123456789", sign) == std::string::npos;
}

}  // namespace

std::uint32_t checksum(const Line& line) {
  boost::crc_32_type crc;
  const auto add = [&](std::uint64_t n) {
    unsigned char bytes[8];
    for (int i = 0; i < 8; ++i) bytes[i] = static_cast<unsigned char>(n >> (8 * i));
    crc.process_bytes(bytes, sizeof bytes);
  };
  add(line.number);
  add(line.take);
  add(static_cast<std::uint64_t>(line.at.count()));
  add(static_cast<std::uint64_t>(line.kind));
  crc.process_bytes(line.data.data(), line.data.size());
  return crc.checksum();
}

std::uint32_t checksum(std::string_view text) {
  boost::crc_32_type crc;
  crc.process_bytes(text.data(), text.size());
  return crc.checksum();
}

bool is_whole(const Line& line) {
  if (line.number == 0 || line.number > INT64_MAX || line.take > INT64_MAX ||
      line.at != listen::near_enough(line.at) || line.data.size() > kLongestLine)
    return false;
  switch (line.kind) {
    case LineKind::kTakeBegin: return line.take != 0 && is_whole_number(line.data);
    case LineKind::kMidi:
    case LineKind::kEcho: {
      if (line.data.size() < 2 || line.data.size() > 4) return false;
      const auto event = midi_event(line);
      if (!event || event->bytes[0] < 0x80) return false;
      for (std::size_t i = 1; i < event->size; ++i)
        if (event->bytes[i] >= 0x80) return false;
      return true;
    }
    case LineKind::kChord:
    case LineKind::kKey:
    case LineKind::kMelody:
    case LineKind::kOffered:
    case LineKind::kTried:
    case LineKind::kBeat:
    case LineKind::kAlong:
    case LineKind::kPass:
    case LineKind::kLost:
    case LineKind::kMeeting:
    case LineKind::kVerdict: return is_object(line.data);
    case LineKind::kMark:
    case LineKind::kTakeEnd:
    case LineKind::kCorrection:
    case LineKind::kRename:
    case LineKind::kAnnotate:
    case LineKind::kHeard:
    case LineKind::kUnmark: return is_utf8(line.data);
    case LineKind::kDelete:
    case LineKind::kRestore: return line.data.empty();
  }
  return false;
}

bool is_sound(const Line& line, const std::optional<std::int64_t>& sum) {
  if (sum) return *sum == std::int64_t{checksum(line)};
  return is_whole(line);
}

}  // namespace undersong::takes
