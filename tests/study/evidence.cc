#include "tests/study/evidence.h"

#include <sys/wait.h>

#include <bit>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <stdexcept>

#include <fmt/format.h>

#include "bench/files/gauge_writer.h"
#include "bench/record/record.h"
#include "bench/run/recording_run.h"
#include "bench/run/runner.h"

namespace tachproof::study {
namespace {

Nanos stamp(double s, Nanos resolution) {
  return static_cast<Nanos>(std::floor(s * 1e9 / static_cast<double>(resolution)));
}

std::string channel_name(int c) { return "c" + std::to_string(c); }

Wiring wiring_of(const Pair& pair) {
  Wiring wiring;
  wiring.tach = "tach";
  wiring.file = "wiring.yaml";
  int c = 0;
  for (const Lamp& lamp : pair.gauge.lamps)
    for (const std::string& colour : lamp.colours) {
      Wiring::Wire wire;
      wire.channel = channel_name(c++);
      wire.lamp = lamp.id;
      wire.colour = colour;
      wiring.wires.push_back(wire);
    }
  return wiring;
}

// What a recorder keeps: the levels at the end of every stamp in which something changed.
template <class Row>
void record(const Pair& pair, Row row) {
  const Nanos resolution = pair.recording ? pair.resolution : 1;
  const auto& toggles = pair.line.toggles;
  const auto& lines = pair.shown.lines;
  std::size_t t = 0, l = 0;
  bool tach = false;
  Channels lit = 0;
  for (; t < toggles.size() && toggles[t] < 0; ++t) tach = !tach;
  for (; l < lines.size() && lines[l].at_s < 0; ++l) lit = lines[l].lit;
  const double end = pair.road.duration_s();
  row(Nanos{0}, tach, lit);
  for (;;) {
    const double next =
        std::min(t < toggles.size() ? toggles[t] : 1e9, l < lines.size() ? lines[l].at_s : 1e9);
    if (next >= end) break;
    const Nanos at = stamp(next, resolution);
    for (; t < toggles.size() && stamp(toggles[t], resolution) == at; ++t) tach = !tach;
    for (; l < lines.size() && stamp(lines[l].at_s, resolution) == at; ++l) lit = lines[l].lit;
    row(at, tach, lit);
  }
  row(stamp(end, resolution), tach, lit);
}

void put(const std::filesystem::path& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary);
  out << text;
  if (!out.flush()) throw std::runtime_error("cannot write " + file.string());
}

std::string vcd(const Pair& pair) {
  const int channels = static_cast<int>(pair.unit.late_s.size());
  const Nanos resolution = pair.recording ? pair.resolution : 1;
  std::string text = fmt::format("$timescale {} $end\n$scope module top $end\n$var wire 1 ! tach $end\n",
                                 resolution == 1     ? "1 ns"
                                 : resolution == 100 ? "100 ns"
                                                     : "1 us");
  for (int c = 0; c < channels; ++c)
    text += fmt::format("$var wire 1 {} {} $end\n", static_cast<char>('"' + c), channel_name(c));
  text += "$upscope $end\n$enddefinitions $end\n";
  bool first = true, tach = false;
  Channels lit = 0;
  record(pair, [&](Nanos at, bool is_tach, Channels is_lit) {
    fmt::format_to(std::back_inserter(text), "#{}\n", at);
    if (first) text += "$dumpvars\n";
    if (first || is_tach != tach) text += is_tach ? "1!\n" : "0!\n";
    for (int c = 0; c < channels; ++c)
      if (first || ((is_lit ^ lit) >> c & 1)) {
        text += (is_lit >> c & 1) ? '1' : '0';
        text += static_cast<char>('"' + c);
        text += '\n';
      }
    if (first) text += "$end\n";
    first = false;
    tach = is_tach;
    lit = is_lit;
  });
  return text;
}

std::string csv(const Pair& pair) {
  const int channels = static_cast<int>(pair.unit.late_s.size());
  const Nanos resolution = pair.recording ? pair.resolution : 1;
  const int digits = resolution == 1 ? 9 : resolution == 100 ? 7 : 6;
  const Nanos per_s = ns_per_s / resolution;
  std::string text = "time_s,tach";
  for (int c = 0; c < channels; ++c) text += "," + channel_name(c);
  text += "\n";
  Nanos last = -1;
  record(pair, [&](Nanos at, bool tach, Channels lit) {
    if (at == last) return;
    last = at;
    fmt::format_to(std::back_inserter(text), "{}.{:0{}},{}", at / per_s, at % per_s, digits, tach ? 1 : 0);
    for (int c = 0; c < channels; ++c) text += (lit >> c & 1) ? ",1" : ",0";
    text += "\n";
  });
  return text;
}

std::string wiring_text(const Pair& pair) {
  std::string text = "format: 1\nkind: wiring\ntach: tach\nlamps:\n";
  int c = 0;
  for (const Lamp& lamp : pair.gauge.lamps) {
    text += fmt::format("  {}: {{", lamp.id);
    for (std::size_t i = 0; i < lamp.colours.size(); ++i)
      text += fmt::format("{}{}: {}", i > 0 ? ", " : "", lamp.colours[i], channel_name(c++));
    text += "}\n";
  }
  return text + "active: high\n";
}

// Plays to a unit whose answer is known already.
class Player : public Source {
 public:
  SourceFacts facts() const override {
    SourceFacts facts;
    facts.kind = "study";
    facts.description = "pulses in virtual time";
    facts.virtual_time = true;
    return facts;
  }
  void begin() override {}
  void play(const PulseBlock&) override {}
  bool can_press(const std::string&) const override { return false; }
  void press(const Press&, Nanos) override {}
  void end() noexcept override {}
};

class Wires : public Watcher {
 public:
  explicit Wires(const Pair& pair) : pair_(pair) {}
  WatcherFacts facts() const override {
    WatcherFacts facts;
    facts.kind = "study";
    facts.description = "the unit's lines";
    facts.wired = pair_.gauge.all_channels();
    return facts;
  }
  void begin() override { next_ = 0; }
  tachproof::Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    for (; next_ < pair_.shown.lines.size(); ++next_) {
      const LampEvent event{std::max<Nanos>(0, stamp(pair_.shown.lines[next_].at_s, 1)),
                            pair_.shown.lines[next_].lit};
      if (event.at > until) break;
      if (!out.empty() && out.back().at == event.at)
        out.back() = event;
      else
        out.push_back(event);
    }
    return {until, 0, {}};
  }
  void end() noexcept override {}

