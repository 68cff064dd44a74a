#include "core/compare/paired_changes.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/statistics.h"
#include "core/compare/variance_parts.h"

namespace tachproof {
namespace {

constexpr double rates_agree = 0.01;
constexpr double least_lever = 1.2;  // between rates that are not one
// Fewer degrees of freedom than this make a U that says nothing.
constexpr double least_dof = 3;
// Where the lines leave less than this to the scatter in rpm, the sums of both directions
// add theirs.
constexpr double enough_dof = 10;
constexpr double normal_95 = 1.959964;
constexpr double unlimited = std::numeric_limits<double>::infinity();

struct Line {
  std::vector<std::size_t> pairs;
  bool two = false;              // threshold and response
  Weights threshold, response;   // rpm and s; as if the other had not changed, where not `two`
  double sum_x = 0, sum_xx = 0;  // of the weights and 1/v
};

class Fit {
 public:
  Fit(const std::vector<LagPair>& pairs, std::size_t boundaries, double stamp_s, const UpdatesOfRuns& updates)
      : pairs_(pairs), stamp2_(2 * stamp_s * stamp_s), updates_(updates), lines_(2 * (boundaries + 1)) {
    for (std::size_t i = 0; i < pairs.size(); ++i)
      lines_[2 * pairs[i].boundary + (pairs[i].direction == Direction::falling ? 1 : 0)].pairs.push_back(i);
    for (Line& line : lines_) line.two = has_a_lever(line);
    scattered_s2_ = scattered_by_updates_s2();
  }

  PairedChanges changes() {
    PairedChanges out;
    out.changes.resize(lines_.size());
    out.deadbands.resize(lines_.size() / 2);
    // To begin with: rounding to 1 rpm and updates of 10 ms, twice; it only sets the weights.
    const VarianceParts first{0.17, 1.7e-5, 1, 1};
    sum_both_ways();
    scatter_ = first;
    const bool seen = find_scatter(false);
    if (!seen || scatter_.rpm2_dof < enough_dof) {
      scatter_ = first;
      if (!find_scatter(true)) return out;
    }
    if (updates_.seen) scatter_ = beside_updates(scatter_);
    std::vector<Residual> ignored;
    for (Line& line : lines_)
      if (!line.pairs.empty()) solve(line, ignored);
    for (std::size_t d = 0; d < 2; ++d) responses_together(out, d);
    for (std::size_t i = 2; i < lines_.size(); ++i)
      if (!lines_[i].pairs.empty()) out.changes[i] = change_of_line(i, out);
    response_both_ways(out);
    for (std::size_t b = 1; b < out.deadbands.size(); ++b) {
      const Measured &up = out.changes[2 * b].threshold, &down = out.changes[2 * b + 1].threshold;
      if (up.is_there() && down.is_there())
        out.deadbands[b] = deadband(lines_[2 * b], lines_[2 * b + 1], up, down);
    }
    return out;
  }

 private:
  double rate(std::size_t pair) const { return rate_of(pairs_[pair]); }
  // What the updates add to one pair over all phases, where that is known apart from the scatter.
  double updates_s2() const { return updates_.seen ? updates_.standard_s() * updates_.standard_s() : 0; }
  // ... and what they add to what pairs scatter by in these two runs, at least that. All lags are
  // whole periods apart: of an unchanged unit a lag is x or x - P, in the mean 0, x the time by which
  // the phases differ; the variance of that is x (P - x).
  double scattered_by_updates_s2() const {
    if (!updates_.seen || pairs_.empty()) return 0;
    const double period_s = (updates_.period_s[0] + updates_.period_s[1]) / 2;
    double mean = 0;
    for (const LagPair& pair : pairs_) {
      const double turns = (pair.lag_s - pairs_.front().lag_s) / period_s;
      mean += (turns - std::round(turns)) / static_cast<double>(pairs_.size());
    }
    const double turns = pairs_.front().lag_s / period_s + mean, x = turns - std::floor(turns);
    return std::max(period_s * period_s * x * (1 - x), updates_s2());
  }
  double variance_s2(std::size_t pair) const {
    const double v = rate(pair);
    return scatter_.variance(v) / (v * v) + stamp2_ + updates_s2();
  }

  // Two unknowns ask for rates that differ by enough to be a lever.
  bool has_a_lever(const Line& line) const {
    double lowest = as_fast_as_a_step, highest = 0;
    for (const std::size_t p : line.pairs) {
      lowest = std::min(lowest, std::abs(rate(p)));
      highest = std::max(highest, std::abs(rate(p)));
    }
    return highest > least_lever * lowest && lowest < as_fast_as_a_step;
  }

  double sum(const Weights& weights) const {
    double total = 0;
    for (std::size_t i = 0; i < weights.size(); ++i) total += weights[i] * pairs_[i].lag_s;
    return total;
  }

