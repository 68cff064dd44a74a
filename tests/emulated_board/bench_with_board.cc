#include "tests/emulated_board/bench_with_board.h"

#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <system_error>
#include <utility>

#include "tests/bench/scratch_folder.h"
#include "tests/emulated_board/lock_step_clock.h"

namespace tachproof {

ServedBoard::ServedBoard(std::unique_ptr<WiredUnit> unit) : board_(TACHPROOF_BOARD_ELF), server_(board_) {
  if (unit) board_.attach(std::move(unit));
  std::array<int, 2> sockets{};
  if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, sockets.data()) != 0)
    throw std::system_error(errno, std::generic_category(), "socketpair");
  socket_ = sockets[1];
  serving_ = std::thread([this, end = sockets[0]] { server_.serve_lock_step(end); });
}

ServedBoard::~ServedBoard() {
  if (socket_ >= 0) close(socket_);
  serving_.join();
}

std::unique_ptr<HostClock> ServedBoard::take_clock(double host_rate) {
  return std::make_unique<LockStepClock>(std::exchange(socket_, -1), host_rate);
}

BenchWithBoard::BenchWithBoard(BoardSettings settings, std::unique_ptr<WiredUnit> unit, double host_rate)
    : served_(std::move(unit)) {
  settings.port = served_.port();
  rig_ = board_rig(settings, served_.take_clock(host_rate));
}

BenchWithBoard::Run BenchWithBoard::run(std::span<const Nanos> pulses, Nanos until) {
  constexpr Nanos stretch = 50 * ns_per_ms;
  constexpr Nanos ahead = 250 * ns_per_ms;
  Run out;
  const auto collect = [&](Nanos to) {
    const Seen seen = rig_.watcher->collect(to, out.events);
    out.lost += seen.lost;
    out.until = seen.until;
  };
  try {
    rig_.source->begin();
    rig_.watcher->begin();
    for (Nanos played = 0; played < until;) {
      played = std::min(played + stretch, until);
      const auto end = std::upper_bound(pulses.begin(), pulses.end(), played);
      rig_.source->play({{pulses.begin(), end}, played});
      pulses = pulses.subspan(static_cast<std::size_t>(end - pulses.begin()));
      if (played > ahead) collect(played - ahead);
    }
    while (out.until < until) collect(std::min(out.until + ahead, until));
  } catch (...) {
    rig_.source->end();
    rig_.watcher->end();
    throw;
  }
  rig_.source->end();
  rig_.watcher->end();
  return out;
}

RunResult run_on(Rig& rig, const Gauge& gauge, const Profile& profile, const JudgeWhat& what,
                 const RunHooks& hooks) {
  const ScratchFolder scratch;
  RunRecord record;
  record.gauge = gauge;
  RunFolder folder = RunFolder::create(scratch / "run", record);
  return run_scenario({gauge, profile, {}, 1, what}, rig, folder, hooks).result;
}

}  // namespace tachproof
