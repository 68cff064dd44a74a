#include "bench/page/bench_place.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/page/face.h"
#include "bench/page/frame.h"
#include "bench/page/pieces.h"
#include "bench/page/request.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/page.h"
#include "bench/rigs/factory.h"

namespace tachproof {
namespace {

using State = TileView::State;

std::string address(const TileView& tile, const std::string& what) {
  return "/tiles/" + url_encoded(tile.id) + "/" + what;
}

std::string button_form(const TileView& tile, const std::string& what, const std::string& label,
                        const std::string& key = {}) {
  return fmt::format("<form method=\"post\" action=\"{}\"><button{}>{}</button></form>\n",
                     address(tile, what), key.empty() ? "" : " data-key=\"" + key + "\"", label);
}

// The jobs of this rig to choose from.
std::string job_form(const TileView& tile, const std::vector<ShopJob>& jobs) {
  std::string options;
  std::size_t own = 0;
  for (const ShopJob& job : jobs) {
    if (job.rig != tile.rig) continue;
    ++own;
    options += fmt::format("<option value=\"{}\"{}>{}</option>\n", escaped(job.file),
                           job.file == tile.job_file ? " selected" : "", escaped(job.name));
  }
  if (own <= 1) return {};
  return fmt::format(
      "<form method=\"post\" action=\"{}\" class=\"job\"><label for=\"job-{}\">Job</label> <select "
      "id=\"job-{}\" "
      "name=\"job\" data-sends>{}</select> <button>Choose</button></form>\n",
      address(tile, "job"), tile.id, tile.id, options);
}

// Always empty: the next scan would go in front of a refused number, which the sentence at the field names.
std::string serial_form(const TileView& tile) {
  return fmt::format(
      "<form method=\"post\" action=\"{}\" class=\"serial\"><label for=\"serial-{}\">Serial number, then "
      "Enter</label>\n<input id=\"serial-{}\" name=\"serial\" autocomplete=\"off\" "
      "autocapitalize=\"off\" spellcheck=\"false\" maxlength=\"100\" "
      "autofocus{}>\n<button>Start</button></form>\n",
      address(tile, "start"), tile.id, tile.id,
      tile.trouble.empty() ? ""
                           : fmt::format(" aria-invalid=\"true\" aria-describedby=\"trouble-{}\"", tile.id));
}

std::string trouble_html(const TileView& tile) {
  if (tile.trouble.empty()) return {};
  std::string lines;
  for (const std::string& line : wrapped(tile.trouble, 10'000)) lines += escaped(line) + "<br>";
  return fmt::format("<p class=\"trouble\" role=\"alert\" id=\"trouble-{}\">{}</p>\n", tile.id, lines);
}

std::string last_result(const TileView& tile) {
  if (tile.played.empty() || tile.ended.empty()) return {};
  return fmt::format("<p class=\"last\">Last: {} {} at {}. <a href=\"{}\">Report</a></p>\n",
                     escaped(tile.played.front().record->unit_serial), shouted(tile.verdict), tile.ended,
                     run_address(tile.played.back().name));
}

std::string about_job(const TileView& tile) {
  if (!tile.job) return {};
  Nanos known = 0;
  bool all_known = true;
  for (const JobPlay& play : tile.job->job.play)
    if (play.what != JobPlay::What::scenario) all_known = false;
  for (const ScenarioInput& scenario : tile.job->scenarios) known += scenario.profile.duration();
  std::string what;
  for (const std::string& name : names_of(*tile.job)) what += (what.empty() ? "" : ", ") + name;
  return fmt::format(
      "<p class=\"about\">{}. Plays {}{}.</p>\n", escaped(tile.job->gauge.gauge.name), escaped(what),
      known > 0 ? fmt::format(": about {:.0f} s{}", to_seconds(known), all_known ? "" : " and more") : "");
}

// Where the hand is: before a real source is started.
std::string cautions(const TileView& tile) {
  if (!tile.job) return {};
  const RigFile& rig = tile.job->rig.rig;
  const bool software = kind_of(rig.source).is_software();
  const Gauge& gauge = tile.job->gauge.gauge;
  const bool blinks = std::any_of(gauge.windows.begin(), gauge.windows.end(),
                                  [](const Window& window) { return window.cue.blinking != 0; });
  std::string text;
  if (!software)
    text =
        "Feed the unit from a fused supply. Connect its tach input to the bench's source alone, and no "
        "ignition "
        "circuit: ignition voltages kill. Keep clear of rotating parts." +
        kind_of(rig.source).cautions() + kind_of(rig.watch).cautions();
  if (blinks) text += " Lamps flash: light that flashes at 3 to 30 Hz can provoke seizures.";
  if (software && !blinks) return {};
  return fmt::format("<p class=\"caution\"><b>Caution.</b> {}{}</p>\n", escaped(text),
                     software ? "" : " Local codes, the series' rules and licensed practice come first.");
}

std::string waiting(const TileView& tile, const std::vector<ShopJob>& jobs) {
  std::string html = job_form(tile, jobs);
  if (tile.job || !tile.job_file.empty())
    html += fmt::format("<h2>{}</h2>\n", escaped(tile.job ? tile.job->job.name : tile.job_file));
  html += trouble_html(tile);
  if (!tile.passed_before.empty())
    html += fmt::format(
        "<div class=\"again\" role=\"alert\"><p>{} has passed on {}. Test it again?</p>\n<form "
        "method=\"post\" "
        "action=\"{}\"><input type=\"hidden\" name=\"serial\" value=\"{}\"><input type=\"hidden\" "
        "name=\"again\" "
        "value=\"yes\"><button autofocus>Test again</button></form>\n{}</div>\n",
        escaped(tile.serial), tile.passed_before, address(tile, "start"), escaped(tile.serial),
        button_form(tile, "next", "Another unit"));
  else if (tile.job)
    html += serial_form(tile);
  return html + about_job(tile) + last_result(tile) + cautions(tile);
}

std::string live_html(const TileView& tile) {
  const Profile* profile = nullptr;
  if (tile.job->job.play.size() == 1) {
    if (!tile.job->scenarios.empty())
      profile = &tile.job->scenarios.front().profile;
    else if (tile.job->plan)
      profile = &tile.job->plan->profile;
  }
  const Gauge& gauge = tile.job->gauge.gauge;
  const RpmRange range = range_of(gauge, profile);
  return fmt::format(
      "<div class=\"unit\">{}</div>\n<p class=\"phase\" aria-live=\"polite\">{}</p>\n{}"
      "<p class=\"rpm\"><b class=\"value\">-</b> rpm <span class=\"left\"></span></p>\n{}"
      "<ul class=\"findings\" aria-live=\"polite\" aria-label=\"Found so far\"></ul>\n",
      face_svg(gauge, tile.id + "-"), escaped(tile.part),
      tile.announced.empty() ? ""
                             : "<p class=\"announced\" role=\"status\">" + escaped(tile.announced) + "</p>\n",
      strip_svg(gauge, range.lowest, range.highest));
}

std::string head(const TileView& tile) {
  return fmt::format("<h2>{} <b class=\"unit-serial\">{}</b></h2>\n", escaped(tile.job->job.name),
                     escaped(tile.serial));
}

std::string running(const TileView& tile) {
  return head(tile) + live_html(tile) +
         button_form(tile, "stop", "Stop <small>(Escape twice)</small>", "stop");
}

std::string asking(const TileView& tile) {
  const Ask& ask = *tile.question;
  std::string html = head(tile) + fmt::format("<p class=\"question\">{}</p>\n", escaped(ask.question));
  const std::string to = address(tile, "answer");
  if (!ask.button.empty()) {
    html += fmt::format("<p class=\"press\"><span class=\"knob\" aria-hidden=\"true\"></span> {}</p>\n",
                        escaped(ask.button));
    html += fmt::format(
        "<form method=\"post\" action=\"{}\"><input type=\"hidden\" name=\"answer\" value=\"done\"><button "
        "autofocus>Done <small>(Enter)</small></button></form>\n",
        to);
  } else {
    const std::string allowed =
        ask.wants == Ask::Wants::text
            ? ""
            : fmt::format("<p class=\"about\">A number of rpm, as the unit shows it.</p>\n");
    html += fmt::format(
        "<form method=\"post\" action=\"{}\" class=\"serial\"><label for=\"answer-{}\">Answer, then "
        "Enter</label>\n<input id=\"answer-{}\" name=\"answer\" autocomplete=\"off\" {}autofocus>\n"
        "<button>Answer</button></form>\n{}",
        to, tile.id, tile.id, ask.wants == Ask::Wants::text ? "" : "inputmode=\"decimal\" ", allowed);
  }
  return html + "<div class=\"unit\">" + face_svg(tile.job->gauge.gauge, tile.id + "-") + "</div>\n" +
         button_form(tile, "stop", "Stop <small>(Escape twice)</small>", "stop");
}

// The rows of one part of the job, after its cause.
std::string rows_html(const TileView& tile, const RunRecord& record) {
  std::string html = not_passed_html(record);
  if (record.result.verdict != Verdict::pass) html += deviations_html(record);
  if (html.empty() || tile.played.size() == 1) return html;
  return fmt::format("<h2>{}</h2>\n", escaped(record.scenario_name)) + html;
}

// One for each part; P opens the first.
std::string report_buttons(const TileView& tile) {
  std::string html;
  for (const TileRun& run : tile.played) {
    const bool first = &run == &tile.played.front();
    html += fmt::format("<a class=\"button\"{} href=\"{}/report\">{}{}{}</a>\n",
                        first ? " data-key=\"report\"" : "", run_address(run.name),
                        run.record->certificate ? "Certificate" : "Report",
                        tile.played.size() == 1 ? "" : ": " + escaped(run.record->scenario_name),
                        first ? " <small>(P)</small>" : "");
  }
  return html;
}

// Why, in two sentences: the cause where one was found.
std::string why_html(const TileView& tile, const TileRun& run) {
  const RunRecord& record = *run.record;
  std::string html;
  if (tile.played.size() > 1)
    html += fmt::format("<h3>{}: {}</h3>\n", escaped(record.scenario_name), headline(record));
  const std::string causes = causes_html(record), why = escaped(reason(record));
  if (causes.find(why.substr(1)) != causes.npos)
    return html + causes;  // said already, perhaps with a capital
  return html + causes + fmt::format("<p class=\"{}\">{}</p>\n", causes.empty() ? "cause" : "reason", why);
}

std::string result(const TileView& tile) {
  std::string html = fmt::format(
      "<div class=\"verdict {}\" role=\"status\"><strong>{}</strong> <b class=\"unit-serial\">{}</b></div>\n",
      word(tile.verdict), shouted(tile.verdict), escaped(tile.serial));
  const bool simulated = std::any_of(tile.played.begin(), tile.played.end(),
                                     [](const TileRun& run) { return on_simulated_unit(*run.record); });
  if (simulated) html += simulated_banner("This says nothing of a real unit.");
  html += trouble_html(tile);
  for (const TileRun& run : tile.played) html += why_html(tile, run);
  html += serial_form(tile);
  html += "<div class=\"keys\">\n" + button_form(tile, "next", "Next unit <small>(Enter)</small>", "next") +
          button_form(tile, "again", "Again <small>(R)</small>", "again");
  html += report_buttons(tile);
  html += "</div>\n";
  for (const TileRun& run : tile.played) html += rows_html(tile, *run.record);
  return html;
}

std::string inside(const TileView& tile, const std::vector<ShopJob>& jobs) {
  switch (tile.state) {
    case State::waiting: return waiting(tile, jobs);
    case State::preparing:
      return head(tile) +
             "<p class=\"phase\" role=\"status\">The rig is opened. Where a plan is played it is made first: "
             "up to "
             "half a minute, once.</p>\n";
    case State::running: return running(tile);
    case State::asking: return asking(tile);
    case State::result: return result(tile);
  }
  return {};
}

}  // namespace

std::string tile_html(const TileView& tile, const std::vector<ShopJob>& jobs, bool alone) {
  std::string bar;
  if (!alone)
    bar = fmt::format("<p class=\"rig\">{}: <b>{}</b></p>\n", escaped(tile.rig),
                      tile.state == State::asking ? "waits for you" : word(tile.state));
  return bar + inside(tile, jobs);
}

std::string bench_html(const std::vector<TileView>& tiles, const std::vector<ShopJob>& jobs) {
  std::string body;
  for (const ShopJob& job : jobs)
    if (!job.trouble.empty()) body += fmt::format("<p class=\"trouble\">{}</p>\n", escaped(job.trouble));
  if (tiles.empty())
    body +=
        "<h1>No jobs yet</h1>\n<p>A job names a gauge, what is played, and a rig. Write one into this "
        "folder: "
        "<code>jobs/NAME.yaml</code>; fixtures/README.md has every key. Then look here again.</p>\n";
  else
    body += "<h1 class=\"hidden\">Bench</h1>\n";
  body += fmt::format("<div class=\"tiles{}\">\n", tiles.size() == 1 ? " alone" : "");
  for (const TileView& tile : tiles)
    body += fmt::format(
        "<section class=\"tile\" id=\"tile-{}\" data-tile=\"{}\" data-number=\"{}\" data-state=\"{}\" "
        "aria-label=\"{}\">\n{}</section>\n",
        tile.id, tile.id, tile.number, word(tile.state), escaped(tile.rig),
        tile_html(tile, jobs, tiles.size() == 1));
  body +=
      "</div>\n<p class=\"sound\" hidden><label><input type=\"checkbox\"> Sound when a result or a question "
      "comes</label></p>\n";
  // A tile on which something goes on changes by itself.
  const bool busy = std::any_of(tiles.begin(), tiles.end(), [](const TileView& tile) {
    return tile.state == State::preparing || tile.state == State::running;
  });
  return framed_page("/", "Bench", body, busy);
}

}  // namespace tachproof
