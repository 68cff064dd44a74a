#include "core/recording/profile_fit.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/base/text.h"
#include "core/recording/rpm_track.h"

namespace tachproof {
namespace {

constexpr double least_jump_rpm = 30;  // that is taken for one
constexpr std::size_t most_jumps = 20'000;

// How far from a corner a span of the track may round it off.
constexpr double span_ns = static_cast<double>(RpmTrack::longest_span) * 1.2;

Nanos whole_ns(double ns) { return static_cast<Nanos>(std::llround(ns)); }

// Segments of `cut` from `from_ns` on, a sine as short lines.
void cut_before_zero(const Segment& g, double start_ns, double stretch, std::vector<Segment>& out) {
  const double end_ns = start_ns + g.lasts_s * 1e9 * (1 + stretch);
  const double piece_ns = g.shape == Segment::Shape::sine ? 10e6 : end_ns;
  for (double at = 0; at < end_ns; at += piece_ns) {
    const double until = std::min(at + piece_ns, end_ns);
    const auto rpm_at = [&](double ns) { return g.rpm((ns - start_ns) / 1e9 / (1 + stretch)); };
    Segment line{.shape = Segment::Shape::constant,
                 .start = {static_cast<Nanos>(at), at - std::floor(at)},
                 .lasts_s = (until - at) / 1e9,
                 .rpm0 = rpm_at(at)};
    if (g.shape != Segment::Shape::constant) {
      line.shape = Segment::Shape::linear;
      line.slope_rpm_per_s = (rpm_at(until) - line.rpm0) / line.lasts_s;
    }
    out.push_back(line);
  }
}

}  // namespace

std::vector<Segment> ProfilePlace::segments(const Profile& profile) const {
  std::vector<Segment> out;
  if (offset_ns > 0)
    out.push_back({.shape = Segment::Shape::constant,
                   .start = {0, 0},
                   .lasts_s = offset_ns / 1e9,
                   .rpm0 = profile.rpm_at(0)});
  for (const Segment& g : profile.segments()) {
    const double start = to_recording_ns(static_cast<double>(g.start.whole) + g.start.frac_ns);
    if (start + g.lasts_s * 1e9 * (1 + stretch) <= 0) continue;
    if (start < 0) {
      cut_before_zero(g, start, stretch, out);
      continue;
    }
    Segment moved = g;
    moved.start = {static_cast<Nanos>(std::floor(start)), start - std::floor(start)};
    moved.lasts_s *= 1 + stretch;
    moved.slope_rpm_per_s /= 1 + stretch;
    moved.period_s *= 1 + stretch;
    out.push_back(moved);
  }
  return out;
}

ProfileFit::ProfileFit(const Profile& profile, double pulses_per_rev)
    : profile_(profile), pulses_per_rev_(pulses_per_rev) {}

void ProfileFit::add(const Segment& g) {
  if (last_rpm_ && std::abs(g.rpm(0) - *last_rpm_) >= least_jump_rpm && jumps_.size() < most_jumps)
    jumps_.push_back({static_cast<double>(g.start.whole), *last_rpm_, g.rpm(0)});
  last_rpm_ = g.rpm(g.lasts_s);
  for (; to_seconds(next_at_ - g.start.whole) < g.lasts_s; next_at_ += spacing_) {
    const double s = to_seconds(next_at_ - g.start.whole);
    if (s >= 0) samples_.push_back({static_cast<double>(next_at_), g.rpm(s)});
    if (samples_.size() < most_samples) continue;
    for (std::size_t i = 0; 2 * i < samples_.size(); ++i) samples_[i] = samples_[2 * i];
    samples_.resize((samples_.size() + 1) / 2);
    spacing_ *= 2;
  }
}

void ProfileFit::unknown(Nanos from, Nanos to) { unknown_.emplace_back(from, to); }

struct ProfileFit::Search {
  const ProfileFit& fit;
  double u_rpm;
  double noise_rpm;
  double end_ns;
  std::vector<Sample> known = {};  // where the recovered rpm says something
  std::vector<Sample> few = {};    // of them, for the search
  std::vector<float> table = {};   // the profile at multiples of table_ns
  double table_ns = 0;
  double length_ns = 0;
  ProfilePlace place = {};

