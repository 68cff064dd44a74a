#include "bench/rigs/scpi/scpi_source.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>
#include <utility>

#include "bench/rigs/last_words.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

// A square wave slower than this is none: nothing is played.
constexpr double slowest_hz = 1e-3;
constexpr Nanos a_moment = 2 * ns_per_ms;
constexpr Nanos look_every = 100 * ns_per_ms;

// The source lives as long as the rig, which holds both.
class PacedWatcher : public Watcher {
 public:
  PacedWatcher(ScpiSource& source, std::unique_ptr<Watcher> watcher)
      : source_(source), watcher_(std::move(watcher)) {}
  WatcherFacts facts() const override { return watcher_->facts(); }
  void begin() override { watcher_->begin(); }
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    source_.work_until(until);
    return watcher_->collect(until, out);
  }
  std::optional<std::string> answer(const Ask& ask) override { return watcher_->answer(ask); }
  void end() noexcept override { watcher_->end(); }
  std::vector<WatcherFile> files() const override { return watcher_->files(); }

 private:
  ScpiSource& source_;
  std::unique_ptr<Watcher> watcher_;
};

}  // namespace

SteppedTiming stepped_timing(const ScpiSetting& setting) {
  return {setting.answer + setting.settle, setting.within_rpm};
}

double frequency_bound_rpm(const ScpiSetting& setting, double pulses_per_rev) {
  return setting.within_rpm + setting.resolution_hz * 60 / pulses_per_rev;
}

std::optional<std::string> no_even_wave(const PlayRequest& request) {
  const Noise& noise = request.noise;
  if (noise.missing > 0 || noise.doubled > 0)
    return "a signal generator plays an even wave: it cannot leave pulses out or double them";
  if (!noise.firing.empty()) return "a signal generator plays an even wave: it cannot play a firing pattern";
  if (!noise.quiet()) return "a signal generator plays an even wave: it cannot play the scenario's noise";
  if (request.dwell) return "a dwell plays noise, and a signal generator plays an even wave";
  return std::nullopt;
}

ScpiSource::ScpiSource(const ScpiSetting& setting, double pulses_per_rev, std::shared_ptr<CommandClock> clock,
                       std::unique_ptr<Instrument> generator, RunZero zero)
    : setting_(setting),
      pulses_per_rev_(pulses_per_rev),
      timing_(stepped_timing(setting)),
      clock_(std::move(clock)),
      generator_(std::move(generator)),
      steps_(timing_),
      zero_(std::move(zero)) {
  talk([&] {
    generator_->set_up();
    longest_ = generator_->answer_times();
  });
}

// Whatever goes wrong, the output is off before anybody hears of it.
template <class Talk>
auto ScpiSource::talk(Talk step) -> decltype(step()) {
  try {
    return step();
  } catch (const RigError& e) {
    failed_ = true;
    on_ = !generator_->make_silent();
    throw RigError(std::string(e.what()) + "; " + (on_ ? maybe_on : off_confirmed));
  }
}

SourceFacts ScpiSource::facts() const {
  SourceFacts facts;
  facts.kind = "scpi";
  const std::string& unlocked = generator_->keys_not_locked();
  facts.description = fmt::format(
      "{} ({}), square wave {} Vpp, offset {} V; read back within {:.1f} ms before the run; its rpm follows "
      "the profile within {:.1f} ms and {:.3f} rpm; its keys are {}locked",
      generator_->name(), shown(generator_->identity()), setting_.amplitude_v, setting_.offset_v,
      to_ms(longest_.change), to_ms(source_lag(timing_)), frequency_bound_rpm(setting_, pulses_per_rev_),
      unlocked.empty() ? "" : "not ");
  if (!unlocked.empty())
    facts.note = fmt::format(
        "the generator's keys could not be locked (it answers {} to `SYST:RWL`): nobody may touch it during "
        "a "
        "run; a change that is there when its state is read back makes the run undecided",
        unlocked);
  facts.clock_ppm = setting_.clock_ppm;
  facts.lag = source_lag(timing_);
  facts.rpm = frequency_bound_rpm(setting_, pulses_per_rev_);
  return facts;
}

std::optional<std::string> ScpiSource::cannot_play(const PlayRequest& request) {
  if (std::optional<std::string> why = no_even_wave(request)) return why;
  const double fastest = request.profile.highest_rpm() * pulses_per_rev_ / 60;
  if (fastest < slowest_hz) return std::nullopt;
  try {
    double read_back = 0;
    generator_->rest();
    generator_->set_frequency(fastest, read_back);
  } catch (const RigError& e) {
    generator_->make_silent();
    return std::string("it cannot play the fastest rpm: ") + e.what();
  }
  return std::nullopt;
}

bool ScpiSource::can_press(const std::string&) const { return false; }
void ScpiSource::press(const Press&, Nanos) {
  throw std::logic_error("a signal generator was asked to press; can_press has said that it cannot");
}

void ScpiSource::begin() {
  talk([&] {
    if (longest_.change > setting_.answer)
      throw RigError(fmt::format(
          "{} takes up to {:.1f} ms to answer, and the rig file allows {:.1f} ms: set `answer_ms: {:.0f}`",
          generator_->name(), to_ms(longest_.change), to_ms(setting_.answer),
          1.5 * to_ms(longest_.change) + 1));
  });
  steps_ = SteppedRpm(timing_);
  next_.reset();
  zero_->reset();
  *wire_ = {};
  pulses_ = {};
  played_.clear();
  known_until_ = looked_ = 0;
  hz_ = 0;
  on_ = failed_ = ended_ = false;
  left_ = {};
}

