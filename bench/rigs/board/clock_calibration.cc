#include "bench/rigs/board/clock_calibration.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr double ticks_per_s = 1e9 / +link_tick_ns;
// A board's clock is never this far off, and a reference is no worse.
constexpr double most_uneven = 0.01;
constexpr double most_scatter_s = 100e-6;
// From memory: a quartz crystal stays within 10 ppm between 15 and 35 degrees,
// and ages by less in a year.
constexpr double drift_ppm = 10;
const double root_3 = std::sqrt(3.0);  // a limit to a standard uncertainty: GUM 4.3.7

struct Count {
  std::uint64_t missing = 0, extra = 0, uneven = 0;
};

Count irregular(const ReferencePulses& seen, double period_ticks) {
  Count count;
  const double slack =
      most_uneven * period_ticks + 2 * static_cast<double>(seen.stamp_spread) / +link_tick_ns;
  const auto gap = [&](double ticks) {
    if (ticks > 1.5 * period_ticks)
      count.missing += static_cast<std::uint64_t>(std::llround(ticks / period_ticks)) - 1;
  };
  if (seen.rising.empty()) {
    count.missing = static_cast<std::uint64_t>(static_cast<double>(seen.until - seen.from) / period_ticks);
    return count;
  }
  gap(static_cast<double>(seen.rising.front() - seen.from));
  for (std::size_t i = 1; i < seen.rising.size(); ++i) {
    const auto ticks = static_cast<double>(seen.rising[i] - seen.rising[i - 1]);
    gap(ticks);
    if (ticks < 0.5 * period_ticks)
      ++count.extra;
    else if (ticks <= 1.5 * period_ticks && std::abs(ticks - period_ticks) > slack)
      ++count.uneven;
  }
  gap(static_cast<double>(seen.until - seen.rising.back()));
  return count;
}

[[noreturn]] void refuse(const std::string& why) {
  throw RigError("calibrating the board's clock: " + why + "; nothing is corrected");
}

struct Line {
  double slope = 0, slope_uncertainty = 0;  // ticks per pulse
  double scatter = 0, furthest = 0;         // ticks
};

// Least squares of instant against number, both from their means.
Line fit(const std::vector<LinkTicks>& at) {
  const auto n = static_cast<double>(at.size());
  double mean_at = 0;
  for (const LinkTicks t : at) mean_at += static_cast<double>(t - at.front()) / n;
  const double mean_i = (n - 1) / 2;
  double sxx = 0, sxy = 0;
  const auto x = [&](std::size_t i) { return static_cast<double>(i) - mean_i; };
  const auto y = [&](std::size_t i) { return static_cast<double>(at[i] - at.front()) - mean_at; };
  for (std::size_t i = 0; i < at.size(); ++i) {
    sxx += x(i) * x(i);
    sxy += x(i) * y(i);
  }
  Line line;
  line.slope = sxy / sxx;
  double squares = 0;
  for (std::size_t i = 0; i < at.size(); ++i) {
    const double off = y(i) - line.slope * x(i);
    squares += off * off;
    line.furthest = std::max(line.furthest, std::abs(off));
  }
  line.scatter = std::sqrt(squares / (n - 2));
  line.slope_uncertainty = line.scatter / std::sqrt(sxx);
  return line;
}

Nanos scaled(Nanos t, double by) { return t + std::llround(static_cast<double>(t) * by); }

}  // namespace

Nanos board_time(const ClockSetting& clock, Nanos true_time) {
  return scaled(true_time, clock.fast_ppm * 1e-6);
}

Nanos true_time(const ClockSetting& clock, Nanos board_time) {
  const double fast = clock.fast_ppm * 1e-6;
  return scaled(board_time, -fast / (1 + fast));
}

Calibration calibrate(const ReferencePulses& seen, const ReferenceSignal& reference) {
  const double period_ticks = ticks_per_s / reference.hz;
  const double watched_s = static_cast<double>(seen.until - seen.from) / ticks_per_s;
  if (seen.lost > 0)
    refuse(
        fmt::format("the board had no room for the stamps of {} pulses: use a slower reference", seen.lost));
  const Count count = irregular(seen, period_ticks);
  if (count.missing + count.extra + count.uneven > 0)
    refuse(
        fmt::format("{} pulses of the reference were seen in {:.1f} s, and {} Hz make {:.0f}: {} missing, {} "
                    "too many, {} out "
                    "of time. Check --hz, the reference and its wire",
                    seen.rising.size(), watched_s, reference.hz, watched_s * reference.hz, count.missing,
                    count.extra, count.uneven));
  const double lasts_s =
      seen.rising.empty() ? 0 : static_cast<double>(seen.rising.back() - seen.rising.front()) / ticks_per_s;
  if (seen.rising.size() < fewest_reference_pulses || lasts_s < 0.8 * to_seconds(shortest_calibration))
    refuse(fmt::format("{} pulses over {:.1f} s are too few: watch for longer (--for)", seen.rising.size(),
                       lasts_s));

  const Line line = fit(seen.rising);
  if (line.furthest / ticks_per_s > most_scatter_s)
    refuse(fmt::format(
        "the reference's pulses are up to {:.0f} us out of time: check the reference and its wire",
        line.furthest / ticks_per_s * 1e6));
  Calibration out;
  out.pulses = seen.rising.size();
  out.lasts_s = lasts_s;
  out.scatter_us = line.scatter / ticks_per_s * 1e6;
  out.fast_ppm = 1e6 * (line.slope / period_ticks - 1);
  if (std::abs(out.fast_ppm) > most_clock_ppm)
    refuse(
        fmt::format("the clock would be {:.0f} ppm off, and no crystal is off by more than {}: check that "
                    "the reference has {} Hz",
                    out.fast_ppm, most_clock_ppm, reference.hz));
  // Two stamps, each somewhere within the spread.
  const double stamps_ppm = 1e6 * std::sqrt(2.0) * to_seconds(seen.stamp_spread) / 2 / root_3 / lasts_s;
  const double fit_ppm = 1e6 * line.slope_uncertainty / period_ticks;
  out.uncertainty_ppm = std::hypot(std::hypot(fit_ppm, stamps_ppm),
                                   std::hypot(reference.within_ppm / root_3, drift_ppm / root_3));
  return out;
}

}  // namespace tachproof
