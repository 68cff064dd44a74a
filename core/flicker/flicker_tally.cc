#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/rate_test.h"
#include "core/base/statistics.h"
#include "core/flicker/flicker.h"

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
      narrowest_(static_cast<std::size_t>(std::max(0.0, setup.narrowest_rpm / setup.step_rpm))),
      half_(steps_in(setup.widest_rpm / 2 + setup.reach_rpm, setup.step_rpm) + 1),
      reach_(steps_in(2 * setup.reach_rpm, setup.step_rpm)),
      first_slot_{0} {
  for (const double rpm : setup.places_rpm)
    first_slot_.push_back(first_slot_.back() + flicker_phases(setup, rpm).count);
  cells_.resize(first_slot_.back() * widths_ * levels());
  train_minutes_.resize(first_slot_.back(), 0.0);
}

void FlickerTally::add(const FlickerTally& other) {
  for (std::size_t i = 0; i < cells_.size(); ++i) {
    cells_[i].sum += other.cells_[i].sum;
    cells_[i].squares += other.cells_[i].squares;
  }
  // Trains of one setup are equally long. A sum of their minutes would depend on its order.
  if (trains_ == 0) train_minutes_ = other.train_minutes_;
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

void FlickerTally::add_train(std::size_t place, std::size_t phase, const PairCounts& pairs, double minutes) {
  const std::size_t slot = first_slot_[place] + phase;
  // A signal of number s has reached the levels 0..s-1: it is at or above level
  // u when s > u, and under level l when s <= l.
  const std::size_t numbers = levels() + 1;
  // By peak: pairs with this peak or a higher one, and a valley looked at so far; none above `highest`.
  std::vector<std::int32_t> peaks(numbers + 1, 0);
  std::size_t highest = 0;
  for (std::size_t lower = 0; lower < levels(); ++lower) {
    // Valleys of number `lower` are under level `lower`. Most have no pair at all.
    if (lower < pairs.valleys) {
      const std::int32_t* const row = &pairs.counts[lower * pairs.peaks];
      std::int32_t any = 0;
      for (std::size_t peak = 0; peak < pairs.peaks; ++peak) any |= row[peak];
      std::int32_t more = 0;
      for (std::size_t peak = any == 0 ? 0 : numbers; peak-- > 0;) {
        if (peak >= pairs.first_peak) more += row[peak - pairs.first_peak];
        peaks[peak] += more;
        if (more != 0) highest = std::max(highest, peak);
      }
    }
    // A deadband may have no cycle where a wider one has: its lamp was on all the time, since before what
    // counts.
    for (std::size_t width = narrowest_; width < widths_ && lower + width < highest; ++width) {
      const std::size_t upper = lower + width;
      const auto cycles = static_cast<std::uint64_t>(peaks[upper + 1]);
      Cell& cell = cells_[index_of(slot, width, upper)];
      cell.sum += cycles;
      cell.squares += cycles * cycles;
    }
  }
  train_minutes_[slot] = minutes;
  if (slot == 0) ++trains_;
}

Flicker FlickerTally::flicker(std::size_t slot, std::size_t width, std::size_t upper) const {
  Flicker result;
  result.width_rpm = step_rpm_ * static_cast<double>(width);
  result.mean_off_rpm =
      step_rpm_ * (static_cast<double>(half_) + static_cast<double>(width) / 2 - static_cast<double>(upper));
  result.trains = static_cast<double>(trains_);
  result.minutes = result.trains * train_minutes_[slot];
  const Cell& seen = cell(slot, width, upper);
  result.cycles = static_cast<double>(seen.sum);
  if (trains_ > 1 && seen.sum > 0) {
    const double mean = result.cycles / result.trains;
    const double squares = static_cast<double>(seen.squares) - result.cycles * mean;
    result.dispersion = std::max(1.0, squares / (result.trains - 1) / mean);
  }
  return result;
}

// The phase that a unit is in is not known, so that the worst one counts.
template <class Of>
Flicker FlickerTally::worst_phase(std::size_t place, const Of& of) const {
  constexpr double confidence = 0.95;
  Flicker worst = of(first_slot_[place]);
  for (std::size_t slot = first_slot_[place] + 1; slot < first_slot_[place + 1]; ++slot)
    if (Flicker other = of(slot); other.upper_per_min(confidence) > worst.upper_per_min(confidence))
      worst = other;
  return worst;
}

Flicker FlickerTally::worst(std::size_t place, std::size_t width) const {
  return worst_phase(place, [&](std::size_t slot) { return worst_of(slot, width); });
}

Flicker FlickerTally::held(std::size_t place, std::size_t width, double mean_off_rpm) const {
  return worst_phase(place, [&](std::size_t slot) { return held_in(slot, width, mean_off_rpm); });
}

Flicker FlickerTally::worst_of(std::size_t slot, std::size_t width) const {
  std::size_t top = half_;
  std::uint64_t most = 0;
  bool any = false;
  for (std::size_t upper = 0; upper < levels(); ++upper) {
    if (!asked(width, upper)) continue;
    if (any && cell(slot, width, upper).sum <= most) continue;
    any = true;
    top = upper;
    most = cell(slot, width, upper).sum;
  }
  if (most == 0) return held_in(slot, width, 0);
  // Around the top the counts differ by chance alone: the middle of what cannot
  // be told from the highest stands for all of it.
  const double chance = 2 * std::sqrt(static_cast<double>(most) * flicker(slot, width, top).dispersion);
  const auto alike = [&](std::size_t upper) {
    return asked(width, upper) &&
           static_cast<double>(cell(slot, width, upper).sum) >= static_cast<double>(most) - chance;
  };
  std::size_t first = top, last = top;
  while (first > 0 && alike(first - 1)) --first;
  while (last + 1 < levels() && alike(last + 1)) ++last;
  return flicker(slot, width, (first + last) / 2);
}

Flicker FlickerTally::held_in(std::size_t slot, std::size_t width, double mean_off_rpm) const {
  const double upper = static_cast<double>(half_) + static_cast<double>(width) / 2 - mean_off_rpm / step_rpm_;
  const double most = static_cast<double>(levels()) - 1;
  return flicker(slot, width, static_cast<std::size_t>(std::clamp(std::round(upper), 0.0, most)));
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
