#include "daemon/server/pairing.h"

#include <fmt/format.h>
#include <openssl/crypto.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <fstream>
#include <iterator>
#include <utility>

#include "daemon/base/private_folder.h"
#include "daemon/base/replace_file.h"
#include "daemon/server/qr_code.h"
#include "daemon/server/session.h"
#include "daemon/server/web_guard.h"

namespace undersong::server {
namespace {

// When a device was seen is not written more often than this while it stays connected.
constexpr UtcMs kSeenEvery = std::chrono::hours(1);

bool everywhere(const std::string& address) {
  return address == "0.0.0.0" || address == "::";
}
bool beyond_this_machine(const WebOptions& web) {
  return !WebGuard(web.address, 0).loopback();
}

Result<void> write_book(const std::filesystem::path& file, const std::string& text) {
  if (auto made = make_private_folder(file.parent_path()); !made) return made;
  return replace_file(file, text);
}

}  // namespace

Pairing::Pairing(boost::asio::io_context& io, PairingOptions options, std::optional<WebOptions> main,
                 Aside aside, Publisher& publisher, MakeSession make_session)
    : io_(io),
      options_(std::move(options)),
      main_(std::move(main)),
      aside_(std::move(aside)),
      publisher_(publisher),
      make_session_(std::move(make_session)) {}

void Pairing::begin() {
  read();
  if (!book_.open || !options_.web) return;
  auto made = tls();
  const auto listening = made ? listen(*made) : Result<void>(made.error());
  if (!listening) {
    trouble_ = listening.error().message;
    spdlog::warn("{} Paired devices can't connect.", *trouble_);
  }
}

void Pairing::read() {
  std::error_code error;
  if (!std::filesystem::exists(file(), error)) return;
  std::ifstream in(file(), std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  auto book = in.bad() || !in.is_open() ? Result<DeviceBook>(unavailable(file().string() + " can't be read."))
                                        : DeviceBook::read(text, file().string());
  if (book) {
    book_ = std::move(*book);
    return;
  }
  const std::filesystem::path aside = file().string() + ".damaged";
  std::filesystem::rename(file(), aside, error);
  spdlog::warn("{} No device is paired now{}.", book.error().message,
               error ? std::string() : "; the file is kept as " + aside.string());
}

void Pairing::stop() {
  if (listener_) listener_->stop();
  listener_.reset();
  // While a write is under way there is nothing newer than it but when devices were seen.
  if (!std::exchange(dirty_, false) || writing_) return;
  if (const auto written = write_book(file(), book_.text()); !written)
    spdlog::warn("{}", written.error().message);
}

Tls::Options Pairing::tls_options() const {
  std::vector<std::string> chosen;  // addresses that the configuration names
  for (const auto* web : {&main_, &options_.web})
    if (*web && !everywhere((*web)->address) && (web == &options_.web || beyond_this_machine(**web)))
      chosen.push_back((*web)->address);
  return {options_.folder,
          [addresses = options_.addresses, chosen] {
            auto names = addresses();
            names.insert(names.end(), chosen.begin(), chosen.end());
            names.push_back(machine_name());
            return names;
          },
          options_.utc, aside_};
}

Result<std::shared_ptr<Tls>> Pairing::tls() {
  if (!options_.tls || tls_) return tls_;
  auto identity = Tls::identity(tls_options());
  if (!identity) return identity.error();
  auto made = Tls::make(std::move(*identity), tls_options());
  if (made) tls_ = *made;
  return made;
}

Result<void> Pairing::listen(std::shared_ptr<Tls> tls) {
  auto listener = std::make_unique<WebListener>(
      io_, make_session_,
      [this](std::string_view token, const std::string& address) { return show(token, address); });
  WebOptions web = *options_.web;
  web.tls = std::move(tls);
  web.for_devices = true;
  if (auto listening = listener->listen(std::move(web)); !listening) return listening;
  listener_ = std::move(listener);
  trouble_.reset();
  spdlog::info("Paired devices connect at {}.", fmt::join(places(), ", "));
  return {};
}

std::vector<std::string> Pairing::places() const {
  const bool main = !listener_ && main_ && main_port_ != 0 && beyond_this_machine(*main_);
  if (!listener_ && !main) return {};
  const WebOptions& web = main ? *main_ : *options_.web;
  const std::uint16_t port = main ? main_port_ : listener_->port();
  std::vector<std::string> out;
  for (const std::string& address :
       everywhere(web.address) ? options_.addresses() : std::vector<std::string>{web.address})
    if (web.address != "0.0.0.0" || address.find(':') == std::string::npos)
      out.push_back(fmt::format("{}://{}:{}/", options_.tls ? "https" : "http", in_url(address), port));
  return out;
}

Shown Pairing::show(std::string_view token, const std::string& address) {
  const auto now = options_.clock();
  if (const auto wait = brake_.wait(address, now); wait.count() > 0)
    return {.kind = Shown::Kind::kWait, .wait = wait};
  if (book_.forget_unused(options_.utc())) save({});
  const TokenHash shown = hash_of(token), configured = hash_of(options_.token);
  const bool right =
      CRYPTO_memcmp(shown.data(), configured.data(), shown.size()) == 0 && !options_.token.empty();
  const auto device = book_.find(token);
  if (!right && !device) {
    const auto wait = brake_.wrong(address, now);
    spdlog::warn("A wrong token came from {}{}.", address,
                 wait.count() == 0 ? ""
                                   : fmt::format("; it must wait {} s now",
                                                 std::chrono::ceil<std::chrono::seconds>(wait).count()));
    return {.kind = Shown::Kind::kWrong, .wait = wait};
  }
  brake_.right(address);
  if (right) return {.kind = Shown::Kind::kRight};
  const auto& devices = book_.devices();
  const auto known = std::find_if(devices.begin(), devices.end(),
                                  [&](const Device& each) { return each.number == *device; });
  const auto before = known->seen;
  const auto utc = options_.utc();
  book_.seen(*device, utc);
  dirty_ = true;
  if (!before || utc - *before >= kSeenEvery) save({});
  return {.kind = Shown::Kind::kRight, .device = device};
}

void Pairing::left(DeviceNumber device) {
  book_.seen(device, options_.utc());
  dirty_ = true;
}

void Pairing::open(bool on, Answer<protocol::DeviceList> answer) {
  if (!options_.web)
    return answer(unavailable("There is no port for devices: devices_port is 0 in the configuration."));
  if (!on) {
    if (listener_) listener_->stop();
    listener_.reset();
    trouble_.reset();
    book_.open = false;
    publisher_.close_if([](const Session& session) { return session.visitor().by_devices_port; });
    return save([this, answer](const Result<void>& saved) {
      if (!saved) return answer(saved.error());
      answer(list());
    });
  }
  if (!options_.tls || tls_) return opened(tls_, answer);
  aside_.answer<TlsIdentity>(
      "the certificate was made",
      [this, answer](Result<TlsIdentity> identity) {
        if (!identity) return answer(identity.error());
        if (!tls_) {
          auto made = Tls::make(std::move(*identity), tls_options());
          if (!made) return answer(made.error());
          tls_ = *made;
        }
        opened(tls_, answer);
      },
      [options = tls_options()] { return Tls::identity(options); });
}

void Pairing::opened(Result<std::shared_ptr<Tls>> tls, const Answer<protocol::DeviceList>& answer) {
  if (!listener_)
    if (const auto listening = listen(*tls); !listening) return answer(listening.error());
  book_.open = true;
  save([this, answer](const Result<void>& saved) {
    if (!saved) return answer(saved.error());
    answer(list());
  });
}

void Pairing::pair(const std::string& name, Answer<protocol::PairingCode> answer) {
  book_.forget_unused(options_.utc());
  const auto where = places();
  if (where.empty())
    return answer(unavailable(
        listener_
            ? "This machine has no network address that another device could reach."
            : "Only this machine can reach Undersong now: `undersong pair --open`, or the switch in the "
              "page's settings, opens a port for your other devices."));
  const auto token = make_token();
  if (!token) return answer(token.error());
  const auto now = options_.utc();
  protocol::PairingCode code;
  code.token = *token;
  code.addresses = where;
  code.address = where.front() + "#pair=" + *token;
  if (options_.tls && tls_) code.fingerprint.emplace(tls_->fingerprint());
  auto rows = qr_rows(code.address);
  if (!rows) return answer(rows.error());
  code.rows = std::move(*rows);
  code.until_utc_ms = (now + DeviceBook::kCodeLasts).count();
  const auto device = book_.add(name, *token, now);
  if (!device) return answer(device.error());
  code.device = device_of(*device);
  save([this, code, answer, number = device->number](const Result<void>& saved) {
    if (saved) return answer(code);
    book_.remove(number);
    answer(saved.error());
  });
}

void Pairing::revoke(DeviceNumber device, Answer<protocol::DeviceList> answer) {
  if (!book_.remove(device)) return answer(not_found(fmt::format("There is no paired device {}.", device)));
  publisher_.close_if([&](const Session& session) { return session.visitor().device == device; });
  save([this, answer](const Result<void>& saved) {
    if (saved) return answer(list());
    Error error = saved.error();
    error.message += " The device is revoked until Undersong starts again.";
    answer(error);
  });
}

protocol::PairedDevice Pairing::device_of(const Device& device) const {
  protocol::PairedDevice out{device.number, device.name, device.made.count(), {}, false};
  if (device.seen) out.seen_utc_ms.emplace(device.seen->count());
  const auto& sessions = publisher_.all();
  out.connected = std::any_of(sessions.begin(), sessions.end(),
                              [&](const auto& each) { return each->visitor().device == device.number; });
  return out;
}

protocol::DeviceList Pairing::list() {
  if (book_.forget_unused(options_.utc())) save({});
  protocol::DeviceList out;
  out.open = book_.open;
  out.tls = options_.tls;
  out.trouble = trouble_;
  out.addresses = places();
  if (tls_ && !out.addresses.empty()) out.fingerprint.emplace(tls_->fingerprint());
  for (const Device& each : book_.devices()) out.devices.push_back(device_of(each));
  return out;
}

void Pairing::save(Saved saved) {
  if (!saved)
    saved = [](const Result<void>& written) {
      if (!written) spdlog::warn("{}", written.error().message);
    };
  unsaved_.push_back(std::move(saved));
  write();
}

void Pairing::write() {
  if (writing_ || unsaved_.empty()) return;
  writing_ = true;
  dirty_ = false;
  // Result<void> is no answer of an Aside; that it was written is one.
  struct Written {};
  aside_.answer<Written>(
      "the paired devices were written",
      [this, after = std::exchange(unsaved_, {})](Result<Written> written) {
        writing_ = false;
        if (!written) dirty_ = true;
        for (const Saved& each : after) each(written ? Result<void>() : Result<void>(written.error()));
        write();
      },
      [file = file(), text = book_.text()]() -> Result<Written> {
        if (auto written = write_book(file, text); !written) return written.error();
        return Written{};
      });
}

}  // namespace undersong::server
