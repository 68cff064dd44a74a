#include "core/cause/size_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "core/cause/shown.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

// A healthy unit that rounds to whole rpm changes up to half an rpm off, and so does each of its
// boundaries where they are no whole numbers (rectangular).
constexpr double rounding_rpm = 0.5;
constexpr double rounding_sd_rpm = rounding_rpm / 1.7320508;
constexpr double offset_sd_rpm = 0.4;

double threshold(const std::vector<Turn>& turns, const MeasuredThreshold& m) {
  const Turn& turn = turns.at(m.boundary);
  return m.direction == Direction::rising ? turn.rising_rpm : turn.falling_rpm;
}

double squared(double x) { return x * x; }

double weight(const MeasuredThreshold& m) { return 1 / (squared(m.u) + squared(rounding_sd_rpm)); }

bool moves_thresholds(Kind kind) {
  switch (kind) {
    case Kind::boundary_moved:
    case Kind::anchor_moved:
    case Kind::count_in_span:
    case Kind::count_in_uneven:
    case Kind::deadband_width:
    case Kind::wrong_pulses_per_rev: return true;
    default: return false;
  }
}

double size_or_none(const Gauge& gauge, const Fault& fault) {
  if (fault.size) return *fault.size;
  if (fault.kind == Kind::deadband_width) return gauge.deadband.rpm;
  return fault.kind == Kind::wrong_pulses_per_rev ? gauge.pulses_per_rev : 0;
}

// The nearest that a unit can have.
double possible_size(Kind kind, double size) {
  if (kind == Kind::deadband_width) return std::max(size, 0.0);
  return kind == Kind::wrong_pulses_per_rev ? std::max(size, 0.01) : size;
}

// How far each measured threshold goes for a size that is larger by 1.
std::vector<double> lever(const Gauge& before, const Fault& fault,
                          const std::vector<MeasuredThreshold>& measured) {
  const double size = size_or_none(before, fault);
  const double by = fault.kind == Kind::wrong_pulses_per_rev ? 1e-3 * before.pulses_per_rev : 1;
  Fault more = fault, less = fault;
  more.size = size + by;
  less.size = size;
  const std::vector<Turn> a = turns(with_fault(before, less)), b = turns(with_fault(before, more));
  std::vector<double> levers;
  for (const MeasuredThreshold& m : measured) levers.push_back((threshold(b, m) - threshold(a, m)) / by);
  return levers;
}

// Sizes of up to two faults and the offset: normal equations, and their inverse.
class Line {
 public:
  static constexpr std::size_t most = 3;
  explicit Line(std::size_t unknowns) : n_(unknowns) {}
  void add(const std::array<double, most>& levers, double residual, double weight) {
    for (std::size_t i = 0; i < n_; ++i) {
      right_[i] += weight * levers[i] * residual;
      for (std::size_t j = 0; j < n_; ++j) normal_[i][j] += weight * levers[i] * levers[j];
    }
  }
  // Gauss and Jordan, with the identity beside. False: not enough was measured.
  bool solve() {
    for (std::size_t i = 0; i < n_; ++i) inverse_[i][i] = 1;
    for (std::size_t c = 0; c < n_; ++c) {
      std::size_t best = c;
      for (std::size_t r = c + 1; r < n_; ++r)
        if (std::abs(normal_[r][c]) > std::abs(normal_[best][c])) best = r;
      if (std::abs(normal_[best][c]) < 1e-9) return false;
      std::swap(normal_[c], normal_[best]);
      std::swap(inverse_[c], inverse_[best]);
      const double pivot = normal_[c][c];
      for (std::size_t k = 0; k < n_; ++k) normal_[c][k] /= pivot, inverse_[c][k] /= pivot;
      for (std::size_t r = 0; r < n_; ++r) {
        if (r == c) continue;
        const double times = normal_[r][c];
        for (std::size_t k = 0; k < n_; ++k)
          normal_[r][k] -= times * normal_[c][k], inverse_[r][k] -= times * inverse_[c][k];
      }
    }
    return true;
  }
  double value(std::size_t i) const {
    double sum = 0;
    for (std::size_t k = 0; k < n_; ++k) sum += inverse_[i][k] * right_[k];
    return sum;
  }
  double variance(std::size_t i) const { return inverse_[i][i]; }

