#include "core/judge/dim_light.h"

#include <algorithm>

#include "core/base/text.h"

namespace tachproof {
namespace {

constexpr double most_off = 0.2, least_off = 0.02;
constexpr double unclipped = 0.97;  // of the light: less is an overexposed lamp
constexpr double in_one_beat = 8;
// Codecs keep colour for every other pixel only: on clips of a drawn gauge levels came out up to 4 % off.
constexpr double colour_of_codecs = 0.05;
constexpr std::uint64_t least_pictures = 6;

struct Measured {
  double level = 0, expanded_uncertainty = 0;
};

Measured ratio(const LightSum& here, const LightSum& full) {
  const double r = here.mean() / full.mean();
  const double tone = r * std::abs(std::log(std::max(r, 1e-6))) * std::max(here.tone(), full.tone());
  const double u = std::hypot(r * std::hypot(here.relative_uncertainty(), full.relative_uncertainty()),
                              std::hypot(tone, r < 1 ? r * colour_of_codecs : 0) / std::sqrt(3.0));
  return {r, 2 * u};
}

// Why this lamp says nothing; empty where it does.
std::string why_not(const std::string& lamp, const LightSum& here, const LightSum* full) {
  if (here.count() < least_pictures)
    return lamp + " was lit in " + std::to_string(here.count()) + " pictures only, and " +
           std::to_string(least_pictures) + " are wanted: hold this level for longer";
  if (full == nullptr || full->count() < least_pictures)
    return lamp +
           " was not seen at full light in this run: hold an rpm that lights it before the first press";
  const double open = std::min(here.least_open(), full->least_open());
  if (open >= unclipped) return {};
  return lamp + " is overexposed, " + decimal(100 * (1 - open), 0) +
         " % of its light is clipped: teach and film with a shorter exposure";
}

}  // namespace

double dim_may_be_off(double set_level) { return std::max(least_off, most_off * set_level); }

void LightSum::add(const SeenLight& light) {
  ++count_;
  const double off = light.share - mean_;
  mean_ += off / static_cast<double>(count_);
  squares_ += off * (light.share - mean_);
  least_open_ = std::min(least_open_, light.open);
  tone_ = std::max(tone_, light.tone);
}

double LightSum::relative_uncertainty() const {
  if (count_ < 2 || mean_ <= 0) return 1;
  const auto n = static_cast<double>(count_);
  return std::sqrt(squares_ / (n - 1) / std::max(1.0, n / in_one_beat)) / mean_;
}

void judge_dim_light(const Gauge& gauge, const LightSums& here, const LightSums& full, DimResult& row,
                     std::vector<Finding>& findings) {
  double worst_off = -1;
  std::string silent;
  const double allowed = dim_may_be_off(row.set_level);
  for (std::size_t c = 0; c < here.size(); ++c) {
    if (here[c].count() == 0) continue;
    const std::string lamp = gauge.channel_name(c);
    if (const std::string why = why_not(lamp, here[c], c < full.size() ? &full[c] : nullptr); !why.empty()) {
      if (silent.empty()) silent = why;
      continue;
    }
    const Measured seen = ratio(here[c], full[c]);
    // The one that is furthest outside, as far as that is known.
    const double off = std::abs(seen.level - row.set_level) + seen.expanded_uncertainty;
    if (off <= worst_off) continue;
    worst_off = off;
    row.level = seen.level;
    row.expanded_uncertainty = seen.expanded_uncertainty;
    row.lamp = lamp;
  }
  if (worst_off < 0) {
    row.remark =
        silent.empty() ? "no lamp was lit at this level: dim at an rpm whose window lights one" : silent;
    return;
  }
  row.verdict = worst_off <= allowed                                 ? Verdict::pass
                : worst_off - 2 * row.expanded_uncertainty > allowed ? Verdict::fail
                                                                     : Verdict::undecided;
  if (row.verdict == Verdict::pass && !silent.empty()) {
    row.verdict = Verdict::undecided;
    row.remark = silent;
  } else if (row.verdict == Verdict::undecided) {
    row.remark =
        "the level is too near the limit of what may be off: the camera tells it within " +
        decimal(100 * row.expanded_uncertainty, 1) +
        " % of full light. Measure its tone curve and give tone_percent in the rig file, or tap the wires";
  } else if (row.verdict == Verdict::fail) {
    findings.push_back({FindingKind::dim_level, row.at, "", row.lamp,
                        row.lamp + " gave " + decimal(100 * row.level, 1) + " % of its full light after '" +
                            row.button + "' was pressed at " + say_time(row.at) +
                            "; set: " + decimal(100 * row.set_level, 1) + " %"});
  }
}

}  // namespace tachproof
