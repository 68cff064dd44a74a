// Every number that report.html prints of a row is the one in result.json, rounded.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <regex>

#include "bench/record/result_json.h"
#include "bench/reports/run_report.h"
#include "tests/bench/pressed_run.h"

namespace tachproof {
namespace {

using nlohmann::json;

using Cells = std::vector<std::string>;

std::string plain(std::string html) {
  html = std::regex_replace(html, std::regex("<[^>]*>"), "");
  for (const auto& [from, to] : {std::pair("−", "-"), std::pair("–", "-")}) {
    for (std::size_t at = 0; (at = html.find(from, at)) != std::string::npos;)
      html.replace(at, std::string(from).size(), to);
  }
  return html;
}

// The rows below a heading, without those that only hold a remark.
std::vector<Cells> table(const std::string& page, const std::string& heading) {
  std::size_t at = page.find("<h2>" + heading + "</h2>");
  if (at == std::string::npos) return {};
  at = page.find("<tbody>", at);
  const std::string body = page.substr(at, page.find("</tbody>", at) - at);
  std::vector<Cells> rows;
  const std::regex row("<tr>(.*?)</tr>"), cell("<td[^>]*>(.*?)</td>");
  for (std::sregex_iterator r(body.begin(), body.end(), row), end; r != end; ++r) {
    const std::string inside = (*r)[1];
    if (inside.find("colspan") != std::string::npos) continue;
    Cells cells;
    for (std::sregex_iterator c(inside.begin(), inside.end(), cell); c != end; ++c)
      cells.push_back(plain((*c)[1]));
    rows.push_back(std::move(cells));
  }
  return rows;
}

// The printed text is `value`, rounded to the decimals that it has; a dash where it was not measured.
void expect_printed(const std::string& text, const json& value, const std::string& where) {
  if (value.is_null()) {
    EXPECT_EQ(text, "-") << where;
    return;
  }
  std::string number = text;
  if (number.starts_with('+')) number.erase(0, 1);
  std::size_t read = 0;
  const double printed = std::stod(number, &read);
  EXPECT_EQ(read, number.size()) << where << ": " << text;
  const std::size_t point = number.find('.');
  const double decimals = point == std::string::npos ? 0 : static_cast<double>(number.size() - point - 1);
  EXPECT_NEAR(printed, value.get<double>(), 0.5000001 * std::pow(10.0, -decimals)) << where;
}

struct Made {
  const char* name;
  drumlin::Run (*run)();
};

class ReportNumbers : public ::testing::TestWithParam<Made> {
 protected:
  drumlin::Run run = GetParam().run();
  std::string page = report_html(run.record, run.trace);
  json result = json::parse(result_json(run.record));

