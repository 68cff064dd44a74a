#include "bench/rigs/scpi/power_supply.h"

#include <fmt/format.h>

#include <cmath>
#include <utility>
#include <vector>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

// Many take no command sooner after an answer; from memory.
constexpr Nanos rests_for = 20 * ns_per_ms;

}  // namespace

PowerSupply::PowerSupply(const PowerSupplySetting& setting, std::shared_ptr<CommandClock> clock,
                         OpenLink open, Nanos patience)
    : ScpiDevice({"the power supply at " + setting.address, "a power supply", setting.channel, setting.answer,
                  rests_for, setting.reset},
                 std::move(clock), std::move(open), patience),
      setting_(setting) {}

void PowerSupply::set_up() {
  clear();
  set_number(source_ + "CURR", setting_.limit_a);
  set_number(source_ + "VOLT", setting_.volts);
  no_errors();
}

PowerSupply::Answer PowerSupply::set_volts(double volts) {
  const std::string header = source_ + "VOLT";
  Answer answer = ask(fmt::format("{} {:.6g};:{}?", header, volts, header));
  const std::optional<double> said = scpi_number(answer.text);
  if (!said || std::abs(*said - volts) > setting_.within_v)
    throw RigError(fmt::format("{} was set to {:.6g} V and answers {}{}", name(), volts,
                               scpi_quoted(answer.text), errors_as_text()));
  return answer;
}

PowerSupply::Answer PowerSupply::start() {
  Answer answer = ask(output_ + " ON;:" + output_ + "?");
  if (!scpi_says(answer.text, 1))
    throw RigError(fmt::format("{} was told to switch its output on and answers {}{}", name(),
                               scpi_quoted(answer.text), errors_as_text()));
  on_ = true;
  return answer;
}

std::string PowerSupply::whole_state() const {
  const std::string measured = setting_.channel == 1 ? "MEAS" : fmt::format("MEAS{}", setting_.channel);
  return fmt::format("{0}VOLT?;:{0}CURR?;:{1}?;:{2}:VOLT?", source_, output_, measured);
}

PowerSupply::Answer PowerSupply::state(double volts, bool on, bool settled) {
  const std::string question = whole_state();
  Answer answer = ask(question);
  const std::vector<std::string> said = scpi_fields(answer.text);
  if (said.size() != 4)
    throw RigError(fmt::format("{} was asked `{}` and answers {}{}", name(), question,
                               scpi_quoted(answer.text), errors_as_text()));
  std::vector<std::string> all;
  if (const auto differs = output_differs(said[2], on)) all.push_back(*differs);
  const auto off_by = [](const std::string& text, double wanted, double within) {
    const std::optional<double> number = scpi_number(text);
    return !number || std::abs(*number - wanted) > within;
  };
  if (off_by(said[0], volts, setting_.within_v))
    all.push_back(fmt::format("its voltage is set to {} V (set: {:.6g})", scpi_number_said(said[0]), volts));
  if (!scpi_is_near(said[1], setting_.limit_a))
    all.push_back(
        fmt::format("its current limit is {} A (set: {:.6g})", scpi_number_said(said[1]), setting_.limit_a));
  // Off, it need not say 0: the unit's capacitors may keep it up.
  if (on && settled && scpi_says(said[2], 1) && off_by(said[3], volts, setting_.within_v))
    all.push_back(
        fmt::format("it measures {} V at its output (set: {:.6g})", scpi_number_said(said[3]), volts));
  answer.changed = scpi_joined(all);
  return answer;
}

}  // namespace tachproof
