#include <fmt/format.h>

#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/noise_source.h"
#include "bench/commands/output_file.h"
#include "bench/commands/units.h"
#include "bench/reports/noise_report.h"

namespace tachproof {
namespace {

class NoiseCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "noise",
        "the noise model that a recorded tach signal fits",
        "RECORDING [--wiring FILE | --channel NAME] [--ppr P] [--json] [--html FILE]",
        "Reads the tach signal of an engine that holds a steady speed and prints the noise in it as a noise "
        "file: white jitter of the edges, wander of the speed, firing pattern, missing and doubled pulses, "
        "each with its 95 % interval. A slow drift is removed first. The recording is a VCD or CSV with a "
        "tach channel, or a text file of edge times in seconds.\n\n"
        "Give the pulses per revolution, or they are found from how often the firing pattern repeats. If the "
        "recording is too short, or the model does not fit, the command says so and ends with 3.",
        "0  the model fits\n2  bad usage or a bad file\n3  it does not fit, or the recording is too short",
        {"tachproof noise fixtures/recordings/tach-edges.csv",
         "tachproof noise fixtures/recordings/tach-edges.csv --ppr 3 --html noise.html"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(recording_, "RECORDING", "The VCD, CSV or text file.");
    arguments.option(wiring_, "--wiring", "FILE", "A wiring file that names the tach channel and its edge.");
    arguments.option(channel_, "--channel", "NAME", "The tach channel, rising edges; default tach.");
    arguments.option(ppr_, "--ppr", "P", "Pulses per revolution.");
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.option(html_, "--html", "FILE", "Writes a page with spectrum, Allan deviation and residuals.");
  }

  int run() override {
    if (!wiring_.empty() && !channel_.empty()) throw UsageError("give either --wiring or --channel");
    NoiseFitSetup setup;
    if (!ppr_.empty()) {
      setup.pulses_per_rev = plain_number("--ppr", ppr_);
      if (!(setup.pulses_per_rev > 0 && setup.pulses_per_rev <= 60))
        throw UsageError("--ppr is '" + ppr_ + "'; a number above 0, at most 60");
    }
    std::string channel = channel_.empty() ? "tach" : channel_;
    bool rising = true;
    if (!wiring_.empty()) {
      const Wiring wiring = load_wiring(wiring_);
      channel = wiring.tach;
      rising = wiring.tach_rising;
    }
    NoiseFitter fitter(setup);
    const TachEdges tach = of_argument([&] {
      return stream_tach_edges(recording_, channel, rising,
                               [&](std::span<const Nanos> edges) { fitter.add(edges); });
    });
    fitter.resolution(tach.resolution);
    NoiseRecord record{recording_, tach.trouble, fitter.finish()};
    if (!record.trouble.empty()) {
      record.fit.fits = false;
      record.fit.reasons.push_back("the recording is cut short");
    }
    if (!html_.empty()) write_output(html_, noise_html(record));
    const std::string text = json_ ? noise_json(record) : noise_text(record);
    std::fwrite(text.data(), 1, text.size(), stdout);
    return record.fit.fits ? exit_pass : exit_undecided;
  }

 private:
  std::string recording_, wiring_, channel_, ppr_, html_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_noise_command() { return std::make_unique<NoiseCommand>(); }

}  // namespace tachproof
