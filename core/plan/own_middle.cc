#include "core/plan/own_middle.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/statistics.h"

namespace tachproof {
namespace {

constexpr double coverage = 0.95;

double variance(const VisitScatter& of) { return of.squares_s2 / of.dof; }

}  // namespace

void OwnMiddle::visit(double middle_rpm, double rate) { visits_.push_back({middle_rpm, rate}); }

bool OwnMiddle::has_two_rates() const {
  return std::any_of(visits_.begin(), visits_.end(),
                     [&](const Visit& v) { return v.rate != visits_[0].rate; });
}

// Weights are one over the rate's square. Middles are taken from the first one, for the sake of rounding.
OwnMiddle::Line OwnMiddle::line() const {
  double w = 0, wv = 0, wm = 0, wvm = 0;
  const auto n = static_cast<double>(visits_.size());
  const double from = visits_[0].middle_rpm;
  for (const Visit& visit : visits_) {
    const double v = visit.rate, m = visit.middle_rpm - from;
    w += 1 / (v * v);
    wv += 1 / v;
    wm += m / (v * v);
    wvm += m / v;
  }
  if (!has_two_rates()) return {from + wm / w, std::numeric_limits<double>::infinity(), {}};
  const double determinant = w * n - wv * wv;
  return {from + (n * wm - wv * wvm) / determinant,
          n / determinant,
          {(w * wvm - wv * wm) / determinant, w / determinant}};
}

double OwnMiddle::rpm() const {
  return visits_.empty() ? std::numeric_limits<double>::quiet_NaN() : line().at_rest_rpm;
}

std::optional<OwnMiddle::Slope> OwnMiddle::slope() const {
  return has_two_rates() ? std::optional(line().slope) : std::nullopt;
}

VisitScatter OwnMiddle::scatter() const {
  if (visits_.size() < 3 || !has_two_rates()) return {};
  const Line fit = line();
  double squares = 0;
  for (const Visit& visit : visits_) {
    const double off_s = (visit.middle_rpm - fit.at_rest_rpm) / visit.rate - fit.slope.s;
    squares += off_s * off_s;
  }
  return {squares, static_cast<double>(visits_.size() - 2)};
}

double OwnMiddle::u_rpm(const VisitScatter& others) const {
  constexpr double unknown = std::numeric_limits<double>::infinity();
  if (visits_.empty() || !has_two_rates()) return unknown;
  VisitScatter s = scatter();
  const bool apart = s.dof > 0 && others.dof > 0 &&
                     variance(s) > std::pow(student_t(coverage, others.dof), 2) * variance(others);
  if (!apart) s = {s.squares_s2 + others.squares_s2, s.dof + others.dof};
  if (s.dof < fewest_dof) return unknown;
  return std::max(least_u_rpm, student_t(coverage, s.dof) * std::sqrt(variance(s) * line().spread));
}

void OtherVisits::add(double rpm, const OwnMiddle& middle) {
  places_.push_back({rpm, middle.scatter(), middle.slope()});
}

VisitScatter OtherVisits::at(double rpm) const {
  VisitScatter all;
  const double mean_s = mean_slope_s();
  double slopes = 0;
  for (const Place& place : places_) {
    const double more = std::max(1.0, place.rpm / rpm);
    all.squares_s2 += place.scatter.squares_s2 * more * more;
    all.dof += place.scatter.dof;
    if (!place.slope) continue;
    const double off_s = (place.slope->s - mean_s) * more;
    all.squares_s2 += off_s * off_s / place.slope->spread;
    ++slopes;
  }
  all.dof += std::max(slopes - 1, 0.0);
  return all;
}

double OtherVisits::mean_slope_s() const {
  double sum = 0, weight = 0;
  for (const Place& place : places_)
    if (place.slope) {
      sum += place.slope->s / place.slope->spread;
      weight += 1 / place.slope->spread;
    }
  return weight > 0 ? sum / weight : 0;
}

}  // namespace tachproof
