#include "bench/reports/noise_report.h"

#include <fmt/format.h>

#include <cmath>

#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/chart.h"

namespace tachproof {
namespace {

constexpr std::size_t columns = 80;

// Four digits that matter, as YAML reads them; larger numbers whole.
std::string number(double value) {
  if (!std::isfinite(value)) return "unknown";
  return std::abs(value) < 9999.5 ? fmt::format("{:.4g}", value) : fmt::format("{:.0f}", value);
}

std::string interval_text(const Interval& interval) {
  return fmt::format("95 %: {} to {}", number(interval.low), number(interval.high));
}

std::string line(const std::string& key, double value, const Interval& interval) {
  return fmt::format("{:<32}# {}\n", key + ": " + number(value), interval_text(interval));
}

// Rounded so that they still add up to nothing.
std::vector<double> rounded_firing(const std::vector<double>& firing) {
  std::vector<double> out;
  double sum = 0;
  for (const double share : firing) {
    out.push_back(std::round(share * 1e4) / 1e4);
    sum += out.back();
  }
  if (!out.empty()) out.back() = std::round((out.back() - sum) * 1e4) / 1e4;
  return out;
}

std::string firing_text(const std::vector<double>& firing) {
  std::string text;
  for (const double share : rounded_firing(firing))
    text += (text.empty() ? "" : ", ") + fmt::format("{:g}", share);
  return "[" + text + "]";
}

std::string comments(const NoiseRecord& record) {
  const NoiseFit& fit = record.fit;
  std::vector<std::string> sentences = {
      fmt::format("{}: {} pulses in {:.2f} s, {} pulses per revolution, {} rpm.", printable(record.recording),
                  fit.pulses, fit.duration_s, number(fit.pulses_per_rev), number(fit.mean_rpm))};
  if (!record.trouble.empty()) sentences.push_back(record.trouble);
  for (const std::string& reason : fit.reasons) sentences.push_back("Does not fit: " + reason + ".");
  for (const std::string& note : fit.notes) sentences.push_back("Note: " + note + ".");
  std::string text;
  for (const std::string& sentence : sentences)
    for (const std::string& part : wrapped(sentence, columns - 2)) text += "# " + part + "\n";
  return text;
}

// The keys of a noise file; what was not found is left out.
std::string block(const NoiseFit& fit) {
  std::string text = line("jitter_us", fit.noise.jitter_us, fit.jitter_us);
  if (fit.noise.wander_rpm > 0) {
    text += line("wander_rpm", fit.noise.wander_rpm, fit.wander_rpm);
    text += line("wander_s", fit.noise.wander_s, fit.wander_s);
  } else {
    text += fmt::format("{:<32}# {}\n", "# no wander found, rpm", interval_text(fit.wander_rpm));
  }
  if (!fit.noise.firing.empty()) text += "firing: " + firing_text(fit.noise.firing) + "\n";
  text += line("missing", fit.noise.missing, fit.missing);
  text += line("doubled", fit.noise.doubled, fit.doubled);
  if (fit.noise.doubled > 0) text += "doubled_after_us: " + number(fit.noise.doubled_after_us) + "\n";
  return text;
}

Json interval_json(const Interval& interval) {
  return Json::array({number_to_json(interval.low), number_to_json(interval.high)});
}

std::string figure(const std::string& title, const std::string& words, const Chart& chart) {
  return fmt::format("<h2>{}</h2>\n<p>{}</p>\n<figure>{}</figure>\n", escaped(title), escaped(words),
                     chart_svg(chart));
}

std::string spectrum_html(const NoiseFit& fit) {
  const bool orders = std::isfinite(fit.pulses_per_rev);
  const double per_pulse = orders ? fit.pulses_per_rev : 1;
  Curve curve{"amplitude", "solid", "", {}};
  for (const NoiseFit::Line& l : fit.spectrum)
    curve.points.push_back({l.cycles_per_pulse * per_pulse, l.percent});
  Chart chart;
  chart.x = {orders ? "order: cycles per revolution" : "cycles per pulse", 0, per_pulse / 2, false};
  chart.y = fitted("amplitude, per cent of a pulse period", {curve}, true, 4);
  chart.curves = {curve};
  return figure(
      "Spectrum in orders",
      "A firing pattern stands out as sharp lines; jitter rises towards the right; wander rises towards "
      "the left.",
      chart);
}

std::string allan_html(const NoiseFit& fit) {
  Curve seen{"seen", "dots", "", {}}, model{"fitted model", "solid", "", {}};
  for (const NoiseFit::Spread& s : fit.allan) {
    seen.points.push_back({s.span_s, 100 * s.seen});
    model.points.push_back({s.span_s, 100 * s.modelled});
  }
  Chart chart;
  chart.curves = {model, seen};
  chart.x = {"averaging time, s", fit.allan.front().span_s * 0.9, fit.allan.back().span_s * 1.1, true};
  chart.y = fitted("Allan deviation, per cent of the speed", chart.curves, true);
  return figure("Allan deviation", "How the mean speed over a time differs from that over the next.", chart);
}

std::string residuals_html(const NoiseFit& fit) {
  Curve curve{"standardised one-step error", "dots", "", {}};
  constexpr std::size_t most = 3000;
  const std::size_t step = fit.residuals.size() / most + 1;
  double largest = 4;
  for (std::size_t k = 0; k < fit.residuals.size(); k += step) {
    curve.points.push_back({static_cast<double>(k), fit.residuals[k]});
    largest = std::max(largest, std::abs(fit.residuals[k]));
  }
  Chart chart;
  chart.x = {"pulse", 0, static_cast<double>(std::max<std::size_t>(fit.residuals.size(), 2) - 1), false};
  chart.y = {"residual, standard deviations", -largest * 1.05, largest * 1.05, false};
  chart.curves = {curve};
  return figure("Residuals", "What the model leaves over: without shape, and within +-3 but for 1 in 400.",
                chart);
}

}  // namespace

std::string noise_text(const NoiseRecord& record) {
  if (record.fit.residuals.empty()) return comments(record);  // nothing could be fitted
  return comments(record) + "format: 1\nkind: noise\n" + block(record.fit);
}

std::string noise_json(const NoiseRecord& record) {
  const NoiseFit& fit = record.fit;
  Json out;
  out["pulses"] = fit.pulses;
  out["duration_s"] = fit.duration_s;
  out["pulses_per_rev"] = number_to_json(fit.pulses_per_rev);
  out["mean_rpm"] = number_to_json(fit.mean_rpm);
  out["jitter_us"] = number_to_json(fit.noise.jitter_us);
  out["wander_rpm"] = number_to_json(fit.noise.wander_rpm);
  out["wander_s"] = number_to_json(fit.noise.wander_s);
  out["firing"] = rounded_firing(fit.noise.firing);
  out["missing"] = fit.noise.missing;
  out["doubled"] = fit.noise.doubled;
  Json& intervals = out["intervals"];
  intervals["jitter_us"] = interval_json(fit.jitter_us);
  intervals["wander_rpm"] = interval_json(fit.wander_rpm);
  intervals["wander_s"] = interval_json(fit.wander_s);
  intervals["firing"] = Json::array();
  for (const Interval& interval : fit.firing) intervals["firing"].push_back(interval_json(interval));
  intervals["missing"] = interval_json(fit.missing);
  intervals["doubled"] = interval_json(fit.doubled);
  out["fits"] = fit.fits;
  return json_text(out, 2) + "\n";
}

std::string noise_html(const NoiseRecord& record) {
  const NoiseFit& fit = record.fit;
  // escaped() makes one line of what it is given.
  std::string listing;
  const std::string text = noise_text(record);
  for (std::size_t start = 0; start < text.size();) {
    const std::size_t end = text.find('\n', start);
    listing += escaped(text.substr(start, end - start)) + "\n";
    start = end + 1;
  }
  std::string body = fmt::format(
      "<h1>Noise of a recorded tach signal: <b>{}</b></h1>\n<p>{}</p>\n<pre>{}</pre>\n",
      escaped(record.recording), fit.fits ? "The model fits." : "<b>The model does not fit.</b>", listing);
  if (!fit.spectrum.empty()) body += spectrum_html(fit);
  if (!fit.allan.empty()) body += allan_html(fit);
  if (!fit.residuals.empty()) body += residuals_html(fit);
  return chart_page("Noise: " + record.recording, body);
}

}  // namespace tachproof
