// How often is the true cause named first?
//
//     diagnosis_pairs [COUNT [SEED [FIRST]]]
//     diagnosis_pairs 1 SEED NUMBER show      one pair, with the judge's words
#include <fmt/format.h>

#include <cstdlib>

#include "tests/bench/diagnosed_pairs.h"
#include "tests/bench/judged_unit.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  const auto number = [&](int at, std::uint64_t otherwise) {
    return argc > at ? std::strtoull(argv[at], nullptr, 10) : otherwise;
  };
  if (argc > 4) {
    const DiagnosedPair one = diagnosed_pair(number(2, 1), number(3, 1));
    fmt::print("{}\n{}\n", said(one), test::told(one.result));
    return 0;
  }
  const NamedStudy study = study_diagnoses(number(1, 300), number(2, 1), number(3, 1));
  const auto line = [](const std::string& name, const NamedCounts& c) {
    fmt::print("{:28} failed {:4}  first {:4}  listed {:4}  whole {:4}\n", name, c.failed, c.first, c.listed,
               c.explained);
  };
  for (const auto& [kind, counts] : study.kinds) line(kind, counts);
  line("one fault", study.singles);
  line("two faults", study.doubles);
  line("two, both leave a trace", study.traced);
  fmt::print("healthy {}, with a cause {}; {:.1f} s, longest {:.2f} s\n", study.healthy,
             study.healthy_with_cause, study.cpu_s, study.longest_s);
  fmt::print("sizes {}, within their U {}\n", study.sized, study.within_u);
  for (const std::string& miss : study.misses) fmt::print("{}\n", miss);
}
