#include "tests/program/forgeries.h"

#include <array>
#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/run_folder.h"
#include "bench/record/suite_checksums.h"

namespace tachproof::test {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

bool edit(const fs::path& file, const std::function<void(Json&)>& change) {
  Json json = Json::parse(whole_file(file));
  const Json before = json;
  change(json);
  if (json == before) return false;
  write(file, json.dump(2) + "\n");
  return true;
}

bool edit_verdicts(const fs::path& run, const fs::path&, Random& random) {
  const std::string was = whole_file(run / "result.json");
  const std::string word = one_of(random, std::vector<std::string>{"\"pass\"", "\"undecided\""});
  std::string now = replaced_all(was, "\"fail\"", word);
  if (now == was) now = replaced_all(was, "\"verdict\": \"pass\"", "\"verdict\": \"fail\"");
  write(run / "result.json", now);
  return now != was;
}

// Any number of result.json that means something, by a little or out of all proportion.
bool edit_number(const fs::path& run, const fs::path&, Random& random) {
  return edit(run / "result.json", [&](Json& result) {
    std::vector<Json*> numbers;
    const std::function<void(Json&)> gather = [&](Json& value) {
      if (value.is_number()) numbers.push_back(&value);
      if (value.is_structured())
        for (Json& item : value) gather(item);
    };
    for (const char* key : {"gauge", "scenario", "rig", "duration_s", "transitions", "boundaries",
                            "deadbands", "responses", "scatter", "evidence", "extra_tolerance_rpm"})
      gather(result[key]);
    Json& number = *numbers[below(random, numbers.size())];
    const double to = one_of(random, std::vector<double>{1, 1e3, 4.6e18, -7, 1e300, 0.5});
    if (number.is_number_float())
      number = number.get<double>() + to;
    else
      number = number.get<std::int64_t>() + static_cast<std::int64_t>(to < 1e19 && to >= 1 ? to : 3);
  });
}

bool drop_finding(const fs::path& run, const fs::path&, Random&) {
  return edit(run / "result.json", [](Json& result) {
    if (result["findings"].empty())
      result["findings"].push_back(
          {{"kind", "late"}, {"at_s", 1.0}, {"window", "brisk"}, {"lamp", ""}, {"message", "made up"}});
    else
      result["findings"].erase(0);
  });
}

bool edit_cause(const fs::path& run, const fs::path&, Random& random) {
  return edit(run / "result.json", [&](Json& result) {
    if (!result.contains("causes") || result["causes"].empty()) {
      result["causes"] = {{{"text", "The unit was dropped"},
                           {"changes", Json::array()},
                           {"explains", 1},
                           {"of", 1},
                           {"left", Json::array()},
                           {"do", "Buy another."}}};
      result["told_apart"] = true;
      return;
    }
    switch (below(random, 5)) {
      case 0: result["causes"][0]["text"] = "Lamp near is dark"; break;
      case 1: result["causes"][0]["do"] = "Send the unit back."; break;
      case 2: result["causes"][0]["explains"] = 1000; break;
      case 3: result["told_apart"] = !result["told_apart"].get<bool>(); break;
      default: result.erase("causes"); result.erase("told_apart");
    }
  });
}

bool edit_statement(const fs::path& run, const fs::path&, Random& random) {
  return edit(run / "result.json", [&](Json& result) {
    switch (below(random, 6)) {
      case 0: result["unit"]["serial"] = "K99"; break;
      case 1: result["rig"]["watch"] = "board"; break;
      case 2: result["scenario"]["name"] = "acceptance"; break;
      case 3: result["purpose"] = "found"; break;
      case 4: result["not_judged"].push_back("far.magenta"); break;
      default: result["started"] = "2031-03-14T09:26:53+01:00";
    }
  });
}

bool edit_journal(const fs::path& run, const fs::path&, Random& random) {
  const std::string was = whole_file(run / "journal.jsonl");
  std::string now = was;
  switch (below(random, 4)) {
    case 0: now = replaced_all(was, "K17", "K99"); break;
    case 1: now = was.substr(was.find('\n') + 1); break;  // without its first line
    case 2:
      now =
          replaced_all(was, "\"kind\":\"input\",\"file\":\"rig.yaml\"", "\"kind\":\"input\",\"file\":\"x\"");
      break;
    default: now = replaced_all(was, "\"kind\":\"rpm\"", "\"kind\":\"rpn\"");
  }
  write(run / "journal.jsonl", now);
  return now != was;
}

bool edit_lamps(const fs::path& run, const fs::path&, Random& random) {
  std::string csv = whole_file(run / "timeline.csv");
  // A row goes, or a lamp is the other way round.
  std::vector<std::size_t> rows;
  for (std::size_t at = csv.find('\n'); at + 1 < csv.size(); at = csv.find('\n', at + 1))
    rows.push_back(at + 1);
  const std::size_t row = rows[below(random, rows.size())];
  const std::size_t end = csv.find('\n', row);
  if (below(random, 2) == 0)
    csv.erase(row, end + 1 - row);
  else
    csv[end - 1] = csv[end - 1] == '0' ? '1' : '0';
  write(run / "timeline.csv", csv);
  return true;
}

bool take_from_the_other(const fs::path& run, const fs::path& other, Random& random) {
  const std::string name =
      one_of(random, std::vector<std::string>{"result.json", "timeline.csv", "capture.vcd", "rig.yaml",
                                              "journal.jsonl", "report.html", "junit.xml"});
  if (whole_file(run / name) == whole_file(other / name)) return false;
  fs::copy_file(other / name, run / name, fs::copy_options::overwrite_existing);
  return true;
}

const std::vector<std::string> files_of_a_run{"result.json", "report.html",   "junit.xml",
                                              "capture.vcd", "timeline.csv",  "journal.jsonl",
                                              "gauge.yaml",  "scenario.yaml", "rig.yaml"};

bool cut_short(const fs::path& run, const fs::path&, Random& random) {
  const fs::path file = run / one_of(random, files_of_a_run);
  const std::string whole = whole_file(file);
  write(file, whole.substr(0, below(random, whole.size())));
  return true;
}

bool replace_page(const fs::path& run, const fs::path&, Random& random) {
  const std::string name = one_of(random, std::vector<std::string>{"report.html", "junit.xml"});
  const std::string was = whole_file(run / name);
  std::string now = replaced_all(replaced_all(was, "FAIL", "PASS"), "failure", "output");
  if (now == was) now = "<html><body>PASS</body></html>";
  write(run / name, now);
  return now != was;
}

bool edit_copy(const fs::path& run, const fs::path&, Random& random) {
  const std::vector<std::array<std::string, 3>> edits = {
      {"gauge.yaml", "pit: 3000", "pit: 3040"},
      {"gauge.yaml", "rpm: 3,", "rpm: 60,"},
      {"gauge.yaml", "to: 120", "to: 1200"},
      {"scenario.yaml", "seed: 7", "seed: 8"},
      {"scenario.yaml", "rate: 500", "rate: 480"},
      {"rig.yaml", "by_rpm: 40", "by_rpm: 1"},
      {"rig.yaml", "kind: simulated", "kind: hammered"},
      {"scenario.yaml", "thresholds: false", "thresholds: true"}};
  const auto& [name, from, to] = one_of(random, edits);
  const std::string was = whole_file(run / name);
  const std::size_t at = was.find(from);
  if (at == std::string::npos) return false;
  write(run / name, std::string(was).replace(at, from.size(), to));
  return true;
}

bool empty_sums(const fs::path& run, const fs::path&, Random& random) {
  const std::string was = whole_file(run / checksums_name);
  write(run / checksums_name, below(random, 2) == 0 ? "" : was.substr(was.find('\n') + 1));
  return true;
}

Json& failing_attempt(Json& suite) {
  for (Json& pair : suite["pairs"])
    for (Json& attempt : pair["attempts"])
      if (attempt["verdict"] == "fail") return attempt;
  throw std::logic_error("no attempt failed");
}
Json& failing_pair(Json& suite) {
  for (Json& pair : suite["pairs"])
    if (pair["verdict"] == "fail") return pair;
  throw std::logic_error("no pair failed");
}

}  // namespace

