// Any sequence of presses, losses of power and ramps is judged as a state machine says that is written here
// anew from what the files say (fixtures/README.md, "Buttons, power-up and supply"). It knows nothing of
// core/judge.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <map>

#include "tests/core/pressed_unit.h"

namespace tachproof {
namespace {

// The gauge of these tests in the file's own words:
//   set: a take of `beyond`, allowed from 2500 to 5500; its anchor moves, and all that hangs from it.
//   glow: the next of three levels, then the first again.
//   keeps: [set]; what any other button did is forgotten, and the light goes back to the first level.
struct FileSays {
  double pit = 3720;
  int level = 0;

  void press_set(double rpm) {
    if (rpm >= 2500 && rpm <= 5500) pit = rpm;
  }
  void press_glow() { level = (level + 1) % 3; }
  void lose_power() { level = 0; }
};

struct Wrong {
  bool ignores = false, never_refuses = false, loses = false;
};

// One press or loss of power: where the file puts the anchor, going out from where the unit had it, and
// where this unit has it.
struct Done {
  bool power = false;
  double should = 0, has = 0, at_rpm = 0;
  bool right() const { return should == has; }
};

struct Played {
  std::vector<Step> steps;
  std::vector<Done> done;  // presses of `set`, and losses of power
};

// Past all that hangs from the anchor, wherever it may be.
void sweep(std::vector<Step>& steps) {
  steps.push_back(RampByTime{1700, ns_per_s});
  steps.push_back(Hold{1700, 400 * ns_per_ms});
  for (const double rate : {150.0, 600.0})
    steps.insert(steps.end(), {RampByRate{6400, rate}, Hold{6400, 400 * ns_per_ms}, RampByRate{1700, rate},
                               Hold{1700, 400 * ns_per_ms}});
}

Played drawn(const Wrong& wrong) {
  Played out;
  out.steps.push_back(Hold{2000, 500 * ns_per_ms});
  FileSays unit;  // as it really is
  const int events = *rc::gen::inRange(1, 6);
  for (int i = 0; i < events; ++i) {
    const double rpm = *rc::gen::inRange(2200, 5900);
    out.steps.push_back(RampByTime{rpm, ns_per_s});
    out.steps.push_back(Hold{rpm, 500 * ns_per_ms});
    FileSays should = unit;
    switch (*rc::gen::inRange(0, 5)) {
      case 0:
        out.steps.push_back(PowerOff{*rc::gen::inRange(400, 1500) * ns_per_ms});
        out.steps.push_back(Hold{rpm, 5 * ns_per_s});
        should.lose_power();
        unit.lose_power();
        if (wrong.loses) unit.pit = 3720;
        out.done.push_back({true, should.pit, unit.pit, rpm});
        break;
      case 1:
        out.steps.push_back(Press{"glow", 100 * ns_per_ms});
        unit.press_glow();
        break;
      default:
        out.steps.push_back(Press{"set", 200 * ns_per_ms});
        should.press_set(rpm);
        if (wrong.never_refuses)
          unit.pit = rpm;
        else if (!wrong.ignores)
          unit.press_set(rpm);
        out.done.push_back({false, should.pit, unit.pit, rpm});
        break;
    }
    out.steps.push_back(Hold{rpm, 600 * ns_per_ms});
    if (*rc::gen::inRange(0, 4) != 0) sweep(out.steps);
  }
  sweep(out.steps);
  return out;
}

// Nearer than that to what it should be no lamp tells it apart; and a take near its limit need not be one.
bool surely_differs(const Done& done) { return std::abs(done.should - done.has) > 10; }
// And from there on one may.
bool may_differ(const Done& done) { return std::abs(done.should - done.has) > 2; }
bool near_the_limit(const Done& done) {
  return std::abs(done.at_rpm - 2500) < 2 || std::abs(done.at_rpm - 5500) < 2;
}

RC_GTEST_PROP(PressedOracle, AnySequenceIsJudgedAsTheFilesSay, ()) {
  Wrong wrong;
  switch (*rc::gen::inRange(0, 5)) {
    case 0: wrong.ignores = true; break;
    case 1: wrong.never_refuses = true; break;
    case 2: wrong.loses = true; break;
    case 3: wrong.loses = wrong.never_refuses = true; break;
    default: break;
  }
  const Played played = drawn(wrong);
  const Gauge gauge = test::pressed_gauge();
  const Profile profile(played.steps);
  test::PressedUnit unit;
  unit.dims = false;
  unit.ignores = wrong.ignores;
  unit.never_refuses = wrong.never_refuses;
  unit.loses = wrong.loses;
  unit.response = *rc::gen::inRange(0, 110) * ns_per_ms;
  unit.boots = *rc::gen::inRange(250, 1450) * ns_per_ms;
  const RunResult result = test::judged_pressed(gauge, profile, unit.watch(gauge, profile));
  for (const Finding& f : result.findings) RC_LOG() << f.message << "\n";

  std::size_t press = 0, power = 0, wrongly = 0;
  bool near = false;
  for (const Done& done : played.done) {
    const Verdict verdict = done.power ? result.powers.at(power).verdict : result.presses.at(press).verdict;
    RC_LOG() << (done.power ? "power " : "press ") << done.at_rpm << ": should " << done.should << ", has "
             << done.has << ", judged " << word(verdict) << "\n";
    near = near || near_the_limit(done);
    if (!near) {
      if (done.right()) RC_ASSERT(verdict != Verdict::fail);
      if (surely_differs(done)) RC_ASSERT(verdict != Verdict::pass);
    }
    if (verdict == Verdict::fail) ++wrongly;
    done.power ? ++power : ++press;
  }
  RC_ASSERT(press == result.presses.size());
  RC_ASSERT(power == result.powers.size());
  const auto last_differs = !played.done.empty() && surely_differs(played.done.back());
  if (near) return;
  // The run ends with a sweep: what the last event did is seen.
  if (last_differs) RC_ASSERT(result.verdict == Verdict::fail);
  if (std::none_of(played.done.begin(), played.done.end(), may_differ))
    RC_ASSERT(result.verdict != Verdict::fail);
  // One finding for each wrong doing, and the boundaries judged where the unit has them.
  std::size_t against = 0;
  for (const Finding& f : result.findings) against += verdict_of(f.kind) == Verdict::fail;
  RC_ASSERT(against == wrongly);
  for (const BoundaryResult& row : result.boundaries) RC_ASSERT(row.verdict != Verdict::fail);
}

// The same with voltages, by the file's words: inside 9 to 16 V a voltage changes nothing; outside the unit
// may be dark, and has forgotten all but `set` where it was.
struct FedUnit {
  test::PressedUnit unit;
  bool shown = false;  // what is wrong with it was to be seen
};

enum class FedWrong { nothing, drifts, browns_out, stays_dark };

FedUnit fed_unit(FedWrong wrong) {
  FedUnit fed;
  fed.unit.dims = false;
  fed.unit.response = *rc::gen::inRange(0, 110) * ns_per_ms;
  fed.unit.boots = *rc::gen::inRange(250, 1450) * ns_per_ms;
  fed.unit.lowest_v = *rc::gen::inRange(30, 89) / 10.0;
  if (wrong == FedWrong::drifts) fed.unit.drift_rpm_per_v = *rc::gen::element(-8.0, -4.5, 4.5, 8.0);
  if (wrong == FedWrong::browns_out) fed.unit.lowest_v = *rc::gen::inRange(100, 115) / 10.0;
  fed.unit.returns = wrong != FedWrong::stays_dark;
  return fed;
}

std::vector<Step> fed_steps(FedUnit& fed) {
  std::vector<Step> steps{Hold{2000, 500 * ns_per_ms}};
  double volts = 12.5;
  sweep(steps);
  const int events = *rc::gen::inRange(1, 6);
  for (int i = 0; i < events; ++i) {
    const double rpm = *rc::gen::inRange(2600, 5400);
    steps.push_back(RampByTime{rpm, ns_per_s});
    steps.push_back(Hold{rpm, 500 * ns_per_ms});
    const int what = *rc::gen::inRange(0, 6);
    if (what == 0) {
      steps.push_back(Press{"set", 200 * ns_per_ms});
      steps.push_back(Hold{rpm, 600 * ns_per_ms});
    } else if (what == 1) {
      steps.push_back(PowerOff{*rc::gen::inRange(400, 1500) * ns_per_ms});
      steps.push_back(Hold{rpm, 5 * ns_per_s});
    } else if (what == 2) {  // a dip
      const double low = *rc::gen::inRange(20, 88) / 10.0;
      steps.push_back(Supply{low, low, *rc::gen::inRange(20, 2000) * ns_per_ms});
      steps.push_back(Supply{volts, volts, 100 * ns_per_ms});
      steps.push_back(Hold{rpm, 5 * ns_per_s});
      fed.shown |= !fed.unit.returns && low < fed.unit.lowest_v - 0.05;
    } else {
      const double to = *rc::gen::inRange(90, 161) / 10.0;
      const Nanos lasts = *rc::gen::inRange(100, 1500) * ns_per_ms;
      steps.push_back(what == 3 ? Supply{volts, to, lasts} : Supply{to, to, lasts});
      volts = to;
      steps.push_back(Hold{rpm, 600 * ns_per_ms});
      sweep(steps);
      fed.shown |= std::abs(fed.unit.drift_rpm_per_v * (volts - 12.5)) > 10;
      fed.shown |= fed.unit.lowest_v >= 9.05 && volts < fed.unit.lowest_v - 0.05;
    }
    if (*rc::gen::inRange(0, 2) == 0) sweep(steps);
  }
  sweep(steps);
  return steps;
}

RC_GTEST_PROP(PressedOracle, AnyVoltagesAreJudgedAsTheFilesSay, ()) {
  const FedWrong wrong =
      *rc::gen::element(FedWrong::nothing, FedWrong::drifts, FedWrong::browns_out, FedWrong::stays_dark);
  FedUnit fed = fed_unit(wrong);
  const Profile profile(fed_steps(fed));
  const Gauge gauge = test::pressed_gauge();
  const RunResult result = test::judged_pressed(gauge, profile, fed.unit.watch(gauge, profile));
  for (const Finding& f : result.findings) RC_LOG() << word(f.kind) << ": " << f.message << "\n";
  for (const PowerResult& p : result.powers)
    RC_LOG() << "power: " << word(p.verdict) << " " << p.remark << "\n";
  if (wrong == FedWrong::nothing) {
    RC_ASSERT(result.verdict != Verdict::fail);
    for (const PowerResult& power : result.powers) RC_ASSERT(power.verdict != Verdict::fail);
  }
  if (fed.shown) RC_ASSERT(result.verdict == Verdict::fail);
}

}  // namespace
}  // namespace tachproof
