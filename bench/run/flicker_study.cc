#include "bench/run/flicker_study.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <thread>

namespace tachproof {
namespace {

constexpr double level_rpm = 0.5;

// The lowest reading that a unit rounds to `threshold` or more.
double met_from(double threshold, double resolution) {
  return resolution > 0 ? (std::ceil(threshold / resolution - 1e-6) - 0.5) * resolution : threshold;
}

// What a deadband of this width really is: rounded readings meet both of its
// ends elsewhere.
struct RealDeadband {
  double lower = 0;
  double upper = 0;
};
RealDeadband real_deadband(Gauge gauge, std::size_t boundary, double width, double resolution) {
  gauge.deadband.rpm = width;
  return {met_from(gauge.falling_rpm(boundary), resolution),
          met_from(gauge.rising_rpm(boundary), resolution)};
}

// Enough for about 800 changes at the limit, and trains that are long beside
// the time from one change to the next, since what a trigger was before its
// train began is not known.
constexpr double changes_wanted = 800;
constexpr double changes_per_train = 40;
constexpr std::uint64_t fewest_steps = 1 << 13;
constexpr std::uint64_t most_steps = 1 << 23;

FlickerSetup setup_for(const Gauge& gauge, const FlickerAsk& ask) {
  FlickerSetup setup;
  setup.noise = ask.noise;
  setup.pulses_per_rev = gauge.pulses_per_rev;
  setup.unit = ask.unit;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) setup.places_rpm.push_back(gauge.windows[b].from_rpm);
  setup.step_rpm = std::min(level_rpm, ask.step_rpm);
  setup.widest_rpm = ask.widest_rpm;
  setup.seed = ask.seed;
  const double fastest_hz = setup.pulses_per_rev * setup.places_rpm.back() / 60;
  const double minutes =
      ask.minutes > 0 ? ask.minutes : std::max(ask.least_minutes, changes_wanted / ask.limit_per_min);
  const double train_steps = minutes * changes_per_train / changes_wanted * 60 * fastest_hz;
  setup.steps = static_cast<std::uint64_t>(
      std::clamp(train_steps, static_cast<double>(fewest_steps), static_cast<double>(most_steps)));
  const double slowest_hz = setup.pulses_per_rev * setup.places_rpm.front() / 60;
  const double chunk_minutes = 16 * static_cast<double>(setup.steps) / slowest_hz / 60;
  constexpr double most_chunks = 256;
  setup.chunks = static_cast<std::uint64_t>(std::clamp(std::ceil(minutes / chunk_minutes), 2.0, most_chunks));
  fit_to_recording(setup);
  return setup;
}

// Between two levels the narrower counts: it flickers more.
std::size_t width_index(const Gauge& gauge, const FlickerAsk& ask, const FlickerSetup& setup,
                        std::size_t boundary, double width) {
  const RealDeadband real = real_deadband(gauge, boundary, width, ask.unit.resolution_rpm);
  const auto index = static_cast<std::size_t>(std::floor((real.upper - real.lower) / setup.step_rpm + 1e-6));
  return std::min(index, setup.widths() - 1);
}

WidthRow row_of(const Gauge& gauge, const FlickerAsk& ask, const FlickerSetup& setup,
                const FlickerTally& tally, std::size_t boundary, double width) {
  const double rpm = gauge.windows[boundary].from_rpm;
  const RealDeadband real = real_deadband(gauge, boundary, width, ask.unit.resolution_rpm);
  WidthRow row;
  row.width_rpm = width;
  row.simulated = tally.worst(boundary - 1, width_index(gauge, ask, setup, boundary, width));
  row.mean_rpm = (real.lower + real.upper) / 2 + row.simulated.mean_off_rpm;
  const double broken = disturbances_per_min(ask.noise, gauge.pulses_per_rev, rpm);
  row.rate_per_min = row.simulated.changes_per_min() + broken;
  row.upper_per_min = row.simulated.upper_per_min(ask.confidence) + broken;
  const double real_width = real.upper - real.lower;
  row.closed_form_per_min =
      closed_form_per_min(ask.noise, ask.unit, gauge.pulses_per_rev, rpm, real_width) + broken;
  row.crossings_per_min =
      crossings_per_min(ask.noise, ask.unit, gauge.pulses_per_rev, rpm, real_width) + broken;
  return row;
}

void rates_by_mean(BoundaryCurve& curve, const Gauge& gauge, const FlickerAsk& ask, const FlickerSetup& setup,
                   const FlickerTally& tally, std::size_t boundary) {
  while (curve.at_limit + 1 < curve.rows.size() &&
         curve.rows[curve.at_limit + 1].simulated.changes_per_min() > ask.limit_per_min)
    ++curve.at_limit;
  const WidthRow& row = curve.rows[curve.at_limit];
  const std::size_t index = width_index(gauge, ask, setup, boundary, row.width_rpm);
  curve.mean_step_rpm = setup.step_rpm;
  curve.below = static_cast<std::size_t>(setup.reach_rpm / setup.step_rpm);
  for (std::size_t i = 0; i <= 2 * curve.below; ++i) {
    const double from_worst =
        (static_cast<double>(i) - static_cast<double>(curve.below)) * curve.mean_step_rpm;
    curve.by_mean.push_back(
        tally.held(boundary - 1, index, row.simulated.mean_off_rpm + from_worst).changes_per_min());
  }
}

// A deadband must be narrower than every window with a boundary on both sides.
double room_for_deadband(const Gauge& gauge) {
  double room = std::numeric_limits<double>::infinity();
  for (std::size_t b = 1; b + 1 < gauge.windows.size(); ++b)
    room = std::min(room, gauge.windows[b + 1].from_rpm - gauge.windows[b].from_rpm);
  return room;
}

std::optional<std::size_t> first_that_holds(const std::vector<WidthRow>& rows, double limit, double room) {
  std::optional<std::size_t> first;
  for (std::size_t r = rows.size(); r-- > 0;) {
    if (rows[r].upper_per_min > limit) break;
    if (rows[r].width_rpm < room) first = r;
  }
  return first;
}

}  // namespace