  void solve(Line& line, std::vector<Residual>& residuals) {
    double n = 0, x1 = 0, x2 = 0;
    for (const std::size_t p : line.pairs) {
      const double w = 1 / variance_s2(p), x = 1 / rate(p);
      n += w;
      x1 += w * x;
      x2 += w * x * x;
    }
    line.sum_x = x1, line.sum_xx = x2;
    line.threshold.assign(pairs_.size(), 0);
    line.response.assign(pairs_.size(), 0);
    const double det = n * x2 - x1 * x1, only_rate = rate(line.pairs.front());
    for (const std::size_t p : line.pairs) {
      const double w = 1 / variance_s2(p), x = 1 / rate(p);
      line.threshold[p] = line.two ? w * (n * x - x1) / det : w / n * only_rate;
      line.response[p] = line.two ? w * (x2 - x1 * x) / det : w / n;
    }
    const double threshold_rpm = line.two ? sum(line.threshold) : 0, response_s = sum(line.response);
    for (const std::size_t p : line.pairs) {
      const double v = rate(p), w = 1 / variance_s2(p), x = 1 / v;
      const double leverage = line.two ? w * (n * x * x - 2 * x1 * x + x2) / det : w / n;
      const double fitted = threshold_rpm * x + response_s;
      residuals.push_back({v * (pairs_[p].lag_s - fitted), v, std::clamp(leverage, 0.0, 1.0),
                           v * v * (stamp2_ + scattered_s2_)});
    }
  }

  bool find_scatter(bool with_sums) {
    constexpr int rounds = 12;
    for (int round = 0; round < rounds; ++round) {
      std::vector<Residual> residuals;
      for (Line& line : lines_)
        if (!line.pairs.empty()) solve(line, residuals);
      if (with_sums) residuals.insert(residuals.end(), sums_.begin(), sums_.end());
      if (residual_dof(residuals) < least_dof) return false;
      const VarianceParts refined = refine_parts(residuals, scatter_);
      if (!std::isfinite(refined.rpm2 + refined.s2)) return true;
      scatter_ = refined;
    }
    return true;
  }

  // What is left to scatter beside known updates is too little to be seen in most runs: then it is
  // what the runs state of themselves, if pairs do not scatter by clearly more.
  VarianceParts beside_updates(const VarianceParts& seen) const {
    const auto surely = [](double value, double dof) {
      return value * (1 - 2 * std::sqrt(2 / std::max(dof, 1e-3)));
    };
    constexpr double least_s2 = 1e-8;
    const auto& [before, after] = updates_.scatter_rpm;
    VarianceParts out{before * before + after * after, least_s2, unlimited, unlimited};
    if (const double rpm2 = surely(seen.rpm2, seen.rpm2_dof); rpm2 > out.rpm2)
      out.rpm2 = seen.rpm2, out.rpm2_dof = seen.rpm2_dof;
    if (const double s2 = surely(seen.s2, seen.s2_dof); s2 > out.s2)
      out.s2 = seen.s2, out.s2_dof = seen.s2_dof;
    return out;
  }

  const std::size_t* slowest(const Line& line) const {
    const auto at = std::min_element(line.pairs.begin(), line.pairs.end(), [&](std::size_t a, std::size_t b) {
      return std::abs(rate(a)) < std::abs(rate(b));
    });
    return at == line.pairs.end() || pairs_[*at].rate_rpm_per_s == 0 ? nullptr : &*at;
  }

  // The slowest pair of each direction, where both are at one rate: the sum of their
  // lags, about its mean over the boundaries.
  void sum_both_ways() {
    std::vector<std::pair<double, double>> sums;  // s, and the rate
    both_ways_.assign(pairs_.size(), 0);
    for (std::size_t b = 1; 2 * b + 1 < lines_.size(); ++b) {
      const std::size_t* const up = slowest(lines_[2 * b]);
      const std::size_t* const down = slowest(lines_[2 * b + 1]);
      if (up == nullptr || down == nullptr) continue;
      const double v = rate(*up);
      if (std::abs(v + rate(*down)) > rates_agree * v) continue;
      sums.emplace_back(pairs_[*up].lag_s + pairs_[*down].lag_s, v);
      both_ways_[*up] = both_ways_[*down] = 1;
    }
    const double n = static_cast<double>(sums.size());
    summed_ = n;
    double mean_s = 0;
    for (const auto& [both, v] : sums) {
      mean_s += both / n;
      only_rate_ = std::max(only_rate_, v);
    }
    for (double& weight : both_ways_) weight /= std::max(2 * n, 1.0);
    for (const auto& [both, v] : sums)
      sums_.push_back({v * (both - mean_s) / std::sqrt(2.0), v, 1 / n, v * v * (stamp2_ + scattered_s2_)});
  }

