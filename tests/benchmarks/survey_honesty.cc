// Does the stated uncertainty of a survey hold? Units drawn at random, each
// surveyed whole on the simulated rig.
//
//     survey_honesty [UNITS [FIRST [WITHIN_RPM [NOISE_RPM [OFF_RPM]]]]]
#include <fmt/format.h>

#include <cstdlib>
#include <optional>

#include "tests/bench/survey_units.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  const std::uint64_t units = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 10'000;
  const std::uint64_t first = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  const double within = argc > 3 ? std::strtod(argv[3], nullptr) : 1;
  UnitDraw draw;  // a NOISE_RPM below 0: as drawn
  if (argc > 4 && std::strtod(argv[4], nullptr) >= 0) draw.noise_rpm = std::strtod(argv[4], nullptr);
  if (argc > 5) draw.off_rpm = std::strtod(argv[5], nullptr);
  const HonestyCount all = survey_many_units(first, units, within, with_simulated_rig, draw);

  const auto share = [](const char* what, std::uint64_t hits, std::uint64_t of) {
    const Limits limits = clopper_pearson(hits, of);
    fmt::print("{:<58}{:>8} of {:>8} = {:8.4f} %, 95 % limits {:.4f} .. {:.4f} %\n", what, hits, of,
               of == 0 ? 0.0 : 100.0 * static_cast<double>(hits) / static_cast<double>(of), 100 * limits.low,
               100 * limits.high);
  };
  share("stated intervals that hold the true threshold", all.inside, all.intervals);
  share("intervals as narrow as was wanted", all.within, all.intervals);
  share("thresholds outside tolerance that passed", all.false_passes, all.outside_rows);
  share("thresholds inside tolerance that failed", all.false_fails, all.good_rows);
  share("units outside tolerance that passed", all.units_passed, all.units_outside);
  share("units left undecided", all.undecided, all.units);
  fmt::print("mean U {:.3f} rpm; bench time {:.1f} s a unit, {:.1f} s the longest\n",
             all.sum_u_rpm / static_cast<double>(all.intervals), all.bench_s / static_cast<double>(all.units),
             all.longest_s);
}
