// Rigs: what is connected, who has it, how it is wired, and its lamp test.
#include <fmt/format.h>

#include <algorithm>

#include "bench/page/frame.h"
#include "bench/page/pieces.h"
#include "bench/page/places.h"
#include "bench/page/rig_checks.h"
#include "bench/page/rig_picture.h"
#include "bench/page/rig_state.h"
#include "bench/record/text.h"
#include "bench/rigs/factory.h"

namespace tachproof {
namespace {

using TilesNow = std::function<std::vector<TileView>()>;

std::string rig_address(const std::string& file) { return address_of("/rigs", file); }

std::string state_html(const RigState& state) {
  const char* shape = state.taken ? "taken" : state.ready ? "ready" : "missing";
  const char* said = state.taken ? "In use" : state.ready ? "Ready" : "Not ready";
  constexpr std::string_view twice = "in use ";
  const std::string words =
      state.taken && state.words.starts_with(twice) ? state.words.substr(twice.size()) : state.words;
  return fmt::format("<b class=\"state-of {}\">{}</b> {}", shape, said, escaped(words));
}

std::string jobs_of(const std::vector<ShopJob>& jobs, const std::string& file) {
  std::string names;
  for (const ShopJob& job : jobs)
    if (job.trouble.empty() && job.rig == file) names += (names.empty() ? "" : ", ") + escaped(job.name);
  return names.empty() ? "no job" : names;
}

std::string file_trouble_html(const std::string& trouble) {
  std::string lines;
  for (const std::string& line : wrapped(trouble, 10'000)) lines += escaped(line) + "<br>";
  return "<p class=\"trouble\">" + lines + "</p>\n";
}

// What goes on at the rig by this page's own hand.
const char* own_errand(const Errands& errands, const std::string& file) {
  for (const char* what : {"lamp-test", "levels"})
    if (const auto errand = errands.find(std::string(what) + " " + file); errand && errand->view().running)
      return what;
  return nullptr;
}

class RigsPlace {
 public:
  RigsPlace(const Shop& shop, TilesNow tiles, std::shared_ptr<Errands> errands)
      : shop_(shop), tiles_(std::move(tiles)), errands_(std::move(errands)) {}

  Response list() const {
    std::string rows;
    const std::vector<ShopJob> jobs = shop_.jobs();
    const std::vector<TileView> tiles = tiles_();
    for (const std::string& file : shop_.files("rig")) {
      const ShopRig rig = shop_rig(shop_, file);
      const bool sound = rig.trouble.empty();
      rows += fmt::format(
          "<tr><td data-of=\"rig\"><a href=\"{}\">{}</a></td><td data-of=\"now\">{}</td><td "
          "data-of=\"plays\">{}</td>"
          "<td data-of=\"watches\">{}</td><td data-of=\"jobs\">{}</td></tr>\n",
          rig_address(file), escaped(file), state_html(state_of(rig, tiles)),
          sound ? escaped(kind_of(rig.rig.source).about()) : "",
          sound ? escaped(kind_of(rig.rig.watch).about()) : "", jobs_of(jobs, file));
    }
    const std::string table = rows.empty()
                                  ? "<p>No rig file is in this folder yet. <code>tachproof rig --out "
                                    "rigs/NAME.yaml --gauge GAUGE</code> "
                                    "makes one.</p>\n"
                                  : "<div class=\"scroll\"><table "
                                    "class=\"runs\">\n<thead><tr><th>rig</th><th>now</th><th>plays</th>"
                                    "<th>watches</th><th>jobs</th></tr></thead>\n<tbody>\n" +
                                        rows + "</tbody></table></div>\n";
    return page("Rigs", "<h1>Rigs</h1>\n" + table + "<h2>What is connected</h2>\n" + connected_html());
  }

  Response get(const Request& request) const {
    const auto [file, rest] = meant_by(request.parts);
    if (file.empty()) return not_found("There is no such rig file in this folder.");
    if (rest.empty()) return rig_page(file, {}, 200);
    const std::shared_ptr<Errand> errand = errands_->find(rest + " " + file);
    if ((rest != "lamp-test" && rest != "levels")) return not_found("There is no such page.");
    if (!errand) return see_other(rig_address(file));
    const char* what = rest == "levels" ? "Inputs of " : "Lamp test of ";
    return page(what + file,
                fmt::format("<h1>{}<a href=\"{}\">{}</a></h1>\n{}", what, rig_address(file), escaped(file),
                            errand_html(errand->view(), rig_address(file) + "/" + rest)));
  }

  Response post(const Request& request) const {
    std::vector<std::string> parts = request.parts;
    std::string act;
    if (parts.size() > 1 && (parts.back() == "stop" || parts.back() == "answer")) {
      act = parts.back();
      parts.pop_back();
    }
    const auto [file, rest] = meant_by(parts);
    if (file.empty() || (rest != "lamp-test" && rest != "levels"))
      return not_found("There is no such rig file in this folder.");
    if (!act.empty()) {
      if (const std::shared_ptr<Errand> errand = errands_->find(rest + " " + file))
        act == "stop" ? errand->stop() : errand->answer(request.form.get("answer"));
      return see_other(rig_address(file) + "/" + rest);
    }
    return start(file, rest, request);
  }

 private:
  static Response page(const std::string& title, const std::string& body) {
    return plain_text(framed_page("/rigs", title, body), html_type);
  }

  // The rig file that the first parts name, and the one word behind it.
  std::pair<std::string, std::string> meant_by(const std::vector<std::string>& parts) const {
    std::string name;
    for (const std::string& part : parts) name += (name.empty() ? "" : "/") + part;
    const std::vector<std::string> files = shop_.files("rig");
    const auto is_rig = [&](const std::string& file) {
      return std::find(files.begin(), files.end(), file) != files.end();
    };
    if (is_rig(name)) return {name, ""};
    const std::size_t slash = name.rfind('/');
    if (slash != name.npos && is_rig(name.substr(0, slash)))
      return {name.substr(0, slash), name.substr(slash + 1)};
    return {};
  }

  RigState state_of(const ShopRig& rig, const std::vector<TileView>& tiles) const {
    if (const char* what = own_errand(*errands_, rig.file))
      return {false, true,
              std::string(what) == "levels" ? "at this page: its inputs are looked at"
                                            : "at this page: lamp test"};
    return rig_state(rig, shop_, tiles);
  }

  // Why the rig may not be opened now; empty: it may.
  std::string why_not(const ShopRig& rig) const {
    if (!rig.trouble.empty()) return rig.trouble;
    if (const std::optional<TileView> tile = at_work_with(rig, shop_, tiles_()))
      return fmt::format("The bench is at work with this rig{}. Wait until that is over, or stop it there.",
                         tile->serial.empty() ? "" : ": it tests " + tile->serial);
    if (own_errand(*errands_, rig.file) != nullptr) return "This page is at work with this rig already.";
    return {};
  }

  Response start(const std::string& file, const std::string& what, const Request& request) const {
    const ShopRig rig = shop_rig(shop_, file);
    if (const std::string why = why_not(rig); !why.empty()) return rig_page(file, why, 409);
    std::function<std::string(Errand&)> does;
    if (what == "levels") {
      if (!tells_levels(rig.rig))
        return rig_page(file, "This rig has no inputs that could be looked at.", 422);
      does = [rig](Errand& errand) { return levels_html(rig.rig, rig.file, errand); };
    } else {
      const std::string named = request.form.get("gauge");
      const std::optional<std::filesystem::path> gauge = shop_.path_of(named);
      if (!gauge || kind_of_file(*gauge) != "gauge")
        return rig_page(file, "Choose the gauge of the unit that is connected.", 422);
      does = [rig, path = *gauge](Errand& errand) {
        return lamp_test_html(rig.rig, rig.file, load_gauge(path), errand);
      };
    }
    if (!errands_->start(what + " " + file, std::move(does)))
      return rig_page(
          file, "The bench is busy with other long work. Wait until that is done, then try again.", 503);
    return see_other(rig_address(file) + "/" + what);
  }

  // The gauge of the first job at this rig stands first.
  std::string gauge_choice(const std::vector<ShopJob>& jobs, const std::string& file) const {
    std::string own;
    for (const ShopJob& job : jobs)
      if (own.empty() && job.trouble.empty() && job.rig == file)
        own = shop_.name_of(load_job(shop_.folder() / job.file).gauge);
    return choice_field("gauge", "Gauge of the unit", "choose", shop_.files("gauge"), own);
  }

  static std::string cautions_html(const RigFile& rig) {
    const std::string lamps = " Lamps may flash: light that flashes at 3 to 30 Hz can provoke seizures.";
    if (kind_of(rig.source).is_software() && kind_of(rig.watch).watches_software())
      return "<p class=\"caution\"><b>Caution.</b>" + lamps + "</p>\n";
    return fmt::format(
        "<p class=\"caution\"><b>Caution.</b> Feed the unit from a fused supply. Connect its tach input to "
        "the bench’s "
        "source alone, and no ignition circuit: ignition voltages kill. Keep clear of rotating parts.{}{}{} "
        "Local "
        "codes, the series’ rules and licensed practice come first.</p>\n",
        escaped(kind_of(rig.source).cautions()), escaped(kind_of(rig.watch).cautions()), lamps);
  }

  std::string acts_html(const ShopRig& rig, const std::vector<ShopJob>& jobs) const {
    const std::string here = rig_address(rig.file);
    std::string html;
    if (const char* what = own_errand(*errands_, rig.file))
      html += fmt::format("<p><a class=\"button\" href=\"{}/{}\">See what goes on</a></p>\n", here, what);
    html +=
        cautions_html(rig.rig) +
        fmt::format(
            "<h2>Lamp test</h2>\n<p>Plays every window of the gauge and says, wire by wire, what was seen. "
            "The unit must be connected and powered.</p>\n<form method=\"post\" action=\"{}/lamp-test\" "
            "class=\"filters\">\n{}<button>Lamp test</button></form>\n",
            here, gauge_choice(jobs, rig.file));
    if (tells_levels(rig.rig))
      html += fmt::format(
          "<h2>Its inputs now</h2>\n<p>Opens the rig for a moment, plays nothing, and says which {} is "
          "high and which is low.</p>\n<form method=\"post\" action=\"{}/levels\"><button>Look at the "
          "inputs</button></form>\n",
          escaped(kind_of(rig.rig.watch).wired_to()), here);
    return html;
  }

  Response rig_page(const std::string& file, const std::string& trouble, unsigned status) const {
    const ShopRig rig = shop_rig(shop_, file);
    const std::vector<ShopJob> jobs = shop_.jobs();
    std::string body = fmt::format("<h1>Rig {}</h1>\n", escaped(file));
    if (!trouble.empty() && trouble != rig.trouble)
      body += fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", escaped(trouble));
    if (!rig.trouble.empty()) {
      body += file_trouble_html(rig.trouble);
    } else {
      body += fmt::format("<p class=\"reason\">{}</p>\n<p>Jobs at it: {}.</p>\n",
                          state_html(state_of(rig, tiles_())), jobs_of(jobs, file)) +
              rig_picture(rig.rig) + acts_html(rig, jobs);
    }
    Response response = page("Rig " + file, body);
    response.status = status;
    return response;
  }

  const Shop& shop_;
  const TilesNow tiles_;
  const std::shared_ptr<Errands> errands_;
};

}  // namespace

void add_rigs_routes(Router& router, const Shop& shop, std::function<std::vector<TileView>()> tiles,
                     const std::shared_ptr<Errands>& errands) {
  const auto place = std::make_shared<RigsPlace>(shop, std::move(tiles), errands);
  router.on("GET", "/rigs", [place](const Request&) { return place->list(); });
  // Rig files lie up to three folders deep; two words may stand behind their name.
  std::string pattern = "/rigs";
  for (int depth = 1; depth <= 6; ++depth) {
    pattern += "/*";
    router.on("GET", pattern, [place](const Request& request) { return place->get(request); });
    router.on("POST", pattern, [place](const Request& request) { return place->post(request); });
  }
}

}  // namespace tachproof
