#include "bench/rigs/scpi/scpi_supply.h"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <limits>
#include <utility>

#include "bench/rigs/last_words.h"
#include "bench/rigs/pulse_wire.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

constexpr Nanos no_order = std::numeric_limits<Nanos>::max();
constexpr Nanos between_commands =
    20 * ns_per_ms;  // between a command and the source's next, and between two of ours
constexpr Nanos state_every = 500 * ns_per_ms;
// The source gets to an errand this late at most: a board tells its time in answers to questions.
Nanos late_by(SourceClock clock) { return clock == SourceClock::device ? 100 * ns_per_ms : between_commands; }

// So long before the end of a step what ends it is sent.
Nanos lead_of(const PowerSupplySetting& setting, const SourceTiming& source) {
  return setting.answer + source.lag + 2 * between_commands;
}

// The source of a rig, and the supply that feeds its unit.
class FedSource : public Source, private SideWork {
 public:
  FedSource(std::unique_ptr<Source> source, const PowerSupplySetting& setting,
            std::unique_ptr<PowerSupply> supply, std::shared_ptr<CommandClock> clock, SourceClock by,
            Nanos awake)
      : source_(std::move(source)),
        setting_(setting),
        supply_(std::move(supply)),
        clock_(std::move(clock)),
        by_(by),
        awake_(awake),
        lead_(lead_of(setting, source_->facts())) {
    talk([&] {
      supply_->set_up();
      longest_ = supply_->answer_time();
    });
    source_->beside(*this);
  }

  SourceFacts facts() const override {
    SourceFacts facts = source_->facts();
    static_cast<SourceTiming&>(facts) = with_scpi_supply(setting_, facts, by_);
    const std::string& unlocked = supply_->keys_not_locked();
    facts.description += fmt::format("; fed by {} ({}), {} V, at most {} A; its keys are {}locked",
                                     supply_->name(), shown(supply_->identity()), setting_.volts,
                                     setting_.limit_a, unlocked.empty() ? "" : "not ");
    return facts;
  }
  std::optional<std::string> cannot_play(const PlayRequest& request) override {
    for (const Action& action : request.profile.actions())
      if (const auto* off = std::get_if<PowerOff>(&action.what); off && off->lasts < shortest_cut())
        return fmt::format("it cuts the supply for {} ms; {} needs {} ms to switch off and on again",
                           to_ms(off->lasts), supply_->name(), to_ms(shortest_cut()));
    return source_->cannot_play(request);
  }

  // The unit is awake before the run begins.
  void begin() override {
    talk([&] {
      if (longest_ > setting_.answer)
        throw RigError(fmt::format(
            "{} takes up to {:.1f} ms to answer, and the rig file allows {:.1f} ms: set `answer_ms: {:.0f}`",
            supply_->name(), to_ms(longest_), to_ms(setting_.answer), 1.5 * to_ms(longest_) + 1));
      supply_->rest();
      supply_->set_volts(setting_.volts);
      supply_->rest();
      supply_->start();
    });
    volts_ = setting_.volts;
    on_ = true;
    ended_ = failed_ = false;
    changed_ = clock_->now();
    orders_.clear();
    supplied_.clear();
    left_ = {};
    const Nanos awake = clock_->now() + setting_.settle + awake_;
    while (clock_->now() < awake && !in_a_hurry())
      clock_->wait_until(std::min(awake, clock_->now() + between_commands));
    talk([&] { look(); });
    source_->begin();
  }
  void rpm(const Segment& segment) override { source_->rpm(segment); }
  void play(const PulseBlock& block) override { source_->play(block); }
  bool can_press(const std::string& action) const override { return source_->can_press(action); }
  void press(const Press& press, Nanos at) override { source_->press(press, at); }
  bool can_power() const override { return true; }
  void power_off(Nanos lasts, Nanos at) override {
    if (PulseWire* wire = source_->wire_to_unit()) wire->actions.push_back({at, PowerOff{lasts}});
    orders_.push_back({at, at, false, 0, 0, 0});
    orders_.push_back({at + lasts - lead_, at + lasts, true, 0, 0, 0});
  }
  bool can_supply() const override { return true; }
  void supply(const Supply& step, Nanos at) override {
    if (PulseWire* wire = source_->wire_to_unit()) wire->actions.push_back({at, step});
    orders_.push_back({at, at, true, step.from_v, step.to_v, at + step.lasts});
  }
  std::optional<Nanos> attend() override { return source_->attend(); }
  std::vector<PlayedChange> take_played() override { return source_->take_played(); }
  std::vector<SuppliedChange> take_supplied() override { return std::exchange(supplied_, {}); }

  // The signal first: no pulse goes into a unit without a supply for longer than it must.
  void end() noexcept override {
    source_->end();
    if (ended_) return;
    ended_ = true;
    try {
      std::string wrong;
      if (!failed_ && !in_a_hurry()) wrong = last_look();
      const bool said = failed_ && on_;
      on_ = !supply_->make_silent();
      supply_->unlock();
      left_.sound = wrong.empty() && !on_;
      left_.said = wrong.empty() ? on_ ? supply_->name() + " does not say that it is off: " + maybe_on
                                       : std::string("the power supply's output is off, confirmed")
                                 : wrong + "; " + (on_ ? maybe_on : off_confirmed);
      if (said) left_.said.clear();
    } catch (const std::exception&) {
      left_.sound = false;  // no memory for words
    }
  }
  SourceEnd how_it_ended() const override {
    SourceEnd both = source_->how_it_ended();
    if (left_.said.empty()) return {both.sound && left_.sound, both.said};
    // Of two that are well only one sentence; of one that is not, its own.
    if (!left_.sound && both.sound) both.said.clear();
    if (left_.sound && !both.sound) return both;
    both.said += (both.said.empty() ? "" : "; ") + left_.said;
    both.sound = both.sound && left_.sound;
    return both;
  }

