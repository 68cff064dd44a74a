#include "tests/bench/mutation_study.h"

#include <algorithm>
#include <atomic>
#include <thread>

#include "bench/rigs/simulated/faults.h"
#include "core/base/text.h"

namespace tachproof {
namespace {

std::string healthy_class(const MutationPair& pair) {
  if (pair.shifted == 0) return "as set";
  return pair.shifted < 0.65   ? "0.50 to 0.65 of tolerance"
         : pair.shifted < 0.80 ? "0.65 to 0.80 of tolerance"
                               : "0.80 to 0.95 of tolerance";
}

void judge_into(MutationStudy& study, std::uint64_t seed, std::uint64_t number) {
  const MutationPair pair = mutation_pair(seed, number);
  const Verdict verdict = judge_pair(pair).verdict;
  const bool healthy = pair.mutations.empty();
  const Verdict wrong_one = healthy ? Verdict::fail : Verdict::pass;
  const auto count = [&](MutationCounts& counts) { counts.add(verdict, wrong_one); };
  count(healthy ? study.all_healthy : study.all_faulty);
  if (pair.surveyed) count(healthy ? study.surveyed_healthy : study.surveyed_faulty);
  if (healthy) {
    count(study.healthy[healthy_class(pair)]);
  } else if (pair.mutations.size() > 1) {
    count(study.faults["two at once"]);
  } else {
    const Mutation& one = pair.mutations.front();
    count(study.faults[one.kind]);
    const auto bin = std::upper_bound(magnitude_bins.begin(), magnitude_bins.end(), one.magnitude);
    if (one.magnitude > 0 && bin != magnitude_bins.begin())
      count(study.bins[static_cast<std::size_t>(bin - magnitude_bins.begin()) - 1]);
  }
  if (verdict == wrong_one) study.wrong.push_back({number, describe(pair), !healthy});
}

template <class Map>
void add_all(Map& to, const Map& from) {
  for (const auto& [key, counts] : from) to[key].add(counts);
}

}  // namespace

void MutationStudy::add(const MutationStudy& more) {
  add_all(healthy, more.healthy);
  add_all(faults, more.faults);
  for (std::size_t i = 0; i < bins.size(); ++i) bins[i].add(more.bins[i]);
  all_healthy.add(more.all_healthy);
  all_faulty.add(more.all_faulty);
  surveyed_healthy.add(more.surveyed_healthy);
  surveyed_faulty.add(more.surveyed_faulty);
  wrong.insert(wrong.end(), more.wrong.begin(), more.wrong.end());
}

MutationStudy study_mutations(std::uint64_t count, std::uint64_t seed, unsigned threads) {
  std::vector<MutationStudy> parts(std::max(1u, threads));
  std::atomic<std::uint64_t> next{1};
  std::vector<std::thread> workers;
  for (MutationStudy& part : parts)
    workers.emplace_back([&] {
      for (std::uint64_t number; (number = next++) <= count;) judge_into(part, seed, number);
    });
  for (std::thread& worker : workers) worker.join();
  MutationStudy all;
  for (const MutationStudy& part : parts) all.add(part);
  std::sort(all.wrong.begin(), all.wrong.end(),
            [](const WrongPair& a, const WrongPair& b) { return a.number < b.number; });
  return all;
}

std::string describe(const MutationPair& pair) {
  std::string text;
  for (const Mutation& m : pair.mutations) {
    text += (text.empty() ? "" : " and ") + m.kind;
    if (m.magnitude > 0) text += ", " + decimal(m.magnitude, 2) + " of what is allowed";
  }
  for (const FaultSetting& fault : pair.behaviour.faults) text += "; " + describe(fault);
  if (pair.mutations.empty())
    text = pair.shifted > 0 ? "healthy, " + decimal(pair.shifted, 2) + " of its tolerances used"
                            : "healthy, as set";
  if (pair.behaviour.dim) text += "; dimmed by PWM";
  return text + (pair.surveyed ? "; surveyed" : "");
}

}  // namespace tachproof
