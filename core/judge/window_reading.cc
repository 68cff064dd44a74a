#include "core/judge/window_reading.h"

#include <bit>
#include <limits>

namespace tachproof {
namespace {

std::size_t apart(std::size_t a, std::size_t b) { return a < b ? b - a : a - b; }

}  // namespace

WindowReading::WindowReading(const Gauge& gauge, Channels wired) : wired_(wired & gauge.all_channels()) {
  for (const Window& window : gauge.windows)
    cues_.push_back({window.cue.steady & wired_, window.cue.blinking & wired_});
}

bool WindowReading::is_picture(Channels lit) const {
  for (std::size_t w = 0; w < cues_.size(); ++w)
    if (shows(w, lit)) return true;
  return false;
}

std::optional<WindowReading::Read> WindowReading::read_plain(Channels lit, std::size_t lowest,
                                                             std::size_t highest, std::size_t before) const {
  if (before >= lowest && before <= highest && shows(before, lit)) return Read{before, true, true};
  std::optional<Read> only;
  for (std::size_t w = lowest; w <= highest; ++w) {
    if (!shows(w, lit)) continue;
    if (only) return std::nullopt;
    only = Read{w, true, true};
  }
  return only;
}

WindowReading::Read WindowReading::read(Channels lit, std::size_t lowest, std::size_t highest,
                                        std::size_t before, std::size_t ahead) const {
  if (before >= lowest && before <= highest && shows(before, lit)) return {before, true, true};
  const auto cost = [&](std::size_t w) {
    const bool away = (w > before) != (ahead > before) && w != before && ahead != before;
    return apart(w, before) + (away ? cues_.size() : 0);
  };
  Read best;
  const auto look = [&](std::size_t from, std::size_t to) {
    std::size_t least = std::numeric_limits<std::size_t>::max();
    for (std::size_t w = from; w <= to; ++w)
      if (shows(w, lit) && cost(w) < least) {
        least = cost(w);
        best.window = w;
      }
    return least != std::numeric_limits<std::size_t>::max();
  };
  if (look(lowest, highest)) return {best.window, true, true};
  if (look(0, cues_.size() - 1)) return {best.window, false, true};

  int fewest = std::numeric_limits<int>::max();
  for (std::size_t w = lowest; w <= highest; ++w) {
    const int wrong = std::popcount((lit & wired_ & ~cues_[w].blinking) ^ cues_[w].steady);
    if (wrong < fewest || (wrong == fewest && apart(w, before) < apart(best.window, before))) {
      fewest = wrong;
      best.window = w;
    }
  }
  return {best.window, false, false};
}

std::size_t WindowReading::furthest_alike(Channels lit, std::size_t from, std::size_t to, std::size_t lowest,
                                          std::size_t highest) const {
  if (!shows(from, lit)) return from;
  std::size_t w = to;
  do w = w > from ? w - 1 : w + 1;
  while (w != from && !(w >= lowest && w <= highest && shows(w, lit)));
  return w;
}

bool WindowReading::look_alike(std::size_t a, std::size_t b) const { return cues_[a] == cues_[b]; }

bool WindowReading::alike_while_lit(std::size_t a, std::size_t b) const {
  // Some picture belongs to both: what is steady in one and not in the other
  // must be blinking there.
  const Channels only_a = cues_[a].steady & ~cues_[b].steady;
  const Channels only_b = cues_[b].steady & ~cues_[a].steady;
  return (only_a & ~cues_[b].blinking) == 0 && (only_b & ~cues_[a].blinking) == 0;
}

}  // namespace tachproof
