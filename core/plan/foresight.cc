#include "core/plan/foresight.h"
#include "core/judge/expected_states.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "core/base/text.h"
#include "core/judge/allowance.h"
#include "core/judge/thresholds.h"
#include "core/judge/window_reading.h"

namespace tachproof {
namespace {

constexpr std::size_t most_visits = 200;  // per boundary and direction, as the judge keeps
// Advice aims at this share of what is allowed, so that a unit that is a little off is
// decided too.
constexpr double aimed_share = 0.5;
// One visit alone says nothing of how far this unit's visits scatter.
constexpr int ramps_added = 2;
constexpr double cycles_of_a_rest = 3;
// Of other boundaries, some more at most: advice takes the unit's response from their visits.
constexpr std::size_t most_others = 24;

// One demanded crossing in the profile.
struct Met {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  Nanos at = 0;  // when the profile reaches the threshold
  double rate_rpm_per_s = 0;
  bool step = false;
};

// A spread without chance: multiples of an irrational number fill -1/2..1/2 evenly.
class Spread {
 public:
  explicit Spread(int replica) : at_(0.31 * replica) {}
  double next() {
    constexpr double golden = 0.6180339887498949;
    at_ += golden;
    at_ -= std::floor(at_);
    return at_ - 0.5;
  }

 private:
  double at_;
};

class Foreseeing {
 public:
  Foreseeing(const Gauge& gauge, const Profile& profile, const ForesightSetup& setup)
      : gauge_(gauge), profile_(profile), setup_(setup), reading_(gauge, gauge.all_channels()) {
    const Tolerance& t = gauge.tolerance;
    // Any would do; what is known of it is what the gauge allows.
    response_s_ = to_seconds(t.response_from + t.response_to) / 2;
    fit_.response_from_s = to_seconds(t.response_from);
    fit_.response_to_s = to_seconds(t.response_to);
    fit_.bench = bench_uncertainty({setup.source, {}});
    fit_.pulses_per_rev = gauge.pulses_per_rev;
    if (!setup.noise.quiet())
      for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
        fit_.rpm_noise =
            std::max(fit_.rpm_noise, reading_noise(setup.noise, gauge, gauge.windows[b].from_rpm).random_rpm);
  }

  Foresight run() {
    ExpectationOptions options;
    options.source_lag = setup_.source.lag;
    if (setup_.source.rpm > 0) options.extra_rpm = [rpm = setup_.source.rpm](double) { return rpm; };
    const ExpectedRun expected = expect(gauge_, profile_, options);
    for (const ExpectedTransition& t : expected.transitions) meet(t);
    const std::vector<double> u = uncertainties({});
    Foresight out;
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
      bool visited = false;
      for (const Direction d : {Direction::rising, Direction::falling}) {
        ForeseenThreshold row;
        row.boundary = b;
        row.direction = d;
        row.nominal_rpm = d == Direction::rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b);
        row.crossings = static_cast<int>(std::count_if(
            met_.begin(), met_.end(), [&](const Met& m) { return m.boundary == b && m.direction == d; }));
        visited |= row.crossings > 0;
        if (reading_.look_alike(b - 1, b)) {
          row.advice = "the lamps show the same on both sides, so it cannot be measured";
        } else if (blink_only(b)) {
          row.expected_uncertainty_rpm = by_blink(b, d);
          row.decided = row.expected_uncertainty_rpm <= allowed_rpm();
        } else {
          row.expected_uncertainty_rpm = u[way_of(b, d)];
          row.decided = row.expected_uncertainty_rpm <= allowed_rpm();
        }
        out.thresholds.push_back(std::move(row));
      }
      if (!visited) out.not_visited.push_back(b);
      advise(out.thresholds[out.thresholds.size() - 2], out.thresholds.back());
    }
    rests(expected, out);
    return out;
  }

 private:
  bool blink_only(std::size_t b) const { return gauge_.blink && reading_.alike_while_lit(b - 1, b); }

  double allowed_rpm() const {
    // With room for a unit that is half an rpm off, as one is that rounds.
    const double tolerance = gauge_.tolerance.rpm, room = tolerance - std::min(0.5, tolerance / 4);
    return setup_.within_rpm > 0 ? std::min(setup_.within_rpm, room) : room;
  }

  void meet(const ExpectedTransition& t) {
    Met met{t.boundary, t.direction, t.nominal - gauge_.tolerance.response_from, 0, false};
    met.rate_rpm_per_s = profile_.slope_at(met.at);
    const double before = profile_.rpm_at(met.at - 2), after = profile_.rpm_at(met.at + 2);
    constexpr double no_ramp = 0.05;  // rpm in 4 ns
    met.step = std::abs(after - before) > no_ramp;
    if (met.step) met.rate_rpm_per_s = 0;
    met_.push_back(met);
  }

