#include "bench/reports/svg.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/text.h"

namespace tachproof {
namespace {

// "12.3", "12" for 12.0.
std::string coordinate(double value) {
  std::string text = fixed(std::isfinite(value) ? value : 0, 1);
  if (text.size() > 2 && text.compare(text.size() - 2, 2, ".0") == 0) text.resize(text.size() - 2);
  return text;
}

}  // namespace

std::string svg_line(Point from, Point to, std::string_view style) {
  return fmt::format("<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" class=\"{}\"/>\n", coordinate(from.x),
                     coordinate(from.y), coordinate(to.x), coordinate(to.y), style);
}

std::string svg_rect(Point corner, double width, double height, std::string_view style) {
  return fmt::format("<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" class=\"{}\"/>\n",
                     coordinate(corner.x), coordinate(corner.y), coordinate(width), coordinate(height),
                     style);
}

std::string svg_path(const std::vector<Point>& polyline, std::string_view style) {
  if (polyline.empty()) return "";
  std::string d;
  for (const Point& p : polyline)
    d += fmt::format("{}{} {}", d.empty() ? "M" : "L", coordinate(p.x), coordinate(p.y));
  return fmt::format("<path d=\"{}\" class=\"{}\"/>\n", d, style);
}

std::string svg_text(Point at, std::string_view text, std::string_view style, Anchor anchor) {
  const char* const where = anchor == Anchor::start ? "start" : anchor == Anchor::middle ? "middle" : "end";
  return fmt::format("<text x=\"{}\" y=\"{}\" text-anchor=\"{}\" class=\"{}\">{}</text>\n", coordinate(at.x),
                     coordinate(at.y), where, style, escaped(text));
}

Ticks round_ticks(double from, double to, int wanted) {
  Ticks ticks;
  if (!(to > from) || wanted < 1) return ticks;
  const double rough = (to - from) / wanted;
  const double power = std::pow(10, std::floor(std::log10(rough)));
  double step = 10 * power;
  for (const double factor : {5.0, 2.0, 1.0})
    if (factor * power >= rough * 0.999) step = factor * power;
  ticks.decimals = static_cast<int>(std::fmax(0, -std::floor(std::log10(step) + 1e-9)));
  const double first = std::ceil(from / step - 1e-9);
  const int most = 4 * wanted;  // whatever rounding does, the loop ends
  for (int i = 0; i < most && (first + i) * step <= to + step * 1e-9; ++i)
    ticks.values.push_back((first + i) * step);
  return ticks;
}

namespace {

RpmPoint between(const RpmPoint& a, const RpmPoint& b, Nanos at) {
  if (b.at <= a.at) return {at, b.rpm};
  return {at, a.rpm + (b.rpm - a.rpm) * static_cast<double>(at - a.at) / static_cast<double>(b.at - a.at)};
}

// The part of the polyline inside [from, to], with its ends cut to fit.
std::vector<RpmPoint> cut_out(const std::vector<RpmPoint>& rpm, Nanos from, Nanos to) {
  const auto before = [](const RpmPoint& p, Nanos t) { return p.at < t; };
  auto first = std::lower_bound(rpm.begin(), rpm.end(), from, before);
  std::vector<RpmPoint> part;
  if (first != rpm.begin() && first != rpm.end()) part.push_back(between(*(first - 1), *first, from));
  for (; first != rpm.end() && first->at <= to; ++first) part.push_back(*first);
  if (first != rpm.end() && first != rpm.begin()) part.push_back(between(*(first - 1), *first, to));
  std::erase_if(part, [](const RpmPoint& p) { return !std::isfinite(p.rpm); });
  return part;
}

}  // namespace

std::vector<RpmPoint> drawable(const std::vector<RpmPoint>& rpm, Nanos from, Nanos to, std::size_t columns) {
  const std::vector<RpmPoint> part = cut_out(rpm, from, to);
  if (part.size() <= 4 * columns || to <= from) return part;
  const double per_column = static_cast<double>(to - from) / static_cast<double>(columns);
  const auto column = [&](const RpmPoint& p) {
    return std::floor(static_cast<double>(p.at - from) / per_column);
  };
  std::vector<RpmPoint> kept;
  for (std::size_t i = 0; i < part.size();) {
    std::size_t end = i;
    std::size_t lowest = i;
    std::size_t highest = i;
    for (; end < part.size() && column(part[end]) == column(part[i]); ++end) {
      if (part[end].rpm < part[lowest].rpm) lowest = end;
      if (part[end].rpm > part[highest].rpm) highest = end;
    }
    std::vector<std::size_t> indices = {i, lowest, highest, end - 1};
    std::sort(indices.begin(), indices.end());
    indices.erase(std::unique(indices.begin(), indices.end()), indices.end());
    for (const std::size_t index : indices) kept.push_back(part[index]);
    i = end;
  }
  return kept;
}

}  // namespace tachproof