 private:
  std::size_t n_;
  std::array<std::array<double, most>, most> normal_{}, inverse_{};
  std::array<double, most> right_{};
};

// Of each fault: how much larger it is than it was taken to be, and U.
struct Growth {
  double by = 0, u = not_measured;
};
std::vector<Growth> growths(const Gauge& acts, const std::vector<std::vector<double>>& levers,
                            const std::vector<MeasuredThreshold>& measured) {
  const std::size_t n = levers.size();
  std::vector<Growth> none(n);
  if (measured.empty() || n == 0 || n + 1 > Line::most) return none;
  Line line(n + 1);
  const std::vector<Turn> acting = turns(acts);
  for (std::size_t i = 0; i < measured.size(); ++i) {
    std::array<double, Line::most> row{};
    for (std::size_t f = 0; f < n; ++f) row[f] = levers[f][i];
    row[n] = 1;
    line.add(row, measured[i].rpm - threshold(acting, measured[i]), weight(measured[i]));
  }
  std::array<double, Line::most> offset{};
  offset[n] = 1;
  line.add(offset, 0, 1 / squared(offset_sd_rpm));
  if (!line.solve()) return none;
  std::vector<Growth> found;
  for (std::size_t f = 0; f < n; ++f) {
    double steepest = 0;
    for (const double lever : levers[f]) steepest = std::max(steepest, std::abs(lever));
    if (steepest <= 0) return none;
    // All thresholds of a fault may be rounded the same way.
    found.push_back({line.value(f), std::hypot(2 * std::sqrt(line.variance(f)), rounding_rpm / steepest)});
  }
  return found;
}

bool whole(double value) { return std::abs(value - std::round(value)) < 1e-9; }

// What a person has set is mostly a whole number; of pulses per revolution, a half.
double as_set_by_a_person(const Gauge& gauge, const Fault& fault, double size, double u) {
  const double step = fault.kind == Kind::wrong_pulses_per_rev ? 0.5 : 1;
  double set = 0;
  switch (fault.kind) {
    case Kind::boundary_moved:
    case Kind::count_in_uneven: set = gauge.windows[*fault.boundary].from_rpm; break;
    case Kind::anchor_moved: set = gauge.anchors[*fault.anchor].second; break;
    case Kind::count_in_span:
      if (const std::optional<std::size_t> end = count_in_end(gauge, fault);
          end && *end < gauge.windows.size())
        set = gauge.windows[*end].from_rpm - gauge.windows[*fault.boundary].from_rpm;
      break;
    case Kind::deadband_width: set = gauge.deadband.rpm; break;
    case Kind::wrong_pulses_per_rev: set = gauge.pulses_per_rev; break;
    default: break;
  }
  // A window that no rpm shows: its boundary is where a neighbour's is, to the last digit.
  if (fault.kind == Kind::boundary_moved)
    for (const std::size_t neighbour : {*fault.boundary + 1, *fault.boundary - 1})
      if (neighbour >= 1 && neighbour < gauge.windows.size() &&
          std::abs(gauge.windows[neighbour].from_rpm - set - size) <= u)
        return gauge.windows[neighbour].from_rpm - set;
  const double near = possible_size(fault.kind, std::round(size / step) * step);
  return whole(set / step) && std::abs(near - size) <= u ? near : size;
}

// Of all rows, weighted by their cycles.
std::optional<FittedSize> of_blinks(Kind kind, const std::vector<RunResult>& results) {
  double sum = 0, cycles = 0, least = std::numeric_limits<double>::infinity(), most = -least;
  for (const RunResult& result : results)
    for (const BlinkResult& row : result.blinks) {
      const double value = kind == Kind::blink_rate ? row.hz : row.duty;
      if (!std::isfinite(value) || row.cycles < 1) continue;
      sum += value * row.cycles;
      cycles += row.cycles;
      least = std::min(least, value);
      most = std::max(most, value);
    }
  if (cycles <= 0) return std::nullopt;
  const double mean = sum / cycles;
  // An update of the unit, some ms, at either end of what was timed.
  constexpr double edge_s = 0.01;
  const double hz = kind == Kind::blink_rate ? mean : 1;
  const double u = kind == Kind::blink_rate ? 2 * hz * hz * edge_s / cycles : 2 * edge_s / std::sqrt(cycles);
  return FittedSize{mean, std::max(u, (most - least) / 2)};
}

