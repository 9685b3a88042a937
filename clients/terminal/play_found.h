// Plays one of the places that a command has just listed.
//
// Units: `number` counts from 1, as the list does; 0 plays nothing.
// Threads: one, that of the command.
// Errors: one sentence if the list has no such number, or why the daemon does not play.
#pragma once

#include <fmt/format.h>

#include <optional>
#include <string_view>
#include <vector>

#include "clients/terminal/commands.h"
#include "clients/terminal/say.h"
#include "protocol/connection.h"

namespace undersong::terminal {

// `kind`: what the list holds, in the singular. Place: has take, from_us and length_us.
template <class Place>
std::optional<protocol::Problem> play_found(protocol::Connection& daemon, std::string_view kind, int number,
                                            const std::vector<Place>& found) {
  if (number == 0) return std::nullopt;
  const int count = static_cast<int>(found.size());
  if (number > count)
    return protocol::Problem{fmt::format("There is no {} {} to play: {} {} found.", kind, number, count,
                                         count == 1 ? "was" : "were")};
  const Place& place = found[static_cast<std::size_t>(number - 1)];
  protocol::PlayTake play;
  play.take = place.take;
  play.from_us = place.from_us;
  play.to_us = place.from_us + place.length_us;
  play.held = true;
  const auto playing = daemon.request(play);
  if (!playing) return playing.error();
  say("Playing {} {}.\n", kind, number);
  return std::nullopt;
}

}  // namespace undersong::terminal
