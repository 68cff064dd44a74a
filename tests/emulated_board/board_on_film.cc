#include "tests/emulated_board/board_on_film.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "bench/firmware/protocol.h"
#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

// The share of from..to in which one of these levels is high.
double share(const std::vector<PinLevels>& changes, unsigned mask, Nanos from, Nanos to) {
  const Cycles a = cycles_of(std::max<Nanos>(from, 0)), b = cycles_of(std::max<Nanos>(to, 1));
  auto at = std::upper_bound(changes.begin(), changes.end(), a,
                             [](Cycles t, const PinLevels& change) { return t < change.at; });
  unsigned levels = at == changes.begin() ? 0 : std::prev(at)->levels;
  Cycles since = a, lit = 0;
  for (; at != changes.end() && at->at < b; ++at) {
    if (levels & mask) lit += at->at - since;
    levels = at->levels;
    since = at->at;
  }
  if (levels & mask) lit += b - since;
  return static_cast<double>(lit) / static_cast<double>(b - a);
}

}  // namespace

BoardOnFilm::BoardOnFilm(const EmulatedBoard& board, std::vector<FilmedWire> wires, std::vector<double> rows,
                         const Filming& filming)
    : board_(board), wires_(std::move(wires)), rows_(std::move(rows)), filming_(filming) {}

Nanos BoardOnFilm::camera_time(int frame) const {
  return filming_.begins_at + from_seconds(frame / filming_.frames_per_s);
}

Nanos BoardOnFilm::board_time(Nanos camera) const {
  return static_cast<Nanos>(static_cast<double>(camera - filming_.begins_at) /
                            (1 + filming_.fast_ppm * 1e-6));
}

// Dark and lit as core/camera/lamp_colour.h tells them: unclear from 0.15 to 0.3 of the
// taught light, weak up to 3/4.
char BoardOnFilm::look(std::size_t lamp, Nanos row_at, std::string& measures) const {
  const Nanos from = row_at - filming_.exposure / 2, to = row_at + filming_.exposure / 2;
  std::map<char, double> light;
  if (lamp + 1 == rows_.size()) {
    if (filming_.sync_in_view) light['A'] = share(board_.output_changes(), link_output_press_1, from, to);
  } else {
    for (const FilmedWire& wire : wires_)
      if (wire.lamp == lamp) light[wire.colour] += share(board_.input_changes(), 1u << wire.input, from, to);
  }
  char colour = '.';
  double most = 0, all = 0;
  for (const auto& [name, part] : light) {
    all += part;
    if (part > most) most = part, colour = name;
  }
  // Its light, none of it clipped, no colour: see bench/rigs/camera/camera_lines.h.
  measures += fmt::format("{:03x}ff0000", static_cast<int>(1024 * std::min(all, 3.9)));
  if (all < 0.15) return '.';
  if (all < 0.3 || all - most > 0.15) return '?';
  return all < 0.75 ? static_cast<char>(colour - 'A' + 'a') : colour;
}

std::optional<std::string> BoardOnFilm::line(std::chrono::milliseconds) {
  const std::vector<std::string> greeting{"tachproof-camera 1", "about a board on film",
                                          fmt::format("period {}", from_seconds(1 / filming_.frames_per_s))};
  if (greeted_ < greeting.size()) return greeting[greeted_++];
  if (frame_ == filming_.stops_at) throw RigError("the camera /dev/video9 gives no more frames");
  if (frame_ == filming_.drops_from) frame_ += filming_.drops;
  const Nanos at = camera_time(frame_), middle = board_time(at);
  if (board_.cycle() < cycles_of(middle + filming_.exposure + filming_.readout + filming_.delivered_after))
    return std::nullopt;
  ++frame_;
  std::string line = fmt::format("frame {} - ", at), measures;
  for (std::size_t lamp = 0; lamp < rows_.size(); ++lamp)
    line += look(lamp, middle + static_cast<Nanos>(rows_[lamp] * static_cast<double>(filming_.readout)),
                 measures);
  return line + " " + measures;
}

}  // namespace tachproof
