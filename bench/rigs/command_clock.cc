#include "bench/rigs/command_clock.h"

#include <cerrno>
#include <ctime>

namespace tachproof {
namespace {

class MonotonicClock : public CommandClock {
 public:
  Nanos now() override {
    timespec t{};
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec * ns_per_s + t.tv_nsec;
  }
  void wait_until(Nanos t) override {
    const timespec at{t / ns_per_s, t % ns_per_s};
    while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, nullptr) == EINTR) {
    }
  }
};

}  // namespace

std::shared_ptr<CommandClock> monotonic_clock() { return std::make_shared<MonotonicClock>(); }

}  // namespace tachproof
