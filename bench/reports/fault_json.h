// A fault in JSON: "kind" and its words and numbers, as files and results name them.
#pragma once

#include "bench/record/json_values.h"
#include "core/cause/fault.h"

namespace tachproof {

inline Json fault_json(const Fault& fault, const Gauge& gauge) {
  Json out;
  out["kind"] = word(fault.kind);
  const FaultKeys keys = keys_of(fault, gauge);
  for (const auto& [name, text] : keys.words) out[name] = text_to_json(text);
  for (const auto& [name, value] : keys.numbers) out[name] = number_to_json(value);
  if (!keys.channels.empty()) {
    out["channels"] = Json::array();
    for (const std::string& channel : keys.channels) out["channels"].push_back(text_to_json(channel));
  }
  return out;
}

}  // namespace tachproof
