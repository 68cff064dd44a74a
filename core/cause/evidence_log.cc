#include "core/cause/evidence_log.h"

#include <algorithm>

namespace tachproof {

void EvidenceLog::begin(const JudgeSetup& setup) {
  *this = EvidenceLog();
  setup_ = setup;
  begun_ = true;
}

// Calls of one kind in a row are one.
void EvidenceLog::called(What what, std::size_t end, Nanos until) {
  if (calls_.empty() || calls_.back().what != what) calls_.push_back({what, end, until});
  calls_.back().end = end;
  calls_.back().until = until;
  if (calls_.size() <= most_kept && segments_.size() <= most_kept &&
      lamps_.size() + lights_.size() <= most_kept)
    return;
  const JudgeSetup setup = setup_;
  *this = EvidenceLog();
  setup_ = setup;
  begun_ = too_long_ = true;
}

void EvidenceLog::rpm(const Segment& segment) {
  if (too_long_) return;
  segments_.push_back(segment);
  called(What::rpm, segments_.size());
}

void EvidenceLog::lamps(std::span<const LampEvent> events) {
  if (too_long_ || events.empty()) return;
  lamps_.insert(lamps_.end(), events.begin(), events.end());
  called(What::lamps, lamps_.size());
}

void EvidenceLog::lights(std::span<const SeenLight> lights) {
  if (too_long_ || lights.empty()) return;
  lights_.insert(lights_.end(), lights.begin(), lights.end());
  called(What::lights, lights_.size());
}

void EvidenceLog::seen_until(Nanos until) {
  if (!too_long_) called(What::seen, 0, until);
}

void EvidenceLog::disturbed(Nanos from, Nanos to) {
  if (too_long_) return;
  disturbed_.emplace_back(from, to);
  called(What::disturbed, disturbed_.size());
}

void EvidenceLog::add_done(Done done) {
  if (too_long_) return;
  done_.push_back(std::move(done));
  called(What::done, done_.size());
}

void EvidenceLog::pressed(const std::string& action, Nanos at, Nanos lasts) {
  add_done({Done::What::pressed, action, at, lasts, {}, {}});
}
void EvidenceLog::pressing(const std::string& action, Nanos at) {
  add_done({Done::What::pressing, action, at, 0, {}, {}});
}
void EvidenceLog::released(Nanos by) { add_done({Done::What::released, "", by, 0, {}, {}}); }
void EvidenceLog::power_off(Nanos at, Nanos lasts) { add_done({Done::What::power, "", at, lasts, {}, {}}); }
void EvidenceLog::supplied(const Supply& supply, Nanos at) {
  add_done({Done::What::supply, "", at, supply.lasts, supply, {}});
}

void EvidenceLog::supplying(const Supply& supply, Nanos at) {
  add_done({Done::What::supplying, "", at, supply.lasts, supply, {}});
}
void EvidenceLog::supplied_by(Nanos by) { add_done({Done::What::supplied_by, "", by, 0, {}, {}}); }
void EvidenceLog::cutting(Nanos at) { add_done({Done::What::cutting, "", at, 0, {}, {}}); }
void EvidenceLog::cut(const PowerCut& cut) { add_done({Done::What::cut, "", cut.off_to, 0, {}, cut}); }

void EvidenceLog::answered(const AnswerResult& answer) {
  if (too_long_) return;
  answers_.push_back(answer);
  called(What::answered, answers_.size());
}

void EvidenceLog::found(const Finding& finding) {
  if (too_long_) return;
  found_.push_back(finding);
  called(What::found, found_.size());
}

void EvidenceLog::untimed(const std::string& why) { untimed_.push_back(why); }

void EvidenceLog::finish(Nanos seen_until, bool complete) {
  until_ = seen_until;
  complete_ = complete;
  finished_ = true;
}

void EvidenceLog::repeat(StateJudge& judge, const std::vector<Segment>* believed) const {
  std::size_t rpm = 0, lamps = 0, lights = 0, disturbed = 0, answers = 0, found = 0, done = 0;
  // Another rpm comes whole, and first of all that is not a disturbance.
  for (const Call& call : calls_) switch (call.what) {
      case What::rpm:
        if (believed != nullptr) {
          if (rpm == 0)
            for (const Segment& segment : *believed) judge.rpm(segment);
          rpm = call.end;
        }
        for (; rpm < call.end; ++rpm) judge.rpm(segments_[rpm]);
        break;
      case What::lamps:
        judge.lamps(std::span(lamps_).subspan(lamps, call.end - lamps));
        lamps = call.end;
        break;
      case What::lights:
        judge.lights(std::span(lights_).subspan(lights, call.end - lights));
        lights = call.end;
        break;
      case What::seen: judge.seen_until(call.until); break;
      case What::disturbed:
        for (; disturbed < call.end; ++disturbed)
          judge.disturbed(disturbed_[disturbed].first, disturbed_[disturbed].second);
        break;
      case What::done:
        for (; done < call.end; ++done) {
          const Done& one = done_[done];
          switch (one.what) {
            case Done::What::pressed: judge.pressed(one.action, one.at, one.lasts); break;
            case Done::What::pressing: judge.pressing(one.action, one.at); break;
            case Done::What::released: judge.released(one.at); break;
            case Done::What::power: judge.power_off(one.at, one.lasts); break;
            case Done::What::supply: judge.supplied(one.supply, one.at); break;
            case Done::What::supplying: judge.supplying(one.supply, one.at); break;
            case Done::What::supplied_by: judge.supplied_by(one.at); break;
            case Done::What::cutting: judge.cutting(one.at); break;
            case Done::What::cut: judge.cut(one.power); break;
          }
        }
        break;
      case What::answered:
        for (; answers < call.end; ++answers) judge.answered(answers_[answers]);
        break;
      case What::found:
        for (; found < call.end; ++found) judge.found(found_[found]);
        break;
    }
}

// Of a dimmed lamp a moment before tells that it was lit.
void EvidenceLog::hide(Nanos from, Nanos to) {
  constexpr Nanos moment = 30 * ns_per_ms;
  Channels before = 0;
  const auto first = std::lower_bound(lamps_.begin(), lamps_.end(), from,
                                      [](const LampEvent& event, Nanos at) { return event.at < at; });
  for (auto event = first; event != lamps_.begin() && (event == first || event->at > from - moment);)
    before |= (--event)->lit;
  for (auto event = first; event != lamps_.end() && event->at < to; ++event) event->lit = before;
}

RunResult EvidenceLog::judged(const Gauge& gauge, const Changes& changes) const {
  JudgeSetup setup = setup_;
  setup.wired &= changes.wired;
  setup.memo = changes.memo;
  if (!changes.noise.quiet()) setup.noise = changes.noise;
  StateJudge judge(gauge, setup);
  judge.takes_late(changes.takes_late);
  if (changes.on_reach) judge.on_reach(changes.on_reach);
  if (changes.excused.empty()) {
    repeat(judge, changes.believed);
  } else {
    // The judge wants what disturbs in time order: all of it, before anything else.
    EvidenceLog more = *this;
    for (const auto& [from, to] : changes.hidden) more.hide(from, to);
    more.disturbed_.insert(more.disturbed_.end(), changes.excused.begin(), changes.excused.end());
    std::sort(more.disturbed_.begin(), more.disturbed_.end());
    std::erase_if(more.calls_, [](const Call& call) { return call.what == What::disturbed; });
    more.calls_.insert(more.calls_.begin(), {What::disturbed, more.disturbed_.size(), 0});
    more.repeat(judge, changes.believed);
  }
  judge.pulses(pulses_);
  judge.lost(lost_);
  judge.unsure_blinks(unsure_blinks_);
  for (const std::string& why : untimed_) judge.untimed(why);
  if (stamps_) judge.stamps(*stamps_);
  return judge.finish(until_, complete_);
}

}  // namespace tachproof
