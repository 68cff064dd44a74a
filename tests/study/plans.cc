// How long are planned tests, what do they catch, and how long does planning take?
//
//     plans [COUNT [SEED [FIRST [FILE]]]]   plans for random gauges; FILE gets a line when one is done
//     plans --table FILE...                 the table of the lines in them
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "bench/run/plan_study.h"
#include "tests/bench/random_gauge.h"

namespace {

using namespace tachproof;

struct Line {
  std::uint64_t seed = 0, number = 0;
  std::size_t windows = 0, lamps = 0, faults = 0, caught = 0, undecided = 0, escaped = 0;
  double bench_s = 0, careful_s = 0, cpu_s = 0;
  int trials = 0;
  bool sound = false;
};

Line planned(std::uint64_t seed, std::uint64_t number) {
  Dice dice(seed, number);
  const Gauge gauge = random_gauge(dice);
  PlanAsk ask;
  ask.threads = 1;
  const std::clock_t before = std::clock();
  const Plan plan = plan_scenario(gauge, ask);
  Line line{seed, number, gauge.windows.size(), gauge.lamps.size()};
  line.cpu_s = static_cast<double>(std::clock() - before) / CLOCKS_PER_SEC;
  line.faults = plan.grade.faults.size();
  line.caught = plan.grade.count(Verdict::fail);
  line.undecided = plan.grade.count(Verdict::undecided);
  line.escaped = plan.grade.count(Verdict::pass);
  line.bench_s = to_seconds(plan.grade.bench_time());
  line.careful_s = to_seconds(plan.careful_lasts);
  line.trials = plan.trials;
  line.sound = plan.sound_units_pass;
  return line;
}

std::string text_of(const Line& l) {
  return fmt::format("{} {} {} {} {} {} {} {} {:.1f} {:.1f} {:.1f} {} {:d}\n", l.seed, l.number, l.windows,
                     l.lamps, l.faults, l.caught, l.undecided, l.escaped, l.bench_s, l.careful_s, l.cpu_s,
                     l.trials, l.sound);
}

void read(const char* file, std::vector<Line>& lines) {
  std::ifstream in(file);
  for (std::string text; std::getline(in, text);) {
    std::istringstream words(text);
    Line l;
    if (words >> l.seed >> l.number >> l.windows >> l.lamps >> l.faults >> l.caught >> l.undecided >>
        l.escaped >> l.bench_s >> l.careful_s >> l.cpu_s >> l.trials >> l.sound)
      lines.push_back(l);
  }
}

// Least, quarter, half, three quarters, most.
template <class Value>
void row(const char* name, const std::vector<Line>& lines, Value value) {
  std::vector<double> sorted;
  for (const Line& line : lines) sorted.push_back(static_cast<double>(value(line)));
  std::sort(sorted.begin(), sorted.end());
  fmt::print("| {} |", name);
  for (const double at : {0.0, 0.25, 0.5, 0.75, 1.0})
    fmt::print(" {:.4g} |",
               sorted[static_cast<std::size_t>(at * static_cast<double>(sorted.size() - 1) + 0.5)]);
  fmt::print("\n");
}

void print(const std::vector<Line>& lines) {
  if (lines.empty()) return;
  std::size_t sound = 0, faults = 0, caught = 0, undecided = 0, escaped = 0;
  double cpu_s = 0;
  for (const Line& l : lines) {
    sound += l.sound;
    faults += l.faults;
    caught += l.caught;
    undecided += l.undecided;
    escaped += l.escaped;
    cpu_s += l.cpu_s;
  }
  fmt::print(
      "{} gauges, {} of whose plans sound units pass; {} faults: {} caught, {} undecided, {} escape; {:.0f} "
      "s "
      "of processor\n\n",
      lines.size(), sound, faults, caught, undecided, escaped, cpu_s);
  fmt::print(
      "| | least | a quarter below | half | three quarters | most |\n| --- | --- | --- | --- | --- | --- "
      "|\n");
  row("windows", lines, [](const Line& l) { return l.windows; });
  row("faults", lines, [](const Line& l) { return l.faults; });
  row("bench time, s", lines, [](const Line& l) { return l.bench_s; });
  row("of it, share of the careful profile", lines, [](const Line& l) { return l.bench_s / l.careful_s; });
  row("faults caught, %", lines,
      [](const Line& l) { return 100.0 * static_cast<double>(l.caught) / static_cast<double>(l.faults); });
  row("faults that escape", lines, [](const Line& l) { return l.escaped; });
  row("faults undecided", lines, [](const Line& l) { return l.undecided; });
  row("computing, s of one core", lines, [](const Line& l) { return l.cpu_s; });
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<Line> lines;
  if (argc > 2 && std::string_view(argv[1]) == "--table") {
    for (int i = 2; i < argc; ++i) read(argv[i], lines);
    print(lines);
    return 0;
  }
  const auto number = [&](int at, std::uint64_t otherwise) {
    return argc > at ? std::strtoull(argv[at], nullptr, 10) : otherwise;
  };
  const std::uint64_t count = number(1, 200), seed = number(2, 1), first = number(3, 1);
  std::ofstream out;
  if (argc > 4) out.open(argv[4], std::ios::app);
  for (std::uint64_t i = first; i < first + count; ++i) {
    lines.push_back(planned(seed, i));
    if (out.is_open()) out << text_of(lines.back()) << std::flush;
  }
  print(lines);
}
