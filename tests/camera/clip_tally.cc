#include "tests/camera/clip_tally.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <regex>
#include <set>

namespace tachproof::test {
namespace {

using nlohmann::json;

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1) + 0.5)];
}

// The sentence without its numbers.
std::string cause(const json& line) {
  const std::string said = line.at("finding");
  return std::regex_replace(said, std::regex("[0-9]+([.][0-9]+)?"), "#");
}

json scores(const std::vector<ThresholdScore>& all) {
  json rows = json::array();
  for (const ThresholdScore& score : all) rows.push_back({score.what, score.off_rpm, score.e_n});
  return rows;
}

std::string row(const std::string& what, const std::string& value) {
  return "| " + what + " | " + value + " |\n";
}

// Median, 95 % and most of the absolute values.
std::string spread(std::vector<double> values, int digits) {
  for (double& value : values) value = std::abs(value);
  return fmt::format("{:.{}f}, {:.{}f}, {:.{}f}", quantile(values, 0.5), digits, quantile(values, 0.95),
                     digits, quantile(values, 1), digits);
}

std::string verdicts(const std::vector<json>& lines, const std::function<bool(const json&)>& of,
                     const char* key = "verdict") {
  std::map<std::string, int> count;
  for (const json& line : lines)
    if (line.contains(key) && of(line)) ++count[line.at(key)];
  return fmt::format("{} / {} / {}", count["pass"], count["undecided"], count["fail"]);
}

std::string bare_stamps_row(const std::vector<json>& lines) {
  std::vector<double> off, shares;
  std::size_t beyond = 0;
  for (const json& line : lines) {
    if (!line.contains("bare_stamps_ms")) continue;
    for (const double error : line.at("bare_stamps_ms")) {
      off.push_back(error);
      shares.push_back(error / line.at("bare_stated_ms").get<double>());
      beyond += std::abs(error) > line.at("bare_stated_ms");
    }
  }
  return row(
      fmt::format("its {} changes beside the truth, ms; as a share of their stated U; beyond it", off.size()),
      fmt::format("{}; {}; {}", spread(off, 1), spread(shares, 2), beyond));
}

std::string threshold_row(const std::vector<json>& lines, const char* key, const char* name) {
  std::vector<double> off, e_n;
  std::size_t within = 0;
  double worst = 0;
  std::string worst_name;
  for (const json& line : lines)
    for (const json& score : line.at(key)) {
      const double e = std::abs(score.at(2).get<double>());
      off.push_back(score.at(1));
      e_n.push_back(e);
      within += e <= 1;
      if (e > worst) {
        worst = e;
        worst_name = fmt::format("{} of clip {} of seed {}", score.at(0).get<std::string>(),
                                 line.at("index").get<int>(), line.at("seed").get<std::uint64_t>());
      }
    }
  return row(fmt::format("{} thresholds beside {}: off by rpm: median, 95 %, most", e_n.size(), name),
             spread(off, 1)) +
         row("their E_n: within 1; median, 95 %, most",
             fmt::format("{:.1f} %; {} ({})",
                         100 * static_cast<double>(within) / std::max(1.0, static_cast<double>(e_n.size())),
                         spread(e_n, 2), worst_name));
}

}  // namespace

json line_of(std::uint64_t seed, int index, const Plan& plan, const Trial& trial) {
  json sync = json::array();
  for (const SyncError& error : trial.sync) sync.push_back({error.error_ms, error.half_width_ms});
  return {
      {"seed", seed},
      {"index", index},
      {"what", trial.what},
      {"befell", plan.befell},
      {"untold_gap", !plan.camera.dropped.empty() && (plan.kind == Clip::mjpg || plan.kind == Clip::h264)},
      {"healthy", plan.behaviour.faults.empty()},
      {"verdict", trial.verdict},
      {"bare", trial.bare.verdict},
      {"bare_finding", trial.bare.finding},
      {"bare_stamps_ms", trial.bare.stamp_errors_ms},
      {"bare_stated_ms", trial.bare.stated_ms},
      {"finding", trial.verdict.empty() ? trial.said : trial.first_finding},
      {"looks", trial.looks.looks},
      {"wrong", trial.looks.wrong},
      {"unclear", trial.looks.unclear},
      {"frame_ms", 1e3 / plan.camera.fps},
      {"stamps_ms", trial.stamp_errors_ms},
      {"stated_ms", trial.stated_ms},
      {"sync_ms", sync},
      {"truth", scores(trial.beside_truth)},
      {"wires", scores(trial.beside_wires)}};
}

