#include "bench/page/rig_checks.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/commands/rig_proof.h"
#include "bench/page/pieces.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/page.h"
#include "bench/rigs/factory.h"
#include "bench/run/lamp_test_run.h"
#include "bench/run/survey_run.h"
#include "core/plan/lamp_test.h"

namespace tachproof {
namespace {

constexpr Nanos a_short_look = 300 * ns_per_ms;
// A person walks to the unit and back; then nobody is there.
constexpr Nanos longest_question = 300 * ns_per_s;

RunHooks hooks_of(Errand& errand) {
  RunHooks hooks;
  hooks.stop = [&errand] { return errand.why_stop(); };
  return hooks;
}

std::string troubles_html(const std::vector<std::string>& troubles) {
  std::string html;
  for (const std::string& trouble : troubles)
    html += fmt::format("<p class=\"trouble\" role=\"alert\">The bench could not decide: {}</p>\n",
                        escaped(as_sentence(trouble)));
  return html;
}

Channels bit(std::size_t channel) { return Channels{1} << channel; }

// The window in which a person looks for a lamp: one that lights it steadily, if there is any.
std::optional<std::size_t> window_to_look_in(const Gauge& gauge, std::size_t channel) {
  for (std::size_t w = 0; w < gauge.windows.size(); ++w)
    if ((gauge.windows[w].cue.steady & bit(channel)) != 0) return w;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w)
    if ((gauge.windows[w].cue.blinking & bit(channel)) != 0) return w;
  return std::nullopt;
}

// The lamp test holds the middle of each window, lowest first.
std::vector<double> rpm_of_windows(const Gauge& gauge) {
  std::vector<double> rpm;
  for (const Step& step : lamp_test_steps(gauge))
    if (const Hold* hold = std::get_if<Hold>(&step)) rpm.push_back(hold->rpm);
  rpm.resize(gauge.windows.size(), rpm.empty() ? 0 : rpm.back());
  return rpm;
}

std::string windows_in_which(const Gauge& gauge, const std::vector<std::optional<Cue>>& shown,
                             std::size_t channel) {
  std::string names;
  for (std::size_t w = 0; w < shown.size() && w < gauge.windows.size(); ++w)
    if (shown[w] && ((shown[w]->steady | shown[w]->blinking) & bit(channel)) != 0)
      names += (names.empty() ? "" : ", ") + gauge.windows[w].name;
  return names.empty() ? "no window" : names;
}

bool ever_seen(const std::vector<std::optional<Cue>>& shown, std::size_t channel) {
  return std::any_of(shown.begin(), shown.end(), [&](const std::optional<Cue>& cue) {
    return cue && ((cue->steady | cue->blinking) & bit(channel)) != 0;
  });
}

Verdict verdict_of_wire(const Gauge& gauge, const std::vector<std::optional<Cue>>& shown,
                        std::size_t channel) {
  Verdict verdict = Verdict::pass;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    if (w >= shown.size() || !shown[w]) {
      verdict = worst(verdict, Verdict::undecided);
      continue;
    }
    const Cue& wanted = gauge.windows[w].cue;
    if ((wanted.steady & bit(channel)) != (shown[w]->steady & bit(channel)) ||
        (wanted.blinking & bit(channel)) != (shown[w]->blinking & bit(channel)))
      verdict = Verdict::fail;
  }
  return verdict;
}

std::string channels_of_rig(const RigFile& rig, const Gauge& gauge, std::size_t channel) {
  std::string names;
  if (rig.watch.wiring)
    for (const ResolvedWire& wire : resolve(*rig.watch.wiring, gauge))
      if ((wire.lights & bit(channel)) != 0) names += (names.empty() ? "" : ", ") + wire.channel;
  return names;
}

constexpr const char* wires_head =
    "<h2>Wire by wire</h2>\n<div class=\"scroll\"><table class=\"runs "
    "told\">\n<thead><tr><th>lamp</th><th>wired "
    "to</th>"
    "<th>should be lit in</th><th>was lit in</th><th>verdict</th></tr></thead>\n<tbody>\n";

