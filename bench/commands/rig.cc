#include <fmt/format.h>

#include <cstdio>
#include <filesystem>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/output_file.h"
#include "bench/commands/rig_finding.h"
#include "bench/commands/rig_proof.h"
#include "bench/commands/rig_report.h"
#include "bench/commands/rig_words.h"
#include "bench/commands/teaching.h"
#include "bench/files/rig_writer.h"
#include "bench/record/json_values.h"
#include "bench/rigs/factory.h"
#include "bench/run/lamp_test_run.h"
#include "bench/run/stop_request.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

std::string cautions(const RigFile& rig) {
  return "The lamp test plays every window of the gauge, and lamps may flash. Light that flashes at 3 to 30 "
         "Hz can provoke seizures. Feed the unit from a fused supply, and its tach input from the bench's "
         "source alone: no ignition circuit connected." +
         kind_of(rig.source).cautions() + kind_of(rig.watch).cautions();
}

class RigCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "rig",
        "makes a rig file, or proves one by a lamp test",
        "RIG --gauge GAUGE [--json], or\n"
        "    tachproof rig --out FILE --gauge GAUGE [--source KIND] [--watch KIND] [options of these] "
        "[--json]",
        "With RIG, plays every window of the gauge in turn and says, window by window, whether each wired "
        "lamp shows what the settings say. Swapped wires are named.\n\n"
        "With --out, makes a rig file: what plays (a board, a signal generator, software) and what watches "
        "(the board's inputs, GPIO lines, a camera, software). At a terminal it asks for what you leave out, "
        "and offers what is connected.\n\n"
        "For a board's inputs and GPIO lines it finds the wiring. It watches all eight inputs, or all of "
        "--lines, while it plays the windows. From that it finds which input shows which lamp colour, and "
        "whether lamps pull it high or low. If lamps are always lit together, it asks at the terminal which "
        "is which. A camera without regions is taught. Then it writes the file and proves it by a second "
        "lamp test. A clip shows one run, so it gets no second lamp test.\n\n"
        "The unit must be sound enough to show its windows; a boundary that is a little off does not matter.",
        "0  every lamp of every window is as it should be; or the file is written, with a clip\n"
        "1  a lamp shows something else\n"
        "2  bad usage or a bad file; nothing was started\n"
        "3  undecided: a device is missing, or the wires of two lamps cannot be distinguished",
        {"tachproof rig fixtures/rigs/simulated.yaml --gauge fixtures/gauges/drumlin.yaml",
         "tachproof rig --out bench.yaml --gauge fixtures/gauges/drumlin.yaml --port "
         "/dev/serial/by-id/usb-tachproof_board-if00",
         "tachproof rig --out shed.yaml --gauge fixtures/gauges/drumlin.yaml --source scpi --address "
         "192.0.2.7:5025 --amplitude-v 5 --offset-v 2.5 --lines GPIO17,GPIO22,GPIO23,GPIO24,GPIO27",
         "tachproof rig --out practice.yaml --gauge fixtures/gauges/drumlin.yaml --source simulated"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(rig_, "RIG", "The rig file to prove.");
    arguments.required(gauge_file_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.option(out_, "--out", "FILE", "The rig file to make.");
    words_.declare(arguments);
    arguments.flag(report_.as_json, "--json", "Prints JSON.");
  }

  int run() override {
    const bool make = rig_.empty();
    if (rig_.size() > 1) throw UsageError("give one rig file only");
    if (make == out_.empty()) throw UsageError("give either a rig file to prove or --out for one to make");
    if (!make && words_.any())
      throw UsageError("a rig file has its own source and watcher; such options go with --out");
    if (make && fs::exists(out_)) throw UsageError(out_ + " exists already; give another name");
    if (make) require_output_place(out_);
    gauge_ = load_gauge(gauge_file_);
    catch_stop_signals();
    return make ? make_file() : prove(rig_.front(), load_rig(rig_.front()));
  }

 private:
  int make_file() {
    RigWanted wanted = words_.wanted(out_);
    RigFile& rig = wanted.rig;
    refuse_mixed_kinds(rig, out_);
    report_.say(cautions(rig));
    if (!wanted.candidates.empty()) {
      rig.watch.wiring = find_wiring(
          gauge_, rig, wanted.candidates,
          [&](const RigFile& every, const Gauge& gauge) { return play(every, "the lamp test", gauge); },
          report_);
      if (!rig.watch.wiring) return finish(Verdict::undecided);
    }
    const CameraSettings* camera = filmed_by(rig);
    if (camera != nullptr)
      if (const ExitStatus taught = teach_where_needed(rig); taught != exit_pass) return taught;
    write_output(out_, rig_yaml(rig, heading(rig)));
    const RigFile written = load_rig(out_);
    report_.json["written"] = out_;
    report_.say("\nWritten: " + out_);
    if (camera != nullptr && !camera->live) {
      report_.say("A clip shows one run. To judge it, give `tachproof run` the scenario that was played.");
      return finish(Verdict::pass);
    }
    return prove(out_, written, false);
  }

  std::string heading(const RigFile& rig) const {
    return rig.watch.wiring ? "Wiring found by a lamp test of " + gauge_.name + "."
                            : "Made by `tachproof rig` for " + gauge_.name + ".";
  }

  ExitStatus teach_where_needed(const RigFile& rig) const {
    CameraSettings camera = rig.watch.camera;
    const std::string regions = (fs::path(out_).parent_path() / camera.regions).string();
    if (fs::exists(regions)) return exit_pass;
    if (!camera.live)
      throw UsageError("there is no " + regions +
                       ": teach it from a clip first, see `tachproof teach --help`");
    if (report_.as_json) throw UsageError("--json does not go with teaching a camera: teach it first");
    TeachWords words;
    words.gauge_file = gauge_file_;
    words.out = regions;
    return teach_live(gauge_, camera, rig, out_, words, "");
  }

  int finish(Verdict verdict) {
    report_.json["verdict"] = word(verdict);
    if (report_.as_json) std::puts(json_text(report_.json, 2).c_str());
    return exit_status(verdict);
  }

  LampTest play(const RigFile& file, const std::string& name, const Gauge& gauge) const {
    Rig rig = make_rig(file, name, gauge, 1);
    RunHooks hooks;
    hooks.stop = stop_requested;
    const CameraSettings* camera = filmed_by(file);
    const bool flashed = camera != nullptr && can_press(file, camera->sync);
    return play_lamp_test(gauge, rig, hooks, flashed ? camera->sync : "");
  }

  int prove(const std::string& name, const RigFile& rig, bool warn = true) {
    if (warn) report_.say(cautions(rig));
    const Channels wired = watched_by(rig, name, gauge_) & gauge_.all_channels();
    return finish(say_proof(play(rig, name, gauge_), name, gauge_, wired, report_));
  }

  std::vector<std::string> rig_;
  std::string gauge_file_, out_;
  RigWords words_;
  Gauge gauge_;
  RigReport report_;
};

}  // namespace

std::unique_ptr<Command> make_rig_command() { return std::make_unique<RigCommand>(); }

}  // namespace tachproof
