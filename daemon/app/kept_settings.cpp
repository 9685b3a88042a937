#include "daemon/app/kept_settings.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <toml++/toml.h>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <fstream>
#include <iterator>
#include <sstream>
#include <utility>

namespace undersong::app {
namespace {

using protocol::SettingName;

// THE settings that a client can change, in the order of SettingName.
struct Setting {
  std::string_view table, option;
  bool (*same)(const Config& a, const Config& b);
  void (*take)(Config& to, const Config& from);
  std::string (*text)(const Config& from);  // as a value of TOML
};
std::string real(float value) {
  return fmt::format("{}", std::round(static_cast<double>(value) * 1e4) / 1e4);
}  // .1f is .1 in the file too
std::string toml_text(std::string_view value) {
  std::ostringstream out;
  out << toml::value<std::string>(std::string(value));
  return out.str();
}
constexpr std::array kSettings = {
    Setting{"listen", "brighter",
            [](const Config& a, const Config& b) { return a.wishes.brighter == b.wishes.brighter; },
            [](Config& to, const Config& from) { to.wishes.brighter = from.wishes.brighter; },
            [](const Config& from) { return real(from.wishes.brighter); }},
    Setting{"listen", "tenser",
            [](const Config& a, const Config& b) { return a.wishes.tenser == b.wishes.tenser; },
            [](Config& to, const Config& from) { to.wishes.tenser = from.wishes.tenser; },
            [](const Config& from) { return real(from.wishes.tenser); }},
    Setting{"listen", "surprising",
            [](const Config& a, const Config& b) { return a.wishes.surprising == b.wishes.surprising; },
            [](Config& to, const Config& from) { to.wishes.surprising = from.wishes.surprising; },
            [](const Config& from) { return real(from.wishes.surprising); }},
    Setting{"listen", "symbols",
            [](const Config& a, const Config& b) { return a.symbol_style == b.symbol_style; },
            [](Config& to, const Config& from) { to.symbol_style = from.symbol_style; },
            [](const Config& from) {
              return toml_text(from.symbol_style == harmony::SymbolStyle::kSigns ? "signs" : "letters");
            }},
    Setting{"hear", "output", [](const Config& a, const Config& b) { return a.hear_output == b.hear_output; },
            [](Config& to, const Config& from) { to.hear_output = from.hear_output; },
            [](const Config& from) { return toml_text(from.hear_output); }},
    Setting{"hear", "velocity",
            [](const Config& a, const Config& b) { return a.hear_velocity == b.hear_velocity; },
            [](Config& to, const Config& from) { to.hear_velocity = from.hear_velocity; },
            [](const Config& from) { return fmt::to_string(from.hear_velocity); }},
    Setting{"listen", "settle_ms", [](const Config& a, const Config& b) { return a.settle == b.settle; },
            [](Config& to, const Config& from) { to.settle = from.settle; },
            [](const Config& from) { return fmt::to_string(from.settle.count()); }},
    Setting{"listen", "melody", [](const Config& a, const Config& b) { return a.melody == b.melody; },
            [](Config& to, const Config& from) { to.melody = from.melody; },
            [](const Config& from) {
              static constexpr const char* kWords[] = {"note", "two", "bar"};
              return toml_text(kWords[static_cast<std::size_t>(from.melody)]);
            }},
    Setting{"listen", "voicing", [](const Config& a, const Config& b) { return a.voicing == b.voicing; },
            [](Config& to, const Config& from) { to.voicing = from.voicing; },
            [](const Config& from) { return toml_text(harmony::name(from.voicing)); }},
    Setting{
        "listen", "key", [](const Config& a, const Config& b) { return a.key == b.key; },
        [](Config& to, const Config& from) { to.key = from.key; },
        [](const Config& from) { return toml_text(from.key ? harmony::text(*from.key) : std::string()); }},
};
static_assert(kSettings.size() == static_cast<std::size_t>(SettingName::kKey) + 1);
// Both lists are in the same order.
static_assert(static_cast<int>(protocol::VoicingStyle::kBlock) + 1 == harmony::kStyles &&
              static_cast<int>(protocol::MelodySpan::kBar) == static_cast<int>(listen::Under::kBar));

const Setting& row(SettingName name) {
  return kSettings[static_cast<std::size_t>(name)];
}

}  // namespace

std::filesystem::path kept_settings_file(const std::filesystem::path& takes_file) {
  return takes_file.string() + ".settings.toml";
}

protocol::SetSettings settings_of(const Config& config) {
  protocol::SetSettings out;
  out.brighter = config.wishes.brighter;
  out.tenser = config.wishes.tenser;
  out.surprising = config.wishes.surprising;
  out.symbol_style = config.symbol_style == harmony::SymbolStyle::kSigns ? protocol::SymbolStyle::kSigns
                                                                         : protocol::SymbolStyle::kLetters;
  out.hear_output = config.hear_output;
  out.hear_velocity = config.hear_velocity;
  out.settle_ms = config.settle.count();
  out.melody = static_cast<protocol::MelodySpan>(config.melody);
  out.voicing = static_cast<protocol::VoicingStyle>(config.voicing);
  out.key = config.key ? harmony::harte(*config.key) : std::string();
  return out;
}

Result<Config> changed(const Config& config, const protocol::SetSettings& change) {
  Config out = config;
  if (change.key) {
    out.key = harmony::parse_key(*change.key);
    if (!out.key && !change.key->empty())
      return invalid_input(fmt::format(
          "params.key \"{}\" is no key; write Eb:min, Ebm or Eb minor, or nothing to free it.", *change.key));
  }
  if (change.brighter) out.wishes.brighter = static_cast<float>(*change.brighter);
  if (change.tenser) out.wishes.tenser = static_cast<float>(*change.tenser);
  if (change.surprising) out.wishes.surprising = static_cast<float>(*change.surprising);
  if (change.symbol_style)
    out.symbol_style = *change.symbol_style == protocol::SymbolStyle::kSigns ? harmony::SymbolStyle::kSigns
                                                                             : harmony::SymbolStyle::kLetters;
  if (change.hear_output) out.hear_output = *change.hear_output;
  if (change.hear_velocity) out.hear_velocity = static_cast<int>(change.hear_velocity->value);
  if (change.settle_ms) out.settle = std::chrono::milliseconds(change.settle_ms->value);
  if (change.melody) out.melody = static_cast<listen::Under>(*change.melody);
  if (change.voicing) out.voicing = static_cast<harmony::Style>(*change.voicing);
  return out;
}

std::vector<SettingName> differing(const Config& a, const Config& b) {
  std::vector<SettingName> out;
  for (std::size_t i = 0; i < kSettings.size(); ++i)
    if (!kSettings[i].same(a, b)) out.push_back(static_cast<SettingName>(i));
  return out;
}

Config with(Config config, const Config& from, std::span<const SettingName> names) {
  for (const SettingName name : names) row(name).take(config, from);
  return config;
}

std::string kept_text(const Config& configured, const Config& now) {
  const auto names = differing(configured, now);
  if (names.empty()) return {};
  std::string text =
      "# Settings that were changed while Undersong ran. They count before the configuration; `undersong "
      "settings reset` ends that.\n";
  for (const std::string_view table : {"listen", "hear"}) {
    bool begun = false;
    for (const SettingName name : names) {
      const Setting& setting = row(name);
      if (setting.table != table) continue;
      if (!std::exchange(begun, true)) text += fmt::format("\n[{}]\n", table);
      text += fmt::format("{} = {}\n", setting.option, setting.text(now));
    }
  }
  return text;
}

Result<Config> with_kept(const Config& configured, std::string_view text, std::string_view name) {
  auto read = parse_config(text, name, configured);
  if (!read) return read.error();
  return with(configured, *read, differing(configured, *read));  // nothing else that may stand there counts
}

Result<Config> read_kept(const Config& configured, const std::filesystem::path& file) {
  std::error_code error;
  if (!std::filesystem::exists(file, error)) return configured;
  std::ifstream in(file, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  auto read = in.bad() || !in.is_open()
                  ? Result<Config>(unavailable(fmt::format("{} can't be read.", file.string())))
                  : with_kept(configured, text, file.string());
  if (read) return read;
  const std::filesystem::path aside = file.string() + ".damaged";
  std::filesystem::rename(file, aside, error);
  return invalid_input(
      fmt::format("{} The settings are those of the configuration{}.", read.error().message,
                  error ? std::string() : fmt::format("; the file is kept as {}", aside.string())));
}

Result<void> write_kept(const std::string& text, const std::filesystem::path& file) {
  const auto fail = [&](int reason) {
    return Error{reason == ENOSPC ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
                 fmt::format("{} can't be written: {}. The settings will be those of before after a restart.",
                             file.string(), std::strerror(reason))};
  };
  if (text.empty()) {
    if (::unlink(file.c_str()) != 0 && errno != ENOENT) return fail(errno);
    return {};
  }
  const std::string part = file.string() + ".part";
  const int out = ::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (out < 0) return fail(errno);
  int reason = 0;
  for (std::size_t done = 0; done < text.size() && reason == 0;) {
    const ssize_t some = ::write(out, text.data() + done, text.size() - done);
    if (some < 0 && errno != EINTR) reason = errno;
    if (some > 0) done += static_cast<std::size_t>(some);
  }
  if (reason == 0 && ::fsync(out) != 0) reason = errno;
  if (::close(out) != 0 && reason == 0) reason = errno;
  if (reason == 0 && ::rename(part.c_str(), file.c_str()) != 0) reason = errno;
  if (reason != 0) {
    ::unlink(part.c_str());
    return fail(reason);
  }
  if (const int folder = ::open(file.parent_path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
      folder >= 0) {
    ::fsync(folder);  // the new name too
    ::close(folder);
  }
  return {};
}

}  // namespace undersong::app
