// Any bytes as an rpm log: a line that says what is wrong, or samples that a profile can be made of.
#include <variant>

#include "bench/files/rpm_log.h"
#include "tests/fuzz/fuzz.h"

namespace tachproof {
namespace {

void replay(std::string_view text, const LogAsk& ask) {
  const auto log = read_rpm_log(text, ask);
  if (const auto* trouble = std::get_if<LogTrouble>(&log)) {
    fuzz::require_fit_for_a_line(trouble->found + "; " + trouble->allowed);
    return;
  }
  const LoggedRpm& step = std::get<RpmLog>(log).step;
  fuzz::require(step.samples->front().at == 0);
  const Profile profile(std::vector<Step>{step});
  fuzz::require(profile.duration() == step.samples->back().at);
}

}  // namespace
}  // namespace tachproof

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  const std::string_view text = fuzz::text_of(data, size);
  LogAsk ask;
  ask.time = "t";
  ask.rpm = "n";
  replay(text, ask);
  ask.from_s = 0.01;
  ask.to_s = 0.03;
  replay(text, ask);
  ask.time_in = "ms";
  replay(text, ask);
  return 0;
}
