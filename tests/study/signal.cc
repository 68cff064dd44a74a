#include "tests/study/signal.h"

#include <algorithm>

namespace tachproof::study {
namespace {

// How long the line stays high after a pulse that the next follows so much later.
double width_s(double period_s) { return std::min(1e-3, 0.4 * period_s); }

void rises_of(TachLine& line) {
  std::sort(line.toggles.begin(), line.toggles.end());
  for (std::size_t i = 0; i < line.toggles.size(); i += 2) line.rises.push_back(line.toggles[i]);
}

}  // namespace

TachLine spoil(const std::vector<double>& pulses, const Spoiled& by, double until_s, Draw& draw) {
  TachLine line;
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    const double period = i + 1 < pulses.size() ? pulses[i + 1] - pulses[i]
                          : i > 0               ? pulses[i] - pulses[i - 1]
                                                : 0.01;
    const double width = width_s(period);
    double at = pulses[i];
    if (by.jitter_us > 0) at += std::clamp(draw.normal(), -4.0, 4.0) * by.jitter_us * 1e-6;
    if (by.missing > 0 && draw.chance(by.missing)) {
      line.odd.push_back(at);
      continue;
    }
    line.toggles.push_back(at);
    line.toggles.push_back(at + width);
    if (by.doubled > 0 && draw.chance(by.doubled)) {
      const double again = at + std::max(by.doubled_after_us * 1e-6, 1.05 * width);
      if (again + 0.5 * width < at + 0.9 * period) {
        line.toggles.push_back(again);
        line.toggles.push_back(again + 0.3 * width);
        line.odd.push_back(again);
      }
    }
    if (by.bounce > 0 && at > 0 && draw.chance(by.bounce)) {
      // Opens and closes again a few times, within what is left of the burst.
      double t = at;
      const double until = at + std::min(by.bounce_us * 1e-6, 0.9 * width);
      for (int k = draw.whole(1, 5); k > 0; --k) {
        const double open = t + draw.between(0.05, 0.4) * (until - t),
                     shut = open + draw.between(0.1, 0.6) * (until - open);
        line.toggles.push_back(open);
        line.toggles.push_back(shut);
        t = shut;
      }
    }
  }
  if (by.tach_glitches_per_s > 0)
    for (double t = draw.exponential(1 / by.tach_glitches_per_s); t < until_s;
         t += draw.exponential(1 / by.tach_glitches_per_s)) {
      line.toggles.push_back(t);
      line.toggles.push_back(t + draw.log_between(0.1e-6, 5e-6));
      line.odd.push_back(t);
    }
  std::sort(line.odd.begin(), line.odd.end());
  rises_of(line);
  return line;
}

TachLine as_line(const std::vector<double>& pulses) {
  TachLine line;
  line.rises = pulses;
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    const double period = i + 1 < pulses.size() ? pulses[i + 1] - pulses[i] : 0.01;
    line.toggles.push_back(pulses[i]);
    line.toggles.push_back(pulses[i] + width_s(period));
  }
  return line;
}

}  // namespace tachproof::study
