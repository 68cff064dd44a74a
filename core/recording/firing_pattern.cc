#include "core/recording/firing_pattern.h"

#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <numeric>

#include "core/base/statistics.h"

namespace tachproof {
namespace {

constexpr std::size_t stretches = 16;
constexpr double freedom = stretches - 1;
constexpr double chance = 1e-3;

struct Folded {
  std::vector<double> mean;   // by pulse of the cycle
  std::vector<double> error;  // standard
};

// The phase less its mean over the cycle around it: no trend, no wander that is
// slow beside a cycle.
std::vector<double> within_cycles(std::span<const double> phase, std::size_t cycle) {
  std::vector<double> out(phase.size(), 0.0);
  const std::size_t half = cycle / 2;
  for (std::size_t k = half; k + half < phase.size(); ++k) {
    double sum = 0;
    for (std::size_t j = k - half; j <= k + half; ++j) sum += phase[j];
    if (cycle % 2 == 0) sum -= (phase[k - half] + phase[k + half]) / 2;
    out[k] = phase[k] - sum / static_cast<double>(cycle);
  }
  return out;
}

Folded fold(std::span<const double> phase, std::size_t cycle) {
  const std::vector<double> x = within_cycles(phase, cycle);
  const std::size_t cycles = (phase.size() - cycle) / cycle / stretches;  // in a stretch
  Folded folded{std::vector<double>(cycle, 0.0), std::vector<double>(cycle, 0.0)};
  for (std::size_t j = 0; j < cycle; ++j) {
    double sum = 0, squares = 0;
    for (std::size_t s = 0; s < stretches; ++s) {
      double mean = 0;
      for (std::size_t c = 0; c < cycles; ++c) mean += x[cycle + (s * cycles + c) * cycle + j];
      mean /= static_cast<double>(cycles);
      sum += mean;
      squares += mean * mean;
    }
    const double mean = sum / stretches;
    folded.mean[j] = mean;
    folded.error[j] = std::sqrt(std::max(squares - sum * mean, 0.0) / freedom / stretches);
  }
  return folded;
}

bool is_there(const Folded& folded) {
  double squares = 0;
  for (std::size_t j = 0; j < folded.mean.size(); ++j) {
    if (folded.error[j] == 0 && folded.mean[j] == 0) continue;
    squares += std::pow(folded.mean[j] / (folded.error[j] + 1e-15), 2);
  }
  const auto n = static_cast<double>(folded.mean.size() - 1);
  // The deviations of a cycle add up to 0: one fewer is free.
  const double share = squares * n / (n + 1) / n;
  return share > boost::math::quantile(boost::math::fisher_f(n, freedom), 1 - chance);
}

std::vector<double> without(std::span<const double> phase, const std::vector<double>& pattern) {
  std::vector<double> rest(phase.begin(), phase.end());
  for (std::size_t k = 0; k < rest.size(); ++k) rest[k] -= pattern[k % pattern.size()];
  return rest;
}

}  // namespace

FiringPattern find_firing_pattern(std::span<const double> phase, double period_s) {
  std::size_t cycle = 1;
  std::vector<double> rest(phase.begin(), phase.end());
  for (std::size_t tried = 2; tried <= longest_cycle / 2; ++tried) {
    if (phase.size() < 4 * stretches * tried || !is_there(fold(rest, tried))) continue;
    const std::size_t together = std::lcm(cycle, tried);
    if (together > longest_cycle || phase.size() < 4 * stretches * together) continue;
    cycle = together;
    rest = without(phase, fold(phase, cycle).mean);
  }
  FiringPattern found;
  if (cycle == 1) return found;
  const Folded folded = fold(phase, cycle);
  const double mean =
      std::accumulate(folded.mean.begin(), folded.mean.end(), 0.0) / static_cast<double>(cycle);
  const double k = student_t(0.95, freedom);
  for (std::size_t j = 0; j < cycle; ++j) {
    const double share = (folded.mean[j] - mean) / period_s;
    const double u = k * folded.error[j] / period_s;
    found.share.push_back(share);
    found.intervals.push_back({share - u, share + u});
  }
  return found;
}

}  // namespace tachproof
