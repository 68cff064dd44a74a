// Where a row of a result belongs, in words: the same in every report.
#pragma once

#include <string>
#include <string_view>
#include <utility>

#include "core/base/verdict.h"
#include "core/judge/result.h"

namespace tachproof {

// How the state of a unit is called that was not pressed and lost no power yet.
inline constexpr std::string_view state_as_set = "as set";

// "shift, after set 1 at 4210 rpm"; the place alone where the unit was as set.
inline std::string in_state(std::string place, const std::string& state) {
  if (!state.empty()) place += ", " + state;
  return place;
}

// What a row of the supply tells of.
inline std::string_view power_word(const PowerResult& row) {
  return row.went_dark ? "brown-out" : row.lowest_v == row.lowest_v ? "supply dip" : "power cut";
}

// "beyond, rising, after set 1 at 4210 rpm", "over-rev, top magenta": what the row has of
// boundary or window, direction, lamp and state.
template <class Row>
std::string row_place(const Row& row) {
  std::string place;
  if constexpr (requires { row.boundary; })
    place = row.boundary;
  else
    place = row.window;
  if constexpr (requires { row.direction; }) place += ", " + std::string(word(row.direction));
  if constexpr (requires { row.lamp; }) place += ", " + row.lamp;
  return in_state(std::move(place), row.state);
}

}  // namespace tachproof