std::optional<FittedSize> of_responses(const std::vector<RunResult>& results) {
  double sum = 0, weights = 0, least = std::numeric_limits<double>::infinity(), most = -least;
  for (const RunResult& result : results)
    for (const ResponseResult& row : result.responses) {
      if (!std::isfinite(row.response_ms) || !(row.expanded_uncertainty_ms > 0)) continue;
      const double w = 1 / squared(row.expanded_uncertainty_ms + 1);
      sum += w * row.response_ms;
      weights += w;
      least = std::min(least, row.response_ms);
      most = std::max(most, row.response_ms);
    }
  if (weights <= 0) return std::nullopt;
  return FittedSize{sum / weights, std::max(1 / std::sqrt(weights), (most - least) / 2)};
}

}  // namespace

std::vector<MeasuredThreshold> measured_thresholds(const Gauge& gauge, const RunResult& result) {
  std::vector<MeasuredThreshold> all;
  // Where a press has put a boundary is no matter of the settings: there only how far it is from there.
  const auto as_set = [&](std::size_t b, const BoundaryResult& row) {
    return row.direction == Direction::rising ? gauge.rising_rpm(b) : gauge.falling_rpm(b);
  };
  const auto is_of = [&](std::size_t b, const BoundaryResult& row) {
    return gauge.windows[b].name == row.boundary && std::isfinite(row.threshold_rpm);
  };
  const auto was_measured_as_set = [&](std::size_t b, Direction direction) {
    return std::any_of(result.boundaries.begin(), result.boundaries.end(), [&](const BoundaryResult& row) {
      return is_of(b, row) && row.direction == direction &&
             (row.state.empty() || std::abs(row.nominal_rpm - as_set(b, row)) < 1e-6);
    });
  };
  for (const BoundaryResult& row : result.boundaries) {
    double rpm = row.threshold_rpm, u = row.expanded_uncertainty_rpm / 2;
    if (!std::isfinite(rpm) && row.between_rpm &&
        std::isfinite(row.between_rpm->high_rpm - row.between_rpm->low_rpm)) {
      rpm = (row.between_rpm->low_rpm + row.between_rpm->high_rpm) / 2;
      u = (row.between_rpm->high_rpm - row.between_rpm->low_rpm) / 2;
    }
    if (!std::isfinite(rpm) || !std::isfinite(u) || u > 5 * std::max(gauge.tolerance.rpm, 1.0)) continue;
    for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
      if (gauge.windows[b].name == row.boundary) {
        const bool moved = !row.state.empty() && std::abs(row.nominal_rpm - as_set(b, row)) >= 1e-6;
        if (moved && was_measured_as_set(b, row.direction)) continue;
        all.push_back({b, row.direction, moved ? rpm - row.nominal_rpm + as_set(b, row) : rpm, u});
      }
  }
  return all;
}

double misfit(const Gauge& gauge, const std::vector<MeasuredThreshold>& measured) {
  // The offset that fits best, held near 0.
  const std::vector<Turn> at = turns(gauge);
  double weights = 1 / squared(offset_sd_rpm), sum = 0;
  for (const MeasuredThreshold& m : measured) {
    weights += weight(m);
    sum += weight(m) * (m.rpm - threshold(at, m));
  }
  const double offset = sum / weights;
  double chi2 = squared(offset / offset_sd_rpm);
  for (const MeasuredThreshold& m : measured) chi2 += weight(m) * squared(m.rpm - threshold(at, m) - offset);
  return chi2;
}

double misfit(const Gauge& gauge, const RunResult& result) {
  return misfit(gauge, measured_thresholds(gauge, result)) + misfit_of_blinks(gauge, result);
}

