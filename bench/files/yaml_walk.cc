#include "bench/files/yaml_walk.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <system_error>

#include "core/base/parse.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::size_t digits_at(std::string_view text, std::size_t from) {
  std::size_t n = 0;
  while (from + n < text.size() && is_digit(text[from + n])) ++n;
  return n;
}

// The length of the decimal number at the front, 0 when there is none. What
// YAML 1.1 takes for octal, sexagesimal, infinite or grouped is no number.
std::size_t decimal_length(std::string_view text) {
  std::size_t i = !text.empty() && (text[0] == '-' || text[0] == '+') ? 1 : 0;
  const std::size_t whole = digits_at(text, i);
  if (whole == 0 || (whole > 1 && text[i] == '0')) return 0;
  i += whole;
  if (i < text.size() && text[i] == '.') {
    const std::size_t fraction = digits_at(text, i + 1);
    if (fraction == 0) return 0;
    i += 1 + fraction;
  }
  if (i < text.size() && (text[i] == 'e' || text[i] == 'E')) {
    const std::size_t sign = i + 1 < text.size() && (text[i + 1] == '-' || text[i + 1] == '+') ? 1 : 0;
    const std::size_t exponent = digits_at(text, i + 1 + sign);
    if (exponent == 0) return 0;
    i += 1 + sign + exponent;
  }
  return i;
}

std::optional<double> decimal(std::string_view text) {
  if (text.empty() || decimal_length(text) != text.size()) return std::nullopt;
  if (text[0] == '+') text.remove_prefix(1);
  return parse_number<double>(text);
}

}  // namespace

std::string Range::words() const {
  return "a number " + std::string(above_lowest ? "above " : "from ") + number_text(lowest) +
         (above_lowest || below_highest ? (below_highest ? " and below " : ", at most ") : " to ") +
         number_text(highest);
}

std::string found_text(const YamlNode& node) {
  switch (node.kind) {
    case YamlNode::Kind::nothing: return "nothing";
    case YamlNode::Kind::list: return "a list";
    case YamlNode::Kind::mapping: return "a mapping";
    case YamlNode::Kind::scalar: break;
  }
  const std::string text = on_one_line(node.text);
  return node.quoted ? "\"" + text + "\" in quotes" : "'" + text + "'";
}

std::optional<double> plain_number(const YamlNode& node) {
  if (node.kind != YamlNode::Kind::scalar || node.quoted) return std::nullopt;
  return decimal(node.text);
}

std::optional<WithUnit> number_and_unit(std::string_view text) {
  const std::size_t length = decimal_length(text);
  const std::optional<double> value = decimal(text.substr(0, length));
  if (!value) return std::nullopt;
  return WithUnit{*value, text.substr(length)};
}

std::optional<Nanos> plain_duration(const YamlNode& node) {
  struct Unit {
    std::string_view name;
    Nanos ns;
  };
  constexpr std::array<Unit, 5> units{{{"us", ns_per_us},
                                       {"ms", ns_per_ms},
                                       {"s", ns_per_s},
                                       {"min", 60 * ns_per_s},
                                       {"h", 3600 * ns_per_s}}};
  // In quotes too: so JSON writes what YAML writes without.
  if (node.kind != YamlNode::Kind::scalar) return std::nullopt;
  const std::optional<WithUnit> found = number_and_unit(node.text);
  if (!found) return std::nullopt;
  for (const Unit& unit : units) {
    if (found->unit != unit.name) continue;
    const double ns = found->value * static_cast<double>(unit.ns);
    // Far beyond any limit, but still a whole number of nanoseconds.
    constexpr double most = 9e18;
    return std::llround(std::clamp(ns, -most, most));
  }
  return std::nullopt;
}

bool read_number(const YamlNode& node, const std::string& label, double& into, const Range& range,
                 ErrorList& errors) {
  const std::optional<double> value = plain_number(node);
  if (!value || !range.holds(*value)) {
    errors.add(node.at, label + " is " + found_text(node), range.words());
    return false;
  }
  into = *value;
  return true;
}

bool read_text(const YamlNode& node, const std::string& label, std::string& into, ErrorList& errors) {
  constexpr std::size_t longest = 500;
  const bool one_line = node.text.find_first_of("\n\r") == std::string::npos;
  if (node.kind != YamlNode::Kind::scalar || node.text.empty() || !one_line || node.text.size() > longest) {
    errors.add(node.at, label + " is " + found_text(node), "one line of text, at most 500 bytes");
    return false;
  }
  into = node.text;
  return true;
}

