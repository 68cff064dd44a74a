// Does the stated uncertainty of a survey hold for units that are none of the
// program's? Each surveyed whole, in the closed loop.
//
//     survey_physics [UNITS [FIRST [WITHIN_RPM [OFF_RPM]]]]
#include <fmt/format.h>

#include <cstdlib>

#include "tests/bench/other_rig.h"
#include "tests/bench/survey_units.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  const std::uint64_t units = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 200;
  const std::uint64_t first = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  const double within = argc > 3 ? std::strtod(argv[3], nullptr) : 1;
  UnitDraw draw;
  if (argc > 4) draw.off_rpm = std::strtod(argv[4], nullptr);
  fmt::print(
      "| unit | intervals | hold the threshold | mean U, rpm | as narrow as wanted | outside that passed | "
      "inside "
      "that failed | units outside that passed | undecided | bench time, mean and longest |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  for (const Physics physics : all_physics) {
    const auto with_rig = [&](const RandomUnit& unit, std::uint64_t number,
                              const std::function<void(Rig&)>& survey) {
      Rig rig = other_rig(physics, unit.runs, *unit.behaviour.resolution_rpm, number);
      survey(rig);
    };
    const HonestyCount all = survey_many_units(first, units, within, with_rig, draw);
    const auto share = [](std::uint64_t hits, std::uint64_t of) {
      return of == 0 ? 0.0 : 100.0 * static_cast<double>(hits) / static_cast<double>(of);
    };
    fmt::print(
        "| {} | {} | {:.1f} % | {:.2f} | {:.1f} % | {} of {} | {} of {} | {} of {} | {} of {} | {:.1f} s, "
        "{:.1f} s |\n",
        name(physics), all.intervals, share(all.inside, all.intervals),
        all.sum_u_rpm / static_cast<double>(all.intervals), share(all.within, all.intervals),
        all.false_passes, all.outside_rows, all.false_fails, all.good_rows, all.units_passed,
        all.units_outside, all.undecided, all.units, all.bench_s / static_cast<double>(all.units),
        all.longest_s);
  }
}
