#include "core/recording/pulse_mender.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr std::size_t enough_for_a_period = 100'000;
constexpr double follows = 0.05;
constexpr double longest_gap = 1000;  // periods; beyond it the signal was lost

}  // namespace

void PulseMender::add(std::span<const Nanos> edges) {
  if (edges.empty()) return;
  if (out_.edges == 0) origin_ = edges.front();
  out_.edges += edges.size();
  out_.duration_s = to_seconds(edges.back() - origin_);
  if (!begun_) {
    first_.insert(first_.end(), edges.begin(), edges.end());
    if (first_.size() >= enough_for_a_period) begin();
    return;
  }
  for (const Nanos edge : edges) {
    if (any_waiting_) take(waiting_, &edge);
    waiting_ = edge;
    any_waiting_ = true;
  }
}

void PulseMender::begin() {
  begun_ = true;
  if (first_.size() < 2) return;
  std::vector<double> intervals;
  for (std::size_t i = 1; i < first_.size(); ++i) intervals.push_back(to_seconds(first_[i] - first_[i - 1]));
  const auto middle = intervals.begin() + static_cast<std::ptrdiff_t>(intervals.size() / 2);
  std::nth_element(intervals.begin(), middle, intervals.end());
  period_s_ = *middle;
  place(0, false);
  for (std::size_t i = 1; i + 1 < first_.size(); ++i) take(first_[i], &first_[i + 1]);
  waiting_ = first_.back();
  any_waiting_ = true;
  first_ = {};
}

void PulseMender::place(double at_s, bool mended) {
  ++out_.placed;
  last_s_ = at_s;
  if (out_.at_s.size() >= most_kept_) return;
  out_.at_s.push_back(at_s);
  out_.mended.push_back(mended);
}

// Against a period that follows the speed slowly: an edge that comes after less
// than half of it, beside one that is better placed, is an extra; after one and
// a half, pulses are missing.
void PulseMender::take(Nanos edge, const Nanos* following) {
  const double last = last_s_, at = to_seconds(edge - origin_), gap = at - last;
  if (following != nullptr) {
    const double next = to_seconds(*following - origin_);
    const bool crowded = gap < period_s_ / 2 || next - at < period_s_ / 2;
    if (crowded && std::abs(next - last - period_s_) < std::abs(gap - period_s_)) {
      ++out_.doubled;
      out_.doubled_after_s += gap;
      return;
    }
  }
  if (gap < period_s_ / 2) {  // behind a well-placed one
    ++out_.doubled;
    out_.doubled_after_s += gap;
    return;
  }
  const double periods = std::min(std::round(gap / period_s_), longest_gap);
  for (double j = 1; j < periods; ++j) {
    ++out_.missing;
    place(last + gap * j / periods, true);
  }
  if (periods < 2) period_s_ += follows * (gap - period_s_);
  place(at, false);
}

MendedPulses PulseMender::finish() {
  if (!begun_) begin();
  if (any_waiting_) take(waiting_, nullptr);
  any_waiting_ = false;
  if (out_.doubled > 0) out_.doubled_after_s /= static_cast<double>(out_.doubled);
  return std::move(out_);
}

}  // namespace tachproof
