#include "bench/rigs/camera.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <utility>

#include "bench/files/regions.h"
#include "bench/rigs/camera_process.h"
#include "core/frame_times.h"
#include "core/lamp_frames.h"
#include "core/sync_clock.h"
#include "core/text.h"

namespace tachproof {
namespace {

using namespace std::chrono_literals;

// One frame may be missing, twice the same or unclear; a little more for stamps.
constexpr double frames_in_a_change = 2.2;
constexpr Nanos most_drift_between_flashes = 5 * ns_per_ms;
// The light at which a lamp counts as changed, in shares of the exposure: see
// LampFrames. A lamp that fills the sensor gets there sooner.
constexpr double exposure_doubt = 0.25;
// Frames that are older than this when the run begins are of no interest.
constexpr Nanos before_the_run = 500 * ns_per_ms;
constexpr double unknown_exposure_doubt = 0.4;  // of a period

// Takes presses down on their way to the source.
class FlashingSource : public Source {
 public:
  FlashingSource(std::unique_ptr<Source> source, std::string sync, std::shared_ptr<SyncClock> clock)
      : source_(std::move(source)), sync_(std::move(sync)), clock_(std::move(clock)) {}
  SourceFacts facts() const override {
    if (source_) return source_->facts();
    SourceFacts facts;
    facts.kind = "simulated";
    facts.description = "played when the clip was made; the clock of that source is not known here";
    facts.virtual_time = true;
    return facts;
  }
  void begin() override {
    if (source_) source_->begin();
  }
  void play(const PulseBlock& block) override {
    if (source_) source_->play(block);
  }
  bool can_press(const std::string& action) const override { return !source_ || source_->can_press(action); }
  void press(const Press& press, Nanos at) override {
    if (press.action == sync_) clock_->flashed(at, at + press.lasts);
    if (source_) source_->press(press, at);
  }
  void end() noexcept override {
    if (source_) source_->end();
  }

 private:
  std::unique_ptr<Source> source_;
  std::string sync_;
  std::shared_ptr<SyncClock> clock_;
};

class CameraWatcher : public Watcher {
 public:
  // `host`: by the host's clock; else by the sync lamp.
  CameraWatcher(const CameraSettings& settings, const Gauge& gauge, std::shared_ptr<SyncClock> clock,
                std::optional<HostTime> host, const OpenCamera& open)
      : settings_(settings),
        regions_(load_regions(settings.regions)),
        channels_(resolve(regions_, gauge)),
        clock_(std::move(clock)),
        host_(std::move(host)),
        process_(open(words())) {
    if (!host_ && !regions_.sync)
      throw FileErrors(
          {{settings.regions, 0, 0,
            "there is no sync lamp; a camera's time becomes the run's by one: teach with it in view"}});
    for (const std::vector<Channels>& lamp : channels_)
      for (const Channels channel : lamp) wired_ |= channel;
    greet();
    LampFrames::Setup setup;
    setup.longest_unseen = widest_change();
    setup.exposure = exposure();
    setup.doubt = exposure_doubt_ns() + readout_doubt();
    for (const LampRegion& region : regions_.lamps) setup.readout.push_back(readout(region.y));
    lamps_.emplace(std::move(setup));
    if (!host_) {
      LampFrames::Setup sync;
      sync.longest_unseen = widest_change();
      sync.exposure = exposure();
      sync.readout = {readout(regions_.sync->y)};
      sync_lamp_.emplace(std::move(sync));
    }
    times_.emplace(period_);
  }

  WatcherFacts facts() const override {
    WatcherFacts facts;
    facts.kind = "camera";
    facts.description = fmt::format("{}; its time is the run's by {}, all told within {:.1f} ms", about_,
                                    host_ ? "the host's clock" : "the sync lamp",
                                    to_ms(most_offset() + exposure_doubt_ns() + readout_doubt()));
    facts.resolution = widest_change();
    // Half-widths of rectangles (GUM 4.3.7).
    const double offset = static_cast<double>(most_offset()),
                 doubt = static_cast<double>(exposure_doubt_ns()),
                 rows = static_cast<double>(readout_doubt());
    facts.stamp_uncertainty = static_cast<Nanos>(std::hypot(offset, doubt, rows) / std::sqrt(3.0));
    facts.wired = wired_;
    return facts;
  }

