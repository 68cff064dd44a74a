// Any bytes as a generator's answers, a line each: it is set up, played and switched off, or a
// RigError says why not, in words that are fit for a terminal.
#include <algorithm>
#include <memory>
#include <utility>

#include "bench/rigs/rig.h"
#include "bench/rigs/scpi/instrument.h"
#include "tests/fuzz/fuzz.h"

namespace {

using namespace tachproof;

// Moves only when something waits.
class StillClock : public CommandClock {
 public:
  Nanos now() override { return now_; }
  void wait_until(Nanos t) override { now_ = std::max(now_, t); }

 private:
  Nanos now_ = 0;
};

class Lines : public InstrumentLink {
 public:
  explicit Lines(std::string_view& left) : left_(left) {}
  void write(const std::string&) override {}
  std::optional<std::string> read(Nanos) override {
    if (left_.empty()) return std::nullopt;
    const std::size_t end = std::min(left_.find('\n'), left_.size());
    std::string line(left_.substr(0, end));
    left_.remove_prefix(std::min(end + 1, left_.size()));
    return line;
  }
  int descriptor() const override { return -1; }

 private:
  std::string_view& left_;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string_view left = fuzz::text_of(data, size);
  ScpiSetting setting;
  setting.address = "192.0.2.7";
  setting.amplitude_v = 5;
  setting.load_ohm = size % 2 == 0 ? std::optional<double>(50) : std::nullopt;
  try {
    Instrument generator(setting, std::make_shared<StillClock>(),
                         [&left] { return std::make_unique<Lines>(left); });
    generator.set_up();
    generator.answer_times();
    double read_back = 0;
    generator.start(100, read_back);
    generator.set_frequency(200, read_back);
    generator.stop();
    generator.make_silent();
  } catch (const RigError& e) {
    fuzz::require_fit_for_a_line(e.what());
  }
  return 0;
}
