#include "core/judge/rpm_history.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

double seconds_into(const Segment& segment, Nanos t) {
  const double s = (static_cast<double>(t - segment.start.whole) - segment.start.frac_ns) * 1e-9;
  return std::clamp(s, 0.0, segment.lasts_s);
}

// The first that is not before t. What is asked for is near the front, where a
// long wave has many more turns behind it: steps that double find it sooner
// than halves do.
std::deque<Nanos>::const_iterator first_from(const std::deque<Nanos>& sorted, Nanos t) {
  std::size_t reach = 1;
  while (reach < sorted.size() && sorted[reach - 1] < t) reach *= 2;
  const auto begin = sorted.begin();
  return std::lower_bound(begin + static_cast<std::ptrdiff_t>(reach / 2),
                          begin + static_cast<std::ptrdiff_t>(std::min(reach, sorted.size())), t);
}

std::size_t count_between(const std::deque<Nanos>& sorted, Nanos from, Nanos to) {
  if (to < from) return 0;
  return static_cast<std::size_t>(first_from(sorted, to + 1) - first_from(sorted, from));
}

}  // namespace

void RpmHistory::add(const Segment& segment) {
  const Nanos start = segment.start.whole;
  const double before = segments_.empty() ? 0.0 : segments_.back().rpm(segments_.back().lasts_s);
  if (!segments_.empty() && std::abs(segment.rpm(0) - before) >= least_turn_rpm_) steps_.push_back(start);
  extreme(start, segment.rpm(0));
  if (segment.shape == Segment::Shape::sine)
    for (double s = segment.period_s / 4; s < segment.lasts_s; s += segment.period_s / 2)
      extreme(start + from_seconds(s), segment.rpm(s));
  extreme(start + from_seconds(segment.lasts_s), segment.rpm(segment.lasts_s));
  segments_.push_back(segment);
}

// A zigzag: the running extreme of the present direction, and a turn there when r
// has come back from it: the way back may be long, and a lamp moves on it.
void RpmHistory::extreme(Nanos at, double rpm) {
  const bool further = going_up_ ? rpm >= extreme_rpm_ : rpm <= extreme_rpm_;
  if (!further) {
    if (std::abs(rpm - extreme_rpm_) < least_turn_rpm_) return;
    going_up_ = !going_up_;
    turns_.push_back(extreme_at_);
  }
  if (rpm == extreme_rpm_) return;  // it stays: the extreme was reached before
  extreme_rpm_ = rpm;
  extreme_at_ = at;
}

const Segment* RpmHistory::segment_at(Nanos t) const {
  if (!segments_.empty() && t >= segments_.back().start.whole) return &segments_.back();  // as mostly
  const auto after = std::upper_bound(segments_.begin(), segments_.end(), t,
                                      [](Nanos when, const Segment& s) { return when < s.start.whole; });
  return after == segments_.begin() ? nullptr : &*std::prev(after);
}

double RpmHistory::rpm_at(Nanos t) const {
  const Segment* segment = segment_at(t);
  return segment == nullptr ? 0.0 : segment->rpm(seconds_into(*segment, t));
}

double RpmHistory::slope_at(Nanos t) const {
  const Segment* segment = segment_at(t);
  return segment == nullptr ? 0.0 : segment->slope(seconds_into(*segment, t));
}

std::pair<double, double> RpmHistory::range_between(Nanos from, Nanos to) const {
  double least = rpm_at(from), most = least;
  const auto take = [&](double rpm) {
    least = std::min(least, rpm);
    most = std::max(most, rpm);
  };
  take(rpm_at(to));
  // Latest first: what is asked for is mostly in the last one.
  for (auto s = segments_.rbegin(); s != segments_.rend(); ++s) {
    if (s->start.whole >= to) continue;
    const double first = seconds_into(*s, from), last = seconds_into(*s, to);
    take(s->rpm(first));
    take(s->rpm(last));
    if (s->shape == Segment::Shape::sine) {
      const double half = s->period_s / 2, to_first = s->period_s / 4;
      for (double k = std::max(0.0, std::ceil((first - to_first) / half)); to_first + k * half < last; ++k) {
        take(s->rpm(to_first + k * half));
        if (last - first > s->period_s) {  // both extremes and nothing else
          take(s->rpm(to_first + (k + 1) * half));
          break;
        }
      }
    }
    if (s->start.whole <= from) break;
  }
  return {least, most};
}

bool RpmHistory::still_between(Nanos from, Nanos to) const {
  const Segment* segment = segment_at(from);
  return segment != nullptr && segment->shape == Segment::Shape::constant && segment_at(to) == segment;
}

std::optional<RpmHistory::Still> RpmHistory::still_at(Nanos t) const {
  const Segment* segment = segment_at(t);
  if (segment == nullptr || segment->shape != Segment::Shape::constant) return std::nullopt;
  return Still{segment->rpm(0), segment->start.whole};
}

bool RpmHistory::steps_between(Nanos from, Nanos to) const { return count_between(steps_, from, to) > 0; }

Nanos RpmHistory::last_step_in(Nanos from, Nanos to) const {
  const auto after = std::upper_bound(steps_.begin(), steps_.end(), to);
  return after == steps_.begin() ? from : std::max(from, *std::prev(after));
}

std::size_t RpmHistory::turns_between(Nanos from, Nanos to) const { return count_between(turns_, from, to); }

bool RpmHistory::any_before(Nanos t) const {
  return (segments_.size() > 1 && segments_[1].start.whole < t) || (!turns_.empty() && turns_.front() < t) ||
         (!steps_.empty() && steps_.front() < t);
}

void RpmHistory::forget_before(Nanos t) {
  while (segments_.size() > 1 && segments_[1].start.whole < t) segments_.pop_front();
  while (!turns_.empty() && turns_.front() < t) turns_.pop_front();
  while (!steps_.empty() && steps_.front() < t) steps_.pop_front();
}

}  // namespace tachproof
