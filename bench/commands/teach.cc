#include <fmt/format.h>

#include <cstdio>

#include "bench/commands/camera_words.h"
#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/teaching.h"
#include "bench/files/files.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/rig.h"
#include "core/camera/teaching.h"

namespace tachproof {

namespace {

class TeachCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "teach",
        "shows a camera where a gauge's lamps are",
        "[CLIP | DEVICE --rig RIG] --gauge FILE [--scenario FILE] [--out FILE] [--sync ACTION] [--fps N] "
        "[--within PX] [--exposure-ms MS] [--gain N] [--keep-clip DIR]",
        "With DEVICE, a camera such as /dev/video0, it plays every window of the gauge in turn on the rig's "
        "source while the camera films, and teaches from what was filmed. If the source can press --sync, "
        "the "
        "sync lamp flashes. Ctrl-C switches the source off.\n\n"
        "With CLIP it teaches from a video file, or from a folder of pictures, of the teaching scenario. "
        "Without either it prints that scenario: play it while you film the clip.\n\n"
        "It finds each lamp by when it changes, and learns how it looks dark and in each colour. It writes a "
        "regions file for the rig, and two pictures: one of the dial, to find it again when the camera was "
        "nudged, and one with every lamp circled and named. At a terminal it asks whether the circles and "
        "names are right. Without a terminal the regions file says that nobody has checked: do so before you "
        "use it.\n\n"
        "First fix the camera's exposure, gain and white balance; they must not change afterwards. Make the "
        "exposure so short that each lamp shows its colour round its middle. Lamps may flash while it plays: "
        "light that flashes at 3 to 30 Hz can provoke seizures.",
        "0  done\n2  bad usage, a bad file, or a clip from which the lamps cannot be learned\n"
        "3  a device is missing or was lost, it was stopped, or you said that the picture is wrong",
        {"tachproof teach --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(clip_, "CLIP", "The video file, the folder of pictures, or the device.");
    arguments.required(words_.gauge_file, "--gauge", "FILE", "The gauge file: which windows show what.");
    arguments.option(rig_, "--rig", "FILE", "With DEVICE: the rig file whose source plays to the unit.");
    arguments.option(words_.scenario, "--scenario", "FILE",
                     "What was played. Default: the scenario that this command prints.");
    arguments.option(words_.out, "--out", "FILE", "The regions file. Default: regions.yaml.");
    arguments.option(words_.sync, "--sync", "ACTION",
                     "The action that flashes the sync lamp. Default: the rig file's, else sync.");
    arguments.option(
        words_.fps, "--fps", "N",
        "Frames a second: needed for a folder of pictures without times.txt; asked of a device.");
    arguments.option(words_.within, "--within", "PX",
                     "How many pixels the camera may be nudged later. Default: 12.");
    arguments.option(exposure_ms_, "--exposure-ms", "MS", "Asked of a device. Default: the rig file's.");
    arguments.option(gain_, "--gain", "N", "Asked of a device. Default: the rig file's.");
    arguments.option(keep_, "--keep-clip", "DIR", "With DEVICE: keeps what was filmed in a new folder.");
  }

  int run() override {
    if (words_.out.empty()) words_.out = "regions.yaml";
    const std::string sync = words_.sync.empty() ? "sync" : words_.sync;
    if (clip_.size() > 1) throw UsageError("give one CLIP only");
    if (clip_.empty() && !rig_.empty()) throw UsageError("--rig goes with a camera, such as /dev/video0");
    if (!rig_.empty()) return run_live();
    if (!keep_.empty() || !exposure_ms_.empty() || !gain_.empty())
      throw UsageError("--exposure-ms, --gain and --keep-clip go with --rig and a camera, not with a clip");
    const Gauge gauge = load_gauge(words_.gauge_file);
    if (!words_.scenario.empty()) {
      const Profile played(load_scenario(words_.scenario).steps);
      const std::string why =
          words_.sync.empty() ? std::string() : not_pressed(words_.sync, played, words_.scenario);
      if (!why.empty()) throw UsageError("--sync is " + why);
    }
    if (clip_.empty()) {
      print(gauge, sync);
      return exit_pass;
    }
    words_.from = clip_[0];
    words_.sync = sync;
    return teach_from_clip(words_);
  }

 private:
  int run_live() {
    if (!words_.scenario.empty())
      throw UsageError("--scenario goes with a clip; with a camera the bench plays its own");
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(words_.gauge_file); });
    const auto rig = errors.collect([&] { return load_rig(rig_); });
    errors.throw_if_any();
    CameraSettings camera = rig->watch.camera;  // the usual ones, when the rig watches otherwise
    camera.from = clip_[0];
    if (!words_.sync.empty()) camera.sync = words_.sync;
    if (!words_.sync.empty() && !can_press(*rig, words_.sync)) {
      std::string all;
      for (const auto& [action, output] : rig->source.buttons) all += (all.empty() ? "" : ", ") + action;
      throw UsageError("--sync is '" + words_.sync + "', which the source of " + rig_ + " cannot press" +
                       (all.empty() ? "; name the output in its `buttons`" : "; it presses: " + all));
    }
    camera.fps = option_number("--fps", words_.fps, camera.fps, 1, 1000);
    camera.exposure_ms = option_number("--exposure-ms", exposure_ms_, camera.exposure_ms, 0.001, 1000);
    camera.gain = option_number("--gain", gain_, camera.gain, 0, 10'000);
    words_.fps.clear();  // what was filmed has its times
    return teach_live(*gauge, camera, *rig, rig_, words_, keep_);
  }

  static void print(const Gauge& gauge, const std::string& sync) {
    std::string text = "format: 1\nkind: scenario\nname: teaching\nprofile:\n";
    for (const Step& step : teaching_steps(gauge, sync))
      text += std::holds_alternative<Press>(step)
                  ? fmt::format("  - {{press: {}, for: {}ms}}\n", sync, to_ms(std::get<Press>(step).lasts))
                  : fmt::format("  - {{hold: {}, for: {}ms}}\n", std::get<Hold>(step).rpm,
                                to_ms(std::get<Hold>(step).lasts));
    std::fputs(text.c_str(), stdout);
  }

  std::vector<std::string> clip_;
  TeachWords words_;
  std::string rig_, exposure_ms_, gain_, keep_;
};

}  // namespace

std::unique_ptr<Command> make_teach_command() { return std::make_unique<TeachCommand>(); }

}  // namespace tachproof
