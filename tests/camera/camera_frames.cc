// How well changes and thresholds are dated by frames, over many runs: units of independent physics
// (tests/study/unit.h) whose lamps' light is told frame by frame as tachproof-camera would, without pictures.
//
//     camera_frames RUNS SEED [FIRST [KIND]]     KIND: sound, dimmed, alias, fault. TACHPROOF_SAY=1: what was
//     found, and all that was seen
//
// TACHPROOF_OTHER: another build's program; its rows stand beside. A copy of it gets the same frames from a
// stand-in for its camera's program.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>

#include "bench/files/regions.h"
#include "bench/record/run_folder.h"
#include "bench/rigs/camera/camera.h"
#include "bench/rigs/camera/camera_lines.h"
#include "bench/run/runner.h"
#include "tests/bench/scratch_folder.h"
#include "tests/camera/photographed_units.h"

namespace tachproof::test {
namespace {

constexpr int height = 180;
constexpr double lamps_row = 22, sync_row = 140;

// Yellow, white, cyan, violet, rose, as shares of red and green.
std::pair<double, double> shares_of(const std::string& colour) {
  static const std::map<std::string, std::pair<double, double>> all{{"yellow", {0.55, 0.43}},
                                                                    {"white", {0.33, 0.35}},
                                                                    {"cyan", {0.02, 0.46}},
                                                                    {"violet", {0.28, 0.03}},
                                                                    {"rose", {0.66, 0.08}}};
  return all.at(colour);
}

Regions regions_of(const Gauge& gauge) {
  Regions regions;
  regions.width = 320;
  regions.height = height;
  regions.dial_picture = "dial.png";
  regions.within_px = 12;
  regions.patches = {{20, 60}, {120, 60}, {220, 60}};
  const auto region = [](const std::string& name, const std::vector<std::string>& colours, double x,
                         double y) {
    LampRegion one;
    one.lamp = name;
    one.x = x;
    one.y = y;
    one.radius = 8;
    one.colours = colours;
    for (const std::string& colour : colours) {
      const auto [red, green] = colour == "lit" ? std::pair(0.4, 0.35) : shares_of(colour);
      const Light light{0.8 * red, 0.8 * green, 0.8 * (1 - red - green)};
      one.looks.colours.push_back({light, light, 0.05});
    }
    one.looks.core_dark = one.looks.rim_dark = {0.01, 0.01, 0.01};
    return one;
  };
  double x = 40;
  for (const Lamp& lamp : gauge.lamps)
    regions.lamps.push_back(region(lamp.id, lamp.colours, x += 40, lamps_row));
  regions.sync = region("sync", {"lit"}, 40, sync_row);
  return regions;
}

// The share of an exposure that a channel, or the sync lamp, is lit.
class Light01 {
 public:
  void change(double at_s, bool lit) {
    if (moves_.empty() ? lit : moves_.back().second != lit) moves_.emplace_back(at_s, lit);
  }
  double share(double from_s, double to_s) const {
    auto at = std::upper_bound(moves_.begin(), moves_.end(), from_s,
                               [](double t, const auto& m) { return t < m.first; });
    bool lit = at != moves_.begin() && std::prev(at)->second;
    double now = from_s, sum = 0;
    for (; now < to_s; ++at) {
      const double next = at == moves_.end() ? to_s : std::min(to_s, at->first);
      if (lit) sum += next - now;
      now = next;
      if (at == moves_.end()) break;
      lit = at->second;
    }
    return sum / (to_s - from_s);
  }

