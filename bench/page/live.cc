#include "bench/page/live.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "core/base/text.h"

namespace tachproof {
namespace {

constexpr double line_s = 15;
constexpr std::size_t most_findings = 12;

}  // namespace

std::vector<Proving> proving_list(const Gauge& gauge, const Profile& profile) {
  Expectation expectation(gauge);
  for (const Segment& segment : profile.segments()) expectation.add(segment);
  expectation.finish(profile.duration());
  const auto decided = expectation.take();
  std::map<std::pair<std::size_t, Direction>, int> passes;
  for (const ExpectedTransition& t : decided.transitions) ++passes[{t.boundary, t.direction}];
  std::map<std::pair<std::size_t, Direction>, int> seen;
  std::vector<Proving> list;
  for (const ExpectedTransition& t : decided.transitions) {
    const auto place = std::make_pair(t.boundary, t.direction);
    list.push_back({t.latest, fmt::format("boundary {}, {}, pass {} of {}", gauge.windows[t.boundary].name,
                                          word(t.direction), ++seen[place], passes[place])});
  }
  std::stable_sort(list.begin(), list.end(), [](const Proving& a, const Proving& b) { return a.at < b.at; });
  return list;
}

LiveRun::LiveRun(const Gauge& gauge, std::shared_ptr<EventFeed> feed)
    : gauge_(gauge), feed_(std::move(feed)) {}

void LiveRun::begins(const std::string& part, const Profile* profile) {
  const std::lock_guard lock(mutex_);
  part_ = part;
  proving_ = profile != nullptr ? proving_list(gauge_, *profile) : std::vector<Proving>();
  duration_s_ = profile != nullptr ? to_seconds(profile->duration()) : 0;
  line_.clear();
  findings_.clear();
  phase_.clear();
  feed_->say("finding", R"({"list":[],"more":0})");
  feed_->say("phase", nlohmann::json{{"text", part}}.dump());
}

std::string LiveRun::phase_at(Nanos at) const {
  const auto next =
      std::find_if(proving_.begin(), proving_.end(), [&](const Proving& p) { return p.at > at; });
  const auto done = static_cast<std::size_t>(next - proving_.begin());
  if (proving_.empty()) return part_;
  if (next == proving_.end()) return fmt::format("{}: all {} changes played", part_, proving_.size());
  return fmt::format("{}: {}; {} of {} changes played", part_, next->words, done, proving_.size());
}

void LiveRun::progress(const RunProgress& progress, const std::string& phase) {
  const std::lock_guard lock(mutex_);
  const double t = to_seconds(progress.at);
  line_.emplace_back(t, progress.rpm);
  while (line_.size() > 2 && line_[1].first < t - line_s) line_.pop_front();
  std::string points;
  for (const auto& [at, rpm] : line_)
    points += fmt::format("{}[{:.2f},{:.0f}]", points.empty() ? "" : ",", at, rpm);
  feed_->say("rpm", fmt::format("{{\"t\":{:.2f},\"of\":{},\"rpm\":{:.0f},\"line\":[{}]}}", t,
                                duration_s_ > 0 ? fmt::format("{:.2f}", duration_s_) : "null", progress.rpm,
                                points));
  const std::string now = phase.empty() ? phase_at(progress.at) : part_ + ": " + phase;
  if (now == phase_) return;
  phase_ = now;
  feed_->say("phase", nlohmann::json{{"text", valid_utf8(now)}}.dump());
}

void LiveRun::lamps(const LampEvent& event) {
  const std::lock_guard lock(mutex_);
  if (any_lit_ && event.lit == lit_) return;
  any_lit_ = true;
  lit_ = event.lit;
  std::string lit;
  for (std::size_t c = 0; c < gauge_.channels(); ++c)
    if ((event.lit >> c & 1) != 0) lit += fmt::format("{}{}", lit.empty() ? "" : ",", c);
  feed_->say("lamps", "{\"lit\":[" + lit + "]}");
}

void LiveRun::found(const Finding& finding) {
  const std::lock_guard lock(mutex_);
  findings_.push_back(finding);
  const auto severity = [](const Finding& f) { return verdict_of(f.kind) == Verdict::fail ? 0 : 1; };
  std::vector<const Finding*> order;
  for (const Finding& f : findings_) order.push_back(&f);
  std::stable_sort(order.begin(), order.end(),
                   [&](const Finding* a, const Finding* b) { return severity(*a) < severity(*b); });
  nlohmann::json list = nlohmann::json::array();
  for (std::size_t i = 0; i < std::min(most_findings, order.size()); ++i)
    list.push_back(valid_utf8(heading(*order[i]) + ": " + order[i]->message));
  const std::size_t more = order.size() - std::min(most_findings, order.size());
  feed_->say("finding", nlohmann::json{{"list", list}, {"more", more}}.dump());
}

}  // namespace tachproof
