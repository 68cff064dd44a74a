// A dimming button's step by light: a lamp's light beside the same lamp's at full light in the same run.
//
// Where a watcher sees light and no wires (a camera), how long a lamp is lit in each cycle of its dimming
// cannot be seen, but how bright it is can. The light of one picture is as good as the camera's tone curve:
// where its exponent is off by a share `tone`, a ratio r of two lights is off by r |ln r| tone (from
// L = c^g: dr/r = ln r dg/g), a rectangle (GUM 4.3.7). A codec that keeps less of the colour than of the
// light adds its share. Pictures in a row may lie in one beat of dimming and shutter, so that eight count
// as one. A picture that is clipped says less than there was: nothing is made of it.
#pragma once

#include <cmath>
#include <cstdint>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

// A lamp that was steadily lit in a picture.
struct SeenLight {
  Nanos at = 0;
  std::size_t channel = 0;
  double share = 0;   // of its light as the watcher knows it, linear; only ratios count
  double open = 0;    // of it, the share that is not clipped
  double tone = 0.1;  // as above
};

class LightSum {
 public:
  void add(const SeenLight& light);
  std::uint64_t count() const { return count_; }
  double mean() const { return mean_; }
  double relative_uncertainty() const;  // standard, of the mean
  double least_open() const { return least_open_; }
  double tone() const { return tone_; }

 private:
  std::uint64_t count_ = 0;
  double mean_ = 0, squares_ = 0, least_open_ = 1, tone_ = 0;
};
using LightSums = std::vector<LightSum>;  // by channel; empty: none was seen

// `here`: at this level; `full`: while full light was set. The row has button, at and set_level.
void judge_dim_light(const Gauge& gauge, const LightSums& here, const LightSums& full, DimResult& row,
                     std::vector<Finding>& findings);

// How far a level may be off what is set, both as shares of full light: a fifth of it, at least 2 %.
double dim_may_be_off(double set_level);

}  // namespace tachproof
