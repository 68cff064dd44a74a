// The program and a signal generator: a simulated one behind a socket, in real
// time, so that only what does not depend on the machine's load is expected.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <csignal>
#include <cstring>
#include <fstream>
#include <nlohmann/json.hpp>
#include <thread>

#include "bench/files/files.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/simulated_generator.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

class ProgramWithGenerator : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    write_rig(generator.address(), "{kind: simulated, unit: gauge.yaml}");
  }
  void write_rig(const std::string& address, const std::string& watch, const std::string& more = "") {
    scratch.write("rig.yaml", "format: 1\nkind: rig\nsource: {kind: scpi, address: \"" + address +
                                  "\", amplitude_v: 5, offset_v: 2.5, answer_ms: 50" + more +
                                  "}\nwatch: " + watch + "\n");
  }
  std::vector<std::string> run_words(const std::string& scenario) const {
    return command_line("run " + scenario + " --gauge gauge.yaml --rig rig.yaml --no-history --out out");
  }
  Finished run(const std::string& scenario = "scenario.yaml") {
    return run_process(run_words(scenario), scratch.path());
  }

  // A run that is in its middle, unless this machine is too busy for the 50 ms
  // of an answer: then it has ended by itself, with the output off.
  std::unique_ptr<Process> begun(const std::vector<std::string>& words) {
    scratch.write("endless.yaml", files::endless_scenario);
    write_rig(generator.address(), "{kind: simulated, unit: gauge.yaml}", ", settle_ms: 1");  // soon ready
    auto process = std::make_unique<Process>(words, scratch.path());
    until([&] { return generator.output_on(); });
    was_on = generator.output_on();
    return process;
  }
  std::unique_ptr<Process> endless_run() { return begun(run_words("endless.yaml")); }
  template <class Holds>
  static void until(const Holds& holds) {
    for (int i = 0; i < 3000 && !holds(); ++i) std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  // Once it was told so before the start.
  bool told_to_switch_off_again() const {
    int told = 0;
    for (const std::string& message : generator.messages()) told += message.starts_with("OUTP OFF");
    return told > 1;
  }
  std::string findings() const {
    std::ifstream in(scratch / "out" / "result.json");
    return nlohmann::json::parse(in)["findings"].dump();
  }

  bool was_on = false;
  ScratchFolder scratch;
  test::SimulatedGenerator generator{std::make_shared<test::VirtualClock>(), {}};
};

// ---- signals ----------------------------------------------------------------------------

TEST_F(ProgramWithGenerator, CtrlCSwitchesTheOutputOff) {
  const auto process = endless_run();
  process->signal(SIGINT);
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  EXPECT_THAT(findings(), HasSubstr("output is off, confirmed"));
  if (was_on) {
    EXPECT_THAT(findings(),
                HasSubstr("the run was stopped at the keyboard (Ctrl-C); the generator's output is "
                          "off, confirmed"));
  }
}

class EverySignal : public ProgramWithGenerator, public testing::WithParamInterface<int> {};

TEST_P(EverySignal, EndsWithTheOutputOffAndSaysSo) {
  const auto process = endless_run();
  process->signal(GetParam());
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  EXPECT_THAT(findings(), HasSubstr("output is off, confirmed"));
}

// Another one, once the program knows of the first or before, whatever it is.
TEST_P(EverySignal, AsTheSecondSkipsNothing) {
  const auto process = endless_run();
  process->signal(SIGTERM);
  process->signal(GetParam());
  process->signal(SIGINT);
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  EXPECT_THAT(findings(), HasSubstr("output is off, confirmed"));
}

