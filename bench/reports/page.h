// One page of ours: a style sheet, no scripts, nothing fetched.
#pragma once

#include <string>
#include <string_view>

namespace tachproof {

// `body` is HTML; `style` is added to the reports' own style sheet.
std::string html_page(std::string_view title, std::string_view style, std::string_view body);

// Across the head of a page, and in the margin of every printed one, where the unit
// was the built-in one: nothing of it is evidence of a real unit.
std::string simulated_banner();
std::string simulated_banner(std::string_view sentence);  // HTML
std::string simulated_style();

}  // namespace tachproof