 private:
  // On with so many volts, or off. Of a ramp what is left of it, until `ends`.
  struct Order {
    Nanos send = 0, due = 0;
    bool on = true;
    double from_v = 0, to_v = 0;  // 0: as before
    Nanos ends = 0;
  };

  Nanos shortest_cut() const { return lead_ + setting_.answer + setting_.settle + late_by(by_); }

  // Whatever goes wrong, the output is off before anybody hears of it.
  template <class Talk>
  void talk(Talk step) {
    try {
      step();
    } catch (const RigError& e) {
      failed_ = true;
      on_ = !supply_->make_silent();
      throw RigError(std::string(e.what()) + "; " + (on_ ? maybe_on : off_confirmed));
    }
  }

  Nanos next() const override { return orders_.empty() ? no_order : orders_.front().send; }

  void run(const std::function<Nanos()>& no_later) override {
    const Order order = orders_.front();
    orders_.pop_front();
    talk([&] { obey(order, no_later); });
  }

  void obey(const Order& order, const std::function<Nanos()>& no_later) {
    supply_->rest();
    if (order.from_v > 0 && order.from_v != volts_) {
      supply_->set_volts(order.from_v);
      volts_ = order.from_v;
      changed_ = clock_->now();
    } else if (order.on != on_) {
      if (order.on)
        supply_->start();
      else
        supply_->stop();
      on_ = order.on;
      changed_ = clock_->now();
    }
    const Nanos answered = no_later();
    supplied_.push_back(
        {order.due, order.send, answered + setting_.settle, on_ ? volts_ : 0, setting_.within_v});
    if (const Nanos late = answered - (order.due + setting_.answer + late_by(by_)); late > 0)
      throw RigError(
          fmt::format("{}: what was due at {:.3f} s was read back {:.1f} ms too late: `answer_ms` in the rig "
                      "file is {:.1f} "
                      "ms, so give it more, and close other programs",
                      supply_->name(), to_seconds(order.due), to_ms(late), to_ms(setting_.answer)));
    go_on(order, answered);
  }

  // The next step of a ramp, as far as it has come by then.
  void go_on(const Order& order, Nanos now) {
    if (order.to_v == order.from_v) return;
    const Nanos last = order.ends - lead_;
    const Nanos at = std::max(now, order.due) + between_commands;
    if (at + setting_.answer + between_commands >= last) {
      orders_.push_front({std::max(last, at), std::max(last, at), true, order.to_v, order.to_v, order.ends});
      return;
    }
    const double share = static_cast<double>(at - order.due) / static_cast<double>(order.ends - order.due);
    orders_.push_front(
        {at, at, true, order.from_v + share * (order.to_v - order.from_v), order.to_v, order.ends});
  }

  void spare(Nanos time) override {
    if (failed_ || ended_ || clock_->now() < looked_ + state_every) return;
    if (longest_ * 3 / 2 + 2 * between_commands > time) return;
    talk([&] { look(); });
  }

  void look() {
    supply_->rest();
    const bool settled = clock_->now() >= changed_ + setting_.settle;
    const PowerSupply::Answer answer = supply_->state(volts_, on_, settled);
    if (!answer.changed.empty())
      throw RigError(
          fmt::format("{} no longer does what was set: {}{}. An overload, a hand at its front panel or "
                      "another program has "
                      "changed it: find out which, then run again",
                      supply_->name(), answer.changed, supply_->errors_as_text()));
    looked_ = clock_->now();
  }

  std::string last_look() {
    try {
      look();
      const std::string errors = supply_->errors_as_text();
      return errors.empty() ? "" : supply_->name() + " reports an error of this run" + errors;
    } catch (const RigError& e) {
      return e.what();
    }
  }

  std::unique_ptr<Source> source_;
  const PowerSupplySetting setting_;
  std::unique_ptr<PowerSupply> supply_;
  std::shared_ptr<CommandClock> clock_;
  const SourceClock by_;
  const Nanos awake_;
  const Nanos lead_;
  Nanos longest_ = 0;

  std::deque<Order> orders_;  // in time order
  double volts_ = 0;
  bool on_ = false, ended_ = true;
  bool failed_ = false;             // somebody has been told why
  Nanos changed_ = 0, looked_ = 0;  // by the host's clock
  std::vector<SuppliedChange> supplied_;
  SourceEnd left_;
};

}  // namespace

SourceTiming with_scpi_supply(const PowerSupplySetting& setting, const SourceTiming& source,
                              SourceClock clock) {
  SourceTiming both = source;
  both.switch_from = -lead_of(setting, source);
  both.switch_to = setting.answer + setting.settle + late_by(clock);
  return both;
}

Rig with_supply(Rig rig, const PowerSupplySetting& setting, std::unique_ptr<PowerSupply> supply,
                std::shared_ptr<CommandClock> clock, SourceClock source, Nanos awake) {
  rig.source = std::make_unique<FedSource>(std::move(rig.source), setting, std::move(supply),
                                           std::move(clock), source, awake);
  return rig;
}

}  // namespace tachproof