FlickerTally simulate_flicker(const FlickerSetup& setup, unsigned threads,
                              const std::function<void()>& between) {
  if (threads == 0) threads = std::max(1u, std::thread::hardware_concurrency());
  threads = static_cast<unsigned>(std::min<std::uint64_t>(threads, setup.chunks));
  // Whole numbers add up to the same in any order, so each thread keeps its own sum.
  std::vector<FlickerTally> sums(threads, FlickerTally(setup));
  std::atomic<std::uint64_t> next = 0;
  // The last chunks go in halves, so that no thread waits long for another's last one. The noise of each is
  // then drawn twice, which costs little beside counting every reading, but much where few count.
  const bool few_count = setup.narrowest_rpm / 2 > setup.reach_rpm;
  const std::uint64_t halved = few_count || setup.chunks <= threads || threads == 1 ? 0 : threads;
  const std::uint64_t whole = setup.chunks - halved;
  const auto work = [&](FlickerTally& sum, const std::function<void()>& often) {
    for (std::uint64_t part = next++; part < whole + 2 * halved; part = next++) {
      if (part < whole) {
        sum.add(flicker_chunk(setup, part, best_instructions(), often));
        continue;
      }
      const std::uint64_t half = part - whole;
      const TrainSpan trains = half % 2 == 0 ? TrainSpan{0, 8} : TrainSpan{8, 16};
      sum.add(flicker_chunk(setup, whole + half / 2, best_instructions(), often, trains));
    }
  };
  struct Stopped {};
  std::atomic<bool> stopped = false;
  {
    std::vector<std::jthread> others;
    for (unsigned t = 1; t < threads; ++t)
      others.emplace_back([&, t] {
        try {
          work(sums[t], [&] {
            if (stopped) throw Stopped();
          });
        } catch (const Stopped&) {  // its sum is thrown away
        }
      });
    try {
      work(sums[0], between);
    } catch (...) {
      stopped = true;
      throw;
    }
  }
  for (unsigned t = 1; t < threads; ++t) sums[0].add(sums[t]);
  return std::move(sums[0]);
}

FlickerStudy study_flicker(const Gauge& gauge, const FlickerAsk& ask) {
  if (gauge.boundaries() == 0)
    throw std::invalid_argument("the gauge has no boundary at which a lamp could flicker");
  const FlickerSetup setup = setup_for(gauge, ask);
  const FlickerTally tally = simulate_flicker(setup, ask.threads, ask.between);

  FlickerStudy study;
  study.room_rpm = room_for_deadband(gauge);
  const auto rows = static_cast<std::size_t>(std::floor(ask.widest_rpm / ask.step_rpm + 1e-9)) + 1;
  std::size_t widest_need = 0;  // rows.size(): more than there is
  double highest = -1;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    BoundaryCurve curve;
    curve.boundary = gauge.windows[b].name;
    curve.rpm = gauge.windows[b].from_rpm;
    curve.disturbances_per_min = disturbances_per_min(ask.noise, gauge.pulses_per_rev, curve.rpm);
    for (std::size_t r = 0; r < rows; ++r) {
      if (ask.between) ask.between();
      curve.rows.push_back(row_of(gauge, ask, setup, tally, b, ask.step_rpm * static_cast<double>(r)));
    }
    if (ask.by_mean) rates_by_mean(curve, gauge, ask, setup, tally, b);
    curve.smallest = first_that_holds(curve.rows, ask.limit_per_min, study.room_rpm);
    const std::size_t need = curve.smallest.value_or(rows);
    const double upper = curve.rows[std::min(need, rows - 1)].upper_per_min;
    if (need > widest_need || (need == widest_need && upper > highest)) {
      study.decisive = study.boundaries.size();
      widest_need = need;
      highest = upper;
    }
    study.boundaries.push_back(std::move(curve));
  }
  const BoundaryCurve& decisive = study.boundaries[study.decisive];
  study.recommended = decisive.smallest;
  study.simulated_minutes = decisive.rows[0].simulated.minutes;
  const WidthRow own =
      row_of(gauge, ask, setup, tally, study.decisive + 1, std::min(gauge.deadband.rpm, ask.widest_rpm));
  study.reason = explain_prediction(ask.noise, ask.unit, gauge.pulses_per_rev, decisive.rpm, own.simulated,
                                    ask.limit_per_min);
  return study;
}

}  // namespace tachproof
