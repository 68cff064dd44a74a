// The form of a gauge, as HTML: its parts in the order of the reference.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "bench/page/gauge_form.h"

namespace tachproof {

// The fields alone, without the form around them; `wrong`: field and sentences; `deadband`: the address that
// helps with its width.
std::string gauge_fields_html(const GaugeForm& form, const std::string& deadband,
                              const std::map<std::string, std::vector<std::string>>& wrong);

}  // namespace tachproof