void ScpiSource::rpm(const Segment& segment) {
  steps_.add(segment);
  known_until_ = segment.start.whole + from_seconds(segment.lasts_s);
}

// The first frequency is set before the output is on; the run begins when the
// output is due.
void ScpiSource::start() {
  next_ = steps_.next(0);
  generator_->rest();
  if (next_ && next_->rpm * pulses_per_rev_ / 60 >= slowest_hz) {
    double read_back = 0;
    generator_->set_frequency(next_->rpm * pulses_per_rev_ / 60, read_back);
  }
  *zero_ = clock_->now() + timing_.change + setting_.settle;
}

void ScpiSource::make(const RpmChange& change) {
  const double hz = change.rpm * pulses_per_rev_ / 60;
  const bool on = hz >= slowest_hz;
  if (!on && !on_) return;
  PlayedChange played;
  played.due = change.at;
  Instrument::Answer answer;
  clock_->wait_until(**zero_ + change.at - half());
  generator_->rest();
  if (!on)
    answer = generator_->stop();
  else if (on_)
    answer = generator_->set_frequency(hz, played.hz);
  else
    answer = generator_->start(hz, played.hz);
  on_ = on;
  hz_ = hz;
  played.sent = run_time(answer.sent);
  played.answered = run_time(answer.came);
  played_.push_back(played);
  pulses_.frequency(std::max<Nanos>((played.sent + played.answered) / 2, 0), played.hz, *wire_);
  if (const Nanos late = played.answered - (change.at - half() + setting_.answer); late > 0)
    throw RigError(
        fmt::format("{}: the change due at {:.3f} s was read back {:.1f} ms too late: `answer_ms` in the rig "
                    "file is {:.1f} ms, so give it more",
                    generator_->name(), to_seconds(change.at), to_ms(late), to_ms(setting_.answer)));
  believe(answer);
}

void ScpiSource::believe(const Instrument::Answer& answer) {
  const Nanos at = std::max<Nanos>(run_time(answer.came), 0);
  if (!answer.changed.empty())
    throw RigError(fmt::format(
        "{} no longer does what was set: at {:.3f} s {}{}; at {:.3f} s all was well. An overload, a "
        "hand at its front panel or another program has changed it: find out which, then run again",
        generator_->name(), to_seconds(at), answer.changed, generator_->errors_as_text(),
        to_seconds(looked_)));
  looked_ = at;
}

// Until the next change is sent, or may be.
bool ScpiSource::room_to_look(Nanos until) const {
  const Nanos now = run_time(clock_->now());
  const Nanos free_until = next_ ? next_->at - half() : std::max(until, known_until_ - timing_.change);
  return now >= looked_ + look_every && now + longest_.state * 3 / 2 + setting_.settle <= free_until;
}

void ScpiSource::look() {
  generator_->rest();
  believe(generator_->state(hz_, on_));
}

// One that comes before the next change.
bool ScpiSource::run_errand(Nanos until) {
  if (errands_ == nullptr) return false;
  const Nanos at = errands_->next();
  if (at > until || (next_ && next_->at - half() < at)) return false;
  clock_->wait_until(**zero_ + at);
  errands_->run([this] { return run_time(clock_->now()); });
  return true;
}

void ScpiSource::work_until(Nanos until) {
  if (ended_) return;
  talk([&] {
    if (!*zero_) start();
    for (;;) {
      if (!next_) next_ = steps_.next(std::max(run_time(clock_->now()), until) + half());
      if (run_errand(until)) continue;
      if (!next_ || next_->at - half() > until) break;
      make(*std::exchange(next_, std::nullopt));
    }
    if (room_to_look(until)) look();
    if (errands_ != nullptr && next_)
      errands_->spare(next_->at - half() - run_time(clock_->now()));
    else if (errands_ != nullptr)
      errands_->spare(std::max(until, known_until_ - timing_.change) - run_time(clock_->now()));
    clock_->wait_until(**zero_ + until);
    pulses_.run_until(until, *wire_);
  });
}

std::optional<Nanos> ScpiSource::attend() {
  if (!*zero_) return Nanos{-1};
  work_until(run_time(clock_->now()) + a_moment);
  return run_time(clock_->now());
}

std::vector<PlayedChange> ScpiSource::take_played() { return std::exchange(played_, {}); }

// What is wrong when the run is over: its state, and what its error queue has.
std::string ScpiSource::last_look() {
  try {
    look();
    const std::string errors = generator_->errors_as_text();
    return errors.empty() ? "" : generator_->name() + " reports an error of this run" + errors;
  } catch (const RigError& e) {
    return e.what();
  }
}

void ScpiSource::end() noexcept {
  if (ended_) return;
  ended_ = true;
  try {
    // Nobody waits for it after a fault, or in a hurry.
    std::string wrong;
    if (*zero_ && !failed_ && !in_a_hurry()) wrong = last_look();
    const bool said = failed_ && on_;
    on_ = !generator_->make_silent();
    generator_->unlock();
    left_.sound = wrong.empty() && !on_;
    left_.said = wrong.empty() ? on_ ? generator_->name() + " does not say that it is off: " + maybe_on
                                     : std::string("the generator's output is off, confirmed")
                               : wrong + "; " + (on_ ? maybe_on : off_confirmed);
    if (said) left_.said.clear();
  } catch (const std::exception&) {
    left_.sound = false;  // no memory for words
  }
}

Rig paced_by(std::unique_ptr<ScpiSource> source, std::unique_ptr<Watcher> watcher) {
  Rig rig;
  rig.watcher = std::make_unique<PacedWatcher>(*source, std::move(watcher));
  rig.source = std::move(source);
  return rig;
}

}  // namespace tachproof
