#include "bench/reports/junit_suite.h"

#include <fmt/format.h>

#include <cmath>

#include "bench/reports/text.h"

namespace tachproof {
namespace {

// Seconds as xs:decimal with three decimals, which every schema takes.
std::string schema_time(double seconds) {
  return fixed(std::isfinite(seconds) && seconds > 0 ? seconds : 0, 3);
}

std::string case_xml(const JunitCase& c, const std::string& suite) {
  std::string xml = fmt::format(R"(  <testcase name="{}" classname="{}.{}" time="{}")", escaped(c.name),
                                suite, c.group, schema_time(c.seconds));
  if (c.verdict == Verdict::pass) return xml + "/>\n";
  const char* const element = c.verdict == Verdict::fail ? "failure" : "error";
  const std::string message = escaped(c.message);
  return xml + fmt::format(">\n    <{0} type=\"{1}\" message=\"{2}\">{2}</{0}>\n  </testcase>\n", element,
                           word(c.verdict), message);
}

std::string properties_xml(const JunitSuite& suite) {
  std::string xml = "  <properties>\n";
  for (const auto& [name, value] : suite.properties)
    xml += fmt::format("    <property name=\"{}\" value=\"{}\"/>\n", name, escaped(value));
  return xml + "  </properties>\n";
}

}  // namespace

std::string junit_xml(const JunitSuite& suite) {
  std::size_t failures = 0;
  std::size_t errors = 0;
  for (const JunitCase& c : suite.cases) {
    failures += c.verdict == Verdict::fail;
    errors += c.verdict == Verdict::undecided;
  }
  // A dot in a class name starts a new level in CI servers' trees.
  std::string name = escaped(suite.name);
  for (char& c : name)
    if (c == '.') c = '_';
  std::string xml = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
  xml += fmt::format(
      "<testsuite name=\"{}\" tests=\"{}\" failures=\"{}\" errors=\"{}\" skipped=\"0\" time=\"{}\">\n", name,
      suite.cases.size(), failures, errors, schema_time(suite.seconds));
  xml += properties_xml(suite);
  for (const JunitCase& c : suite.cases) xml += case_xml(c, name);
  return xml + "</testsuite>\n";
}

}  // namespace tachproof
