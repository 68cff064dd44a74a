#include "core/recording/edge_spans.h"

#include <algorithm>
#include <cmath>

namespace tachproof {

double SpeedLine::rpm_at(double t) const { return std::max(0.0, node.rpm + slope * (t - node.at)); }

SpeedLine line_through(const SpeedNode& a, const SpeedNode& b, const SpeedNode& through) {
  return {through, (b.rpm - a.rpm) / (b.at - a.at)};
}

EdgeSpans::EdgeSpans(const RpmTrack::Setup& setup) : setup_(setup) {
  // A whole number of revolutions in whole pulses, as few as possible.
  for (int turns = 1; turns <= 4 && revolution_ == 0; ++turns) {
    const double pulses = setup.pulses_per_rev * turns;
    if (pulses == std::floor(pulses)) revolution_ = static_cast<Index>(pulses);
  }
  revolution_ = std::max<Index>(revolution_, 1);
}

SpeedNode EdgeSpans::node(Index from, Index to) const {
  const auto ns = static_cast<double>(at(to) - at(from));
  return {static_cast<double>(at(from)) + ns / 2,
          static_cast<double>(to - from) * 60e9 / (setup_.pulses_per_rev * ns)};
}

// Of a span's rpm: the difference of two rounded instants.
double EdgeSpans::quantisation_rpm(const Node& n, Index pulses) const {
  const double ns = static_cast<double>(pulses) * 60e9 / (setup_.pulses_per_rev * n.rpm);
  return n.rpm * static_cast<double>(setup_.resolution) / std::sqrt(6.0) / ns;
}

// How many pulses a span takes where a pulse takes this long.
EdgeSpans::Index EdgeSpans::span_for(double period_ns) const {
  const double rpm = 60e9 / (setup_.pulses_per_rev * period_ns);
  const double wanted = setup_.tolerance_rpm / 6 / end_factor;
  const double ns = rpm * static_cast<double>(setup_.resolution) / std::sqrt(6.0) / wanted;
  const auto longest =
      std::max<Index>(2, static_cast<Index>(static_cast<double>(RpmTrack::longest_span) / period_ns));
  const auto least = static_cast<Index>(std::ceil(std::min(ns / period_ns, 1e6)));
  const Index whole = (std::max<Index>(least, 1) + revolution_ - 1) / revolution_ * revolution_;
  return std::min(whole, longest);
}

// Around edge i, from the pulses just before it, or after it.
EdgeSpans::Index EdgeSpans::span_around(Index i) const {
  const Index from = std::max({run_, base_, i - revolution_});
  if (from < i) return span_for(static_cast<double>(at(i) - at(from)) / static_cast<double>(i - from));
  const Index to = std::min(count() - 1, i + revolution_);
  return to > i ? span_for(static_cast<double>(at(to) - at(i)) / static_cast<double>(to - i)) : 1;
}

// The speed just before edge i, of the run that it ends; or just after.
std::optional<SpeedLine> EdgeSpans::line_before(Index i, Index span) const {
  if (i - span < run_) span = i - run_;
  if (span < 1) return std::nullopt;
  const Node near = node(i - span, i);
  if (i - 2 * span < run_) return Line{near, 0};
  return line_through(node(i - 2 * span, i - span), near, near);
}

std::optional<SpeedLine> EdgeSpans::line_after(Index i, Index span) const {
  if (i + span >= count()) span = count() - 1 - i;
  if (span < 1) return std::nullopt;
  const Node near = node(i, i + span);
  if (i + 2 * span >= count()) return Line{near, 0};
  return line_through(near, node(i + span, i + 2 * span), near);
}

// How far, in pulses, a span may be made longer at both ends.
EdgeSpans::Index EdgeSpans::room_beside(Index from, Index n) const {
  const auto ns = static_cast<double>(at(from + n) - at(from));
  const double spare = (static_cast<double>(RpmTrack::longest_span) - ns) / 2;
  return spare > 0 ? whole_turns(static_cast<Index>(spare / ns * static_cast<double>(n))) : 0;
}

// A line explains the speed from edge to edge: the middle of it is where its
// two ends say, as well as they are known.
bool EdgeSpans::straight(Index from, Index to, double scatter_of_one_ns) const {
  const Index pulses = to - from, quarter = whole_turns(pulses / 4);
  const Index part = quarter > 0 ? quarter : whole_turns(pulses / 3), inner = quarter > 0 ? 2 * part : part;
  if (part < 1) return false;
  const Index in = from + (pulses - inner) / 2;
  const Node a = node(from, from + part), b = node(in, in + inner), c = node(to - part, to);
  const double off = b.rpm - (a.rpm + (c.rpm - a.rpm) * (b.at - a.at) / (c.at - a.at));
  const auto sd = [&](const Node& n, Index of) {
    const auto ns = static_cast<double>(of) * 60e9 / (setup_.pulses_per_rev * n.rpm);
    return std::max(quantisation_rpm(n, of), scatter_of_one_ns / ns);
  };
  constexpr double likely = 4;  // rounding alone hardly ever gets there: it is bounded
  return std::abs(off) <= likely * std::hypot(sd(a, part) / 2, sd(b, inner), sd(c, part) / 2);
}

}  // namespace tachproof