bool is_wrong(const json& line) {
  const bool healthy = line.at("healthy");
  if (line.contains("bare") && (line.at("bare") == "pass" || (healthy && line.at("bare") == "fail")))
    return true;
  return line.at("verdict") == (healthy ? "fail" : "pass");
}

std::string table_of(const std::vector<json>& lines) {
  std::uint64_t looks = 0, wrong = 0, unclear = 0, frames = 0;
  std::vector<double> stamps, stamp_shares, sync, half_widths, sync_shares, after_gap;
  std::size_t beyond_stamp = 0, beyond_sync = 0;
  std::set<std::uint64_t> seeds;
  std::map<std::string, std::array<int, 2>> causes;
  int wrong_verdicts = 0, refused = 0;
  for (const json& line : lines) {
    seeds.insert(line.at("seed").get<std::uint64_t>());
    wrong_verdicts += is_wrong(line);
    refused += line.at("verdict") == "";
    looks += line.at("looks").get<std::uint64_t>();
    wrong += line.at("wrong").get<std::uint64_t>();
    unclear += line.at("unclear").get<std::uint64_t>();
    const double stated = line.at("stated_ms");
    for (const double error : line.at("stamps_ms")) {
      stamps.push_back(error);
      stamp_shares.push_back(error / stated);
      beyond_stamp += std::abs(error) > stated;
    }
    for (const json& pair : line.at("sync_ms")) {
      const double error = pair.at(0), half = pair.at(1);
      if (line.at("untold_gap")) {
        after_gap.push_back(error);
        continue;
      }
      sync.push_back(error);
      half_widths.push_back(half);
      sync_shares.push_back(error / half);
      beyond_sync += std::abs(error) > half;
    }
    if (line.at("verdict") == "undecided") ++causes[cause(line)][line.at("healthy").get<bool>() ? 0 : 1];
  }
  frames = looks / 5;
  const auto share = [](std::uint64_t part, std::uint64_t whole) {
    return static_cast<double>(part) / static_cast<double>(std::max<std::uint64_t>(whole, 1));
  };
  std::string seed_words;
  for (const std::uint64_t seed : seeds) seed_words += fmt::format(" {}", seed);
  std::string text =
      fmt::format("| measure | {} clips, seeds{} |\n| --- | --- |\n", lines.size(), seed_words);
  text += row("wrong verdicts: a faulty unit passed, a healthy one failed", std::to_string(wrong_verdicts));
  const auto healthy = [](const json& l) { return l.at("healthy").get<bool>(); };
  text += row("healthy units: pass / undecided / fail", verdicts(lines, healthy));
  text += row("of those, clips that nothing befell",
              verdicts(lines, [&](const json& l) { return healthy(l) && l.at("befell") == ""; }));
  text += row("faulty units: pass / undecided / fail",
              verdicts(lines, [&](const json& l) { return !healthy(l); }));
  text +=
      row("without the sync lamp, healthy units: pass / undecided / fail", verdicts(lines, healthy, "bare"));
  text += row("without the sync lamp, faulty units: pass / undecided / fail",
              verdicts(
                  lines, [&](const json& l) { return !healthy(l); }, "bare"));
  text += bare_stamps_row(lines);
  text += row("refused before the run", std::to_string(refused));
  text += row("lamp readings (frames); wrong per thousand; unclear per thousand",
              fmt::format("{} ({}); {:.3f}; {:.2f}", looks, frames, 1e3 * share(wrong, looks),
                          1e3 * share(unclear, looks)));
  text += row(fmt::format("{} changes beside the truth, ms: median, 95 %, most", stamps.size()),
              spread(stamps, 1));
  text += row("as a share of their stated U (k = 2); beyond it",
              fmt::format("{}; {:.2f} %", spread(stamp_shares, 2), 100 * share(beyond_stamp, stamps.size())));
  text += row(fmt::format("the sync's time beside the truth, {} instants, ms", sync.size()), spread(sync, 1));
  text += row("its stated half-width, ms", spread(half_widths, 1));
  text += row("the one as a share of the other; beyond it",
              fmt::format("{}; {:.2f} %", spread(sync_shares, 2), 100 * share(beyond_sync, sync.size())));
  text += row(fmt::format("the same after frames went missing untold, {} instants, ms", after_gap.size()),
              spread(after_gap, 1));
  text += threshold_row(lines, "truth", "the truth");
  text += threshold_row(lines, "wires", "wires to the same unit");
  text += "\n| undecided because | healthy | faulty |\n| --- | --- | --- |\n";
  for (const auto& [why, count] : causes) text += fmt::format("| {} | {} | {} |\n", why, count[0], count[1]);
  return text;
}

}  // namespace tachproof::test
