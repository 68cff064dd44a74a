// What `tachproof noise` says: the noise block as YAML, JSON as the contract has
// it, and a page with spectrum, Allan deviation and residuals.
#pragma once

#include <string>

#include "core/recording/noise_fit.h"

namespace tachproof {

struct NoiseRecord {
  std::string recording;  // the file
  std::string trouble;    // it stops in mid-record; may be empty
  NoiseFit fit;
};

std::string noise_text(const NoiseRecord& record);  // a noise file; what else there is to say as comments
std::string noise_json(const NoiseRecord& record);
std::string noise_html(const NoiseRecord& record);

}  // namespace tachproof
