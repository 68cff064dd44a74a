#include "bench/rigs/camera/camera.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <utility>

#include "bench/files/regions.h"
#include "bench/rigs/camera/camera_clock.h"
#include "bench/rigs/camera/camera_doubts.h"
#include "bench/rigs/camera/camera_lines.h"
#include "bench/rigs/camera/camera_process.h"
#include "bench/rigs/camera/camera_timing.h"
#include "core/base/text.h"
#include "core/camera/frame_times.h"
#include "core/camera/lamp_frames.h"

namespace tachproof {
namespace {

using namespace std::chrono_literals;

// Frames that are older than this when the run begins are of no interest.
constexpr Nanos before_the_run = 500 * ns_per_ms;

class CameraWatcher : public Watcher {
 public:
  // `zero`: by the host's clock; none: by the sync lamp, or a clip by its own changes.
  CameraWatcher(const CameraSettings& settings, const Gauge& gauge, std::shared_ptr<PlayedMarks> marks,
                RunZero zero, Attend attend, const OpenCamera& open)
      : settings_(settings),
        regions_(load_regions(settings.regions)),
        channels_(resolve(regions_, gauge)),
        marks_(std::move(marks)),
        zero_(std::move(zero)),
        attend_(std::move(attend)),
        by_(zero_           ? TimeRelation::host_clock
            : regions_.sync ? TimeRelation::sync_lamp
                            : TimeRelation::lamp_changes),
        process_(open(words())) {
    for (const std::vector<Channels>& lamp : channels_) {
      moves_.push_back(0);
      for (const Channels channel : lamp) moves_.back() |= channel;
      wired_ |= moves_.back();
    }
    greet();
    LampFrames::Setup setup;
    setup.longest_unseen = timing().widest_change();
    setup.exposure = timing().exposure();
    setup.doubt = timing().exposure_doubt() + timing().readout_doubt();
    for (const LampRegion& region : regions_.lamps) {
      setup.readout.push_back(timing().readout(region.y));
      setup.names.push_back(region.lamp);
    }
    lamps_.emplace(std::move(setup));
    doubts_.emplace(settings_, regions_, gauge, channels_, period_);
    if (by_ == TimeRelation::sync_lamp) {
      LampFrames::Setup sync;
      sync.longest_unseen = timing().widest_change();
      sync.exposure = timing().exposure();
      sync.readout = {timing().readout(regions_.sync->y)};
      sync.names = {"sync"};
      sync_lamp_.emplace(std::move(sync));
    }
    times_.emplace(period_);
  }

  WatcherFacts facts() const override {
    const CameraTiming timing = this->timing();
    WatcherFacts facts;
    facts.kind = "camera";
    facts.description =
        fmt::format("{}; its time is the run's by {}, all told within {:.1f} ms", about_, reference(),
                    to_ms(timing.most_offset() + timing.exposure_doubt() + timing.readout_doubt()));
    facts.resolution = timing.widest_change();
    // Half-widths of rectangles (GUM 4.3.7).
    const double offset = static_cast<double>(timing.most_offset()),
                 doubt = static_cast<double>(timing.exposure_doubt()),
                 rows = static_cast<double>(timing.readout_doubt());
    facts.stamp_uncertainty = static_cast<Nanos>(std::hypot(offset, doubt, rows) / std::sqrt(3.0));
    facts.stamp_offset = static_cast<Nanos>(offset / std::sqrt(3.0));
    facts.wired = wired_;
    facts.time_by = by_;
    if (settings_.live) facts.behind = timing.widest_change() + timing.exposure() + 3 * period_;
    return facts;
  }

  void begin() override {}

  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    Seen seen;
    if (by_ == TimeRelation::sync_lamp && marks_->clock.edges_played() == 0) return seen;
    if (by_ == TimeRelation::lamp_changes && !placed(until)) {
      seen.lost = std::exchange(lost_, 0);
      seen.lost_why = std::exchange(lost_why_, {});
      return seen;
    }
    while (!ended_ && !knows_until(until)) {
      if (read_line(settings_.live ? 0ms : 10'000ms)) {
        silent_since_.reset();
        take_changes();
      } else if (!settings_.live) {
        throw RigError("the camera's program has stopped");
      } else if (wait_by_source() >= until && !synced()) {
        break;  // its flash may be still to come
      }
    }
    take_changes();
    const std::optional<Nanos> known = known_in_run();
    while (!waiting_.empty() && waiting_.front().at <= until) {
      out.push_back(waiting_.front());
      waiting_.erase(waiting_.begin());
    }
    if (known) vouched_ = std::max(vouched_, std::min(*known, until));
    seen.until = vouched_;
    const bool is_last = ended_ || (marks_->duration && until >= *marks_->duration);
    if (synced()) tell_doubts(is_last, seen);
    if (by_ == TimeRelation::sync_lamp) check_clock(until, seen);
    if (ended_ && known && *known < until)
      lose(1, fmt::format(
                  "the clip ends with frame {} at {} of the run, before the run does: film until its end",
                  number_, say_time(*known)));
    seen.lost = std::exchange(lost_, 0);
    seen.lost_why = std::exchange(lost_why_, {});
    return seen;
  }

