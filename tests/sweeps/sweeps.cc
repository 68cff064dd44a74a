// Whole runs of the program that are killed, or whose system calls fail.
//   sweeps kills N [SEED]              N runs on the simulated rig, half of them of a faulty unit
//   sweeps generator-kills N [SEED]    N runs on a simulated signal generator, in real time
//   sweeps supply-kills N [SEED]       the same with a simulated power supply beside it
//   sweeps failures [MOST]             each open, write, sync, rename and mkdir of a short run fails in turn
//   sweeps generator-failures [MOST]   the same on a simulated signal generator: its output must be off
//   afterwards
//   sweeps supply-failures [MOST]      the same with a simulated power supply: both outputs must be off
// Prints a table; ends with 1 when anything was wrong.
#include <cstdio>
#include <string>
#include <vector>

#include "core/base/parse.h"
#include "tests/sweeps/evidence.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  const std::vector<std::string> words(argv + 1, argv + argc);
  const auto number = [&](std::size_t i, int usual) {
    return i < words.size() ? parse_number<int>(words[i]).value_or(usual) : usual;
  };
  const std::string what = words.empty() ? "" : words[0];
  int wrong = 0;
  if (what == "kills")
    wrong = sweep_kills(number(1, 100), static_cast<unsigned>(number(2, 1)));
  else if (what == "generator-kills")
    wrong = sweep_generator_kills(number(1, 20), static_cast<unsigned>(number(2, 1)));
  else if (what == "failures")
    wrong = sweep_failures(number(1, 0));
  else if (what == "generator-failures")
    wrong = sweep_generator_failures(number(1, 0));
  else if (what == "supply-kills")
    wrong = sweep_supply_kills(number(1, 20), static_cast<unsigned>(number(2, 1)));
  else if (what == "supply-failures")
    wrong = sweep_supply_failures(number(1, 0));
  else
    return std::fputs(
               "sweeps kills N [SEED] | generator-kills N [SEED] | supply-kills N [SEED] | failures [MOST] | "
               "generator-failures [MOST] | supply-failures [MOST]\n",
               stderr),
           2;
  return wrong == 0 ? 0 : 1;
}
