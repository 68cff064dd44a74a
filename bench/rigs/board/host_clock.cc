#include "bench/rigs/board/host_clock.h"

#include <boost/asio/io_context.hpp>
#include <chrono>

namespace tachproof {
namespace {

class WallClock : public HostClock {
 public:
  Nanos now() override {
    return std::chrono::nanoseconds(std::chrono::steady_clock::now().time_since_epoch()).count();
  }

  void let_pass(boost::asio::io_context& io, const SerialPort&, Nanos until) override {
    io.restart();
    io.run_one_until(std::chrono::steady_clock::time_point(std::chrono::nanoseconds(until)));
    io.poll();
  }
};

}  // namespace

std::unique_ptr<HostClock> wall_clock() { return std::make_unique<WallClock>(); }

}  // namespace tachproof
