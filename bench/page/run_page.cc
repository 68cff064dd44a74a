#include "bench/page/run_page.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/commands/report_options.h"
#include "bench/commands/verifying.h"
#include "bench/history/history.h"
#include "bench/page/frame.h"
#include "bench/page/pieces.h"
#include "bench/page/run_folders.h"
#include "bench/page/run_frame.h"
#include "bench/page/studies.h"
#include "bench/record/disk.h"
#include "bench/record/record.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/comparison_report.h"
#include "bench/reports/run_report.h"
#include "bench/run/suite.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

// What an address beneath /runs means. A folder that is there wins over a word such as "report".
struct Meant {
  std::string name;
  fs::path folder;
  enum class What { run, suite, job } what = What::run;
  std::vector<std::string> rest;  // behind the name: {"files", "gauge.yaml"}
};

std::optional<Meant> meant_by(const Shop& shop, const std::vector<std::string>& parts) {
  for (std::size_t size = parts.size(); size > 0 && size + 2 >= parts.size(); --size) {
    Meant meant;
    for (std::size_t i = 0; i < size; ++i) meant.name += (i == 0 ? "" : "/") + parts[i];
    meant.rest.assign(parts.begin() + static_cast<std::ptrdiff_t>(size), parts.end());
    const std::optional<fs::path> folder = folder_in_runs(shop, meant.name);
    if (!folder) continue;
    meant.folder = *folder;
    if (shop.run_folder(meant.name)) return meant;
    meant.what = Meant::What::suite;
    if (is_suite(*folder)) return meant;
    meant.what = Meant::What::job;
    if (meant.rest.empty() && !parts_of_job(shop, meant.name).empty()) return meant;
  }
  return std::nullopt;
}

Response report_page(std::string html) {
  Response response = plain_text(std::move(html), html_type);
  response.headers.emplace_back("X-Report", "yes");
  return response;
}

std::string verification_html(const Verification& v) {
  using Kind = Verification::Kind;
  const Kind outcome = v.outcome();
  const bool differs = outcome == Kind::differs, cannot = outcome == Kind::cannot;
  std::string lines;
  for (const Verification::Line& line : v.lines) {
    const char* said = line.kind == Kind::agrees    ? "agrees"
                       : line.kind == Kind::differs ? "<b>DIFFERS</b>"
                       : line.kind == Kind::cannot  ? "<b>cannot be checked</b>"
                                                    : "note";
    lines += fmt::format("<tr><td data-of=\"\">{}</td><td data-of=\"\">{}</td></tr>\n", said,
                         escaped(as_sentence(line.text)));
  }
  return fmt::format(
      "<div class=\"verdict of-run {}\"><strong>{}</strong></div>\n<p class=\"reason\">{}</p>\n"
      "<div class=\"scroll\"><table class=\"runs\">\n<thead><tr><th>outcome</th><th>of "
      "what</th></tr></thead>\n"
      "<tbody>\n{}</tbody></table></div>\n",
      differs  ? "fail"
      : cannot ? "undecided"
               : "pass",
      differs  ? "NOT VERIFIED"
      : cannot ? "CANNOT BE VERIFIED"
               : "VERIFIED",
      differs  ? "The evidence says otherwise than the report."
      : cannot ? "The folder does not show enough."
               : "The report says what the evidence says.",
      lines);
}

class RunPage {
 public:
  RunPage(const Shop& shop, TileSettings settings, std::shared_ptr<Errands> errands)
      : shop_(shop), settings_(std::move(settings)), errands_(std::move(errands)) {}

  Response get(const Request& request) const {
    const std::optional<Meant> meant = meant_by(shop_, request.parts);
    if (!meant) return not_found("There is no such run.");
    if (meant->rest.empty()) return page(*meant, {}, {});
    const std::string& what = meant->rest[0];
    if (meant->rest.size() == 2) return what == "files" ? file(*meant) : not_found("There is no such page.");
    if (what == "report" || what == "report.html") return report(*meant);
    if (what == "verify" || what == "accept") return errand(*meant, what);
    return not_found("There is no such page.");
  }

  Response post(const Request& request) const {
    const std::optional<Meant> meant = meant_by(shop_, request.parts);
    if (!meant || meant->rest.empty() || meant->what == Meant::What::job)
      return not_found("There is no such run.");
    const std::string here = run_address(meant->name) + "/" + meant->rest[0];
    if (meant->rest.size() == 2) {
      const std::shared_ptr<Errand> errand = errands_->find(meant->rest[0] + " " + meant->name);
      if (errand && meant->rest[1] == "stop") errand->stop();
      return see_other(here);
    }
    if (meant->rest[0] == "verify") return start(*meant, "verify", verifies(*meant));
    if (meant->rest[0] == "accept" && meant->what == Meant::What::run) return accept(*meant, request);
    return not_found("There is no such page.");
  }

