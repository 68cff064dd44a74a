// What a person types into a unit, from its gauge file: for a terminal, for the wall of the bench,
// and for programs.
#pragma once

#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

struct SheetOf {
  const Gauge& gauge;
  std::string file;    // as named
  std::string sha256;  // of the file
};

std::string settings_sheet_text(const SheetOf& of);  // 80 columns
std::string settings_sheet_html(const SheetOf& of);  // a page, on A4 when it is printed
std::string settings_sheet_json(const SheetOf& of);

}  // namespace tachproof
