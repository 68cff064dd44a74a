#include "core/recording/rpm_track.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <deque>
#include <optional>
#include <stdexcept>
#include <utility>

#include "core/recording/edge_spans.h"
#include "core/recording/pulse_check.h"
#include "core/recording/span_scatter.h"

namespace tachproof {
namespace {

constexpr Nanos lost_after = ns_per_s / 2;
constexpr double lost_after_periods = 3;

}  // namespace

class RpmTrack::Impl : private EdgeSpans {
 public:
  explicit Impl(const Setup& setup) : EdgeSpans(setup) {}

  void edge(Nanos at) {
    if (last_edge_ && at <= *last_edge_)
      throw std::invalid_argument("rpm track: edges must come in time order");
    if (!last_edge_) {
      start(at);
    } else if (const Nanos patience = patience_ns(); at - *last_edge_ > patience) {
      lose(*last_edge_ + patience, at);
      restart();
    }
    if (last_edge_) last_period_ = at - *last_edge_;
    if (last_edge_)
      shortest_period_ = shortest_period_ > 0 ? std::min(shortest_period_, last_period_) : last_period_;
    last_edge_ = at;
    check_.edge(at);
    follow();
  }

  void finish(Nanos until) {
    if (!last_edge_) {
      emit(until, 0, 0);
      out_.gaps.push_back({SignalGap::Kind::lost, 0, until});
    } else if (const Nanos patience = patience_ns(); until - *last_edge_ > patience) {
      lose(*last_edge_ + patience, until);
      emit(until, 0, 0);
    } else {
      end_all(until);
    }
  }

  Decided take() {
    out_.known_until = emitted_until_;
    return std::exchange(out_, {});
  }

  // Where hardly anything is straight for long, what is said of the short spans counts.
  double uncertainty() const { return long_spans_ >= short_spans_ ? long_uncertainty_ : uncertainty_; }

  const Segment* recent(Nanos t) const {
    if (recent_.empty() || t < 0) return nullptr;
    const auto after = std::upper_bound(recent_.begin(), recent_.end(), t,
                                        [](Nanos at, const Segment& g) { return at < g.start.whole; });
    return after == recent_.begin() ? &recent_.front() : &*std::prev(after);
  }

 private:
  // ---- the signal -----------------------------------------------------------

  Nanos patience_ns() const {
    return std::max(lost_after, static_cast<Nanos>(lost_after_periods * static_cast<double>(last_period_)));
  }

  void start(Nanos at) {
    first_edge_ = at;
    if (at > 0) out_.gaps.push_back({SignalGap::Kind::lost, 0, at});
    if (at > lost_after) emit(at, 0, 0);
  }

  // No pulse from `from` on: 0 rpm until `to`.
  void lose(Nanos from, Nanos to) {
    end_all(from);
    emit(to, 0, 0);
    out_.gaps.push_back({SignalGap::Kind::lost, *last_edge_, to});
  }

  void restart() {
    check_ = {};
    edges_.clear();
    jumps_.clear();
    base_ = run_ = next_ = span_at_ = long_to_ = 0;
    long_nodes_ = {};
    last_node_.reset();
  }

  // Everything up to the last edge is known; its rpm lasts until `until`.
  void end_all(Nanos until) {
    check_.finish();
    take_mended();
    measure_jumps();
    while (next_ + 1 < count()) classify();
    add_nodes(count() - 1, true);
    const double rpm = end_run(count() - 1, *last_edge_);
    emit(until, rpm, rpm);
  }

  void follow() {
    take_mended();
    measure_jumps();
    while (next_ < static_cast<Index>(jumps_.size()) + base_) {
      if (next_ + 2 * jump(next_).span >= static_cast<Index>(jumps_.size()) + base_) break;
      classify();
    }
    forget();
  }

  void take_mended() {
    PulseCheck::Mended mended = check_.take();
    edges_.insert(edges_.end(), mended.edges.begin(), mended.edges.end());
    out_.gaps.insert(out_.gaps.end(), mended.gaps.begin(), mended.gaps.end());
  }

  // ---- jumps ------------------------------------------------------------------

