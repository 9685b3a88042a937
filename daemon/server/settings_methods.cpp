// Requests about the settings: get, set, reset, and what may be used as a control.
#include "daemon/live/stage.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"
#include "daemon/server/settings_wire.h"

namespace undersong::server {

void answer(Session& session, const protocol::GetSettings&, To<protocol::Settings> to) {
  to(settings_of(session.room().stage.settings()));
}

void answer(Session& session, const protocol::SetSettings& wish, To<protocol::Settings> to) {
  auto& settings = session.room().stage.settings();
  const auto wanted = changed(settings.now(), wish);
  if (!wanted) return to(wanted.error());
  settings.change(*wanted);
  to(settings_of(settings));
  session.room().publish_status();
}

void answer(Session& session, const protocol::ResetSettings& wish, To<protocol::Settings> to) {
  auto& settings = session.room().stage.settings();
  settings.reset(wish.names ? std::optional(names_of(*wish.names)) : std::nullopt);
  to(settings_of(settings));
  session.room().publish_status();
}

void answer(Session& session, const protocol::LearnControl&, To<protocol::LearntControl> to) {
  session.room().stage.performance().learn([to](Result<listen::ControlMessage> pressed) {
    if (!pressed) return to(pressed.error());
    to(protocol::LearntControl{listen::to_text(*pressed)});
  });
}

}  // namespace undersong::server
