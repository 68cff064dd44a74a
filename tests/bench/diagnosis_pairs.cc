// How often is the true cause named first?
//
//     diagnosis_pairs [COUNT [SEED [FIRST [FILE [single]]]]]   the shares; FILE gets a line when a pair is
//     done;
//                                                     single: those with two faults, which cost most, are
//                                                     left out
//     diagnosis_pairs 1 SEED NUMBER show              one pair, with the judge's words
//     diagnosis_pairs --table FILE...                 the shares of the lines in them
#include <fmt/format.h>

#include <cstdlib>
#include <fstream>
#include <string_view>

#include "tests/bench/diagnosed_pairs.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/survey_units.h"

namespace {

using namespace tachproof;

std::string share(std::uint64_t hits, std::uint64_t of) {
  if (of == 0) return "-";
  const Limits limits = clopper_pearson(hits, of);
  return fmt::format("{} ({:.1f} %; {:.1f} to {:.1f})", hits,
                     100.0 * static_cast<double>(hits) / static_cast<double>(of), 100 * limits.low,
                     100 * limits.high);
}

void print(const NamedStudy& study) {
  fmt::print(
      "| fault | failed runs | stands first | among those named | explains everything |\n"
      "| --- | --- | --- | --- | --- |\n");
  const auto line = [](const std::string& name, const NamedCounts& c) {
    fmt::print("| {} | {} | {} | {} | {} |\n", name, c.failed, share(c.first, c.failed),
               share(c.listed, c.failed), share(c.explained, c.failed));
  };
  line("one fault", study.singles);
  line("two faults, both named", study.doubles);
  line("two, both leave a trace", study.traced);
  line("two, each with findings of its own", study.found);
  for (const auto& [kind, counts] : study.kinds) line(kind, counts);
  fmt::print("\nhealthy {}, with a cause {}\nsizes {}, within their U {}\n", study.healthy,
             share(study.healthy_with_cause, study.healthy), study.sized, share(study.within_u, study.sized));
  fmt::print("{:.1f} s of processor, longest {:.2f} s\n\n", study.cpu_s, study.longest_s);
  for (const std::string& miss : study.misses) fmt::print("{}\n", miss);
}

int table(int argc, char** argv) {
  NamedStudy study;
  for (int i = 2; i < argc; ++i) {
    std::ifstream in(argv[i]);
    for (std::string text; std::getline(in, text);)
      if (const std::optional<NamedLine> line = named_line(text)) study.add(*line);
  }
  print(study);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc > 2 && std::string_view(argv[1]) == "--table") return table(argc, argv);
  const auto number = [&](int at, std::uint64_t otherwise) {
    return argc > at ? std::strtoull(argv[at], nullptr, 10) : otherwise;
  };
  const std::uint64_t count = number(1, 300), seed = number(2, 1), first = number(3, 1);
  if (argc > 4 && std::string_view(argv[4]) == "show") {
    const DiagnosedPair one = diagnosed_pair(seed, first);
    fmt::print("{}\n", said(one));
    for (const Cause& cause : one.diagnosis.causes.list)
      for (const std::string& left : cause.left) fmt::print("  left by '{}': {}\n", cause.text, left);
    fmt::print("{}\n", test::told(one.result));
    return 0;
  }
  std::ofstream lines;
  if (argc > 4) lines.open(argv[4], std::ios::app);
  NamedStudy study;
  const bool single = argc > 5 && std::string_view(argv[5]) == "single";
  for (std::uint64_t i = first; i < first + count; ++i) {
    if (single && mutation_pair(seed, i).mutations.size() > 1) continue;
    const NamedLine line = line_of(seed, diagnosed_pair(seed, i));
    if (lines.is_open()) lines << text_of(line) << std::flush;
    study.add(line);
  }
  print(study);
}