  // Between edge i and the next: how far the change of speed from the last
  // span to the first is outside what the slopes of the two sides explain.
  struct Jump {
    double rpm = 0;
    double least = 0;  // to count as one
    Index span = 1;
  };
  const Jump& jump(Index i) const { return jumps_[static_cast<std::size_t>(i - base_)]; }

  void measure_jumps() {
    for (Index i = base_ + static_cast<Index>(jumps_.size()); i + 1 < count(); ++i) {
      const Index n = span_around(i);
      if (i + 1 + 2 * n >= count()) return;
      Jump j{0, 0, n};
      if (i - 2 * n >= run_) {
        const Line before = *line_before(i, n);
        const Line after = *line_after(i + 1, n);
        const double ns = after.node.at - before.node.at;
        const auto [least, most] = std::minmax({before.slope * ns, after.slope * ns});
        const double change = after.node.rpm - before.node.rpm;
        j.rpm = std::max({0.0, least - change, change - most});
        const double sd =
            std::max({scatter_.rpm(), quantisation_rpm(before.node, n), quantisation_rpm(after.node, n)});
        j.least = std::max(8 * std::sqrt(2.0) * end_factor * sd, setup_.tolerance_rpm / 3);
      }
      jumps_.push_back(j);
    }
  }

  // The largest one within reach of its own spans.
  bool breaks_at(Index i) const {
    const Jump& j = jump(i);
    if (j.rpm <= j.least || i - 2 * j.span < run_) return false;
    const Index end = base_ + static_cast<Index>(jumps_.size());
    for (Index k = std::max(base_, i - 2 * j.span); k < std::min(end, i + 2 * j.span + 1); ++k)
      if (k < i ? jump(k).rpm >= j.rpm : jump(k).rpm > j.rpm) return false;
    return j.span < 2 || explains_pulses(i, j.span);
  }

  // A short ramp looks like a jump to spans that are longer than it. The
  // pulses of the two spans next to interval i know better: are they nearer to
  // two lines than to one line from span to span?
  bool explains_pulses(Index i, Index span) const {
    const Line before = *line_before(i, span);
    const Line after = *line_after(i + 1, span);
    const Line across = line_through(before.node, after.node, before.node);
    double off_two = 0;
    double off_one = 0;
    for (Index k = i - span; k <= i + span; ++k) {
      const Node pulse = node(k, k + 1);
      if (k == i || pulse.at < before.node.at || pulse.at > after.node.at) continue;
      off_two += std::pow(pulse.rpm - (k < i ? before : after).rpm_at(pulse.at), 2);
      off_one += std::pow(pulse.rpm - across.rpm_at(pulse.at), 2);
    }
    return off_two < off_one;
  }

  // Decides about the interval from edge next_ to the one after.
  void classify() {
    const Index i = next_++;
    if (i < base_ + static_cast<Index>(jumps_.size()) && breaks_at(i)) {
      const Line before = *line_before(i, jump(i).span);
      const Line after = *line_after(i + 1, jump(i).span);
      add_nodes(i, true);
      end_run(i, at(i) + time_to_jump(i, before, after));
      run_ = span_at_ = i + 1;
      long_nodes_ = {};
      return;
    }
    add_nodes(next_, false);
  }

  // `last`: the last edge that is known to be of the run. More may come if not `ended`.
  void add_nodes(Index last, bool ended) {
    for (Index n = span_around(span_at_); span_at_ + n <= last; n = span_around(span_at_)) {
      if (!ended && span_at_ + n + room_beside(span_at_, n) > last) return;
      add_node(span_at_, span_at_ + n, last);
      span_at_ += (n + 1) / 2;
    }
  }

  // The part of the interval at the old speed and the part at the new one make
  // one pulse together.
  Nanos time_to_jump(Index i, const Line& before, const Line& after) const {
    const auto from = static_cast<double>(at(i));
    const auto to = static_cast<double>(at(i + 1));
    const double pulses_per_rpm_ns = setup_.pulses_per_rev / 60e9;
    const double old_rate = before.rpm_at(from) * pulses_per_rpm_ns;
    const double new_rate = after.rpm_at(to) * pulses_per_rpm_ns;
    const double ns = (1 - (to - from) * new_rate) / (old_rate - new_rate);
    return std::llround(std::clamp(ns, 0.0, to - from));
  }

