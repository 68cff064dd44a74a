#include "bench/reports/junit_suite.h"

#include <fmt/format.h>

#include <cmath>

#include "bench/record/text.h"

namespace tachproof {
namespace {

// Seconds as xs:decimal with three decimals, which every schema takes.
std::string schema_time(double seconds) {
  return fixed(std::isfinite(seconds) && seconds > 0 ? seconds : 0, 3);
}

std::string case_xml(const JunitCase& c, const std::string& suite) {
  std::string xml = fmt::format(R"(  <testcase name="{}" classname="{}.{}" time="{}")", escaped(c.name),
                                suite, c.group, schema_time(c.seconds));
  std::string inside;
  const std::string message = escaped(c.message);
  if (c.skipped)
    inside = fmt::format("    <skipped message=\"{0}\">{0}</skipped>\n", message);
  else if (c.verdict != Verdict::pass)
    inside = fmt::format("    <{0} type=\"{1}\" message=\"{2}\">{2}</{0}>\n",
                         c.verdict == Verdict::fail ? "failure" : "error", word(c.verdict), message);
  if (!c.output.empty()) inside += fmt::format("    <system-out>{}</system-out>\n", escaped(c.output));
  return xml + (inside.empty() ? "/>\n" : ">\n" + inside + "  </testcase>\n");
}

std::string properties_xml(const JunitSuite& suite) {
  if (suite.properties.empty()) return "";
  std::string xml = "  <properties>\n";
  for (const auto& [name, value] : suite.properties)
    xml += fmt::format("    <property name=\"{}\" value=\"{}\"/>\n", name, escaped(value));
  return xml + "  </properties>\n";
}

struct Tally {
  std::size_t tests = 0, failures = 0, errors = 0, skipped = 0;
  void add(const JunitSuite& suite) {
    for (const JunitCase& c : suite.cases) {
      ++tests;
      skipped += c.skipped;
      failures += !c.skipped && c.verdict == Verdict::fail;
      errors += !c.skipped && c.verdict == Verdict::undecided;
    }
  }
};

constexpr const char* declaration = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";

std::string suite_xml(const JunitSuite& suite) {
  Tally tally;
  tally.add(suite);
  // A dot in a class name starts a new level in CI servers' trees.
  std::string name = escaped(suite.name);
  for (char& c : name)
    if (c == '.') c = '_';
  std::string xml = fmt::format(
      "<testsuite name=\"{}\" tests=\"{}\" failures=\"{}\" errors=\"{}\" skipped=\"{}\" time=\"{}\">\n", name,
      tally.tests, tally.failures, tally.errors, tally.skipped, schema_time(suite.seconds));
  xml += properties_xml(suite);
  for (const JunitCase& c : suite.cases) xml += case_xml(c, name);
  return xml + "</testsuite>\n";
}

}  // namespace

std::string junit_xml(const JunitSuite& suite) { return declaration + suite_xml(suite); }

std::string junit_xml(const std::vector<JunitSuite>& suites) {
  Tally tally;
  double seconds = 0;
  std::string inside;
  for (const JunitSuite& suite : suites) {
    tally.add(suite);
    seconds += suite.seconds;
    inside += suite_xml(suite);
  }
  return declaration +
         fmt::format("<testsuites tests=\"{}\" failures=\"{}\" errors=\"{}\" time=\"{}\">\n", tally.tests,
                     tally.failures, tally.errors, schema_time(seconds)) +
         inside + "</testsuites>\n";
}

}  // namespace tachproof
