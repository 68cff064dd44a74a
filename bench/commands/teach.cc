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
        "With DEVICE, a camera such as /dev/video0, and a rig: plays every window of the gauge in turn on "
        "that rig's source, and flashes the bench's own lamp where the source can press --sync, while the "
        "camera films; then teaches from what was filmed. Ctrl-C switches the source off.\n\n"
        "With CLIP, a video file or a folder of pictures of the teaching scenario: teaches from that. "
        "Without either, prints that scenario, to be played while the clip is filmed.\n\n"
        "It finds each lamp by what changes when, learns its colours and its being dark, and writes a "
        "regions "
        "file for the rig, a picture of the dial by which a nudged camera is found again, and a picture with "
        "every lamp circled and named. At a terminal it asks whether that is right; without one the regions "
        "file says that nobody has looked: do, before it is used.\n\n"
        "Fix the camera's exposure, gain and white balance first, short enough that lamps keep some colour "
        "round their middle; they must stay as they are. Lamps may flash while it plays: light that flashes "
        "at 3 to 30 Hz can provoke seizures.",
        "0  done\n2  bad usage, a bad file, or a clip from which the lamps cannot be learned\n"
        "3  a device is missing or was lost, it was stopped, or you said that the picture is wrong",
        {"tachproof teach --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(clip_, "CLIP", "The video file, the folder of pictures, or the device.");
    arguments.required(words_.gauge_file, "--gauge", "FILE", "The gauge file: which windows show what.");
    arguments.option(rig_, "--rig", "FILE", "With DEVICE: the rig file whose source plays to the unit.");
    arguments.option(words_.scenario, "--scenario", "FILE",
                     "What was played, if not the scenario that this prints.");
    arguments.option(words_.out, "--out", "FILE", "The regions file; regions.yaml if not said.");
    arguments.option(words_.sync, "--sync", "ACTION",
                     "The action that flashes the bench's lamp. Default: the rig file's, else sync.");
    arguments.option(words_.fps, "--fps", "N",
                     "Frames a second: of a folder of pictures without times.txt; asked of a device.");
    arguments.option(words_.within, "--within", "PX",
                     "How far the camera may be nudged later; 12 if not said.");
    arguments.option(exposure_ms_, "--exposure-ms", "MS", "Asked of a device. Default: the rig file's.");
    arguments.option(gain_, "--gain", "N", "Asked of a device. Default: the rig file's.");
    arguments.option(keep_, "--keep-clip", "DIR", "With DEVICE: keeps what was filmed in a new folder.");
  }

  int run() override {
    if (words_.out.empty()) words_.out = "regions.yaml";
    const std::string sync = words_.sync.empty() ? "sync" : words_.sync;
    if (clip_.size() > 1) throw UsageError("one CLIP at a time");
    if (clip_.empty() && !rig_.empty()) throw UsageError("--rig goes with a camera: /dev/video0, say");
    if (!rig_.empty()) return run_live();
    if (!keep_.empty() || !exposure_ms_.empty() || !gain_.empty())
      throw UsageError("--exposure-ms, --gain and --keep-clip go with --rig: a clip is as it is");
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
      throw UsageError("--scenario goes with a clip: live, the bench plays its own");
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
