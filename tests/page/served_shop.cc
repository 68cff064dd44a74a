#include "tests/page/served_shop.h"

#include <sstream>
#include <stdexcept>

namespace tachproof {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> serve(const fs::path& folder, const std::string& options) {
  std::vector<std::string> words = {TACHPROOF_PROGRAM, "serve", folder.string(), "--no-browser"};
  std::istringstream more(options);
  for (std::string word; more >> word;) words.push_back(word);
  return words;
}

}  // namespace

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
