// A browser for tests: it asks the router, and sends the forms that it has been given.
#pragma once

#include <gtest/gtest.h>

#include <chrono>
#include <fstream>
#include <memory>
#include <regex>
#include <string>
#include <thread>

#include "bench/page/places.h"
#include "bench/page/request.h"
#include "bench/page/shop.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {

// "&lt;" and the like as what they stand for.
inline std::string unescaped(std::string text) {
  for (const auto& [from, to] : {std::pair("&lt;", "<"), std::pair("&gt;", ">"), std::pair("&quot;", "\""),
                                 std::pair("&#39;", "'"), std::pair("&apos;", "'"), std::pair("&amp;", "&")})
    for (std::size_t at = 0; (at = text.find(from, at)) != text.npos; at += std::string(to).size())
      text.replace(at, std::string(from).size(), to);
  return text;
}

class PageClient {
 public:
  PageClient()
      : shop_([this] {
          std::filesystem::create_directories(folder_ / "gauges");
          return folder_.path();
        }()) {
    errands_->add_routes(router_);
    add_gauges_routes(router_, shop_, errands_);
  }

  std::filesystem::path operator/(const std::string& name) const { return folder_ / name; }
  void write(const std::string& name, const std::string& text) const {
    std::filesystem::create_directories((folder_ / name).parent_path());
    std::ofstream(folder_ / name, std::ios::binary) << text;
  }
  void copy(const std::string& fixture, const std::string& name) const {
    std::filesystem::create_directories((folder_ / name).parent_path());
    std::filesystem::copy_file(source_path(fixture), folder_ / name);
  }
  std::string read(const std::string& name) const {
    std::ifstream file(folder_ / name, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
  }

  Response get(const std::string& address) {
    Request request;
    request.method = "GET";
    const std::size_t question = std::min(address.find('?'), address.size());
    request.path = address.substr(0, question);
    request.query = Fields::of(std::string_view(address).substr(std::min(question + 1, address.size())));
    return router_(request);
  }
  Response post(const std::string& address, const Fields& form) {
    Request request;
    request.method = "POST";
    request.path = address;
    request.content_type = "application/x-www-form-urlencoded";
    request.form = form;
    return router_(request);
  }
  Response upload(const std::string& address, const std::string& type, const std::string& body) {
    Request request;
    request.method = "POST";
    request.path = address;
    request.content_type = type;
    request.body = body;
    return router_(request);
  }

  // The page at this address, or where it leads, once no work behind it goes on.
  Response outcome(std::string address) {
    for (int i = 0; i < 6000; ++i) {
      Response now = get(address);
      if (now.status == 303)
        address = now.headers.at(0).second;
      else if (now.body.find("data-errand") == now.body.npos)
        return now;
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    return refused(500, "it never ended");
  }
  // Stops what goes on behind this address, which must be something.
  void stop(const std::string& address) {
    static const std::regex to("action=\"(/errands/[0-9]+/stop)\"");
    const std::string html = get(address).body;
    std::smatch found;
    ASSERT_TRUE(std::regex_search(html, found, to)) << html;
    EXPECT_EQ(post(found[1], Fields()).headers.at(0).second, address);
  }

  // What a browser would send of this page's form, with some values changed and one button pressed.
  static Fields form_of(const std::string& html, const std::string& button,
                        const std::vector<std::pair<std::string, std::string>>& typed = {}) {
    Fields fields;
    const auto add = [&](const std::string& name, const std::string& value) {
      for (const auto& [changed, text] : typed)
        if (changed == name) return fields.add(name, text);
      fields.add(name, value);
    };
    static const std::regex control(
        "<input ([^>]*)>|<select ([^>]*)>(.*?)</select>|<textarea ([^>]*)>\n?([^<]*)</textarea>");
    static const std::regex name("name=\"([^\"]*)\""), value("value=\"([^\"]*)\""),
        chosen("value=\"([^\"]*)\" selected");
    const auto found = [](const std::string& text, const std::regex& what) {
      std::smatch match;
      return std::regex_search(text, match, what) ? unescaped(match[1]) : std::string();
    };
    for (std::sregex_iterator at(html.begin(), html.end(), control), end; at != end; ++at) {
      const std::smatch& m = *at;
      const std::string tag = m[1].matched ? m[1].str() : m[2].matched ? m[2].str() : m[4].str();
      const std::string called = found(tag, name);
      if (called.empty()) continue;
      if (m[1].matched) add(called, found(tag, value));
      if (m[2].matched) add(called, found(m[3].str(), chosen));
      if (m[4].matched) add(called, unescaped(m[5].str()));
    }
    if (!button.empty()) fields.add("do", button);
    return fields;
  }

 private:
  ScratchFolder folder_;
  Shop shop_;
  std::shared_ptr<Errands> errands_ = std::make_shared<Errands>();
  Router router_;
};

}  // namespace tachproof