 private:
  HistoryPlace history() const {
    return settings_.no_history ? HistoryPlace() : history_place(settings_.history);
  }

  Response page(const Meant& meant, const Fields& written, const std::string& trouble) const {
    if (meant.what == Meant::What::suite)
      return plain_text(suite_frame_html(meant.name, meant.folder), html_type);
    if (meant.what == Meant::What::job)
      return plain_text(job_frame_html(meant.name, parts_of_job(shop_, meant.name), shop_), html_type);
    RunFrame frame{meant.name, meant.folder, load_run(meant.folder).record, {}, {}, {}, written, trouble};
    const std::size_t slash = meant.name.rfind('/');
    if (slash != meant.name.npos && meant.name.find('/') == slash)
      frame.parts = parts_of_job(shop_, meant.name.substr(0, slash));
    const HistoryPlace place = history();
    frame.keeps_history = !place.empty();
    if (place.may_be_there()) frame.reference = reference_words(place, meant, frame.record);
    return plain_text(run_frame_html(frame), html_type);
  }

  // Whose reference it is; nothing where it is none. A run can be read where its history cannot.
  static std::optional<std::string> reference_words(const HistoryPlace& place, const Meant& meant,
                                                    const RunRecord& record) try {
    const auto reference =
        History(place, History::Open::existing)
            .reference(record.unit_serial.empty() ? record.gauge_name : record.unit_serial);
    if (!reference || reference->result_sha256 != sha256_of_file(meant.folder / "result.json"))
      return std::nullopt;
    return fmt::format("the reference for {}: accepted by {} on {}: {}",
                       record.unit_serial.empty() ? "its gauge" : "its unit", reference->acceptance.who,
                       clock_words(reference->acceptance.at), reference->acceptance.why);
  } catch (const std::runtime_error& e) {
    return fmt::format("not known whether it is one: {}", e.what());
  }

  static Response report(const Meant& meant) {
    std::error_code error;
    const fs::path drawn = meant.folder / "report.html";
    if (fs::is_regular_file(drawn, error)) return report_page(whole_file(drawn));
    if (meant.what != Meant::What::run) return not_found("There is no report in this folder.");
    const StoredRun stored = load_run(meant.folder);
    return report_page(report_html(stored.record, stored.trace));
  }

  static Response file(const Meant& meant) {
    const std::vector<std::string> files = files_in(meant.folder);
    const std::string& name = meant.rest[1];
    if (meant.what == Meant::What::job || std::find(files.begin(), files.end(), name) == files.end())
      return not_found("The run's folder has no such file.");
    // Never shown in the page's own name, whatever is in it.
    Response response = plain_text(whole_file(meant.folder / name), "application/octet-stream");
    response.headers.emplace_back("Content-Disposition", "attachment; filename*=UTF-8''" + url_encoded(name));
    return response;
  }

  std::function<std::string(Errand&)> verifies(const Meant& meant) const {
    return [folder = meant.folder, suite = meant.what == Meant::What::suite](Errand& errand) {
      errand.phase("The evidence is judged again, from scratch.");
      return verification_html(suite ? verify_suite(folder, this_program())
                                     : verify_run(folder, this_program()));
    };
  }

  Response start(const Meant& meant, const std::string& what,
                 std::function<std::string(Errand&)> does) const {
    const std::string key = what + " " + meant.name;
    const std::shared_ptr<Errand> before = errands_->find(key);
    if (!errands_->start(key, std::move(does)) && !(before && before->view().running))
      return busy_with_others();
    return see_other(run_address(meant.name) + "/" + what);
  }

  Response errand(const Meant& meant, const std::string& what) const {
    const std::string here = run_address(meant.name);
    const std::shared_ptr<Errand> errand = errands_->find(what + " " + meant.name);
    if (!errand) return see_other(here);
    return plain_text(
        framed_page("/runs", (what == "verify" ? "Verify " : "Reference ") + meant.name,
                    fmt::format("<h1>{}<a href=\"{}\">{}</a></h1>\n{}",
                                what == "verify" ? "Verify " : "Reference: ", here, escaped(meant.name),
                                errand_html(errand->view(), here + "/" + what))),
        html_type);
  }

