// All that a judge was told of a run, kept so that the same evidence can be judged again
// against another gauge, as often as wanted.
//
// The calls are those of StateJudge, and they are repeated in the order in which they came:
// judged again against the same gauge, the result is the same to the last bit.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "core/judge/state_judge.h"

namespace tachproof {

class EvidenceLog {
 public:
  // Bounds the memory that a long run takes: with more lamp changes or segments than this
  // the log is not whole, and is emptied.
  static constexpr std::size_t most_kept = 2'000'000;

  void begin(const JudgeSetup& setup);
  void rpm(const Segment& segment);
  void lamps(std::span<const LampEvent> events);
  void seen_until(Nanos until);
  void disturbed(Nanos from, Nanos to);
  void pressed(const std::string& action, Nanos at, Nanos lasts);
  void pressing(const std::string& action, Nanos at);
  void released(Nanos by);
  void power_off(Nanos at, Nanos lasts);
  void supplied(const Supply& supply, Nanos at);
  void supplying(const Supply& supply, Nanos at);
  void supplied_by(Nanos by);
  void cutting(Nanos at);
  void cut(const PowerCut& cut);
  void answered(const AnswerResult& answer);
  void found(const Finding& finding);
  void lost(std::uint64_t count) { lost_ += count; }
  void pulses(std::uint64_t count) { pulses_ += count; }
  void unsure_blinks(Channels channels) { unsure_blinks_ |= channels; }
  void untimed(const std::string& why);
  void stamps(const StampTimes& stamps) { stamps_ = stamps; }
  void lights(std::span<const SeenLight> lights);
  void finish(Nanos seen_until, bool complete);

  // Begun, finished, and nothing was left out.
  bool whole() const { return begun_ && finished_ && !too_long_; }
  bool begun() const { return begun_; }

  const JudgeSetup& setup() const { return setup_; }
  const std::vector<Segment>& segments() const { return segments_; }
  const std::vector<LampEvent>& lamp_events() const { return lamps_; }
  const std::vector<std::pair<Nanos, Nanos>>& disturbances() const { return disturbed_; }
  // Of the first press or loss of power; nothing where the unit stayed as it was set.
  std::optional<Nanos> first_done() const {
    return done_.empty() ? std::nullopt : std::optional(done_.front().at);
  }
  Nanos until() const { return until_; }
  bool complete() const { return complete_; }

  // The judge's word on it. Only of a log that is whole.
  struct Changes {
    Channels wired = ~Channels{0};                      // looks at these channels only
    std::vector<std::pair<Nanos, Nanos>> excused = {};  // disturbed as well; in time order
    // In these the lamps count as they were before: a picture of no window is never forgiven.
    std::vector<std::pair<Nanos, Nanos>> hidden = {};
    std::function<void(const Reach&)> on_reach = {};
    const std::vector<Segment>* believed = nullptr;  // in place of the rpm, adjoining
    Nanos takes_late = 0;                            // as in StateJudge
    Noise noise = {};                                // in place of the signal's, where it is not quiet
    FitMemo* memo = nullptr;                         // for the next time
  };
  RunResult judged(const Gauge& gauge, const Changes& changes) const;
  RunResult judged(const Gauge& gauge) const { return judged(gauge, Changes()); }

 private:
  enum class What : std::uint8_t { rpm, lamps, lights, seen, disturbed, done, answered, found };
  struct Call {
    What what = What::rpm;
    std::size_t end = 0;  // of the list that it hands over: all before this
    Nanos until = 0;      // seen
  };
  void called(What what, std::size_t end, Nanos until = 0);
  void hide(Nanos from, Nanos to);
  void repeat(StateJudge& judge, const std::vector<Segment>* believed) const;

  struct Done {
    enum class What : std::uint8_t {
      pressed,
      pressing,
      released,
      power,
      supply,
      supplying,
      supplied_by,
      cutting,
      cut
    } what = What::pressed;
    std::string action;
    Nanos at = 0, lasts = 0;
    Supply supply = {};
    PowerCut power = {};
  };
  void add_done(Done done);

