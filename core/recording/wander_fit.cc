#include "core/recording/wander_fit.h"
#include "core/base/statistics.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

namespace tachproof {
namespace {

// Logarithms of jitter_s, wander_share and tau_s. -infinity: there is none.
using Parameters = std::array<double, 3>;

class Likelihood {
 public:
  Likelihood(std::span<const double> phase, double period_s) : phase_(phase), period_s_(period_s) {
    double squares = 0;
    std::size_t n = 0;
    for (const double x : phase)
      if (std::isfinite(x)) squares += x * x, ++n;
    scale_ = std::sqrt(squares / static_cast<double>(std::max<std::size_t>(n, 1))) + 1e-12;
  }

  // Minus the logarithm, and the standardised one-step errors where wanted.
  double operator()(const Parameters& p, std::vector<double>* residuals = nullptr) const {
    constexpr int states = 4;  // phase, its slope, the slope's slope, wander; in units of scale_
    const double jitter = std::exp(2 * p[0]) / (scale_ * scale_);
    const double share = std::exp(p[1]) * period_s_ / scale_;  // of a step, in the phase's unit
    const double kept = std::isfinite(p[1]) ? std::exp(-period_s_ / std::exp(p[2])) : 0;
    const double fresh = 1 - kept * kept;
    const auto n = static_cast<double>(phase_.size());

    double x[states] = {};
    double v[states][states] = {};
    v[0][0] = 1e4;
    v[1][1] = 1e4 / (n * n);
    v[2][2] = 1e6 / (n * n * n * n);
    v[3][3] = 1;
    double sum = 0;
    int seen = 0;
    for (const double value : phase_) {
      if (std::isfinite(value)) {
        const double error = value / scale_ - x[0];
        const double variance = v[0][0] + jitter + 1e-12;
        // The first ones pay for the trends that are let go.
        if (++seen > 3) {
          sum += 0.5 * (std::log(variance) + error * error / variance);
          if (residuals) residuals->push_back(error / std::sqrt(variance));
        }
        double gain[states];
        for (int i = 0; i < states; ++i) gain[i] = v[i][0] / variance;
        for (int i = 0; i < states; ++i) x[i] += gain[i] * error;
        double row[states];
        for (int j = 0; j < states; ++j) row[j] = v[0][j];
        for (int i = 0; i < states; ++i)
          for (int j = 0; j < states; ++j) v[i][j] -= gain[i] * row[j];
      }
      // x0 += x1 - share x3; x1 += x2; x3 *= kept: first rows, then columns.
      x[0] += x[1] - share * x[3];
      x[1] += x[2];
      x[3] *= kept;
      for (int j = 0; j < states; ++j) {
        v[0][j] += v[1][j] - share * v[3][j];
        v[1][j] += v[2][j];
        v[3][j] *= kept;
      }
      for (int i = 0; i < states; ++i) {
        v[i][0] += v[i][1] - share * v[i][3];
        v[i][1] += v[i][2];
        v[i][3] *= kept;
      }
      v[3][3] += fresh;
    }
    return sum;
  }

 private:
  std::span<const double> phase_;
  double period_s_;
  double scale_ = 1;
};

// J. A. Nelder, R. Mead, Computer Journal 7 (1965) 308, over those of the
// parameters that are finite at the start.
Parameters minimise(const Likelihood& f, const Parameters& start) {
  std::vector<std::size_t> free;
  for (std::size_t i = 0; i < start.size(); ++i)
    if (std::isfinite(start[i])) free.push_back(i);
  struct Corner {
    Parameters at;
    double value;
  };
  std::vector<Corner> simplex{{start, f(start)}};
  for (const std::size_t i : free) {
    Parameters moved = start;
    moved[i] += 0.5;
    simplex.push_back({moved, f(moved)});
  }
  const auto by_value = [](const Corner& a, const Corner& b) { return a.value < b.value; };
  for (int round = 0; round < 200; ++round) {
    std::sort(simplex.begin(), simplex.end(), by_value);
    Corner& worst = simplex.back();
    double size = 0;
    for (const std::size_t i : free) size = std::max(size, std::abs(worst.at[i] - simplex.front().at[i]));
    if (worst.value - simplex.front().value < 1e-5 && size < 1e-3) break;
    Parameters middle = start;
    for (const std::size_t i : free) {
      middle[i] = 0;
      for (std::size_t c = 0; c + 1 < simplex.size(); ++c)
        middle[i] += simplex[c].at[i] / static_cast<double>(simplex.size() - 1);
    }
    const auto along = [&](double t) {
      Parameters at = start;
      for (const std::size_t i : free)
        at[i] = std::clamp(middle[i] + t * (worst.at[i] - middle[i]), -40.0, 20.0);
      return Corner{at, f(at)};
    };
    const Corner mirrored = along(-1);
    if (mirrored.value < simplex.front().value) {
      const Corner further = along(-2);
      worst = further.value < mirrored.value ? further : mirrored;
    } else if (mirrored.value < simplex[simplex.size() - 2].value) {
      worst = mirrored;
    } else {
      const Corner nearer = along(mirrored.value < worst.value ? -0.5 : 0.5);
      if (nearer.value < std::min(mirrored.value, worst.value)) {
        worst = nearer;
      } else {
        for (std::size_t c = 1; c < simplex.size(); ++c) {
          for (const std::size_t i : free) simplex[c].at[i] = (simplex[c].at[i] + simplex.front().at[i]) / 2;
          simplex[c].value = f(simplex[c].at);
        }
      }
    }
  }
  return std::min_element(simplex.begin(), simplex.end(), by_value)->at;
}

// Standard errors of the finite parameters, from the curvature at the minimum.
Parameters standard_errors(const Likelihood& f, const Parameters& at) {
  std::vector<std::size_t> free;
  for (std::size_t i = 0; i < at.size(); ++i)
    if (std::isfinite(at[i])) free.push_back(i);
  const std::size_t n = free.size();
  constexpr double h = 0.02;
  const auto value = [&](std::size_t i, double a, std::size_t j, double b) {
    Parameters moved = at;
    moved[free[i]] += a * h;
    moved[free[j]] += b * h;
    return f(moved);
  };
  const double here = f(at);
  double m[3][6] = {};
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j <= i; ++j)
      m[i][j] = m[j][i] =
          i == j ? (value(i, 1, i, 0) - 2 * here + value(i, -1, i, 0)) / (h * h)
                 : (value(i, 1, j, 1) - value(i, 1, j, -1) - value(i, -1, j, 1) + value(i, -1, j, -1)) /
                       (4 * h * h);
    m[i][n + i] = 1;
  }
  // Gauss-Jordan; a curvature that is not positive leaves an infinite error.
  Parameters errors{infinite, infinite, infinite};
  for (std::size_t c = 0; c < n; ++c) {
    if (!(m[c][c] > 0)) return errors;
    const double pivot = m[c][c];
    for (std::size_t j = 0; j < 2 * n; ++j) m[c][j] /= pivot;
    for (std::size_t r = 0; r < n; ++r) {
      if (r == c) continue;
      const double share = m[r][c];
      for (std::size_t j = 0; j < 2 * n; ++j) m[r][j] -= share * m[c][j];
    }
  }
  for (std::size_t c = 0; c < n; ++c)
    if (m[c][n + c] > 0) errors[free[c]] = std::sqrt(m[c][n + c]);
  return errors;
}

