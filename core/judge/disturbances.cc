#include "core/judge/disturbances.h"

#include <algorithm>
#include <iterator>

namespace tachproof {

void Disturbances::add(Nanos from, Nanos to) {
  if (!spans_.empty() && from <= spans_.back().second)
    spans_.back().second = std::max(spans_.back().second, to);
  else
    spans_.emplace_back(from, to);
}

std::vector<Disturbances::Span>::const_iterator Disturbances::after(Nanos t) const {
  return std::upper_bound(spans_.begin(), spans_.end(), t,
                          [](Nanos at, const Span& span) { return at < span.first; });
}

bool Disturbances::any(Nanos from, Nanos to) const {
  const auto next = after(to);
  return next != spans_.begin() && std::prev(next)->second > from;
}

std::size_t Disturbances::count(Nanos from, Nanos to) const {
  const auto first = std::lower_bound(spans_.begin(), spans_.end(), from,
                                      [](const Span& span, Nanos t) { return span.second < t; });
  return static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, after(to) - first));
}

Nanos Disturbances::end_of(Nanos t) const {
  const auto next = after(t);
  return next == spans_.begin() ? t : std::max(t, std::prev(next)->second);
}

Nanos Disturbances::within(Nanos from, Nanos to) const {
  Nanos sum = 0;
  for (auto span = after(to); span != spans_.begin() && std::prev(span)->second > from;) {
    --span;
    sum += std::min(to, span->second) - std::max(from, span->first);
  }
  return sum;
}

}  // namespace tachproof