  // `factor`: from the weights' unit to the one that is stated.
  Measured stated(const Weights& weights, double factor) const {
    double by_rpm2 = 0, by_s2 = 0;
    for (std::size_t i = 0; i < weights.size(); ++i) {
      const double w2 = weights[i] * weights[i], v = rate(i);
      by_rpm2 += w2 * scatter_.rpm2 / (v * v);
      by_s2 += w2 * (scatter_.s2 + stamp2_);
    }
    WelchSatterthwaite all;
    all.add(factor * std::sqrt(by_rpm2), scatter_.rpm2_dof);
    all.add(factor * std::sqrt(by_s2), scatter_.s2_dof);
    Measured out;
    if (updates_.seen) {
      const double by_updates = factor * std::sqrt(variance_by_updates(weights, pairs_, updates_));
      all.add(by_updates, unlimited);
      // Of a response no more than what they make of one pair.
      out.by_updates = normal_95 * std::min(by_updates, factor * updates_.standard_s());
    }
    out.value = factor * sum(weights);
    out.dof = std::max(all.dof(), 1.0);
    out.expanded = student_t(0.95, out.dof) * all.combined();
    return out;
  }

  // Where updates are not seen, all pairs may share theirs.
  void widen(Measured& m, double by_standard) const {
    if (!m.is_there() || by_standard == 0 || updates_.seen) return;
    WelchSatterthwaite both;
    both.add(m.expanded / student_t(0.95, m.dof), m.dof);
    both.add(std::abs(by_standard), unlimited);
    m.dof = std::max(both.dof(), 1.0);
    m.expanded = student_t(0.95, m.dof) * both.combined();
  }

  struct Mean {
    Weights weights;
    Measured stated;
    double birge2 = 0;
  };
  // Weighted by what each is known to.
  Mean mean_of(const std::vector<Weights>& lines) const {
    Mean out;
    out.weights.assign(pairs_.size(), 0);
    std::vector<double> variances;
    double n = 0;
    for (const Weights& line : lines) {
      const Measured own = stated(line, 1);
      const double standard = own.expanded / student_t(0.95, own.dof);
      variances.push_back(standard * standard);
      n += 1 / variances.back();
    }
    for (std::size_t i = 0; i < lines.size(); ++i)
      for (std::size_t p = 0; p < pairs_.size(); ++p) out.weights[p] += lines[i][p] / variances[i] / n;
    out.stated = stated(out.weights, 1e3);
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const double off = sum(lines[i]) - sum(out.weights);
      out.birge2 += off * off / variances[i] / static_cast<double>(lines.size() - 1);
    }
    return out;
  }

  // The response as the fastest pairs of a line show it, less what its own threshold makes of them.
  Weights response_of_fastest(const Line& line) const {
    double highest = 0, n = 0, x = 0;
    for (const std::size_t p : line.pairs) highest = std::max(highest, std::abs(rate(p)));
    const auto is_fast = [&](std::size_t p) { return std::abs(rate(p)) > highest / 2; };
    for (const std::size_t p : line.pairs)
      if (is_fast(p)) n += 1, x += 1 / rate(p);
    Weights out(pairs_.size(), 0);
    for (const std::size_t p : line.pairs) out[p] = (is_fast(p) ? 1 / n : 0) - x / n * line.threshold[p];
    return out;
  }

  void responses_together(PairedChanges& out, std::size_t direction) {
    std::vector<Weights> by_line, by_fastest;
    for (std::size_t i = 2 + direction; i < lines_.size(); i += 2) {
      if (!lines_[i].two) continue;
      by_line.push_back(lines_[i].response);
      if (updates_.seen) by_fastest.push_back(response_of_fastest(lines_[i]));
    }
    out.response_of[direction] = static_cast<int>(by_line.size());
    if (by_line.size() < 2) return;
    Mean mean = mean_of(by_line);
    if (updates_.seen) {
      Mean other = mean_of(by_fastest);
      if (other.stated.expanded < mean.stated.expanded) mean = std::move(other);
    }
    // Where the boundaries differ by more than their own scatter, that counts (Birge).
    if (mean.birge2 > 1) {
      const double standard = mean.stated.expanded / student_t(0.95, mean.stated.dof);
      mean.stated.dof = std::min(mean.stated.dof, static_cast<double>(by_line.size()) - 1);
      mean.stated.expanded = student_t(0.95, mean.stated.dof) * std::sqrt(mean.birge2) * standard;
    }
    widen(mean.stated, updates_.standard_s() * 1e3);
    together_[direction] = std::move(mean.weights);
    out.response[direction] = mean.stated;
  }