  std::vector<WatcherFile> files() const override { return {{"readings.txt", said_}}; }

  void end() noexcept override {}

 private:
  static constexpr Nanos longest_silence = 3 * ns_per_s;

  // The run's time by the source.
  Nanos wait_by_source() {
    const Nanos now = attend_().value_or(0);
    if (!silent_since_) silent_since_ = now;
    if (now - *silent_since_ > longest_silence) throw RigError("the camera gives no frames");
    return now;
  }

  std::vector<std::string> words() const {
    std::vector<std::string> words{"watch", settings_.from, "--regions", settings_.regions};
    const auto add = [&](const char* key, double value) {
      words.push_back(key);
      words.push_back(fmt::format("{}", value));
    };
    if (settings_.fps > 0) add("--fps", settings_.fps);
    if (settings_.live && settings_.exposure_ms > 0) add("--exposure-ms", settings_.exposure_ms);
    if (settings_.live && settings_.gain >= 0) add("--gain", settings_.gain);
    // The source waits for what is seen.
    if (settings_.live) add("--at-once", 1);
    return words;
  }

  void greet() {
    const auto next = [&](std::string_view start) {
      const std::optional<std::string> line = process_->line(15'000ms);
      if (line) said_ += *line + "\n";
      if (!line || !line->starts_with(start))
        throw RigError("the camera's program does not speak as it should");
      return line->substr(start.size());
    };
    next("tachproof-camera 1");
    about_ = next("about ");
    period_ = number(next("period "));
    if (period_ <= 0) throw RigError("the camera does not say how many frames a second it gives");
  }

  static Nanos number(std::string_view text) {
    Nanos value = 0;
    if (std::from_chars(text.data(), text.data() + text.size(), value).ec != std::errc())
      throw RigError("the camera's program does not speak as it should");
    return value;
  }

  CameraTiming timing() const { return {settings_, regions_, period_, by_, marks_->ends}; }
  const char* reference() const {
    switch (by_) {
      case TimeRelation::host_clock: return "the host's clock";
      case TimeRelation::sync_lamp: return "the sync lamp";
      default: return "the unit's own first and last change";
    }
  }

  // Run time less camera time.
  std::optional<SyncClock::Offset> offset_at(Nanos camera) const {
    if (!zero_) return marks_->clock.offset_at(camera);
    if (!*zero_) return std::nullopt;
    const CameraSettings::Delay delay = timing().stamp_delay();
    return SyncClock::Offset{-**zero_ - delay.to, -**zero_ - delay.from};
  }

  // ---- frames in, changes out --------------------------------------------------

  bool read_line(std::chrono::milliseconds patience) {
    const std::optional<std::string> line = process_->line(patience);
    if (!line) return false;
    said_ += *line + "\n";
    if (line->starts_with("frame ")) {
      take_frame(*line);
    } else if (line->starts_with("moved ")) {
      ++number_;
      const std::size_t blank = line->find(' ', 6);
      const Nanos at = number(std::string_view(*line).substr(6));
      moved_.push_back({at, line->substr(blank + 1) + ", at " + say_frame({number_ - 1, at})});
    } else if (*line == "end") {
      ended_ = true;
    }
    return true;
  }

  void take_frame(const std::string& line) {
    std::optional<FrameReading> frame = read_frame_line(line);
    if (!frame || frame->looks.size() != regions_.all().size())
      throw RigError("the camera's program does not speak as it should");
    const std::uint64_t number = number_++;
    const Nanos at = frame->at;
    if (zero_ && (!*zero_ || at < **zero_ - before_the_run)) return;
    if (!times_->take(at, frame->again)) return;
    if (sync_lamp_) sync_lamp_->add(at, {&frame->looks.back(), 1}, number);
    doubts_->add(at, frame->looks);
    frame->looks.resize(regions_.lamps.size());
    lamps_->add(at, frame->looks, number);
    last_frame_ = at;
    if (!sync_lamp_) return;
    for (const ChangeSpan& edge : sync_lamp_->take())
      marks_->clock.seen(edge.after - timing().exposure_doubt(), edge.before + timing().exposure_doubt(),
                         edge.changes[0].to != lamp_dark);
  }

  bool synced() const { return offset_at(last_frame_).has_value(); }

  std::optional<Nanos> known_in_run() const {
    const std::optional<Nanos> known = lamps_->known_until();
    if (!known) return std::nullopt;
    const auto offset = offset_at(*known);
    if (!offset) return std::nullopt;
    return *known + offset->middle();
  }

  bool knows_until(Nanos until) const {
    const std::optional<Nanos> known = known_in_run();
    return known && *known >= until;
  }

  Channels channels_of(const std::vector<int>& states) const {
    Channels lit = 0;
    for (std::size_t i = 0; i < states.size(); ++i)
      if (states[i] >= 0) lit |= channels_[i].at(static_cast<std::size_t>(states[i]));
    return lit;
  }

  void take_changes() {
    if (!synced() || !lamps_->begun()) return;
    if (states_.empty()) {
      states_ = lamps_->initial();
      const auto offset = offset_at(lamps_->begun_at());
      put(lamps_->begun_at() + offset->middle());
    }
    for (const ChangeSpan& change : changes()) {
      const auto offset = offset_at(change.middle());
      const Nanos at = change.middle() + offset->middle();
      std::string names;
      for (const LampChange& lamp : change.changes) {
        states_[lamp.lamp] = lamp.to;
        names += (names.empty() ? "" : ", ") + regions_.lamps[lamp.lamp].lamp;
      }
      put(at);
      if (at < 0) continue;  // what was filmed before the run is no part of it
      if (2 * change.half_width() > timing().widest_change() + readout_slack())
        lose(1, "a change of " + names + " at " + say_time(at) + " is known to " +
                    say_span(2 * change.half_width()) + " only: frames are missing; film again");
      if (offset->half_width() > timing().most_offset())
        lose(1, "the sync lamp has not flashed for so long that a change of " + names + " at " +
                    say_time(at) + " cannot be placed: press it in the scenario more often");
    }
    for (std::vector<LostSight>* all : {&moved_, &lost_sights_}) {
      if (all == &lost_sights_) lost_sights_ = lamps_->take_lost();
      for (const LostSight& one : *all)
        if (in_run(one.at) >= 0) lose(1, one.why + "; that is " + say_time(in_run(one.at)) + " of the run");
      all->clear();
    }
  }
  Nanos in_run(Nanos camera) const {
    const auto offset = offset_at(camera);
    return camera + (offset ? offset->middle() : 0);
  }

  // What is seen and not believed.
  void tell_doubts(bool is_last, Seen& seen) {
    for (const CameraDoubts::Doubt& doubt : doubts_->take(lamps_->take_others(is_last), is_last)) {
      const Nanos at = in_run(doubt.at);
      if (at < 0) continue;
      if (doubt.hides_changes)
        lose(1, doubt.finding.message);
      else
        seen.found.push_back(doubt.finding), seen.found.back().at = at;
      seen.unsure_blinks |= doubt.unsure_blinks;
    }
  }
  std::vector<ChangeSpan> changes() {
    std::vector<ChangeSpan> all = std::exchange(unplaced_, {});
    const std::vector<ChangeSpan> more = lamps_->take();
    all.insert(all.end(), more.begin(), more.end());
    return all;
  }
  Nanos readout_slack() const { return period_ / 10; }

  // By its own changes a clip is known as a whole or not at all.
  bool placed(Nanos until) {
    if (placed_) return *placed_;
    if (!marks_->ends || until < marks_->ends->duration) return false;
    while (!ended_)
      if (!read_line(10'000ms)) throw RigError("the camera's program has stopped");
    unplaced_ = lamps_->take();
    const std::string why = place_by_ends(unplaced_, moves_, timing().exposure_doubt(), *marks_);
    if (!why.empty()) lose(1, why);
    for (const LostSight& one : std::exchange(moved_, {})) lose(1, one.why);
    return *(placed_ = why.empty());
  }

  // Before the run only the last state counts.
  void put(Nanos at) {
    const Channels lit = channels_of(states_);
    // A later flash may move the clock a little, but nothing behind what was vouched for.
    at = std::max({at, last_at_, vouched_ > 0 ? vouched_ + 1 : 0});
    last_at_ = at;
    if (!waiting_.empty() && waiting_.back().at == at)
      waiting_.back().lit = lit;
    else
      waiting_.push_back({at, lit});
  }

  void check_clock(Nanos until, Seen& seen) {
    if (!marks_->clock.consistent()) {
      const std::optional<double> rate = marks_->clock.rate();
      seen.untimed = rate ? say_rate(*rate)
                          : std::string(
                                "the sync lamp's flashes do not fit those of the run: frames are "
                                "missing, or it is another run's clip");
      lose(1, seen.untimed);
    }
    const std::optional<Nanos> awaited = marks_->clock.awaited();
    // A live camera may take its time; nothing is taken as seen meanwhile.
    const Nanos patience = settings_.live ? ns_per_s : 0;
    const bool overdue =
        awaited && *awaited + timing().widest_change() + timing().most_offset() + patience < until;
    if (overdue || marks_->clock.edges_seen() > marks_->clock.edges_played())
      lose(1, fmt::format("the sync lamp was seen to change {} times, and was changed {} times by {}",
                          marks_->clock.edges_seen(), marks_->clock.edges_played(), say_time(until)));
  }

  std::string say_rate(double rate) const {
    const double fps = 1 / to_seconds(period_);
    return fmt::format(
        "the clip runs {:.1f} % {}: {:g} frames a second were stated, {:.1f} fit the flashes; say the right "
        "number (--fps, or fps in the rig file) or film again",
        100 * std::abs(rate - 1), rate > 1 ? "fast" : "slow", std::round(1000 * fps) / 1000, fps * rate);
  }

  void lose(std::uint64_t count, std::string why) {
    if (std::exchange(any_lost_, true)) return;  // once undecided, once said
    lost_ += count;
    lost_why_ = std::move(why);
  }

  CameraSettings settings_;
  Regions regions_;
  std::vector<std::vector<Channels>> channels_;
  std::shared_ptr<PlayedMarks> marks_;
  RunZero zero_;
  Attend attend_;
  TimeRelation by_;
  std::unique_ptr<CameraLines> process_;
  std::vector<Channels> moves_;  // by lamp
  Channels wired_ = 0;
  std::string about_;
  Nanos period_ = 0;
  std::optional<LampFrames> lamps_, sync_lamp_;
  std::optional<CameraDoubts> doubts_;
  std::vector<LostSight> moved_, lost_sights_;
  std::uint64_t number_ = 0;  // of frames that came
  std::string said_;          // by the camera's program
  std::optional<FrameTimes> times_;
  std::vector<int> states_;
  std::vector<ChangeSpan> unplaced_;
  std::optional<bool> placed_;
  std::vector<LampEvent> waiting_;
  Nanos last_at_ = 0, last_frame_ = 0, vouched_ = 0;
  bool ended_ = false, any_lost_ = false;
  std::optional<Nanos> silent_since_;  // by the source
  std::uint64_t lost_ = 0;
  std::string lost_why_;
};

}  // namespace

Rig camera_rig(const CameraSettings& settings, const Gauge& gauge, std::unique_ptr<Source> source,
               const OpenCamera& open) {
  const auto marks = std::make_shared<PlayedMarks>();
  Attend attend;
  if (settings.live) attend = [at = source.get()] { return at->attend(); };
  auto watcher = std::make_unique<CameraWatcher>(settings, gauge, marks, nullptr, std::move(attend), open);
  const WatcherFacts facts = watcher->facts();
  std::optional<WithoutSync> without_sync;
  if (facts.time_by == TimeRelation::lamp_changes) {
    if (settings.live)
      throw FileErrors({{settings.regions, 0, 0,
                         "there is no sync lamp; a camera's time becomes that of a board's run by one: teach "
                         "with it in view"}});
    without_sync = {gauge, facts.wired};
  }
  return {marking_source(std::move(source), settings.sync, std::move(without_sync), marks),
          std::move(watcher)};
}

std::unique_ptr<CameraLines> open_camera_program(const std::vector<std::string>& words) {
  return std::make_unique<CameraProcess>(words);
}

std::unique_ptr<Watcher> camera_by_host_clock(const CameraSettings& settings, const Gauge& gauge,
                                              RunZero zero, Attend attend, const OpenCamera& open) {
  return std::make_unique<CameraWatcher>(settings, gauge, std::make_shared<PlayedMarks>(), std::move(zero),
                                         std::move(attend), open);
}

}  // namespace tachproof