  JudgeSetup setup_;
  std::vector<Call> calls_;
  std::vector<Done> done_;
  std::vector<Segment> segments_;
  std::vector<LampEvent> lamps_;
  std::vector<SeenLight> lights_;
  std::vector<std::pair<Nanos, Nanos>> disturbed_;
  std::vector<AnswerResult> answers_;
  std::vector<Finding> found_;
  std::uint64_t lost_ = 0, pulses_ = 0;
  Channels unsure_blinks_ = 0;
  std::vector<std::string> untimed_;
  std::optional<StampTimes> stamps_;
  Nanos until_ = 0;
  bool complete_ = false, begun_ = false, finished_ = false, too_long_ = false;
};

// A judge, and the log of what it is told where one is kept.
class LoggedJudge {
 public:
  LoggedJudge(const Gauge& gauge, const JudgeSetup& setup, EvidenceLog* log)
      : judge_(gauge, setup), log_(log) {
    if (log_ != nullptr) log_->begin(setup);
  }
  void rpm(const Segment& segment) {
    judge_.rpm(segment);
    if (log_ != nullptr) log_->rpm(segment);
  }
  void lamps(std::span<const LampEvent> events) {
    judge_.lamps(events);
    if (log_ != nullptr) log_->lamps(events);
  }
  void seen_until(Nanos until) {
    judge_.seen_until(until);
    if (log_ != nullptr) log_->seen_until(until);
  }
  void disturbed(Nanos from, Nanos to) {
    judge_.disturbed(from, to);
    if (log_ != nullptr) log_->disturbed(from, to);
  }
  void pressed(const std::string& action, Nanos at, Nanos lasts) {
    judge_.pressed(action, at, lasts);
    if (log_ != nullptr) log_->pressed(action, at, lasts);
  }
  void pressing(const std::string& action, Nanos at) {
    judge_.pressing(action, at);
    if (log_ != nullptr) log_->pressing(action, at);
  }
  void released(Nanos by) {
    judge_.released(by);
    if (log_ != nullptr) log_->released(by);
  }
  void power_off(Nanos at, Nanos lasts) {
    judge_.power_off(at, lasts);
    if (log_ != nullptr) log_->power_off(at, lasts);
  }
  void supplied(const Supply& supply, Nanos at) {
    judge_.supplied(supply, at);
    if (log_ != nullptr) log_->supplied(supply, at);
  }
  void supplying(const Supply& supply, Nanos at) {
    judge_.supplying(supply, at);
    if (log_ != nullptr) log_->supplying(supply, at);
  }
  void supplied_by(Nanos by) {
    judge_.supplied_by(by);
    if (log_ != nullptr) log_->supplied_by(by);
  }
  void cutting(Nanos at) {
    judge_.cutting(at);
    if (log_ != nullptr) log_->cutting(at);
  }
  void cut(const PowerCut& cut) {
    judge_.cut(cut);
    if (log_ != nullptr) log_->cut(cut);
  }
  std::vector<PeakSpan> peaks(Nanos t) const { return judge_.peaks(t); }
  void answered(const AnswerResult& answer) {
    judge_.answered(answer);
    if (log_ != nullptr) log_->answered(answer);
  }
  void found(const Finding& finding) {
    judge_.found(finding);
    if (log_ != nullptr) log_->found(finding);
  }
  void lost(std::uint64_t count) {
    judge_.lost(count);
    if (log_ != nullptr) log_->lost(count);
  }
  void pulses(std::uint64_t count) {
    judge_.pulses(count);
    if (log_ != nullptr) log_->pulses(count);
  }
  void unsure_blinks(Channels channels) {
    judge_.unsure_blinks(channels);
    if (log_ != nullptr) log_->unsure_blinks(channels);
  }
  void untimed(const std::string& why) {
    judge_.untimed(why);
    if (log_ != nullptr) log_->untimed(why);
  }
  void stamps(const StampTimes& stamps) {
    judge_.stamps(stamps);
    if (log_ != nullptr) log_->stamps(stamps);
  }
  void lights(std::span<const SeenLight> lights) {
    judge_.lights(lights);
    if (log_ != nullptr) log_->lights(lights);
  }
  void on_reach(std::function<void(const Reach&)> sink) { judge_.on_reach(std::move(sink)); }
  void on_finding(std::function<void(const Finding&)> sink) { judge_.on_finding(std::move(sink)); }
  RunResult finish(Nanos seen_until, bool complete = true) {
    if (log_ != nullptr) log_->finish(seen_until, complete);
    return judge_.finish(seen_until, complete);
  }

 private:
  StateJudge judge_;
  EvidenceLog* log_;
};

}  // namespace tachproof