  static constexpr double most_counted_rpm = 100;

  void prepare() {
    const auto& gaps = fit.unknown_;
    std::size_t gap = 0;
    for (const Sample& s : fit.samples_) {
      while (gap < gaps.size() && static_cast<double>(gaps[gap].second) < s.at) ++gap;
      if (gap < gaps.size() && static_cast<double>(gaps[gap].first) <= s.at) continue;
      known.push_back(s);
    }
    constexpr std::size_t enough = 3000;
    const std::size_t stride = known.size() / enough + 1;
    for (std::size_t i = 0; i < known.size(); i += stride) few.push_back(known[i]);
    length_ns = static_cast<double>(fit.profile_.duration());
    table_ns = std::max(10e6, length_ns / 500'000);
    for (double at = 0; at <= length_ns; at += table_ns)
      table.push_back(static_cast<float>(fit.profile_.rpm_at(whole_ns(at))));
  }

  double counted(const Sample& s, double rpm) const {
    return std::min(std::abs(s.rpm - rpm), most_counted_rpm);
  }
  // Pulses before the profile begins and after it has ended are no part of it.
  double outside(const Sample& s) const { return s.rpm > 0 ? most_counted_rpm / 2 : 0; }

  double coarse_cost(double offset_ns) const {
    double sum = 0;
    for (const Sample& s : few) {
      const double at = (s.at - offset_ns) / table_ns;
      sum += at < 0 || at >= static_cast<double>(table.size())
                 ? outside(s)
                 : counted(s, static_cast<double>(table[static_cast<std::size_t>(at)]));
    }
    return sum;
  }
  double fine_cost(double offset_ns) const {
    double sum = 0;
    for (const Sample& s : few) {
      const double at = s.at - offset_ns;
      sum += at < 0 || at > length_ns ? outside(s) : counted(s, fit.profile_.rpm_at(whole_ns(at)));
    }
    return sum;
  }

  // Half of the shorter one must lie within the other.
  void look_for_offset() {
    const double overlap = std::min(end_ns, length_ns) / 2;
    const double first = overlap - length_ns, last = end_ns - overlap;
    double step = std::max(20e6, (last - first) / 20'000);
    std::vector<std::pair<double, double>> all;  // cost, offset
    for (double offset = first; offset <= last + step; offset += step)
      all.emplace_back(coarse_cost(offset), offset);
    constexpr std::size_t candidates = 6;
    std::vector<std::pair<double, double>> best;
    std::sort(all.begin(), all.end());
    for (const auto& [cost, offset] : all) {
      const bool beside = std::any_of(best.begin(), best.end(), [&, at = offset](const auto& other) {
        return std::abs(other.second - at) < 3 * step;
      });
      if (!beside) best.emplace_back(cost, offset);
      if (best.size() == candidates) break;
    }
    for (auto& [cost, offset] : best) cost = fine_cost(offset);
    for (; step > 50e3; step /= 4)
      for (auto& [cost, offset] : best) {
        const double middle = offset;
        for (int k = -4; k <= 4; ++k) {
          const double at = middle + k * step / 4, there = fine_cost(at);
          if (there < cost) cost = there, offset = at;
        }
      }
    place.offset_ns = std::min_element(best.begin(), best.end())->second;
  }

  // As far as a span of the track reaches, in the profile's time.
  double reach_ns(double rpm) const {
    return std::max(span_ns, 3 * 60e9 / (fit.pulses_per_rev_ * std::max(rpm, 1.0)));
  }

  // The profile at t; nothing where a span of the track reaches beyond what is straight.
  struct Straight {
    double rpm = 0, rpm_per_ns = 0;
  };
  std::optional<Straight> straight_at(double t, double reach) const {
    if (t - reach < 0 || t + reach > length_ns) return std::nullopt;
    const Profile& p = fit.profile_;
    const double before = p.rpm_at(whole_ns(t - reach)), at = p.rpm_at(whole_ns(t)),
                 after = p.rpm_at(whole_ns(t + reach));
    constexpr double bent = 0.02;
    const double slope = (after - before) / (2 * reach);
    if (std::abs(before + after - 2 * at) > bent ||
        std::abs(p.slope_at(whole_ns(t - reach)) / 1e9 - slope) * reach > bent)
      return std::nullopt;
    return Straight{at, slope};
  }

  struct Normal {
    double a00 = 0, a01 = 0, a11 = 0, b0 = 0, b1 = 0;  // unknowns: offset in ns, stretch in ppm
    double squares = 0;
    double count = 0;
    void add(double d0, double d1, double off, double weight) {
      a00 += weight * d0 * d0;
      a01 += weight * d0 * d1;
      a11 += weight * d1 * d1;
      b0 += weight * d0 * off;
      b1 += weight * d1 * off;
      squares += weight * off * off;
      ++count;
    }
  };

  void refine() {
    // Samples nearer than the track's spans share their scatter.
    const double independent =
        std::min(1.0, static_cast<double>(fit.spacing_) / static_cast<double>(RpmTrack::longest_span));
    const double u = std::max(u_rpm, 1e-3) + noise_rpm / 4;
    constexpr double jump_ns = 100e3, stretch_prior_ppm = 100;
    double worst_off = 12;  // in standard deviations; less as it comes nearer
    for (int round = 0; round < 8; ++round, worst_off = std::max(5.0, worst_off - 1)) {
      Normal n;
      n.a11 = 1 / (stretch_prior_ppm * stretch_prior_ppm);
      n.b1 = -place.stretch * 1e6 * n.a11;
      for (const Sample& s : known) {
        const double t = place.to_profile_ns(s.at);
        const auto straight = straight_at(t, reach_ns(s.rpm));
        if (!straight || straight->rpm <= 0) continue;
        const double off = s.rpm - straight->rpm / (1 + place.stretch);
        if (std::abs(off) > worst_off * u) continue;
        n.add(-straight->rpm_per_ns, -(straight->rpm_per_ns * t + straight->rpm) * 1e-6, off,
              independent / (u * u));
      }
      for (const auto& [off, t] : jumps())
        if (round < 3 || std::abs(off) < 50 * jump_ns) n.add(1, t * 1e-6, off, 1 / (jump_ns * jump_ns));
      const double det = n.a00 * n.a11 - n.a01 * n.a01;
      if (!(n.a00 > 0) || !(det > 0)) {
        place.uncertainty_s = to_seconds(Profile::max_duration);
        return;
      }
      place.offset_ns += (n.b0 * n.a11 - n.b1 * n.a01) / det;
      place.stretch += (n.b1 * n.a00 - n.b0 * n.a01) / det * 1e-6;
      const double inflated = std::max(1.0, n.squares / std::max(n.count * independent, 1.0));
      const auto variance = [&](double t) {
        const double x = t * 1e-6;
        return (n.a11 - 2 * x * n.a01 + x * x * n.a00) / det * inflated;
      };
      place.uncertainty_s = std::sqrt(std::max(variance(0), variance(length_ns))) / 1e9;
    }
  }

  // Of each of the profile's jumps that the recording shows: how late, and when.
  std::vector<std::pair<double, double>> jumps() const {
    constexpr double near_ns = 30e6;
    std::vector<std::pair<double, double>> out;
    const std::vector<Segment>& all = fit.profile_.segments();
    for (std::size_t i = 1; i < all.size(); ++i) {
      const double before = all[i - 1].rpm(all[i - 1].lasts_s), after = all[i].rpm(0);
      if (std::abs(after - before) < least_jump_rpm || before <= 0 || after <= 0) continue;
      const double t = static_cast<double>(all[i].start.whole), at = place.to_recording_ns(t);
      auto jump = std::lower_bound(fit.jumps_.begin(), fit.jumps_.end(), at - near_ns,
                                   [](const Jump& j, double ns) { return j.at < ns; });
      for (; jump != fit.jumps_.end() && jump->at < at + near_ns; ++jump)
        if (std::abs(jump->to_rpm - jump->from_rpm - (after - before)) < 0.1 * std::abs(after - before)) {
          out.emplace_back(jump->at - at, t);
          break;
        }
    }
    return out;
  }

  // By how much a sample is outside of whatever the profile is within a span of the track.
  double outside_by(const Sample& s) const {
    const double t = place.to_profile_ns(s.at);
    if (t < 0 || t > length_ns) return 0;
    const double reach = reach_ns(s.rpm);
    double low = 1e9, high = 0;
    constexpr int parts = 16;
    for (int k = -parts; k <= parts; ++k) {
      const double rpm = fit.profile_.rpm_at(whole_ns(t + reach * k / parts));
      low = std::min(low, rpm);
      high = std::max(high, rpm);
    }
    return std::max({0.0, low - s.rpm, s.rpm - high});
  }

  // Differences beyond what is allowed. Nothing: they are few and short. Else the worst
  // of those that are not, or of all.
  std::optional<Sample> misfit(double allowed, std::vector<std::pair<Nanos, Nanos>>& odd) const {
    const double apart = 1.5 * static_cast<double>(fit.spacing_);
    Sample worst, worst_long;
    double most = 0, most_long = 0, most_here = 0, first = 0, last = -1e18, odd_samples = 0;
    Sample worst_here;
    const auto close = [&] {
      if (last < 0) return;
      if (last - first > static_cast<double>(longest_odd) && most_here > most_long)
        most_long = most_here, worst_long = worst_here;
      odd.emplace_back(whole_ns(first), whole_ns(last));
    };
    for (const Sample& s : known) {
      const double off = outside_by(s);
      if (off <= allowed) continue;
      ++odd_samples;
      if (s.at - last > apart) {
        close();
        first = s.at;
        most_here = 0;
      }
      last = s.at;
      if (off > most_here) most_here = off, worst_here = s;
      if (off > most) most = off, worst = s;
    }
    close();
    if (most_long > 0) return worst_long;
    if (odd_samples > most_odd * static_cast<double>(known.size())) return worst;
    return std::nullopt;
  }
};

ProfileFit::Found ProfileFit::find(Nanos end, double rpm_uncertainty, double noise_rpm) const {
  Search search{*this, rpm_uncertainty, noise_rpm, static_cast<double>(end)};
  search.prepare();
  if (search.known.size() < 10)
    return {std::nullopt, "the recording has hardly any tach pulses: check the tach channel", {}};
  search.look_for_offset();
  search.refine();
  // Three times over, as the largest of many is looked at; and corners that noise hides.
  const double allowed = std::max(1.0, 6 * rpm_uncertainty) + noise_rpm;
  Found found;
  if (const std::optional<Sample> misfit = search.misfit(allowed, found.odd)) {
    const Sample& worst = *misfit;
    const double played = profile_.rpm_at(whole_ns(search.place.to_profile_ns(worst.at)));
    return {std::nullopt,
            "the tach signal does not follow the scenario's profile. At best fit, " +
                say_time(whole_ns(worst.at)) + " into the recording, it reads " + decimal(worst.rpm, 1) +
                " rpm where the profile has " + decimal(played, 1) + "; up to " + decimal(allowed, 1) +
                " rpm apart is allowed. Was another scenario played?",
            {}};
  }
  if (std::abs(search.place.stretch) > most_stretch)
    return {std::nullopt,
            "the recording's clock and the one that played the scenario differ by " +
                decimal(std::abs(search.place.stretch) * 1e6, 0) +
                " ppm. Two sound clocks differ by 200 ppm at most: check the recording's time unit",
            {}};
  constexpr double most_uncertainty_s = 0.02;
  if (search.place.uncertainty_s > most_uncertainty_s)
    return {std::nullopt,
            "the recording has too few ramps and steps of the scenario to find when its profile began",
            {}};
  found.place = search.place;
  return found;
}

}  // namespace tachproof
