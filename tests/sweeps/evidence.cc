#include "tests/sweeps/evidence.h"

#include <sqlite3.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

// Some seconds in real time. The generator's answers may take 50 ms, and the gauge that it is judged by
// allows for so slow a bench: an undisturbed run passes.
const std::string short_scenario = R"(format: 1
kind: scenario
name: short
seed: 7
profile:
  - {hold: 2900, for: 600ms}
  - {step: 3200}
  - {hold: 3200, for: 800ms}
  - {step: 2900}
  - {hold: 2900, for: 800ms}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

// The same, fed less, then cut: two messages to the supply that must come in time, and two that must be
// undone.
const std::string fed_scenario = R"(format: 1
kind: scenario
name: fed
seed: 7
profile:
  - {hold: 2900, for: 600ms}
  - {supply: 11V, for: 900ms}
  - {step: 3200}
  - {hold: 3200, for: 800ms}
  - {power: off, for: 1s}
  - {hold: 3200, for: 2500ms}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

std::string generator_rig(const std::string& address) {
  return "format: 1\nkind: rig\nsource: {kind: scpi, address: \"" + address +
         "\", amplitude_v: 5, offset_v: 2.5, answer_ms: 50, settle_ms: 1}\n"
         "watch: {kind: simulated, unit: gauge.yaml}\n";
}

std::string first_word(sqlite3* db, const char* question) {
  std::string word;
  sqlite3_stmt* statement = nullptr;
  if (sqlite3_prepare_v2(db, question, -1, &statement, nullptr) == SQLITE_OK &&
      sqlite3_step(statement) == SQLITE_ROW)
    word = reinterpret_cast<const char*>(sqlite3_column_text(statement, 0));
  else
    word = sqlite3_errmsg(db);
  sqlite3_finalize(statement);
  return word;
}

}  // namespace

SweepBench::SweepBench() {
  scratch_.write("gauge.yaml", files::gauge);
  for (const char* rig : {"sound", "faulty"}) scratch_.write(std::string(rig) + "-gauge.yaml", files::gauge);
  scratch_.write("generator-gauge.yaml", files::replaced(files::gauge, "to: 120", "to: 400"));
  scratch_.write("sound-scenario.yaml", files::measuring_scenario);
  scratch_.write("faulty-scenario.yaml", files::measuring_scenario);
  scratch_.write("generator-scenario.yaml", short_scenario);
  scratch_.write("sound.yaml", files::rig);
  scratch_.write("faulty.yaml", files::faulty_rig);
}

void SweepBench::write_generator_rig(const std::string& address) const {
  scratch_.write("generator.yaml", generator_rig(address));
}

void SweepBench::write_supply_rig(const std::string& generator, const std::string& supply) const {
  scratch_.write("supply-gauge.yaml", files::replaced(files::gauge, "to: 120", "to: 400") +
                                          "power_up: {boot_ms: {from: 100, to: 1000}}\n"
                                          "supply: {from: 9V, to: 16V}\n");
  scratch_.write("supply-scenario.yaml", fed_scenario);
  scratch_.write("supply.yaml",
                 files::replaced(generator_rig(generator), "unit: gauge.yaml", "unit: supply-gauge.yaml") +
                     "supply: {kind: scpi, address: \"" + supply +
                     "\", volts: 13.8V, limit_a: 2, answer_ms: 100, settle_ms: 50}\n");
}

std::vector<std::string> SweepBench::run_words(const std::string& rig, const std::string& out) const {
  return command_line("run " + rig + "-scenario.yaml --gauge " + rig + "-gauge.yaml --rig " + rig +
                      ".yaml --unit-serial K17 --history history.db --out " + out);
}

Finished SweepBench::tachproof(const std::string& words) const {
  return run_process(command_line(words), scratch_.path());
}

void SweepBench::forget(const std::string& out) const {
  std::error_code ignored;
  std::filesystem::remove_all(scratch_ / out, ignored);
}

std::string SweepBench::history_is_wrong() const {
  if (!std::filesystem::exists(scratch_ / "history.db")) return "";
  sqlite3* db = nullptr;
  std::string said = "it cannot be opened";
  if (sqlite3_open_v2((scratch_ / "history.db").c_str(), &db, SQLITE_OPEN_READWRITE, nullptr) == SQLITE_OK) {
    sqlite3_busy_timeout(db, 2000);
    said = first_word(db, "PRAGMA integrity_check");
  }
  sqlite3_close(db);
  if (said != "ok") return "history: " + said;
  if (const Finished list = tachproof("history --history history.db --json"); list.status != 0)
    return "history: " + list.err;
  return "";
}

Left SweepBench::look(const std::string& out, bool unit_is_sound) const {
  Left left{"none", history_is_wrong()};
  std::ifstream in(scratch_ / out / "result.json");
  if (!in) return left;
  const nlohmann::json result = nlohmann::json::parse(in, nullptr, false);
  if (result.is_discarded()) {
    left.wrong = "result.json is cut short";
    return left;
  }
  left.verdict = result.value("verdict", "none");
  const Finished report = tachproof("report " + out);
  if (report.status != 0 && report.status != 1 && report.status != 3) left.wrong = "report: " + report.err;
  if (left.verdict == "undecided") return left;
  if (left.verdict == "pass" && !unit_is_sound) left.wrong = "a false pass";
  if (left.verdict == "fail" && unit_is_sound) left.wrong = "a false fail";
  // A verdict is there only with all of its evidence.
  const Finished verified = tachproof("report " + out + " --verify");
  if (verified.status != 0) left.wrong = "not verified: " + verified.out + verified.err;
  return left;
}

}  // namespace tachproof
