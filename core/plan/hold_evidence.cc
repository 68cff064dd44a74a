#include "core/plan/hold_evidence.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "core/base/statistics.h"

namespace tachproof {
namespace {

constexpr double coverage = 0.95;
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
  const auto i = static_cast<std::size_t>(at);
  return side[i] + (side[i + 1] - side[i]) * (at - static_cast<double>(i));
}

double MeanShape::least_share(const std::vector<double>& offs_rpm, double u_rpm) const {
  return least_within(u_rpm, [&](double worst) {
    double sum = 0;
    for (const double off : offs_rpm) sum += share(off - worst);
    return sum / static_cast<double>(offs_rpm.size());
  });
}

void OwnMiddle::visit(double middle_rpm) { middles_.push_back(middle_rpm); }

double OwnMiddle::rpm() const {
  return std::accumulate(middles_.begin(), middles_.end(), 0.0) / static_cast<double>(middles_.size());
}

double OwnMiddle::scatter() const {
  double squares = 0;
  for (const double middle : middles_) squares += (middle - rpm()) * (middle - rpm());
  return std::sqrt(squares / static_cast<double>(middles_.size() - 1));
}

double OwnMiddle::u_rpm() const {
  if (middles_.size() < 2) return std::numeric_limits<double>::infinity();
  const auto n = static_cast<double>(middles_.size());
  return std::max(least_u_rpm, student_t(coverage, n - 1) * scatter() / std::sqrt(n));
}

double OwnMiddle::repeats_within_rpm() const {
  if (middles_.size() < 2) return std::numeric_limits<double>::infinity();
  const auto n = static_cast<double>(middles_.size());
  return std::max(2 * least_u_rpm, student_t(coverage, n - 1) * scatter() * std::sqrt(1 + 1 / n));
}

std::vector<double> hold_offsets(double u_rpm) { return {0, -u_rpm, u_rpm}; }

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
