// The command `pair`: a code for a tablet or a phone, the list of those that are paired, and the port for
// them.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/qr_code.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

struct PairWish {
  std::string name, revoke;
  bool list = false, open = false, close = false;
};

void print_list(const protocol::DeviceList& list) {
  if (list.trouble) say("{}\n", *list.trouble);
  if (list.addresses.empty())
    say("Only this machine can reach Undersong now (`undersong pair --open` changes that).\n");
  else
    say("Paired devices find the page at {} (`undersong pair --close` ends that).\n",
        fmt::join(list.addresses, " or "));
  if (list.fingerprint) say("SHA-256 of its certificate: {}\n", *list.fingerprint);
  if (list.devices.empty()) say("No device is paired.\n");
  for (const auto& device : list.devices)
    say("{:4}  {}  paired {}, {}\n", device.device, padded(device.name, 20), local_time(device.made_utc_ms),
        device.connected     ? "connected now"
        : device.seen_utc_ms ? "seen last " + local_time(*device.seen_utc_ms)
                             : "code not used yet");
}

void print_code(const protocol::PairingCode& code) {
  say("{}\n", draw_qr_code(code.rows));
  say("Read this code with the camera of {}, which must be in the same network. It is good until {}.\n",
      code.device.name, local_time(code.until_utc_ms));
  say("Without a camera: open {} there and type the token {}\n", fmt::join(code.addresses, " or "),
      code.token);
  if (code.fingerprint)
    say("The browser there will warn, because only this machine vouches for its certificate. Compare the "
        "SHA-256 "
        "fingerprint that it shows before you go on:\n{}\n",
        *code.fingerprint);
  else
    say("Without https others in your network can read along, the screen there may go dark while you play, "
        "and "
        "the page opens only while Undersong runs: `tls = true` in the configuration changes that.\n");
  say("Whoever reads this code can follow what you play. `undersong pair --revoke {}` ends that.\n",
      code.device.device);
}

std::optional<Problem> set_open(protocol::Connection& daemon, bool on) {
  protocol::OpenDevices request;
  request.on = on;
  const auto list = daemon.request(request);
  if (!list) return list.error();
  if (!on) say("Only this machine can reach Undersong now. Your devices stay paired.\n");
  return std::nullopt;
}

// By its number, or by its name.
std::optional<Problem> revoke(protocol::Connection& daemon, const std::string& which) {
  const auto list = daemon.request(protocol::ListDevices{});
  if (!list) return list.error();
  std::uint64_t number = 0;
  const char* end = which.data() + which.size();
  const bool is_number = std::from_chars(which.data(), end, number).ptr == end;
  const auto& all = list->devices;
  auto found = std::find_if(all.begin(), all.end(), [&](const auto& each) { return each.name == which; });
  if (found == all.end() && is_number)
    found = std::find_if(all.begin(), all.end(), [&](const auto& each) { return each.device == number; });
  if (found == all.end())
    return Problem{fmt::format("No device \"{}\" is paired; `undersong pair --list` shows them.", which)};
  protocol::RevokeDevice request;
  request.device = found->device;
  if (const auto left = daemon.request(request); !left) return left.error();
  say("{} is no longer paired.\n", found->name);
  return std::nullopt;
}

std::optional<Problem> run_pair(protocol::Connection& daemon, const PairWish& wish) {
  if (!wish.revoke.empty()) return revoke(daemon, wish.revoke);
  if (wish.close) return set_open(daemon, false);
  if (wish.list) {
    const auto list = daemon.request(protocol::ListDevices{});
    if (!list) return list.error();
    print_list(*list);
    return std::nullopt;
  }
  if (wish.open)
    if (auto problem = set_open(daemon, true)) return problem;
  protocol::PairDevice request;
  if (!wish.name.empty()) request.name = wish.name;
  const auto code = daemon.request(request);
  if (!code) return code.error();
  print_code(*code);
  return std::nullopt;
}

}  // namespace

void add_pair(CLI::App& program, Session& session) {
  auto* pair = program.add_subcommand("pair", "Show a code with which a tablet or a phone joins");
  auto wish = std::make_shared<PairWish>();
  auto* name = pair->add_option("name", wish->name, "what to call the device, such as \"music desk\"");
  auto* open = pair->add_flag("--open", wish->open,
                              "first let paired devices connect over the network, until --close");
  auto* others = pair->add_option_group("instead");
  others->add_flag("--close", wish->close, "let only this machine connect; devices stay paired")
      ->excludes(name, open);
  others->add_flag("--list", wish->list, "show where devices find the page, and which are paired")
      ->excludes(name, open);
  others->add_option("--revoke", wish->revoke, "end the pairing of a device, by its name or number")
      ->excludes(name, open);
  others->require_option(0, 1);
  add_json(*pair, session,
           {protocol::PairDevice::kMethod, protocol::ListDevices::kMethod, protocol::OpenDevices::kMethod,
            protocol::RevokeDevice::kMethod});
  pair->callback([wish, &session] {
    session.with_daemon([wish](protocol::Connection& daemon) { return run_pair(daemon, *wish); });
  });
}

}  // namespace undersong::terminal
