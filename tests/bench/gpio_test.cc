// GPIO lines as a watcher, with a kernel that is written down beforehand behind
// the class's door. No real kernel is asked here.
#include "bench/rigs/gpio/gpio_watcher.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/gpio.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <deque>
#include <functional>
#include <utility>

#include "bench/commands/rig_finding.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "core/plan/lamp_test.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/scripted_rig.h"
#include "tests/bench/simulated_generator.h"
#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

using testing::ElementsAre;

constexpr Nanos zero = 1000 * ns_per_s;  // where the virtual clock begins

// One chip, or none, as <linux/gpio.h> has it.
class FakeKernel : public GpioKernel {
 public:
  std::vector<std::string> devices() override { return chips; }
  int open(const std::string&) override {
    if (open_error == 0) return ++open_files, 3;
    errno = open_error;
    return -1;
  }
  int ioctl(int, unsigned long request, void* argument) override {
    if (request == GPIO_GET_CHIPINFO_IOCTL) {
      auto& info = *static_cast<gpiochip_info*>(argument);
      std::strcpy(info.name, "gpiochip0");
      std::strcpy(info.label, "pinctrl-tarn");
      info.lines = static_cast<unsigned>(names.size());
      return 0;
    }
    if (request == GPIO_V2_GET_LINEINFO_IOCTL) {
      auto& info = *static_cast<gpio_v2_line_info*>(argument);
      if (!has_v2) return errno = EINVAL, -1;
      std::strcpy(info.name, names[info.offset].c_str());
      if (info.offset == used_line) {
        info.flags = GPIO_V2_LINE_FLAG_USED;
        std::strcpy(info.consumer, "fan");
      }
      return 0;
    }
    if (request == GPIO_V2_GET_LINE_IOCTL) {
      requested = *static_cast<gpio_v2_line_request*>(argument);
      for (unsigned i = 0; i < requested.num_lines; ++i)
        if (requested.offsets[i] == used_line) return errno = EBUSY, -1;
      static_cast<gpio_v2_line_request*>(argument)->fd = 4;
      ++open_files;
      return 0;
    }
    if (request == GPIO_V2_LINE_GET_VALUES_IOCTL) {
      static_cast<gpio_v2_line_values*>(argument)->bits = values;
      return 0;
    }
    return errno = ENOTTY, -1;
  }
  bool readable(int) override { return !events.empty(); }
  ssize_t read(int, void* into, std::size_t size) override {
    if (size != sizeof(gpio_v2_line_event)) return errno = EINVAL, -1;
    std::memcpy(into, &events.front(), size);
    events.pop_front();
    return static_cast<ssize_t>(size);
  }
  void close(int) override { --open_files; }

  void edge(Nanos at, unsigned line, bool rising) {
    gpio_v2_line_event event{};
    event.timestamp_ns = static_cast<std::uint64_t>(zero + at);
    event.id = rising ? GPIO_V2_LINE_EVENT_RISING_EDGE : GPIO_V2_LINE_EVENT_FALLING_EDGE;
    event.offset = line;
    event.seqno = ++sequence;
    events.push_back(event);
  }

  std::vector<std::string> chips{"/dev/gpiochip0"};
  std::vector<std::string> names{"ID_SD", "GPIO17", "GPIO27", ""};
  unsigned used_line = 99;
  int open_error = 0;
  bool has_v2 = true;
  std::uint64_t values = 0;
  std::uint32_t sequence = 0;
  std::deque<gpio_v2_line_event> events;
  gpio_v2_line_request requested{};
  int open_files = 0;
};

class Gpio : public testing::Test {
 protected:
  std::unique_ptr<GpioWatcher> watcher() {
    return std::make_unique<GpioWatcher>(settings, run_zero, clock, kernel);
  }
  std::string refusal() {
    return error_of([&] { watcher(); });
  }

  std::shared_ptr<FakeKernel> kernel = std::make_shared<FakeKernel>();
  std::shared_ptr<test::VirtualClock> clock = std::make_shared<test::VirtualClock>();
  std::shared_ptr<std::optional<Nanos>> run_zero = std::make_shared<std::optional<Nanos>>(zero);
  GpioSettings settings{"pinctrl-tarn", GpioBias::pull_up, false, {{"GPIO17", 1}, {"2", 2}}};
  std::vector<LampEvent> out;
};

