// A scratch bench whose runs are disturbed, and what must hold afterwards.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "tests/bench/scratch_folder.h"
#include "tests/program/process.h"

namespace tachproof {

// What a disturbed run has left.
struct Left {
  std::string verdict;  // of the folder: "pass", "fail", "undecided"; "none" without a result
  std::string wrong;    // what must not be; empty: nothing
};

// Gauge, scenarios and rigs in a folder, and one history for all runs.
class SweepBench {
 public:
  SweepBench();

  // The words of a run with a sound unit or a faulty one, into `out`.
  std::vector<std::string> run_words(const std::string& rig, const std::string& out) const;
  // Looks at folder and history after a run that was disturbed. `unit_is_sound`:
  // else a pass is a false one.
  Left look(const std::string& out, bool unit_is_sound) const;
  void write_generator_rig(const std::string& address) const;
  void write_supply_rig(const std::string& generator, const std::string& supply) const;
  void forget(const std::string& out) const;

  const std::filesystem::path& path() const { return scratch_.path(); }
  Finished tachproof(const std::string& words) const;

 private:
  std::string history_is_wrong() const;

  ScratchFolder scratch_;
};

int sweep_kills(int kills, unsigned seed);
int sweep_generator_kills(int kills, unsigned seed);
int sweep_supply_kills(int kills, unsigned seed);
// `most`: of each kind of call; 0: all of them.
int sweep_failures(int most);
// On a simulated signal generator, in real time: its output must be off afterwards.
int sweep_generator_failures(int most);
// With a simulated power supply beside it: both outputs must be off.
int sweep_supply_failures(int most);

}  // namespace tachproof
