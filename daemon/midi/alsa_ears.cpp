#include "daemon/midi/alsa_ears.h"

#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <map>
#include <thread>

#include "daemon/midi/alsa_seq.h"
#include "daemon/midi/inputs.h"
#include "daemon/midi/punctual.h"

namespace undersong::midi {
namespace {

constexpr std::size_t kPool = 2000;  // messages; the most that the kernel allows
// The port that hears of other ports; out of the way of our input, which is port 0.
constexpr int kWatchPort = 253;
constexpr std::uint32_t kNobody = 0xFFFF'FFFF;

std::uint32_t packed(const snd_seq_addr_t& address) {
  return std::uint32_t{address.client} << 8 | address.port;
}

struct FreeCoder {
  void operator()(snd_midi_event_t* coder) const { snd_midi_event_free(coder); }
};

class AlsaEars final : public Ears {
 public:
  AlsaEars(SequencerHandle handle, bool pass_clock, std::function<void()> poke)
      : handle_(std::move(handle)), pass_clock_(pass_clock), poke_(std::move(poke)) {
    for (auto& source : heard_) source = kNobody;
  }

  ~AlsaEars() override {
    if (reader_.joinable()) {
      const std::uint64_t one = 1;
      [[maybe_unused]] const auto written = ::write(stop_, &one, sizeof one);
      reader_.join();
    }
    if (stop_ >= 0) ::close(stop_);
  }

  // False if the sequencer lacks something; the object is then of no use.
  bool begin() {
    snd_midi_event_t* coder = nullptr;
    if (snd_midi_event_new(kLongest, &coder) < 0) return false;
    coder_.reset(coder);
    snd_midi_event_no_status(coder, 1);
    stop_ = ::eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    if (stop_ < 0) return false;
    // Both only improve matters, so a refusal changes nothing.
    snd_seq_set_client_pool_input(handle_.get(), kPool);
    snd_seq_set_input_buffer_size(handle_.get(), kPool * sizeof(snd_seq_event_t));
    const int announced = hidden_port("watch", kWatchPort);
    if (announced < 0 || snd_seq_connect_from(handle_.get(), announced, SND_SEQ_CLIENT_SYSTEM,
                                              SND_SEQ_PORT_SYSTEM_ANNOUNCE) < 0)
      return false;
    reader_ = std::thread([this] { read(); });
    return true;
  }

  std::vector<std::string> listed() override {
    std::vector<std::string> out;
    for (SequencerPort& port : ports_to_hear(handle_.get())) out.push_back(std::move(port.name));
    return out;
  }

  bool make_own(const std::string& name, Lane& lane) override {
    const int port = snd_seq_create_simple_port(
        handle_.get(), name.c_str(), SND_SEQ_PORT_CAP_WRITE | SND_SEQ_PORT_CAP_SUBS_WRITE,
        SND_SEQ_PORT_TYPE_MIDI_GENERIC | SND_SEQ_PORT_TYPE_APPLICATION);
    if (port < 0) return false;
    own_ = port;
    lanes_[static_cast<std::size_t>(port)] = &lane;
    return true;
  }

  Opened open(const std::string& raw_name, Lane& lane) override {
    const auto from = address_in(raw_name);
    if (!from || open_.size() >= heard_.size()) return Opened::kRefused;
    const int port = hidden_port("ear");
    if (port < 0) return Opened::kRefused;
    lanes_[static_cast<std::size_t>(port)] = &lane;
    if (const int failed = snd_seq_connect_from(handle_.get(), port, from->client, from->port); failed < 0) {
      remove(port);
      return failed == -ENXIO || failed == -ENOENT || failed == -EINVAL ? Opened::kGone : Opened::kRefused;
    }
    std::size_t place = 0;
    while (heard_[place] != kNobody) ++place;
    heard_[place] = packed(*from);
    open_[raw_name] = {port, place, *from};
    return Opened::kYes;
  }

  bool connected(const std::string& raw_name) override {
    const auto found = open_.find(raw_name);
    if (found == open_.end()) return false;
    snd_seq_port_subscribe_t* asked = nullptr;
    snd_seq_port_subscribe_alloca(&asked);
    snd_seq_addr_t own{static_cast<unsigned char>(snd_seq_client_id(handle_.get())),
                       static_cast<unsigned char>(found->second.port)};
    snd_seq_port_subscribe_set_sender(asked, &found->second.from);
    snd_seq_port_subscribe_set_dest(asked, &own);
    return snd_seq_get_port_subscription(handle_.get(), asked) >= 0;
  }

  void close(const std::string& raw_name) override {
    const auto found = open_.find(raw_name);
    if (found == open_.end()) return;
    const Connection was = found->second;
    open_.erase(found);
    heard_[was.place] = kNobody;
    remove(was.port);
  }

  bool heard_on_own(const std::string&) override { return false; }  // left out message by message
  unsigned take_losses() override { return losses_.exchange(0); }

 private:
  static constexpr std::size_t kLongest = 64;  // bytes; system-exclusive data are not decoded