std::string wires_html(const RigFile& rig, const Gauge& gauge, Channels wired,
                       const std::vector<std::optional<Cue>>& shown) {
  std::vector<std::optional<Cue>> wanted;
  for (const Window& window : gauge.windows) wanted.emplace_back(window.cue);
  std::string rows;
  for (std::size_t c = 0; c < gauge.channels(); ++c) {
    const bool sees = (wired & bit(c)) != 0;
    const std::string to = channels_of_rig(rig, gauge, c);
    rows += fmt::format(
        "<tr><td data-of=\"lamp\">{}</td><td data-of=\"wired to\">{}</td><td data-of=\"should be lit "
        "in\">{}</td><td "
        "data-of=\"was lit in\">{}</td><td data-of=\"verdict\">{}</td></tr>\n",
        escaped(gauge.channel_name(c)), sees ? escaped(to.empty() ? "no wire needed" : to) : "nothing",
        escaped(windows_in_which(gauge, wanted, c)),
        sees ? escaped(windows_in_which(gauge, shown, c)) : "nobody can tell from here",
        sees ? verdict_mark(verdict_of_wire(gauge, shown, c)) : "not judged");
  }
  return wires_head + rows + "</tbody></table></div>\n";
}

std::string windows_table(const nlohmann::ordered_json& windows) {
  std::string rows;
  for (const auto& window : windows) {
    const std::string verdict = window["verdict"];
    rows += fmt::format(
        "<tr><td data-of=\"window\">{}</td><td data-of=\"should show\">{}</td><td "
        "data-of=\"showed\">{}</td><td "
        "data-of=\"verdict\">{}</td></tr>\n",
        escaped(window["window"].get<std::string>()), escaped(window["should_show"].get<std::string>()),
        escaped(window["shown"].get<std::string>()),
        verdict_mark(verdict == word(Verdict::pass)   ? Verdict::pass
                     : verdict == word(Verdict::fail) ? Verdict::fail
                                                      : Verdict::undecided));
  }
  return "<h2>Window by window</h2>\n<div class=\"scroll\"><table "
         "class=\"runs told\">\n<thead><tr><th>window</th><th>should "
         "show</th><th>showed</th><th>verdict</th></tr></thead>\n<tbody>\n" +
         rows + "</tbody></table></div>\n";
}

// Hints that a table does not give: swapped and inverted wires, lamps that nothing tells apart.
std::string wire_hints_html(const nlohmann::ordered_json& said, const Gauge& gauge, Channels wired,
                            const std::vector<std::optional<Cue>>& shown) {
  std::string html;
  for (const auto& swapped : said["swapped"])
    html += fmt::format("<p class=\"cause\">{}</p>\n", escaped(as_sentence(swapped.get<std::string>())));
  if (said["inverted"].get<bool>())
    html +=
        "<p class=\"cause\">Every lamp is the other way round: change <code>active:</code> in the rig "
        "file.</p>\n";
  const FoundWires found = find_wires(gauge, shown, gauge.channels());
  for (const FoundWires::Alike& group : found.alike) {
    std::string names;
    std::size_t count = 0;
    for (const std::size_t c : group.channels)
      if ((wired & bit(c)) != 0) names += (count++ == 0 ? "" : ", ") + gauge.channel_name(c);
    if (count > 1)
      html += fmt::format(
          "<p>{} are lit in the same windows, so that this test cannot tell their wires apart. Pull one wire "
          "and "
          "look at the inputs to be sure.</p>\n",
          escaped(names));
  }
  return html;
}

struct AskedLamp {
  std::size_t channel = 0, window = 0;
  std::optional<bool> lit;
};

