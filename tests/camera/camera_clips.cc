// Films random runs, judges them through the whole program and prints what came
// out, beside the truth: the table in tests/camera/CAMERA.md.
//
//     camera_clips CLIPS SEED [FIRST] [FILE]    films; a line of JSON for each is added to FILE
//     camera_clips --table FILE...              the table of what is there
#include <fmt/format.h>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <memory>
#include <stdexcept>

#include "tests/bench/scratch_folder.h"
#include "tests/camera/clip_tally.h"

namespace {

using namespace tachproof::test;
using nlohmann::json;

constexpr int per_camera = 8;

std::unique_ptr<TaughtCamera> taught_camera(const std::filesystem::path& folder, std::uint64_t seed) {
  for (std::uint64_t again = 0;; ++again) try {
      return std::make_unique<TaughtCamera>(folder, seed + 100'000 * again);
    } catch (const std::runtime_error& e) {
      fmt::print("not taught: {}\n", e.what());
    }
}

std::vector<json> film_all(int first, int end, std::uint64_t seed, const std::string& file) {
  std::vector<json> lines;
  std::unique_ptr<tachproof::ScratchFolder> folder;
  std::unique_ptr<TaughtCamera> taught;
  for (int i = first; i < end; ++i) {
    if (i % per_camera == 0 || !taught) {
      folder = std::make_unique<tachproof::ScratchFolder>();
      taught = taught_camera(folder->path(), static_cast<std::uint64_t>(i - i % per_camera) + seed * 1000);
    }
    const Plan plan = random_plan(*taught, seed * 100'000 + static_cast<std::uint64_t>(i));
    lines.push_back(line_of(seed, i, plan, run_trial(*taught, plan)));
    const json& line = lines.back();
    if (!file.empty()) std::ofstream(file, std::ios::app) << line.dump() << "\n";
    fmt::print("{} {}{} -> {} ({} wrong, {} unclear of {})  {}\n", i, is_wrong(line) ? "WRONG " : "",
               line.at("what").get<std::string>(), line.at("verdict").get<std::string>(),
               line.at("wrong").get<int>(), line.at("unclear").get<int>(), line.at("looks").get<int>(),
               line.at("finding").get<std::string>());
    std::fflush(stdout);
  }
  return lines;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> words(argv + 1, argv + argc);
  std::vector<json> lines;
  if (!words.empty() && words[0] == "--table") {
    for (std::size_t i = 1; i < words.size(); ++i) {
      std::ifstream in(words[i]);
      for (std::string line; std::getline(in, line);) lines.push_back(json::parse(line));
    }
  } else {
    const int clips = words.size() > 0 ? std::atoi(words[0].c_str()) : 200;
    const int first = words.size() > 2 ? std::atoi(words[2].c_str()) : 0;
    const auto seed = static_cast<std::uint64_t>(words.size() > 1 ? std::atoi(words[1].c_str()) : 1);
    lines = film_all(first, first + clips, seed, words.size() > 3 ? words[3] : "");
  }
  fmt::print("\n{}", table_of(lines));
  return std::any_of(lines.begin(), lines.end(), is_wrong) ? 1 : 0;
}
