// How often is the bench wrong? Random gauges, healthy and faulty units, judged end to
// end; MUTATION.md says how.
//
//     mutation [--pairs 20000] [--seed 1] [--threads 2] [--out FOLDER]
//         prints the tables; with --out writes mutation-tables.md and mutation.svg there
//     mutation --seed 1 --pair 601
//         one pair with its settings and the judge's words
#include <fmt/format.h>

#include <chrono>
#include <cstdlib>
#include <fstream>
#include <thread>

#include "bench/files/gauge_writer.h"
#include "bench/reports/svg.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/mutation_oracle.h"
#include "tests/bench/mutation_study.h"
#include "tests/bench/survey_units.h"

namespace {

using namespace tachproof;

struct Row {
  std::string name;
  MutationCounts counts;
};

std::string percent(double share) { return fmt::format("{:.3g} %", 100 * share); }

std::string table(const std::string& first, const std::string& wrong, const std::vector<Row>& rows) {
  std::string text = fmt::format(
      "| {} | pairs | {} | share, limits | undecided |\n| --- | --- | --- | --- | --- |\n", first, wrong);
  for (const Row& row : rows) {
    const MutationCounts& c = row.counts;
    if (c.pairs == 0) continue;
    const Limits limits = clopper_pearson(c.wrong, c.pairs);
    const auto pairs = static_cast<double>(c.pairs);
    text += fmt::format("| {} | {} | {} | {}, {} .. {} | {} ({}) |\n", row.name, c.pairs, c.wrong,
                        percent(static_cast<double>(c.wrong) / pairs), percent(limits.low),
                        percent(limits.high), c.undecided, percent(static_cast<double>(c.undecided) / pairs));
  }
  return text;
}

std::vector<Row> healthy_rows(const MutationStudy& study) {
  std::vector<Row> rows;
  for (const auto& [name, counts] : study.healthy) rows.push_back({name, counts});
  rows.push_back({"of all, surveyed", study.surveyed_healthy});
  rows.push_back({"all", study.all_healthy});
  return rows;
}

std::vector<Row> fault_rows(const MutationStudy& study) {
  std::vector<Row> rows;
  for (const auto& [name, counts] : study.faults) rows.push_back({name, counts});
  rows.push_back({"of all, surveyed", study.surveyed_faulty});
  rows.push_back({"all", study.all_faulty});
  return rows;
}

std::vector<Row> magnitude_rows(const MutationStudy& study) {
  std::vector<Row> rows;
  for (std::size_t i = 0; i < magnitude_bins.size(); ++i)
    rows.push_back({i + 1 < magnitude_bins.size()
                        ? fmt::format("{} to {}", magnitude_bins[i], magnitude_bins[i + 1])
                        : fmt::format("from {}", magnitude_bins[i]),
                    study.bins[i]});
  return rows;
}

std::string tables(const MutationStudy& study, const std::string& of_what) {
  std::string text =
      of_what + "\n\n### Healthy units: false alarms\n\n" + table("unit", "failed", healthy_rows(study)) +
      "\n### Faulty units: escapes, by kind\n\n" + table("fault", "passed", fault_rows(study)) +
      "\n### Faulty units: escapes, by magnitude\n\nSingle faults that there is more and less of, in "
      "multiples of what is allowed.\n\n" +
      table("magnitude", "passed", magnitude_rows(study)) + "\n### Wrong verdicts\n\n";
  if (study.wrong.empty()) return text + "None.\n";
  for (const WrongPair& pair : study.wrong)
    text += fmt::format("- pair {}: {} ({})\n", pair.number, pair.escape ? "an escape" : "a false alarm",
                        pair.what);
  return text;
}

// ---- the drawing --------------------------------------------------------------------

constexpr double row_high = 18, left = 220, right = 690, wide = 800;

// On a scale of roots, so that small shares are seen.
double across(double share) { return left + (right - left) * std::sqrt(std::min(share, 0.25) / 0.25); }

std::string panel(const std::string& title, const std::vector<Row>& rows, double& y) {
  std::string text = svg_text({10, y}, title, "title");
  y += 8;
  const double from = y, to = y + row_high * static_cast<double>(rows.size());
  for (const double share : {0.0, 0.001, 0.01, 0.05, 0.1, 0.25}) {
    text += svg_line({across(share), from}, {across(share), to}, "grid");
    text += svg_text({across(share), to + 12}, fmt::format("{:g} %", 100 * share), "tick", Anchor::middle);
  }
  for (const Row& row : rows) {
    const MutationCounts& c = row.counts;
    const double middle = y + row_high / 2;
    text += svg_text({left - 8, middle + 4}, row.name, "name", Anchor::end);
    if (c.pairs > 0) {
      const Limits limits = clopper_pearson(c.wrong, c.pairs);
      const double share = static_cast<double>(c.wrong) / static_cast<double>(c.pairs);
      text += svg_line({across(limits.low), middle}, {across(limits.high), middle}, "limits");
      text += svg_rect({across(share) - 3, middle - 3}, 6, 6, c.wrong == 0 ? "none" : "some");
      text += svg_text({right + 10, middle + 4}, fmt::format("{} of {}", c.wrong, c.pairs), "name");
    }
    y += row_high;
  }
  y += 40;
  return text;
}

std::string drawing(const MutationStudy& study) {
  double y = 24;
  std::string body = panel("False alarms: healthy units that failed", healthy_rows(study), y);
  body += panel("Escapes, by kind: faulty units that passed", fault_rows(study), y);
  body += panel("Escapes, by magnitude in multiples of what is allowed", magnitude_rows(study), y);
  body += svg_text({10, y - 8},
                   "Squares: shares seen; bars: exact 95 % limits (Clopper, Pearson). Root scale.", "tick");
  return fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0} {1:.0f}\" width=\"{0}\" "
      "height=\"{1:.0f}\">\n"
      "<style>text{{font:12px sans-serif;fill:#223}} .title{{font-weight:bold;font-size:13px}} "
      ".tick{{font-size:10px;fill:#667}} .grid{{stroke:#dde}} .limits{{stroke:#47a;stroke-width:3}} "
      ".none{{fill:#47a}} .some{{fill:#b3268f}}</style>\n"
      "<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n{2}</svg>\n",
      wide, y + 4, body);
}

