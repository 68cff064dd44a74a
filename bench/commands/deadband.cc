#include <fmt/format.h>

#include <cmath>
#include <optional>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/log_flicker.h"
#include "bench/commands/noise_source.h"
#include "bench/commands/output_file.h"
#include "bench/commands/units.h"
#include "bench/reports/deadband_report.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/gauge/speed.h"

namespace tachproof {
namespace {

double in_range(const std::string& option, const std::string& text, double otherwise, double above,
                double most) {
  if (text.empty()) return otherwise;
  const double value = plain_number(option, text);
  if (!(value > above && value <= most))
    throw UsageError(fmt::format("{} is '{}'; a number above {:g}, at most {:g}", option, text, above, most));
  return value;
}

class DeadbandCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "deadband",
        "flicker against deadband width; the smallest that holds",
        "--gauge FILE --noise FILE [--limit PER_MIN] [--confidence C] [--rig FILE] [--channel NAME] [--step "
        "RPM] "
        "[--minutes N] [--seed N] [--threads N] [--gear RATIO --final-drive RATIO --tyre-circumference "
        "LENGTH] "
        "[--json] [--html FILE] [--out FILE] | --gauge FILE --noise LOG --time COLUMN --rpm COLUMN "
        "[--time-in "
        "UNIT] [--from TIME] [--to TIME] [--again TIME] [--step RPM] [--json]",
        "Predicts how often the lamps of a sound unit change while the engine holds a steady speed. It does "
        "so for every width of the deadband from 0 to 50 rpm and every boundary, at the mean rpm where it is "
        "worst. It recommends the smallest width whose flicker stays under the limit, and says what that "
        "costs in resolution.\n\n"
        "The noise is a noise file, or a recording whose edges are replayed. Each simulated rate has an "
        "exact upper limit that allows for changes in clusters. Where a closed formula applies, its rate "
        "stands beside it. Changes caused by missing and doubled pulses count and are named: no deadband "
        "removes them. The same inputs give the same numbers, on any number of threads.\n\n"
        "With --time and --rpm the file is an rpm log of a lap, a CSV with these columns. Then nothing is "
        "predicted: the log goes straight through the gauge's thresholds, and the answer is whether the "
        "lamps "
        "flickered in that lap, and with which deadband they would not have.\n\n"
        "This predicts; it tests no unit. If no width holds, that is an answer and no fail: the exit status "
        "is 3.",
        "0  a width holds\n2  bad usage or a bad file\n3  no width holds",
        {"tachproof deadband --gauge fixtures/gauges/drumlin.yaml --noise fixtures/noise/smooth-road.yaml",
         "tachproof deadband --gauge fixtures/gauges/drumlin.yaml --noise fixtures/noise/smooth-road.yaml "
         "--limit "
         "0.5 --gear 1.54 --final-drive 3.9 --tyre-circumference 2.0m",
         "tachproof deadband --gauge fixtures/gauges/tarn.yaml --noise fixtures/logs/tarn-lap.csv --time t "
         "--rpm "
         "n"}};
  }

  void declare(Arguments& arguments) override {
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file.");
    arguments.required(noise_, "--noise", "FILE", "A noise file, or a recording: VCD, CSV or edge times.");
    arguments.option(limit_, "--limit", "PER_MIN", "Lamp changes per minute that are allowed; default 1.");
    arguments.option(confidence_, "--confidence", "C",
                     "Confidence of the upper limit, one-sided; default 0.95.");
    arguments.option(rig_, "--rig", "FILE",
                     "Takes averaging, updates and rounding from this rig file's simulated unit. Default: "
                     "what suits the gauge.");
    arguments.option(channel_, "--channel", "NAME", "The tach channel of a recording; default tach.");
    arguments.option(step_, "--step", "RPM", "Step between two widths; 0.25 to 10, default 1.");
    arguments.option(minutes_, "--minutes", "N", "Time simulated; default: 800 changes at the limit.");
    arguments.option(seed_, "--seed", "N", "Seed of the simulated noise; default 1.");
    arguments.option(threads_, "--threads", "N", "Threads to use. Default: one for each processor.");
    arguments.option(gear_, "--gear", "RATIO", "With the next two: widths in km/h as well.");
    arguments.option(final_drive_, "--final-drive", "RATIO", "The final drive's ratio.");
    arguments.option(circumference_, "--tyre-circumference", "LENGTH",
                     "How far the tyre rolls in one turn: 2.0m.");
    log_.declare(arguments);
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.option(html_, "--html", "FILE", "Writes a page with the curves.");
    arguments.option(out_, "--out", "FILE", "Writes the JSON to a file as well.");
  }

  int run() override {
    if (log_.any()) return of_log();
    DeadbandRecord record;
    record.ask.limit_per_min = in_range("--limit", limit_, 1, 0, 10'000);
    record.ask.confidence = in_range("--confidence", confidence_, 0.95, 0.5, 0.9999);
    record.ask.step_rpm = in_range("--step", step_, 1, 0.2499, 10);
    record.ask.minutes = in_range("--minutes", minutes_, 0, 0, 1e6);
    record.ask.seed = static_cast<std::uint64_t>(std::floor(in_range("--seed", seed_, 1, -1, 9e15)));
    record.ask.threads = static_cast<unsigned>(in_range("--threads", threads_, 0, 0, 1024));
    record.kmh_per_rpm = kmh_per_rpm();  // the gauge's own drive counts where nothing is said

    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto noise = errors.collect([&] { return load_noise_source(noise_, channel_); });
    std::optional<RigFile> rig;
    if (!rig_.empty()) rig = errors.collect([&] { return load_rig(rig_); });
    errors.throw_if_any();
    if (gauge->boundaries() == 0)
      throw UsageError(gauge_ + ": the gauge has no boundary, so nothing can flicker");
    if (record.kmh_per_rpm == 0 && gauge->drive)
      record.kmh_per_rpm = in_unit(gauge->drive->speed_at({1, 0}).value, SpeedUnit::kmh);
    record.gauge = *gauge;
    record.ask.noise = *noise;
    record.noise = noise_;
    read_unit(record, rig ? rig->watch.behaviour : Behaviour{});

    record.study = study_flicker(record.gauge, record.ask);
    if (!html_.empty()) write_output(html_, deadband_html(record));
    if (!out_.empty()) write_output(out_, deadband_json(record));
    const std::string text = json_ ? deadband_json(record) : deadband_text(record);
    std::fwrite(text.data(), 1, text.size(), stdout);
    return record.study.recommended ? exit_pass : exit_undecided;
  }

 private:
  double kmh_per_rpm() const {
    const int given = !gear_.empty() + !final_drive_.empty() + !circumference_.empty();
    if (given == 0) return 0;
    if (given < 3) throw UsageError("--gear, --final-drive and --tyre-circumference go together");
    const Gearing gearing{in_range("--gear", gear_, 1, 0, 1000),
                          in_range("--final-drive", final_drive_, 1, 0, 1000)};
    const double circumference = length_m("--tyre-circumference", circumference_);
    if (!(circumference > 0)) throw UsageError("--tyre-circumference must be above 0");
    return speed_at_rpm({1, 0}, gearing, Tyre{{circumference, 0}}).value / m_per_s_per_kmh;
  }

  static void read_unit(DeadbandRecord& record, const Behaviour& behaviour) {
    const UnitReading& unit = record.ask.unit = unit_reading(record.gauge, behaviour);
    record.reading =
        fmt::format("a unit that averages {} pulses, with {} and {}", unit.averaging_pulses,
                    unit.update_hz > 0 ? fmt::format("{:g} updates a second", unit.update_hz)
                                       : std::string("an update at every pulse"),
                    unit.resolution_rpm > 0 ? fmt::format("resolution {:g} rpm", unit.resolution_rpm)
                                            : std::string("no rounding"));
  }

  int of_log() const {
    for (const std::string* text :
         {&limit_, &confidence_, &rig_, &minutes_, &seed_, &threads_, &html_, &out_})
      if (!text->empty())
        throw UsageError(
            "with an rpm log (--time, --rpm), only --step, --time-in, --from, --to, --again and "
            "--json are used");
    return tell_log_flicker(gauge_, noise_, log_, in_range("--step", step_, 1, 0.2499, 10), json_);
  }

  LogWords log_;
  std::string gauge_, noise_, limit_, confidence_, rig_, channel_ = "tach", step_, minutes_, seed_, threads_,
                                                         gear_, final_drive_, circumference_, html_, out_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_deadband_command() { return std::make_unique<DeadbandCommand>(); }

}  // namespace tachproof
