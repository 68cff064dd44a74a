// What the judge says beside its rows: what hid the unit, what was forgiven, what was left out.
#include <algorithm>
#include <string>

#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/judge/judge_impl.h"

namespace tachproof {
namespace {

constexpr double most_forgiven = 0.1;  // of the time that was judged, for odd pulses

}  // namespace

// How much was forgiven, and whether that was too much.
void Judge::Impl::say_disturbed() {
  std::size_t changes = 0;
  for (const SeenTransition& one : seen_) changes += one.disturbed;
  if (changes > 0)
    result_.notes.push_back(std::to_string(changes) + (changes == 1 ? " change was" : " changes were") +
                            " not judged: a pulse was missing or doubled at the time");
  const double share = judged_ > 0 ? static_cast<double>(disturbed_for_) / static_cast<double>(judged_) : 0;
  if (share > most_forgiven)
    log_.add({FindingKind::lost_evidence, 0, "", "",
              "pulses were missing or doubled for " + decimal(100 * share, 0) +
                  " % of the time, when the lamps cannot be judged. At most " +
                  decimal(100 * most_forgiven, 0) +
                  " % may be left out: mend the tach signal and run again"});
}

void Judge::Impl::say_left_out() {
  const JudgeWhat& what = setup_.what;
  if (!what.transitions) result_.not_asked.push_back("transitions");
  if (!what.steady) result_.not_asked.push_back("steady");
  if (!what.blink) result_.not_asked.push_back("blink");
  if (!what.thresholds) result_.not_asked.push_back("thresholds");
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    if (expectation_.crossings(b, Direction::rising) + expectation_.crossings(b, Direction::falling) == 0)
      result_.not_visited.push_back(gauge_.windows[b].name);
}

// What hid the whole unit from the judge.
void Judge::Impl::say_unseen(bool dead) {
  if (!lamps_known_ || dead)
    log_.add(
        {FindingKind::lost_evidence, 0, "", "",
         lamps_known_
             ? "no lamp changed in the whole run, though the settings demand changes. Either the unit was "
               "off or the watcher does not see it: check power, tach signal and wiring, then run again"
             : "the watcher reported no lamp state: check that it is connected, then run again"});
  else if (setup_.what.steady)
    stuck_lamps();
  if (wired_ == 0)
    log_.add({FindingKind::lost_evidence, 0, "", "",
              "no lamp of this gauge is wired, so nothing can be judged: name at least one in the wiring"});
  else if (judged_ == 0)
    log_.add({FindingKind::lost_evidence, 0, "", "",
              "nothing was judged: the lamps were not seen while a window had to be shown"});
}

void Judge::Impl::note_holds() {
  const auto held = std::count_if(result_.boundaries.begin(), result_.boundaries.end(),
                                  [](const BoundaryResult& row) { return row.by_holds; });
  if (held > 0)
    result_.notes.push_back(std::to_string(held) + (held == 1 ? " threshold was" : " thresholds were") +
                            " measured between two holds, which tell no response; tachproof survey "
                            "--responses measures it at every boundary");
}

// Lamps of one blink that did not blink together.
void Judge::Impl::say_apart() {
  if (!setup_.what.blink) return;
  for (const BlinksApart::Seen& seen : apart_.seen()) {
    if (((seen.lit | seen.dark) & unsure_blinks_) != 0) continue;
    log_.add({FindingKind::wrong_cue, seen.from, gauge_.windows[seen.window].name, gauge_.describe(seen.dark),
              gauge_.describe(seen.dark) + " stayed dark for " + decimal(to_ms(seen.lasted), 0) +
                  " ms while " + gauge_.describe(seen.lit) + " was lit; in window " +
                  gauge_.windows[seen.window].name + " they blink together"});
  }
  if (apart_.never_together())
    result_.notes.push_back(
        "lamps that blink in one window do not blink together: check that the unit is meant to show that");
}

void Judge::Impl::note_flicker() {
  for (FlickerResult& row : result_.flicker) {
    const double minutes = row.duration_s / 60;
    row.rate_per_min = static_cast<double>(row.changes) / minutes;
    row.upper_95_per_min = poisson_upper(row.changes, 0.90) / minutes;  // one-sided 95 %
    result_.notes.push_back("boundary " + row.boundary + " changed " + std::to_string(row.changes) +
                            " more times than the profile demands, because the scripted noise crosses it "
                            "again and again; a dwell measures the rate");
  }
}

void Judge::Impl::note_lamps() {
  for (std::size_t c = 0; c < gauge_.channels(); ++c) {
    const DimmingFilter::Dimming d = pictures_.dimming().dimming(c);
    if (d.hz > 0) result_.levels.push_back({gauge_.channel_name(c), d.level, d.hz});
    if (!((wired_ >> c) & 1)) result_.not_judged.push_back(gauge_.channel_name(c));
  }
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    if (reading_.look_alike(b - 1, b))
      result_.notes.push_back(
          "boundary " + gauge_.windows[b].name +
          " was not judged: the wired lamps show the same on both sides; wire one that differs");
}

void Judge::Impl::note_unwired_and_glitches() {
  if (pictures_.dimming().glitches() > 0)
    result_.notes.push_back(
        std::to_string(pictures_.dimming().glitches()) +
        " pulses on the lamp lines were too short for a lamp (below 20 us) and were left out");
  if (!result_.not_judged.empty())
    result_.notes.push_back(std::to_string(result_.not_judged.size()) + " of " +
                            std::to_string(gauge_.channels()) +
                            " lamp colours are not wired and were not judged");
}

}  // namespace tachproof
