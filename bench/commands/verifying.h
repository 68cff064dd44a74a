// This program as the one that verifies.
#pragma once

#include <string>

#include "bench/run/verify.h"

namespace tachproof {

// `key`: the file of the shop's public one; empty: none.
VerifyBy this_program(const std::string& key = "");

}  // namespace tachproof