  // As the command `accept`: a reference vouches for every run that is compared with it.
  Response accept(const Meant& meant, const Request& request) const {
    const std::string who = request.form.get("who"), why = request.form.get("why");
    const HistoryPlace place = history();
    const RunRecord record = load_run(meant.folder).record;
    std::string trouble;
    if (place.empty())
      trouble = "This page keeps no history, so that no run can be the reference.";
    else if (who.empty() || why.empty())
      trouble = "Write who accepts the run, and why: both are kept.";
    else if (record.purpose == purpose_found)
      trouble = "Nothing was judged in this run, so it cannot be the reference.";
    else if (!record.result.complete)
      trouble = "The run did not get to its end, so it cannot be the reference.";
    else if (record.result.verdict != Verdict::pass && request.form.get("even_so") != "yes")
      trouble = fmt::format("The run is no pass: its verdict is {}. Tick the box to accept it all the same.",
                            word(record.result.verdict));
    if (!trouble.empty()) {
      Response response = page(meant, request.form, trouble);
      response.status = 422;
      return response;
    }
    return start(meant, "accept", [folder = meant.folder, place, who, why, record](Errand& errand) {
      errand.phase("The run is verified first: its evidence is judged again, from scratch.");
      const Verification v = verify_run(folder, this_program());
      if (first_doubt(v))
        return "<p class=\"trouble\" role=\"alert\">It is not accepted, because its evidence does not bear "
               "it "
               "out.</p>\n" +
               verification_html(v);
      History(place, History::Open::make).accept(folder, {now_iso8601(), who, why});
      return fmt::format(
          "<p class=\"reason\"><b>It is the reference for {}.</b> Accepted by {}: {}</p>\n",
          escaped(record.unit_serial.empty() ? "gauge " + record.gauge_name : "unit " + record.unit_serial),
          escaped(who), escaped(why));
    });
  }

  const Shop& shop_;
  const TileSettings settings_;
  const std::shared_ptr<Errands> errands_;
};

// Two ticked runs, the older as the old one.
Response compared(const Shop& shop, Errands& errands, const Request& request) {
  std::string old_name = request.query.get("old"), new_name = request.query.get("new");
  const std::vector<std::string> ticked = request.query.all_of("run");
  if (old_name.empty() && new_name.empty()) {
    if (ticked.size() != 2)
      return refused(400, "Tick two runs of the list to compare them, no more and no less.");
    std::string begun[2];
    for (std::size_t i = 0; i < 2; ++i) {
      const std::optional<fs::path> folder = shop.run_folder(ticked[i]);
      if (!folder) return not_found("There is no run " + ticked[i] + ".");
      begun[i] = load_run(*folder).record.started;
    }
    const std::size_t older = begun[1] < begun[0] ? 1 : 0;
    return see_other("/runs/compare?old=" + url_encoded(ticked[older]) +
                     "&new=" + url_encoded(ticked[1 - older]));
  }
  const std::optional<fs::path> before = shop.run_folder(old_name), after = shop.run_folder(new_name);
  if (!before) return not_found("There is no run " + old_name + ".");
  if (!after) return not_found("There is no run " + new_name + ".");
  const StudyPage page{"compare " + old_name + " " + sha256_of_file(*before / "result.json") + " " +
                           new_name + " " + sha256_of_file(*after / "result.json"),
                       "/runs/compare?old=" + url_encoded(old_name) + "&new=" + url_encoded(new_name),
                       "/runs",
                       "Compare " + old_name + " with " + new_name,
                       {}};
  const auto does = [=, before = *before, after = *after](Errand& errand) {
    errand.phase("Both runs are read and laid side by side.");
    return comparison_html(comparison_of(old_name, load_run(before), new_name, load_run(after)));
  };
  return study(errands, request, page, does, report_page);
}

}  // namespace

void add_run_page_routes(Router& router, const Shop& shop, const TileSettings& settings,
                         const std::shared_ptr<Errands>& errands) {
  const auto page = std::make_shared<RunPage>(shop, settings, errands);
  router.on("GET", "/runs/compare",
            [&shop, errands](const Request& request) { return compared(shop, *errands, request); });
  // A suite's run has three parts in its name; a file of it two more behind.
  std::string pattern = "/runs";
  for (int depth = 1; depth <= 5; ++depth) {
    pattern += "/*";
    router.on("GET", pattern, [page](const Request& request) { return page->get(request); });
    router.on("POST", pattern, [page](const Request& request) { return page->post(request); });
  }
}

}  // namespace tachproof
