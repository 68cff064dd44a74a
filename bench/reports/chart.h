// Line charts of the reports about noise, as inline SVG that reads in black and
// white: lines differ by their dashes and, where those run out, by tags at their
// ends.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "bench/reports/svg.h"

namespace tachproof {

struct Curve {
  std::string name;
  std::string style;          // of chart_style: solid, dashed, dotted, thin, dots, limit-line
  std::string tag;            // drawn where the line ends; may be empty
  std::vector<Point> points;  // in the axes' units; NaN, and what a log axis cannot show, is a gap
};

struct Axis {
  std::string title;
  double from = 0, to = 1;
  bool log = false;  // then from > 0
};

struct Chart {
  Axis x, y;
  std::vector<Curve> curves;
  std::vector<std::pair<double, std::string>> marks;  // x, and its label: an upright line
};
std::string chart_svg(const Chart& chart);

// A range for an axis that holds all y of the curves; for a log axis in whole
// decades, at most `decades` of them below the highest.
Axis fitted(std::string title, const std::vector<Curve>& curves, bool log, int decades = 5);

// A self-contained page: a style sheet that holds the reports' and the charts'
// styles and `style`, no scripts, nothing fetched. `body` is HTML.
std::string chart_page(std::string_view title, const std::string& body, std::string_view style = {});

}  // namespace tachproof