// Holds a window for each lamp until a person has answered.
void ask_person(const RigFile& rig, const std::string& file, const Gauge& gauge,
                std::vector<AskedLamp>& lamps, Errand& errand) {
  const std::vector<double> rpm = rpm_of_windows(gauge);
  constexpr Nanos step = 200 * ns_per_ms;
  std::size_t at = 0;
  Nanos waited = 0;
  const NextSteps next = [&](const SurveyView&) -> std::vector<Step> {
    while (at < lamps.size()) {
      AskedLamp& lamp = lamps[at];
      const std::string question =
          fmt::format("Is {} lit now? The bench plays {:.0f} rpm, window {}.",
                      gauge.channel_name(lamp.channel), rpm[lamp.window], gauge.windows[lamp.window].name);
      const std::optional<std::string> answer = errand.ask(question);
      if (!answer && waited < longest_question) {
        waited += step;
        return {Hold{rpm[lamp.window], step}};
      }
      if (!answer) errand.asks_no_more();
      if (answer == "yes" || answer == "no") lamp.lit = answer == "yes";
      waited = 0;
      ++at;
    }
    return {};
  };
  Rig opened = make_rig(rig, file, gauge, 1);
  RunHooks hooks = hooks_of(errand);
  hooks.in_real_time = true;
  play_survey(next, gauge.pulses_per_rev, opened, nullptr, hooks);
  errand.asks_no_more();
}

std::string answers_table(const Gauge& gauge, Channels wired, const std::vector<AskedLamp>& lamps) {
  if (lamps.empty()) return {};
  std::string rows;
  for (const AskedLamp& lamp : lamps) {
    const bool has_wire = (wired & bit(lamp.channel)) != 0;
    const char* means =
        !lamp.lit   ? "Nobody answered: not known."
        : *lamp.lit ? (has_wire ? "The lamp is lit and its input does not see it: check that wire."
                                : "The lamp works. It has no wire, so that no run judges it.")
                    : (has_wire ? "The lamp stays dark: check the lamp, the unit and its settings."
                                : "The lamp stays dark: check the lamp, the unit and its settings. No run "
                                  "would see that, as it has no wire.");
    rows += fmt::format(
        "<tr><td data-of=\"lamp\">{}</td><td data-of=\"window\">{}</td><td data-of=\"lit?\">{}</td><td "
        "data-of=\"that means\">{}</td></tr>\n",
        escaped(gauge.channel_name(lamp.channel)), escaped(gauge.windows[lamp.window].name),
        lamp.lit ? (*lamp.lit ? "yes" : "no") : "-", means);
  }
  return "<h2>By eye</h2>\n<div class=\"scroll\"><table "
         "class=\"runs told\">\n<thead><tr><th>lamp</th><th>window</th><th>lit?"
         "</th><th>what that means</th></tr></thead>\n<tbody>\n" +
         rows + "</tbody></table></div>\n";
}

std::string proof_banner(Verdict verdict, bool all_wired) {
  const std::string said =
      verdict == Verdict::pass
          ? fmt::format("Every {}lamp shows what the settings say, in every window.{}",
                        all_wired ? "" : "wired ", all_wired ? "" : " Not every lamp is wired.")
      : verdict == Verdict::fail
          ? "A lamp does not show what the settings say: check the wiring, the gauge file and the unit."
          : "A window was not seen long enough, so the bench cannot decide: check the unit and run this "
            "again.";
  return fmt::format(
      "<div class=\"verdict of-run {}\"><strong>{}</strong></div>\n<p class=\"reason\">{}</p>\n",
      word(verdict), shouted(verdict), said);
}

}  // namespace