  // ---- pieces -----------------------------------------------------------------

  // Of the span, and as much more on both sides as is straight, within the run.
  void add_node(Index from, Index to, Index last) {
    const Node own = node(from, to);
    const double rounding = quantisation_rpm(own, to - from);
    note_scatter(own, from, to - from, rounding);
    const Index room = room_beside(from, to - from);
    const auto own_ns = static_cast<double>(at(to) - at(from));
    Index beside = whole_turns(std::min({room, from - std::max(run_, base_), last - to}));
    while (beside > 0 && !straight(from - beside, to + beside, spread() * rounding * own_ns))
      beside = whole_turns(beside / 2);
    const Node next = beside > 0 ? node(from - beside, to + beside) : own;
    if (last_node_ && next.at <= last_node_->at) return;
    state_uncertainty(next, rounding, from - beside, to + beside, beside == room);
    if (!last_node_) {
      const Line back{next, line_after(from, to - from)->slope};
      // Before the recording's first edge nothing is known of the slope.
      const double first_rpm = back.rpm_at(static_cast<double>(first_edge_));
      if (emitted_until_ == 0) emit(first_edge_, first_rpm, first_rpm);
      emit(std::llround(next.at), back.rpm_at(static_cast<double>(emitted_until_)), next.rpm);
    } else {
      emit(std::llround(next.at), last_node_->rpm, next.rpm);
    }
    last_node_ = next;
    last_node_from_ = from;
    last_node_to_ = to;
  }

  // The run ends with edge i; its line goes on to `until`. The rpm there.
  double end_run(Index i, Nanos until) {
    if (i > run_ && (!last_node_ || last_node_to_ < i)) add_node(std::max(run_, i - span_around(i)), i, i);
    double rpm = 0;  // a single pulse tells no speed
    if (last_node_) {
      rpm = line_before(i, last_node_to_ - last_node_from_)->rpm_at(static_cast<double>(until));
      emit(until, last_node_->rpm, rpm);
    } else {
      emit(until, 0, 0);
    }
    last_node_.reset();
    return rpm;
  }

  void note_scatter(const Node& n, Index from, Index span, double rounding_rpm) {
    if (from - 2 * span < std::max(run_, base_)) return;
    const Node a = node(from - 2 * span, from - span);
    const Node b = node(from - span, from);
    scatter_.add(b.rpm - (a.rpm + (n.rpm - a.rpm) * (b.at - a.at) / (n.at - a.at)));
    if (scatter_.rpm() <= 0) return;
    // Rounding comes in patterns, so that a few spans tell little; and corners are no
    // scatter: the running median.
    constexpr double step = 1.01;
    spread_ *= scatter_.rpm() > spread_ * rounding_rpm ? step : 1 / step;
  }
  // Scatter of the spans, in what rounding makes of it.
  double spread() const { return std::max(spread_, 1.0); }

  // Of a span as long as may be: rounding, or as much more as such spans scatter.
  void state_uncertainty(const Node& n, double own_rounding_rpm, Index from, Index to, bool longest) {
    uncertainty_ = std::max(uncertainty_, end_factor * std::max(own_rounding_rpm, scatter_.rpm()));
    ++(longest ? long_spans_ : short_spans_);
    if (!longest) return;
    const double rounding = quantisation_rpm(n, to - from);
    if (from >= long_to_) {
      const auto [a, b] = long_nodes_;
      if (a && b) {
        const double off = b->rpm - (a->rpm + (n.rpm - a->rpm) * (b->at - a->at) / (n.at - a->at));
        // The median of normal scatter; of three spans as in SpanScatter.
        const double usual = 0.674 * std::sqrt(1.5) * long_spread_ * rounding;
        constexpr double step = 1.02;
        long_spread_ *= std::abs(off) > usual ? step : 1 / step;
      }
      long_nodes_ = {b, n};
      long_to_ = to;
    }
    long_uncertainty_ = std::max(long_uncertainty_, std::max(1.0, long_spread_) * rounding);
  }