void write(const fs::path& file, const std::string& text) { std::ofstream(file, std::ios::binary) << text; }

std::string replaced_all(std::string text, const std::string& from, const std::string& to) {
  for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size())
    text.replace(at, from.size(), to);
  return text;
}

// New sums for what the run folder holds now; its seal and result.json's own sums too.
void cover_run(const fs::path& run, Cover cover) {
  if (cover == Cover::nothing || !fs::exists(run / checksums_name)) return;
  std::vector<std::string> names;
  try {
    for (const FileSum& sum : parse_checksums(whole_file(run / checksums_name))) names.push_back(sum.file);
  } catch (const std::runtime_error&) {
    return;
  }
  if (cover == Cover::sums_and_seal && fs::exists(run / "result.json") && fs::exists(run / "journal.jsonl")) {
    std::string journal = whole_file(run / "journal.jsonl");
    const std::size_t end = journal.rfind("{\"kind\":\"end\"");
    if (end != std::string::npos) {
      Json seal = Json::parse(journal.substr(end), nullptr, false);
      if (!seal.is_discarded()) {
        seal["result_sha256"] = sha256_of_file(run / "result.json");
        if (fs::exists(run / "timeline.csv")) seal["timeline_sha256"] = sha256_of_file(run / "timeline.csv");
        write(run / "journal.jsonl", journal.substr(0, end) + seal.dump() + "\n");
      }
    }
  }
  write(run / checksums_name, checksums_text(sums_of(run, names)));
}

