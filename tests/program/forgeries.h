// What a forger does to a run or suite folder who knows the program: one change, drawn from a seed, and new
// sums that fit it.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <iterator>
#include <random>
#include <string>
#include <vector>

namespace tachproof::test {

using Random = std::mt19937;

inline std::size_t below(Random& random, std::size_t n) {
  return std::uniform_int_distribution<std::size_t>(0, n - 1)(random);
}
template <class Items>
const auto& one_of(Random& random, const Items& items) {
  return items[below(random, std::size(items))];
}

void write(const std::filesystem::path& file, const std::string& text);
std::string replaced_all(std::string text, const std::string& from, const std::string& to);

// How far the forger goes in covering the change.
enum class Cover { nothing, sums, sums_and_seal };

// New sums for what the run folder holds now, and a new seal in its journal.
void cover_run(const std::filesystem::path& run, Cover cover);
// The sums of the copies and of the evidence that result.json has itself.
void cover_result(const std::filesystem::path& run);
// The suite's own sums, and what suite.json says of its runs' results.
void cover_suite(const std::filesystem::path& suite, Cover cover);

// What is forged in a run, with the help of another run's folder: true when something was changed.
using Forge =
    std::function<bool(const std::filesystem::path& run, const std::filesystem::path& other, Random& random)>;
struct KindOfForgery {
  const char* name;
  Forge forge;
};
const std::vector<KindOfForgery>& forgeries_of_a_run();

// suite.json, or another file of a suite in which low/slow failed: true when something was changed.
bool forge_suite(const std::filesystem::path& suite, Random& random);
bool forge_suite_files(const std::filesystem::path& suite, Random& random);

bool same_files(const std::filesystem::path& a, const std::filesystem::path& b);

}  // namespace tachproof::test
