// One point of the rpm line in drawings and in the journal.
#pragma once

#include "core/base/time.h"

namespace tachproof {

struct RpmPoint {
  Nanos at = 0;
  double rpm = 0;
};

}  // namespace tachproof
