#include "bench/page/multipart.h"

#include <algorithm>
#include <optional>

namespace tachproof {
namespace {

constexpr std::size_t longest_boundary = 70;  // RFC 2046, 5.1.1
constexpr std::size_t longest_head = 4096;

bool is_boundary(std::string_view text) {
  constexpr std::string_view others = "'()+_,-./:=? ";
  return !text.empty() && text.size() <= longest_boundary && text.back() != ' ' &&
         std::all_of(text.begin(), text.end(), [&](char c) {
           return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                  others.find(c) != others.npos;
         });
}

std::string lower_case(std::string_view text) {
  std::string out(text);
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

std::string boundary_in(std::string_view content_type) {
  const std::string small = lower_case(content_type);
  if (!small.starts_with("multipart/form-data;")) return {};
  const std::size_t at = small.find("boundary=");
  if (at == small.npos) return {};
  std::string_view value = content_type.substr(at + 9);
  if (value.starts_with('"')) {
    const std::size_t end = value.find('"', 1);
    return end == value.npos ? std::string() : std::string(value.substr(1, end - 1));
  }
  return std::string(value.substr(0, value.find(';')));
}

// A quoted value of Content-Disposition; browsers write a quote in it as %22 or \".
std::optional<std::string> parameter(std::string_view line, const std::string& key) {
  const std::string asked = "; " + key + "=\"";
  const std::size_t at = line.find(asked);
  if (at == line.npos) return std::nullopt;
  std::string value;
  for (std::size_t i = at + asked.size(); i < line.size(); ++i) {
    if (line[i] == '"') return value;
    if (line[i] == '\\' && i + 1 < line.size() && (line[i + 1] == '"' || line[i + 1] == '\\')) ++i;
    value += line[i];
  }
  return std::nullopt;
}

bool read_head(std::string_view head, FormPart& part) {
  bool known = false;
  while (!head.empty()) {
    const std::size_t end = head.find("\r\n");
    const std::string_view line = head.substr(0, end);
    head.remove_prefix(end == head.npos ? head.size() : end + 2);
    const std::size_t colon = line.find(':');
    if (colon == line.npos || colon == 0) return false;
    if (lower_case(line.substr(0, colon)) != "content-disposition") continue;
    if (known || !lower_case(line).starts_with("content-disposition: form-data;")) return false;
    const std::optional<std::string> name = parameter(line, "name"), file = parameter(line, "filename");
    if (!name) return false;
    part.name = *name;
    part.is_file = file.has_value();
    part.file_name = file.value_or("");
    known = true;
  }
  return known;
}

}  // namespace

std::variant<std::vector<FormPart>, std::string> parts_of_form(std::string_view content_type,
                                                               std::string_view body, std::size_t most) {
  const std::string boundary = boundary_in(content_type);
  if (!is_boundary(boundary)) return "That was no form with a file.";
  const std::string first = "--" + boundary, between = "\r\n--" + boundary;
  if (!body.starts_with(first)) return "The form does not begin with its boundary.";
  body.remove_prefix(first.size());
  std::vector<FormPart> parts;
  while (!body.starts_with("--")) {
    if (!body.starts_with("\r\n")) return "The form has no line's end behind a boundary.";
    if (parts.size() == most) return "The form has too many parts.";
    const std::size_t blank = body.substr(0, longest_head).find("\r\n\r\n");
    const std::size_t end = blank == body.npos ? body.npos : body.find(between, blank + 2);
    if (blank == body.npos || end == body.npos) return "The form ends in the middle of a part.";
    FormPart& part = parts.emplace_back();
    const std::string_view head = blank == 0 ? std::string_view() : body.substr(2, blank - 2);
    if (!read_head(head, part)) return "A part of the form does not say which field it is.";
    part.body = end < blank + 4 ? std::string_view() : body.substr(blank + 4, end - blank - 4);
    body.remove_prefix(end + between.size());
  }
  body.remove_prefix(2);
  if (!body.empty() && body != "\r\n") return "The form goes on behind its end.";
  return parts;
}

}  // namespace tachproof
