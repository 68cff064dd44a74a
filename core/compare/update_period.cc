#include "core/compare/update_period.h"

#include <algorithm>
#include <cmath>
#include <complex>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

constexpr double lowest_hz = 2, highest_hz = 125;
constexpr std::size_t fewest_changes = 8, most_changes = 400;
constexpr double longest_s = 600;  // of a run: clocks drift
constexpr double near_enough =
    0.03;  // of a period, standard: a unit's program is not exact to the microsecond
// The period has to explain the instants so much better than a response that is always the
// same would.
constexpr double times_better = 4;
// By chance, and of so many periods tried, no more than this often.
constexpr double chance = 0.05;

std::complex<double> direction(double turns) {
  const portable::SineCosine both = portable::sine_cosine_of_turns(turns - std::floor(turns));
  return {both.cosine, both.sine};
}

// Standard deviation in turns of angles with this mean resultant length.
double spread_turns(double resultant) {
  return std::sqrt(std::max(0.0, -2 * portable::log(std::clamp(resultant, 1e-12, 1.0)))) / 6.283185307179586;
}

struct Period {
  double hz = 0;
  double spread_turns = 1;
};

// Least squares of the instants on their tick numbers, about a period that is near enough to
// number them.
Period refined(const std::vector<SeenChange>& changes, double hz) {
  Period out{hz, 1};
  for (int round = 0; round < 3; ++round) {
    double n = 0, t = 0, tt = 0, e = 0, te = 0, ee = 0;
    for (const SeenChange& c : changes) {
      const double at_s = c.at_s - changes.front().at_s;
      double off = at_s * out.hz;
      off -= std::round(off);
      n += 1;
      t += at_s;
      tt += at_s * at_s;
      e += off;
      te += at_s * off;
      ee += off * off;
    }
    const double var_t = tt - t * t / n, slope = var_t > 0 ? (te - t * e / n) / var_t : 0;
    const double rest = std::max(0.0, ee - e * e / n - slope * (te - t * e / n));
    out.spread_turns = std::sqrt(rest / std::max(n - 2, 1.0));
    out.hz -= slope;
  }
  return out;
}

// How far the instants would be off if the response were always the same.
double spread_of_lags(const std::vector<SeenChange>& changes, double hz) {
  std::complex<double> sum = 0;
  for (const SeenChange& c : changes) sum += direction((c.at_s - c.nominal_s) * hz);
  return spread_turns(std::abs(sum) / static_cast<double>(changes.size()));
}

// So many phases of the period did the train ask at; asked twice at one phase, any unit answers alike.
int phases_asked(const std::vector<SeenChange>& changes, double hz) {
  std::vector<double> phases;
  for (const SeenChange& c : changes) phases.push_back(c.nominal_s * hz - std::floor(c.nominal_s * hz));
  std::sort(phases.begin(), phases.end());
  int count = 0;
  double last = phases.back() - 1;
  for (const double phase : phases) {
    if (phase - last > 0.02) ++count;
    last = phase;
  }
  return count;
}

bool is_one(const std::vector<SeenChange>& changes, const Period& period) {
  if (period.spread_turns > near_enough) return false;
  if (spread_of_lags(changes, period.hz) < times_better * period.spread_turns) return false;
  // Every further phase lies within four spreads by chance so often.
  const double one = 4 * std::max(period.spread_turns, 1e-6);
  const double tried = 50;
  return tried * portable::exp((phases_asked(changes, period.hz) - 1) * portable::log(one)) < chance;
}

}  // namespace

std::optional<double> update_period_s(std::vector<SeenChange> changes) {
  std::sort(changes.begin(), changes.end(),
            [](const SeenChange& a, const SeenChange& b) { return a.at_s < b.at_s; });
  // Several boundaries that change at one instant say it once.
  const auto same = [](const SeenChange& a, const SeenChange& b) { return b.at_s - a.at_s < 1e-4; };
  changes.erase(std::unique(changes.begin(), changes.end(), same), changes.end());
  if (changes.empty()) return std::nullopt;
  const double first = changes.front().at_s;
  std::erase_if(changes, [&](const SeenChange& c) { return c.at_s > first + longest_s; });
  if (changes.size() > most_changes) changes.resize(most_changes);
  if (changes.size() < fewest_changes) return std::nullopt;

  const double span_s = changes.back().at_s - first;
  const double step_hz = 1 / (4 * span_s);
  const double n = static_cast<double>(changes.size());
  std::vector<std::complex<double>> now, turn;
  for (const SeenChange& c : changes) {
    now.push_back(direction((c.at_s - first) * lowest_hz));
    turn.push_back(direction((c.at_s - first) * step_hz));
  }
  const double like_enough = 0.93;  // half a step off and as spread as is allowed
  std::vector<Period> fits;
  double before = 0, last = 0;
  for (double hz = lowest_hz; hz < highest_hz; hz += step_hz) {
    std::complex<double> sum = 0;
    for (std::size_t i = 0; i < now.size(); ++i) {
      sum += now[i];
      now[i] = {now[i].real() * turn[i].real() - now[i].imag() * turn[i].imag(),
                now[i].real() * turn[i].imag() + now[i].imag() * turn[i].real()};
    }
    const double resultant = std::abs(sum) / n;
    if (last >= like_enough && last >= before && last >= resultant) {
      const Period period = refined(changes, hz - step_hz);
      if (is_one(changes, period)) fits.push_back(period);
    }
    before = last;
    last = resultant;
  }
  // Parts of the period fit as well as it does, and where the train is all but even, some others
  // nearly so.
  double best = 1;
  for (const Period& period : fits) best = std::min(best, period.spread_turns);
  for (const Period& period : fits)
    if (period.spread_turns <= 2 * best + 1e-5) return 1 / period.hz;
  return std::nullopt;
}

std::optional<double> update_period_s(const RunResult& result) {
  std::vector<SeenChange> changes;
  for (const TransitionResult& row : result.transitions)
    // Where a press has put a boundary is known to half an rpm only.
    if (row.seen && row.state.empty()) changes.push_back({to_seconds(row.nominal), to_seconds(row.at)});
  return update_period_s(std::move(changes));
}

}  // namespace tachproof
