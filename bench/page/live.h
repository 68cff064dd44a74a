// What a page shows of a run while it goes: the lamps, the rpm, what is being proven, what was found.
#pragma once

#include <deque>
#include <memory>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "bench/page/event_feed.h"
#include "bench/run/hooks.h"
#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/signal/profile.h"

namespace tachproof {

// A change that the profile will demand, for "what is being proven now".
struct Proving {
  Nanos at = 0;
  std::string words;  // "boundary beyond, falling, pass 2 of 3"
};
// In time order. After a press it is as if nothing had been pressed: words for a person, no judgement.
std::vector<Proving> proving_list(const Gauge& gauge, const Profile& profile);

// Turns a run's hooks into events of a feed, each complete in itself:
//
//     lamps    {"lit": [0, 3]}                       channels of the gauge
//     rpm      {"t": 1.5, "of": 60, "rpm": 3720, "line": [[t, rpm], ...]}   the last 15 s; of: null where not
//     known phase    {"text": "..."} finding  {"list": ["...", ...], "more": 0}     worst first
class LiveRun {
 public:
  // `duration` 0: not known beforehand.
  LiveRun(const Gauge& gauge, std::shared_ptr<EventFeed> feed);
  void begins(const std::string& part, const Profile* profile);

  void progress(const RunProgress& progress, const std::string& phase = {});
  void lamps(const LampEvent& event);
  void found(const Finding& finding);

 private:
  std::string phase_at(Nanos at) const;

  const Gauge& gauge_;
  std::shared_ptr<EventFeed> feed_;
  std::mutex mutex_;  // lamps may come from a thread of the watcher's
  std::string part_;
  std::vector<Proving> proving_;
  double duration_s_ = 0;
  std::deque<std::pair<double, double>> line_;
  std::vector<Finding> findings_;
  std::string phase_;
  Channels lit_ = 0;
  bool any_lit_ = false;
};

}  // namespace tachproof
