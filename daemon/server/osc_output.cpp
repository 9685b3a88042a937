#include "daemon/server/osc_output.h"

#include <fmt/format.h>
#include <lo/lo.h>

#include <boost/asio/ip/address.hpp>

#include "daemon/harmony/colour.h"
#include "daemon/harmony/key.h"

namespace undersong::server {
namespace {

using Bundle = std::unique_ptr<void, void (*)(void*)>;

// Everything in the bundle is freed with it.
Bundle new_bundle() {
  return {lo_bundle_new(LO_TT_IMMEDIATE), lo_bundle_free_recursive};
}

}  // namespace

// What a bundle says.
struct OscOutput::Told {
  std::string chord, melody, degree, key, best;
  int root = -1, bass = -1, sounding = 0, pitch = -1, tempo = -1, place = -1, meter = -1;
  float dark_bright = 0, resolved_tense = 0;
  friend bool operator==(const Told&, const Told&) = default;
};

bool is_osc_address(const std::string& text) {
  boost::system::error_code wrong;
  boost::asio::ip::make_address(text, wrong);
  return !wrong;
}

Result<std::unique_ptr<OscOutput>> OscOutput::open(const OscOptions& options) {
  if (!is_osc_address(options.address))
    return invalid_input(
        fmt::format("[osc] address = \"{}\" is no address in numbers, such as 127.0.0.1.", options.address));
  lo_address target = lo_address_new(options.address.c_str(), std::to_string(options.port).c_str());
  if (target == nullptr)
    return unavailable(
        fmt::format("Open Sound Control can't be sent to {} port {}.", options.address, options.port));
  return std::unique_ptr<OscOutput>(new OscOutput(target));
}

OscOutput::OscOutput(void* target) : target_(target) {}
OscOutput::~OscOutput() {
  lo_address_free(target_);
}

OscOutput::Told OscOutput::told_of(const listen::Moment& moment, harmony::SymbolStyle style) {
  Told out;
  if (moment.harmony) {
    const auto& reading = moment.harmony->reading;
    out.chord = harmony::symbol(reading.chord, reading.root_name, style);
    out.root = reading.chord.root.value();
    out.bass = reading.chord.bass.value();
    out.sounding = moment.harmony->sounding ? 1 : 0;
    const auto colour =
        harmony::colour(reading.chord, moment.key ? std::optional(moment.key->key) : std::nullopt);
    out.dark_bright = colour.dark_bright;
    out.resolved_tense = colour.resolved_tense;
  }
  if (!moment.melody.empty()) {
    const auto& note = moment.melody[0];
    out.melody = harmony::text(note.name, note.pitch);
    out.pitch = note.pitch.value();
    if (moment.harmony) out.degree = harmony::text(note.degree);
  }
  if (moment.key) out.key = harmony::text(moment.key->key);
  if (moment.beat) {
    out.tempo = moment.beat->tempo;
    out.place = moment.beat->place + 1;
    out.meter = moment.beat->meter;
  }
  if (!moment.alternatives.empty())
    out.best = harmony::symbol(moment.alternatives[0].chord, moment.alternatives[0].root_name, style);
  return out;
}

void OscOutput::publish(const listen::Moment& moment, harmony::SymbolStyle style) {
  auto told = told_of(moment, style);
  if (last_ && *last_ == told) return;
  const Bundle bundle = new_bundle();
  if (!bundle) return;
  const auto add = [&](const char* path, auto fill) {
    lo_message message = lo_message_new();
    if (message == nullptr) return;
    fill(message);
    lo_bundle_add_message(bundle.get(), path, message);
  };
  add("/undersong/chord", [&](lo_message m) {
    lo_message_add_string(m, told.chord.c_str());
    for (const int number : {told.root, told.bass, told.sounding}) lo_message_add_int32(m, number);
  });
  add("/undersong/melody", [&](lo_message m) {
    lo_message_add_string(m, told.melody.c_str());
    lo_message_add_int32(m, told.pitch);
    lo_message_add_string(m, told.degree.c_str());
  });
  add("/undersong/colour", [&](lo_message m) {
    lo_message_add_float(m, told.dark_bright);
    lo_message_add_float(m, told.resolved_tense);
  });
  add("/undersong/key", [&](lo_message m) { lo_message_add_string(m, told.key.c_str()); });
  add("/undersong/beat", [&](lo_message m) {
    for (const int number : {told.tempo, told.place, told.meter}) lo_message_add_int32(m, number);
  });
  add("/undersong/best", [&](lo_message m) { lo_message_add_string(m, told.best.c_str()); });
  lo_send_bundle(target_, bundle.get());  // a lost datagram is put right by the next
  last_ = std::make_unique<Told>(std::move(told));
}

}  // namespace undersong::server
