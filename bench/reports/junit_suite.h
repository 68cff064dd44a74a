// One testsuite of JUnit's XML that satisfies both the schema of Jenkins' xunit
// plug-in (junit-10.xsd) and that of Maven Surefire (3.0.2).
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "core/result.h"

namespace tachproof {

struct JunitCase {
  std::string name;
  std::string group;  // the last part of its class name
  double seconds = 0;
  Verdict verdict = Verdict::undecided;  // a fail is a failure, undecided an error
  std::string message;                   // why it is no pass
};

struct JunitSuite {
  std::string name;
  double seconds = 0;
  std::vector<std::pair<std::string, std::string>> properties;
  std::vector<JunitCase> cases;
};

std::string junit_xml(const JunitSuite& suite);

}  // namespace tachproof