const int requests[] = {SIGHUP,    SIGINT,  SIGQUIT, SIGPIPE,  SIGALRM, SIGTERM,   SIGUSR1, SIGUSR2, SIGPOLL,
                        SIGVTALRM, SIGPROF, SIGXCPU, SIGXFSZ,  SIGPWR,  SIGSTKFLT, SIGTSTP, SIGTTIN, SIGTTOU,
#ifndef __SANITIZE_ADDRESS__  // whose own handlers stay
                        SIGSEGV,   SIGBUS,  SIGFPE,  SIGILL,
#endif
                        SIGABRT,   SIGSYS,  SIGTRAP, SIGRTMIN, SIGRTMAX};
INSTANTIATE_TEST_SUITE_P(Each, EverySignal, testing::ValuesIn(requests), [](const auto& one) {
  const char* const name = sigabbrev_np(one.param);
  return name != nullptr ? std::string(name) : "RT" + std::to_string(one.param - SIGRTMIN);
});

TEST_F(ProgramWithGenerator, AMuteGeneratorIsLeftInTheEndAndThatIsSaid) {
  const auto process = endless_run();
  generator.fall_mute(false);
  process->signal(SIGINT);
  until([&] { return told_to_switch_off_again(); });
  process->signal(SIGINT);
  process->signal(SIGTERM);
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_THAT(findings(), HasSubstr("its output may still be on: switch it off at the instrument"));
}

TEST_F(ProgramWithGenerator, AMuteGeneratorThatListensIsOffAllTheSame) {
  const auto process = endless_run();
  generator.fall_mute(true);
  process->signal(SIGINT);
  until([&] { return told_to_switch_off_again(); });
  process->signal(SIGHUP);
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  EXPECT_THAT(findings(), HasSubstr("its output may still be on: switch it off at the instrument"));
}

TEST_F(ProgramWithGenerator, AHangUpThatTheUserHasSwitchedOffStaysSo) {
  std::vector<std::string> words = run_words("endless.yaml");
  words.insert(words.begin(), "nohup");
  const auto process = begun(words);
  process->signal(SIGHUP);
  process->signal(SIGINT);
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  EXPECT_THAT(findings(), Not(HasSubstr("SIGHUP")));
}

// ---- other hands --------------------------------------------------------------------------

TEST_F(ProgramWithGenerator, AnOverloadInMidRunEndsItUndecided) {
  const auto process = endless_run();
  generator.trip();
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  if (!was_on) GTEST_SKIP() << "this machine was too busy for 50 ms: the run ended before the overload";
  EXPECT_THAT(findings(), HasSubstr("its output is off (set: on)"));
}

TEST_F(ProgramWithGenerator, ASecondRunOnItIsRefused) {
  const auto process = endless_run();
  const Finished second = run_process(
      command_line("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --no-history --out second"),
      scratch.path());
  if (was_on) {
    EXPECT_EQ(second.status, 3);
    EXPECT_THAT(second.err,
                HasSubstr("opening the generator at " + generator.address() + ": tachproof (process "));
    EXPECT_THAT(second.err, HasSubstr(") is using it"));
  }
  process->signal(SIGINT);
  EXPECT_EQ(process->wait().status, 3);
  EXPECT_FALSE(generator.output_on());
}

// ---- before the start -----------------------------------------------------------------------

TEST_F(ProgramWithGenerator, WhatItCannotPlayIsRefusedBeforeTheStart) {
  scratch.write("noisy.yaml", files::scenario + "noise: {missing: 0.001}\n");
  const Finished noisy = run("noisy.yaml");
  EXPECT_EQ(noisy.status, 2);
  EXPECT_EQ(
      noisy.err,
      "tachproof run: noisy.yaml cannot be played by the source of rig.yaml: a signal generator plays an "
      "even wave: it cannot leave pulses out or double them\n");
  std::string pressing = files::scenario;
  pressing.insert(pressing.find("judge:"), "  - {press: capture, for: 200ms}\n");
  scratch.write("pressing.yaml", pressing);
  const Finished press = run("pressing.yaml");
  EXPECT_EQ(press.status, 2);
  EXPECT_EQ(
      press.err,
      "tachproof run: pressing.yaml presses 'capture', which the source of rig.yaml cannot press; a signal "
      "generator has no wire to a button\n");
  EXPECT_FALSE(std::filesystem::exists(scratch / "out"));
  for (const std::string& message : generator.messages()) EXPECT_THAT(message, Not(HasSubstr("OUTP ON")));
}

