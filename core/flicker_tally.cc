#include <algorithm>
#include <cmath>
#include <limits>

#include "core/flicker.h"
#include "core/rate_test.h"
#include "core/statistics.h"

namespace tachproof {
namespace {

std::size_t steps_in(double rpm, double step_rpm) {
  return static_cast<std::size_t>(std::floor(rpm / step_rpm + 1e-9));
}

}  // namespace

std::size_t FlickerSetup::widths() const { return steps_in(widest_rpm, step_rpm) + 1; }

FlickerTally::FlickerTally(const FlickerSetup& setup)
    : step_rpm_(setup.step_rpm),
      widths_(setup.widths()),
      half_(steps_in(setup.widest_rpm / 2 + setup.reach_rpm, setup.step_rpm) + 1),
      reach_(steps_in(2 * setup.reach_rpm, setup.step_rpm)),
      cells_(setup.places_rpm.size() * widths_ * levels()),
      minutes_(setup.places_rpm.size(), 0.0) {}

void FlickerTally::add(const FlickerTally& other) {
  for (std::size_t i = 0; i < cells_.size(); ++i) {
    cells_[i].sum += other.cells_[i].sum;
    cells_[i].squares += other.cells_[i].squares;
  }
  for (std::size_t p = 0; p < minutes_.size(); ++p) minutes_[p] += other.minutes_[p];
  trains_ += other.trains_;
}

// The mean is 0, so a deadband from upper - width to upper has its middle off
// the mean by upper - width / 2, in steps from the middle level.
bool FlickerTally::asked(std::size_t width, std::size_t upper) const {
  if (upper < width || upper >= levels()) return false;
  const auto twice_off = 2 * static_cast<std::int64_t>(upper) - static_cast<std::int64_t>(width) -
                         2 * static_cast<std::int64_t>(half_);
  return std::abs(twice_off) <= static_cast<std::int64_t>(reach_) + 1;
}

void FlickerTally::add_train(std::size_t place, const std::vector<std::int32_t>& pairs, double minutes) {
  // A signal of number s has reached the levels 0..s-1: it is at or above level
  // u when s > u, and under level l when s <= l.
  const std::size_t numbers = levels() + 1;
  // By peak: pairs with this peak or a higher one, and a valley looked at so far.
  std::vector<std::int32_t> peaks(numbers + 1, 0);
  for (std::size_t lower = 0; lower < levels(); ++lower) {
    // Valleys of number `lower` are under level `lower`.
    std::int32_t more = 0;
    for (std::size_t peak = numbers; peak-- > 0;) {
      more += pairs[lower * numbers + peak];
      peaks[peak] += more;
    }
    for (std::size_t width = 0; width < widths_ && lower + width < levels(); ++width) {
      const std::size_t upper = lower + width;
      const auto cycles = static_cast<std::uint64_t>(peaks[upper + 1]);
      if (cycles == 0) break;  // a wider deadband has no more
      Cell& cell = cells_[(place * widths_ + width) * levels() + upper];
      cell.sum += cycles;
      cell.squares += cycles * cycles;
    }
  }
  minutes_[place] += minutes;
  if (place == 0) ++trains_;
}

Flicker FlickerTally::flicker(std::size_t place, std::size_t width, std::size_t upper) const {
  Flicker result;
  result.width_rpm = step_rpm_ * static_cast<double>(width);
  result.mean_off_rpm =
      step_rpm_ * (static_cast<double>(half_) + static_cast<double>(width) / 2 - static_cast<double>(upper));
  result.minutes = minutes_[place];
  result.trains = static_cast<double>(trains_);
  const Cell& seen = cell(place, width, upper);
  result.cycles = static_cast<double>(seen.sum);
  if (trains_ > 1 && seen.sum > 0) {
    const double mean = result.cycles / result.trains;
    const double squares = static_cast<double>(seen.squares) - result.cycles * mean;
    result.dispersion = std::max(1.0, squares / (result.trains - 1) / mean);
  }
  return result;
}

Flicker FlickerTally::worst(std::size_t place, std::size_t width) const {
  std::size_t top = half_;
  std::uint64_t most = 0;
  bool any = false;
  for (std::size_t upper = 0; upper < levels(); ++upper) {
    if (!asked(width, upper)) continue;
    if (any && cell(place, width, upper).sum <= most) continue;
    any = true;
    top = upper;
    most = cell(place, width, upper).sum;
  }
  if (most == 0) return held(place, width, 0);
  // Around the top the counts differ by chance alone: the middle of what cannot
  // be told from the highest stands for all of it.
  const double chance = 2 * std::sqrt(static_cast<double>(most) * flicker(place, width, top).dispersion);
  const auto alike = [&](std::size_t upper) {
    return asked(width, upper) &&
           static_cast<double>(cell(place, width, upper).sum) >= static_cast<double>(most) - chance;
  };
  std::size_t first = top, last = top;
  while (first > 0 && alike(first - 1)) --first;
  while (last + 1 < levels() && alike(last + 1)) ++last;
  return flicker(place, width, (first + last) / 2);
}

Flicker FlickerTally::held(std::size_t place, std::size_t width, double mean_off_rpm) const {
  const double upper = static_cast<double>(half_) + static_cast<double>(width) / 2 - mean_off_rpm / step_rpm_;
  const double most = static_cast<double>(levels()) - 1;
  return flicker(place, width, static_cast<std::size_t>(std::clamp(std::round(upper), 0.0, most)));
}

double Flicker::upper_per_min(double confidence) const {
  if (!(minutes > 0)) return std::numeric_limits<double>::infinity();
  const double poisson = dispersion * one_sided_upper(cycles / dispersion, confidence);
  double student = 0;
  if (trains > 1)
    student = cycles + student_t(2 * confidence - 1, trains - 1) * std::sqrt(cycles * dispersion);
  return 2 * std::max(poisson, student) / minutes;
}

}  // namespace tachproof
