// Films random runs, judges them through the whole program and prints what came
// out, beside the truth: the table in tests/camera/CAMERA.md.
//
//     camera_clips [CLIPS] [SEED] [FIRST]
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <map>

#include "tests/bench/scratch_folder.h"
#include "tests/camera/clip_trials.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  using namespace tachproof::test;
  const int clips = argc > 1 ? std::atoi(argv[1]) : 200;
  const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoi(argv[2]) : 1);
  const int first = argc > 3 ? std::atoi(argv[3]) : 0;  // one of an earlier run again
  constexpr int per_camera = 8;
  std::map<std::string, int> healthy, faulty;
  std::uint64_t looks = 0, wrong = 0, unclear = 0;
  std::vector<double> errors, shares, e_n;
  int wrong_verdicts = 0, no_verdict = 0, untaught = 0;
  std::unique_ptr<ScratchFolder> folder;
  std::unique_ptr<TaughtCamera> taught;
  for (int i = first; i < first + clips; ++i) {
    if (i % per_camera == 0 || !taught) {
      taught.reset();
      folder = std::make_unique<ScratchFolder>();
      const auto camera = static_cast<std::uint64_t>(i - i % per_camera) + seed * 1000;
      for (std::uint64_t again = 0; !taught; ++again) try {
          taught = std::make_unique<TaughtCamera>(folder->path(), camera + 100'000 * again);
        } catch (const std::runtime_error& e) {
          ++untaught;
          std::fprintf(stderr, "not taught: %s\n", e.what());
        }
    }
    const Plan plan = random_plan(*taught, seed * 100000 + static_cast<std::uint64_t>(i));
    const Trial trial = run_trial(*taught, plan);
    const bool is_healthy = plan.behaviour.faults.empty();
    ++(is_healthy ? healthy : faulty)[trial.verdict];
    const bool is_wrong = trial.verdict == (is_healthy ? "fail" : "pass");
    wrong_verdicts += is_wrong;
    no_verdict += trial.verdict.empty();
    looks += trial.looks;
    wrong += trial.wrong_looks;
    unclear += trial.unclear_looks;
    for (const double error : trial.stamp_errors_ms) {
      errors.push_back(error);
      shares.push_back(error / trial.stated_ms);
    }
    e_n.insert(e_n.end(), trial.e_n.begin(), trial.e_n.end());
    std::fprintf(
        stderr, "%d %s%s -> %s (%llu wrong, %llu unclear of %llu)  %s%s\n", i, is_wrong ? "WRONG " : "",
        trial.what.c_str(), trial.verdict.c_str(), static_cast<unsigned long long>(trial.wrong_looks),
        static_cast<unsigned long long>(trial.unclear_looks), static_cast<unsigned long long>(trial.looks),
        trial.first_finding.c_str(), trial.said.c_str());
  }
  const auto quantile = [](std::vector<double> values, double share) {
    if (values.empty()) return 0.0;
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1))];
  };
  const auto beyond_one = std::count_if(e_n.begin(), e_n.end(), [](double e) { return std::abs(e) > 1; });
  fmt::print("| measure | {} clips, seed {} |\n| --- | --- |\n", clips, seed);
  fmt::print("| wrong verdicts (a pass of a faulty or a fail of a healthy unit) | {} |\n", wrong_verdicts);
  fmt::print("| healthy units: pass / undecided / fail | {} / {} / {} |\n", healthy["pass"],
             healthy["undecided"], healthy["fail"]);
  fmt::print("| faulty units: pass / undecided / fail | {} / {} / {} |\n", faulty["pass"],
             faulty["undecided"], faulty["fail"]);
  fmt::print("| refused before the run; cameras not taught | {}; {} |\n", no_verdict, untaught);
  fmt::print("| lamp readings; wrong per thousand; unclear per thousand | {}; {:.3f}; {:.2f} |\n", looks,
             1e3 * static_cast<double>(wrong) / static_cast<double>(std::max<std::uint64_t>(looks, 1)),
             1e3 * static_cast<double>(unclear) / static_cast<double>(std::max<std::uint64_t>(looks, 1)));
  fmt::print("| {} stamps against truth, ms: median, 95 %, most | {:.1f}, {:.1f}, {:.1f} |\n", errors.size(),
             quantile(errors, 0.5), quantile(errors, 0.95), quantile(errors, 1));
  fmt::print("| the same as a share of the stated U: 95 %, most | {:.2f}, {:.2f} |\n", quantile(shares, 0.95),
             quantile(shares, 1));
  fmt::print(
      "| {} thresholds against truth: beyond E_n = 1 | {} ({:.1f} %) |\n", e_n.size(), beyond_one,
      100.0 * static_cast<double>(beyond_one) / static_cast<double>(std::max<std::size_t>(e_n.size(), 1)));
  return wrong_verdicts == 0 ? 0 : 1;
}
