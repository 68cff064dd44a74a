// What every page has around it: the bar with the five places, the style sheet, the script.
#pragma once

#include <string>
#include <string_view>

namespace tachproof {

// `place`: "/", "/gauges" ...: the one that the bar marks; `body` is HTML.
// `looks_again`: where there is no script the page is loaded again every two seconds.
std::string framed_page(std::string_view place, std::string_view title, const std::string& body,
                        bool looks_again = false);

// The two files that every page names, compiled in.
std::string_view page_style();
std::string_view page_script();

}  // namespace tachproof
