#include "bench/rigs/simulated/window_logic.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

double rounded(double rpm, double resolution) {
  return resolution > 0 ? std::floor(rpm / resolution + 0.5) * resolution : rpm;
}

// The lowest rpm that is rounded to `threshold` or more. `slack`, in steps of
// the resolution, errs to the safe side of floating-point division.
double met_from(double threshold, double resolution, double slack) {
  return resolution > 0 ? (std::ceil(threshold / resolution + slack) - 0.5) * resolution : threshold;
}

}  // namespace

WindowLogic::WindowLogic(const UnitSettings& settings, std::uint64_t seed)
    : settings_(settings),
      noise_(seed, 1),
      rpm_per_rate_(60 * settings.timer_hz / settings.gauge.pulses_per_rev) {
  find_quiet_periods();
}

void WindowLogic::forget(bool but_the_peak) {
  window_ = 0;
  if (!but_the_peak) peak_rpm_ = 0;
  believed_ = 0;
  quiet_ = {};
  filter_in_ = filter_out_ = 0;
  find_quiet_periods();
}

void WindowLogic::clear_peak() {
  peak_rpm_ = believed_rpm();
  find_quiet_periods();
}

double WindowLogic::believed_rpm() const {
  return quiet_.periods > 0 ? rounded(rpm_of(quiet_), settings_.resolution_rpm) : believed_;
}

double WindowLogic::rpm_of(const MeterReading& m) const {
  return rpm_per_rate_ * static_cast<double>(m.periods) /
         static_cast<double>(std::max<std::int64_t>(m.ticks, 1));
}

bool WindowLogic::signal_lost(Nanos at) {
  believed_ = 0;
  quiet_ = {};
  filter_in_ = filter_out_ = 0;
  filter_at_ = at;
  return move_to(next_window(settings_.gauge, window_, 0));
}

bool WindowLogic::believe(const MeterReading& m, Nanos at, std::uint64_t update) {
  double rpm = rpm_of(m);
  if (settings_.filter > 0) rpm = filtered(rpm, at);
  if (settings_.noise_rpm > 0) rpm = std::max(0.0, rpm + settings_.noise_rpm * noise_.normal(update));
  rpm = rounded(rpm, settings_.resolution_rpm);
  believed_ = rpm;
  quiet_ = {};

  const bool new_peak = rpm > peak_rpm_;
  if (new_peak) peak_rpm_ = rpm;
  const bool moved = move_to(next_window(settings_.gauge, window_, rpm));
  if (new_peak && !moved) find_quiet_periods();
  return moved;
}

// A first-order low-pass of the reading as it is held between updates.
double WindowLogic::filtered(double rpm, Nanos at) {
  const double decay =
      std::exp(-static_cast<double>(at - filter_at_) / static_cast<double>(settings_.filter));
  filter_out_ = filter_in_ + (filter_out_ - filter_in_) * decay;
  filter_in_ = rpm;
  filter_at_ = at;
  return filter_out_;
}

bool WindowLogic::move_to(std::size_t window) {
  if (window == window_) return false;
  window_ = window;
  find_quiet_periods();
  return true;
}

void WindowLogic::find_quiet_periods() {
  shortest_quiet_ = infinite;  // no period is quiet
  longest_quiet_ = infinite;
  if (settings_.filter > 0 || settings_.noise_rpm > 0) return;

  const double resolution = settings_.resolution_rpm;
  constexpr double slack = 1e-6, margin = 1e-12;
  double highest = peak_rpm_ + resolution / 2;
  if (window_ < settings_.gauge.boundaries())
    highest = std::min(highest, met_from(settings_.gauge.rising_rpm(window_ + 1), resolution, -slack));
  if (highest > 0) shortest_quiet_ = rpm_per_rate_ / highest * (1 + margin);
  if (window_ == 0) return;
  const double lowest = met_from(settings_.gauge.falling_rpm(window_), resolution, slack);
  if (lowest > 0) longest_quiet_ = rpm_per_rate_ / lowest * (1 - margin);
}

}  // namespace tachproof
