// One crossing of one boundary as seen: what a threshold is fitted to.
#pragma once

#include <array>
#include <cstddef>
#include <limits>

#include "core/judge/result.h"

namespace tachproof {

// A ramp tells the response where a threshold that is off by the tolerance makes no more of it than a fifth
// of the longest that is allowed; on a slower one it is told for a response.
inline bool tells_response(double rpm_per_s, double longest_s, double tolerance_rpm) {
  return rpm_per_s * longest_s * 0.2 >= tolerance_rpm;
}

struct Visit {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  // r at t, t - h, t - 2h, ...: the profile before the change.
  static constexpr std::size_t samples = 33;
  std::array<double, samples> rpm_before{};
  double spacing_s = 0;  // h
  double timing_s = 0;   // standard uncertainty of t
  bool step = false;     // r jumped over the threshold: gives L, not the threshold
  double step_response_s = 0;
  // The change happened somewhere in [t - blur_s, t], any instant as likely as
  // any other (rectangular, GUM 4.3.7); t is the end of it.
  double blur_s = 0;
  double rpm_noise = 0;  // standard, of one sample of r; 0 for a profile that was scripted
  // For how long before the change the profile had kept its rate, at least; all of `rpm_before` where that
  // is for every response that is allowed.
  double kept_s = std::numeric_limits<double>::infinity();

  // r at t - response and dr/dt there. Of a noisy r: by the least-squares line
  // through as many samples round it as the noise makes necessary to know the
  // rate.
  double rpm(double response_s) const;
  double slope(double response_s) const;
  // The profile kept about one rate for every response from..to: a visit near
  // a corner gives a threshold only where the response is known. A rate that
  // differs by no more than the noise of r makes it differ does not bend.
  bool keeps_its_rate(double from_s, double to_s) const;
  bool operator==(const Visit&) const = default;

 private:
  struct Line {
    double rpm = 0, slope = 0;
  };
  Line line(double response_s) const;
  Line through(std::size_t first, std::size_t count, double response_s) const;
  std::size_t span() const;  // samples between which a rate is known in spite of the noise
};

}  // namespace tachproof