int show_pair(std::uint64_t seed, std::uint64_t number) {
  const MutationPair pair = mutation_pair(seed, number);
  fmt::print("# should be\n{}\n# is\n{}\n{}\n", gauge_yaml(pair.gauge), gauge_yaml(pair.runs),
             describe(pair));
  const Told told = truth_of(pair);
  fmt::print("the settings say: {}\n", told.truth == Truth::inside ? "inside" : "outside, by " + told.why);
  fmt::print("the judge says: {}\n", test::told(judge_pair(pair)));
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  std::map<std::string, std::string> given;
  for (int i = 1; i + 1 < argc; i += 2) given[argv[i]] = argv[i + 1];
  const auto number = [&](const char* name, std::uint64_t otherwise) {
    return given.count(name) > 0 ? std::strtoull(given[name].c_str(), nullptr, 10) : otherwise;
  };
  const std::uint64_t pairs = number("--pairs", 20'000), seed = number("--seed", 1);
  if (given.count("--pair") > 0) return show_pair(seed, number("--pair", 1));
  const auto threads =
      static_cast<unsigned>(number("--threads", std::max(1u, std::thread::hardware_concurrency())));

  const auto begun = std::chrono::steady_clock::now();
  const MutationStudy study = study_mutations(pairs, seed, threads);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begun;
  const std::string text = tables(study, fmt::format("{} pairs of seed {}.", pairs, seed));
  fmt::print("{}\n{} pairs of seed {} in {:.0f} s on {} threads: {:.0f} runs per second\n", text, pairs, seed,
             took.count(), threads, static_cast<double>(pairs) / took.count());
  if (given.count("--out") > 0) {
    std::ofstream(given["--out"] + "/mutation-tables.md") << text;
    std::ofstream(given["--out"] + "/mutation.svg") << drawing(study);
  }
  return 0;
}
