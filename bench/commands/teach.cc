#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>

#include "bench/commands/command.h"
#include "bench/files/files.h"
#include "bench/rigs/camera_process.h"
#include "bench/rigs/rig.h"
#include "core/teaching.h"

namespace tachproof {

namespace {

class TeachCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "teach",
        "shows a camera where a gauge's lamps are",
        "[CLIP] --gauge FILE [--scenario FILE] [--out FILE] [--sync ACTION] [--fps N] [--within PX]",
        "Without CLIP: prints the scenario to be played while the clip is filmed: every window in turn, and "
        "two "
        "flashes of the bench's own lamp.\n\n"
        "With CLIP, a video file or a folder of pictures of that scenario: finds each lamp by what changes "
        "when, "
        "learns its colours and its being dark, and writes a regions file for the rig, a picture of the dial "
        "by "
        "which a nudged camera is found again, and a picture with every lamp circled and named. Look at that "
        "picture before the regions are used.\n\n"
        "Fix the camera's exposure, gain and white balance first, short enough that lamps keep some colour "
        "round "
        "their middle; they must stay as they are.",
        "0  done\n2  bad usage, a bad file, or a clip from which the lamps cannot be learned",
        {"tachproof teach --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(clip_, "CLIP", "The video file or the folder of pictures.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: which windows show what.");
    arguments.option(scenario_, "--scenario", "FILE",
                     "What was played, if not the scenario that this prints.");
    arguments.option(out_, "--out", "FILE", "The regions file; regions.yaml if not said.");
    arguments.option(sync_, "--sync", "ACTION",
                     "The action that flashes the bench's lamp; sync if not said.");
    arguments.option(fps_, "--fps", "N", "Frames a second, of a folder of pictures without times.txt.");
    arguments.option(within_, "--within", "PX", "How far the camera may be nudged later; 12 if not said.");
  }

  int run() override {
    const Gauge gauge = load_gauge(gauge_);
    if (!scenario_.empty()) load_scenario(scenario_);
    if (clip_.empty()) {
      print(gauge);
      return exit_pass;
    }
    if (clip_.size() > 1) throw UsageError("one CLIP at a time");
    std::vector<std::string> words{"tachproof-camera", "teach", clip_[0], "--gauge", gauge_, "--out", out_};
    const auto add = [&](const char* key, const std::string& value) {
      if (!value.empty()) words.insert(words.end(), {key, value});
    };
    add("--sync", sync_);
    add("--scenario", scenario_);
    add("--fps", fps_);
    add("--within", within_);
    std::vector<char*> arguments;
    for (std::string& word : words) arguments.push_back(word.data());
    arguments.push_back(nullptr);
    try {
      // It has the terminal from here on.
      ::execv(camera_program().c_str(), arguments.data());
    } catch (const RigError& e) {
      throw UsageError(e.what());
    }
    throw UsageError("cannot start " + camera_program());
  }

 private:
  void print(const Gauge& gauge) const {
    std::string text = "format: 1\nkind: scenario\nname: teaching\nprofile:\n";
    for (const Step& step : teaching_steps(gauge, sync_))
      text += std::holds_alternative<Press>(step)
                  ? fmt::format("  - {{press: {}, for: {}ms}}\n", sync_, to_ms(std::get<Press>(step).lasts))
                  : fmt::format("  - {{hold: {}, for: {}ms}}\n", std::get<Hold>(step).rpm,
                                to_ms(std::get<Hold>(step).lasts));
    std::fputs(text.c_str(), stdout);
  }

  std::vector<std::string> clip_;
  std::string gauge_, scenario_, out_ = "regions.yaml", sync_ = "sync", fps_, within_;
};

}  // namespace

std::unique_ptr<Command> make_teach_command() { return std::make_unique<TeachCommand>(); }

}  // namespace tachproof