bool read_name(const YamlNode& node, const std::string& label, std::string& into, ErrorList& errors) {
  if (node.kind != YamlNode::Kind::scalar || !is_name(node.text)) {
    errors.add(node.at, label + " is " + found_text(node), std::string(name_rule));
    return false;
  }
  into = node.text;
  return true;
}

bool is_list(const YamlNode& node, const std::string& label, ErrorList& errors, std::size_t most) {
  const bool is_one = node.kind == YamlNode::Kind::list;
  if (is_one && node.items.size() > most)
    errors.add(node.at, label + " with " + std::to_string(node.items.size()) + " entries",
               "at most " + std::to_string(most));
  else if (!is_one || node.items.empty())
    errors.add(node.at, label + " is " + (is_one ? "an empty list" : found_text(node)),
               "a list with at least one entry");
  else
    return true;
  return false;
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + word;
  return text;
}

void unknown_word(Place at, const std::string& what, const std::string& word,
                  const std::vector<std::string>& allowed, ErrorList& errors) {
  const std::string meant = nearest(word, allowed);
  const std::string list = allowed.empty() ? "there are none" : "allowed: " + joined(allowed);
  errors.add(at, "unknown " + what + " '" + on_one_line(word) + "'",
             meant.empty() ? list : "did you mean '" + meant + "'?");
}

Mapping::Mapping(const YamlNode& node, ErrorList& errors, std::string what)
    : node_(&node), at_(node.at), errors_(errors), what_(std::move(what)) {
  if (node.kind == YamlNode::Kind::mapping) return;
  errors_.add(node.at, found_text(node) + " in place of " + what_, "a mapping of keys to values");
  node_ = nullptr;
}

const YamlNode* Mapping::find(std::string_view key) const {
  if (node_ != nullptr)
    for (const YamlNode::Entry& e : node_->entries)
      if (e.key->text == key) return e.value;
  return nullptr;
}

Place Mapping::place(std::string_view key) const {
  const YamlNode* value = find(key);
  return value != nullptr ? value->at : at_;
}

const YamlNode* Mapping::first_key() const {
  return node_ == nullptr || node_->entries.empty() ? nullptr : node_->entries.front().key;
}

const YamlNode* Mapping::any(const std::string& key, Need need) {
  if (node_ == nullptr) return nullptr;
  known_.push_back(key);
  const YamlNode* value = find(key);
  if (value == nullptr && need == Need::must) missing_.push_back(key);
  return value;
}

const YamlNode* Mapping::list(const std::string& key, Need need, std::size_t most) {
  const YamlNode* node = any(key, need);
  return node != nullptr && is_list(*node, "'" + key + "'", errors_, most) ? node : nullptr;
}

bool Mapping::number(const std::string& key, double& into, const Range& range, Need need) {
  const YamlNode* node = any(key, need);
  return node != nullptr && read_number(*node, "'" + key + "'", into, range, errors_);
}

bool Mapping::number(const std::string& key, std::optional<double>& into, const Range& range, Need need) {
  double value = 0;
  if (!number(key, value, range, need)) return false;
  into = value;
  return true;
}

bool Mapping::milliseconds(const std::string& key, Nanos& into, const Range& range, Need need) {
  double ms = 0;
  if (!number(key, ms, range, need)) return false;
  into = std::llround(ms * static_cast<double>(ns_per_ms));
  return true;
}

bool Mapping::whole(const std::string& key, std::uint64_t& into, std::uint64_t lowest, std::uint64_t highest,
                    Need need) {
  const YamlNode* node = any(key, need);
  if (node == nullptr) return false;
  const std::string& text = node->text;
  const bool plain = node->kind == YamlNode::Kind::scalar && !node->quoted && !text.empty() &&
                     decimal_length(text) == text.size();
  const std::optional<std::uint64_t> value = parse_number<std::uint64_t>(text);
  if (!plain || !value || *value < lowest || *value > highest) {
    errors_.add(node->at, "'" + key + "' is " + found_text(*node),
                "a whole number from " + std::to_string(lowest) + " to " + std::to_string(highest));
    return false;
  }
  into = *value;
  return true;
}

bool Mapping::flag(const std::string& key, bool& into, Need need) {
  const YamlNode* node = any(key, need);
  if (node == nullptr) return false;
  const bool plain = node->kind == YamlNode::Kind::scalar && !node->quoted;
  if (!plain || (node->text != "true" && node->text != "false")) {
    errors_.add(node->at, "'" + key + "' is " + found_text(*node), "true or false");
    return false;
  }
  into = node->text == "true";
  return true;
}

