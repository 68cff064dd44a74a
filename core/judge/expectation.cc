#include "core/judge/expectation.h"

#include <algorithm>
#include <utility>

#include "core/judge/reaches.h"
#include "core/judge/trigger_moves.h"

namespace tachproof {

class Expectation::Impl {
 public:
  Impl(const Gauge& gauge, const ExpectationOptions& options) : triggers_(gauge, options), reaches_(gauge) {}

  void add(const Segment& segment) {
    triggers_.add(segment);
    hand_over();
  }

  void finish(Nanos until) {
    triggers_.finish(until);
    hand_over();
    reaches_.publish(triggers_.complete_until());
  }

  void disturbed(Nanos from, Nanos to) { reaches_.disturbed(from, to); }

  std::size_t crossings(std::size_t boundary, Direction direction) const {
    return triggers_.crossings(boundary, direction);
  }

  Decided take(Nanos until) {
    reaches_.publish(std::min(triggers_.complete_until(), until));
    return reaches_.take();
  }

 private:
  void hand_over() {
    if (!reaches_.begun()) reaches_.begin(triggers_.beginning());
    reaches_.add(triggers_.moves());
  }

  TriggerMoves triggers_;
  Reaches reaches_;
};

Expectation::Expectation(const Gauge& gauge, const ExpectationOptions& options)
    : impl_(std::make_unique<Impl>(gauge, options)) {}
Expectation::~Expectation() = default;
Expectation::Expectation(Expectation&&) noexcept = default;
void Expectation::add(const Segment& segment) { impl_->add(segment); }
void Expectation::finish(Nanos until) { impl_->finish(until); }
void Expectation::disturbed(Nanos from, Nanos to) { impl_->disturbed(from, to); }
Expectation::Decided Expectation::take(Nanos until) { return impl_->take(until); }
std::size_t Expectation::crossings(std::size_t boundary, Direction direction) const {
  return impl_->crossings(boundary, direction);
}

ExpectedRun expect(const Gauge& gauge, const Profile& profile, const ExpectationOptions& options) {
  Expectation expectation(gauge, options);
  for (const Segment& segment : profile.segments()) expectation.add(segment);
  expectation.finish(profile.duration());
  Expectation::Decided decided = expectation.take();
  return {std::move(decided.reaches), std::move(decided.transitions)};
}

}  // namespace tachproof
