#include "core/judge/settling.h"

#include <algorithm>

namespace tachproof {

void Settling::add(const LampEvent& event, std::vector<LampEvent>& out) {
  if (!begun_) {
    begun_ = true;
    standing_ = event.lit;
    out.push_back(event);
    return;
  }
  seen_until(event.at, out);
  if (!run_.empty() && event.at - run_.front().at > settle_) close(out);
  if (event.lit != (run_.empty() ? standing_ : run_.back().lit)) run_.push_back(event);
}

void Settling::seen_until(Nanos until, std::vector<LampEvent>& out) {
  if (!run_.empty() && until - run_.back().at >= settle_) close(out);
}

void Settling::finish(std::vector<LampEvent>& out) {
  if (!run_.empty()) close(out);
}

Nanos Settling::settled_until(Nanos seen_until) const {
  return run_.empty() ? seen_until : run_.front().at - 1;
}

void Settling::close(std::vector<LampEvent>& out) {
  const LampEvent last = run_.back();
  const bool back_again = last.lit == standing_;
  const bool in_time = last.at - run_.front().at <= settle_;
  if (back_again && last.at - run_.front().at < invisible) {
    // Nothing that anyone could have seen.
  } else if (in_time && !back_again) {
    out.push_back(last);
  } else {
    out.insert(out.end(), run_.begin(), run_.end());
  }
  standing_ = last.lit;
  run_.clear();
}

void Blends::add(const LampEvent& event, std::vector<LampEvent>& out) {
  seen_until(event.at, out);
  if (resolution_ > coarse && !is_cue_(event.lit)) {
    doubtful_.push_back(event);
    return;
  }
  if (event.lit == standing_) out.insert(out.end(), doubtful_.begin(), doubtful_.end());
  doubtful_.clear();
  standing_ = event.lit;
  out.push_back(event);
}

void Blends::seen_until(Nanos until, std::vector<LampEvent>& out) {
  if (!doubtful_.empty() && until - doubtful_.front().at > resolution_) finish(out);
}

void Blends::finish(std::vector<LampEvent>& out) {
  if (doubtful_.empty()) return;
  out.insert(out.end(), doubtful_.begin(), doubtful_.end());
  standing_ = doubtful_.back().lit;
  doubtful_.clear();
}

Nanos Blends::settled_until(Nanos seen_until) const {
  return doubtful_.empty() ? seen_until : std::min(seen_until, doubtful_.front().at - 1);
}

}  // namespace tachproof