bool Mapping::duration(const std::string& key, Nanos& into, Need need) {
  const YamlNode* node = any(key, need);
  if (node == nullptr) return false;
  const std::optional<Nanos> value = plain_duration(*node);
  if (!value) {
    errors_.add(node->at, "'" + key + "' is " + found_text(*node), std::string(duration_rule));
    return false;
  }
  if (*value <= 0 || *value > longest_duration) {
    errors_.add(node->at, "'" + key + "' is " + found_text(*node),
                "a duration above 0, at most 168h (7 days)");
    return false;
  }
  into = *value;
  return true;
}

bool Mapping::volts(const std::string& key, double& into, Need need) {
  const YamlNode* node = any(key, need);
  if (node == nullptr) return false;
  constexpr double most = 60;
  const std::string_view text = node->kind == YamlNode::Kind::scalar ? std::string_view(node->text) : "";
  const std::size_t length = decimal_length(text);
  const std::optional<double> value = decimal(text.substr(0, length));
  if (!value || text.substr(length) != "V" || !(*value > 0 && *value <= most)) {
    errors_.add(node->at, "'" + key + "' is " + found_text(*node),
                "a voltage above 0, at most 60V, with its unit, such as 9V or 13.8V");
    return false;
  }
  into = *value;
  return true;
}

bool Mapping::text(const std::string& key, std::string& into, Need need) {
  const YamlNode* node = any(key, need);
  return node != nullptr && read_text(*node, "'" + key + "'", into, errors_);
}

bool Mapping::name(const std::string& key, std::string& into, Need need) {
  const YamlNode* node = any(key, need);
  return node != nullptr && read_name(*node, "'" + key + "'", into, errors_);
}

bool Mapping::choice(const std::string& key, std::string& into, const std::vector<std::string>& allowed,
                     Need need) {
  const YamlNode* node = any(key, need);
  if (node == nullptr) return false;
  if (node->kind == YamlNode::Kind::scalar &&
      std::find(allowed.begin(), allowed.end(), node->text) != allowed.end()) {
    into = node->text;
    return true;
  }
  const std::string meant = node->kind == YamlNode::Kind::scalar ? nearest(node->text, allowed) : "";
  errors_.add(node->at, "'" + key + "' is " + found_text(*node),
              meant.empty() ? "allowed: " + joined(allowed) : "did you mean '" + meant + "'?");
  return false;
}

bool Mapping::selector(const std::string& key, std::string& into, const std::vector<std::string>& allowed) {
  if (sound() && !has(key)) errors_.add(at_, "no '" + key + "' in " + what_, "allowed: " + joined(allowed));
  return choice(key, into, allowed, Need::may);
}

bool Mapping::spoilt(const std::string& key) const {
  return node_ == nullptr || std::find(missing_.begin(), missing_.end(), key) != missing_.end() ||
         std::find(meant_.begin(), meant_.end(), key) != meant_.end();
}

void Mapping::finish() {
  if (node_ == nullptr) return;
  std::map<std::string, const YamlNode*> seen;
  for (const YamlNode::Entry& e : node_->entries) {
    const std::string& key = e.key->text;
    const auto [first, is_new] = seen.try_emplace(key, e.key);
    if (!is_new) {
      errors_.add_key(
          e.key->at,
          "'" + on_one_line(key) + "' again, first on line " + std::to_string(first->second->at.line),
          "each key once");
      continue;
    }
    if (std::find(known_.begin(), known_.end(), key) != known_.end()) continue;
    std::string allowed;
    const std::size_t colon = key.find(':');
    const std::string meant = nearest(key.substr(0, colon), known_);
    if (colon != std::string::npos && e.value->kind == YamlNode::Kind::nothing)
      allowed = "a colon needs a blank after it";
    else if (!meant.empty())
      allowed = "did you mean '" + meant + "'?";
    else
      allowed = "allowed: " + joined(known_);
    const std::string found = "unknown key '" + on_one_line(key) + "'";
    if (meant.empty()) {
      errors_.add_key(e.key->at, found, allowed);
    } else {
      meant_.push_back(meant);
      errors_.add(e.key->at, found, allowed);
    }
  }
  // A misspelt key is not missing as well.
  for (const std::string& key : missing_) {
    if (std::find(meant_.begin(), meant_.end(), key) != meant_.end()) continue;
    errors_.add(at_, "no '" + key + "' in " + what_, "a required key");
  }
}

}  // namespace tachproof
