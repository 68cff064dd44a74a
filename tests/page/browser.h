// A real browser that a test drives: Debian's chromium without a window, by chromedriver
// (https://www.w3.org/TR/webdriver2/).
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/page/child.h"

namespace tachproof {

// Keys that are no letters, for Browser::type().
namespace key {
inline constexpr const char* enter = "\uE007";
inline constexpr const char* escape = "\uE00C";
inline constexpr const char* tab = "\uE004";
inline constexpr const char* shift = "\uE008";  // held down while the next one is pressed
inline constexpr const char* back_tab = "\uE008\uE004";
inline constexpr const char* left = "\uE012";
inline constexpr const char* right = "\uE014";
inline constexpr const char* up = "\uE013";
inline constexpr const char* down = "\uE015";
inline constexpr const char* space = " ";
}  // namespace key

class Browser {
 public:
  // Why there is no browser to drive, a sentence; "" where there is one.
  static std::string missing();

  // Starts both programs; throws std::runtime_error where they do not. Both are gone with this object.
  Browser();
  ~Browser();

  // Ends both programs without a word to any page; nothing else may be asked of this one.
  void crash() { driver_.reset(); }

  void open(const std::string& address);
  std::string address();
  void reload();
  void go_back();

  void resize(int width, int height);  // what the page sees, CSS pixels
  void set_dark(bool dark);            // what the person has asked the system for
  void set_scripts(bool allowed);      // for pages that are opened after this
  void set_still(bool still);          // the person wants no motion

  // Keys go to whatever has the focus, one after the other, as from a keyboard.
  void type(const std::string& keys);
  void click(const std::string& css);

  bool has(const std::string& css);
  // As it is read on the screen; throws where there is no such element.
  std::string text(const std::string& css);
  std::vector<std::string> texts(const std::string& css);
  std::string attribute(const std::string& css, const std::string& name);  // "" where it has none
  // What has the focus: "input#serial-rig".
  std::string focused();
  // False after half a minute.
  bool comes(const std::string& css);
  bool comes_text(const std::string& css, const std::string& part);

  // The value of a script's `return`.
  nlohmann::json run(const std::string& script, const nlohmann::json& arguments = nlohmann::json::array());
  // The same of a script that calls its last argument with its value.
  nlohmann::json run_async(const std::string& script,
                           const nlohmann::json& arguments = nlohmann::json::array());

  void screenshot(const std::filesystem::path& png);  // of the whole page, however long
  std::string pdf();                                  // as it would be printed
  // Errors that pages have written to the console since the last call: scripts that failed, what the
  // page's own policy has blocked.
  std::vector<std::string> complaints();
  // Any command of the browser's own protocol.
  nlohmann::json devtools(const std::string& command, const nlohmann::json& parameters);

 private:
  nlohmann::json command(const std::string& method, const std::string& what,
                         const nlohmann::json& parameters = nlohmann::json::object());
  std::string element(const std::string& css);

  std::filesystem::path home_;
  std::unique_ptr<Child> driver_;
  std::uint16_t port_ = 0;
  std::string session_;
};

std::string from_base64(const std::string& text);

}  // namespace tachproof
