#include "bench/page/request.h"

#include <fmt/format.h>

#include <algorithm>
#include <exception>

#include "bench/page/frame.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

}  // namespace

bool url_decoded(std::string_view text, bool form, std::string& into) {
  into.clear();
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '+' && form) {
      into += ' ';
    } else if (text[i] == '%') {
      if (i + 2 >= text.size()) return false;
      const int high = hex_digit(text[i + 1]), low = hex_digit(text[i + 2]);
      if (high < 0 || low < 0) return false;
      into += static_cast<char>(high * 16 + low);
      i += 2;
    } else {
      into += text[i];
    }
  }
  return true;
}

std::string url_encoded(std::string_view text) {
  std::string out;
  for (const char c : text) {
    const bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                       c == '-' || c == '_' || c == '.' || c == '~';
    if (plain)
      out += c;
    else
      out += fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return out;
}

Fields Fields::of(std::string_view urlencoded) {
  Fields fields;
  while (!urlencoded.empty()) {
    const std::size_t end = std::min(urlencoded.find('&'), urlencoded.size());
    const std::string_view one = urlencoded.substr(0, end);
    urlencoded.remove_prefix(std::min(end + 1, urlencoded.size()));
    if (one.empty()) continue;
    const std::size_t equals = std::min(one.find('='), one.size());
    std::string name, value;
    if (url_decoded(one.substr(0, equals), true, name) &&
        url_decoded(one.substr(std::min(equals + 1, one.size())), true, value))
      fields.add(std::move(name), std::move(value));
  }
  return fields;
}

std::string Fields::get(std::string_view name) const {
  for (const auto& [key, value] : all_)
    if (key == name) return value;
  return {};
}

std::vector<std::string> Fields::all_of(std::string_view name) const {
  std::vector<std::string> values;
  for (const auto& [key, value] : all_)
    if (key == name) values.push_back(value);
  return values;
}

bool Fields::has(std::string_view name) const {
  return std::any_of(all_.begin(), all_.end(), [&](const auto& field) { return field.first == name; });
}

Response see_other(const std::string& where) {
  Response response;
  response.status = 303;
  response.headers.emplace_back("Location", where);
  return response;
}

Response refused(unsigned status, const std::string& sentence) {
  Response response;
  response.status = status;
  response.body = framed_page("", "Tachproof",
                              fmt::format("<h1>{}</h1>\n<p class=\"trouble\">{}</p>\n",
                                          status == 404   ? "Not found"
                                          : status == 503 ? "Not now"
                                          : status >= 500 ? "It broke"
                                                          : "Not done",
                                          escaped(sentence)));
  return response;
}

Response not_found(const std::string& what) { return refused(404, what); }

Response plain_text(std::string text, std::string type) {
  Response response;
  response.body = std::move(text);
  response.type = std::move(type);
  return response;
}

bool parts_of_path(std::string_view path, std::vector<std::string>& parts) {
  parts.clear();
  if (path.empty() || path.front() != '/') return false;
  path.remove_prefix(1);
  while (!path.empty()) {
    const std::size_t end = std::min(path.find('/'), path.size());
    std::string part;
    if (!url_decoded(path.substr(0, end), false, part)) return false;
    const bool bad = part.empty() || part == "." || part == ".." || part.find('/') != part.npos ||
                     std::any_of(part.begin(), part.end(), [](char c) {
                       return static_cast<unsigned char>(c) < 0x20 || c == 0x7f || c == '\\';
                     });
    if (bad) return false;
    parts.push_back(std::move(part));
    path.remove_prefix(std::min(end + 1, path.size()));
  }
  return true;
}

void Router::on(std::string method, std::string pattern, Handler handler) {
  Route route{std::move(method), {}, std::move(handler)};
  parts_of_path(pattern, route.parts);
  routes_.push_back(std::move(route));
}

Response Router::operator()(const Request& request) const {
  std::vector<std::string> parts;
  if (!parts_of_path(request.path, parts)) return not_found("There is no such page.");
  bool other_method = false;
  for (const Route& route : routes_) {
    if (route.parts.size() != parts.size()) continue;
    Request asked = request;
    asked.parts.clear();
    bool fits = true;
    for (std::size_t i = 0; i < parts.size() && fits; ++i) {
      if (route.parts[i] == "*")
        asked.parts.push_back(parts[i]);
      else
        fits = route.parts[i] == parts[i];
    }
    if (!fits) continue;
    if (route.method != request.method && !(route.method == "GET" && request.method == "HEAD")) {
      other_method = true;
      continue;
    }
    try {
      return route.handler(asked);
    } catch (const std::exception& e) {
      return refused(500, e.what());
    }
  }
  return other_method ? refused(405, "This page cannot be asked for in that way.")
                      : not_found("There is no such page.");
}

}  // namespace tachproof
