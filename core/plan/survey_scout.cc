#include "core/plan/survey_scout.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "core/base/rpm.h"
#include "core/base/text.h"
#include "core/judge/window_reading.h"

namespace tachproof {
namespace {

constexpr double sweep_rpm_per_s = 500;
constexpr Nanos shortest_stay = 1100 * ns_per_ms;
constexpr Nanos shortest = 20 * ns_per_ms;  // of a stretch that is stayed in
constexpr double rough_rpm = 10;            // how well a sweep tells a boundary
constexpr std::size_t most_stays = 200;

}  // namespace

UnknownSurvey::UnknownSurvey(const Gauge& hints, const SurveySetup& setup) : hints_(hints), setup_(setup) {
  const double lowest = hints.boundaries() > 0 ? hints.windows[1].from_rpm : 1000;
  const double highest = hints.boundaries() > 0 ? hints.windows.back().from_rpm : 8000;
  low_ = hundredths(0.4 * lowest);
  high_ = hundredths(std::min(1.2 * highest, Profile::max_rpm));
}

// Long enough to show two changes each way of a slow blink.
Nanos UnknownSurvey::stay() const {
  return std::max(shortest_stay, hints_.blink ? from_seconds(2.4 / std::max(hints_.blink->hz, 0.2)) : 0);
}

std::vector<Step> UnknownSurvey::sweep() const {
  const Nanos stay = this->stay();
  const Nanos lasts = from_seconds((high_ - low_) / sweep_rpm_per_s) / ns_per_ms * ns_per_ms;
  const Nanos seen = setup_.ahead + hints_.tolerance.response_to + 50 * ns_per_ms;
  return {Hold{low_, unit_wakes}, RampByTime{high_, lasts}, Hold{high_, stay}, RampByTime{low_, lasts},
          Hold{low_, seen}};
}

std::vector<Step> UnknownSurvey::stays(const SurveyView& view) {
  const Profile profile(view.steps);
  const std::vector<Segment>& segments = profile.segments();
  up_from_ = segments[1].start.whole;
  up_to_ = segments[3].start.whole;  // with the stay at the top
  down_from_ = up_to_;
  down_to_ = profile.duration();
  for (const LampEvent& change : shown_lamps(view.events, setup_.judge.wired, hints_.tolerance.settle)) {
    if (change.at <= up_from_ || stretches_.empty()) {
      stretches_ = {{up_from_, up_to_, change.lit, {}, 0, 0, 0, 0}};
    } else if (change.at < up_to_) {
      stretches_.back().to = change.at;
      stretches_.push_back({change.at, up_to_, change.lit, {}, 0, 0, 0, 0});
    }
  }
  // Blinking makes many short stretches of one window: staying in each would
  // tell the same, so only the first of alternating ones is stayed in, and the
  // next that shows something new, or the same for longer: that is a window of
  // its own, which begins where the blinking ends.
  const Nanos stay = this->stay();
  std::vector<Step> out;
  std::vector<Stretch> stayed_in;
  Nanos at = down_to_;
  for (std::size_t i = 0; i < stretches_.size() && out.size() < most_stays; ++i) {
    const Stretch& s = stretches_[i];
    const Nanos lasts = s.to - s.from;
    const bool seen_before = i >= 2 && stretches_[i - 2].lit == s.lit;
    const bool again = seen_before && i >= 3 && stretches_[i - 3].lit == stretches_[i - 1].lit &&
                       lasts <= (stretches_[i - 2].to - stretches_[i - 2].from) * 5 / 4 + shortest;
    if (again || lasts < shortest) continue;
    // Beside a blink it may be a window and a phase of the blink in one.
    const bool beside = seen_before || (i + 2 < stretches_.size() && stretches_[i + 2].lit == s.lit);
    const int parts = beside && lasts > 3 * shortest ? 3 : 1;
    for (int k = 0; k < parts; ++k) {
      Stretch part = s;
      part.from = s.from + lasts * k / parts;
      part.to = s.from + lasts * (k + 1) / parts;
      // What was seen at t was the rpm a response earlier; the middle is safe.
      const double rpm =
          profile.rpm_at(part.from + (part.to - part.from) / 2 - hints_.tolerance.response_to / 4);
      part.stay_from = at + hints_.tolerance.response_to + 50 * ns_per_ms;
      at += stay + hints_.tolerance.response_to;
      part.stay_to = at;
      part.lowest_rpm = part.highest_rpm = hundredths(rpm);
      out.push_back(Hold{part.lowest_rpm, stay + hints_.tolerance.response_to});
      stayed_in.push_back(part);
    }
  }
  stretches_ = std::move(stayed_in);
  out.push_back(Hold{low_, setup_.ahead + hints_.tolerance.response_to + 50 * ns_per_ms});
  return out;
}

// What each stay showed; stretches of one cue are one window.
void UnknownSurvey::read_stays(const SurveyView& view) {
  const std::vector<LampEvent> all = shown_lamps(view.events, setup_.judge.wired, hints_.tolerance.settle);
  std::vector<Stretch> windows;
  double hz = 0, duty = 0;
  int blinking = 0;
  for (Stretch s : stretches_) {
    Channels always = ~Channels{0}, ever = 0, before = 0;
    std::vector<Nanos> rises, falls;
    for (const LampEvent& change : all) {
      if (change.at >= s.stay_to) break;
      if (change.at > s.stay_from) {
        always &= before;
        ever |= before;
        if ((change.lit & ~before) != 0) rises.push_back(change.at);
        if ((before & ~change.lit) != 0) falls.push_back(change.at);
      }
      before = change.lit;
    }
    always &= before;
    ever |= before;
    s.cue = {always, ever & ~always};
    if (rises.size() >= 2 && falls.size() >= 2) {
      const double period_s =
          to_seconds(rises.back() - rises.front()) / static_cast<double>(rises.size() - 1);
      const auto fall = std::upper_bound(falls.begin(), falls.end(), rises.front());
      hz += 1 / period_s;
      if (fall != falls.end()) duty += to_seconds(*fall - rises.front()) / period_s;
      ++blinking;
    }
    if (windows.empty() || !(windows.back().cue == s.cue)) {
      windows.push_back(s);
    } else {
      windows.back().to = s.to;
      windows.back().highest_rpm = std::max(windows.back().highest_rpm, s.highest_rpm);
    }
  }
  stretches_ = std::move(windows);
  rough_ = Gauge{};
  rough_.name = hints_.name + ", as found";
  rough_.pulses_per_rev = hints_.pulses_per_rev;
  rough_.lamps = hints_.lamps;
  rough_.tolerance = hints_.tolerance;
  if (blinking > 0) rough_.blink = Blink{hz / blinking, std::clamp(duty / blinking, 0.05, 0.95)};
  for (const Stretch& s : stretches_) rough_.windows.push_back({"", 0, s.cue});
}

// Up and down at one rate: the response cancels in the middle.
void UnknownSurvey::place_boundaries(const SurveyView& view) {
  const Profile profile(view.steps);
  const std::size_t top = rough_.boundaries();
  const auto shows = [&](std::size_t w, Channels lit) {
    const Cue& cue = rough_.windows[w].cue;
    return (lit & ~cue.blinking) == cue.steady;
  };
  // A blinking window may look like those below it for the rest of the way, and
  // like those above it from the way's other end: each boundary is seen from one
  // end at least, unless its sides differ by blinking alone.
  std::vector<Nanos> from_above(top + 1, -1), from_below(top + 1, -1);
  std::size_t window = top, window_back = 0;
  const std::vector<LampEvent> lamps = shown_lamps(view.events, setup_.judge.wired, hints_.tolerance.settle);
  for (const LampEvent& change : lamps) {
    if (change.at < down_from_ || change.at >= down_to_) continue;
    while (window > 0 && !shows(window, change.lit)) from_above[window--] = change.at;
  }
  for (std::size_t i = lamps.size(); i-- > 1;) {
    if (lamps[i].at < down_from_ || lamps[i].at >= down_to_) continue;
    while (window_back < top && !shows(window_back, lamps[i - 1].lit))
      from_below[++window_back] = lamps[i].at;
  }
  const WindowReading reading(rough_, setup_.judge.wired);
  for (std::size_t b = 1; b <= top; ++b) {
    const double up = profile.rpm_at(stretches_[b].from);
    if (blink_only(reading, b)) {
      // A sweep gives no instant for it; the stays on both sides do.
      rough_.windows[b].from_rpm = hundredths((stretches_[b - 1].highest_rpm + stretches_[b].lowest_rpm) / 2);
      continue;
    }
    double down = not_measured;
    for (const Nanos at : {from_above[b], from_below[b]}) {
      if (at < 0) continue;
      const double rpm = profile.rpm_at(at);
      if (!(std::abs(rpm - up) >= std::abs(down - up))) down = rpm;
    }
    if (std::isnan(down))
      troubles_.push_back("on the way down from " + decimal(high_, 0) +
                          " rpm the lamps did not show what they showed near " + decimal(up, 0) +
                          " rpm on the way up: check the wiring, then survey again");
    rough_.windows[b].from_rpm = hundredths(std::isnan(down) ? up : (up + down) / 2);
  }
  double narrowest = 1e9;
  for (std::size_t b = 2; b <= top; ++b)
    narrowest = std::min(narrowest, rough_.windows[b].from_rpm - rough_.windows[b - 1].from_rpm);
  rough_.deadband = {std::max(0.0, std::min(hints_.deadband.rpm, narrowest / 4)), Sits::centred};
  rough_.tolerance.rpm = std::max(rough_rpm, hints_.tolerance.rpm);
}

// A window that shows what a hinted one shows has its name, in order.
void UnknownSurvey::name_windows() {
  std::size_t next = 0;
  hinted_.assign(rough_.windows.size(), std::nullopt);
  for (std::size_t w = 0; w < rough_.windows.size(); ++w) {
    Window& window = rough_.windows[w];
    window.name = "found-" + std::to_string(w);
    for (std::size_t h = next; h < hints_.windows.size(); ++h) {
      if (!(hints_.windows[h].cue == window.cue)) continue;
      // A count-in's names belong to its span, which is not known here.
      if (!hints_.windows[h].name.starts_with("count-in-")) window.name = hints_.windows[h].name;
      hinted_[w] = h;
      next = h + 1;
      break;
    }
  }
}

std::vector<Step> UnknownSurvey::next(const SurveyView& view) {
  if (phase_ == Phase::sweep) {
    if (view.steps.empty()) return sweep();
    phase_ = Phase::stays;
    return stays(view);
  }
  if (phase_ == Phase::stays) {
    phase_ = Phase::over;
    read_stays(view);
    if (rough_.boundaries() == 0) {
      troubles_.push_back("the lamps never changed between " + decimal(low_, 0) + " and " +
                          decimal(high_, 0) + " rpm: check power, tach signal and wiring");
      return {};
    }
    place_boundaries(view);
    name_windows();
    for (const Problem& problem : problems_of(rough_))
      troubles_.push_back("what was found is not a valid gauge: " + problem.path + " is " + problem.found +
                          ", allowed is " + problem.allowed);
    if (!troubles_.empty()) return {};
    planner_.emplace(rough_, setup_);
    for (std::size_t b = 1; b <= rough_.boundaries(); ++b)
      planner_->expect_between(b, stretches_[b - 1].highest_rpm, stretches_[b].lowest_rpm);
    phase_ = Phase::measure;
  }
  return phase_ == Phase::measure ? planner_->next(view) : std::vector<Step>{};
}

FoundGauge UnknownSurvey::found(const SurveyView& view) const {
  if (!planner_) {
    FoundGauge nothing{hints_, {}, {}, troubles_};
    if (troubles_.empty()) nothing.troubles.push_back("the survey ended before it had found the boundaries");
    return nothing;
  }
  FoundGauge out{rough_, hinted_, {}, troubles_};
  JudgeSetup judge = setup_.judge;
  judge.what = survey_asks(setup_.within_rpm);
  const RunResult known = judge_survey(rough_, judge, view, true);
  out.gauge.tolerance = hints_.tolerance;
  out.gauge.deadband.sits = Sits::below;
  double widths = 0, narrowest = 1e9, widest = 0;
  int told = 0;
  for (std::size_t b = 1; b <= rough_.boundaries(); ++b) {
    double rising = not_measured, falling = not_measured;
    for (const BoundaryResult& row : known.boundaries)
      if (row.boundary == rough_.windows[b].name && row.visits > 0)
        (row.direction == Direction::rising ? rising : falling) = row.threshold_rpm;
    if (const auto held = planner_->bracket(b, Direction::rising)) rising = held->middle_rpm();
    if (const auto held = planner_->bracket(b, Direction::falling)) falling = held->middle_rpm();
    for (const Direction direction : {Direction::rising, Direction::falling})
      if (const auto held = planner_->bracket(b, direction);
          held && held->half_width_rpm() > setup_.within_rpm)
        out.troubles.push_back("boundary " + rough_.windows[b].name + ", " + std::string(word(direction)) +
                               ": known only to lie between " + decimal(held->low_rpm, 1) + " and " +
                               decimal(held->high_rpm, 1) + " rpm");
    if (std::isnan(rising) || std::isnan(falling)) {
      out.troubles.push_back("boundary " + rough_.windows[b].name + " near " +
                             decimal(rough_.windows[b].from_rpm, 0) + " rpm could not be measured");
      continue;
    }
    out.gauge.windows[b].from_rpm = hundredths(rising);
    const double width = std::max(0.0, rising - falling);
    widths += width;
    narrowest = std::min(narrowest, width);
    widest = std::max(widest, width);
    ++told;
  }
  if (told > 0) {
    out.gauge.deadband.rpm = hundredths(widths / told);
    out.notes.push_back("found a deadband of " + decimal(widths / told, 2) +
                        " rpm on average; single boundaries have " + decimal(narrowest, 2) + " to " +
                        decimal(widest, 2) + " rpm");
  }
  double hz = 0, duty = 0;
  int blinks = 0;
  for (const BlinkResult& row : known.blinks)
    if (row.cycles > 0) {
      hz += row.hz;
      duty += row.duty;
      ++blinks;
    }
  if (blinks > 0) out.gauge.blink = Blink{hundredths(hz / blinks), hundredths(duty / blinks)};
  return out;
}

void as_findings(RunResult& result) {
  result.verdict = Verdict::undecided;
  result.transitions.clear();
  for (BoundaryResult& row : result.boundaries) {
    row.verdict = Verdict::undecided;
    // That a number is less exact than was wanted stays true.
    if (!row.remark.starts_with("U = ")) row.remark.clear();
  }
  for (DeadbandResult& row : result.deadbands) {
    row.verdict = Verdict::undecided;
    row.remark.clear();
  }
  for (ResponseResult& row : result.responses) {
    row.verdict = Verdict::undecided;
    row.remark.clear();
  }
  for (BlinkResult& row : result.blinks) row.verdict = Verdict::undecided;
  std::erase_if(result.findings, [](const Finding& f) { return verdict_of(f.kind) != Verdict::undecided; });
  result.findings_left_out = 0;
}

Gauge with_deadband_as_set(const FoundGauge& found, const Gauge& as_written, const Gauge& hints) {
  Gauge out = as_written;
  double best = 0;
  const auto lower = [&](Sits sits) {
    const double width = out.deadband.rpm;
    return sits == Sits::below ? 0 : sits == Sits::centred ? width / 2 : width;
  };
  out.deadband.sits = Sits::below;
  for (const Sits sits : {Sits::below, Sits::centred, Sits::above}) {
    double off = 0;
    int compared = 0;
    for (std::size_t b = 1; b <= out.boundaries() && b < found.hinted.size(); ++b)
      if (found.hinted[b] && *found.hinted[b] > 0) {
        off += std::abs(out.windows[b].from_rpm - lower(sits) - hints.windows[*found.hinted[b]].from_rpm);
        ++compared;
      }
    if (compared == 0) return out;
    off /= compared;
    if (sits == Sits::below) best = off;
    // Not for a hair: below is what most gauges say.
    if (off < best - hints.tolerance.rpm / 10 && off <= hints.tolerance.rpm) {
      best = off;
      out.deadband.sits = sits;
    }
  }
  const double by = lower(out.deadband.sits);
  for (std::size_t b = 1; b <= out.boundaries(); ++b)
    out.windows[b].from_rpm = hundredths(out.windows[b].from_rpm - by);
  return out;
}

PulsesFound pulses_per_rev_found(const Gauge& gauge, const std::optional<KnownBoundary>& known) {
  PulsesFound out{gauge, ""};
  const std::string taken =
      decimal(gauge.pulses_per_rev, 2) + " pulses per revolution are taken from the gauge file";
  if (!known) {
    out.sentence = taken + "; to find them, give the rpm of one boundary with --known";
    return out;
  }
  const auto window = std::find_if(gauge.windows.begin(), gauge.windows.end(),
                                   [&](const Window& w) { return w.name == known->window; });
  if (window == gauge.windows.end() || window->from_rpm <= 0) {
    out.sentence = taken + ": no window was found that shows what " + known->window + " shows";
    return out;
  }
  // The same pulses a second, read as another rpm.
  const double exact = gauge.pulses_per_rev * window->from_rpm / known->rpm;
  const double halves = std::round(exact * 2) / 2;
  const bool fits = halves > 0 && std::abs(exact / halves - 1) < 0.01;
  out.gauge.pulses_per_rev = fits ? halves : exact;
  const double scale = gauge.pulses_per_rev / out.gauge.pulses_per_rev;
  for (Window& w : out.gauge.windows) w.from_rpm *= scale;
  out.gauge.deadband.rpm *= scale;
  out.sentence = "boundary " + known->window + " was found at " +
                 decimal(window->from_rpm * gauge.pulses_per_rev / 60, 3) + " pulses/s and is known to be " +
                 decimal(known->rpm, 1) + " rpm: " + decimal(exact, 3) + " pulses per revolution" +
                 (fits ? ", taken as " + decimal(halves, 1)
                       : ", which is not a multiple of one half: check the rpm given");
  return out;
}

}  // namespace tachproof
