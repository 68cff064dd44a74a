// The causes of a failed run for a terminal and for a page.
#pragma once

#include <string>

#include "core/cause/cause.h"

namespace tachproof {

// Paragraphs with a heading, begun by an empty line; "" where there is nothing to say.
std::string causes_text(const Causes& causes, int width);
std::string causes_html(const Causes& causes);

}  // namespace tachproof
