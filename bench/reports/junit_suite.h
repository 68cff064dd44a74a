// JUnit's XML, one testsuite or several, that satisfies both the schema of Jenkins' xunit
// plug-in (junit-10.xsd) and that of Maven Surefire (3.0.2).
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

struct JunitCase {
  std::string name;
  std::string group;  // the last part of its class name
  double seconds = 0;
  Verdict verdict = Verdict::undecided;  // a fail is a failure, undecided an error
  std::string message;                   // why it is no pass
  bool skipped = false;                  // whatever the verdict
  std::string output = {};               // what a reader of a pass should know; may be empty
};

struct JunitSuite {
  std::string name;
  double seconds = 0;
  std::vector<std::pair<std::string, std::string>> properties;
  std::vector<JunitCase> cases;
};

std::string junit_xml(const JunitSuite& suite);
// Several under one roof: <testsuites>, which Jenkins' schema has and Surefire's lacks.
std::string junit_xml(const std::vector<JunitSuite>& suites);

}  // namespace tachproof
