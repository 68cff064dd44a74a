#include "bench/commands/foresight_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/text.h"

namespace tachproof {

std::string foresight_text(const Gauge& gauge, const Foresight& foresight, int width) {
  std::size_t widest = std::string_view("boundary").size();
  for (const Window& window : gauge.windows) widest = std::max(widest, window.name.size());
  std::string text = fmt::format("\n{:{}}  {:9}{:>11}{:>16}\n", "boundary", widest, "direction", "crossings",
                                 "expected U rpm");
  for (const ForeseenThreshold& row : foresight.thresholds)
    text += fmt::format(
        "{:{}}  {:9}{:>11}{:>16}  {}\n", gauge.windows[row.boundary].name, widest, word(row.direction),
        row.crossings,
        std::isfinite(row.expected_uncertainty_rpm) ? fixed(row.expected_uncertainty_rpm, 2) : "-",
        row.decided ? "decided" : "not decided");
  const auto list = [&](const std::string& sentence) {
    std::string lead = "  - ";
    for (const std::string& line : wrapped(sentence, static_cast<std::size_t>(std::max(width, 60)) - 4)) {
      text += lead + line + "\n";
      lead = "    ";
    }
  };
  const std::vector<std::string> all = warnings(gauge, foresight);
  if (all.empty())
    return text + "Every threshold will be decided, if the unit scatters no more than is usual.\n";
  text += "What this scenario will not decide\n";
  for (const std::string& warning : all) list(warning + ".");
  return text;
}

void add_foresight(nlohmann::ordered_json& out, const Gauge& gauge, const Foresight& foresight) {
  out["thresholds"] = nlohmann::ordered_json::array();
  for (const ForeseenThreshold& row : foresight.thresholds) {
    const bool known = std::isfinite(row.expected_uncertainty_rpm);
    out["thresholds"].push_back(
        {{"boundary", gauge.windows[row.boundary].name},
         {"direction", word(row.direction)},
         {"crossings", row.crossings},
         {"expected_uncertainty_rpm",
          known ? nlohmann::ordered_json(row.expected_uncertainty_rpm) : nlohmann::ordered_json(nullptr)},
         {"decided", row.decided},
         {"advice", row.advice}});
  }
  out["not_visited"] = nlohmann::ordered_json::array();
  for (const std::size_t b : foresight.not_visited) out["not_visited"].push_back(gauge.windows[b].name);
}

}  // namespace tachproof
