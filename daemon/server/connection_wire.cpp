#include "daemon/server/connection_wire.h"

#include "daemon/harmony/durations.h"
#include "daemon/live/stage.h"
#include "daemon/midi/ports_source.h"
#include "daemon/server/playing_wire.h"
#include "daemon/server/settings_wire.h"
#include "daemon/server/wire.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::Welcome welcome_of(const std::string& program_version, const Visitor& visitor) {
  protocol::Welcome welcome;
  welcome.program = program_version;
  for (const auto& capability : protocol::kCapabilities) welcome.capabilities.emplace_back(capability.name);
  welcome.passing_us = harmony::kPassing.count();
  welcome.token_needed = !visitor.trusted;
  welcome.may_pair = visitor.local;
  return welcome;
}

Buffer welcome_message(const std::string& program_version, const Visitor& visitor) {
  std::string text =
      std::string(R"({"jsonrpc":"2.0","method":")") + protocol::Welcome::kMethod + R"(","params":)";
  protocol::append_json(text, welcome_of(program_version, visitor));
  return std::make_shared<const std::string>(text + "}\n");
}

Buffer status_message(live::Stage& stage, const takes::Health& store, takes::LineNumber log_end) {
  protocol::Status out;
  const auto clients = stage.client_keys().port();
  for (const auto& port : stage.inputs().ports()) {
    if (port.number == clients) continue;
    protocol::Port& told = out.ports.emplace_back();
    told = {port.number, port.name, port.connected, port.name == midi::PortsOptions().virtual_port, {}};
    if (const auto last = stage.performance().last_note(port.number)) told.last_note = last->count();
  }
  out.at = stage.performance().now().count();
  const auto output = stage.player().output();
  protocol::OutputPort& told = out.outputs.emplace_back();
  told = {output.name, output.connected, output.trouble, output.listeners, {}};
  if (!output.offered.empty()) told.offered = output.offered;
  if (auto trouble = stage.inputs().trouble(); !trouble.empty()) out.midi_trouble = std::move(trouble);
  if (const auto& playing = stage.player().playing()) out.playing = playing_of(*playing);
  if (const auto& take = stage.recorder().take())
    out.take = protocol::CurrentTake{take->id, take->since.count(), take->begin_utc_ms, take->notes};
  out.still = stage.performance().still();
  out.settings = settings_of(stage.settings());
  out.lost_events = stage.inputs().dropped();
  out.store = {store.good, store.sentence, store.waiting,        store.lost,
               store.id,   store.damage,   store.checked_utc_ms, store.backed_up_utc_ms};
  out.log_last = log_end;
  out.finds_asked = stage.finds_asked();
  out.takes_studied = stage.takes_studied();
  return status_message(out);
}

protocol::Places places_of(const Places& places) {
  protocol::Places out;
  out.configuration = places.configuration;
  out.configured = places.configured;
  out.takes = places.takes;
  out.socket = places.socket;
  if (places.page) out.page.emplace(*places.page);
  out.page_trouble = places.page_trouble;
  return out;
}

}  // namespace undersong::server
