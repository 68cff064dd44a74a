#include "bench/run/dwell_forecast.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "bench/run/dwell_play.h"
#include "core/base/text.h"

namespace tachproof {
namespace {

// Simulated. With less, chance in how the rate falls off beside the worst mean makes holds longer.
constexpr double least_minutes = 400;
// For the time that is announced: what the visits mostly leave.
constexpr double usual_u_rpm = 0.3;
constexpr int usual_visits = 3;

std::size_t own_row(const Gauge& gauge) { return static_cast<std::size_t>(std::floor(gauge.deadband.rpm)); }

// Slow wander makes changes come in bursts, and a burst is worth little more
// than one of them. What counts is how they come where there are as many as
// the limit allows.
double dispersion_at_limit(const BoundaryCurve& curve, double limit_per_min) {
  std::size_t r = 0;
  while (r + 1 < curve.rows.size() && curve.rows[r].rate_per_min > limit_per_min) ++r;
  const double before = curve.rows[r > 0 ? r - 1 : 0].simulated.dispersion;
  return std::max({1.0, before, curve.rows[r].simulated.dispersion});
}

}  // namespace

DwellForecast::DwellForecast(const Gauge& gauge, const Noise& noise, const UnitReading& unit,
                             const Dwell& dwell, std::uint64_t seed)
    : gauge_(gauge) {
  FlickerAsk ask;
  ask.noise = noise;
  ask.unit = unit;
  ask.limit_per_min = dwell.limit_per_min;
  ask.seed = seed;
  ask.widest_rpm = std::max(50.0, std::ceil(gauge.deadband.rpm));
  ask.by_mean = true;
  ask.least_minutes = least_minutes;
  study_ = study_flicker(gauge, ask);
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const BoundaryCurve& curve = study_.boundaries[b - 1];
    const WidthRow& row = curve.rows[own_row(gauge)];
    Boundary at;
    // Where there are few changes, chance says where there are most of them.
    at.off_rpm = curve.rows[curve.at_limit].simulated.mean_off_rpm;
    at.mean_rpm = row.mean_rpm - row.simulated.mean_off_rpm + at.off_rpm;
    at.rate_per_min = row.rate_per_min;
    at.dispersion = dispersion_at_limit(curve, dwell.limit_per_min);
    at.shape = MeanShape(curve.by_mean, curve.below, curve.mean_step_rpm);
    at.shape_rpm = std::max(curve.rows[curve.at_limit].width_rpm, curve.mean_step_rpm);
    at.simulated = row.simulated;
    const std::vector<double> offsets = hold_offsets(at.shape, usual_u_rpm);
    const double share = std::max(0.1, at.shape.least_share(offsets, usual_u_rpm));
    const Nanos held = from_seconds(60 * dwell.test(at.dispersion).earliest_pass_min() / share);
    const DwellVisits visits(gauge, b);
    const DwellVisit visit = visits.brief(DwellVisits::Rate::slow, visits.nominal_rpm());
    quiet_ += std::min(held, dwell.longest) + usual_visits * lasts_on_bench(visit);
    boundaries_.push_back(std::move(at));
  }
  order_.resize(gauge.boundaries());
  std::iota(order_.begin(), order_.end(), std::size_t{1});
  const auto need = [&](std::size_t b) {
    const BoundaryCurve& curve = study_.boundaries[b - 1];
    return curve.smallest.value_or(curve.rows.size());
  };
  std::stable_sort(order_.begin(), order_.end(), [&](std::size_t a, std::size_t b) {
    if (at(a).rate_per_min != at(b).rate_per_min) return at(a).rate_per_min > at(b).rate_per_min;
    return need(a) > need(b);
  });
}

// A unit that itself flickers is taken for one whose readings scatter more, all
// in the same ratio: it flickers at its width as a sound one at a narrower one.
std::optional<double> DwellForecast::width_for(const Failed& fail, double sound_rpm) const {
  if (!fail.by_unit) return sound_rpm;
  const BoundaryCurve& curve = study_.boundaries[fail.boundary - 1];
  const double seen = fail.changes_per_min;
  std::size_t r = 0;
  while (r + 1 < curve.rows.size() && curve.rows[r + 1].rate_per_min > seen) ++r;
  if (!(curve.rows[r].rate_per_min > seen) || r + 1 == curve.rows.size()) return std::nullopt;
  const double wider = curve.rows[r + 1].rate_per_min, narrower = curve.rows[r].rate_per_min;
  const double share = wider > 0 ? std::log(narrower / seen) / std::log(narrower / wider) : 0;
  const double width =
      curve.rows[r].width_rpm + share * (curve.rows[r + 1].width_rpm - curve.rows[r].width_rpm);
  if (!(width > 0)) return std::nullopt;
  return std::max(1.0, gauge_.deadband.rpm / width) * sound_rpm;
}

std::string DwellForecast::width_that_holds(const std::vector<Failed>& fails) const {
  if (!study_.recommended)
    return "no deadband keeps this signal under the limit, so the signal must be mended first";
  const BoundaryCurve& decisive = study_.boundaries[study_.decisive];
  const double sound = decisive.rows[*study_.recommended].width_rpm;
  const std::string of_sound = "a deadband of " + decimal(sound, 0) + " rpm";
  if (std::none_of(fails.begin(), fails.end(), [](const Failed& f) { return f.by_unit; }))
    return of_sound + " would hold";
  std::optional<double> widest = 0;
  for (const Failed& fail : fails) {
    const std::optional<double> width = width_for(fail, sound);
    if (!width || !widest)
      widest.reset();
    else
      widest = std::max(*widest, *width);
  }
  const std::string else_sound = of_sound + " would hold with a sound unit";
  if (!widest) return else_sound + ", none that can be told with this one";
  const double wanted = std::ceil(*widest);
  if (wanted >= study_.room_rpm)
    return else_sound + "; this one would need about " + decimal(wanted, 0) + " rpm, and its windows leave " +
           decimal(study_.room_rpm, 0);
  return else_sound + "; this one would need about " + decimal(wanted, 0) + " rpm";
}

}  // namespace tachproof