 private:
  std::vector<std::pair<double, bool>> moves_;
};

// A phone's frames as lines.
std::string lines_of(const PhotographedUnit& unit, const Photographed& seen, study::Draw& draw) {
  const Phone& phone = unit.phone;
  const Gauge& gauge = unit.pair.gauge;
  std::vector<Light01> channels(gauge.channels());
  for (const LampEvent& event : seen.lamps)
    for (std::size_t c = 0; c < channels.size(); ++c)
      channels[c].change(to_seconds(event.at), event.lit >> c & 1);
  Light01 sync;
  for (const auto& [from, to] : seen.flashes)
    sync.change(to_seconds(from), true), sync.change(to_seconds(to), false);
  const double exposure_s = phone.exposure_ms * 1e-3, per_row_s = phone.readout_ms * 1e-3 / height;
  const double bright = draw.between(0.8, 4), open = bright > 1 ? draw.between(0.3, 1) : 1;
  const double ppm = draw.between(-120, 120), today = draw.between(0.85, 1.15);
  std::string text =
      fmt::format("tachproof-camera 1\nabout a study\nperiod {}\n", from_seconds(1 / phone.fps));
  const int frames = static_cast<int>(phone.lasts_s * phone.fps);
  for (int i = 0; i < frames; ++i) {
    const double at_s = i / phone.fps;
    FrameReading reading;
    reading.at = from_seconds(at_s);
    const auto look = [&](const std::vector<std::pair<double, std::string>>& shares) {
      LampLook one;
      double all = 0, most = 0;
      for (std::size_t c = 0; c < shares.size(); ++c) {
        all += shares[c].first;
        if (shares[c].first > most) most = shares[c].first, one.colour = c;
      }
      const double share = std::min(1.0, all);
      const double light = open * share + (1 - open) * std::min(1.0, bright * share);
      one.light = std::max(0.0, today * light * (1 + 0.02 * draw.normal()) + 0.01 * draw.normal());
      one.state = one.light < 0.15   ? LampLook::State::dark
                  : one.light < 0.30 ? LampLook::State::unclear
                                     : LampLook::State::lit;
      if (one.state == LampLook::State::lit) {
        one.weak = one.light < 0.75;
        one.open = open * share / std::max(light, 1e-9);
        const auto [red, green] =
            shares[one.colour].second == "lit" ? std::pair(0.4, 0.35) : shares_of(shares[one.colour].second);
        one.red = red;
        one.green = green;
        // Between two colours.
        if (shares.size() > 1 && all - most > 0.3 * most) one.state = LampLook::State::unclear;
      }
      return one;
    };
    const auto exposed = [&](const Light01& light, double row) {
      const double middle = (at_s + row * per_row_s - phone.starts_s) * (1 + ppm * 1e-6);
      return light.share(middle - exposure_s / 2, middle + exposure_s / 2);
    };
    std::size_t channel = 0;
    for (const Lamp& lamp : gauge.lamps) {
      std::vector<std::pair<double, std::string>> shares;
      for (const std::string& colour : lamp.colours)
        shares.emplace_back(exposed(channels[channel++], lamps_row), colour);
      reading.looks.push_back(look(shares));
    }
    reading.looks.push_back(look({{exposed(sync, sync_row), "lit"}}));
    text += frame_line(reading) + "\n";
  }
  return text + "end\n";
}

class Lines : public CameraLines {
 public:
  explicit Lines(const std::string& text) : in_(text) {}
  std::optional<std::string> line(std::chrono::milliseconds) override {
    std::string one;
    if (!std::getline(in_, one)) throw RigError("no more frames");
    return one;
  }