TEST_F(ProgramWithGenerator, NobodyAtTheAddressIsOneClearLine) {
  write_rig("127.0.0.1:1", "{kind: simulated, unit: gauge.yaml}");
  const Finished done = run();
  EXPECT_EQ(done.status, 3);
  EXPECT_EQ(done.err,
            "tachproof run: the bench failed, so nothing is decided: opening the generator at 127.0.0.1:1: "
            "Connection refused; is it on, and is this its raw socket?\n");
}

TEST_F(ProgramWithGenerator, AMachineWithoutTheGpioChipIsOneClearLine) {
  write_rig(generator.address(), "{kind: gpio, chip: no-such-chip, wiring: {lamps: {near: {white: 17}}}}");
  const Finished done = run();
  EXPECT_EQ(done.status, 3);
  EXPECT_THAT(done.err, HasSubstr("looking for the GPIO chip"));
  EXPECT_FALSE(generator.output_on());
}

// In real time: on a busy machine the proof is undecided, and the file is there.
TEST_F(ProgramWithGenerator, RigMakesARigFileOfItAndProvesIt) {
  const Finished made = run_process(
      command_line("rig --out new.yaml --gauge gauge.yaml --source scpi --watch simulated --address " +
                   generator.address() + " --amplitude-v 5 --offset-v 2.5 --load-ohm 0 --answer-ms 50"),
      scratch.path());
  EXPECT_THAT(made.status, testing::AnyOf(0, 3)) << made.out << made.err;
  EXPECT_THAT(made.out, HasSubstr("with an oscilloscope"));
  EXPECT_FALSE(generator.output_on());
  const RigFile rig = load_rig(scratch / "new.yaml");
  EXPECT_EQ(rig.source.scpi->address, generator.address());
  EXPECT_EQ(rig.source.scpi->load_ohm, 0.0);
  EXPECT_EQ(rig.source.scpi->answer, 50 * ns_per_ms);
}

TEST_F(ProgramWithGenerator, ABoardDoesNotWatchAGenerator) {
  write_rig(generator.address(), "{kind: board, wiring: {lamps: {near: {white: in0}}}}");
  const Finished done = run();
  EXPECT_EQ(done.status, 2);
  EXPECT_EQ(done.err,
            "rig.yaml:4:8: a 'board' watch beside a 'scpi' source; a signal generator (scpi) is watched by "
            "gpio or a camera, or plays to a simulated unit\n");
}

TEST_F(ProgramWithGenerator, ProbeAsksItsName) {
  EXPECT_EQ(run_process(command_line("ports --probe " + generator.address()), scratch.path()).out,
            "The generator at " + generator.address() + "\n  name         Tarn Instruments,TG1,0042,1.0\n");
}

TEST_F(ProgramWithGenerator, ExpectStatesTheWorstErrorOfItsSteps) {
  // 70 ms at 500 rpm/s, 0.1 rpm and 0.001 Hz at 2 pulses a turn.
  const Finished text =
      run_process(command_line("expect scenario.yaml --gauge gauge.yaml --rig rig.yaml"), scratch.path());
  EXPECT_THAT(text.out, HasSubstr("which follow the profile within 70.0 ms and 0.13 rpm.\nAt most 35.13 rpm "
                                  "off on a ramp or wave, 35.13 rpm where a threshold is crossed.\n"));
  const Finished listed = run_process(
      command_line("expect scenario.yaml --gauge gauge.yaml --rig rig.yaml --json"), scratch.path());
  EXPECT_EQ(nlohmann::json::parse(listed.out)["source"]["lag_ms"], 70.0);
}

}  // namespace
}  // namespace tachproof