TEST_F(Gpio, AsksForAllLinesAtOnceWithEdgesBiasAndRoom) {
  watcher();
  const gpio_v2_line_request& asked = kernel->requested;
  EXPECT_EQ(asked.num_lines, 2U);
  EXPECT_EQ(asked.offsets[0], 1U);
  EXPECT_EQ(asked.offsets[1], 2U);
  EXPECT_STREQ(asked.consumer, "tachproof");
  EXPECT_EQ(asked.event_buffer_size, 1024U);
  EXPECT_EQ(asked.config.num_attrs, 0U) << "no debounce";
  EXPECT_EQ(asked.config.flags,
            static_cast<std::uint64_t>(GPIO_V2_LINE_FLAG_INPUT | GPIO_V2_LINE_FLAG_EDGE_RISING |
                                       GPIO_V2_LINE_FLAG_EDGE_FALLING | GPIO_V2_LINE_FLAG_ACTIVE_LOW |
                                       GPIO_V2_LINE_FLAG_BIAS_PULL_UP));
}

TEST_F(Gpio, LeavesNoFileOpen) {
  watcher();
  EXPECT_EQ(kernel->open_files, 0);
}

TEST_F(Gpio, StampsAreRunTime) {
  kernel->values = 0b10;
  const auto w = watcher();
  w->begin();
  kernel->edge(5 * ns_per_ms, 1, true);
  kernel->edge(90 * ns_per_ms, 2, false);
  kernel->edge(130 * ns_per_ms, 1, false);
  const Seen seen = w->collect(100 * ns_per_ms, out);
  EXPECT_EQ(seen.until, 100 * ns_per_ms);
  EXPECT_EQ(seen.lost, 0U);
  EXPECT_THAT(
      out, ElementsAre(LampEvent{0, 0b10}, LampEvent{5 * ns_per_ms, 0b11}, LampEvent{90 * ns_per_ms, 0b01}));
  out.clear();
  w->collect(200 * ns_per_ms, out);
  EXPECT_THAT(out, ElementsAre(LampEvent{130 * ns_per_ms, 0}));
}

TEST_F(Gpio, WaitsUntilTheKernelHasHandedOverWhatIsAskedFor) {
  const auto w = watcher();
  w->begin();
  w->collect(100 * ns_per_ms, out);
  EXPECT_GT(clock->now(), zero + 100 * ns_per_ms);
}

TEST_F(Gpio, WhatTheLampsDidBeforeTheRunIsWhereItBegins) {
  const auto w = watcher();
  w->begin();
  kernel->edge(-30 * ns_per_ms, 1, true);
  kernel->edge(-20 * ns_per_ms, 2, true);
  kernel->edge(-10 * ns_per_ms, 1, false);
  w->collect(50 * ns_per_ms, out);
  EXPECT_THAT(out, ElementsAre(LampEvent{0, 0b10}));
}

TEST_F(Gpio, AGapInTheNumbersIsLostEvidence) {
  const auto w = watcher();
  w->begin();
  kernel->edge(10 * ns_per_ms, 1, true);
  kernel->sequence += 4;
  kernel->edge(20 * ns_per_ms, 1, false);
  const Seen seen = w->collect(50 * ns_per_ms, out);
  EXPECT_EQ(seen.lost, 4U);
  EXPECT_EQ(seen.lost_why,
            "4 edges of the GPIO lines were lost: the kernel had no room for them or did not see them");
  EXPECT_EQ(w->collect(60 * ns_per_ms, out).lost, 0U) << "told once";
}

TEST_F(Gpio, EdgesThatWereLostBeforeTheFirstThatCameAreMissedToo) {
  const auto w = watcher();
  w->begin();
  kernel->sequence += 2;
  kernel->edge(10 * ns_per_ms, 1, true);
  EXPECT_EQ(w->collect(50 * ns_per_ms, out).lost, 2U);
}

TEST_F(Gpio, TwoEdgesTheSameWayAreLostEvidence) {
  const auto w = watcher();
  w->begin();
  kernel->edge(10 * ns_per_ms, 1, true);
  kernel->edge(20 * ns_per_ms, 1, true);
  EXPECT_EQ(w->collect(50 * ns_per_ms, out).lost, 1U);
}

TEST_F(Gpio, AnEdgeThatTheReadingAtTheBeginHadSeenIsNoLoss) {
  kernel->values = 0b01;
  const auto w = watcher();
  w->begin();
  kernel->edge(-ns_per_ms, 1, true);
  EXPECT_EQ(w->collect(50 * ns_per_ms, out).lost, 0U);
}

TEST_F(Gpio, FactsNameTheChipAndWhatIsWired) {
  const WatcherFacts facts = watcher()->facts();
  EXPECT_EQ(facts.kind, "gpio");
  EXPECT_EQ(facts.description, "2 lines of gpiochip0 (pinctrl-tarn), stamped by the kernel");
  EXPECT_EQ(facts.wired, 0b11U);
  EXPECT_EQ(facts.stamp_uncertainty, 20 * ns_per_us);
}

