#include "core/signal/phase.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "core/base/portable_math.h"
#include "core/signal/edges.h"
#include "core/signal/instant.h"

namespace tachproof {
namespace {

constexpr double pi = 3.14159265358979323846;

using Shape = Segment::Shape;

// Pulses gained in `ns` at a constant rpm. Products before the division: what
// is a whole number of pulses comes out whole.
Wide pulses_in(const Wide& rpm, const Wide& ns, double pulses_per_rev) {
  return rpm * ns * pulses_per_rev / 60e9;
}

// 1 - cos(2 pi s / period), without losing digits where it is small.
double one_minus_cosine(double s, double period_s) {
  const double half = portable::sine_cosine_of_turns(s / period_s / 2).sine;
  return 2 * half * half;
}

}  // namespace

Piece::Piece(const Segment& segment, double pulses_per_rev, const Instant& start, const Wide& lasts_ns)
    : segment_(&segment), start_(start), lasts_ns_(lasts_ns) {
  const double hz_per_rpm = pulses_per_rev / 60;
  switch (segment.shape) {
    case Shape::constant:
      pulses_ = pulses_in(segment.rpm0, lasts_ns, pulses_per_rev);
      if (segment.rpm0 > 0) period_ns_ = Wide(60e9) / (exact_product(segment.rpm0, pulses_per_rev));
      break;
    case Shape::linear: {
      Wide end_rpm = Wide(segment.rpm0) + lasts_ns * segment.slope_rpm_per_s / 1e9;
      if (end_rpm < Wide(0)) end_rpm = 0;  // rounding of the slope
      pulses_ = pulses_in((end_rpm + segment.rpm0) * 0.5, lasts_ns, pulses_per_rev);
      slow_hz_ = (segment.slope_rpm_per_s > 0 ? Wide(segment.rpm0) : end_rpm) * pulses_per_rev / 60;
      hz_per_s_ = exact_product(std::abs(segment.slope_rpm_per_s), pulses_per_rev) / 60;
      break;
    }
    case Shape::sine: {
      mean_hz_ = segment.rpm0 * hz_per_rpm;
      swing_hz_ = segment.swing_rpm * hz_per_rpm;
      const double s = lasts_ns.hi / 1e9;
      pulses_ = pulses_in(segment.rpm0, lasts_ns, pulses_per_rev) +
                swing_hz_ * segment.period_s / (2 * pi) * one_minus_cosine(s, segment.period_s);
      break;
    }
  }
}

Piece::Offset Piece::linear_offset(const Wide& phase) const {
  // Measured from the slower end: only sums of positive numbers.
  const bool rising = segment_->slope_rpm_per_s > 0;
  Wide k = rising ? phase : pulses_ - phase;
  if (k < Wide(0)) k = 0;
  const Wide hz = sqrt(slow_hz_ * slow_hz_ + hz_per_s_ * k * 2);
  const Wide sum = slow_hz_ + hz;
  const Wide ns = sum.hi > 0 ? k * 2e9 / sum : Wide(0);
  return {rising ? ns : lasts_ns_ - ns, hz.hi};
}

// Newton's method with the second-order step, kept within a bracket. The phase
// never falls (swing <= mean), so the bracket always closes.
double Piece::sine_offset_s(double phase, double low_s, double guess_s) const {
  const double period = segment_->period_s;
  const double swung = swing_hz_ * period / (2 * pi);
  double low = low_s;
  double high = lasts_ns_.hi / 1e9;
  double s = std::clamp(guess_s, low, high);
  for (int i = 0; i < 100; ++i) {
    const auto half = portable::sine_cosine_of_turns(s / period / 2);
    const double one_minus_cos = 2 * half.sine * half.sine;
    const double missing = phase - (mean_hz_ * s + swung * one_minus_cos);
    (missing > 0 ? low : high) = s;
    const double hz = mean_hz_ + swing_hz_ * 2 * half.sine * half.cosine;
    const double hz_per_s = swing_hz_ * 2 * pi / period * (1 - one_minus_cos);
    double next = s + 2 * missing / (hz + std::sqrt(std::max(0.0, hz * hz + 2 * hz_per_s * missing)));
    const bool stepped = next >= low && next <= high;
    if (!stepped) next = low + (high - low) / 2;
    const double moved = std::abs(next - s);
    s = next;
    // The step's error is of third order in its length.
    if ((stepped && moved < 1e-7 * period) || moved == 0) break;
  }
  return s;
}

Piece::Reached Piece::at(const Wide& phase, double near_s) const {
  Wide ns;
  switch (segment_->shape) {
    case Shape::constant: ns = phase * period_ns_; break;
    case Shape::linear: ns = linear_offset(phase).ns; break;
    case Shape::sine: {
      const double s = sine_offset_s(phase.hi, near_s, near_s);
      return {later(start_, exact_product(s, 1e9)), s};
    }
  }
  return {later(start_, ns), ns.hi / 1e9};
}

void Piece::fill(const Wide& first, std::span<Nanos> out) const {
  if (out.empty()) return;
  switch (segment_->shape) {
    case Shape::constant: constant_edges(later(start_, first * period_ns_), period_ns_.hi, out); break;
    case Shape::linear: {
      const bool rising = segment_->slope_rpm_per_s > 0;
      const Wide slowest = rising ? first : first + static_cast<double>(out.size() - 1);
      const Offset anchor = linear_offset(slowest);
      ramp_edges(later(start_, anchor.ns), anchor.hz, hz_per_s_.hi, rising, out);
      break;
    }
    case Shape::sine: fill_sine(first, out); break;
  }
}

// Every sixteenth edge by itself; between two of them the cubic that has their instants and speeds is so
// near that one step finds an edge. Then no edge waits for another, and they are found several at once.
void Piece::fill_sine(const Wide& first, std::span<Nanos> out) const {
  constexpr std::size_t apart = 16;
  const SineStretch sine{mean_hz_, swing_hz_, segment_->period_s, lasts_ns_.hi / 1e9};
  struct Speed {
    double hz, hz_per_s;
  };
  const auto speed_at = [&](double s) -> Speed {
    const auto turn = portable::sine_cosine_of_turns(s / sine.period_s);
    return {mean_hz_ + swing_hz_ * turn.sine, swing_hz_ * 2 * pi / sine.period_s * turn.cosine};
  };
  const auto reached_s = [&](std::size_t i, double low_s, double guess_s) {
    return sine_offset_s((first + static_cast<double>(i)).hi, low_s, guess_s);
  };
  std::array<double, apart> near_s;
  double from_s = reached_s(0, 0, 0);
  Speed from_speed = speed_at(from_s);
  for (std::size_t from = 0; from < out.size(); from += apart) {
    const std::size_t count = std::min(apart, out.size() - from);
    // Of a last one there may be no more edges to come.
    const std::size_t steps = from + count < out.size() ? count : count - 1;
    const double pulses = static_cast<double>(std::max<std::size_t>(steps, 1));
    // As if the speed went on to grow as it does.
    const double square = from_speed.hz * from_speed.hz + 2 * from_speed.hz_per_s * pulses;
    const double twice_hz = from_speed.hz + std::sqrt(std::max(square, 0.0));
    const double guess_s = twice_hz > 0 ? from_s + 2 * pulses / twice_hz : from_s;
    const double to_s = steps == 0 ? from_s : reached_s(from + steps, from_s, guess_s);
    const Speed to_speed = steps == 0 ? from_speed : speed_at(to_s);
    const double gained = to_s - from_s, leaves = pulses / from_speed.hz, comes = pulses / to_speed.hz;
    for (std::size_t i = 0; i < count; ++i) {
      const double t = static_cast<double>(i) / pulses;
      near_s[i] =
          from_s + t * (leaves + t * ((3 * gained - 2 * leaves - comes) + t * (leaves + comes - 2 * gained)));
    }
    const double phase = (first + static_cast<double>(from)).hi;
    // Where the engine all but stands, no cubic is near.
    if (!sine_edges(sine, start_, phase, std::span(near_s).first(count), out.subspan(from, count)))
      fill_sine_one_by_one(first, from_s, from, out.subspan(from, count));
    from_s = to_s;
    from_speed = to_speed;
  }
}

void Piece::fill_sine_one_by_one(const Wide& first, double from_s, std::size_t from,
                                 std::span<Nanos> out) const {
  double s = from_s;
  for (std::size_t i = 0; i < out.size(); ++i) {
    s = sine_offset_s((first + static_cast<double>(from + i)).hi, s, s);
    const Instant at = later(start_, exact_product(s, 1e9));
    out[i] = at.whole + (at.frac_ns >= 0.5 ? 1 : 0);
  }
}

std::size_t Piece::most_in_block() const {
  double longest_ns = lasts_ns_.hi;
  if (segment_->shape == Shape::constant) longest_ns = std::min(longest_ns, period_ns_.hi * edges_block);
  return longest_ns < edges_reach_ns ? edges_block : 1;
}

bool Pieces::next(Piece& piece) {
  const auto& segments = profile_->segments();
  if (segment_ == segments.size()) return false;
  const Segment& segment = segments[segment_];
  const Wide whole_ns = segment_ + 1 < segments.size()
                            ? ns_between(segment.start, segments[segment_ + 1].start)
                            : exact_product(segment.lasts_s, 1e9);
  if (segment.shape != Shape::sine) {
    ++segment_;
    piece = Piece(segment, pulses_per_rev_, segment.start, whole_ns);
    return true;
  }
  // Whole periods, about a block of pulses at a time; then what is left.
  const Wide period_ns = exact_product(segment.period_s, 1e9);
  const double periods = std::floor(whole_ns.hi / period_ns.hi) - periods_done_;
  const double per_period = segment.rpm0 / 60 * pulses_per_rev_ * segment.period_s;
  const double together =
      std::min(periods, std::max(1.0, std::floor(edges_block / std::max(per_period, 1e-9))));
  const Wide from_ns = period_ns * periods_done_;
  const bool last = periods < 1;
  piece = Piece(segment, pulses_per_rev_, later(segment.start, from_ns),
                last ? whole_ns - from_ns : period_ns * together);
  periods_done_ = last ? 0 : periods_done_ + together;
  if (last) ++segment_;
  return true;
}

std::size_t DuePulses::next_block(std::span<Nanos> out) {
  while (left_ == 0) {
    if (!pieces_.next(piece_)) return 0;
    // A pulse due exactly at the piece's end belongs to the piece, even when
    // the sum is a last bit short of it: the next piece may stand still.
    constexpr double hair = 1e-15;
    const Wide phase = carry_ + piece_.pulses();
    const Wide count = floor(phase + hair);
    first_ = Wide(1) - carry_;
    left_ = static_cast<std::int64_t>(count.hi) + static_cast<std::int64_t>(count.lo);
    carry_ = phase - count;
  }
  const auto n = static_cast<std::size_t>(
      std::min<std::int64_t>(left_, static_cast<std::int64_t>(piece_.most_in_block())));
  piece_.fill(first_, out.first(n));
  first_ = first_ + static_cast<double>(n);
  left_ -= static_cast<std::int64_t>(n);
  return n;
}

}  // namespace tachproof
