// What `tachproof deadband` says: a table of at most 80 columns, JSON as the
// contract has it, and a page with both curves.
#pragma once

#include <string>

#include "bench/run/flicker_study.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct DeadbandRecord {
  Gauge gauge;
  std::string noise;       // where it came from
  std::string reading;     // how the unit reads, one line
  double kmh_per_rpm = 0;  // 0: not known
  FlickerAsk ask;
  FlickerStudy study;
};

std::string deadband_text(const DeadbandRecord& record);
std::string deadband_json(const DeadbandRecord& record);
std::string deadband_html(const DeadbandRecord& record);

// The recommendation in a sentence or two, or why there is none.
std::string deadband_answer(const DeadbandRecord& record);

}  // namespace tachproof
