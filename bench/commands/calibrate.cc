#include "bench/record/json_values.h"
#include "bench/record/record.h"
#include "bench/rigs/board/clock_calibration.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <stdexcept>

#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/commands/output_file.h"
#include "bench/commands/run_output.h"
#include "bench/commands/terminal.h"
#include "bench/commands/units.h"
#include "bench/files/rig_edit.h"
#include "bench/rigs/board/board.h"
#include "bench/rigs/board/board_reference.h"

namespace tachproof {

namespace {

constexpr double lowest_hz = 0.1, highest_hz = 1000;
constexpr double longest_s = 24 * 3600;

double between(double lowest, double highest, double value, const std::string& option) {
  if (value >= lowest && value <= highest) return value;
  throw UsageError(fmt::format("{} must be from {} to {}", option, lowest, highest));
}

class CalibrateCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"calibrate",
            "the board's clock against a known frequency",
            "(--port PORT | --write RIG) --input INPUT --hz HZ --reference-ppm PPM [--for TIME] [--json]",
            "Watches a reference on one of the board's inputs and finds by how much the board's crystal is "
            "fast. The reference is a receiver's pulse per second or a signal generator, 0 to 5 V. Every "
            "pulse must come, and come in time. If one does not, the command says how many were seen, and "
            "corrects nothing.\n\nThe line that it prints goes into the rig file's source; --write puts it "
            "there. From then on the board's pulses and stamps are corrected, and the measured uncertainty "
            "replaces the 50 ppm of a crystal. It allows for 10 ppm of drift: calibrate again after a year, "
            "or far from room temperature.",
            "0  done\n2  bad usage or a bad file\n3  the board or the reference cannot be used",
            {"tachproof calibrate --port /dev/serial/by-id/usb-tachproof_board-if00 --input in0 --hz 1 "
             "--reference-ppm 0.1"}};
  }

  void declare(Arguments& arguments) override {
    arguments.option(port_, "--port", "PORT", "The board's port; see `tachproof ports`.");
    arguments.option(rig_, "--write", "RIG",
                     "The rig file that names the board. The clock is written into it.");
    arguments.required(input_, "--input", "INPUT", "The input that the reference is wired to: in0 to in7.");
    arguments.required(hz_, "--hz", "HZ", "The reference's rising edges per second, 0.1 to 1000.");
    arguments.required(reference_ppm_, "--reference-ppm", "PPM",
                       "How far the reference may be off, in ppm, as its maker states.");
    arguments.option(for_, "--for", "TIME", "How long to watch; at least 10 s. Default: 60s.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    if (port_.empty() == rig_.empty()) throw UsageError("give either --port or --write");
    const std::optional<unsigned> input = board_input(input_);
    if (!input) throw UsageError("--input is '" + input_ + "'; allowed is in0 to in7");
    const ReferenceSignal reference{
        between(lowest_hz, highest_hz, plain_number("--hz", hz_), "--hz"),
        between(0, most_clock_ppm, plain_number("--reference-ppm", reference_ppm_), "--reference-ppm")};
    const double shortest_s = std::max(to_seconds(shortest_calibration),
                                       static_cast<double>(fewest_reference_pulses + 1) / reference.hz);
    const double watch_s = between(shortest_s, longest_s, seconds("--for", for_), "--for, in seconds,");
    ClockSetting clock{0, 1, now_iso8601().substr(0, 10)};
    std::string port = port_;
    if (!rig_.empty()) {
      rig_with_clock(rig_, clock);  // better refused now than after a minute
      port = load_rig(rig_).source.port;
    }

    BoardConnection board(port, wall_clock());
    const ReferencePulses seen =
        watch_reference(board, *input, from_seconds(watch_s), [&](double s, std::size_t n) {
          if (is_terminal(stderr))
            fmt::print(stderr, "\r\033[K{:.0f} s of {:.0f} s  {} pulses", s, watch_s, n);
        });
    if (is_terminal(stderr)) std::fputs("\r\033[K", stderr);
    const Calibration found = calibrate(seen, reference);
    clock.fast_ppm = found.fast_ppm;
    clock.uncertainty_ppm = found.uncertainty_ppm;
    if (!rig_.empty()) write_output(std::filesystem::canonical(rig_), rig_with_clock(rig_, clock));
    json_ ? print_json(port, found, clock) : print(port, found, clock);
    return exit_pass;
  }

 private:
  void print(const std::string& port, const Calibration& found, const ClockSetting& clock) const {
    fmt::print(
        "The clock of the board on {} is {:+.2f} ppm fast, +-{:.2f} ppm (k = 2, with 10 ppm of drift)\n",
        port, found.fast_ppm, 2 * found.uncertainty_ppm);
    fmt::print("  {} pulses over {:.1f} s, {:.2f} us out of time (standard deviation)\n", found.pulses,
               found.lasts_s, found.scatter_us);
    fmt::print("{}\n  {}\n", rig_.empty() ? "For the rig file's source:" : "Written into " + rig_ + ":",
               clock_line(clock));
  }

  void print_json(const std::string& port, const Calibration& found, const ClockSetting& clock) const {
    const nlohmann::ordered_json out{{"port", port},
                                     {"fast_ppm", found.fast_ppm},
                                     {"uncertainty_ppm", found.uncertainty_ppm},
                                     {"calibrated", clock.calibrated},
                                     {"pulses", found.pulses},
                                     {"duration_s", found.lasts_s},
                                     {"scatter_us", found.scatter_us},
                                     {"written", rig_}};
    std::puts(json_text(out, 2).c_str());
  }

  std::string port_, rig_, input_, hz_, reference_ppm_, for_ = "60s";
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_calibrate_command() { return std::make_unique<CalibrateCommand>(); }

}  // namespace tachproof
