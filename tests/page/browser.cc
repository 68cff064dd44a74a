#include "tests/page/browser.h"

#include <stdlib.h>

#include <fstream>
#include <stdexcept>

#include "tests/page/http.h"

namespace tachproof {
namespace {

using nlohmann::json;

constexpr const char* element_key = "element-6066-11e4-a52e-4f735466cecf";  // WebDriver 2, section 12

std::string chromium() {
  const std::string debian = program_in_path("chromium");
  return debian.empty() ? program_in_path("google-chrome") : debian;
}

// Each character of UTF-8 apart.
std::vector<std::string> characters(const std::string& text) {
  std::vector<std::string> all;
  for (const char c : text) {
    const bool goes_on = (static_cast<unsigned char>(c) & 0xC0) == 0x80;
    if (goes_on && !all.empty())
      all.back() += c;
    else
      all.emplace_back(1, c);
  }
  return all;
}

}  // namespace

std::string from_base64(const std::string& text) {
  static const std::string letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string bytes;
  unsigned held = 0;
  int bits = 0;
  for (const char c : text) {
    const std::size_t value = letters.find(c);
    if (value == letters.npos) continue;
    held = held << 6 | static_cast<unsigned>(value);
    bits += 6;
    if (bits >= 8) bytes += static_cast<char>(held >> (bits -= 8) & 0xFF);
  }
  return bytes;
}

std::string Browser::missing() {
  if (chromium().empty()) return "chromium is not installed: apt-get install chromium chromium-driver";
  if (program_in_path("chromedriver").empty())
    return "chromedriver is not installed: apt-get install chromium-driver";
  return {};
}

Browser::Browser() {
  std::string name = (std::filesystem::temp_directory_path() / "tachproof-browser-XXXXXX").string();
  if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no scratch folder in " + name);
  home_ = name;
  // Nothing of the person's own browser is touched, and its language is no matter of this machine's.
  driver_ = std::make_unique<Child>(std::vector<std::string>{"chromedriver", "--port=0"}, home_,
                                    std::map<std::string, std::string>{{"HOME", name}, {"LANG", "C.UTF-8"}});
  const std::string told = driver_->told_after("started successfully on port ");
  port_ = static_cast<std::uint16_t>(std::stoi(told));
  const json options = {
      {"binary", chromium()},
      {"args",
       {"--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
        "--disable-extensions", "--disable-background-networking", "--disable-breakpad", "--lang=en",
        "--hide-scrollbars", "--window-size=1600,1000", "--user-data-dir=" + name + "/profile"}}};
  const json wanted = {{"browserName", "chrome"},
                       {"goog:chromeOptions", options},
                       {"goog:loggingPrefs", {{"browser", "ALL"}}},
                       {"timeouts", {{"script", 60'000}, {"pageLoad", 60'000}}}};
  session_ = command("POST", "", {{"capabilities", {{"alwaysMatch", wanted}}}})["sessionId"];
}

Browser::~Browser() {
  try {
    ask_http(port_, {"DELETE", "/session/" + session_, "", {}});
  } catch (const std::exception&) {  // its guardian ends it
  }
  driver_.reset();
  std::error_code ignored;
  std::filesystem::remove_all(home_, ignored);
}

json Browser::command(const std::string& method, const std::string& what, const json& parameters) {
  HttpQuestion question;
  question.method = method;
  question.target = session_.empty() ? "/session" : "/session/" + session_ + what;
  if (method == "POST") {
    question.body = parameters.dump();
    question.headers["Content-Type"] = "application/json";
  }
  const HttpAnswer answer = ask_http(port_, question);
  const json told = json::parse(answer.body);
  if (answer.status != 200)
    throw std::runtime_error(what + ": " + told["value"]["error"].get<std::string>() + ": " +
                             told["value"]["message"].get<std::string>());
  return told["value"];
}

json Browser::devtools(const std::string& name, const json& parameters) {
  return command("POST", "/goog/cdp/execute", {{"cmd", name}, {"params", parameters}});
}

void Browser::open(const std::string& where) { command("POST", "/url", {{"url", where}}); }
std::string Browser::address() { return command("GET", "/url"); }
void Browser::reload() { command("POST", "/refresh"); }
void Browser::go_back() { command("POST", "/back"); }

void Browser::resize(int width, int height) {
  devtools("Emulation.setDeviceMetricsOverride",
           {{"width", width}, {"height", height}, {"deviceScaleFactor", 1}, {"mobile", false}});
}

void Browser::set_dark(bool dark) {
  devtools("Emulation.setEmulatedMedia",
           {{"features", {{{"name", "prefers-color-scheme"}, {"value", dark ? "dark" : "light"}}}}});
}

void Browser::set_still(bool still) {
  devtools("Emulation.setEmulatedMedia",
           {{"features", {{{"name", "prefers-reduced-motion"}, {"value", still ? "reduce" : ""}}}}});
}

void Browser::set_scripts(bool allowed) {
  devtools("Emulation.setScriptExecutionDisabled", {{"value", !allowed}});
}

void Browser::type(const std::string& keys) {
  json actions = json::array();
  bool held = false;
  for (const std::string& one : characters(keys)) {
    actions.push_back({{"type", "keyDown"}, {"value", one}});
    if (one == key::shift) {
      held = true;
      continue;
    }
    actions.push_back({{"type", "keyUp"}, {"value", one}});
    if (held) actions.push_back({{"type", "keyUp"}, {"value", key::shift}});
    held = false;
  }
  command("POST", "/actions", {{"actions", {{{"type", "key"}, {"id", "keys"}, {"actions", actions}}}}});
}

std::string Browser::element(const std::string& css) {
  return command("POST", "/element", {{"using", "css selector"}, {"value", css}})[element_key];
}

void Browser::click(const std::string& css) { command("POST", "/element/" + element(css) + "/click"); }

bool Browser::has(const std::string& css) {
  return run("return document.querySelector(arguments[0]) !== null", {css});
}

std::string Browser::text(const std::string& css) {
  const json found = run(
      "const e = document.querySelector(arguments[0]); return e && (e.innerText ?? e.textContent)", {css});
  if (found.is_null()) throw std::runtime_error("nothing on the page is " + css + ":\n" + text("body"));
  return found;
}

std::vector<std::string> Browser::texts(const std::string& css) {
  return run("return [...document.querySelectorAll(arguments[0])].map(e => e.innerText ?? e.textContent)",
             {css});
}

std::string Browser::attribute(const std::string& css, const std::string& name) {
  return run("return document.querySelector(arguments[0])?.getAttribute(arguments[1]) ?? ''", {css, name});
}

std::string Browser::focused() {
  return run("const e = document.activeElement; return e ? e.localName + (e.id ? '#' + e.id : '') : ''");
}

bool Browser::comes(const std::string& css) {
  return comes_true([&] { return has(css); });
}

bool Browser::comes_text(const std::string& css, const std::string& part) {
  return comes_true([&] {
    return run("return [...document.querySelectorAll(arguments[0])].some(e => (e.innerText ?? "
               "e.textContent).includes(arguments[1]))",
               {css, part})
        .get<bool>();
  });
}

json Browser::run(const std::string& script, const json& arguments) {
  return command("POST", "/execute/sync", {{"script", script}, {"args", arguments}});
}

json Browser::run_async(const std::string& script, const json& arguments) {
  return command("POST", "/execute/async", {{"script", script}, {"args", arguments}});
}

void Browser::screenshot(const std::filesystem::path& png) {
  const json taken = devtools("Page.captureScreenshot", {{"format", "png"}, {"captureBeyondViewport", true}});
  std::filesystem::create_directories(png.parent_path());
  std::ofstream(png, std::ios::binary) << from_base64(taken["data"]);
}

std::string Browser::pdf() { return from_base64(command("POST", "/print")); }

std::vector<std::string> Browser::complaints() {
  std::vector<std::string> all;
  for (const json& line : command("POST", "/se/log", {{"type", "browser"}}))
    if (line["level"] == "SEVERE" || line["level"] == "WARNING") all.push_back(line["message"]);
  return all;
}

}  // namespace tachproof