  // What an ideal unit makes of it, `late_s` and `off_rpm` off.
  Visit visit_of(const Met& met, double late_s, double off_rpm) const {
    Visit visit;
    visit.boundary = met.boundary;
    visit.direction = met.direction;
    visit.step = met.step;
    visit.step_response_s = response_s_ + late_s;
    const double longest_s = 1.25 * (fit_.response_to_s + fit_.bench.source_lag_s);
    visit.spacing_s = std::max(longest_s, 0.05) / (Visit::samples - 1);
    for (std::size_t k = 0; k < Visit::samples; ++k) {
      const double ago_s = visit.spacing_s * static_cast<double>(k) - response_s_ - late_s;
      visit.rpm_before[k] = profile_.rpm_at(met.at - from_seconds(ago_s)) + (met.step ? 0 : off_rpm);
    }
    return visit;
  }

  // A ramp that goes on as long as it has to.
  Visit ramp_over(std::size_t b, Direction d, double rate, double late_s, double off_rpm) const {
    Visit visit;
    visit.boundary = b;
    visit.direction = d;
    const double longest_s = 1.25 * (fit_.response_to_s + fit_.bench.source_lag_s);
    visit.spacing_s = std::max(longest_s, 0.05) / (Visit::samples - 1);
    const double sign = d == Direction::rising ? 1 : -1;
    const double threshold = d == Direction::rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b);
    for (std::size_t k = 0; k < Visit::samples; ++k)
      visit.rpm_before[k] = threshold + off_rpm +
                            sign * rate * (response_s_ + late_s - visit.spacing_s * static_cast<double>(k));
    return visit;
  }

  struct Added {
    std::size_t boundary = 0;
    double rate = 0;
    bool rising = false, falling = false;
  };

  std::vector<Visit> visits(int replica, const std::optional<Added>& added) const {
    // Rectangles: whole rpm, and an update every 10 ms.
    constexpr double rounding_rpm = 1, update_s = 0.01;
    Spread rpm(replica), time(replica + 3);
    std::vector<Visit> out;
    std::vector<std::size_t> kept(2 * (gauge_.boundaries() + 1), 0);
    std::size_t others = 0;
    const std::size_t every = added ? met_.size() / most_others + 1 : 1;
    for (const Met& met : met_) {
      std::size_t& count = kept[way_of(met.boundary, met.direction)];
      if (count == most_visits) continue;
      const double late_s = update_s * time.next(), off_rpm = rounding_rpm * rpm.next();
      if (blink_only(met.boundary) || reading_.look_alike(met.boundary - 1, met.boundary)) continue;
      if (added && met.boundary != added->boundary && others++ % every != 0) continue;
      Visit visit = visit_of(met, late_s, off_rpm);
      if (!met.step && !visit.keeps_its_rate(fit_.response_from_s - fit_.bench.source_lag_s,
                                             fit_.response_to_s + fit_.bench.source_lag_s))
        continue;
      ++count;
      out.push_back(visit);
    }
    if (added)
      for (int i = 0; i < ramps_added; ++i)
        for (const Direction d : {Direction::rising, Direction::falling}) {
          if (d == Direction::rising ? !added->rising : !added->falling) continue;
          const double late_s = update_s * time.next(), off_rpm = rounding_rpm * rpm.next();
          out.push_back(ramp_over(added->boundary, d, added->rate, late_s, off_rpm));
        }
    return out;
  }

  // The middle of several spreads, as the fit goes by what it sees.
  std::vector<double> uncertainties(const std::optional<Added>& added) const {
    constexpr std::size_t replicas = 5;
    std::vector<std::array<double, replicas>> all(2 * (gauge_.boundaries() + 1));
    for (std::size_t r = 0; r < replicas; ++r) {
      const ThresholdFits fits =
          fit_thresholds(visits(static_cast<int>(r), added), gauge_.boundaries(), fit_);
      for (std::size_t i = 2; i < all.size(); ++i)
        all[i][r] = fits.fits[i].visits > 0 ? fits.fits[i].expanded_uncertainty_rpm : not_measured;
    }
    std::vector<double> middle(all.size(), not_measured);
    for (std::size_t i = 2; i < all.size(); ++i) {
      if (!std::isfinite(all[i][0])) continue;
      std::sort(all[i].begin(), all[i].end());
      middle[i] = all[i][replicas / 2];
    }
    return middle;
  }

  // For so long after it has moved on does the unit look as before.
  double alike_phase_s(std::size_t b, Direction d) const {
    const std::size_t from = d == Direction::rising ? b - 1 : b, to = d == Direction::rising ? b : b - 1;
    const Channels blinks = reading_.blinking(from) ^ reading_.blinking(to);
    const Channels steady = (reading_.steady(from) | reading_.steady(to)) & blinks;
    const double lit_s = gauge_.blink->duty / gauge_.blink->hz;
    const double dark_s = (1 - gauge_.blink->duty) / gauge_.blink->hz;
    return steady != 0 ? lit_s : dark_s;
  }

  double by_blink(std::size_t b, Direction d) const {
    double least = not_measured;
    const auto take = [&](double u) { least = std::isfinite(least) ? std::min(least, u) : u; };
    const double threshold = d == Direction::rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b);
    for (const Met& met : met_)
      if (met.boundary == b && met.direction == d && !met.step)
        take(std::abs(met.rate_rpm_per_s) * alike_phase_s(b, d));
    // Between two rests, each long enough to see what is shown.
    const double rest_s = 1 / gauge_.blink->hz + fit_.response_to_s;
    double below = not_measured, above = not_measured;
    for (const Segment& s : profile_.segments()) {
      if (s.shape != Segment::Shape::constant || s.lasts_s < rest_s) continue;
      if (s.rpm0 < threshold && !(below >= s.rpm0)) below = s.rpm0;
      if (s.rpm0 >= threshold && !(above <= s.rpm0)) above = s.rpm0;
    }
    if (std::isfinite(above - below)) take((above - below) / 2);
    return least;
  }

  // Of ramps that decide, in round numbers.
  double rate_that_decides(std::size_t b, bool rising, bool falling) {
    if (blink_only(b)) {
      double phase_s = 0;
      if (rising) phase_s = alike_phase_s(b, Direction::rising);
      if (falling) phase_s = std::max(phase_s, alike_phase_s(b, Direction::falling));
      return rounded_down(aimed_share * allowed_rpm() / phase_s);
    }
    // Boundaries that are crossed alike get the same advice.
    std::vector<double> alike{rising ? 1.0 : 0.0, falling ? 1.0 : 0.0};
    for (const Met& met : met_)
      if (met.boundary == b)
        alike.insert(alike.end(), {met.direction == Direction::rising ? 1.0 : -1.0, met.step ? 1.0 : 0.0,
                                   std::round(met.rate_rpm_per_s * 1000)});
    const auto [known, is_new] = rates_.try_emplace(std::move(alike), 0);
    if (is_new) known->second = rate_searched(b, rising, falling);
    return known->second;
  }

  // The quickest of the slow rates that decide; 0.5 where none does. Ramps as quick as the profile's own may
  // decide less than slower or quicker ones, since it takes two rates to tell a response from a threshold.
  double rate_searched(std::size_t b, bool rising, bool falling) const {
    const double aim = aimed_share * allowed_rpm();
    double best = 0.5;
    bool found = false;
    for (const double rate : {1.,  2.,  3.,  4.,  5.,  6.,   8.,   10.,  12.,  15.,  20.,  25.,
                              30., 40., 50., 60., 80., 100., 120., 150., 200., 250., 300., 400.}) {
      const std::vector<double> u = uncertainties(Added{b, rate, rising, falling});
      const bool enough = (!rising || u[2 * b] <= aim) && (!falling || u[2 * b + 1] <= aim);
      if (found && !enough) break;
      found |= enough;
      if (enough) best = rate;
    }
    return best;
  }

  static double rounded_down(double rate) {
    return rate >= 10 ? std::floor(rate) : std::max(std::floor(rate * 10) / 10, 0.1);
  }

  std::string ramp_advice(std::size_t b, bool rising, bool falling) {
    const double rate = rate_that_decides(b, rising, falling);
    const double rpm = rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b);
    const char* way = rising && falling ? ", both ways" : rising ? ", upwards" : ", downwards";
    return std::string(blink_only(b) ? "add a ramp" : "add two ramps") + " of at most " +
           decimal(rate, rate < 10 ? 1 : 0) + " rpm/s across " + decimal(rpm, 0) + " rpm" + way;
  }

  void advise(ForeseenThreshold& up, ForeseenThreshold& down) {
    const std::size_t b = up.boundary;
    if (!up.advice.empty() || (up.decided && down.decided)) return;
    const std::string advice = ramp_advice(b, !up.decided, !down.decided);
    for (ForeseenThreshold* row : {&up, &down})
      if (!row->decided) row->advice = why(*row) + ": " + advice;
  }

  std::string why(const ForeseenThreshold& row) const {
    if (row.crossings == 0)
      return "the profile never crosses it " +
             std::string(row.direction == Direction::rising ? "upwards" : "downwards");
    double slowest = not_measured;
    for (const Met& m : met_)
      if (m.boundary == row.boundary && m.direction == row.direction && !m.step &&
          !(slowest <= std::abs(m.rate_rpm_per_s)))
        slowest = std::abs(m.rate_rpm_per_s);
    if (!std::isfinite(slowest)) return "only steps cross it";
    const std::string rate = decimal(slowest, slowest < 10 ? 1 : 0) + " rpm/s";
    if (!std::isfinite(row.expected_uncertainty_rpm))
      return "every ramp across it is too short: none keeps its rate for " +
             say_span(gauge_.tolerance.response_to) + ", the longest response allowed";
    std::string text = "its threshold will be known only to " + decimal(row.expected_uncertainty_rpm, 1) +
                       " rpm; " + decimal(allowed_rpm(), 1) + " rpm is needed";
    if (blink_only(row.boundary))
      text = "its two sides differ only in blinking, and at " + rate + " that leaves " +
             decimal(row.expected_uncertainty_rpm, 1) + " rpm open; " + decimal(allowed_rpm(), 1) +
             " rpm is allowed";
    return text;
  }

  // A blink is measured over whole cycles of one visit.
  void rests(const ExpectedRun& expected, Foresight& out) const {
    if (!gauge_.blink) return;
    std::vector<Nanos> longest(gauge_.windows.size(), 0);
    for (std::size_t i = 0; i < expected.reaches.size(); ++i) {
      const Reach& r = expected.reaches[i];
      const Nanos until =
          i + 1 < expected.reaches.size() ? expected.reaches[i + 1].from : profile_.duration();
      if (r.lowest == r.highest) longest[r.lowest] = std::max(longest[r.lowest], until - r.from);
    }
    const Nanos needed = from_seconds(cycles_of_a_rest / gauge_.blink->hz);
    for (std::size_t w = 0; w < longest.size(); ++w) {
      if (gauge_.windows[w].cue.blinking == 0 || longest[w] >= needed) continue;
      const std::string hold =
          "add a hold in it of " + say_span(needed + gauge_.tolerance.response_to) + " or more";
      out.rests.push_back(
          longest[w] == 0
              ? "window " + gauge_.windows[w].name + " blinks, and the profile never rests in it: " + hold
              : "window " + gauge_.windows[w].name + " blinks, and the profile rests in it for " +
                    say_span(longest[w]) + " at most, less than 3 blinks: " + hold);
    }
  }

  const Gauge& gauge_;
  const Profile& profile_;
  const ForesightSetup& setup_;
  WindowReading reading_;
  FitSetup fit_;
  double response_s_ = 0;
  std::vector<Met> met_;
  std::map<std::vector<double>, double> rates_;  // that decide, by how a boundary is crossed
};

}  // namespace