double misfit_of_blinks(const Gauge& gauge, const RunResult& result) {
  double chi2 = 0;
  if (gauge.blink)
    for (const BlinkResult& row : result.blinks) {
      if (std::isfinite(row.hz)) chi2 += squared((row.hz - gauge.blink->hz) / (gauge.tolerance.blink_hz / 4));
      if (std::isfinite(row.duty))
        chi2 += squared((row.duty - gauge.blink->duty) / (gauge.tolerance.blink_duty / 4));
    }
  return chi2;
}

std::optional<FittedSize> fitted_size(const Gauge& gauge, Fault fault,
                                      const std::vector<MeasuredThreshold>& measured) {
  if (!moves_thresholds(fault.kind)) return std::nullopt;
  fault.size = size_or_none(gauge, fault);
  const Gauge acts = with_fault(gauge, fault);
  const Growth growth = growths(acts, {lever(gauge, fault, measured)}, measured).front();
  if (!std::isfinite(growth.u)) return std::nullopt;
  return FittedSize{possible_size(fault.kind, *fault.size + growth.by), growth.u};
}

double rough_u(const Gauge& set, const Hypothesis& hypothesis, std::size_t fault,
               const std::vector<Road>& roads) {
  const Fault& one = hypothesis.faults[fault];
  if (!moves_thresholds(one.kind) || !one.size) return not_measured;
  std::vector<Fault> larger = hypothesis.faults;
  const double by = 1e-3 * std::max(std::abs(*one.size), 1.0);
  *larger[fault].size += by;
  const std::vector<Turn> here = turns(hypothesis.gauge), there = turns(acting(set, larger));
  const double half_s = to_seconds(set.tolerance.response_to - set.tolerance.response_from) / 2;
  double u = std::numeric_limits<double>::infinity();
  for (const Road& road : roads)
    for (const Road::Move& move : road.moves(hypothesis.gauge)) {
      const MeasuredThreshold at{move.boundary, move.direction, 0, 0};
      const double lever = std::abs(threshold(there, at) - threshold(here, at)) / by;
      const double rpm = move.rate * half_s + rounding_rpm;
      // The move of another boundary, or another visit of it.
      if (lever > 0 && std::abs(move.rpm - threshold(here, at)) <= rpm) u = std::min(u, rpm / lever);
    }
  return std::isfinite(u) ? u : not_measured;
}

Hypothesis with_fitted_sizes(const Gauge& set, const Trial& trial) {
  const Hypothesis& old = trial.hypothesis;
  if (old.reads_seldom()) return old;  // thresholds that were passed between two readings tell no sizes
  std::vector<MeasuredThreshold> measured;
  for (const RunResult& result : trial.results)
    for (const MeasuredThreshold& m : measured_thresholds(old.gauge, result)) measured.push_back(m);
  std::vector<std::vector<double>> levers;
  std::vector<std::size_t> fitted;
  Gauge before = set;
  for (std::size_t f = 0; f < old.faults.size(); ++f) {
    if (moves_thresholds(old.faults[f].kind)) {
      levers.push_back(lever(before, old.faults[f], measured));
      fitted.push_back(f);
    }
    before = acting(before, {old.faults[f]});
  }
  const std::vector<Growth> growth = growths(old.gauge, levers, measured);
  Hypothesis renewed = old;
  for (std::size_t i = 0; i < fitted.size(); ++i) {
    if (!std::isfinite(growth[i].u)) continue;
    Fault& fault = renewed.faults[fitted[i]];
    const double size = possible_size(fault.kind, fault.size.value_or(0) + growth[i].by);
    fault.size = as_set_by_a_person(set, fault, size, growth[i].u);
    renewed.u[fitted[i]] = growth[i].u;
  }
  for (std::size_t f = 0; f < renewed.faults.size(); ++f) {
    Fault& fault = renewed.faults[f];
    std::optional<FittedSize> found;
    if (fault.kind == Kind::blink_rate || fault.kind == Kind::blink_duty)
      found = of_blinks(fault.kind, trial.results);
    else if (fault.kind == Kind::slow_response)
      found = of_responses(trial.results);
    if (!found) continue;
    fault.size = found->size;
    renewed.u[f] = found->expanded_uncertainty;
  }
  renewed.gauge = acting(set, renewed.faults);
  return renewed;
}

}  // namespace tachproof
