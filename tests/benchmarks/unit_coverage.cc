// Do the stated intervals hold for units of every physics?
//
//     unit_coverage [INTERVALS [SEED]]
#include <cstdio>
#include <cstdlib>

#include "tests/core/other_units.h"

int main(int argc, char** argv) {
  using namespace tachproof::other_units;
  const int intervals = argc > 1 ? std::atoi(argv[1]) : 9000;
  const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  std::printf(
      "| unit | visits | intervals | hold the threshold | mean U, rpm | hold the width | responses "
      "told | hold the response |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  const auto share = [](int hits, int of) { return of > 0 ? 100.0 * hits / of : 0.0; };
  for (const Kind kind : kinds)
    for (const Plan& plan : plans()) {
      const int units = intervals / static_cast<int>(2 * plan.boundaries);
      const Coverage c = coverage(kind, plan, units, seed);
      std::printf("| %s | %s | %d | %.1f %% | %.2f | %.1f %% | %.1f %% | %.1f %% |\n", name(kind).c_str(),
                  plan.name, c.intervals, 100 * c.share(), c.sum_u_rpm / c.intervals,
                  share(c.widths_held, c.widths), share(c.responses, c.intervals),
                  share(c.responses_held, c.responses));
    }
}
