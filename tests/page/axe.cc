#include "tests/page/axe.h"

#include <fstream>
#include <sstream>

namespace tachproof {
namespace {

std::string axe_source() {
  std::ostringstream text;
  text << std::ifstream(TACHPROOF_AXE).rdbuf();
  return text.str();
}

// Waits for what moves to be still, as a colour in between is nobody's choice.
constexpr const char* script = R"(
const [tags, done] = arguments;
axe.run(document, { runOnly: tags, resultTypes: ["violations"] }).then((found) => done(found.violations.map(
    (v) => v.nodes.map((n) => v.id + ": " + v.help + ": " + n.target.join(" ") + ": " + n.failureSummary)).flat()),
  (error) => done(["axe-core itself failed: " + error]));
)";

}  // namespace

std::string axe_missing() {
  if (std::ifstream(TACHPROOF_AXE)) return {};
  return std::string(TACHPROOF_AXE) + " is not there: run tests/page/fetch_axe.sh, which needs npm";
}

std::vector<std::string> axe_violations(Browser& browser) {
  static const std::string source = axe_source();
  if (!browser.run("return typeof axe === 'object'").get<bool>())
    browser.devtools("Runtime.evaluate", {{"expression", source}});
  return browser.run_async(script,
                           nlohmann::json::array({nlohmann::json::array(
                               {"wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"})}));
}

}  // namespace tachproof