  // A line from where the last one ended.
  void emit(Nanos until, double from_rpm, double to_rpm) {
    if (until <= emitted_until_) return;
    Segment g{.shape = Segment::Shape::constant, .start = {emitted_until_, 0}, .rpm0 = from_rpm};
    g.lasts_s = static_cast<double>(until - emitted_until_) / 1e9;
    if (to_rpm != from_rpm) {
      g.shape = Segment::Shape::linear;
      g.slope_rpm_per_s = (to_rpm - from_rpm) / g.lasts_s;
    }
    out_.segments.push_back(g);
    recent_.push_back(g);
    emitted_until_ = until;
    while (recent_.size() > 1 && recent_[1].start.whole <= until - kept) recent_.pop_front();
  }

  // Edges that no span, and no neighbour of a jump, will ask for any more.
  void forget() {
    if (jumps_.empty()) return;
    const Index measured = base_ + static_cast<Index>(jumps_.size());
    const Index beside = static_cast<Index>(static_cast<double>(longest_span) / 2 /
                                            static_cast<double>(std::max<Nanos>(shortest_period_, 1)));
    const Index spans = 4 * jump(std::min(next_, measured - 1)).span + revolution_ + beside;
    for (const Index keep = std::min(next_, span_at_) - spans; base_ < keep; ++base_) {
      edges_.pop_front();
      jumps_.pop_front();
    }
  }

  PulseCheck check_;
  std::optional<Nanos> last_edge_;
  Nanos first_edge_ = 0;
  Nanos last_period_ = 0;
  Nanos shortest_period_ = 0;  // so far; 0: none yet

  std::deque<Jump> jumps_;  // from edge number base_ on
  Index next_ = 0;          // the interval to be decided about
  Index span_at_ = 0;       // where the next node's span begins

  std::optional<Node> last_node_;
  Index last_node_from_ = 0;
  Index last_node_to_ = 0;
  Nanos emitted_until_ = 0;
  SpanScatter scatter_;
  double spread_ = 1, long_spread_ = 1;
  std::pair<std::optional<Node>, std::optional<Node>> long_nodes_;  // the last, apart from each other
  Index long_to_ = 0;
  double uncertainty_ = 0;       // the largest of any span, at the end of a piece
  double long_uncertainty_ = 0;  // of those that are as long as may be
  std::uint64_t long_spans_ = 0, short_spans_ = 0;

  Decided out_;
  std::deque<Segment> recent_;
};

RpmTrack::RpmTrack(const Setup& setup) {
  const auto check = [](bool holds, const char* otherwise) {
    if (!holds) throw std::invalid_argument(otherwise);
  };
  check(setup.pulses_per_rev > 0 && setup.pulses_per_rev <= 60,
        "rpm track: pulses per revolution must be above 0, up to 60");
  check(setup.resolution > 0, "rpm track: the resolution must be above 0");
  check(setup.tolerance_rpm > 0, "rpm track: the tolerance must be above 0");
  impl_ = std::make_unique<Impl>(setup);
}
RpmTrack::~RpmTrack() = default;
RpmTrack::RpmTrack(RpmTrack&&) noexcept = default;
RpmTrack& RpmTrack::operator=(RpmTrack&&) noexcept = default;

void RpmTrack::edge(Nanos at) { impl_->edge(at); }
void RpmTrack::finish(Nanos until) { impl_->finish(until); }
RpmTrack::Decided RpmTrack::take() { return impl_->take(); }
double RpmTrack::standard_uncertainty_rpm() const { return impl_->uncertainty(); }

double RpmTrack::rpm_at(Nanos t) const {
  const Segment* g = impl_->recent(t);
  if (!g) return 0;
  return g->rpm(std::clamp(static_cast<double>(t - g->start.whole) / 1e9, 0.0, g->lasts_s));
}
double RpmTrack::slope_at(Nanos t) const {
  const Segment* g = impl_->recent(t);
  return g ? g->slope(0) : 0;
}

}  // namespace tachproof
