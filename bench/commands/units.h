// Numbers with units, as they are typed on a command line.
//
// Each function throws UsageError with one line that names the option, what was
// found and what is allowed.
#pragma once

#include <string>

namespace tachproof {

double speed_m_per_s(const std::string& option, const std::string& text);  // 60km/h, 45mph, 20m/s
double length_m(const std::string& option, const std::string& text);       // 635mm, 63.5cm, 0.635m, 25in, 2ft
double rpm_value(const std::string& option, const std::string& text);      // 3720 or 3720rpm
double seconds(const std::string& option, const std::string& text);        // 250ms, 60s, 5min, 1h
double plain_number(const std::string& option, const std::string& text);   // 1.54

// Of --shard, "2/3"; all of it for an empty text.
struct Share {
  int shard = 1, shards = 1;
};
Share share_in(const std::string& text);

}  // namespace tachproof
