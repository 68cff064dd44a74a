#include "bench/files/yaml_places.h"

#include <algorithm>

namespace tachproof {
namespace {

bool blank(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }

}  // namespace

YamlPlaces::YamlPlaces(std::string_view text) : text_(text) {
  for (std::size_t i = 0; i < text.size(); ++i)
    if (text[i] == '\n') starts_.push_back(i + 1);
}

std::size_t YamlPlaces::begin(const YamlNode& node) const {
  const auto line = static_cast<std::size_t>(std::max(node.at.line, 1)) - 1;
  std::size_t offset = starts_[std::min(line, starts_.size() - 1)];
  for (int column = 1; column < node.at.column && offset < text_.size(); ++column) {
    ++offset;
    while (offset < text_.size() && (static_cast<unsigned char>(text_[offset]) & 0xc0) == 0x80) ++offset;
  }
  return offset;
}

std::size_t YamlPlaces::line_begin(std::size_t offset) const {
  return *(std::upper_bound(starts_.begin(), starts_.end(), offset) - 1);
}

std::size_t YamlPlaces::line_end(std::size_t offset) const {
  const auto next = std::upper_bound(starts_.begin(), starts_.end(), offset);
  return next == starts_.end() ? text_.size() : *next;
}

bool YamlPlaces::is_flow(const YamlNode& node) const {
  const std::size_t at = begin(node);
  return at < text_.size() && (text_[at] == '{' || text_[at] == '[');
}

std::optional<std::size_t> YamlPlaces::indent(std::size_t offset) const {
  const std::size_t from = line_begin(offset);
  const bool alone = text_.substr(from, offset - from).find_first_not_of(' ') == std::string_view::npos;
  return alone ? std::optional(offset - from) : std::nullopt;
}

std::optional<std::size_t> YamlPlaces::dash(const YamlNode& item) const {
  const std::size_t at = begin(item), from = line_begin(at);
  const std::size_t found = text_.substr(from, at - from).find_last_not_of(' ');
  if (found == std::string_view::npos || text_[from + found] != '-' || !indent(from + found))
    return std::nullopt;
  return from + found;
}

std::optional<std::size_t> YamlPlaces::quote_end(std::size_t open) const {
  const char quote = text_[open];
  for (std::size_t i = open + 1; i < text_.size(); ++i) {
    if (quote == '"' && text_[i] == '\\') {
      ++i;
    } else if (text_[i] == quote) {
      if (quote == '"' || i + 1 >= text_.size() || text_[i + 1] != '\'') return i + 1;
      ++i;
    }
  }
  return std::nullopt;
}

std::optional<std::size_t> YamlPlaces::closing(std::size_t open) const {
  std::size_t depth = 0;
  bool token_may_begin = true;
  for (std::size_t i = open; i < text_.size(); ++i) {
    const char c = text_[i];
    if (c == '#' && i > 0 && blank(text_[i - 1])) {
      i = line_end(i) - 1;
      continue;
    }
    if ((c == '"' || c == '\'') && token_may_begin) {
      const std::optional<std::size_t> end = quote_end(i);
      if (!end) return std::nullopt;
      i = *end - 1;
      token_may_begin = false;
      continue;
    }
    if (c == '{' || c == '[') ++depth;
    if ((c == '}' || c == ']') && --depth == 0) return i + 1;
    if (!blank(c)) token_may_begin = c == '{' || c == '[' || c == ',' || c == ':';
  }
  return std::nullopt;
}

std::optional<std::size_t> YamlPlaces::end(const YamlNode& node) const {
  const std::size_t at = begin(node);
  if (at >= text_.size()) return std::nullopt;
  if (node.kind == YamlNode::Kind::nothing) return std::nullopt;
  if (node.kind == YamlNode::Kind::scalar) {
    if (text_[at] == '"' || text_[at] == '\'') return quote_end(at);
    if (node.quoted || node.text.empty() || text_.substr(at, node.text.size()) != node.text)
      return std::nullopt;
    return at + node.text.size();
  }
  if (is_flow(node)) return closing(at);
  std::size_t last = at;
  const auto take = [&](const YamlNode& child) {
    const std::optional<std::size_t> end_of_child = end(child);
    // One before its place is an alias of something above.
    if (!end_of_child || begin(child) < at) return false;
    last = std::max(last, *end_of_child);
    return true;
  };
  for (const YamlNode* item : node.items)
    if (!take(*item)) return std::nullopt;
  for (const YamlNode::Entry& entry : node.entries)
    if (!take(*entry.value) || begin(*entry.value) < begin(*entry.key)) return std::nullopt;
  return last;
}

std::vector<std::string> yaml_comments(std::string_view text) {
  std::vector<std::string> comments;
  char quote = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    const char before = i > 0 ? text[i - 1] : '\n';
    if (quote != 0) {
      if (quote == '"' && c == '\\') ++i;
      if (c == quote) quote = 0;
    } else if ((c == '"' || c == '\'') &&
               std::string_view(" \t\n\r[{,:").find(before) != std::string_view::npos) {
      quote = c;
    } else if (c == '#' && std::string_view(" \t\n\r").find(before) != std::string_view::npos) {
      const std::size_t end = std::min(text.find_first_of("\r\n", i), text.size());
      comments.emplace_back(text.substr(i, end - i));
      i = end - 1;
    }
  }
  return comments;
}

}  // namespace tachproof
