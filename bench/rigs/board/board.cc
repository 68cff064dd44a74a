#include "bench/rigs/board/board.h"

#include <utility>

#include "bench/firmware/protocol.h"
#include "bench/rigs/board/board_session.h"

namespace tachproof {
namespace {

class BoardSource : public Source {
 public:
  explicit BoardSource(std::shared_ptr<BoardSession> board) : board_(std::move(board)) {}
  SourceFacts facts() const override { return board_->source_facts(); }
  void begin() override { board_->begin(); }
  void play(const PulseBlock& block) override { board_->play(block); }
  bool can_press(const std::string& action) const override { return board_->can_press(action); }
  void press(const Press& press, Nanos at) override { board_->press(press, at); }
  bool can_power() const override { return board_->can_power(); }
  void power_off(Nanos lasts, Nanos at) override { board_->power_off(lasts, at); }
  std::optional<Nanos> attend() override { return board_->attend(); }
  void beside(SideWork& errands) override { board_->beside(errands); }
  void end() noexcept override { board_->end(); }

 private:
  std::shared_ptr<BoardSession> board_;
};

class BoardWatcher : public Watcher {
 public:
  explicit BoardWatcher(std::shared_ptr<BoardSession> board) : board_(std::move(board)) {}
  WatcherFacts facts() const override { return board_->watcher_facts(); }
  void begin() override { board_->begin(); }
  Seen collect(Nanos until, std::vector<LampEvent>& out) override { return board_->collect(until, out); }
  bool tell_at_once(std::function<void(const LampEvent&)> heard) override {
    board_->tell_at_once(std::move(heard));
    return true;
  }
  void end() noexcept override { board_->end(); }

 private:
  std::shared_ptr<BoardSession> board_;
};

}  // namespace

Nanos board_tick() { return link_tick_ns; }

Rig board_rig(const BoardSettings& settings, std::unique_ptr<HostClock> clock) {
  auto board = std::make_shared<BoardSession>(settings, std::move(clock));
  return {std::make_unique<BoardSource>(board), std::make_unique<BoardWatcher>(board)};
}

}  // namespace tachproof