  struct Connection {
    int port = 0;           // our own, which hears it
    std::size_t place = 0;  // in heard_
    snd_seq_addr_t from{};
  };

  // A port that nobody else sees. `number`: which it gets; by default the first that is free.
  int hidden_port(const char* name, int number = -1) {
    snd_seq_port_info_t* port = nullptr;
    snd_seq_port_info_alloca(&port);
    snd_seq_port_info_set_name(port, name);
    snd_seq_port_info_set_capability(port, SND_SEQ_PORT_CAP_WRITE | SND_SEQ_PORT_CAP_NO_EXPORT);
    snd_seq_port_info_set_type(port, SND_SEQ_PORT_TYPE_APPLICATION);
    if (number >= 0) {
      snd_seq_port_info_set_port_specified(port, 1);
      snd_seq_port_info_set_port(port, number);
    }
    const int failed = snd_seq_create_port(handle_.get(), port);
    return failed < 0 ? failed : snd_seq_port_info_get_port(port);
  }

  void remove(int port) {
    snd_seq_delete_simple_port(handle_.get(), port);
    lanes_[static_cast<std::size_t>(port)] = nullptr;
    // What the reader has already taken from the kernel may still name this port, so wait until it is
    // through.
    const auto turn = turns_.load();
    if (busy_.load())
      while (busy_.load() && turns_.load() == turn) std::this_thread::yield();
  }

  void read() {
    be_punctual("midi-in");
    std::array<pollfd, 2> waiting{};
    snd_seq_poll_descriptors(handle_.get(), waiting.data(), 1, POLLIN);
    waiting[1] = {stop_, POLLIN, 0};
    for (;;) {
      if (::poll(waiting.data(), waiting.size(), -1) < 0 && errno != EINTR) return;
      if (waiting[1].revents) return;
      busy_ = true;
      drain();
      ++turns_;
      busy_ = false;
    }
  }

  void drain() noexcept {
    for (;;) {
      snd_seq_event_t* event = nullptr;
      const int left = snd_seq_event_input(handle_.get(), &event);
      if (left == -ENOSPC) {
        lost();
      } else if (left < 0) {
        return;
      } else if (event) {
        take(*event);
      }
    }
  }

  void take(const snd_seq_event_t& event) noexcept {
    if (event.source.client == SND_SEQ_CLIENT_SYSTEM) {
      if (event.type == SND_SEQ_EVENT_PORT_START || event.type == SND_SEQ_EVENT_PORT_EXIT ||
          event.type == SND_SEQ_EVENT_PORT_CHANGE)
        poke_();
      return;
    }
    Lane* const lane = lanes_[event.dest.port];
    if (!lane || event.type == SND_SEQ_EVENT_SYSEX) return;
    if (event.dest.port == own_)
      for (const auto& source : heard_)
        if (source == packed(event.source)) return;
    std::array<std::uint8_t, kLongest> bytes;
    const long size = snd_midi_event_decode(coder_.get(), bytes.data(), bytes.size(), &event);
    const Micros at = steady_now();
    // A controller of 14 bits becomes several messages.
    for (long first = 0; first < size;) {
      long end = first + 1;
      while (end < size && bytes[static_cast<std::size_t>(end)] < 0x80) ++end;
      push_received(*lane, at, bytes.data() + first, static_cast<std::size_t>(end - first), pass_clock_);
      first = end;
    }
  }

  void lost() noexcept {
    for (auto& lane : lanes_)
      if (Lane* const it = lane) it->lose();
    ++losses_;
    poke_();
  }

  SequencerHandle handle_;
  std::unique_ptr<snd_midi_event_t, FreeCoder> coder_;  // used by the reader
  const bool pass_clock_;
  const std::function<void()> poke_;
  int stop_ = -1;  // an eventfd that ends the reader
  std::map<std::string, Connection> open_;
  // Written by the owner, read by the reader: the lane of each of our ports, and whom we listen to (see
  // packed).
  std::array<std::atomic<Lane*>, 256> lanes_{};
  std::array<std::atomic<std::uint32_t>, Inputs::kMostInputs> heard_{};
  std::atomic<int> own_{-1};
  // Written by the reader, read by the owner.
  std::atomic<bool> busy_{false};
  std::atomic<std::uint64_t> turns_{0};
  std::atomic<unsigned> losses_{0};
  std::thread reader_;
};

}  // namespace

Result<std::unique_ptr<Ears>> alsa_ears(const std::string& client_name, bool pass_clock,
                                        std::function<void()> poke) {
  SequencerHandle handle = open_sequencer(client_name);
  if (!handle) return unavailable("ALSA's sequencer can't be opened.");
  auto ears = std::make_unique<AlsaEars>(std::move(handle), pass_clock, std::move(poke));
  if (!ears->begin()) return unavailable("ALSA's sequencer does not accept our client.");
  return std::unique_ptr<Ears>(std::move(ears));
}

}  // namespace undersong::midi
