// Units of independent physics as the second drawer photographs them, judged as a run is, beside what is
// true: blinks that frames cannot follow and colours that were not taught are among the faults.
//
//     camera_photos CLIPS SEED [KIND] [FILE]    films; a line for each clip is added to FILE
//     camera_photos --table FILE...             the tables of what is there
//
// KIND: sound, dimmed, alias, colour, fault; `all`: in turn. TACHPROOF_OTHER: another build's program, by
// which sound units are judged too; its thresholds have a row of their own.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "bench/camera/camera.h"
#include "bench/files/files.h"
#include "bench/record/run_folder.h"
#include "bench/rigs/camera/camera.h"
#include "bench/run/runner.h"
#include "core/camera/teaching.h"
#include "tests/bench/scratch_folder.h"
#include "tests/camera/photographed_units.h"

namespace tachproof::test {
namespace {

constexpr std::uint64_t per_phone = 8;

// What a line of the file says.
struct Line {
  std::string kind;
  int fps = 0;
  Verdict verdict = Verdict::undecided;
  std::vector<double> errors_by_u, by_other;  // of thresholds
  std::string what, said;
};

std::string text_of(const Line& line) {
  std::string text = fmt::format("{}\t{}\t{}\t", line.kind, line.fps, word(line.verdict));
  for (const double error : line.errors_by_u) text += fmt::format("{:.4f} ", error);
  text += "\t";
  for (const double error : line.by_other) text += fmt::format("{:.4f} ", error);
  std::string said = line.said;
  std::replace(said.begin(), said.end(), '\t', ' ');
  return text + "\t" + line.what + "\t" + said;
}

Line line_of(const std::string& text) {
  std::istringstream in(text);
  std::string cell;
  Line line;
  std::getline(in, line.kind, '\t');
  std::getline(in, cell, '\t');
  line.fps = std::atoi(cell.c_str());
  std::getline(in, cell, '\t');
  line.verdict = cell == "pass" ? Verdict::pass : cell == "fail" ? Verdict::fail : Verdict::undecided;
  std::getline(in, cell, '\t');
  std::istringstream errors(cell);
  for (double error; errors >> error;) line.errors_by_u.push_back(error);
  std::getline(in, cell, '\t');
  std::istringstream others(cell);
  for (double error; others >> error;) line.by_other.push_back(error);
  std::getline(in, line.what, '\t');
  std::getline(in, line.said);
  return line;
}

bool is_sound(const std::string& kind) { return kind == "sound" || kind == "dimmed"; }
bool is_wrong(const Line& line) {
  return line.verdict == (is_sound(line.kind) ? Verdict::fail : Verdict::pass);
}

void print_tables(const std::vector<Line>& lines) {
  std::map<std::pair<std::string, int>, std::map<Verdict, int>> counts;
  std::map<std::string, std::vector<double>> errors;
  int wrong = 0;
  for (const Line& line : lines) {
    ++counts[{line.kind, line.fps}][line.verdict];
    wrong += is_wrong(line);
    for (const double error : line.errors_by_u) errors[std::to_string(line.fps)].push_back(std::abs(error));
    for (const double error : line.by_other)
      errors[fmt::format("{}, by the other program", line.fps)].push_back(std::abs(error));
  }
  fmt::print("\n| units | frames a second | pass | undecided | fail |\n| --- | --- | --- | --- | --- |\n");
  for (auto& [key, count] : counts)
    fmt::print("| {} | {} | {} | {} | {} |\n", key.first, key.second, count[Verdict::pass],
               count[Verdict::undecided], count[Verdict::fail]);
  fmt::print("wrong verdicts: {} of {}\n\n", wrong, lines.size());
  fmt::print(
      "| thresholds, frames a second | how many | within U | error by U: median, 95 %, most |\n"
      "| --- | --- | --- | --- |\n");
  for (auto& [fps, all] : errors) {
    std::sort(all.begin(), all.end());
    const auto at = [&all = all](double share) {
      return all[static_cast<std::size_t>(share * static_cast<double>(all.size() - 1) + 0.5)];
    };
    const auto within = std::upper_bound(all.begin(), all.end(), 1.0) - all.begin();
    fmt::print("| {} | {} | {:.1f} % | {:.2f}, {:.2f}, {:.2f} |\n", fps, all.size(),
               100 * static_cast<double>(within) / static_cast<double>(all.size()), at(0.5), at(0.95), at(1));
  }
}

// A phone on its tripod, which was taught once.
class Taught {
 public:
  Taught(std::uint64_t seed, std::uint64_t number) {
    study::Draw draw(seed, 1'000'000 + number);
    phone = draw_phone(draw);
    std::ofstream(folder / "gauge.yaml") << photographed_gauge_yaml;
    gauge = load_gauge(folder / "gauge.yaml");
    const Profile teaching(teaching_steps(gauge, "sync"));
    Phone taught = phone;
    taught.lasts_s = taught.starts_s + to_seconds(teaching.duration()) + 0.5;
    const std::string file = (folder / "teaching.avi").string();
    photograph(taught_unit(gauge, teaching), taught, file);
    TeachSettings settings;
    settings.from.from = file;
    settings.gauge_file = (folder / "gauge.yaml").string();
    settings.out = (folder / "regions.yaml").string();
    settings.sync = "sync";
    teach(settings);
  }

