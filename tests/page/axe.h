// axe-core, a general accessibility checker (https://github.com/dequelabs/axe-core): tests/page/fetch_axe.sh
// fetches it into the build folder.
#pragma once

#include <string>
#include <vector>

#include "tests/page/browser.h"

namespace tachproof {

// Why axe-core cannot be run, a sentence; "" where it can.
std::string axe_missing();

// What the page breaks of WCAG 2.2 A and AA, and of good practice: a rule, where, and why, in each line.
// Empty: nothing was found.
std::vector<std::string> axe_violations(Browser& browser);

}  // namespace tachproof