// The sums of the copies and of the evidence that result.json has itself.
void cover_result(const fs::path& run) {
  Json result = Json::parse(whole_file(run / "result.json"), nullptr, false);
  if (result.is_discarded()) return;
  for (Json& input : result["inputs"])
    if (fs::exists(run / input["file"].get<std::string>()))
      input["sha256"] = sha256_of_file(run / input["file"].get<std::string>());
  for (Json& file : result["report"]["evidence"])
    if (fs::exists(run / file["file"].get<std::string>()))
      file["sha256"] = sha256_of_file(run / file["file"].get<std::string>());
  write(run / "result.json", result.dump(2) + "\n");
}

// The suite's own sums, and what suite.json says of its runs' results.
void cover_suite(const fs::path& suite, Cover cover) {
  if (cover == Cover::nothing) return;
  if (cover == Cover::sums_and_seal) {
    Json json = Json::parse(whole_file(suite / "suite.json"), nullptr, false);
    if (!json.is_discarded()) {
      for (Json& pair : json["pairs"])
        for (Json& attempt : pair["attempts"])
          if (attempt["folder"].is_string() &&
              fs::exists(suite / attempt["folder"].get<std::string>() / "result.json"))
            attempt["result_sha256"] =
                sha256_of_file(suite / attempt["folder"].get<std::string>() / "result.json");
      write(suite / "suite.json", json.dump(2) + "\n");
    }
  }
  std::vector<std::string> names;
  for (const FileSum& sum : parse_suite_checksums(whole_file(suite / checksums_name)))
    names.push_back(sum.file);
  write(suite / checksums_name, checksums_text(sums_of(suite, names)));
}

const std::vector<KindOfForgery>& forgeries_of_a_run() {
  static const std::vector<KindOfForgery> all = {
      {"verdicts", edit_verdicts},       {"a number", edit_number},
      {"a finding", drop_finding},       {"a cause", edit_cause},
      {"a statement", edit_statement},   {"the journal", edit_journal},
      {"the lamps", edit_lamps},         {"a file of another run", take_from_the_other},
      {"cut short", cut_short},          {"a page", replace_page},
      {"a copy of an input", edit_copy}, {"the sums", empty_sums}};
  return all;
}

bool forge_suite(const fs::path& suite, Random& random) {
  const fs::path file = suite / "suite.json";
  return edit(file, [&](Json& json) {
    switch (below(random, 10)) {
      case 0: failing_attempt(json)["verdict"] = "pass"; break;
      case 1:
        failing_attempt(json)["folder"] = nullptr;
        failing_attempt(json)["verdict"] = "pass";
        break;
      case 2: {  // another run's folder
        Json& attempt = failing_attempt(json);
        attempt["folder"] = "high/slow";
        attempt["verdict"] = "pass";
        break;
      }
      case 3: failing_attempt(json)["folder"] = "../elsewhere"; break;
      case 4: {
        Json kept = Json::array();
        for (const Json& pair : json["pairs"])
          if (pair["verdict"] != "fail") kept.push_back(pair);
        json["pairs"] = kept;
        break;
      }
      case 5: failing_pair(json)["skipped_because"] = "it was not wanted"; break;
      case 6: {
        Json& pair = failing_pair(json);
        pair["set_aside"].push_back(pair["attempts"][0]["folder"]);
        pair["attempts"].erase(0);
        break;
      }
      case 7: failing_pair(json)["sha256"]["rig"] = std::string(64, 'a'); break;
      case 8: failing_pair(json)["unit_serial"] = "K99"; break;
      default: json["verdict"] = "pass"; json["counts"]["fail"] = 0;
    }
  });
}

bool forge_suite_files(const fs::path& suite, Random& random) {
  switch (below(random, 4)) {
    case 0: write(suite / "report.html", "<html><body>PASS</body></html>"); return true;
    case 1:
      write(suite / "junit.xml", replaced_all(whole_file(suite / "junit.xml"), "<failure", "<output"));
      return true;
    case 2: write(suite / checksums_name, ""); return true;
    default: fs::remove_all(suite / "low/slow"); return true;
  }
}

bool same_files(const fs::path& a, const fs::path& b) {
  std::size_t files = 0, others = 0;
  for (const auto& entry : fs::recursive_directory_iterator(b)) others += entry.is_regular_file();
  for (const auto& entry : fs::recursive_directory_iterator(a)) {
    if (!entry.is_regular_file()) continue;
    ++files;
    const fs::path other = b / fs::relative(entry.path(), a);
    if (!fs::exists(other) || whole_file(entry.path()) != whole_file(other)) return false;
  }
  return files == others;
}

}  // namespace tachproof::test
