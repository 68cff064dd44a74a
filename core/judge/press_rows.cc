#include "core/judge/press_rows.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "core/base/text.h"
#include "core/base/words.h"
#include "core/judge/dim_light.h"

namespace tachproof {
namespace {

std::string rpm_text(double rpm) { return number_text(std::round(rpm * 10) / 10) + " rpm"; }

bool is_any(const std::string& boundary, const Gauge& gauge, const std::vector<std::size_t>& of) {
  return std::any_of(of.begin(), of.end(), [&](std::size_t b) { return gauge.windows[b].name == boundary; });
}

// One of these boundaries was measured where it should be.
bool any_passes(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries) {
  return std::any_of(result.boundaries.begin(), result.boundaries.end(), [&](const BoundaryResult& row) {
    return row.verdict == Verdict::pass && is_any(row.boundary, gauge, boundaries);
  });
}

bool lies_elsewhere(const Shift& shift, const Gauge& gauge) {
  return shift.rows > 0 && shift.agree &&
         std::abs(shift.rpm) > shift.expanded_uncertainty + gauge.tolerance.rpm;
}

void say_elsewhere(const std::string& pressed, const DoneAt& at, PressResult& row,
                   std::vector<Finding>& findings) {
  row.verdict = Verdict::fail;
  row.refused = false;
  row.taken_rpm = at.rpm;
  row.expanded_uncertainty_rpm = at.expanded_uncertainty_rpm;
  const double off = at.rpm - row.rpm;
  findings.push_back({FindingKind::wrong_take, row.at, "", "",
                      pressed + "; the unit acts as if it had been at " + rpm_text(at.rpm) + " +- " +
                          decimal(at.expanded_uncertainty_rpm, 1) + " rpm: " + decimal(std::abs(off), 1) +
                          " rpm too " + (off > 0 ? "high" : "low")});
}

}  // namespace

Shift shift_of(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& moved) {
  Shift shift;
  double weights = 0, sum = 0;
  std::vector<std::pair<double, double>> seen;
  for (const BoundaryResult& row : result.boundaries) {
    if (std::isnan(row.threshold_rpm) || std::isnan(row.expanded_uncertainty_rpm)) continue;
    if (!is_any(row.boundary, gauge, moved)) continue;
    const double u = std::max(row.expanded_uncertainty_rpm, 0.01);
    seen.emplace_back(row.threshold_rpm - row.nominal_rpm, u);
    weights += 1 / (u * u);
    sum += seen.back().first / (u * u);
  }
  if (seen.empty()) return shift;
  shift.rows = static_cast<int>(seen.size());
  shift.rpm = sum / weights;
  // The response that all share does not average out: no better than the best of them.
  shift.expanded_uncertainty = seen.front().second;
  for (const auto& [off, u] : seen) {
    shift.expanded_uncertainty = std::min(shift.expanded_uncertainty, u);
    shift.agree = shift.agree && std::abs(off - shift.rpm) <= u + gauge.tolerance.rpm;
  }
  return shift;
}

Shift shift_of_all(const RunResult& result, const Gauge& gauge) {
  std::vector<std::size_t> all(gauge.boundaries());
  std::iota(all.begin(), all.end(), 1);
  return shift_of(result, gauge, all);
}

bool moves_wrongly(const RunResult& result) {
  const auto fails = [](const auto& row) { return row.verdict == Verdict::fail; };
  return std::any_of(result.transitions.begin(), result.transitions.end(), fails) ||
         std::any_of(result.boundaries.begin(), result.boundaries.end(), fails);
}

bool unit_fails(const RunResult& result) {
  const auto failing = [](const auto& rows) {
    return std::any_of(rows.begin(), rows.end(), [](const auto& r) { return r.verdict == Verdict::fail; });
  };
  return failing(result.transitions) || failing(result.boundaries) || failing(result.deadbands) ||
         failing(result.responses) || failing(result.blinks) ||
         std::any_of(result.findings.begin(), result.findings.end(),
                     [](const Finding& f) { return verdict_of(f.kind) == Verdict::fail; });
}

bool measured_any(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries) {
  return std::any_of(result.boundaries.begin(), result.boundaries.end(), [&](const BoundaryResult& row) {
    return row.verdict != Verdict::undecided && is_any(row.boundary, gauge, boundaries);
  });
}

double furthest_off(const RunResult& result, const Gauge& gauge, const std::vector<std::size_t>& boundaries) {
  double furthest = -1;
  for (const BoundaryResult& row : result.boundaries)
    if (!std::isnan(row.threshold_rpm) && is_any(row.boundary, gauge, boundaries))
      furthest = std::max(furthest, std::abs(row.threshold_rpm - row.nominal_rpm));
  return furthest < 0 ? std::numeric_limits<double>::infinity() : furthest;
}

std::optional<DoneAt> done_elsewhere(const RunResult& result, const Gauge& gauge,
                                     const std::vector<std::size_t>& moved, double set_rpm) {
  const Shift shift = shift_of(result, gauge, moved);
  if (!unit_fails(result) || !lies_elsewhere(shift, gauge)) return std::nullopt;
  return DoneAt{set_rpm + shift.rpm, shift.expanded_uncertainty};
}

void judge_take(const Gauge& gauge, const std::vector<std::size_t>& moved, const StateSeen& seen,
                PressResult& row, std::vector<Finding>& findings) {
  const RunResult& as_seen = *seen.as_seen;
  const std::string pressed =
      "'" + row.button + "' was pressed at " + say_time(row.at) + ", at " + rpm_text(row.rpm);
  const Shift shift = shift_of(as_seen, gauge, moved);
  row.remark.clear();
  row.taken_rpm = row.expanded_uncertainty_rpm = not_measured;
  if (seen.did_otherwise && !seen.other_end.empty()) {
    row.verdict = Verdict::fail;
    row.refused = false;
    // As far away as its own boundary then was.
    for (std::size_t b = 1; b < gauge.windows.size(); ++b)
      if (gauge.windows[b].name == seen.boundary) row.taken_rpm = gauge.windows[b].from_rpm + shift.rpm;
    row.expanded_uncertainty_rpm = shift.expanded_uncertainty;
    findings.push_back({FindingKind::wrong_take, row.at, "", "",
                        pressed + "; the unit took that rpm for boundary " + seen.other_end +
                            ", and not for " + seen.boundary +
                            ": set in the unit which end of the window its button takes"});
    return;
  }
  if (seen.did_otherwise) {
    row.verdict = Verdict::fail;
    row.refused = !row.must_refuse;
    findings.push_back(
        row.must_refuse
            ? Finding{FindingKind::press_not_refused, row.at, "", "",
                      pressed +
                          ", which the button has to refuse; the unit took it: write the range that the "
                          "button allows to the unit again"}
            : Finding{
                  FindingKind::press_ignored, row.at, "", "",
                  pressed +
                      ", and the unit did not take it: its boundaries stayed where they were. Press longer, "
                      "or check the button and its wire"});
    return;
  }
  if (seen.done != nullptr) return say_elsewhere(pressed, *seen.done, row, findings);
  // What is refused is not taken at any rpm.
  if (shift.rows > 0 && !row.must_refuse) {
    row.taken_rpm = row.rpm + shift.rpm;
    row.expanded_uncertainty_rpm = shift.expanded_uncertainty;
  }
  if (unit_fails(as_seen)) {
    // What is wrong elsewhere is no fault of the press, where boundaries are as it had to leave them.
    if (any_passes(as_seen, gauge, moved) && seen.otherwise != nullptr &&
        !any_passes(*seen.otherwise, gauge, moved)) {
      row.refused = row.must_refuse;
      row.verdict = Verdict::pass;
      return;
    }
    const bool elsewhere = lies_elsewhere(shift, gauge);
    if (row.must_refuse || !seen.sound_before || (shift.rows > 0 && !elsewhere) ||
        (shift.rows == 0 && !moves_wrongly(as_seen))) {
      row.remark =
          "what else is wrong with the unit leaves open what it made of the press: mend that, and run again";
      return;
    }
    row.verdict = Verdict::fail;
    if (!elsewhere) {
      findings.push_back(
          {FindingKind::wrong_take, row.at, "", "",
           pressed + "; the unit acts neither as if it had taken that rpm nor as if it had ignored the "
                     "press: check which boundary the button takes, and keep the rpm still for longer "
                     "before it"});
      return;
    }
    say_elsewhere(pressed, {row.rpm + shift.rpm, shift.expanded_uncertainty}, row, findings);
    return;
  }
  if (!measured_any(as_seen, gauge, moved)) {
    row.remark =
        "no boundary that the button moves was measured after the press: cross one of them slowly, both ways";
    return;
  }
  if (seen.otherwise != nullptr && !unit_fails(*seen.otherwise)) {
    row.remark = "the boundaries would be the same if the unit had " +
                 std::string(row.must_refuse ? "taken" : "ignored") +
                 " the press: press at an rpm further away";
    return;
  }
  row.refused = row.must_refuse;
  row.verdict =
      as_seen.verdict == Verdict::undecided && seen.otherwise == nullptr ? Verdict::undecided : Verdict::pass;
}

std::optional<std::size_t> level_shown(const Dim& dim, const DimResult& row) {
  std::optional<std::size_t> shown;
  if (row.verdict != Verdict::fail || std::isnan(row.level)) return shown;
  for (std::size_t i = 0; i < dim.levels.size(); ++i) {
    if (std::abs(row.level - dim.levels[i]) > dim_may_be_off(dim.levels[i])) continue;
    if (shown) return std::nullopt;
    shown = i;
  }
  return shown;
}

void judge_dim(const Gauge& gauge, const RunResult& result, Channels lit, bool dims_visibly, Nanos resolution,
               DimResult& row, std::vector<Finding>& findings) {
  constexpr Nanos coarse = ns_per_ms;
  if (resolution >= coarse) {
    row.remark = "this watcher sees lamps too seldom to measure how long they are lit in each cycle";
    return;
  }
  if (lit == 0 && result.levels.empty()) {
    row.remark = "no lamp was lit at this level: dim at an rpm whose window lights one";
    return;
  }
  bool steady_only = true;
  double worst_off = -1;
  for (std::size_t c = 0; c < gauge.channels(); ++c) {
    double level = ((lit >> c) & 1) != 0 ? 1 : -1, hz = 0;
    for (const LevelResult& seen : result.levels)
      if (seen.lamp == gauge.channel_name(c)) level = seen.level, hz = seen.pwm_hz;
    if (level < 0) continue;
    steady_only = steady_only && hz == 0;
    if (std::abs(level - row.set_level) <= worst_off) continue;
    worst_off = std::abs(level - row.set_level);
    row.level = level;
    row.lamp = gauge.channel_name(c);
    row.expanded_uncertainty = 2 * to_seconds(resolution) * hz + 0.002;
  }
  if (steady_only && row.set_level < 1 && !dims_visibly) {
    row.level = row.expanded_uncertainty = not_measured;
    row.remark =
        "the lamps seemed to be lit all the time: either the unit did not dim, or it dims at a frequency "
        "that "
        "these inputs do not see";
    return;
  }
  const double allowed = dim_may_be_off(row.set_level);
  row.verdict = worst_off + row.expanded_uncertainty <= allowed  ? Verdict::pass
                : worst_off - row.expanded_uncertainty > allowed ? Verdict::fail
                                                                 : Verdict::undecided;
  if (row.verdict == Verdict::undecided)
    row.remark = "the level is too near the limit of what may be off to decide";
  if (row.verdict == Verdict::fail)
    findings.push_back({FindingKind::dim_level, row.at, "", row.lamp,
                        row.lamp + " was lit for " + decimal(100 * row.level, 1) +
                            " % of each cycle after '" + row.button + "' was pressed at " + say_time(row.at) +
                            "; set: " + decimal(100 * row.set_level, 1) + " % of full light"});
}

}  // namespace tachproof
