#include "bench/rigs/camera/camera_watcher.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <utility>

#include "core/base/text.h"

namespace tachproof {
namespace {

using namespace std::chrono_literals;

// Frames that are older than this when the run begins are of no interest.
constexpr Nanos before_the_run = 500 * ns_per_ms;
constexpr Nanos longest_silence = 3 * ns_per_s;
constexpr std::chrono::milliseconds program_patience = 10s;

[[noreturn]] void stopped() {
  throw RigError(fmt::format("the camera's program has sent nothing for {} s: run this again",
                             std::chrono::duration<double>(program_patience).count()));
}

// Each taught colour's light beside that of the weakest.
std::vector<double> levels_of(const LampReference& lamp) {
  double weakest = lamp.colours.empty() ? 1 : lamp.colours[0].core.sum();
  for (const ColourReference& colour : lamp.colours) weakest = std::min(weakest, colour.core.sum());
  std::vector<double> levels;
  for (const ColourReference& colour : lamp.colours)
    levels.push_back(colour.core.sum() / std::max(weakest, 1e-9));
  return levels;
}

// How many each region was taught.
std::vector<std::size_t> colours_of(const Regions& regions) {
  std::vector<std::size_t> colours;
  for (const LampRegion& region : regions.all()) colours.push_back(region.looks.colours.size());
  return colours;
}

std::string say_rate(double rate, Nanos period) {
  const double fps = 1 / to_seconds(period);
  return fmt::format(
      "the clip runs {:.1f} % {}: its flashes fit {:.1f} frames a second, and {:g} were stated. Give the "
      "right "
      "number (--fps, or fps in the rig file), or film again",
      100 * std::abs(rate - 1), rate > 1 ? "fast" : "slow", fps * rate, std::round(1000 * fps) / 1000);
}

const Dim* dimming_of(const Gauge& gauge) {
  for (const Button& button : gauge.buttons)
    if (const auto* dim = std::get_if<Dim>(&button.does)) return dim;
  return nullptr;
}

CameraSettings for_unit(CameraSettings settings, const Gauge& gauge) {
  if (const Dim* dim = dimming_of(gauge))
    settings.least_level = *std::min_element(dim->levels.begin(), dim->levels.end());
  return settings;
}

}  // namespace

CameraWatcher::CameraWatcher(const CameraSettings& settings, const Gauge& gauge,
                             std::shared_ptr<PlayedMarks> marks, RunZero zero, Attend attend,
                             const OpenCamera& open)
    : settings_(for_unit(settings, gauge)),
      regions_(load_regions(settings.regions)),
      channels_(resolve(regions_, gauge)),
      marks_(std::move(marks)),
      zero_(std::move(zero)),
      attend_(std::move(attend)),
      by_(zero_           ? TimeRelation::host_clock
          : regions_.sync ? TimeRelation::sync_lamp
                          : TimeRelation::lamp_changes),
      stream_(settings_, colours_of(regions_), open),
      times_(stream_.period()) {
  for (const std::vector<Channels>& lamp : channels_) {
    moves_.push_back(0);
    for (const Channels channel : lamp) moves_.back() |= channel;
    wired_ |= moves_.back();
  }
  lamps_.emplace(setup_for(regions_.lamps));
  if (dimming_of(gauge) != nullptr) dims_.emplace(setup_for(regions_.lamps).levels);
  doubts_.emplace(settings_, regions_, gauge, channels_, stream_.period());
  if (by_ == TimeRelation::sync_lamp) sync_lamp_.emplace(setup_for({*regions_.sync}));
}

LampFrames::Setup CameraWatcher::setup_for(const std::vector<LampRegion>& regions) const {
  const CameraTiming timing = this->timing();
  LampFrames::Setup setup;
  setup.longest_unseen = timing.widest_change();
  setup.exposure = timing.exposure();
  setup.exposure_within = timing.exposure_within();
  setup.doubt = timing.readout_doubt();
  for (const LampRegion& region : regions) {
    setup.readout.push_back(timing.readout(region.y));
    setup.rows.push_back(timing.own_rows(region));
    setup.levels.push_back(levels_of(region.looks));
    setup.names.push_back(region.lamp.empty() ? "sync" : region.lamp);
  }
  return setup;
}

WatcherFacts CameraWatcher::facts() const {
  const CameraTiming timing = this->timing();
  const auto offset = static_cast<double>(timing.most_offset()),
             rows = static_cast<double>(timing.readout_doubt());
  const char* reference = by_ == TimeRelation::host_clock  ? "the host's clock sets"
                          : by_ == TimeRelation::sync_lamp ? "the sync lamp sets"
                                                           : "the unit's own first and last change set";
  WatcherFacts facts;
  facts.kind = "camera";
  facts.description = fmt::format("{}; {} its time in the run, within {:.1f} ms in all", stream_.about(),
                                  reference, (offset + rows) * 1e-6);
  facts.resolution = timing.resolution();
  // Half-widths of rectangles (GUM 4.3.7); what the run's frames leave open of it is reported as it ends.
  facts.stamp_uncertainty = static_cast<Nanos>(std::hypot(offset, rows) / std::sqrt(3.0));
  facts.stamp_offset = facts.stamp_uncertainty;
  facts.wired = wired_;
  facts.time_by = by_;
  if (settings_.live)
    facts.behind = timing.widest_change() + timing.exposure() + (dims_ ? 7 : 5) * stream_.period();
  return facts;
}

Seen CameraWatcher::collect(Nanos until, std::vector<LampEvent>& out) {
  Seen seen;
  if (by_ == TimeRelation::sync_lamp && marks_->clock.edges_played() == 0) return seen;
  if (waits_for_all(until)) return seen;
  if (by_ == TimeRelation::lamp_changes && !placed(until)) {
    seen.lost = std::exchange(lost_, 0);
    seen.lost_why = std::exchange(lost_why_, {});
    return seen;
  }
  read_until(until);
  take_changes();
  const std::optional<Nanos> known = known_in_run();
  while (!waiting_.empty() && waiting_.front().at <= until) {
    out.push_back(waiting_.front());
    waiting_.erase(waiting_.begin());
  }
  if (known) vouched_ = std::max(vouched_, std::min(*known, until));
  seen.until = vouched_;
  if (synced()) tell_lights(seen);
  const bool is_last = stream_.ended() || (marks_->duration && until >= *marks_->duration);
  if (synced()) tell_doubts(is_last, seen);
  seen.stamps = stamps_.times(timing().readout_doubt());
  if (by_ == TimeRelation::sync_lamp) check_clock(until, seen);
  if (stream_.ended() && known && *known < until)
    lose(
        fmt::format("the clip ends after {} frames, {} into the run and before the run does: copy the file "
                    "again if it was cut off, or film to the run's end",
                    stream_.frames(), say_time(*known)));
  seen.lost = std::exchange(lost_, 0);
  seen.lost_why = std::exchange(lost_why_, {});
  return seen;
}

// ---- frames in ----------------------------------------------------------------

// Every flash of a clip says something of its time as a whole.
bool CameraWatcher::waits_for_all(Nanos until) const {
  return by_ == TimeRelation::sync_lamp && !settings_.live && marks_->duration && until < *marks_->duration;
}

void CameraWatcher::read_until(Nanos until) {
  if (by_ == TimeRelation::sync_lamp && !settings_.live && marks_->duration) read_all();
  const auto knows = [&] {
    const std::optional<Nanos> known = known_in_run();
    return known && *known >= until;
  };
  while (!stream_.ended() && !knows()) {
    if (read(settings_.live ? 0ms : program_patience)) {
      silent_since_.reset();
      take_changes();
    } else if (!settings_.live) {
      stopped();
    } else if (wait_by_source() >= until && !synced()) {
      return;  // its flash may be still to come
    }
  }
}

void CameraWatcher::read_all() {
  while (!stream_.ended())
    if (!read(program_patience)) stopped();
}

bool CameraWatcher::read(std::chrono::milliseconds patience) {
  std::optional<CameraStream::Line> line = stream_.next(patience);
  if (!line) return false;
  if (line->frame) take_frame(*line->frame);
  if (stream_.ended()) pass_held_frames(true);
  if (line->moved) moved_.push_back(std::move(*line->moved));
  return true;
}

// The run's time by the source.
Nanos CameraWatcher::wait_by_source() {
  const Nanos now = attend_().value_or(0);
  if (!silent_since_) silent_since_ = now;
  if (now - *silent_since_ > longest_silence)
    throw RigError(fmt::format("the camera {} has given no frame for {} s: check its cable, then run again",
                               settings_.from, to_seconds(longest_silence)));
  return now;
}

void CameraWatcher::take_frame(CameraStream::Frame& frame) {
  std::vector<LampLook>& looks = frame.reading.looks;
  const Nanos at = frame.reading.at;
  if (zero_ && (!*zero_ || at < **zero_ - before_the_run)) return;
  if (!times_.take(at, frame.reading.again)) return;
  DimFollower::Frame taken{at, frame.number, std::move(looks)};
  if (!dims_) return look_at_frame(taken);
  dims_->add(std::move(taken));
  pass_held_frames(false);
}

void CameraWatcher::pass_held_frames(bool all) {
  if (!dims_) return;
  while (std::optional<DimFollower::Frame> frame = dims_->take(all)) look_at_frame(*frame);
  for (const DimFollower::Steady& lamp : dims_->take_steady()) {
    const Channels channel = channels_[lamp.lamp].at(lamp.colour);
    if (channel != 0)
      lights_.push_back({lamp.at, static_cast<std::size_t>(std::countr_zero(channel)), lamp.flux, lamp.open,
                         settings_.tone});
  }
}

void CameraWatcher::look_at_frame(DimFollower::Frame& frame) {
  const Nanos at = frame.at;
  std::vector<LampLook>& looks = frame.looks;
  if (sync_lamp_) sync_lamp_->add(at, {&looks.back(), 1}, frame.number);
  doubts_->add(at, looks, frame.number);
  looks.resize(regions_.lamps.size());
  lamps_->add(at, looks, frame.number);
  last_frame_ = at;
  if (!sync_lamp_) return;
  for (const ChangeSpan& edge : sync_lamp_->take())
    marks_->clock.seen(edge.after, edge.before, edge.changes[0].to != lamp_dark);
}

// By its own changes a clip is known as a whole or not at all.
bool CameraWatcher::placed(Nanos until) {
  if (placed_) return *placed_;
  if (!marks_->ends || until < marks_->ends->duration) return false;
  read_all();
  unplaced_ = lamps_->take();
  const std::string why = place_by_ends(unplaced_, moves_, stream_.period(), *marks_);
  if (!why.empty()) lose(why);
  for (const LostSight& one : std::exchange(moved_, {})) lose(one.what + ": " + one.remedy);
  return *(placed_ = why.empty());
}

// ---- the camera's time and the run's ------------------------------------------

std::optional<SyncClock::Offset> CameraWatcher::offset_at(Nanos camera) const {
  if (!zero_) return marks_->clock.offset_at(camera);
  if (!*zero_) return std::nullopt;
  const CameraSettings::Delay delay = timing().stamp_delay();
  return SyncClock::Offset{-**zero_ - delay.to, -**zero_ - delay.from};
}

std::optional<Nanos> CameraWatcher::known_in_run() const {
  const std::optional<Nanos> known = lamps_->known_until();
  if (!known) return std::nullopt;
  const auto offset = offset_at(*known);
  if (!offset) return std::nullopt;
  return *known + offset->middle();
}

Nanos CameraWatcher::in_run(Nanos camera) const {
  const auto offset = offset_at(camera);
  return camera + (offset ? offset->middle() : 0);
}

// ---- changes out --------------------------------------------------------------

void CameraWatcher::take_changes() {
  if (!synced() || !lamps_->begun()) return;
  if (states_.empty()) {
    states_ = lamps_->initial();
    put(in_run(lamps_->begun_at()));
  }
  for (const ChangeSpan& change : std::exchange(unplaced_, {})) take(change);
  for (const ChangeSpan& change : lamps_->take()) take(change);
  tell_lost_sights();
}

void CameraWatcher::take(const ChangeSpan& change) {
  const auto offset = offset_at(change.middle());
  const Nanos at = change.middle() + offset->middle();
  std::string names;
  bool is_other = false;  // it comes and goes by degrees, and is a finding of its own
  for (const LampChange& lamp : change.changes) {
    states_[lamp.lamp] = lamp.to;
    names += (names.empty() ? change.changes.size() > 1 ? "lamps " : "lamp " : ", ") +
             regions_.lamps[lamp.lamp].lamp;
    is_other = is_other || lamp.from == lamp_other || lamp.to == lamp_other;
  }
  put(at);
  // What was filmed before the run or after it is no part of it.
  if (at < 0 || (marks_->duration && at > *marks_->duration) || is_other) return;
  stamps_.add(change.half_width(), offset->half_width());
  const CameraTiming timing = this->timing();
  if (2 * change.half_width() > timing.resolution() + stream_.period() / 10)
    lose(names + " changed by " + say_frame(change.shown) + ", " + say_time(at) +
         " into the run. Frames are missing there, so that the change is known only to " +
         say_span(2 * change.half_width()) + ": film again");
  if (offset->half_width() > timing.most_offset())
    lose(names + " changed at " + say_frame(change.shown) +
         ", and the sync lamp had not flashed for too long to say when in the run: let the scenario press '" +
         settings_.sync + "' more often");
}

void CameraWatcher::tell_lost_sights() {
  for (std::vector<LostSight> all : {std::exchange(moved_, {}), lamps_->take_lost()})
    for (const LostSight& one : all)
      if (in_run(one.at) >= 0)
        lose(one.what + ", " + say_time(in_run(one.at)) + " into the run: " + one.remedy);
}

// Before the run only the last state counts.
void CameraWatcher::put(Nanos at) {
  // A later flash may move the clock a little, but nothing behind what was vouched for.
  at = std::max({at, last_at_, vouched_ > 0 ? vouched_ + 1 : 0});
  last_at_ = at;
  if (!waiting_.empty() && waiting_.back().at == at)
    waiting_.back().lit = lit();
  else
    waiting_.push_back({at, lit()});
}

Channels CameraWatcher::lit() const {
  Channels lit = 0;
  for (std::size_t i = 0; i < states_.size(); ++i)
    if (states_[i] >= 0) lit |= channels_[i].at(static_cast<std::size_t>(states_[i]));
  return lit;
}

// Up to where the run is known.
void CameraWatcher::tell_lights(Seen& seen) {
  while (!lights_.empty() && in_run(lights_.front().at) <= seen.until) {
    SeenLight light = lights_.front();
    lights_.pop_front();
    light.at = in_run(light.at);
    if (light.at >= 0) seen.lights.push_back(light);
  }
}

// What is seen and not believed.
void CameraWatcher::tell_doubts(bool is_last, Seen& seen) {
  for (const CameraDoubts::Doubt& doubt : doubts_->take(lamps_->take_others(is_last), is_last)) {
    const Nanos at = in_run(doubt.at);
    if (at < 0) continue;
    if (doubt.hides_changes)
      lose(doubt.finding.message);
    else
      seen.found.push_back(doubt.finding), seen.found.back().at = at;
    seen.unsure_blinks |= doubt.unsure_blinks;
  }
}

void CameraWatcher::check_clock(Nanos until, Seen& seen) {
  if (!marks_->clock.consistent()) {
    const std::optional<double> rate = marks_->clock.rate();
    seen.untimed = rate ? say_rate(*rate, stream_.period())
                        : std::string(
                              "the sync lamp's flashes do not fit those of the run: frames are missing, or "
                              "the clip is of another run. Film again");
    lose(seen.untimed);
  }
  const std::optional<Nanos> awaited = marks_->clock.awaited();
  // A live camera may take its time; nothing is taken as seen meanwhile.
  const Nanos patience = settings_.live ? ns_per_s : 0;
  const bool overdue =
      awaited && *awaited + timing().widest_change() + timing().most_offset() + patience < until;
  if (overdue || marks_->clock.edges_seen() > marks_->clock.edges_played())
    lose(fmt::format(
        "the sync lamp was seen to change {} times by {} of the run, and the source changed it {} "
        "times: keep it in view and free of glare, and film again",
        marks_->clock.edges_seen(), say_time(until), marks_->clock.edges_played()));
}

// Once undecided, once said.
void CameraWatcher::lose(std::string why) {
  if (std::exchange(any_lost_, true)) return;
  ++lost_;
  lost_why_ = std::move(why);
}

}  // namespace tachproof