  PairedChange change_of_line(std::size_t index, const PairedChanges& so_far) {
    Line& line = lines_[index];
    PairedChange change;
    change.pairs = static_cast<int>(line.pairs.size());
    change.told_apart = line.two;
    const double first_rate = pairs_[line.pairs.front()].rate_rpm_per_s;
    const bool steps_only = !line.two && first_rate == 0;
    if (!line.two) change.rate_rpm_per_s = first_rate;
    change.response = stated(line.response, 1e3);
    if (updates_.seen && line.two) take_best_threshold(line, index % 2, so_far, change.response);
    if (!steps_only) change.threshold = stated(line.threshold, 1);
    // Of a threshold: what they make of its slowest pair, as that is what a user can work out.
    if (const std::size_t* const slow = slowest(line); slow != nullptr && updates_.seen)
      change.threshold.by_updates = normal_95 * std::abs(rate(*slow)) * updates_.standard_s();
    // At the slowest rate it looks like a threshold by so much.
    if (const std::size_t* const slow = slowest(line))
      widen(change.threshold, rate(*slow) * updates_.standard_s());
    widen(change.response, updates_.standard_s() * 1e3);
    return change;
  }

  // Of three unbiased sums the one whose uncertainty is least; which it is does not depend on
  // what was seen. Two of them take the response of all boundaries, if this one's is no other.
  void take_best_threshold(Line& line, std::size_t direction, const PairedChanges& so_far,
                           const Measured& own) const {
    const Measured& all = so_far.response[direction];
    // The time that it takes grows with the square of the pairs; so many need no help.
    constexpr std::size_t most_pairs = 800;
    if (pairs_.size() > most_pairs || !all.is_there() ||
        std::abs(own.value - all.value) > own.expanded + all.expanded)
      return;
    const Weights& response = together_[direction];
    Weights by_line(pairs_.size(), 0), by_slowest(by_line);
    const double slow = rate(*slowest(line));
    double n = 0, mean_rate = 0;
    for (const std::size_t p : line.pairs) n += std::abs(rate(p)) < least_lever * std::abs(slow);
    for (const std::size_t p : line.pairs) {
      by_line[p] = 1 / variance_s2(p) / rate(p) / line.sum_xx;
      if (std::abs(rate(p)) >= least_lever * std::abs(slow)) continue;
      by_slowest[p] = rate(p) / n;
      mean_rate += by_slowest[p];
    }
    for (std::size_t p = 0; p < pairs_.size(); ++p) {
      by_line[p] -= line.sum_x / line.sum_xx * response[p];
      by_slowest[p] -= mean_rate * response[p];
    }
    double least = stated(line.threshold, 1).expanded;
    for (const Weights* other : {&by_line, &by_slowest}) {
      const double expanded = stated(*other, 1).expanded;
      if (!(expanded < least)) continue;
      least = expanded;
      line.threshold = *other;
    }
  }

  Measured deadband(const Line& up, const Line& down, const Measured& rising, const Measured& falling) const {
    Weights both(pairs_.size());
    for (std::size_t p = 0; p < both.size(); ++p) both[p] = up.threshold[p] - down.threshold[p];
    Measured out = stated(both, 1);
    const auto shared = [&](const Line& line) {
      const std::size_t* const slow = slowest(line);
      return slow == nullptr ? 0 : rate(*slow) * updates_.standard_s();
    };
    widen(out, std::hypot(shared(up), shared(down)));
    if (!updates_.seen) return out;
    // Where thresholds are not where they are set, phases up and down are not as the train says: what
    // they might make up for each other does not count.
    out.expanded = std::max(out.expanded, std::hypot(rising.expanded, falling.expanded));
    out.by_updates = rising.by_updates + falling.by_updates;
    return out;
  }

  void response_both_ways(PairedChanges& out) const {
    const bool apart = std::any_of(lines_.begin(), lines_.end(), [](const Line& line) { return line.two; });
    if (apart || !(summed_ > least_dof)) return;
    out.response_both_ways = stated(both_ways_, 1e3);
    widen(out.response_both_ways, updates_.standard_s() * 1e3);
    out.only_rate_rpm_per_s = only_rate_;
  }

  const std::vector<LagPair>& pairs_;
  double stamp2_, scattered_s2_ = 0;
  UpdatesOfRuns updates_;
  std::vector<Line> lines_;
  std::array<Weights, 2> together_;
  Weights both_ways_;
  std::vector<Residual> sums_;
  double summed_ = 0, only_rate_ = 0;
  VarianceParts scatter_;
};

}  // namespace

PairedChanges paired_changes(const std::vector<LagPair>& pairs, std::size_t boundaries, double stamp_s,
                             const UpdatesOfRuns& updates) {
  return Fit(pairs, boundaries, stamp_s, updates).changes();
}

}  // namespace tachproof