// How large parameter `i` may be before the likelihood has dropped by 1.92,
// half of chi-squared's 95 % point with one degree of freedom.
double upper_where_it_drops(const Likelihood& f, Parameters at, std::size_t i, double from, double to) {
  constexpr double drop = 1.920729410347062;
  at[i] = -infinite;
  const double best = f(at);
  for (int halving = 0; halving < 40; ++halving) {
    at[i] = (from + to) / 2;
    (f(at) - best < drop ? from : to) = at[i];
  }
  return std::exp(from);
}

Interval around(double log_value, double error) {
  constexpr double k = 1.959963984540054;
  return {std::exp(log_value - k * error), std::exp(log_value + k * error)};
}

// Least gains in log-likelihood that make a component worth having, 1 %: half
// of chi-squared's point with one degree of freedom for jitter, two for wander.
constexpr double jitter_worth = 3.32;
constexpr double wander_worth = 4.61;

}  // namespace

WanderFit fit_wander(std::span<const double> phase, double period_s) {
  const Likelihood f(phase, period_s);
  // The white part from third differences, which trends and wander hardly reach.
  double squares = 0, steps = 0;
  std::size_t n = 0;
  for (std::size_t k = 3; k < phase.size(); ++k) {
    const double d = phase[k] - 3 * phase[k - 1] + 3 * phase[k - 2] - phase[k - 3];
    const double step = phase[k] - phase[k - 1];
    if (!std::isfinite(d)) continue;
    squares += d * d;
    steps += step * step;
    ++n;
  }
  const auto count = static_cast<double>(std::max<std::size_t>(n, 1));
  const double jitter = std::sqrt(squares / 20 / count) + 1e-12;  // 1 + 9 + 9 + 1
  const double share =
      std::sqrt(std::max(steps / count - 2 * jitter * jitter, 0.01 * steps / count)) / period_s;
  const double length_s = static_cast<double>(phase.size()) * period_s;

  const Parameters white = minimise(f, {std::log(jitter), -infinite, -infinite});
  Parameters best = white;
  double lowest = infinite;
  for (const double tau : {10 * period_s, std::sqrt(10 * period_s * length_s / 20), length_s / 20}) {
    const Parameters found = minimise(f, {std::log(jitter), std::log(share + 1e-12), std::log(tau)});
    if (const double value = f(found); value < lowest) lowest = value, best = found;
  }
  WanderFit fit;
  const bool wanders = f(white) - lowest > wander_worth;
  if (!wanders) {
    Parameters tried = white;
    tried[2] = std::log(std::sqrt(10 * period_s * length_s / 20));
    fit.wander_share_interval = {0, upper_where_it_drops(f, tried, 1, -30, 0)};
    best = white;
  }
  Parameters still = best;
  still[0] = -infinite;
  const bool jitters = !wanders || f(still) - lowest > jitter_worth;
  if (!jitters) {
    fit.jitter_s_interval = {0, upper_where_it_drops(f, best, 0, -40, best[0] + 5)};
    best = minimise(f, still);
  }
  const Parameters errors = standard_errors(f, best);
  if (jitters) {
    fit.jitter_s = std::exp(best[0]);
    fit.jitter_s_interval = around(best[0], errors[0]);
  }
  if (wanders) {
    fit.wander_share = std::exp(best[1]);
    fit.tau_s = std::exp(best[2]);
    fit.wander_share_interval = around(best[1], errors[1]);
    fit.tau_s_interval = around(best[2], errors[2]);
  }
  f(best, &fit.residuals);
  return fit;
}

}  // namespace tachproof
