#include "core/plan/hold_evidence.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr int places = 8;  // within U, on either side, at which the worst mean may be

// The least of `value` over the places.
template <class Value>
double least_within(double u_rpm, const Value& value) {
  double least = value(0.0);
  for (int i = 1; i <= places; ++i)
    for (const double side : {-1.0, 1.0}) least = std::min(least, value(side * u_rpm * i / places));
  return least;
}

// 1 at the worst mean and never more further out.
std::vector<double> outwards(const std::vector<double>& rates, std::size_t from, int direction) {
  std::vector<double> shares = {1};
  const double highest = rates[from];
  for (auto i = static_cast<std::ptrdiff_t>(from) + direction;
       i >= 0 && i < static_cast<std::ptrdiff_t>(rates.size()); i += direction)
    shares.push_back(std::min(shares.back(), rates[static_cast<std::size_t>(i)] / highest));
  return shares;
}

}  // namespace

MeanShape::MeanShape(const std::vector<double>& rates, std::size_t below, double step_rpm)
    : step_rpm_(step_rpm) {
  if (below >= rates.size() || !(rates[below] > 0)) return;
  up_ = outwards(rates, below, 1);
  down_ = outwards(rates, below, -1);
}

double MeanShape::share(double off_rpm) const {
  const std::vector<double>& side = off_rpm < 0 ? down_ : up_;
  if (side.empty()) return 1;
  const double at = std::fabs(off_rpm) / step_rpm_;
  if (!(at < static_cast<double>(side.size() - 1))) return std::isfinite(at) ? side.back() : 0;
  return at_place(side, at);
}

double MeanShape::at_place(const std::vector<double>& side, double place) {
  const auto fall = [&](std::size_t i) { return i + 1 < side.size() ? side[i + 1] - side[i] : 0; };
  const auto slope = [&](std::size_t i) {
    const double before = i == 0 ? 0 : fall(i - 1), after = fall(i);
    return before < 0 && after < 0 ? 2 * before * after / (before + after) : 0;
  };
  const auto i = static_cast<std::size_t>(place);
  const double t = place - static_cast<double>(i), u = 1 - t;
  return side[i] + fall(i) * t * t * (3 - 2 * t) + t * u * (u * slope(i) - t * slope(i + 1));
}

MeanShape MeanShape::scaled(double factor) const {
  MeanShape other = *this;
  other.step_rpm_ *= factor;
  return other;
}

double MeanShape::least_share(const std::vector<double>& offs_rpm, double u_rpm) const {
  return least_within(u_rpm, [&](double worst) {
    double sum = 0;
    for (const double off : offs_rpm) sum += share(off - worst);
    return sum / static_cast<double>(offs_rpm.size());
  });
}

std::vector<double> hold_offsets(const MeanShape& shape, double u_rpm) {
  const std::vector<double> alone = {0}, three = {0, -u_rpm, u_rpm};
  return shape.least_share(three, u_rpm) > shape.least_share(alone, u_rpm) ? three : alone;
}

void HoldEvidence::begin_stay(double mean_rpm) { stays_.push_back({mean_rpm, 0, 0}); }

void HoldEvidence::stayed(std::uint64_t changes, double minutes) {
  stays_.back().changes = changes;
  stays_.back().minutes = minutes;
}

double HoldEvidence::minutes() const {
  double sum = 0;
  for (const Stay& stay : stays_) sum += stay.minutes;
  return sum;
}

std::uint64_t HoldEvidence::changes() const {
  std::uint64_t sum = 0;
  for (const Stay& stay : stays_) sum += stay.changes;
  return sum;
}

double HoldEvidence::cycles_to_fail() const {
  double sum = 0;
  for (const Stay& stay : stays_) sum += std::floor(static_cast<double>(stay.changes) / 2);
  return sum;
}

double HoldEvidence::cycles_to_pass() const { return std::ceil(static_cast<double>(changes()) / 2); }

double HoldEvidence::worth_min(const MeanShape& shape, double worst_rpm, double u_rpm) const {
  return least_within(u_rpm, [&](double off) {
    double sum = 0;
    for (const Stay& stay : stays_) sum += stay.minutes * shape.share(stay.mean_rpm - worst_rpm - off);
    return sum;
  });
}

}  // namespace tachproof
