#include "core/judge/wrong_cues.h"

#include <algorithm>
#include <utility>

#include "core/base/text.h"
#include "core/judge/dimming.h"
#include "core/judge/settling.h"

namespace tachproof {

void WrongCues::demand(std::size_t lowest, std::size_t highest) {
  if (!wrong_ || wrong_->lowest == wrong_->highest) return;
  wrong_->lowest = lowest;
  wrong_->highest = highest;
}

// While the unit is on its way past windows, lamps that come a little apart make
// pictures of no window: each lamp is then as in one of those that may be shown. Two changes
// that follow each other make such pictures for twice as long as one.
bool WrongCues::on_the_way(const Wrong& wrong) const {
  if (wrong.lowest == wrong.highest) return false;
  Channels may_be_lit = 0, may_be_dark = 0;
  for (std::size_t w = wrong.lowest; w <= wrong.highest; ++w) {
    may_be_lit |= reading_.steady(w) | reading_.blinking(w);
    may_be_dark |= ~reading_.steady(w);
  }
  return (wrong.lit & ~may_be_lit) == 0 && (~wrong.lit & wired_ & ~may_be_dark) == 0;
}

std::optional<Finding> WrongCues::end(const End& end, const Disturbances& disturbances) {
  Wrong wrong = *std::exchange(wrong_, std::nullopt);
  const Nanos all = end.at - wrong.from;
  // What was disturbed is forgiven, what came before and after is not.
  // An odd pulse makes another rpm, but never lamps that are no window's.
  const Nanos left = disturbances.outside(wrong.from, end.at), lasted = wrong.known ? left : all;
  // What is left beside a disturbance may be its last instants, or windows that are passed.
  const Nanos least = left == all ? Settling::invisible : wrong.known ? end.slack : 2 * end.slack;
  if (lasted < least || (on_the_way(wrong) && all <= 2 * end.slack)) return std::nullopt;
  while (wrong.known && disturbances.any(wrong.from, wrong.from))
    wrong.from = disturbances.end_of(wrong.from);
  // Right lamps at the wrong time: the boundary's own row says so. Not so where the same
  // lamps are right later for another window than they were read as: no
  // boundary sees a move in that.
  if (wrong.known && (wrong.from_demand || end.by_demand) && !end.reread) return std::nullopt;
  // The watcher may have begun in the dark part of a dimmed lamp's period.
  const std::size_t nearest = std::clamp(wrong.window, wrong.lowest, wrong.highest);
  const bool nothing_wrong_lit = (wrong.lit & ~(reading_.steady(nearest) | reading_.blinking(nearest))) == 0;
  const auto period = static_cast<Nanos>(1e9 / DimmingFilter::least_hz);
  if (wrong.from == end.watched_from && nothing_wrong_lit &&
      end.at - wrong.from < std::max(period, 2 * end.slack))
    return std::nullopt;
  return finding(wrong, lasted);
}

Finding WrongCues::finding(const Wrong& wrong, Nanos lasted) const {
  const std::size_t nearest = std::clamp(wrong.window, wrong.lowest, wrong.highest);
  const Cue wanted{reading_.steady(nearest), reading_.blinking(nearest)};
  const Channels differ = (wrong.lit & ~wanted.blinking) ^ wanted.steady;
  Finding finding{FindingKind::wrong_cue, wrong.from, gauge_.windows[nearest].name, "", ""};
  if (differ != 0)
    for (std::size_t lamp = 0; lamp < gauge_.lamps.size(); ++lamp)
      if (gauge_.lamp_channels(lamp) & differ) {
        finding.lamp = gauge_.lamps[lamp].id;
        break;
      }
  finding.message = "showed " + gauge_.describe(wrong.lit) +
                    (wrong.known ? " (window " + gauge_.windows[wrong.window].name + ")"
                                 : std::string(" (no window shows this)")) +
                    " for " + say_span(lasted) + " at " + decimal(wrong.rpm, 0) + " rpm; window " +
                    gauge_.windows[nearest].name + " must show " + gauge_.describe(wanted);
  return finding;
}

}  // namespace tachproof