std::string lamp_test_html(const RigFile& rig, const std::string& file, const Gauge& gauge, Errand& errand) {
  refuse_mixed_kinds(rig, file);
  const Channels wired = watched_by(rig, file, gauge) & gauge.all_channels();
  errand.phase("The rig is opened. Then every window is played, for about a second each.");
  LampTest test;
  {
    Rig opened = make_rig(rig, file, gauge, 1);
    RunHooks hooks = hooks_of(errand);
    hooks.progress = [&](const RunProgress& now) {
      errand.phase(fmt::format("{:.0f} rpm; lit: {}.", now.rpm, gauge.describe(now.lit & wired)));
    };
    const CameraSettings* camera = filmed_by(rig);
    test = play_lamp_test(gauge, opened, hooks,
                          camera != nullptr && can_press(rig, camera->sync) ? camera->sync : "");
  }
  if (!test.troubles.empty()) return troubles_html(test.troubles);
  RigReport report;
  report.as_json = true;
  const Verdict verdict = say_proof(test, file, gauge, wired, report);
  std::vector<AskedLamp> asked;
  for (std::size_t c = 0; c < gauge.channels(); ++c)
    if (const auto window = window_to_look_in(gauge, c);
        window && ((wired & bit(c)) == 0 || !ever_seen(test.shown, c)))
      asked.push_back({c, *window, {}});
  if (!asked.empty()) ask_person(rig, file, gauge, asked, errand);
  return proof_banner(verdict, wired == gauge.all_channels()) +
         (kind_of(rig.watch).watches_software() ? simulated_banner("This says nothing of a real unit.")
                                                : "") +
         wire_hints_html(report.json, gauge, wired, test.shown) + answers_table(gauge, wired, asked) +
         wires_html(rig, gauge, wired, test.shown) + windows_table(report.json["windows"]);
}

bool tells_levels(const RigFile& rig) {
  return rig.watch.wiring.has_value() && !rig.watch.wiring->wires.empty();
}

std::string levels_html(const RigFile& rig, const std::string& file, Errand& errand) {
  errand.phase("The rig is opened for a short look; nothing is played.");
  RigFile every = rig;
  const Wiring& wiring = rig.watch.wiring.value();
  std::vector<std::string> inputs;
  for (const Wiring::Wire& wire : wiring.wires)
    if (std::find(inputs.begin(), inputs.end(), wire.channel) == inputs.end()) inputs.push_back(wire.channel);
  every.watch.wiring.emplace();
  for (const std::string& input : inputs) every.watch.wiring->wires.push_back({input, input, "lit"});
  Gauge any;
  any.windows = {{"any", 0, {}}};
  const Gauge levels = gauge_of_inputs(any, inputs);
  std::vector<Step> steps{Hold{0, a_short_look}};
  Rig opened = make_rig(every, file, levels, 1);
  const SurveyEvidence seen = play_survey([&](const SurveyView&) { return std::exchange(steps, {}); },
                                          levels.pulses_per_rev, opened, nullptr, hooks_of(errand));
  std::vector<std::string> troubles;
  for (const Finding& finding : seen.findings) troubles.push_back(finding.message);
  if (troubles.empty() && seen.events.empty())
    troubles.emplace_back("the watcher reported no level: check that it is connected, then look again");
  if (!troubles.empty()) return troubles_html(troubles);
  const Channels high = seen.events.back().lit;
  std::string rows;
  for (const Wiring::Wire& wire : wiring.wires) {
    const bool is_high = (high & levels.channel(wire.channel, "lit")) != 0;
    rows += fmt::format(
        "<tr><td data-of=\"input\">{}</td><td data-of=\"lamp\">{} {}</td><td "
        "data-of=\"level\"><b>{}</b></td><td "
        "data-of=\"so the lamp is\">{}</td></tr>\n",
        escaped(wire.channel), escaped(wire.lamp), escaped(wire.colour), is_high ? "high" : "low",
        is_high == wiring.active_high ? "lit" : "dark");
  }
  return fmt::format(
      "<p class=\"reason\">As of {}, with no tach signal played. Lamps are active {}.</p>\n<div "
      "class=\"scroll\"><table class=\"runs told\">\n<thead><tr><th>{}</th><th>lamp</th><th>level</th><th>so "
      "the "
      "lamp "
      "is</th></tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
      escaped(clock_words(now_iso8601())), wiring.active_high ? "high" : "low",
      escaped(kind_of(rig.watch).wired_to()), rows);
}

}  // namespace tachproof
