// The few shapes that the drawings are made of, and their scales.
//
// Coordinates are user units of the drawing, printed with one decimal: files
// stay small and the same everywhere.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "bench/record/trace.h"
#include "core/base/time.h"

namespace tachproof {

struct Point {
  double x = 0;
  double y = 0;
};

// `style` is the name of a class in the report's style sheet. Text is escaped.
std::string svg_line(Point from, Point to, std::string_view style);
std::string svg_rect(Point corner, double width, double height, std::string_view style);
std::string svg_path(const std::vector<Point>& polyline, std::string_view style);
enum class Anchor { start, middle, end };
std::string svg_text(Point at, std::string_view text, std::string_view style, Anchor anchor = Anchor::start);

// A linear scale from values to coordinates.
struct Scale {
  double from = 0, to = 1;    // values; from < to
  double start = 0, end = 1;  // coordinates
  double operator()(double value) const { return start + (value - from) / (to - from) * (end - start); }
};

// Round values (1, 2 or 5 times a power of ten apart) inside the scale, about
// `wanted` of them, and the decimals that tell them apart.
struct Ticks {
  std::vector<double> values;
  int decimals = 0;
};
Ticks round_ticks(double from, double to, int wanted);

// The rpm line between two instants as a polyline of at most about
// 4 x `columns` points: first, lowest, highest and last of each column.
std::vector<RpmPoint> drawable(const std::vector<RpmPoint>& rpm, Nanos from, Nanos to, std::size_t columns);

}  // namespace tachproof
