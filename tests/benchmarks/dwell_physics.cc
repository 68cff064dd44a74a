// How often is a dwell's verdict wrong for units that are none of the program's?
//
//     dwell_physics [UNITS [FIRST]]
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>

#include "tests/bench/dwell_units.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  const std::uint64_t units = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 100;
  const std::uint64_t first = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  fmt::print(
      "| unit | held from its worst mean, rpm: mean, standard | at or above the limit that passed | under it "
      "that failed | below 0.6 times that passed | above 1.7 times that failed |\n"
      "| --- | --- | --- | --- | --- | --- |\n");
  for (const Physics physics : all_physics) {
    const auto all =
        certify_units([&](std::uint64_t number) { return dwell_unit(physics, number); }, first, units, 20);
    double sum = 0, squares = 0, held = 0;
    for (const CertifiedUnit& unit : all)
      if (unit.held_s > 0) held += 1, sum += unit.off_rpm, squares += unit.off_rpm * unit.off_rpm;
    const auto rate = &CertifiedUnit::worst_rate;
    const VerdictCount good = count_verdicts(all, rate, 0, 1), bad = count_verdicts(all, rate, 1, 1e9);
    const VerdictCount quiet = count_verdicts(all, rate, 0, 0.6),
                       restless = count_verdicts(all, rate, 1.7, 1e9);
    fmt::print("| {} | {:.2f}, {:.2f} | {} of {} | {} of {} | {} of {} | {} of {} |\n", name(physics),
               sum / held, std::sqrt(squares / held - sum * sum / held / held), bad.passes, bad.units,
               good.fails, good.units, quiet.passes, quiet.units, restless.fails, restless.units);
    std::fflush(stdout);
  }
}