TEST_F(Gpio, AChipIsFoundByLabelNameDeviceOrTheNamesOfItsLines) {
  for (const char* name : {"pinctrl-tarn", "gpiochip0", "/dev/gpiochip0"}) {
    settings.chip = name;
    EXPECT_EQ(refusal(), "none") << name;
  }
  settings.chip = "";
  settings.wires = {{"GPIO17", 1}, {"GPIO27", 2}};
  EXPECT_EQ(refusal(), "none");
  settings.wires = {{"GPIO17", 1}, {"GPIO99", 2}};
  EXPECT_EQ(
      refusal(),
      "looking for the GPIO chip: none has lines of all the names in the wiring; this machine has gpiochip0 "
      "(pinctrl-tarn)");
}

TEST_F(Gpio, ALineThatIsNotThereIsNamed) {
  settings.wires = {{"GPIO99", 1}};
  EXPECT_EQ(refusal(),
            "gpiochip0 (pinctrl-tarn) has no line 'GPIO99'; it has 0 to 3, and `tachproof ports` lists their "
            "names");
}

TEST_F(Gpio, ALineInUseIsNamedWithItsUser) {
  kernel->used_line = 2;
  EXPECT_EQ(refusal(), "watching GPIO lines: line 2 'GPIO27' of gpiochip0 (pinctrl-tarn) is in use by 'fan'");
}

TEST_F(Gpio, AMachineWithoutGpioSaysSo) {
  kernel->chips.clear();
  EXPECT_EQ(refusal(),
            "looking for the GPIO chip: this machine has no GPIO character device (/dev/gpiochip*)");
}

TEST_F(Gpio, AnOldKernelSaysSo) {
  kernel->has_v2 = false;
  EXPECT_EQ(
      refusal(),
      "opening /dev/gpiochip0: this kernel has no GPIO interface of version 2, which came with Linux 5.10");
}

TEST_F(Gpio, WithoutPermissionTheGroupIsNamed) {
  kernel->open_error = EACCES;
  settings.chip = "gpiochip0";
  EXPECT_THAT(refusal(),
              testing::StartsWith("opening /dev/gpiochip0: no permission; it belongs to the group "));
}

// Does something when the first pulses are played: both sides have begun by then.
class OnceItPlays : public ScriptedSource {
 public:
  explicit OnceItPlays(std::function<void()> what)
      : ScriptedSource(std::make_shared<Script>()), what_(std::move(what)) {}
  void play(const PulseBlock& block) override {
    if (what_) std::exchange(what_, nullptr)();
    ScriptedSource::play(block);
  }

 private:
  std::function<void()> what_;
};

// Lamps that pull their lines low: `far` on the first line, `near` on the second,
// nothing on the third.
TEST_F(Gpio, ALampTestFindsWhichLineIsWiredToWhichLamp) {
  const ScratchFolder scratch;
  const Gauge gauge = load_gauge(scratch.write("gauge.yaml", files::gauge));
  const Profile profile(lamp_test_steps(gauge));
  SimulatedUnit unit(gauge, Behaviour{}, gauge, 1);
  std::vector<LampEvent> lamps;
  PulseTrain train(profile, gauge.pulses_per_rev);
  std::array<Nanos, 4096> block;
  for (std::size_t n; (n = train.next(block)) > 0;) unit.run({block.data(), n}, block[n - 1], lamps);
  unit.run({}, profile.duration(), lamps);
  const std::array<std::pair<Channels, unsigned>, 2> wires{
      {{gauge.channel("far", "magenta"), 1U}, {gauge.channel("near", "white"), 2U}}};
  kernel->values = 0b011;
  const auto edges = [&] {
    Channels lit = 0;
    for (const LampEvent& event : lamps) {
      for (const auto& [channel, line] : wires)
        if ((event.lit & channel) != (lit & channel))
          kernel->edge(event.at, line, (event.lit & channel) == 0);
      lit = event.lit;
    }
  };

  RigFile rig;
  rig.source.kind = "scpi";
  rig.watch.kind = "gpio";
  rig.watch.chip = "pinctrl-tarn";
  RigReport report;
  report.as_json = true;
  const auto play = [&](const RigFile& every, const Gauge& seen) {
    settings = {every.watch.chip, GpioBias::as_is, true, resolve(*every.watch.wiring, seen)};
    Rig made{std::make_unique<OnceItPlays>(edges), watcher()};
    return play_lamp_test(seen, made);
  };
  const std::optional<Wiring> found = find_wiring(gauge, rig, {"GPIO17", "GPIO27", "3"}, play, report);
  ASSERT_TRUE(found) << report.json.dump();
  EXPECT_FALSE(found->active_high);
  ASSERT_EQ(found->wires.size(), 2U);
  EXPECT_EQ(found->wires[0].channel + " " + found->wires[0].lamp, "GPIO27 near");
  EXPECT_EQ(found->wires[1].channel + " " + found->wires[1].lamp, "GPIO17 far");
  EXPECT_EQ(report.json["found"]["silent_inputs"], nlohmann::ordered_json::array({"3"}));
}

}  // namespace
}  // namespace tachproof
