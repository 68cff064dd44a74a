// A rig whose every move is written down beforehand.
#pragma once

#include <algorithm>
#include <limits>
#include <memory>
#include <string>
#include <vector>

#include "bench/rigs/rig.h"

namespace tachproof {

// What the rig shall do, and what was done with it.
struct Script {
  static constexpr Nanos for_ever = std::numeric_limits<Nanos>::max();

  std::vector<LampEvent> lamps;
  Channels wired = ~Channels{0};
  bool virtual_time = true;
  int fails_at = -1;  // this operation (begin, play, press, collect; from 0) throws
  Nanos vouches_until = for_ever;
  Nanos loses_at = for_ever;  // the first collect beyond this reports 3 lost changes
  std::optional<std::string> answer;

  int operations = 0;
  int source_ends = 0;
  int watcher_ends = 0;
  Nanos played_until = 0;
  Nanos collected_until = 0;
  Nanos longest_block = 0;
  Nanos most_ahead = 0;
  std::uint64_t pulses = 0;
  std::vector<std::pair<std::string, Nanos>> presses;

  void operation(const std::string& what) {
    if (operations++ == fails_at) throw RigError(what + " failed: the cable is gone");
  }
};

class ScriptedSource : public Source {
 public:
  explicit ScriptedSource(std::shared_ptr<Script> script) : script_(std::move(script)) {}
  SourceFacts facts() const override { return {{}, "scripted", "a script", script_->virtual_time}; }
  void begin() override { script_->operation("begin"); }
  void play(const PulseBlock& block) override {
    script_->operation("play");
    script_->longest_block = std::max(script_->longest_block, block.until - script_->played_until);
    script_->pulses += block.pulses.size();
    script_->played_until = block.until;
    script_->most_ahead = std::max(script_->most_ahead, block.until - script_->collected_until);
  }
  bool can_press(const std::string&) const override { return true; }
  void press(const Press& press, Nanos at) override {
    script_->operation("press");
    script_->presses.emplace_back(press.action, at);
  }
  void end() noexcept override { ++script_->source_ends; }

 private:
  std::shared_ptr<Script> script_;
};

class ScriptedWatcher : public Watcher {
 public:
  explicit ScriptedWatcher(std::shared_ptr<Script> script) : script_(std::move(script)) {}
  WatcherFacts facts() const override { return {{}, "scripted", "a script", script_->wired, 0}; }
  void begin() override { script_->operation("begin"); }
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    script_->operation("collect");
    script_->collected_until = until;
    for (; next_ < script_->lamps.size() && script_->lamps[next_].at <= until; ++next_)
      out.push_back(script_->lamps[next_]);
    Seen seen{std::min(until, script_->vouches_until), 0, ""};
    if (until > script_->loses_at) {
      script_->loses_at = Script::for_ever;
      seen.lost = 3;
      seen.lost_why = "the capture buffer ran over";
    }
    return seen;
  }
  std::optional<std::string> answer(const Ask&) override { return script_->answer; }
  void end() noexcept override { ++script_->watcher_ends; }

 private:
  std::shared_ptr<Script> script_;
  std::size_t next_ = 0;
};

inline Rig scripted_rig(const std::shared_ptr<Script>& script) {
  return {std::make_unique<ScriptedSource>(script), std::make_unique<ScriptedWatcher>(script)};
}

}  // namespace tachproof
