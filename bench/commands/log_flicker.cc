#include "bench/commands/log_flicker.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <optional>

#include "bench/commands/input_words.h"
#include "bench/commands/units.h"
#include "bench/files/regular_file.h"
#include "bench/files/rpm_log.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "core/base/words.h"
#include "core/flicker/log_flicker.h"

namespace tachproof {
namespace {

constexpr double widest_rpm = 50;
constexpr std::size_t most_rows = 24;

struct LogAnswer {
  Gauge gauge;
  ScenarioFile source;  // only for the words of its log
  RpmLog log;
  Nanos again = usual_again_within;
  std::vector<BoundaryFlicker> own;  // with the gauge's own deadband
  std::vector<WidthFlicker> curve;
  std::optional<double> smallest;  // from here on, no width flickers

  std::size_t flickers() const {
    std::size_t sum = 0;
    for (const BoundaryFlicker& row : own) sum += row.flickers;
    return sum;
  }
  double seconds() const { return to_seconds(log.step.samples->back().at); }
};

RpmLog read_log(const std::string& file, const LogWords& words) {
  LogAsk ask;
  ask.time = words.time;
  ask.rpm = words.rpm;
  ask.time_in = words.time_in;
  if (!words.from.empty()) ask.from_s = seconds("--from", words.from);
  if (!words.to.empty()) ask.to_s = seconds("--to", words.to);
  std::string text;
  try {
    text = RegularFile(file).all(most_log_bytes);
  } catch (const NotReadable& e) {
    throw UsageError(e.what());
  }
  auto log = read_rpm_log(text, ask);
  if (const LogTrouble* trouble = std::get_if<LogTrouble>(&log))
    throw UsageError(fmt::format("{}: {}; {}", file, trouble->found, trouble->allowed));
  RpmLog sound = std::move(std::get<RpmLog>(log));
  sound.facts.file = file;
  return sound;
}

std::optional<double> smallest_without(const std::vector<WidthFlicker>& curve) {
  std::optional<double> smallest;
  for (auto point = curve.rbegin(); point != curve.rend() && point->flickers == 0; ++point)
    smallest = point->width_rpm;
  return smallest;
}

std::string width_words(const LogAnswer& a, double width) {
  std::string text = number_text(width) + " rpm";
  if (a.gauge.drive)
    text += fmt::format(" ({:.2f} {})",
                        in_unit(a.gauge.drive->speed_at({width, 0}).value, a.gauge.drive->said_in),
                        word(a.gauge.drive->said_in));
  return text;
}

std::string answer_words(const LogAnswer& a) {
  const std::size_t n = a.flickers();
  std::string text = fmt::format("With the gauge's deadband of {} the lamps {} in these {:.1f} s. ",
                                 width_words(a, a.gauge.deadband.rpm),
                                 n == 0   ? std::string("did not flicker")
                                 : n == 1 ? std::string("flickered once")
                                          : fmt::format("flickered {} times", n),
                                 a.seconds());
  text += a.smallest
              ? fmt::format("The smallest deadband without flicker is {}.", width_words(a, *a.smallest))
              : fmt::format("No deadband up to {} was without flicker.",
                            width_words(a, a.curve.back().width_rpm));
  return text;
}

constexpr const char* what_it_is =
    "A change of the lamps that is made, taken back and made again within {:g} s counts as a flicker. The "
    "log "
    "is taken as it "
    "stands: "
    "what the engine did between its samples is not in it, and a unit that measures every pulse sees more. "
    "For "
    "that, record the tach signal and use `tachproof noise`.";

void print_text(const LogAnswer& a) {
  for (const std::string& line : logs_in_words(a.source)) fmt::print("{}", as_paragraph("", line, 80));
  std::size_t widest = std::string_view("boundary").size();
  for (const Window& window : a.gauge.windows) widest = std::max(widest, window.name.size());
  fmt::print("\n{:{}}{:>9}{:>10}{:>12}\n", "boundary", widest, "changes", "flickers", "first at s");
  for (const BoundaryFlicker& row : a.own)
    fmt::print("{:{}}{:>9}{:>10}{:>12}\n", a.gauge.windows[row.boundary].name, widest, row.changes,
               row.flickers,
               row.flickers == 0 ? "-" : fixed(to_seconds(row.first_at) + a.log.facts.from_s, 2));
  fmt::print("\n{:>9}{:>9}{:>10}\n", "width rpm", "changes", "flickers");
  std::size_t rows = 0;
  for (const WidthFlicker& point : a.curve) {
    if (++rows > most_rows || (a.smallest && point.width_rpm > *a.smallest)) break;
    fmt::print("{:>9}{:>9}{:>10}\n", number_text(point.width_rpm), point.changes, point.flickers);
  }
  fmt::print("\n{}{}", as_paragraph("", answer_words(a), 80),
             as_paragraph("", fmt::format(fmt::runtime(what_it_is), to_seconds(a.again)), 80));
}

void print_json(const LogAnswer& a) {
  Json out;
  out["samples"] = a.log.facts.samples;
  out["duration_s"] = a.seconds();
  out["again_within_ms"] = to_ms(a.again);
  out["deadband_rpm"] = a.gauge.deadband.rpm;
  out["flickers"] = a.flickers();
  out["recommended_rpm"] = a.smallest ? Json(*a.smallest) : Json(nullptr);
  out["boundaries"] = list_of(a.own, [&](const BoundaryFlicker& row) {
    return Json{{"boundary", text_to_json(a.gauge.windows[row.boundary].name)},
                {"changes", row.changes},
                {"flickers", row.flickers},
                {"first_at_s",
                 row.flickers == 0 ? Json(nullptr) : Json(to_seconds(row.first_at) + a.log.facts.from_s)}};
  });
  out["curve"] = list_of(a.curve, [](const WidthFlicker& point) {
    return Json{{"width_rpm", point.width_rpm}, {"changes", point.changes}, {"flickers", point.flickers}};
  });
  std::puts(json_text(out, 2).c_str());
}

}  // namespace

void LogWords::declare(Arguments& arguments) {
  arguments.option(time, "--time", "COLUMN", "Makes --noise an rpm log, a CSV: the column of its time.");
  arguments.option(rpm, "--rpm", "COLUMN", "And the column of its rpm.");
  arguments.option(time_in, "--time-in", "UNIT", "What the time is in, where the log does not say: s or ms.");
  arguments.option(from, "--from", "TIME", "Where to begin, by the log's own clock.");
  arguments.option(to, "--to", "TIME", "Where to end.");
  arguments.option(
      again, "--again", "TIME",
      "Of a log: a change that is made, taken back and made again within this time is a flicker; "
      "default 1s.");
}

bool LogWords::any() const {
  for (const std::string* text : {&time, &rpm, &time_in, &from, &to, &again})
    if (!text->empty()) return true;
  return false;
}

ExitStatus tell_log_flicker(const std::string& gauge_file, const std::string& log_file, const LogWords& words,
                            double step_rpm, bool json) {
  if (words.time.empty() || words.rpm.empty()) throw UsageError("an rpm log needs both --time and --rpm");
  if (!words.time_in.empty() && words.time_in != "s" && words.time_in != "ms")
    throw UsageError("--time-in is '" + words.time_in + "'; s or ms");
  LogAnswer a;
  if (!words.again.empty()) {
    const double s = seconds("--again", words.again);
    if (!(s > 0 && s <= 60)) throw UsageError("--again is '" + words.again + "'; above 0, at most 60s");
    a.again = from_seconds(s);
  }
  a.gauge = load_gauge(gauge_file);
  if (a.gauge.boundaries() == 0)
    throw UsageError(gauge_file + ": the gauge has no boundary, so nothing can flicker");
  a.log = read_log(log_file, words);
  a.source.logs.push_back(a.log.facts);
  a.own = flicker_in_log(a.gauge, *a.log.step.samples, a.gauge.deadband.rpm, a.again);
  a.curve = flicker_by_width(a.gauge, *a.log.step.samples, step_rpm, widest_rpm, a.again);
  a.smallest = smallest_without(a.curve);
  json ? print_json(a) : print_text(a);
  return a.smallest ? exit_pass : exit_undecided;
}

}  // namespace tachproof