 private:
  const Pair& pair_;
  std::size_t next_ = 0;
};

RunRecord begun(const Pair& pair) {
  RunRecord record;
  record.gauge = pair.gauge;
  record.gauge_name = pair.gauge.name;
  record.started = now_iso8601();
  return record;
}

}  // namespace

std::filesystem::path write_files(const Pair& pair, const std::filesystem::path& folder, bool as_csv) {
  std::filesystem::create_directories(folder);
  const std::filesystem::path file = folder / (as_csv ? "capture.csv" : "capture.vcd");
  put(file, as_csv ? csv(pair) : vcd(pair));
  put(folder / "gauge.yaml", gauge_yaml(pair.gauge));
  put(folder / "wiring.yaml", wiring_text(pair));
  return file;
}

RunResult judge(const Pair& pair, const std::filesystem::path& folder) {
  std::filesystem::create_directories(folder);
  if (pair.recording) {
    const std::filesystem::path file = folder / "capture.vcd";
    put(file, vcd(pair));
    const OpenRecording opened = open_for_judging(file, wiring_of(pair), pair.gauge);
    RunFolder kept = RunFolder::create(folder / "run", begun(pair));
    return judge_recording(opened, kept).result;
  }
  const std::vector<Step> steps = pair.road.steps();
  const Profile profile(steps);
  RunPlan plan{pair.gauge, profile, pair.noise, pair.number, {}};
  plan.what.thresholds = true;
  Rig rig{std::make_unique<Player>(), std::make_unique<Wires>(pair)};
  RunFolder kept = RunFolder::create(folder / "run", begun(pair));
  return run_scenario(plan, rig, kept).result;
}

Verdict judge_by_program(const Pair& pair, const std::filesystem::path& folder, const std::string& program) {
  const std::filesystem::path file = write_files(pair, folder, pair.number % 2 == 0);
  const std::string command =
      fmt::format("'{}' judge '{}' --gauge '{}' --wiring '{}' --out '{}' > '{}' 2>&1", program, file.string(),
                  (folder / "gauge.yaml").string(), (folder / "wiring.yaml").string(),
                  (folder / "judged").string(), (folder / "said.txt").string());
  const int status = std::system(command.c_str());
  switch (WIFEXITED(status) ? WEXITSTATUS(status) : -1) {
    case 0: return Verdict::pass;
    case 1: return Verdict::fail;
    case 3: return Verdict::undecided;
    default: throw std::runtime_error(fmt::format("`{}` ended with {}", command, status));
  }
}

}  // namespace tachproof::study
