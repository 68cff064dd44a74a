// Gauges: a card for each gauge file of the shop, and a new one to start from.
#include <fmt/format.h>

#include <map>

#include "bench/files/files.h"
#include "bench/files/job.h"
#include "bench/page/face.h"
#include "bench/page/form_html.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_form.h"
#include "bench/page/gauge_place.h"
#include "bench/page/ladder.h"
#include "bench/page/places.h"
#include "bench/page/shop_gauge.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

// Gauge file and the names of the jobs that are played on it.
std::map<std::string, std::vector<std::string>> jobs_by_gauge(const Shop& shop) {
  std::map<std::string, std::vector<std::string>> jobs;
  for (const std::string& file : shop.files("job")) try {
      const Job job = load_job(shop.folder() / file);
      jobs[shop.name_of(job.gauge)].push_back(job.name);
    } catch (const FileErrors&) {  // said on the bench
    }
  return jobs;
}

// The cue of the window in which most lamps are lit: what makes a gauge known again.
const Cue& brightest(const Gauge& gauge) {
  const Cue* best = &gauge.windows.front().cue;
  for (const Window& window : gauge.windows) {
    const auto lit = [](const Cue& cue) { return __builtin_popcountll(cue.steady | cue.blinking); };
    if (lit(window.cue) > lit(*best)) best = &window.cue;
  }
  return *best;
}

std::string gauge_card(const ShopGauge& gauge, std::size_t number, const std::vector<std::string>& jobs) {
  std::string used;
  for (const std::string& job : jobs) used += (used.empty() ? "" : ", ") + escaped(job);
  std::string inside =
      fmt::format("<h2><a href=\"{}\">{}</a></h2>\n<p class=\"about\">{}</p>\n", gauge.address(),
                  escaped(gauge.gauge ? gauge.gauge->name : gauge.file), escaped(gauge.file));
  if (gauge.gauge) {
    const std::string prefix = fmt::format("g{}-", number);
    const Palette palette(*gauge.gauge, prefix);
    inside += palette.definitions() + "<div class=\"drawn\"><div class=\"unit\">" +
              face_svg(*gauge.gauge, prefix, &brightest(*gauge.gauge)) + "</div>" +
              small_ladder_svg(*gauge.gauge, palette, prefix) + "</div>\n";
  } else {
    inside += fmt::format("<p class=\"trouble\">{}</p>\n",
                          escaped(gauge.trouble.empty() ? "" : gauge.trouble.front()));
  }
  inside += used.empty() ? "<p>No job uses it.</p>\n" : "<p>Used by: " + used + "</p>\n";
  return "<li class=\"card\">" + inside + "</li>\n";
}

// Small and sound: a lamp that comes on near an anchor, and another beyond it.
std::string first_text(const std::string& name) {
  GaugeForm form;
  form.name = name;
  form.pulses_per_rev = "2";
  form.anchors = {{"limit", "4000"}};
  form.lamps = {{"near", "white, blue"}, {"far", "blue"}};
  form.windows.resize(3);
  form.windows[0] = {false, "quiet", "", "0", {"", ""}, "", "", "", {}};
  form.windows[1] = {false, "closing", "limit", "-200", {"white", ""}, "", "", "", {}};
  form.windows[2] = {false, "beyond", "limit", "0", {"blue", "blue"}, "", "", "", {}};
  form.deadband_rpm = "10";
  form.sits = "below";
  form.tolerance_rpm = "5";
  form.response_from = "0";
  form.response_to = "150";
  return file_text(values_of(form));
}

std::string folder_of_gauges(const std::vector<std::string>& files) {
  return files.empty() ? "gauges" : fs::path(files.front()).parent_path().string();
}

std::string gauges_html(const Shop& shop, const std::string& message) {
  const auto jobs = jobs_by_gauge(shop);
  std::string cards;
  std::size_t number = 0;
  for (const std::string& file : shop.files("gauge")) {
    const std::optional<ShopGauge> gauge = shop_gauge(shop, file);
    if (!gauge) continue;
    const auto used = jobs.find(file);
    cards += gauge_card(*gauge, ++number, used == jobs.end() ? std::vector<std::string>{} : used->second);
  }
  const std::map<std::string, std::vector<std::string>> nothing_wrong;
  std::string body = "<h1>Gauges</h1>\n";
  if (!message.empty()) body += fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", escaped(message));
  body += cards.empty() ? "<p>This shop has no gauge file yet.</p>\n"
                        : "<ul class=\"cards\">\n" + cards + "</ul>\n";
  body += "<form method=\"post\" action=\"/gauges\" class=\"row new\">" +
          FormHtml(nothing_wrong).text("name", "Name of a new gauge", "") +
          "<button>New gauge</button></form>\n";
  return framed_page("/gauges", "Gauges", body);
}

}  // namespace

void add_gauges_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands) {
  router.on("GET", "/gauge.js", [](const Request&) {
    return plain_text(std::string(gauge_script()), "text/javascript; charset=utf-8");
  });
  router.on("GET", "/gauges", [&shop](const Request&) {
    return plain_text(gauges_html(shop, ""), "text/html; charset=utf-8");
  });
  router.on("POST", "/gauges", [&shop](const Request& request) {
    std::string name = request.form.get("name");
    const auto trouble = [&](const std::string& sentence) {
      Response response = plain_text(gauges_html(shop, sentence), "text/html; charset=utf-8");
      response.status = 422;
      return response;
    };
    if (name.find_first_not_of(" \t\r\n") == name.npos) return trouble("A new gauge needs a name.");
    if (name.size() > 200 || name.find_first_of("\r\n") != name.npos)
      return trouble("The name must be one line of at most 200 bytes.");
    const std::string file = write_new_file(shop, folder_of_gauges(shop.files("gauge")), file_stem(name),
                                            ".yaml", first_text(name));
    return see_other("/gauges/" + path_encoded(file));
  });
  add_gauge_grade_routes(router, shop, errands);
  add_gauge_lap_routes(router, shop);
  add_gauge_deadband_routes(router, shop, errands);
  add_gauge_recordings_routes(router, shop, errands);
  add_gauge_form_routes(router, shop);
}

}  // namespace tachproof
