#include "core/camera/blink_aliases.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/base/text.h"

namespace tachproof {
namespace {

constexpr double still_dark = 0.12, fully_lit = 0.88;  // of the lit lamp's light
constexpr std::size_t least_phases = 3;                // whole ones: both kinds of change between them
constexpr std::size_t most_frames = 160;               // looked at together
constexpr std::size_t first_frames = 40;               // those next to changes exclude most
constexpr double most_rate = 4;        // beside the frames': higher ones need longer exposures still
constexpr double least_rate = 0.55;    // below half of it nothing is folded
constexpr double steps_per_turn = 50;  // of the rates looked at, over the stretch
constexpr double grid_doubt = 0.5 / steps_per_turn / 2;  // of a turn, at the ends of the stretch
// Frames are exposed this evenly, whatever their stamps say: common practice, no published source.
constexpr double jitter_s = 0.25e-3;
constexpr double margin = 1.1;

double doubt(double hz) { return grid_doubt + jitter_s * hz; }

// Where a circle's points leave the largest gap, the arc that holds them all.
struct Arc {
  double from = 0, length = 0;
};

Arc arc_of(std::vector<double>& phases) {
  std::sort(phases.begin(), phases.end());
  Arc arc{phases.front(), phases.back() - phases.front()};
  double gap = 1 - arc.length;
  for (std::size_t i = 1; i < phases.size(); ++i)
    if (phases[i] - phases[i - 1] > gap) {
      gap = phases[i] - phases[i - 1];
      arc = {phases[i], 1 - gap};
    }
  return arc;
}

double turn(double x) { return x - std::floor(x); }

}  // namespace

struct BlinkAliases::Split {
  std::vector<Frame> all, first;  // that are dark or fully lit
  double between_share = 0;       // of an exposure: a change in there is seen
};

void BlinkAliases::add(Nanos at, const LampLook& look, std::uint64_t number) {
  const bool is_lit = look.state == LampLook::State::lit;
  const bool clear = is_lit || look.state == LampLook::State::dark;
  if (look.state == LampLook::State::other || (is_lit && lit_.value_or(false) && look.colour != colour_)) {
    end_stretch();
    return;
  }
  if (lit_ && at - changed_at_ > setup_.longest_phase) end_stretch();
  if (!lit_ && !clear) return;
  if (clear && lit_ && is_lit != *lit_) {
    changes_.push_back(frames_.size());
    changed_at_ = at;
  }
  if (!lit_) changed_at_ = at;
  if (clear) lit_ = is_lit;
  if (is_lit) colour_ = look.colour;
  frames_.push_back({at, clear, is_lit, look.light, look.open, number});
  if (frames_.size() < most_frames || changes_.size() < 4 * least_phases) return;
  // Goes on from here.
  examine();
  const Frame last = frames_.back();
  frames_ = {last};
  changes_.clear();
}

void BlinkAliases::end_stretch() {
  if (!changes_.empty()) examine();
  frames_.clear();
  changes_.clear();
  lit_.reset();
}

std::vector<SeenBlink> BlinkAliases::take() { return std::exchange(blinks_, {}); }

BlinkAliases::Split BlinkAliases::split(std::size_t from, std::size_t to) const {
  Split split;
  const std::size_t begin = changes_[from], end = changes_[to];
  std::vector<double> lights, opens;
  for (std::size_t i = begin; i < end; ++i)
    if (frames_[i].clear && frames_[i].lit) {
      lights.push_back(frames_[i].light);
      opens.push_back(frames_[i].open);
    }
  if (lights.empty()) return split;
  std::sort(opens.begin(), opens.end());
  // The brightest: with long exposures most frames that are lit are so in part.
  const double lit = *std::max_element(lights.begin(), lights.end()), open = opens[opens.size() / 2];
  if (lit <= 0 || open <= 0) return split;
  split.between_share = std::max(0.0, 1 - (1 - fully_lit) / open - still_dark);
  const auto next_to_change = [&](std::size_t i) {
    return std::any_of(changes_.begin(), changes_.end(),
                       [&](std::size_t c) { return i + 3 >= c && i <= c + 2; });
  };
  for (std::size_t i = begin; i < end; ++i) {
    const Frame& frame = frames_[i];
    const bool is_dark = frame.light<still_dark * lit, is_lit = frame.light> fully_lit * lit;
    if (!is_dark && !is_lit) continue;
    split.all.push_back({frame.at, true, is_lit, frame.light, frame.open, frame.number});
    if (next_to_change(i) && split.first.size() < first_frames) split.first.push_back(split.all.back());
  }
  return split;
}

// Whether a lamp that goes on and off at `hz` could have looked like this.
bool BlinkAliases::fits(const std::vector<Frame>& frames, double hz, double between_share) const {
  if (frames.empty()) return true;
  std::vector<double> lit, dark;
  const Nanos origin = frames.front().at + (frames.back().at - frames.front().at) / 2;
  for (const Frame& frame : frames)
    (frame.lit ? lit : dark).push_back(turn(to_seconds(frame.at - origin) * hz));
  if (lit.empty() || dark.empty()) return true;
  const double zone = between_share * to_seconds(setup_.exposure) * hz - 2 * doubt(hz);
  const Arc on = arc_of(lit), off = arc_of(dark);
  if (on.length + off.length + 2 * zone > 1) return false;
  double after_on = turn(off.from - on.from - on.length), after_off = turn(on.from - off.from - off.length);
  // Together one turn; each arc that reaches into the next one adds another.
  const double turns = on.length + off.length + after_on + after_off;
  if (turns > 2.5 || (turns > 1.5 && after_on > after_off)) after_on -= 1;
  if (turns > 2.5 || (turns > 1.5 && after_on <= after_off)) after_off -= 1;
  return after_on >= zone && after_off >= zone;
}

// Stretches of phases that are as long as those two before, but for a frame: a window that is
// entered or left amid a blink, or a lamp that is steady before it, would hide what is regular.
void BlinkAliases::examine() {
  const auto lasts = [&](std::size_t phase) {
    return frames_[changes_[phase + 1]].at - frames_[changes_[phase]].at;
  };
  std::size_t from = 0;
  for (std::size_t phase = 2; phase + 1 < changes_.size(); ++phase) {
    if (phase < from + 2) continue;
    if (2 * std::abs(lasts(phase) - lasts(phase - 2)) <= 3 * setup_.period + setup_.period / 4) continue;
    examine(from, phase);
    from = phase - 1;
  }
  examine(from, changes_.size() - 1);
}

void BlinkAliases::examine(std::size_t from, std::size_t to) {
  if (to < from + least_phases) return;
  const Split seen = split(from, to);
  SeenBlink blink;
  blink.from = frames_[changes_[from]].at;
  blink.frame = frames_[changes_[from]].number;
  blink.to = frames_[changes_[to]].at;
  blink.phases = static_cast<int>(to - from);
  const std::size_t cycles = (to - from) / 2;
  blink.hz = static_cast<double>(cycles) / to_seconds(frames_[changes_[from + 2 * cycles]].at - blink.from);
  const double fps = 1 / to_seconds(setup_.period), lasts_s = to_seconds(blink.to - blink.from);
  const double step = 1 / (steps_per_turn * lasts_s);
  if (seen.all.empty() || setup_.exposure == 0) {
    blink.alias_hz = fps - blink.hz;
  } else {
    for (double hz = least_rate * fps; hz < most_rate * fps && blink.alias_hz == 0; hz += step)
      if (fits(seen.first, hz, seen.between_share) && fits(seen.all, hz, seen.between_share))
        blink.alias_hz = hz;
  }
  if (blink.alias_hz > 0) {
    // Frames a whole number to a blink leave a gap of hz / fps, which an exposure must fill.
    const double lowest = fps - blink.hz, share = std::max(seen.between_share, 0.3);
    const double exposure = (margin * blink.hz / fps + 2 * doubt(lowest)) / (share * lowest);
    if (exposure < 0.9 / fps) blink.exposure_s = exposure;
    // The first rate that fits lies a little beside it.
    if (std::abs(blink.alias_hz - lowest) < 1 / lasts_s) blink.alias_hz = lowest;
  }
  blinks_.push_back(blink);
}

std::string say_alias(const SeenBlink& blink, Nanos frame_period, bool exposure_known, bool may_be_steady) {
  const double fps = 1 / to_seconds(frame_period);
  std::string text = "seems to blink at " + decimal(blink.hz, 2) + " Hz from frame " +
                     std::to_string(blink.frame) + " (" + say_time(blink.from) + ") on. At " +
                     decimal(fps, 2) + " frames a second a lamp that blinks at " +
                     decimal(blink.alias_hz, 1) + " Hz would look the same" +
                     (may_be_steady ? ", and so would a steady lamp that is dimmed at that rate" : "");
  const double needed_ms = std::ceil(blink.exposure_s * 1e4) / 10;
  if (blink.exposure_s == 0) return text + ": film with more frames a second";
  if (exposure_known)
    return text + ": film with an exposure of at least " + decimal(needed_ms, 1) +
           " ms, or with another number of frames a second";
  return text + ": state the exposure (--exposure-ms, or exposure_ms in the rig file); at least " +
         decimal(needed_ms, 1) + " ms is needed";
}

}  // namespace tachproof