  // Each printed row is the same row of result.json, in its order.
  void expect_rows(const std::string& heading, const char* key,
                   const std::vector<std::pair<std::size_t, const char*>>& numbers) {
    const std::vector<Cells> rows = table(page, heading);
    ASSERT_EQ(rows.size(), result.at(key).size()) << heading;
    for (std::size_t i = 0; i < rows.size(); ++i)
      for (const auto& [column, name] : numbers) {
        ASSERT_LT(column, rows[i].size()) << heading;
        const std::string where = heading + " " + std::to_string(i + 1) + ", " + name;
        expect_printed(rows[i][column], result.at(key)[i].at(name), where);
      }
  }
};

TEST_P(ReportNumbers, OfBoundariesAreThoseOfTheResult) {
  expect_rows("Boundaries", "boundaries",
              {{2, "nominal_rpm"},
               {3, "threshold_rpm"},
               {5, "expanded_uncertainty_rpm"},
               {6, "coverage_factor"},
               {8, "visits"}});
  const std::vector<Cells> rows = table(page, "Boundaries");
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const json& b = result["boundaries"][i];
    EXPECT_EQ(rows[i][0], b["boundary"]);
    EXPECT_EQ(rows[i][1], b["direction"]);
    if (!b["threshold_rpm"].is_null())
      expect_printed(rows[i][4], b["threshold_rpm"].get<double>() - b["nominal_rpm"].get<double>(),
                     "deviation");
  }
}

TEST_P(ReportNumbers, OfDeadbandsResponsesBlinksAndFlickerAreThoseOfTheResult) {
  expect_rows("Deadbands", "deadbands",
              {{1, "nominal_rpm"}, {2, "width_rpm"}, {3, "expanded_uncertainty_rpm"}});
  expect_rows("Responses", "responses", {{2, "response_ms"}, {3, "expanded_uncertainty_ms"}, {4, "visits"}});
  expect_rows("Blinking", "blinks", {{2, "hz"}, {3, "duty"}, {4, "cycles"}});
  expect_rows("Flicker", "flicker",
              {{1, "mean_rpm"},
               {2, "duration_s"},
               {3, "changes"},
               {4, "rate_per_min"},
               {5, "upper_95_per_min"},
               {6, "limit_per_min"}});
}

TEST_P(ReportNumbers, OfTransitionsAreThoseOfTheResult) {
  const std::vector<Cells> rows = table(page, "Transitions");
  std::size_t compared = 0;
  for (const Cells& cells : rows) {
    const json& t = result["transitions"].at(std::stoul(cells[0]) - 1);
    EXPECT_EQ(cells[2], t["boundary"]);
    EXPECT_EQ(cells[3], t["direction"]);
    expect_printed(cells[4], t["nominal_rpm"], "nominal");
    if (t["step"].get<bool>()) continue;  // of a step the response is printed
    expect_printed(cells[1], t["at_s"], "at");
    expect_printed(cells[5], t["observed_rpm"], "observed");
    expect_printed(cells[6], t["deviation_rpm"], "deviation");
    expect_printed(cells[8], t["expanded_uncertainty_rpm"], "U");
    ++compared;
  }
  EXPECT_GT(compared, 5U);
}

TEST_P(ReportNumbers, OfPressesDimmingAndPowerAreThoseOfTheResult) {
  expect_rows("Presses", "presses", {{2, "rpm"}, {5, "reaction_ms"}});
  expect_rows("Dimming", "dims", {{1, "at_s"}});
  expect_rows(
      "Power", "powers",
      {{2, "at_s"}, {3, "back_at_s"}, {4, "boot_ms"}, {5, "expanded_uncertainty_ms"}, {7, "greeted_ms"}});
  const std::vector<Cells> presses = table(page, "Presses"), dims = table(page, "Dimming");
  for (std::size_t i = 0; i < presses.size(); ++i) {
    const json& press = result["presses"][i];
    EXPECT_EQ(presses[i][0], press["button"]);
    expect_printed(presses[i][1], press["at_s"], "at");
    if (press["taken_rpm"].is_null()) continue;
    expect_printed(presses[i][3], press["taken_rpm"], "taken");
    expect_printed(presses[i][4], press["expanded_uncertainty_rpm"], "U");
  }
  const auto percent = [](const json& share) {
    return share.is_null() ? share : json(100 * share.get<double>());
  };
  for (std::size_t i = 0; i < dims.size(); ++i) {
    const json& dim = result["dims"][i];
    EXPECT_EQ(dims[i][5], dim["lamp"]);
    expect_printed(dims[i][2], percent(dim["set_level"]), "set");
    expect_printed(dims[i][3], percent(dim["level"]), "level");
    expect_printed(dims[i][4], percent(dim["expanded_uncertainty"]), "U");
  }
}

INSTANTIATE_TEST_SUITE_P(Drumlin, ReportNumbers,
                         testing::Values(Made{"pass", drumlin::passing}, Made{"fail", drumlin::failing},
                                         Made{"undecided", drumlin::undecided},
                                         Made{"pressed", pressed::passing},
                                         Made{"pressed_and_fails", pressed::failing},
                                         Made{"pressed_too_late", pressed::undecided}),
                         [](const auto& one) { return std::string(one.param.name); });

}  // namespace
}  // namespace tachproof
