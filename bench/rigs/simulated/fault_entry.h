// One entry of the catalogue of faults, and what it reads its words with.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/time.h"

namespace tachproof {

// Throws std::invalid_argument: "The fault 'stuck-on' ... ."
[[noreturn]] inline void refuse(const FaultSetting& fault, const std::string& why) {
  throw std::invalid_argument(fmt::format("The fault '{}' {}.", fault.kind, why));
}

// A fault's words and numbers, looked up in the unit's gauge.
class FaultWords {
 public:
  FaultWords(const FaultSetting& fault, const Gauge& gauge) : fault_(fault), gauge_(gauge) {}

  bool has(const std::string& name) const { return fault_.words.count(name) > 0; }
  const std::string& text(const std::string& name) const { return fault_.words.at(name); }
  double number(const std::string& name) const { return fault_.numbers.at(name); }
  double number_or(const std::string& name, double otherwise) const {
    const auto found = fault_.numbers.find(name);
    return found == fault_.numbers.end() ? otherwise : found->second;
  }
  Nanos ms(const std::string& name) const { return std::llround(number(name) * 1e6); }
  Nanos ms_or(const std::string& name, Nanos otherwise) const {
    return has_number(name) ? ms(name) : otherwise;
  }
  Nanos seconds(const std::string& name) const { return from_seconds(number(name)); }
  bool has_number(const std::string& name) const { return fault_.numbers.count(name) > 0; }

  std::size_t window(const std::string& name) const {
    for (std::size_t i = 0; i < gauge_.windows.size(); ++i)
      if (gauge_.windows[i].name == text(name)) return i;
    refuse(fault_, fmt::format("names the window '{}', which the gauge does not have", text(name)));
  }
  std::size_t boundary() const {
    for (std::size_t i = 1; i < gauge_.windows.size(); ++i)
      if (gauge_.windows[i].name == text("boundary")) return i;
    refuse(fault_, fmt::format("names the boundary '{}', which the gauge does not have", text("boundary")));
  }
  std::size_t lamp(const std::string& name) const {
    for (std::size_t i = 0; i < gauge_.lamps.size(); ++i)
      if (gauge_.lamps[i].id == text(name)) return i;
    refuse(fault_, fmt::format("names the lamp '{}', which the gauge does not have", text(name)));
  }
  Channels lamp_channels() const { return gauge_.lamp_channels(lamp("lamp")); }
  // One colour of `lamp`.
  Channels channel(const std::string& colour) const {
    lamp("lamp");
    const Channels channel = gauge_.channel(text("lamp"), text(colour));
    if (channel == 0)
      refuse(fault_, fmt::format("names the colour '{}', which the lamp '{}' does not have", text(colour),
                                 text("lamp")));
    return channel;
  }
  [[noreturn]] void refuse_because(const std::string& why) const { refuse(fault_, why); }

 private:
  const FaultSetting& fault_;
  const Gauge& gauge_;
};

struct FaultEntry {
  FaultKind kind;
  void (*apply)(const FaultWords&, UnitSettings&);
};

inline FaultKind fault_kind(std::string name, std::string does, std::vector<std::string> words = {},
                            std::vector<std::string> numbers = {},
                            std::vector<std::string> optional_numbers = {},
                            std::vector<std::string> optional_words = {}) {
  return {std::move(name),
          std::move(does),
          std::move(words),
          std::move(numbers),
          std::move(optional_numbers),
          std::move(optional_words)};
}

// Those of buttons, power-up and dimming; in button_faults.cc.
std::vector<FaultEntry> button_faults();
// Those of the supply's voltage; in supply_faults.cc.
std::vector<FaultEntry> supply_faults();

}  // namespace tachproof
