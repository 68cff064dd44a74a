#include "core/compare/paired_changes.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <map>

#include "core/base/statistics.h"
#include "core/compare/variance_parts.h"

namespace tachproof {
namespace {

// A step as a ramp that is so fast that no threshold shows in it.
constexpr double as_fast_as_a_step = 1e6;  // rpm/s
constexpr double same_rate = 0.01;
// Fewer degrees of freedom than this make a U that tells nothing.
constexpr double least_dof = 3;
// Where the lines leave less than this to the scatter in rpm, the sums of both directions
// add theirs.
constexpr double enough_dof = 10;

using Rows = std::map<std::pair<std::string, Direction>, std::vector<const TransitionResult*>>;

Rows rows_of(const RunResult& result) {
  Rows rows;
  for (const TransitionResult& row : result.transitions) rows[{row.boundary, row.direction}].push_back(&row);
  for (auto& [key, list] : rows)
    std::stable_sort(list.begin(), list.end(), [](auto* a, auto* b) { return a->nominal < b->nominal; });
  return rows;
}

bool goes_its_way(const TransitionResult& row) {
  return row.step || (row.direction == Direction::rising ? row.rate_rpm_per_s > 0 : row.rate_rpm_per_s < 0);
}

// Where the threshold is set as it was, a demand has the same nominal instant in both
// runs; one that is missing from a run's rows is left out of both.
void keep_same_demands(std::vector<const TransitionResult*>& a, std::vector<const TransitionResult*>& b) {
  if (a.empty() || b.empty() || a[0]->nominal_rpm != b[0]->nominal_rpm) return;
  constexpr Nanos same = 1000;
  const auto is_in = [](const std::vector<const TransitionResult*>& rows) {
    return [&rows](const TransitionResult* row) {
      return std::any_of(rows.begin(), rows.end(), [&](const TransitionResult* other) {
        return std::abs(other->nominal - row->nominal) <= same;
      });
    };
  };
  std::vector<const TransitionResult*> kept;
  std::copy_if(a.begin(), a.end(), std::back_inserter(kept), is_in(b));
  std::erase_if(b, [&](const TransitionResult* row) { return !is_in(a)(row); });
  a = std::move(kept);
}

struct Line {
  std::vector<const LagPair*> pairs;
  bool two = false;          // threshold and response
  double threshold_rpm = 0;  // as if the response had not changed, where not `two`
  double response_s = 0;
  // Of threshold (rpm) and response (s): variances from the scatter in rpm and in time.
  std::array<double, 2> by_rpm2{}, by_s2{};
};

double rate_of(const LagPair& pair) {
  const double sign = pair.direction == Direction::rising ? 1 : -1;
  return pair.rate_rpm_per_s != 0 ? pair.rate_rpm_per_s : sign * as_fast_as_a_step;
}

double variance_s2(const LagPair& pair, const VarianceParts& scatter, double stamp_s) {
  const double v = rate_of(pair);
  return scatter.variance(v) / (v * v) + 2 * stamp_s * stamp_s;
}

// Two unknowns ask for rates that differ by enough to be a lever.
bool has_a_lever(const std::vector<const LagPair*>& pairs) {
  double slowest = as_fast_as_a_step, fastest = 0;
  for (const LagPair* p : pairs) {
    slowest = std::min(slowest, std::abs(rate_of(*p)));
    fastest = std::max(fastest, std::abs(rate_of(*p)));
  }
  constexpr double least_lever = 1.2;
  return fastest > least_lever * slowest && slowest < as_fast_as_a_step;
}

void solve(Line& line, const VarianceParts& scatter, double stamp_s, std::vector<Residual>& residuals) {
  double n = 0, x1 = 0, x2 = 0, y = 0, xy = 0;
  for (const LagPair* p : line.pairs) {
    const double w = 1 / variance_s2(*p, scatter, stamp_s), x = 1 / rate_of(*p);
    n += w;
    x1 += w * x;
    x2 += w * x * x;
    y += w * p->lag_s;
    xy += w * x * p->lag_s;
  }
  const double det = n * x2 - x1 * x1;
  if (line.two) {
    line.threshold_rpm = (n * xy - x1 * y) / det;
    line.response_s = (x2 * y - x1 * xy) / det;
  } else {
    line.response_s = y / n;
    line.threshold_rpm = line.response_s * rate_of(*line.pairs.front());
  }
  line.by_rpm2 = line.by_s2 = {};
  for (const LagPair* p : line.pairs) {
    const double v = rate_of(*p), w = 1 / variance_s2(*p, scatter, stamp_s), x = 1 / v;
    const double by_threshold = line.two ? w * (n * x - x1) / det : w / n * rate_of(*line.pairs.front());
    const double by_response = line.two ? w * (x2 - x1 * x) / det : w / n;
    const double rpm2 = scatter.rpm2 / (v * v), s2 = scatter.s2 + 2 * stamp_s * stamp_s;
    line.by_rpm2[0] += by_threshold * by_threshold * rpm2;
    line.by_s2[0] += by_threshold * by_threshold * s2;
    line.by_rpm2[1] += by_response * by_response * rpm2;
    line.by_s2[1] += by_response * by_response * s2;
    const double fitted = line.two ? line.threshold_rpm * x + line.response_s : line.response_s;
    const double leverage = line.two ? w * (n * x * x - 2 * x1 * x + x2) / det : w / n;
    residuals.push_back(
        {v * (p->lag_s - fitted), v, std::clamp(leverage, 0.0, 1.0), 2 * v * v * stamp_s * stamp_s});
  }
}

// The slowest pair of each direction, where both are at one rate: the sum of their
// lags, about its mean over the boundaries.
struct BothWays {
  double mean_s = 0;
  std::size_t boundaries = 0;
  double rate_rpm_per_s = 0;  // the fastest
  std::vector<Residual> residuals;
};

const LagPair* slowest(const Line& line) {
  const auto at = std::min_element(
      line.pairs.begin(), line.pairs.end(),
      [](const LagPair* a, const LagPair* b) { return std::abs(rate_of(*a)) < std::abs(rate_of(*b)); });
  return at == line.pairs.end() || (*at)->rate_rpm_per_s == 0 ? nullptr : *at;
}

BothWays both_ways(const std::vector<Line>& lines, double stamp_s) {
  std::vector<std::pair<double, double>> sums;  // s, and the rate
  for (std::size_t b = 1; 2 * b + 1 < lines.size(); ++b) {
    const LagPair* const up = slowest(lines[2 * b]);
    const LagPair* const down = slowest(lines[2 * b + 1]);
    if (up == nullptr || down == nullptr) continue;
    const double v = rate_of(*up);
    if (std::abs(v + rate_of(*down)) > same_rate * v) continue;
    sums.emplace_back(up->lag_s + down->lag_s, v);
  }
  BothWays out;
  out.boundaries = sums.size();
  for (const auto& [sum, v] : sums) {
    out.mean_s += sum / static_cast<double>(sums.size());
    out.rate_rpm_per_s = std::max(out.rate_rpm_per_s, v);
  }
  for (const auto& [sum, v] : sums)
    out.residuals.push_back({v * (sum - out.mean_s) / std::sqrt(2.0), v, 1 / static_cast<double>(sums.size()),
                             2 * v * v * stamp_s * stamp_s});
  return out;
}

bool any_told_apart(const std::vector<Line>& lines) {
  return std::any_of(lines.begin(), lines.end(), [](const Line& line) { return line.two; });
}

Measured stated(double value, double by_rpm2, double by_s2, const VarianceParts& scatter) {
  WelchSatterthwaite both;
  both.add(std::sqrt(by_rpm2), scatter.rpm2_dof);
  both.add(std::sqrt(by_s2), scatter.s2_dof);
  const double dof = std::max(both.dof(), 1.0);
  return {value, student_t(0.95, dof) * both.combined(), dof};
}

void widen(Measured& m, double by_standard) {
  if (!m.is_there() || by_standard == 0) return;
  WelchSatterthwaite both;
  both.add(m.expanded / student_t(0.95, m.dof), m.dof);
  both.add(std::abs(by_standard), std::numeric_limits<double>::infinity());
  m.dof = std::max(both.dof(), 1.0);
  m.expanded = student_t(0.95, m.dof) * both.combined();
}

// Where the boundaries differ by more than their own scatter, that counts (Birge).
Measured mean_response(const std::vector<Line>& lines, std::size_t direction, const VarianceParts& scatter,
                       int& of) {
  double n = 0, y = 0, by_rpm2 = 0, by_s2 = 0;
  std::vector<const Line*> told;
  for (std::size_t i = 2 + direction; i < lines.size(); i += 2)
    if (lines[i].two) told.push_back(&lines[i]);
  for (const Line* line : told) {
    const double w = 1 / (line->by_rpm2[1] + line->by_s2[1]);
    n += w;
    y += w * line->response_s;
  }
  of = static_cast<int>(told.size());
  if (told.size() < 2) return {};
  double chi2 = 0;
  for (const Line* line : told) {
    const double w = 1 / (line->by_rpm2[1] + line->by_s2[1]), off = line->response_s - y / n;
    chi2 += w * off * off;
    by_rpm2 += w * w / (n * n) * line->by_rpm2[1];
    by_s2 += w * w / (n * n) * line->by_s2[1];
  }
  const double between = static_cast<double>(told.size()) - 1, birge2 = chi2 / between;
  const Measured alike = stated(y / n * 1e3, by_rpm2 * 1e6, by_s2 * 1e6, scatter);
  if (birge2 <= 1) return alike;
  const double dof = std::min(alike.dof, between);
  return {alike.value, student_t(0.95, dof) * std::sqrt(birge2 * (by_rpm2 + by_s2)) * 1e3, dof};
}

}  // namespace

std::vector<LagPair> lag_pairs(const RunResult& before, const RunResult& after,
                               const std::vector<PairedName>& names) {
  Rows was = rows_of(before), is = rows_of(after);
  std::vector<LagPair> pairs;
  for (const PairedName& name : names)
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const auto a = was.find({name.before, d}), b = is.find({name.after, d});
      if (a == was.end() || b == is.end()) continue;
      keep_same_demands(a->second, b->second);
      if (a->second.size() != b->second.size()) continue;
      for (std::size_t i = 0; i < a->second.size(); ++i) {
        const TransitionResult &one = *a->second[i], &other = *b->second[i];
        const double rate = one.rate_rpm_per_s;
        if (!one.seen || !other.seen || one.step != other.step || !goes_its_way(one)) continue;
        if (!one.step && std::abs(other.rate_rpm_per_s - rate) > same_rate * std::abs(rate)) continue;
        const Nanos lag = (other.at - other.nominal) - (one.at - one.nominal);
        pairs.push_back({name.boundary, d, one.step ? 0 : rate, to_seconds(lag)});
      }
    }
  return pairs;
}

