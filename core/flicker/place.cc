#include "core/flicker/place.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <span>

#include "core/base/portable_math.h"
#include "core/flicker/flicker_reading.h"

namespace tachproof::flicker {

Place::Place(const FlickerSetup& setup, double rpm, std::size_t phase, const FlickerTally& tally,
             std::uint64_t stream, TrainSpan counted)
    : hz_(pulses_per_s(setup.pulses_per_rev, rpm)),
      counted_(counted),
      steps_(setup.steps),
      runs_(tally.half(), tally.levels()) {
  const bool replayed = !setup.noise.replay.empty();
  const double edge_rpm = rpm_per_edge_s(setup.unit, setup.pulses_per_rev, rpm);
  const auto pulses = static_cast<double>(averaged(setup.unit));
  loop_.averaged = averaged(setup.unit);
  loop_.edge_gain =
      static_cast<float>(replayed ? -rpm / pulses : -edge_rpm * jitter_s(setup.noise, setup.unit));
  loop_.per_pulse = static_cast<float>(1 / pulses);
  loop_.per_rpm = static_cast<float>(1 / rpm);
  loop_.per_step = static_cast<float>(1 / setup.step_rpm);
  loop_.middle = static_cast<float>(tally.half() + 1);
  loop_.most = static_cast<float>(tally.levels());
  loop_.wanders = !replayed && setup.noise.wander_rpm > 0;
  if (loop_.wanders) {
    const double kept = portable::exp(-std::min(1 / (hz_ * setup.noise.wander_s), 600.0));
    loop_.kept = static_cast<float>(kept);
    // Of the kept share as rounded, so that the wander is as wide as asked for.
    fresh_per_normal_ = static_cast<float>(setup.noise.wander_rpm *
                                           std::sqrt(1 - static_cast<double>(loop_.kept) * loop_.kept));
    loop_.fresh = static_cast<float>(setup.noise.wander_rpm);  // its first value is stationary
  }
  set_updates(setup, rpm, phase, stream);
  set_quiet(setup, rpm, tally.half() + 1);
  const auto highest = static_cast<std::uint32_t>(tally.levels());
  PairCounts pairs =
      sifted() ? PairCounts::outside(quiet_from_, quiet_to_, highest) : PairCounts::any(highest);
  pairs_.resize(lanes * pairs.size());
  for (std::size_t l = 0; l < lanes; ++l) {
    pairs.counts = std::span(pairs_).subspan(l * pairs.size(), pairs.size());
    trains_.emplace_back(highest, SideRuns::starts_high(l) ? highest : 0, pairs);
  }
}

// How the unit's updates lie to the pulses and to the firing pattern.
void Place::set_updates(const FlickerSetup& setup, double rpm, std::size_t phase, std::uint64_t stream) {
  Random random(setup.seed, stream);
  const FlickerPhases phases = flicker_phases(setup, rpm);
  const bool in_step = phases.count > 1;
  const std::vector<double>& firing = setup.noise.firing;
  const bool fires = setup.noise.replay.empty() && !firing.empty();
  spacing_ = phases.spacing;
  next_reading_.fill(spacing_ * random.uniform());
  if (in_step) {
    const std::size_t ways = phases.count / 2;
    upon_pulses_ = phase >= ways;
    const double way = static_cast<double>(phase % ways) + (upon_pulses_ ? 1 : 0.5);
    next_reading_.fill(way / static_cast<double>(phases.per_pulse));
    coin_ = random;
  }
  if (!fires) return;
  // A phase is the same in all trains. Where there is none, each train has a way of its own to lie: what
  // they differ by is then in the limit.
  std::array<std::size_t, lanes> from{};
  if (!in_step)
    for (std::size_t l = 0; l < lanes; ++l) {
      next_reading_[l] = spacing_ * random.uniform();
      from[l] = random.bits() % firing.size();
    }
  apart_ = !in_step;
  for (std::size_t i = 0; i < firing.size(); ++i)
    for (std::size_t l = 0; l < lanes; ++l) {
      const std::size_t now = (from[l] + i) % firing.size();
      const std::size_t then = (now + firing.size() - loop_.averaged % firing.size()) % firing.size();
      loop_.pattern.push_back(static_cast<float>(-rpm / static_cast<double>(loop_.averaged) *
                                                 (firing[now] - firing[then]) / 100));
    }
}

// Levels inside can be neither a low threshold nor a high one that is asked for.
void Place::set_quiet(const FlickerSetup& setup, double rpm, std::size_t middle) {
  const double quiet = setup.narrowest_rpm / 2 - setup.reach_rpm;
  const auto q = static_cast<std::size_t>(std::max(quiet, 0.0) / setup.step_rpm);
  if (quiet <= setup.step_rpm || q >= middle || spacing_ != 1) return;
  quiet_from_ = static_cast<std::uint16_t>(middle - q);
  quiet_to_ = static_cast<std::uint16_t>(middle + q - 1);
  // Where edges alone make a reading: the difference up to which it surely stays inside. Nearly all do, and
  // are done with.
  if (loop_.wanders || !loop_.pattern.empty() || loop_.edge_gain == 0) return;
  constexpr double rounding = 1 - 1e-4;
  const double rpm_off = setup.step_rpm * static_cast<double>(q);
  quiet_edge_ = static_cast<float>(rpm_off / (1 + rpm_off / rpm) / std::fabs(loop_.edge_gain) * rounding);
}

void Place::block_of(const NoiseBlock& noise, bool counted, std::size_t steps, Instructions with) {
  const bool by_edges = quiet_edge_ > 0;
  if (!by_edges) {
    if (loop_.wanders) std::copy(speeds_.begin() + block_size, speeds_.end(), speeds_.begin());
    levels_of(loop_, noise.edges, noise.wander, speeds_.data(), levels_.data(), with);
    loop_.fresh = fresh_per_normal_;
  }
  if (!counted) return;
  if (sifted()) return take_far(noise.edges, steps, with);
  if (spacing_ != 1) return take_updates(steps);
  for (std::size_t l = counted_.first; l < counted_.end; ++l) trains_[l].add(&levels_[l], lanes, steps);
}

void Place::take_far(EdgePair edges, std::size_t steps, Instructions with) {
  const bool by_edges = quiet_edge_ > 0;
  if (by_edges)
    far_edges_of(edges, quiet_edge_, far_steps_, with);
  else
    outside_of(levels_.data(), quiet_from_, quiet_to_, far_steps_, with);
  const std::size_t count = find_far(steps);
  if (by_edges) {
    for (std::size_t k = 0; k < count; ++k) differences_[k] = edges.now[far_[k]] - edges.before[far_[k]];
    // Whole vectors: what is left over of an earlier block does no harm.
    levels_of_some(loop_, differences_.data(), (count + 15) / 16 * 16, levels_.data(), with);
  }
  for (std::size_t k = 0; k < count; ++k) {
    const std::uint16_t level = levels_[by_edges ? k : far_[k]];
    // The bound on edges is a little too narrow.
    if (((level - quiet_from_) | (quiet_to_ - level)) < 0) runs_.add(far_[k] % lanes, level);
  }
  runs_.make_room(trains_);
}

// Few words have more than two: those two are taken without asking.
std::size_t Place::find_far(std::size_t steps) {
  std::size_t count = 0;
  for (std::size_t w = 0; w < far_steps_.size() && 64 * w < steps; ++w) {
    const std::size_t left = steps - 64 * w;
    const std::uint64_t asked = left >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << left) - 1;
    for (std::size_t l = 0; l < lanes; ++l) {
      const std::size_t from = 64 * w * lanes + l;
      const std::uint64_t later = far_steps_[w][1][l];
      std::uint64_t word = (far_steps_[w][0][l] | later << 32) & asked;
      do {
        for (int twice = 0; twice < 2; ++twice) {
          const int step = std::countr_zero(word | std::uint64_t{1} << 63);
          far_[count] = static_cast<std::uint16_t>(from + static_cast<std::size_t>(step) * lanes);
          count += word != 0 ? 1 : 0;
          word &= word - 1;
        }
      } while (word != 0);
    }
  }
  return count;
}

