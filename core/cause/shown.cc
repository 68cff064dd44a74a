#include "core/cause/shown.h"

#include <algorithm>
#include <cmath>

#include "core/base/words.h"

namespace tachproof {
namespace {

std::string number(double value) { return number_text(std::round(value * 1e6) / 1e6) + ";"; }

}  // namespace

std::vector<Turn> turns(const Gauge& gauge) {
  const std::size_t n = gauge.windows.size();
  std::vector<Turn> real(n);
  for (std::size_t b = 1; b < n; ++b)
    real[b].rising_rpm = std::max(gauge.rising_rpm(b), b > 1 ? real[b - 1].rising_rpm : 0.0);
  for (std::size_t b = n; b-- > 1;) {
    real[b].falling_rpm = gauge.falling_rpm(b);
    if (b + 1 < n) real[b].falling_rpm = std::min(real[b].falling_rpm, real[b + 1].falling_rpm);
  }
  return real;
}

Gauge as_it_acts(Gauge gauge) {
  const std::size_t n = gauge.windows.size();
  const std::vector<Turn> real = turns(gauge);
  std::size_t first = 0;  // that is shown at rest
  while (first + 1 < n && real[first + 1].rising_rpm <= 0 && real[first + 1].falling_rpm <= 0) ++first;
  std::vector<Window> kept;
  for (std::size_t w = first; w < n; ++w) {
    if (w > first && w + 1 < n && real[w] == real[w + 1]) continue;
    kept.push_back(gauge.windows[w]);
    if (w == first)
      kept.back().from_rpm = 0;
    else if (!(real[w] == Turn{gauge.rising_rpm(w), gauge.falling_rpm(w)}))
      kept.back().turns_at = {real[w].rising_rpm, real[w].falling_rpm};
  }
  // Buttons still move the boundary that they did, where it is one yet.
  std::erase_if(gauge.buttons, [&](Button& button) {
    auto* take = std::get_if<TakeRpm>(&button.does);
    if (take == nullptr) return false;
    if (take->boundary >= gauge.windows.size()) return true;
    const std::string& name = gauge.windows[take->boundary].name;
    const auto now = std::find_if(kept.begin(), kept.end(), [&](const Window& w) { return w.name == name; });
    take->boundary = static_cast<std::size_t>(now - kept.begin());
    return now == kept.end() || take->boundary == 0;
  });
  gauge.windows = std::move(kept);
  return gauge;
}

Shown shown_by(const Gauge& gauge, Channels channels) {
  Shown shown;
  if (gauge.windows.empty()) return shown;
  const std::size_t n = gauge.windows.size();
  const std::vector<Turn> real = turns(gauge);
  const auto cue = [&](std::size_t w) {
    return Cue{gauge.windows[w].cue.steady & channels, gauge.windows[w].cue.blinking & channels};
  };
  shown.cues.push_back(cue(0));
  for (std::size_t b = 1; b < n; ++b) {
    // A window that is passed in no time, both ways, is not there.
    if ((b + 1 < n && real[b] == real[b + 1]) || cue(b) == shown.cues.back()) continue;
    shown.cues.push_back(cue(b));
    shown.thresholds.push_back(real[b]);
  }
  const bool blinks =
      std::any_of(shown.cues.begin(), shown.cues.end(), [](const Cue& c) { return c.blinking != 0; });
  if (blinks) shown.blink = gauge.blink;
  return shown;
}

std::string Shown::key() const {
  std::string key;
  for (std::size_t i = 0; i < cues.size(); ++i) {
    if (i > 0) key += number(thresholds[i - 1].rising_rpm) + number(thresholds[i - 1].falling_rpm);
    key += std::to_string(cues[i].steady) + "/" + std::to_string(cues[i].blinking) + "|";
  }
  if (blink) key += number(blink->hz) + number(blink->duty);
  return key;
}

bool within_tolerance(const Shown& a, const Shown& b, const Tolerance& tolerance) {
  constexpr double hair = 1e-9;  // what arithmetic leaves behind
  if (a.cues != b.cues) return false;
  for (std::size_t i = 0; i < a.thresholds.size(); ++i)
    if (std::fabs(a.thresholds[i].rising_rpm - b.thresholds[i].rising_rpm) > tolerance.rpm + hair ||
        std::fabs(a.thresholds[i].falling_rpm - b.thresholds[i].falling_rpm) > tolerance.rpm + hair)
      return false;
  if (a.blink && b.blink)
    return std::fabs(a.blink->hz - b.blink->hz) <= tolerance.blink_hz + hair &&
           std::fabs(a.blink->duty - b.blink->duty) <= tolerance.blink_duty + hair;
  return true;
}

}  // namespace tachproof
