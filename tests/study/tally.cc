#include "tests/study/tally.h"

#include <algorithm>

#include <fmt/format.h>
#include <boost/math/distributions/binomial.hpp>

namespace tachproof::study {
namespace {

std::string magnitude_bin(double m) {
  if (m <= 0) return "no more and less of it";
  constexpr double bounds[] = {1.2, 1.5, 2, 4, 8, 16};
  double from = 1.05;
  for (const double b : bounds) {
    if (m < b) return fmt::format("{:5.2f} to {}", from, b);
    from = b;
  }
  return "16 and more";
}

std::string share_bin(const Pair& pair) {
  if (pair.used_up == 0) return "as set";
  return pair.used_up < 0.65 ? "0.50 to 0.65" : pair.used_up < 0.8 ? "0.65 to 0.80" : "0.80 to 0.93";
}

void add_to(Tally::Table& to, const Tally::Table& more) {
  for (const auto& [name, counts] : more) to[name].add(counts);
}

double percent(std::uint64_t k, std::uint64_t n) {
  return n == 0 ? 0 : 100.0 * static_cast<double>(k) / static_cast<double>(n);
}

std::string table(const std::string& first, const Tally::Table& rows, const Counts& sum, Verdict wrong) {
  const auto w = static_cast<std::size_t>(wrong);
  std::string text = fmt::format(
      "| {} | pairs | {} | share, 95 % limits | undecided | {} |\n| --- | --- | --- | --- | --- | --- |\n",
      first, wrong == Verdict::pass ? "passed" : "failed", wrong == Verdict::pass ? "failed" : "passed");
  const auto row = [&](const std::string& name, const Counts& c) {
    const Limits limits = clopper_pearson(c.by_verdict[w], c.all());
    text +=
        fmt::format("| {} | {} | {} | {:.3g} %, {:.3g} .. {:.3g} % | {} ({:.0f} %) | {} |\n", name, c.all(),
                    c.by_verdict[w], percent(c.by_verdict[w], c.all()), 100 * limits.low, 100 * limits.high,
                    c.by_verdict[2], percent(c.by_verdict[2], c.all()), c.by_verdict[1 - w]);
  };
  for (const auto& [name, counts] : rows) row(name, counts);
  row("**all**", sum);
  return text + "\n";
}

}  // namespace

Limits clopper_pearson(std::uint64_t k, std::uint64_t n) {
  if (n == 0) return {};
  using Binomial = boost::math::binomial_distribution<>;
  const auto trials = static_cast<double>(n), successes = static_cast<double>(k);
  return {k == 0 ? 0 : Binomial::find_lower_bound_on_p(trials, successes, 0.025),
          k == n ? 1 : Binomial::find_upper_bound_on_p(trials, successes, 0.025)};
}

void Tally::add(const Pair& pair, const RunResult& result) {
  const Verdict v = result.verdict;
  const bool is_sound = pair.told.truth == Truth::sound;
  const std::string unit = pair.unit.type();
  const std::string door = pair.recording ? fmt::format("recording, {} ns stamps", pair.resolution) : "run";
  const std::string dimming = pair.unit.pwm_hz > 0 ? "(of all: dimmed)" : "";
  const std::string late = pair.unit.latest_lamp_s() > 0 ? "(of all: staggered lamps)" : "";
  if (is_sound) {
    sound.add(v);
    sound_by_unit[unit].add(v);
    for (const std::string& also : {dimming, late})
      if (!also.empty()) sound_by_unit[also].add(v);
    sound_by_road[word(pair.kind)].add(v);
    sound_by_signal[pair.disturbance()].add(v);
    sound_by_door[door].add(v);
    sound_by_share[share_bin(pair)].add(v);
  } else {
    unsound.add(v);
    unsound_by_fault[pair.fault].add(v);
    if (pair.blink_only) unsound_by_fault["(of all: at a blink-only boundary)"].add(v);
    unsound_by_unit[unit].add(v);
    unsound_by_road[word(pair.kind)].add(v);
    unsound_by_signal[pair.disturbance()].add(v);
    unsound_by_door[door].add(v);
    unsound_by_magnitude[magnitude_bin(pair.magnitude)].add(v);
  }
  if (v == (is_sound ? Verdict::fail : Verdict::pass))
    wrong.push_back({pair.number, v, pair.describe(), said(result, false)});

  // A frozen unit has no threshold, and one that takes bounces for pulses has another at every moment.
  if (pair.fault == "freezes" || pair.fault == "misled by bounce") return;
  for (const BoundaryResult& row : result.boundaries) {
    if (!(row.expanded_uncertainty_rpm >= 0) || !std::isfinite(row.threshold_rpm)) continue;
    for (std::size_t b = 1; b < pair.gauge.windows.size(); ++b) {
      if (pair.gauge.windows[b].name != row.boundary) continue;
      const Unit::Threshold truth =
          pair.unit.effective(b, row.direction == Direction::rising, pair.gauge.pulses_per_rev);
      const bool hold = row.threshold_rpm + row.expanded_uncertainty_rpm >= truth.from &&
                        row.threshold_rpm - row.expanded_uncertainty_rpm <= truth.to;
      for (const std::string& name : {unit, std::string("**all**"), dimming, late}) {
        if (name.empty()) continue;
        ++intervals[name].rows;
        intervals[name].hold += hold;
      }
    }
  }
}

void Tally::add(const Tally& more) {
  add_to(sound_by_unit, more.sound_by_unit);
  add_to(sound_by_road, more.sound_by_road);
  add_to(sound_by_signal, more.sound_by_signal);
  add_to(sound_by_door, more.sound_by_door);
  add_to(sound_by_share, more.sound_by_share);
  add_to(unsound_by_fault, more.unsound_by_fault);
  add_to(unsound_by_unit, more.unsound_by_unit);
  add_to(unsound_by_road, more.unsound_by_road);
  add_to(unsound_by_signal, more.unsound_by_signal);
  add_to(unsound_by_door, more.unsound_by_door);
  add_to(unsound_by_magnitude, more.unsound_by_magnitude);
  sound.add(more.sound);
  unsound.add(more.unsound);
  for (const auto& [name, i] : more.intervals) {
    intervals[name].rows += i.rows;
    intervals[name].hold += i.hold;
  }
  wrong.insert(wrong.end(), more.wrong.begin(), more.wrong.end());
  std::sort(wrong.begin(), wrong.end(), [](const Wrong& a, const Wrong& b) { return a.number < b.number; });
  by_program += more.by_program;
}

std::string Tally::markdown() const {
  std::string text = "### Units that a driver could see to be wrong\n\n";
  text += table("fault", unsound_by_fault, unsound, Verdict::pass);
  text += table("by its tolerance", unsound_by_magnitude, unsound, Verdict::pass);
  text += table("drive", unsound_by_road, unsound, Verdict::pass);
  text += table("signal", unsound_by_signal, unsound, Verdict::pass);
  text += table("evidence", unsound_by_door, unsound, Verdict::pass);
  text += table("unit", unsound_by_unit, unsound, Verdict::pass);
  text += "### Units inside 0.95 of their tolerances\n\n";
  text += table("tolerance used up", sound_by_share, sound, Verdict::fail);
  text += table("drive", sound_by_road, sound, Verdict::fail);
  text += table("signal", sound_by_signal, sound, Verdict::fail);
  text += table("evidence", sound_by_door, sound, Verdict::fail);
  text += table("unit", sound_by_unit, sound, Verdict::fail);
  text +=
      "### Thresholds: does +-U hold the truth?\n\n| unit | rows | hold | share, 95 % limits |\n| --- | --- "
      "| --- | --- |\n";
  for (const auto& [name, i] : intervals) {
    const Limits limits = clopper_pearson(i.hold, i.rows);
    text += fmt::format("| {} | {} | {} | {:.1f} %, {:.1f} .. {:.1f} % |\n", name, i.rows, i.hold,
                        percent(i.hold, i.rows), 100 * limits.low, 100 * limits.high);
  }
  return text;
}

std::string said(const RunResult& result, bool whole) {
  std::string text(word(result.verdict));
  const std::size_t most = whole ? 1000 : 3;
  for (std::size_t i = 0; i < result.findings.size() && i < most; ++i)
    text += fmt::format("\n  {} at {:.4f} s: {}", word(result.findings[i].kind),
                        to_seconds(result.findings[i].at), result.findings[i].message);
  std::size_t shown = 0;
  for (const TransitionResult& t : result.transitions)
    if ((t.verdict == Verdict::fail || whole) && shown++ < most)
      text += fmt::format(
          "\n  change {} {} at {:.4f} s: {}, {:+.2f} of {:+.2f} .. {:+.2f} rpm, U {:.2f}, {:.0f} rpm/s{}",
          t.boundary, word(t.direction), to_seconds(t.at), word(t.verdict), t.deviation_rpm, t.lowest_rpm,
          t.highest_rpm, t.expanded_uncertainty_rpm, t.rate_rpm_per_s, t.step ? " (jump)" : "");
  shown = 0;
  for (const BoundaryResult& b : result.boundaries)
    if ((b.verdict == Verdict::fail || whole) && shown++ < most)
      text += fmt::format("\n  boundary {} {}: {}, {:+.2f} rpm, U {:.2f}, response {:.1f} ms, {} visits {}",
                          b.boundary, word(b.direction), word(b.verdict), b.threshold_rpm - b.nominal_rpm,
                          b.expanded_uncertainty_rpm, b.response_ms, b.visits, b.remark);
  shown = 0;
  for (const BlinkResult& b : result.blinks)
    if ((b.verdict == Verdict::fail || whole) && shown++ < most)
      text += fmt::format("\n  blink {} {}: {}, {:.3f} Hz, duty {:.3f}, {} cycles", b.window, b.lamp,
                          word(b.verdict), b.hz, b.duty, b.cycles);
  if (whole)
    for (const std::string& note : result.notes) text += "\n  note: " + note;
  return text;
}

}  // namespace tachproof::study
