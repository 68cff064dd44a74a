#include "core/recording/noise_fit.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <limits>
#include <numeric>

#include "core/base/allan.h"
#include "core/base/spectrum.h"
#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/base/words.h"
#include "core/recording/firing_pattern.h"

namespace tachproof {
namespace {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
constexpr double most_drift = 0.1;               // of the mean speed
constexpr double fewest_correlation_times = 20;  // of the longest that is credible
constexpr double widest_interval = 4;            // upper limit by lower, of the wander

// Takes off the cubic that fits best, by polynomials orthogonal on the pulses (G.
// E. Forsythe, J. SIAM 5 (1957) 74). `slowest`, `fastest`: speeds of the cubic as
// shares of their mean.
struct Detrended {
  std::vector<double> phase_s;
  double period_s = 0;
  double slowest = 1;
  double fastest = 1;
};
Detrended without_trend(const std::vector<double>& at_s) {
  const std::size_t n = at_s.size();
  Detrended result{at_s, 0, 1, 1};
  std::vector<double> trend(n, 0.0), before(n, 0.0), now(n, 1.0);
  double norm_before = 1;
  for (int degree = 0; degree <= 3; ++degree) {
    double norm = 0, onto = 0, centre = 0;
    for (std::size_t k = 0; k < n; ++k) {
      const double x = 2 * static_cast<double>(k) / static_cast<double>(n - 1) - 1;
      norm += now[k] * now[k];
      onto += now[k] * result.phase_s[k];
      centre += x * now[k] * now[k];
    }
    const double share = onto / norm, a = centre / norm, b = degree > 0 ? norm / norm_before : 0;
    for (std::size_t k = 0; k < n; ++k) {
      const double x = 2 * static_cast<double>(k) / static_cast<double>(n - 1) - 1;
      result.phase_s[k] -= share * now[k];
      trend[k] += share * now[k];
      const double next = (x - a) * now[k] - b * before[k];
      before[k] = now[k];
      now[k] = next;
    }
    norm_before = norm;
  }
  result.period_s = (trend.back() - trend.front()) / static_cast<double>(n - 1);
  const std::size_t step = std::max<std::size_t>(1, n / 64);
  for (std::size_t k = 0; k + step < n; k += step) {
    const double speed = result.period_s * static_cast<double>(step) / (trend[k + step] - trend[k]);
    result.slowest = std::min(result.slowest, speed);
    result.fastest = std::max(result.fastest, speed);
  }
  return result;
}

Interval probability_limits(std::uint64_t events, double pulses) {
  return {poisson_lower(events, 0.95) / pulses, poisson_upper(events, 0.95) / pulses};
}

Interval scaled(const Interval& interval, double factor) {
  return {interval.low * factor, interval.high * factor};
}

// What the recorder's steps add to the jitter is not the engine's.
double less(double jitter_s, double recorder_s) {
  return std::sqrt(std::max(jitter_s * jitter_s - recorder_s * recorder_s, 0.0));
}

std::vector<NoiseFit::Line> spectrum_of(const std::vector<double>& phase_s, double period_s) {
  std::vector<double> periods;
  for (std::size_t k = 1; k < phase_s.size(); ++k)
    periods.push_back(100 * (phase_s[k] - phase_s[k - 1]) / period_s);
  std::size_t length = 1024;
  while (length > 64 && length * 4 > periods.size()) length /= 2;
  std::vector<NoiseFit::Line> lines;
  for (const double amplitude : amplitude_spectrum(periods, length))
    lines.push_back({static_cast<double>(lines.size()) / static_cast<double>(length), amplitude});
  return lines;
}

std::vector<NoiseFit::Spread> allan_of(const std::vector<double>& phase_s, double period_s,
                                       const WanderFit& fit) {
  std::vector<NoiseFit::Spread> spreads;
  for (std::size_t m = 1; m * 5 < phase_s.size(); m = std::max(m + 1, m * 3 / 2)) {
    const double span = static_cast<double>(m) * period_s;
    spreads.push_back({span, overlapping_allan_deviation(phase_s, period_s, m),
                       expected_allan_deviation(span, fit.jitter_s, fit.wander_share, fit.tau_s)});
  }
  return spreads;
}

// G. M. Ljung, G. E. P. Box, Biometrika 65 (1978) 297, over 20 lags.
bool is_white(const std::vector<double>& x) {
  constexpr int lags = 20, fitted = 3;
  constexpr double chance = 1e-3;
  const auto n = static_cast<double>(x.size());
  double squares = 0;
  for (const double v : x) squares += v * v;
  double q = 0;
  for (int lag = 1; lag <= lags; ++lag) {
    double sum = 0;
    for (std::size_t k = static_cast<std::size_t>(lag); k < x.size(); ++k)
      sum += x[k] * x[k - static_cast<std::size_t>(lag)];
    q += std::pow(sum / squares, 2) / (n - lag);
  }
  return n * (n + 2) * q < boost::math::quantile(boost::math::chi_squared(lags - fitted), 1 - chance);
}

double kurtosis(const std::vector<double>& x) {
  double second = 0, fourth = 0;
  for (const double v : x) second += v * v, fourth += v * v * v * v;
  return static_cast<double>(x.size()) * fourth / (second * second);
}

void judge_fit(NoiseFit& fit, const Detrended& trend) {
  const auto why = [&](const std::string& sentence) { fit.reasons.push_back(sentence); };
  if (trend.fastest - trend.slowest > most_drift)
    why("the speed drifts from " + decimal(100 * trend.slowest, 0) + " % to " +
        decimal(100 * trend.fastest, 0) + " % of its mean: hold it steady and record again");
  if (!std::isfinite(fit.pulses_per_rev))
    why("no firing pattern repeats, so the pulses per revolution cannot be found: give --ppr");
  const double longest_s = fewest_correlation_times * fit.wander_s.high;
  if (fit.noise.wander_s > 0 && fit.duration_s < longest_s)
    why("the recording is too short: " + decimal(fit.duration_s, 1) +
        " s. The wander's correlation time may be up to " + decimal(fit.wander_s.high, 2) +
        " s: record at least 20 times that, " + decimal(longest_s, 1) + " s");
  else if (fit.noise.wander_s > 0 && !(fit.wander_s.high < widest_interval * fit.wander_s.low))
    why("the recording is too short to find the wander's correlation time, which may be " +
        decimal(fit.wander_s.low, 3) + " to " + decimal(fit.wander_s.high, 3) + " s: record for longer");
  const std::vector<double>& r = fit.residuals;
  if (!is_white(r))
    why("the model does not fit: the signal holds something besides jitter, wander and a firing pattern (the "
        "residuals are not white)");
  // Of normal values the kurtosis is 3, give or take sqrt(24/n).
  const double off = kurtosis(r) - 3;
  if (std::abs(off) > std::max(0.5, 5 * std::sqrt(24.0 / static_cast<double>(r.size()))))
    why("the model does not fit: the residuals are not normal, with a kurtosis of " + decimal(3 + off, 1) +
        " in place of 3");
  fit.fits = fit.reasons.empty();
}

void take_counts(NoiseFit& fit, const MendedPulses& pulses) {
  const auto count = static_cast<double>(pulses.placed);
  fit.noise.missing = static_cast<double>(pulses.missing) / count;
  fit.noise.doubled = static_cast<double>(pulses.doubled) / count;
  fit.missing = probability_limits(pulses.missing, count);
  fit.doubled = probability_limits(pulses.doubled, count);
  if (pulses.doubled > 0) fit.noise.doubled_after_us = pulses.doubled_after_s * 1e6;
}

// The pulses' phase without the pattern, seconds.
std::vector<double> take_firing_pattern(NoiseFit& fit, const Detrended& trend, bool find_pulses_per_rev) {
  const FiringPattern pattern = find_firing_pattern(trend.phase_s, trend.period_s);
  std::vector<double> phase = trend.phase_s;
  if (!pattern.share.empty())
    for (std::size_t k = 0; k < phase.size(); ++k)
      phase[k] -= pattern.share[k % pattern.share.size()] * trend.period_s;
  for (std::size_t j = 0; j < pattern.share.size(); ++j) {
    fit.noise.firing.push_back(100 * pattern.share[j]);
    fit.firing.push_back(scaled(pattern.intervals[j], 100));
  }
  if (find_pulses_per_rev && !pattern.share.empty()) {
    fit.pulses_per_rev = static_cast<double>(pattern.share.size());
    fit.notes.push_back("the firing pattern repeats after " + std::to_string(pattern.share.size()) +
                        " pulses, taken as one revolution. If these are two revolutions, as in a four-stroke "
                        "engine, give --ppr " +
                        number_text(fit.pulses_per_rev / 2));
  }
  return phase;
}

// Jitter and wander, from the first pulses where there are very many. Wants `fit.mean_rpm`.
WanderFit take_wander(NoiseFit& fit, const MendedPulses& pulses, const std::vector<double>& phase,
                      double period_s, Nanos resolution) {
  std::vector<double> fitted(
      phase.begin(), phase.begin() + static_cast<std::ptrdiff_t>(std::min(phase.size(), most_pulses_to_fit)));
  for (std::size_t k = 0; k < fitted.size(); ++k)
    if (pulses.mended[k]) fitted[k] = unknown;
  if (fitted.size() < phase.size())
    fit.notes.push_back("jitter and wander are fitted to the first " + std::to_string(fitted.size()) +
                        " pulses");
  WanderFit wander = fit_wander(fitted, period_s);
  fit.residuals = std::move(wander.residuals);
  const double recorder_s = to_seconds(resolution) / std::sqrt(12.0);
  fit.noise.jitter_us = 1e6 * less(wander.jitter_s, recorder_s);
  fit.jitter_us = {1e6 * less(wander.jitter_s_interval.low, recorder_s),
                   1e6 * less(wander.jitter_s_interval.high, recorder_s)};
  fit.noise.wander_rpm = wander.wander_share * fit.mean_rpm;
  fit.wander_rpm = scaled(wander.wander_share_interval, fit.mean_rpm);
  fit.noise.wander_s = wander.tau_s;
  fit.wander_s = wander.tau_s_interval;
  return wander;
}

}  // namespace

NoiseFitter::NoiseFitter(const NoiseFitSetup& setup) : setup_(setup), mender_(most_pulses_kept) {}

void NoiseFitter::add(std::span<const Nanos> edges) { mender_.add(edges); }

NoiseFit NoiseFitter::finish() {
  const MendedPulses pulses = mender_.finish();
  NoiseFit fit;
  fit.pulses = pulses.edges;
  fit.pulses_per_rev = setup_.pulses_per_rev > 0 ? setup_.pulses_per_rev : unknown;
  fit.mean_rpm = unknown;
  fit.duration_s = pulses.duration_s;
  if (pulses.edges < fewest_pulses_to_fit) {
    fit.reasons.push_back("the recording is too short: " + std::to_string(pulses.edges) +
                          " pulses; record at least " + std::to_string(fewest_pulses_to_fit));
    return fit;
  }
  if (pulses.placed > pulses.at_s.size())
    fit.notes.push_back("speed, drift and firing pattern are those of the first " +
                        std::to_string(pulses.at_s.size()) + " pulses, " + decimal(pulses.at_s.back(), 0) +
                        " s; missing and doubled pulses are counted in all");
  const Detrended trend = without_trend(pulses.at_s);
  take_counts(fit, pulses);
  const std::vector<double> phase = take_firing_pattern(fit, trend, setup_.pulses_per_rev == 0);
  fit.mean_rpm = 60 / (trend.period_s * fit.pulses_per_rev);
  const WanderFit wander = take_wander(fit, pulses, phase, trend.period_s, setup_.resolution);
  fit.spectrum = spectrum_of(trend.phase_s, trend.period_s);
  fit.allan = allan_of(phase, trend.period_s, wander);
  judge_fit(fit, trend);
  return fit;
}

NoiseFit fit_noise(std::span<const Nanos> edges, const NoiseFitSetup& setup) {
  NoiseFitter fitter(setup);
  fitter.add(edges);
  return fitter.finish();
}

}  // namespace tachproof