  Line judged(PhotographedUnit unit, std::uint64_t number) const {
    const Profile profile(photographed_drive().steps);
    Phone& film = unit.phone;
    film.lasts_s = film.starts_s + to_seconds(profile.duration()) + 0.4;
    const std::filesystem::path clip = folder / (film.into == Phone::Into::mjpg   ? "clip.avi"
                                                 : film.into == Phone::Into::h264 ? "clip.mp4"
                                                                                  : "clip");
    photograph(unit.seen(profile), film, clip.string());
    CameraSettings camera;
    camera.from = clip.string();
    camera.regions = (folder / "regions.yaml").string();
    camera.readout_ms = film.readout_ms;
    if (unit.exposure_stated) camera.exposure_ms = film.exposure_ms;
    Rig rig = camera_rig(camera, gauge, nullptr);
    const Noise quiet;
    if (const auto why = rig.source->cannot_play({profile, gauge.pulses_per_rev, quiet, false}))
      throw std::runtime_error(*why);
    RunRecord record;
    record.gauge = gauge;
    RunFolder kept = RunFolder::create(folder / ("run" + std::to_string(number)), record);
    const RunResult result = run_scenario({gauge, profile, quiet, 1, {}}, rig, kept).result;
    const std::vector<double> by_other =
        unit.kind == "sound" ? judged_by_other(unit, clip) : std::vector<double>();
    std::filesystem::remove_all(clip);
    std::filesystem::remove_all(kept.path());
    Line line{unit.kind, static_cast<int>(film.fps), result.verdict, unit.errors_by_u(result), by_other, {},
              {}};
    line.what = fmt::format("{}; {:.1f} ms{}", unit.what, film.exposure_ms,
                            unit.exposure_stated ? "" : " (not stated)");
    for (const Finding& finding : result.findings)
      if (line.said.empty() ||
          (verdict_of(finding.kind) == Verdict::undecided && result.verdict != Verdict::fail))
        line.said = finding.message;
    if (line.said.empty())
      for (const TransitionResult& row : result.transitions)
        if (row.verdict != Verdict::pass && line.said.empty())
          line.said = fmt::format("{} {} at {}: {}", row.boundary, word(row.direction), to_seconds(row.at),
                                  row.remark);
    if (line.said.empty())
      for (const BoundaryResult& row : result.boundaries)
        if (row.verdict != Verdict::pass && line.said.empty())
          line.said = fmt::format("{} {}: {:.1f} +- {:.1f} rpm; {}", row.boundary, word(row.direction),
                                  row.threshold_rpm, row.expanded_uncertainty_rpm, row.remark);
    return line;
  }

  std::vector<double> judged_by_other(const PhotographedUnit& unit, const std::filesystem::path& clip) const {
    const char* other = std::getenv("TACHPROOF_OTHER");
    if (other == nullptr) return {};
    std::ofstream(folder / "scenario.yaml") << scenario_text(photographed_drive());
    const std::string judging = fmt::format(
        "cd '{}' && '{}' judge '{}' --gauge gauge.yaml --scenario scenario.yaml --regions regions.yaml "
        "--readout-ms {:.3f}{} --out other --no-history > other.txt 2>&1",
        folder.path().string(), other, clip.filename().string(), unit.phone.readout_ms,
        unit.exposure_stated ? fmt::format(" --exposure-ms {:.3f}", unit.phone.exposure_ms) : "");
    if (std::system(judging.c_str()) == 2 || !std::filesystem::exists(folder / "other" / "result.json"))
      return {};
    const RunResult result = result_of_any_version(folder / "other" / "result.json");
    std::filesystem::remove_all(folder / "other");
    return unit.errors_by_u(result);
  }

  ScratchFolder folder;
  Phone phone;
  Gauge gauge;
};

int study_clips(std::uint64_t clips, std::uint64_t seed, const std::string& only, const std::string& file) {
  static const std::vector<std::string> in_turn{"sound", "alias", "sound", "colour",
                                                "sound", "fault", "sound", "dimmed"};
  std::vector<Line> lines;
  std::unique_ptr<Taught> taught;
  for (std::uint64_t i = 0; i < clips; ++i) {
    if (i % per_phone == 0) taught = std::make_unique<Taught>(seed, i);
    const std::string kind = only.empty() || only == "all" ? in_turn[i % in_turn.size()] : only;
    lines.push_back(
        taught->judged(PhotographedUnit::draw(taught->gauge, taught->phone, kind, seed * 100'000 + i), i));
    const Line& line = lines.back();
    if (!file.empty()) std::ofstream(file, std::ios::app) << text_of(line) << "\n";
    fmt::print("{} {}{}: {}; {}/s -> {}  {}\n", i, is_wrong(line) ? "WRONG " : "", line.kind, line.what,
               line.fps, word(line.verdict), line.said);
    std::fflush(stdout);
  }
  print_tables(lines);
  return std::any_of(lines.begin(), lines.end(), is_wrong) ? 1 : 0;
}

int table(int files, char** names) {
  std::vector<Line> lines;
  for (int i = 0; i < files; ++i) {
    std::ifstream in(names[i]);
    for (std::string text; std::getline(in, text);) lines.push_back(line_of(text));
  }
  print_tables(lines);
  return std::any_of(lines.begin(), lines.end(), is_wrong) ? 1 : 0;
}

}  // namespace
}  // namespace tachproof::test

int main(int argc, char** argv) {
  if (argc > 1 && std::string(argv[1]) == "--table") return tachproof::test::table(argc - 2, argv + 2);
  return tachproof::test::study_clips(argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 28,
                                      argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1,
                                      argc > 3 ? argv[3] : "", argc > 4 ? argv[4] : "");
}
