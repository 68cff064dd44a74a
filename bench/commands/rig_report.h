// What `rig` says: to a person in sentences, or gathered as JSON.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "bench/run/lamp_test_run.h"

namespace tachproof {

struct RigReport {
  nlohmann::ordered_json json;
  bool as_json = false;

  // As wide as the terminal; nothing when JSON is wanted.
  void say(const std::string& text) const;
  // `text` beside `label`, which has `room` columns; its further lines stay below it. Without a
  // label and room it is indented only.
  void row(const std::string& label, std::size_t room, const std::string& text) const;
  void could_not_tell(const std::string& trouble);
  bool undecided(const LampTest& test);  // says why
};

std::string listed(const std::vector<std::string>& names);

}  // namespace tachproof
