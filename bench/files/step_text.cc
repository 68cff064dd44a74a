#include "bench/files/step_text.h"

#include <fmt/format.h>

#include "bench/files/yaml_text.h"
#include "core/base/words.h"

namespace tachproof {

std::string ms_text(Nanos t) {
  std::string digits = fmt::format("{}.{:06}", t / ns_per_ms, t % ns_per_ms);
  digits.erase(digits.find_last_not_of('0') + 1);
  if (digits.back() == '.') digits.pop_back();
  return digits + "ms";
}

std::string step_text(const Step& step, std::string (*duration)(Nanos)) {
  if (const auto* hold = std::get_if<Hold>(&step))
    return fmt::format("{{hold: {}, for: {}}}", number_text(hold->rpm), duration(hold->lasts));
  if (const auto* ramp = std::get_if<RampByRate>(&step))
    return fmt::format("{{ramp: {}, rate: {}}}", number_text(ramp->to_rpm), number_text(ramp->rpm_per_s));
  if (const auto* ramp = std::get_if<RampByTime>(&step))
    return fmt::format("{{ramp: {}, for: {}}}", number_text(ramp->to_rpm), duration(ramp->lasts));
  if (const auto* press = std::get_if<Press>(&step))
    return fmt::format("{{press: {}, for: {}}}", press->action, duration(press->lasts));
  if (const auto* off = std::get_if<PowerOff>(&step))
    return fmt::format("{{power: off, for: {}}}", duration(off->lasts));
  if (const auto* supply = std::get_if<Supply>(&step)) {
    const std::string to =
        supply->to_v == supply->from_v ? "" : fmt::format(", to: {}V", number_text(supply->to_v));
    return fmt::format("{{supply: {}V{}, for: {}}}", number_text(supply->from_v), to,
                       duration(supply->lasts));
  }
  if (const auto* ask = std::get_if<Ask>(&step); ask != nullptr && ask->wants == Ask::Wants::peak)
    return fmt::format("{{ask: {}, expect: {{equals: peak, within: {}}}}}", yaml_quoted(ask->question),
                       number_text(ask->within));
  return fmt::format("{{step: {}}}", number_text(std::get<StepTo>(step).rpm));
}

}  // namespace tachproof