PairedChanges paired_changes(const std::vector<LagPair>& pairs, std::size_t boundaries, double stamp_s,
                             double common_s) {
  PairedChanges out;
  out.changes.resize(2 * (boundaries + 1));
  std::vector<Line> lines(2 * (boundaries + 1));
  for (const LagPair& pair : pairs)
    lines[2 * pair.boundary + (pair.direction == Direction::falling ? 1 : 0)].pairs.push_back(&pair);
  for (Line& line : lines) line.two = has_a_lever(line.pairs);

  // To begin with: rounding to 1 rpm and updates of 10 ms, twice; it only sets the weights.
  const VarianceParts first{0.17, 1.7e-5, 1, 1};
  VarianceParts scatter = first;
  const BothWays both = both_ways(lines, stamp_s);
  const auto fit = [&](bool with_sums) {
    constexpr int rounds = 12;
    for (int round = 0; round < rounds; ++round) {
      std::vector<Residual> residuals;
      for (Line& line : lines)
        if (!line.pairs.empty()) solve(line, scatter, stamp_s, residuals);
      if (with_sums) residuals.insert(residuals.end(), both.residuals.begin(), both.residuals.end());
      if (residual_dof(residuals) < least_dof) return false;
      const VarianceParts refined = refine_parts(residuals, scatter);
      if (!std::isfinite(refined.rpm2 + refined.s2)) return true;
      scatter = refined;
    }
    return true;
  };
  const bool seen = fit(false);
  if (!seen || scatter.rpm2_dof < enough_dof) {
    scatter = first;
    if (!fit(true)) return out;
  }
  std::vector<Residual> ignored;
  for (std::size_t i = 2; i < lines.size(); ++i) {
    Line& line = lines[i];
    if (line.pairs.empty()) continue;
    solve(line, scatter, stamp_s, ignored);
    PairedChange& change = out.changes[i];
    change.pairs = static_cast<int>(line.pairs.size());
    change.told_apart = line.two;
    const bool steps_only = !line.two && line.pairs.front()->rate_rpm_per_s == 0;
    if (!line.two) change.rate_rpm_per_s = line.pairs.front()->rate_rpm_per_s;
    if (!steps_only) change.threshold = stated(line.threshold_rpm, line.by_rpm2[0], line.by_s2[0], scatter);
    change.response = stated(line.response_s * 1e3, line.by_rpm2[1] * 1e6, line.by_s2[1] * 1e6, scatter);
  }
  if (!any_told_apart(lines) && static_cast<double>(both.boundaries) > least_dof) {
    // Half of the mean of sums of two.
    const double n = 2 * static_cast<double>(both.boundaries), v = both.rate_rpm_per_s;
    out.response_both_ways = stated(both.mean_s / 2 * 1e3, scatter.rpm2 / (v * v) / n * 1e6,
                                    (scatter.s2 + 2 * stamp_s * stamp_s) / n * 1e6, scatter);
    out.only_rate_rpm_per_s = v;
  }
  // At the slowest rate it looks like a threshold by so much.
  for (std::size_t i = 2; i < lines.size(); ++i) {
    PairedChange& change = out.changes[i];
    if (const LagPair* const slow = slowest(lines[i])) widen(change.threshold, rate_of(*slow) * common_s);
    widen(change.response, common_s * 1e3);
  }
  widen(out.response_both_ways, common_s * 1e3);
  for (std::size_t d = 0; d < 2; ++d) {
    out.response[d] = mean_response(lines, d, scatter, out.response_of[d]);
    widen(out.response[d], common_s * 1e3);
  }
  return out;
}

}  // namespace tachproof
