// Every single fault that a unit of this gauge could have: what a test is graded by (fault
// simulation and fault coverage, as digital circuits are tested).
//
// From the settings alone. Faults that no stimulus can tell apart stand in one line; those that
// show nothing, or nothing beyond the tolerance, are left out, with the reason.
#pragma once

#include <string>
#include <vector>

#include "core/cause/fault.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct ListedFault {
  Fault fault;                      // by `graded_tolerances`, where it has a size that varies
  std::vector<Fault> same_as = {};  // what shows exactly the same
  // A size of `none` is no fault; each tolerance more is `per_tolerance`, signed, more. 0: there is
  // no more and less of this fault.
  double none = 0, per_tolerance = 0;

  bool sized() const { return per_tolerance != 0; }
  Fault by(double tolerances) const;  // the same, of this size
};

struct LeftOutFault {
  Fault fault;
  std::string why;  // a clause: "no window lights it"
};

struct FaultList {
  std::vector<ListedFault> faults;
  std::vector<LeftOutFault> left_out;
};

// How large a fault is in the list, by the gauge's tolerance for it. A response: by the
// longest that is allowed.
inline constexpr double graded_tolerances = 2;

// Throws std::invalid_argument for a gauge that is not sound (problems_of).
FaultList fault_list(const Gauge& gauge);

// The list with the settings of another gauge as one more fault; `file` is its name.
void add_settings_of(FaultList& list, const Gauge& gauge, const std::string& file, const Gauge& other);

// Whether lamps show the same for every rpm that can be played, and blink alike.
bool show_the_same(const Gauge& a, const Gauge& b);

}  // namespace tachproof
