// What makes the watcher's times those of the run.
#pragma once

#include <array>
#include <optional>
#include <string_view>

namespace tachproof {

enum class TimeRelation {
  one_clock,     // what plays, or recorded, the pulses stamps the lamps too
  host_clock,    // the computer times what is played, and what is seen
  sync_lamp,     // a lamp of the bench's own, flashed at known instants
  lamp_changes,  // the unit's own first and last change: a unit that is late, or off, as a whole looks sound
};

inline constexpr std::array<std::string_view, 4> time_relations{"one-clock", "host-clock", "sync-lamp",
                                                                "lamp-changes"};
constexpr std::string_view word(TimeRelation r) { return time_relations[static_cast<std::size_t>(r)]; }
constexpr std::optional<TimeRelation> time_relation(std::string_view word) {
  for (std::size_t i = 0; i < time_relations.size(); ++i)
    if (time_relations[i] == word) return static_cast<TimeRelation>(i);
  return std::nullopt;
}

}  // namespace tachproof