  void begin() override {}

  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    Seen seen;
    if (!host_ && clock_->edges_played() == 0) return seen;
    while (!ended_ && !knows_until(until))
      if (!read_line(host_ ? 0ms : settings_.live ? 50ms : 10'000ms)) {
        if (host_) {
          wait_by_host_clock();
          continue;
        }
        if (!settings_.live) throw RigError("the camera's program has stopped");
        if (++silent_ > most_silent) throw RigError("the camera gives no frames");
        if (!synced()) break;
      } else {
        silent_ = 0;
        heard_ = std::chrono::steady_clock::now();
        take_changes();
      }
    take_changes();
    const std::optional<Nanos> known = known_in_run();
    while (!waiting_.empty() && waiting_.front().at <= until) {
      out.push_back(waiting_.front());
      waiting_.erase(waiting_.begin());
    }
    if (known) vouched_ = std::max(vouched_, std::min(*known, until));
    seen.until = vouched_;
    if (!host_) check_clock(until);
    seen.lost = std::exchange(lost_, 0);
    seen.lost_why = std::exchange(lost_why_, {});
    return seen;
  }

  void end() noexcept override {}

 private:
  static constexpr int most_silent = 60;  // times 50 ms
  static constexpr auto longest_silence = 3000ms;

  void wait_by_host_clock() {
    if (waited_++ == 0) heard_ = std::chrono::steady_clock::now();
    if (std::chrono::steady_clock::now() - heard_ > longest_silence)
      throw RigError("the camera gives no frames");
    host_->meanwhile();
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

  // ---- what the frames leave open --------------------------------------------

  Nanos widest_change() const {
    return static_cast<Nanos>(frames_in_a_change * static_cast<double>(period_));
  }
  // Unknown: half a period, the middle of what it can be.
  Nanos exposure() const {
    return settings_.exposure_ms > 0 ? from_seconds(settings_.exposure_ms * 1e-3) : period_ / 2;
  }
  Nanos exposure_doubt_ns() const {
    const bool known = settings_.exposure_ms > 0;
    double largest = 0;  // its rows are not read at once
    for (const LampRegion& region : regions_.all()) largest = std::max(largest, region.radius);
    return static_cast<Nanos>((known ? exposure_doubt * static_cast<double>(exposure())
                                     : unknown_exposure_doubt * static_cast<double>(period_)) +
                              largest / regions_.height * readout_ns());
  }
  // From the first row to the last; unknown: anything up to a period.
  double readout_ns() const {
    return settings_.readout_ms >= 0 ? settings_.readout_ms * 1e6 : static_cast<double>(period_) / 2;
  }
  Nanos readout(double row) const { return static_cast<Nanos>(row / regions_.height * readout_ns()); }
  Nanos readout_doubt() const {
    if (settings_.readout_ms >= 0) return 0;
    double most = 0;
    const double from = host_ ? 0 : regions_.sync->y;
    for (const LampRegion& region : regions_.lamps) most = std::max(most, std::abs(region.y - from));
    return static_cast<Nanos>(most / regions_.height * readout_ns());
  }
  Nanos most_offset() const {
    if (host_) return widest_change() / 2 + (stamp_delay().to - stamp_delay().from + 1) / 2;
    return widest_change() / 2 + exposure_doubt_ns() + most_drift_between_flashes;
  }
  // What is not known of the camera is at most a period.
  CameraSettings::Delay stamp_delay() const {
    if (settings_.stamp_delay) return *settings_.stamp_delay;
    const Nanos half = settings_.exposure_ms > 0 ? exposure() / 2 : period_ / 2;
    const Nanos rows = settings_.readout_ms >= 0 ? from_seconds(settings_.readout_ms * 1e-3) : period_;
    return {-half, half + rows + period_};
  }
  // Run time less camera time.
  std::optional<SyncClock::Offset> offset_at(Nanos camera) const {
    if (!host_) return clock_->offset_at(camera);
    if (!*host_->zero) return std::nullopt;
    const CameraSettings::Delay delay = stamp_delay();
    return SyncClock::Offset{-**host_->zero - delay.to, -**host_->zero - delay.from};
  }

  // ---- frames in, changes out --------------------------------------------------

  bool read_line(std::chrono::milliseconds patience) {
    const std::optional<std::string> line = process_->line(patience);
    if (!line) return false;
    if (line->starts_with("frame ")) {
      take_frame(*line);
    } else if (line->starts_with("moved ")) {
      const std::size_t blank = line->find(' ', 6);
      lose(1, line->substr(blank + 1) + ", at " + say_time(number(std::string_view(*line).substr(6))) +
                  " of the camera's time");
    } else if (*line == "end") {
      ended_ = true;
    }
    return true;
  }

  void take_frame(const std::string& line) {
    const std::size_t blank = line.find(' ', 6);
    const Nanos at = number(std::string_view(line).substr(6));
    const std::string_view letters = std::string_view(line).substr(blank + 3);
    if (letters.size() != regions_.all().size())
      throw RigError("the camera's program does not speak as it should");
    if (host_ && (!*host_->zero || at < **host_->zero - before_the_run)) return;
    if (!times_->take(at, line[blank + 1] == 's')) return;
    std::vector<LampLook> looks;
    for (const char letter : letters) looks.push_back(look_of(letter));
    if (sync_lamp_) sync_lamp_->add(at, {&looks.back(), 1});
    looks.resize(regions_.lamps.size());
    lamps_->add(at, looks);
    last_frame_ = at;
    if (!sync_lamp_) return;
    for (const ChangeSpan& edge : sync_lamp_->take())
      clock_->seen(edge.after - exposure_doubt_ns(), edge.before + exposure_doubt_ns(),
                   edge.changes[0].to != lamp_dark);
  }

  static LampLook look_of(char letter) {
    if (letter == '.') return {LampLook::State::dark, 0, false};
    if (letter >= 'A' && letter <= 'Z')
      return {LampLook::State::lit, static_cast<std::size_t>(letter - 'A'), false};
    if (letter >= 'a' && letter <= 'z')
      return {LampLook::State::lit, static_cast<std::size_t>(letter - 'a'), true};
    return {};
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
      if (states[i] != lamp_dark) lit |= channels_[i].at(static_cast<std::size_t>(states[i]));
    return lit;
  }

  void take_changes() {
    if (!synced() || !lamps_->begun()) return;
    if (states_.empty()) {
      states_ = lamps_->initial();
      const auto offset = offset_at(lamps_->begun_at());
      put(lamps_->begun_at() + offset->middle());
    }
    for (const ChangeSpan& change : lamps_->take()) {
      const auto offset = offset_at(change.middle());
      for (const LampChange& lamp : change.changes) states_[lamp.lamp] = lamp.to;
      put(change.middle() + offset->middle());
      if (2 * change.half_width() > widest_change() + readout_slack())
        lose(1, "a change at " + say_time(change.middle() + offset->middle()) + " is known to " +
                    say_span(2 * change.half_width()) + " only: frames are missing");
      if (offset->half_width() > most_offset())
        lose(1, "the sync lamp has not flashed for so long that a change at " +
                    say_time(change.middle() + offset->middle()) + " cannot be placed");
    }
    if (lamps_->lost() > told_lost_)
      lose(lamps_->lost() - std::exchange(told_lost_, lamps_->lost()), lamps_->lost_why());
  }
  Nanos readout_slack() const { return period_ / 10; }

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

  void check_clock(Nanos until) {
    if (!clock_->consistent())
      lose(1,
           "the sync lamp's flashes do not fit those of the run: frames are missing, or it is another run's "
           "clip");
    const std::optional<Nanos> awaited = clock_->awaited();
    const bool overdue = awaited && *awaited + widest_change() + most_offset() < until;
    if (overdue || clock_->edges_seen() > clock_->edges_played())
      lose(1, fmt::format("the sync lamp was seen to change {} times, and was changed {} times by {}",
                          clock_->edges_seen(), clock_->edges_played(), say_time(until)));
  }

  void lose(std::uint64_t count, std::string why) {
    if (std::exchange(any_lost_, true)) return;  // once undecided, once said
    lost_ += count;
    lost_why_ = std::move(why);
  }

  CameraSettings settings_;
  Regions regions_;
  std::vector<std::vector<Channels>> channels_;
  std::shared_ptr<SyncClock> clock_;
  std::optional<HostTime> host_;
  std::unique_ptr<CameraLines> process_;
  Channels wired_ = 0;
  std::string about_;
  Nanos period_ = 0;
  std::optional<LampFrames> lamps_, sync_lamp_;
  std::optional<FrameTimes> times_;
  std::vector<int> states_;
  std::vector<LampEvent> waiting_;
  Nanos last_at_ = 0, last_frame_ = 0, vouched_ = 0;
  bool ended_ = false, any_lost_ = false;
  int silent_ = 0;
  std::uint64_t waited_ = 0;
  std::chrono::steady_clock::time_point heard_;
  std::uint64_t lost_ = 0, told_lost_ = 0;
  std::string lost_why_;
};

}  // namespace

Rig camera_rig(const CameraSettings& settings, const Gauge& gauge, std::unique_ptr<Source> source) {
  const auto clock = std::make_shared<SyncClock>();
  auto watcher = std::make_unique<CameraWatcher>(settings, gauge, clock, std::nullopt, open_camera_program);
  return {std::make_unique<FlashingSource>(std::move(source), settings.sync, clock), std::move(watcher)};
}

std::unique_ptr<CameraLines> open_camera_program(const std::vector<std::string>& words) {
  return std::make_unique<CameraProcess>(words);
}

std::unique_ptr<Watcher> camera_by_host_clock(const CameraSettings& settings, const Gauge& gauge,
                                              HostTime host, const OpenCamera& open) {
  return std::make_unique<CameraWatcher>(settings, gauge, std::make_shared<SyncClock>(), std::move(host),
                                         open);
}

}  // namespace tachproof
