// Walking a YAML tree by schema: every key asked for is known, every other one
// is an error, and values are read to the letter.
//
//     Mapping m(node, errors, "a deadband");
//     m.number("rpm", deadband.rpm, Range{0, 20'000}, Need::must);
//     m.choice("sits", sits, {"below", "centred", "above"}, Need::may);
//     m.finish();
//
// The readers below return true when the key was there and sound; then the
// value is set, else it is left alone and what is wrong is in the list (an
// optional key may be absent without an error).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/errors.h"
#include "bench/files/yaml_tree.h"
#include "core/base/time.h"

namespace tachproof {

enum class Need { must, may };

struct Range {
  double lowest = 0;
  double highest = 0;
  bool above_lowest = false;   // the lowest itself is not allowed
  bool below_highest = false;  // nor the highest
  bool holds(double x) const {
    return (above_lowest ? x > lowest : x >= lowest) && (below_highest ? x < highest : x <= highest);
  }
  std::string words() const;  // "a number above 0, at most 60"
};

// "nothing", "'3x'", "\"3\" in quotes", "a list", "a mapping".
std::string found_text(const YamlNode& node);

// A plain decimal: 12, -0.5, +3, 1e-5; no leading zeros, no 1_000, no .inf.
std::optional<double> plain_number(const YamlNode& node);
// A plain decimal and the word right behind it: 12.5 and "km/h". Nothing without a number in front.
struct WithUnit {
  double value = 0;
  std::string_view unit;
};
std::optional<WithUnit> number_and_unit(std::string_view text);
// 250ms, 0.5s, 20us, 5min, 24h.
std::optional<Nanos> plain_duration(const YamlNode& node);
inline constexpr std::string_view duration_rule =
    "a duration with its unit (us, ms, s, min or h), such as 250ms, 10s or 5min";

bool read_number(const YamlNode& node, const std::string& label, double& into, const Range& range,
                 ErrorList& errors);
// One line of text, not empty. Unquoted words that YAML 1.1 took for booleans
// (on, off, y, n) are text.
bool read_text(const YamlNode& node, const std::string& label, std::string& into, ErrorList& errors);
bool read_name(const YamlNode& node, const std::string& label, std::string& into, ErrorList& errors);
inline constexpr std::size_t any_number = max_nodes;
// True when it is one, neither empty nor longer than `most`; else says so.
bool is_list(const YamlNode& node, const std::string& label, ErrorList& errors,
             std::size_t most = any_number);

// "unknown lamp 'lef'; did you mean 'left'?", or the list of what is allowed.
void unknown_word(Place at, const std::string& what, const std::string& word,
                  const std::vector<std::string>& allowed, ErrorList& errors);

std::string joined(const std::vector<std::string>& words);  // "a, b, c"

class Mapping {
 public:
  // `what`, for messages: "a lamp". A node that is no mapping is an error, and
  // nothing more is said about its keys.
  Mapping(const YamlNode& node, ErrorList& errors, std::string what);

  bool sound() const { return node_ != nullptr; }
  Place at() const { return at_; }
  // Where the key's value is; the mapping itself when it is not there.
  Place place(std::string_view key) const;
  // The value without asking for the key: it stays unknown.
  const YamlNode* find(std::string_view key) const;
  bool has(std::string_view key) const { return find(key) != nullptr; }
  const YamlNode* first_key() const;  // null when there is none

  // The value, whatever it is; null when it is absent.
  const YamlNode* any(const std::string& key, Need need);
  const YamlNode* list(const std::string& key, Need need, std::size_t most = any_number);

  bool number(const std::string& key, double& into, const Range& range, Need need);
  bool number(const std::string& key, std::optional<double>& into, const Range& range, Need need);
  // The key gives milliseconds, the program has nanoseconds.
  bool milliseconds(const std::string& key, Nanos& into, const Range& range, Need need);
  bool whole(const std::string& key, std::uint64_t& into, std::uint64_t lowest, std::uint64_t highest,
             Need need);
  bool flag(const std::string& key, bool& into, Need need);
  bool duration(const std::string& key, Nanos& into, Need need);  // above 0, at most 7 days
  bool volts(const std::string& key, double& into, Need need);    // 9V, 13.8V; above 0, at most 60 V
  bool text(const std::string& key, std::string& into, Need need);
  bool name(const std::string& key, std::string& into, Need need);
  bool choice(const std::string& key, std::string& into, const std::vector<std::string>& allowed, Need need);
  // A required choice that decides which other keys belong: says at once when
  // it is missing.
  bool selector(const std::string& key, std::string& into, const std::vector<std::string>& allowed);

  // Repeated, unknown and missing keys. Call once, after all others.
  void finish();
  // After finish: a required key is missing, or a misspelt one was meant.
  bool spoilt(const std::string& key) const;

 private:
  const YamlNode* node_ = nullptr;  // null: no mapping
  Place at_;
  ErrorList& errors_;
  std::string what_;
  std::vector<std::string> known_;  // in the order asked for
  std::vector<std::string> missing_;
  std::vector<std::string> meant_;  // by unknown keys
};

inline constexpr Nanos longest_duration = 7 * 24 * 3600 * ns_per_s;

}  // namespace tachproof