 private:
  std::istringstream in_;
};

double median(std::vector<double> all) {
  std::sort(all.begin(), all.end());
  return all.empty() ? 0 : all[all.size() / 2];
}

struct Tally {
  std::vector<double> by_u, u_rpm;
  void take_u(const RunResult& result) {
    for (const BoundaryResult& row : result.boundaries)
      if (!std::isnan(row.threshold_rpm) && !std::isnan(row.expanded_uncertainty_rpm))
        u_rpm.push_back(row.expanded_uncertainty_rpm);
  }
  void print(const std::string& name) {
    for (double& e : by_u) e = std::abs(e);
    std::sort(by_u.begin(), by_u.end());
    if (by_u.empty()) return;
    const auto at = [&](double share) {
      return by_u[static_cast<std::size_t>(share * static_cast<double>(by_u.size() - 1) + 0.5)];
    };
    const auto within = std::upper_bound(by_u.begin(), by_u.end(), 1.0) - by_u.begin();
    fmt::print("| {} | {} | {:.1f} % | {:.2f}, {:.2f}, {:.2f} | {:.1f} |\n", name, by_u.size(),
               100 * static_cast<double>(within) / static_cast<double>(by_u.size()), at(0.5), at(0.95), at(1),
               median(u_rpm));
  }
};

RunResult other_result(const std::filesystem::path& folder, const PhotographedUnit& unit) {
  RunResult result;
  const std::string judging = fmt::format(
      "cd '{}' && ./tachproof judge frames.txt --gauge gauge.yaml --scenario scenario.yaml --regions "
      "regions.yaml "
      "--readout-ms {:.3f}{} --out other --no-history > other.txt 2>&1",
      folder.string(), unit.phone.readout_ms,
      unit.exposure_stated ? fmt::format(" --exposure-ms {:.3f}", unit.phone.exposure_ms) : "");
  (void)!std::system(judging.c_str());
  if (!std::filesystem::exists(folder / "other" / "result.json")) return result;
  result = result_of_any_version(folder / "other" / "result.json");
  std::filesystem::remove_all(folder / "other");
  return result;
}

int study_frames(int runs, std::uint64_t seed, int first, const std::string& units) {
  const ScratchFolder folder;
  std::ofstream(folder / "gauge.yaml") << photographed_gauge_yaml;
  const Gauge gauge = load_gauge(folder / "gauge.yaml");
  std::ofstream(folder / "regions.yaml") << regions_text(regions_of(gauge));
  std::ofstream(folder / "scenario.yaml") << scenario_text(photographed_drive());
  const char* other = std::getenv("TACHPROOF_OTHER");
  if (other != nullptr) {
    std::filesystem::copy_file(other, folder / "tachproof");
    std::ofstream(folder / "tachproof-camera") << "#!/bin/sh\ncat \"$2\"\n";
    std::filesystem::permissions(folder / "tachproof-camera", std::filesystem::perms::owner_all);
  }
  const Profile profile(photographed_drive().steps);
  std::map<std::string, Tally> tallies;
  std::map<std::string, std::map<Verdict, int>> verdicts;
  for (int i = first; i < first + runs; ++i) {
    study::Draw draw(seed, 5'000'000 + static_cast<std::uint64_t>(i));
    Phone phone = draw_phone(draw);
    PhotographedUnit unit =
        PhotographedUnit::draw(gauge, phone, units, seed * 1'000'000 + static_cast<std::uint64_t>(i));
    unit.phone.lasts_s = unit.phone.starts_s + to_seconds(profile.duration()) + 0.4;
    const std::string text = lines_of(unit, unit.seen(profile), draw);
    CameraSettings camera;
    camera.from = "frames";
    camera.regions = (folder / "regions.yaml").string();
    camera.readout_ms = unit.phone.readout_ms;
    if (unit.exposure_stated) camera.exposure_ms = unit.phone.exposure_ms;
    Rig rig = camera_rig(camera, gauge, nullptr,
                         [&](const std::vector<std::string>&) { return std::make_unique<Lines>(text); });
    const Noise quiet;
    if (const auto why = rig.source->cannot_play({profile, gauge.pulses_per_rev, quiet, false}))
      throw std::runtime_error(*why);
    RunRecord record;
    record.gauge = gauge;
    RunFolder kept = RunFolder::create(folder / "run", record);
    const RunOutcome outcome = run_scenario({gauge, profile, quiet, 1, {}}, rig, kept);
    std::filesystem::remove_all(folder / "run");
    const RunResult& result = outcome.result;
    const std::string kind =
        fmt::format("{:.0f}/s{}", phone.fps, unit.exposure_stated ? "" : ", exposure not stated");
    ++verdicts[units + ", " + kind][result.verdict];
    if (result.verdict == (unit.is_sound ? Verdict::fail : Verdict::pass) ||
        std::getenv("TACHPROOF_SAY") != nullptr) {
      fmt::print("{} {} {}: {}\n", i, unit.what, kind, word(result.verdict));
      for (const Finding& finding : result.findings) fmt::print("    {}\n", finding.message);
      if (std::getenv("TACHPROOF_SAY") != nullptr) {
        for (const study::Seen& line : unit.pair.shown.lines)
          fmt::print("    true {:.4f} {}\n", line.at_s, gauge.describe({line.lit, 0}));
        for (const LampEvent& event : outcome.trace.lamps)
          fmt::print("    seen {:.4f} {}\n", to_seconds(event.at), gauge.describe({event.lit, 0}));
      }
    }
    tallies["thresholds, " + kind].take_u(result);
    std::vector<double>& all = tallies["thresholds, " + kind].by_u;
    const std::vector<double> errors = unit.errors_by_u(result);
    for (const double error : errors)
      if (std::abs(error) > 1.3) fmt::print("{} {} {}: {:.2f} U\n", i, unit.what, kind, error);
    all.insert(all.end(), errors.begin(), errors.end());
    if (result.stamps && unit.pair.unit.latest_lamp_s() == 0) {
      const double u_s = 2 * std::hypot(to_seconds(result.stamps->width) / std::sqrt(12.0),
                                        to_seconds(result.stamps->uncertainty));
      for (std::size_t e = 1; e < outcome.trace.lamps.size(); ++e) {
        const LampEvent& event = outcome.trace.lamps[e];
        double nearest = 1e9;
        for (const study::Seen& truth : unit.pair.shown.lines)
          if (truth.lit == event.lit && std::abs(truth.at_s - to_seconds(event.at)) < std::abs(nearest))
            nearest = truth.at_s - to_seconds(event.at);
        if (std::abs(nearest) < 0.15) tallies["changes, " + kind].by_u.push_back(nearest / u_s);
      }
    }
    if (other == nullptr) continue;
    std::ofstream(folder / "frames.txt") << text;
    const RunResult before = other_result(folder.path(), unit);
    ++verdicts[units + ", " + kind + ", other program"][before.verdict];
    tallies["thresholds, " + kind + ", other program"].take_u(before);
    std::vector<double>& beside = tallies["thresholds, " + kind + ", other program"].by_u;
    const std::vector<double> others = unit.errors_by_u(before);
    beside.insert(beside.end(), others.begin(), others.end());
  }
  fmt::print(
      "\n| what | how many | within U | error by U: median, 95 %, most | U, median, rpm |\n| --- | --- | --- "
      "| --- | --- |\n");
  for (auto& [name, tally] : tallies) tally.print(name);
  fmt::print("\n| units | pass | undecided | fail |\n| --- | --- | --- | --- |\n");
  for (auto& [kind, count] : verdicts)
    fmt::print("| {} | {} | {} | {} |\n", kind, count[Verdict::pass], count[Verdict::undecided],
               count[Verdict::fail]);
  return 0;
}

}  // namespace
}  // namespace tachproof::test

int main(int argc, char** argv) {
  return tachproof::test::study_frames(argc > 1 ? std::atoi(argv[1]) : 100,
                                       argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1,
                                       argc > 3 ? std::atoi(argv[3]) : 0, argc > 4 ? argv[4] : "sound");
}
