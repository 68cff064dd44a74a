// Numbers in sentences: the same in every locale.
#pragma once

#include <string>

#include "core/base/time.h"

namespace tachproof {

std::string decimal(double value, int decimals);  // "3.5", "-0.20"
std::string say_time(Nanos t);                    // "12.345 s"
std::string say_span(Nanos span);                 // "850 us", "12.5 ms", "3.20 s"

}  // namespace tachproof