constexpr double upon = 1e-6;  // pulses

void Place::take_updates(std::size_t steps) {
  const std::size_t rows = apart_ ? 0 : pick_in_step(steps);
  for (std::size_t l = counted_.first; l < counted_.end; ++l)
    trains_[l].add(&picked_[l], lanes, apart_ ? pick(l, steps) : rows);
  std::copy(levels_.end() - lanes, levels_.end(), last_levels_.begin());
}

// All lanes update at the same steps.
std::size_t Place::pick_in_step(std::size_t steps) {
  std::size_t rows = 0;
  double next = next_reading_[0];
  for (; next < static_cast<double>(steps) - upon; next += spacing_, ++rows) {
    const auto step = static_cast<std::size_t>(next + upon);
    std::uint16_t* const out = &picked_[rows * lanes];
    std::copy_n(&levels_[step * lanes], lanes, out);
    if (!upon_pulses_ || next - static_cast<double>(step) >= upon) continue;
    // The pulse of this step is in the reading, or is not yet.
    const std::uint64_t taken = coin_.bits();
    for (std::size_t l = 0; l < lanes; ++l)
      if (((taken >> (2 * l + 8)) & 1) == 0)
        out[l] = step > 0 ? levels_[(step - 1) * lanes + l] : last_levels_[l];
  }
  next_reading_.fill(next - static_cast<double>(steps));
  return rows;
}

std::size_t Place::pick(std::size_t lane, std::size_t steps) {
  std::size_t rows = 0;
  double& next = next_reading_[lane];
  for (; next < static_cast<double>(steps) - upon; next += spacing_, ++rows)
    picked_[rows * lanes + lane] = levels_[static_cast<std::size_t>(next + upon) * lanes + lane];
  next -= static_cast<double>(steps);
  return rows;
}

void Place::forget() {
  if (sifted()) runs_.hand_over(trains_);
  for (Rainflow& train : trains_) train.forget();
}

void Place::finish(std::size_t place, std::size_t phase, FlickerTally& tally) {
  if (sifted()) runs_.hand_over(trains_);
  const double minutes = static_cast<double>(steps_) / hz_ / 60;
  for (std::size_t l = counted_.first; l < counted_.end; ++l) {
    trains_[l].finish();
    tally.add_train(place, phase, trains_[l].pairs(), minutes);
  }
}

}  // namespace tachproof::flicker
