// How good a scenario is for this gauge, and a plan of its own for it.
#include <fmt/format.h>

#include <algorithm>
#include <atomic>

#include "bench/commands/command.h"
#include "bench/commands/grading.h"
#include "bench/commands/planning.h"
#include "bench/files/files.h"
#include "bench/page/form_html.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_place.h"
#include "bench/page/shop_gauge.h"
#include "bench/page/studies.h"
#include "bench/record/disk.h"
#include "bench/record/text.h"
#include "bench/reports/grade_report.h"
#include "bench/run/plan_study.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

Response trouble_of_gauge(const ShopGauge& gauge, std::string_view title, const std::string& lines) {
  std::string html;
  for (const std::string& line : wrapped(lines, 10'000)) html += escaped(line) + "<br>";
  Response response;
  response.status = 422;
  response.body = framed_page(
      "/gauges", title,
      fmt::format("<h1>{}</h1>\n<p class=\"trouble\" role=\"alert\">{}</p>\n<p><a href=\"{}\">{}</a></p>\n",
                  escaped(title), html, gauge.address(), escaped(gauge.file)));
  return response;
}

std::string back_to(const ShopGauge& gauge) {
  return fmt::format("<p class=\"about\"><a href=\"{}\">{}</a></p>\n", gauge.address(), escaped(gauge.file));
}

Response chooser(const Shop& shop, const ShopGauge& gauge) {
  FormHtml::Options scenarios;
  for (const std::string& file : shop.files("scenario")) scenarios.emplace_back(file, file);
  const std::map<std::string, std::vector<std::string>> nothing_wrong;
  const FormHtml html(nothing_wrong);
  const std::string title = gauge.gauge->name + ": grade and plan";
  std::string body = fmt::format("<h1>{}</h1>\n{}", escaped(title), back_to(gauge));
  body +=
      "<h2>Grade a scenario</h2>\n<p>Every single fault that a unit of this gauge could have is tried on it, "
      "in "
      "software. That takes from a few seconds to a minute.</p>\n";
  if (scenarios.empty())
    body += "<p>This shop has no scenario yet.</p>\n";
  else
    body += fmt::format(
        "<form action=\"{}/grade\" class=\"row\" data-waits=\"Every fault is being tried "
        "...\">{}<button>Grade</button>"
        "</form>\n",
        gauge.address(), html.choice("scenario", "Scenario", scenarios.front().first, scenarios));
  body += fmt::format(
      "<h2>Write a plan</h2>\n<p>A plan is the shortest scenario that catches the whole fault list. It is "
      "written as a "
      "new file of the shop. That takes from some seconds to a few minutes.</p>\n<form method=\"post\" "
      "action=\"{}/plan\" class=\"row\" data-waits=\"The plan is being made shorter and shorter "
      "...\">{}<button>Write a "
      "plan</button></form>\n<script src=\"/gauge.js\" defer></script>\n",
      gauge.address(),
      html.text("within", "Know each threshold within, rpm (empty: half the tolerance)", ""));
  return plain_text(framed_page("/gauges", title, body), "text/html; charset=utf-8");
}

// Why a file of another kind cannot be used, with the names as the shop has them.
std::string lines_of_errors(const FileErrors& e, const Shop& shop) {
  std::string lines;
  for (FileError error : e.errors) {
    error.file = shop.name_of(error.file);
    lines += (lines.empty() ? "" : "\n") + to_line(error);
  }
  return lines;
}

// The scenario with all files that it names, told from any other.
std::string sums_of_scenario(const std::filesystem::path& path) {
  std::string bytes;
  const ScenarioFile scenario = load_scenario(path, &bytes);
  std::string sums = sha256_of(bytes);
  for (const NamedFile& named : scenario.named) sums += " " + sha256_of(named.bytes);
  return sums;
}

Response graded(const Shop& shop, const ShopGauge& gauge, const std::string& scenario, Errands& errands,
                const Request& request) {
  const std::string title = "No grade";
  const auto path = shop.path_of(scenario);
  if (!path) return trouble_of_gauge(gauge, title, "There is no scenario " + scenario + " in this shop.");
  try {
    GradeAsk ask;
    ask.scenarios.push_back(load_trial(path->string()));
    StudyPage page{"grade " + gauge.file + " " + gauge.sum + " " + scenario + " " + sums_of_scenario(*path),
                   gauge.address() + "/grade?scenario=" + url_encoded(scenario), "/gauges",
                   gauge.gauge->name + ": grade of " + scenario, back_to(gauge)};
    const auto does = [of = *gauge.gauge, ask](Errand& errand) mutable {
      const std::size_t all = fault_list(of).faults.size();
      std::atomic<std::size_t> tried = 0;
      ask.between = [&] {
        stop_where_asked(errand);
        errand.phase(fmt::format("Every fault that a unit could have is being tried: {} of {}.",
                                 std::min(++tried, all), all));
      };
      return grade_html(grade(of, ask));
    };
    return study(errands, request, page, does, [](const std::string& html) {
      Response response = plain_text(html, "text/html; charset=utf-8");
      response.headers.emplace_back("X-Report", "yes");
      return response;
    });
  } catch (const FileErrors& e) {
    return trouble_of_gauge(gauge, title, lines_of_errors(e, shop));
  } catch (const UsageError& e) {
    return trouble_of_gauge(gauge, title, e.what());
  }
}

std::string folder_of_scenarios(const Shop& shop) {
  const std::vector<std::string> files = shop.files("scenario");
  return files.empty() ? "scenarios" : std::filesystem::path(files.front()).parent_path().string();
}

std::string plan_html(const ShopGauge& gauge, const Plan& plan, const std::string& file) {
  std::string body = fmt::format("<p class=\"note\" role=\"status\">Written to {}. {}</p>\n", escaped(file),
                                 escaped(plan_answer(plan)));
  if (!plan.sound_units_pass)
    body += fmt::format(
        "<p class=\"trouble\">A unit without a fault would not pass: {}. Widen the tolerance of the "
        "gauge, or measure with a survey.</p>\n",
        escaped(plan.why));
  std::string left;
  for (const GradedFault& fault : plan.grade.faults)
    if (fault.verdict != Verdict::fail)
      left += fmt::format("<li>{}: {}</li>\n", escaped(describe(fault.listed.fault, plan.grade.gauge)),
                          escaped(fault.why.clause));
  if (!left.empty()) body += "<h2>Not caught</h2>\n<ul>" + left + "</ul>\n";
  return body + fmt::format("<p><a class=\"button\" href=\"{}/grade?scenario={}\">Grade it</a></p>\n",
                            gauge.address(), url_encoded(file));
}

std::string plan_key(const ShopGauge& gauge) { return "plan " + gauge.file; }

Response planned(const Shop& shop, const ShopGauge& gauge, const std::string& within_text, Errands& errands) {
  const std::string title = "No plan";
  PlanAsk ask;
  if (!within_text.empty()) {
    const std::optional<double> asked = parse_number<double>(within_text);
    if (!asked || !(*asked > 0 && *asked <= 1000))
      return trouble_of_gauge(gauge, title, "'" + within_text + "' is no rpm above 0, at most 1000.");
    ask.within_rpm = *asked;
  }
  const auto does = [&shop, gauge, ask](Errand& errand) mutable {
    std::atomic<std::size_t> tried = 0;
    ask.between = [&] {
      stop_where_asked(errand);
      errand.phase(fmt::format(
          "The plan is being made shorter, as long as it catches every fault: {} simulated units so far.",
          ++tried));
    };
    const Plan plan = plan_scenario(*gauge.gauge, ask);
    const std::string stem = std::filesystem::path(gauge.file).stem().string() + "-plan";
    const std::string file =
        write_new_file(shop, folder_of_scenarios(shop), file_stem(stem), ".yaml", plan_yaml(plan));
    return plan_html(gauge, plan, file);
  };
  const std::string page = gauge.address() + "/plan";
  const std::shared_ptr<Errand> before = errands.find(plan_key(gauge));
  if (!errands.start(plan_key(gauge), quietly(does), page) && !(before && before->view().running))
    return busy_with_others();
  return see_other(page);
}

// Where the plan stands that was asked for last.
Response plan_page(const ShopGauge& gauge, const Errands& errands) {
  const std::shared_ptr<Errand> errand = errands.find(plan_key(gauge));
  if (!errand) return see_other(gauge.address() + "/grade");
  const Errand::View now = errand->view();
  const std::string title = "A plan for " + gauge.gauge->name;
  Response response =
      plain_text(framed_page("/gauges", title,
                             fmt::format("<h1>{}</h1>\n{}{}", escaped(title), back_to(gauge),
                                         errand_html(now, fmt::format("/errands/{}", now.id)))),
                 "text/html; charset=utf-8");
  if (now.failed) response.status = 422;
  return response;
}

}  // namespace

void add_gauge_grade_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands) {
  on_gauge(router, shop, "GET", "grade", [&shop, errands](const ShopGauge& gauge, const Request& request) {
    if (!gauge.gauge) return see_other(gauge.address());
    const std::string scenario = request.query.get("scenario");
    return scenario.empty() ? chooser(shop, gauge) : graded(shop, gauge, scenario, *errands, request);
  });
  on_gauge(router, shop, "GET", "plan", [errands](const ShopGauge& gauge, const Request&) {
    return gauge.gauge ? plan_page(gauge, *errands) : see_other(gauge.address());
  });
  on_gauge(router, shop, "POST", "plan", [&shop, errands](const ShopGauge& gauge, const Request& request) {
    if (!gauge.gauge) return see_other(gauge.address());
    return planned(shop, gauge, request.form.get("within"), *errands);
  });
}

}  // namespace tachproof
