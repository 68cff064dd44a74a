#include "tests/page/served_shop.h"

#include <algorithm>
#include <fstream>
#include <sstream>
#include <stdexcept>

#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr const char* sound_rig = R"(format: 1
kind: rig
source: {kind: simulated}
watch: {kind: simulated, unit: ../gauges/two-lamp.yaml, behaviour: {response_ms: 20}}
)";

constexpr const char* faulty_rig = R"(format: 1
kind: rig
source: {kind: simulated}
watch:
  kind: simulated
  unit: ../gauges/two-lamp.yaml
  behaviour: {response_ms: 20, faults: [{kind: boundary-moved, boundary: hasty, by_rpm: 200}]}
)";

// Over both boundaries and back within five seconds: so that a person's day is short enough for a test.
constexpr const char* short_scenario = R"(format: 1
kind: scenario
name: up and down
seed: 7
profile:
  - {hold: 2900, for: 500ms}
  - {ramp: 4400, rate: 1000}
  - {hold: 4400, for: 500ms}
  - {ramp: 2900, rate: 1000}
  - {hold: 2900, for: 500ms}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

std::vector<std::string> serve(const fs::path& folder, const std::string& options) {
  std::vector<std::string> words = {TACHPROOF_PROGRAM, "serve", folder.string(), "--no-browser"};
  std::istringstream more(options);
  for (std::string word; more >> word;) words.push_back(word);
  return words;
}

}  // namespace

SmallShop::SmallShop() {
  for (const char* name : {"gauges", "rigs", "scenarios", "jobs"}) fs::create_directory(scratch_ / name);
  write("gauges/two-lamp.yaml", files::gauge);
  write("rigs/bench-1.yaml", sound_rig);
  write("rigs/bench-2.yaml", faulty_rig);
  write("scenarios/short.yaml", short_scenario);
  write("scenarios/asks.yaml", files::replaced(short_scenario, "judge:",
                                               "  - {ask: \"Which lamp is lit?\", expect: {equals: none}}\n"
                                               "  - {hold: 2900, for: 500ms}\njudge:"));
  write("scenarios/endless.yaml", files::endless_scenario);
}

void SmallShop::write(const std::string& name, const std::string& text) const {
  fs::create_directories((scratch_ / name).parent_path());
  scratch_.write(name, text);
}

void SmallShop::write_job(const std::string& file, const std::string& name, const std::string& play,
                          const std::string& rig, const std::string& more) const {
  write("jobs/" + file, "format: 1\nkind: job\nname: " + name + "\ngauge: ../gauges/two-lamp.yaml\nplay: " +
                            play + "\nrig: ../rigs/" + rig + ".yaml\n" + more);
}

std::vector<std::string> SmallShop::runs() const {
  std::vector<std::string> found;
  std::error_code none;
  for (const auto& entry : fs::recursive_directory_iterator(scratch_ / "runs", none))
    if (entry.path().filename() == "result.json")
      found.push_back(entry.path().parent_path().lexically_relative(scratch_ / "runs").string());
  std::sort(found.begin(), found.end());
  return found;
}

nlohmann::json SmallShop::result(const std::string& run) const {
  return nlohmann::json::parse(std::ifstream(scratch_ / "runs" / run / "result.json"));
}

ServedShop::ServedShop(const fs::path& folder, const std::string& options)
    : program_(serve(folder, options), folder, {{"TACHPROOF_HISTORY", ""}}),
      address_(program_.told_after("Open ")) {
  const std::size_t from = address_.find("127.0.0.1:") + 10;
  port_ = static_cast<std::uint16_t>(std::stoi(address_.substr(from)));
  const HttpAnswer answer = ask_http(port_, {"GET", address_.substr(address_.find('/', from)), "", {}});
  const auto given = answer.headers.find("Set-Cookie");
  if (given == answer.headers.end()) throw std::runtime_error("no cookie for the key: " + answer.body);
  cookie_ = given->second.substr(0, given->second.find(';'));
}

HttpAnswer ServedShop::get(const std::string& target) const {
  return ask_http(port_, {"GET", target, "", {{"Cookie", cookie_}}});
}

HttpAnswer ServedShop::post(const std::string& target, const std::string& form,
                            const std::map<std::string, std::string>& headers) const {
  HttpQuestion question{"POST", target, form, {{"Cookie", cookie_}, {"Origin", own_origin()}}};
  question.headers["Content-Type"] = "application/x-www-form-urlencoded";
  for (const auto& [name, value] : headers) {
    question.headers[name] = value;
    if (value.empty()) question.headers.erase(name);
  }
  return ask_http(port_, question);
}

std::string ServedShop::state(const std::string& tile) const {
  const HttpAnswer answer = get("/tiles/" + tile);
  const auto told = answer.headers.find("X-Tile-State");
  return told == answer.headers.end() ? "" : told->second;
}

bool ServedShop::comes_to(const std::string& tile, const std::string& wanted) const {
  return comes_true([&] { return state(tile) == wanted; });
}

}  // namespace tachproof
