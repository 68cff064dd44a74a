// The rules of tests/data/junit.xsd, by a validator that is not ours.
#pragma once

#include <gtest/gtest.h>

#include <cstdlib>
#include <string>

#include "tests/bench/approved.h"

namespace tachproof {

inline bool there_is_xmllint() { return std::system("xmllint --version >/dev/null 2>&1") == 0; }

inline void expect_valid_junit(const std::string& xml) {
  const TemporaryFolder folder;
  const std::filesystem::path file = folder.path() / "junit.xml";
  write_file(file, xml);
  const std::string command = "xmllint --noout --schema '" + (test_data() / "junit.xsd").string() + "' '" +
                              file.string() + "' 2>'" + (folder.path() / "why").string() + "'";
  EXPECT_EQ(std::system(command.c_str()), 0) << read_file(folder.path() / "why") << xml;
}

}  // namespace tachproof