Foresight foresee(const Gauge& gauge, const Profile& profile, const ForesightSetup& setup) {
  // What a boundary that moves in the middle will show is not foreseen.
  if (changes_states(gauge, profile)) return {};
  return Foreseeing(gauge, profile, setup).run();
}

std::vector<std::string> warnings(const Gauge& gauge, const Foresight& foresight, const JudgeWhat& asked) {
  std::vector<std::string> out;
  const std::vector<ForeseenThreshold>& rows = foresight.thresholds;
  for (std::size_t i = 0; asked.thresholds && i + 1 < rows.size(); i += 2) {
    if (rows[i].crossings + rows[i + 1].crossings == 0) continue;
    const std::string name = "boundary " + gauge.windows[rows[i].boundary].name;
    // One sentence for both ways where they have the same to say.
    if (rows[i].advice == rows[i + 1].advice) {
      if (!rows[i].decided) out.push_back(name + " cannot be decided: " + rows[i].advice);
      continue;
    }
    for (const ForeseenThreshold* row : {&rows[i], &rows[i + 1]})
      if (!row->decided)
        out.push_back(name + " " + std::string(word(row->direction)) + " cannot be decided: " + row->advice);
  }
  if (!foresight.not_visited.empty()) {
    std::string names;
    for (const std::size_t b : foresight.not_visited)
      names += (names.empty() ? "" : ", ") + gauge.windows[b].name;
    out.push_back("the profile never crosses these boundaries, so they are not judged: " + names);
  }
  if (asked.blink) out.insert(out.end(), foresight.rests.begin(), foresight.rests.end());
  return out;
}

}  // namespace tachproof
