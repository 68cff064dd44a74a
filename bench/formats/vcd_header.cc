#include "bench/formats/vcd_header.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "bench/formats/digits.h"

namespace tachproof {
namespace {

using namespace std::string_view_literals;

// IEEE 1364 and, as other programs write them too, SystemVerilog's and more.
constexpr std::array bit_types = {
    "wire"sv,    "reg"sv,      "logic"sv,   "bit"sv,    "integer"sv, "parameter"sv, "time"sv,
    "supply0"sv, "supply1"sv,  "tri"sv,     "triand"sv, "trior"sv,   "trireg"sv,    "tri0"sv,
    "tri1"sv,    "wand"sv,     "wor"sv,     "port"sv,   "in"sv,      "out"sv,       "inout"sv,
    "int"sv,     "shortint"sv, "longint"sv, "byte"sv,   "enum"sv,    "sparray"sv,
};
constexpr std::array real_types = {"real"sv, "realtime"sv, "shortreal"sv, "real_parameter"sv};

constexpr std::uint32_t widest = 1u << 20;
// A name is kept for every bit, with all its scopes: a short header can ask for much memory.
constexpr std::size_t most_name_bytes = std::size_t{32} << 20;
constexpr std::size_t bytes_beside_a_name = 100;

template <typename List>
bool contains(const List& list, std::string_view word) {
  return std::find(list.begin(), list.end(), word) != list.end();
}

class HeaderParser {
 public:
  explicit HeaderParser(LineBuffer& lines) : lines_(lines) {}

  VcdHeader parse() {
    std::string keyword = word("$enddefinitions");
    while (keyword == "META") {  // see line_buffer.h
      lines_.next = std::find(lines_.next, lines_.limit, '\n');
      keyword = word("$enddefinitions");
    }
    for (;; keyword = word("$enddefinitions")) {
      if (keyword == "$enddefinitions") {
        end_of(keyword);
        break;
      }
      if (keyword.size() < 2 || keyword[0] != '$') {
        lines_.fail(as_shown(keyword) +
                    " before $enddefinitions; only declarations such as $var may stand there");
      }
      if (keyword == "$end") lines_.fail("a $end that ends nothing");
      section(keyword);
    }
    if (!has_timescale_) lines_.fail("no $timescale before $enddefinitions; without it times mean nothing");
    return std::move(header_);
  }

 private:
  void section(const std::string& keyword) {
    if (keyword == "$timescale") {
      timescale();
    } else if (keyword == "$scope") {
      word("the type of the scope");
      scopes_.push_back(unescaped(words_to_end("$scope")));
      if (scopes_.back().empty()) lines_.fail("a $scope without a name");
    } else if (keyword == "$upscope") {
      end_of(keyword);
      if (scopes_.empty()) lines_.fail("a $upscope outside of every scope");
      scopes_.pop_back();
    } else if (keyword == "$var") {
      variable();
    } else {
      // For people; beside these three a program may have keywords of its own.
      const bool standard = keyword == "$comment" || keyword == "$date" || keyword == "$version";
      words_to_end(standard ? keyword : as_shown(keyword));
    }
  }

  void timescale() {
    if (std::exchange(has_timescale_, true)) lines_.fail("a second $timescale");
    std::string text = words_to_end("$timescale");
    text.erase(std::remove(text.begin(), text.end(), ' '), text.end());
    constexpr std::array units = {"s"sv, "ms"sv, "us"sv, "ns"sv, "ps"sv, "fs"sv};
    const std::size_t digits = std::min(text.find_first_not_of("0123456789"), text.size());
    const std::string_view number = std::string_view(text).substr(0, digits);
    const auto unit = std::find(units.begin(), units.end(), std::string_view(text).substr(digits));
    if ((number != "1" && number != "10" && number != "100") || unit == units.end()) {
      lines_.fail("timescale " + as_shown(text) + "; 1, 10 or 100 of s, ms, us, ns, ps or fs are allowed");
    }
    const int exponent = 9 - 3 * static_cast<int>(unit - units.begin()) + static_cast<int>(digits) - 1;
    header_.timescale =
        exponent >= 0 ? VcdTimescale{powers_of_ten[exponent], 1} : VcdTimescale{1, powers_of_ten[-exponent]};
  }

  void variable() {
    VcdVariable v;
    const std::string type = word("the type of a $var");
    if (contains(real_types, type)) {
      v.kind = VcdKind::real;
    } else if (type == "event") {
      v.kind = VcdKind::event;
    } else if (type == "string") {
      v.kind = VcdKind::string;
    } else if (!contains(bit_types, type)) {
      lines_.fail("unknown variable type " + as_shown(type) +
                  "; wire, reg, logic, integer, real and the like are allowed");
    }
    const std::string width = word("the width of a $var");
    const auto [last, error] = std::from_chars(width.data(), width.data() + width.size(), v.width);
    const bool is_number = error == std::errc{} && last == width.data() + width.size();
    if (!is_number || v.width > widest || (v.width == 0 && v.kind == VcdKind::bits)) {
      lines_.fail(fmt::format("variable width {}; 1 to {} bits are allowed", as_shown(width), widest));
    }
    v.code = word("the identifier code of a $var");
    if (std::any_of(v.code.begin(), v.code.end(), [](char c) { return c < '!' || c > '~'; })) {
      lines_.fail("identifier code " + as_shown(v.code) + "; printable ASCII is allowed");
    }
    v.name = words_to_end("$var");
    if (v.name.empty()) lines_.fail("a $var without a name");
    for (const std::string& s : scopes_) v.scope += (v.scope.empty() ? "" : ".") + s;
    split_range(v);
    count_names(v);
    header_.variables.push_back(std::move(v));
  }

  void count_names(const VcdVariable& v) {
    const std::size_t names = v.width <= widest_wired ? v.width : 1;
    name_bytes_ += names * (v.scope.size() + v.name.size() + bytes_beside_a_name);
    if (name_bytes_ > most_name_bytes)
      lines_.fail(
          fmt::format("more than {} MB of channel names; record fewer signals, or in scopes with shorter "
                      "names",
                      most_name_bytes >> 20));
  }

  // `bus [7:0]`, `bus[7:0]`, `bus [3]`. An escaped name ends at its blank, so
  // that brackets within it belong to the name: `\mem[0] `.
  static void split_range(VcdVariable& v) {
    const std::size_t escaped_end = v.name[0] == '\\' ? std::min(v.name.find(' '), v.name.size()) : 0;
    const std::size_t open = v.name.rfind('[');
    if (v.kind == VcdKind::bits && open != std::string::npos && open > 0 && open >= escaped_end &&
        v.name.back() == ']') {
      std::string inner = v.name.substr(open + 1, v.name.size() - open - 2);
      inner.erase(std::remove(inner.begin(), inner.end(), ' '), inner.end());
      VcdVariable::Range range;
      if (parse_range(inner, range) && fits(range, v.width)) {
        v.range = range;
        v.name.erase(open);
        while (!v.name.empty() && v.name.back() == ' ') v.name.pop_back();
      }
    }
    v.name = unescaped(v.name);
  }

  static bool parse_range(std::string_view text, VcdVariable::Range& range) {
    const char* const end = text.data() + text.size();
    auto [p, error] = std::from_chars(text.data(), end, range.left);
    if (error != std::errc{}) return false;
    range.right = range.left;
    range.one_index = p == end;
    if (range.one_index) return true;
    if (*p != ':') return false;
    const auto second = std::from_chars(p + 1, end, range.right);
    return second.ec == std::errc{} && second.ptr == end;
  }

  static bool fits(const VcdVariable::Range& range, std::uint32_t width) {
    return std::max(range.left, range.right) - std::int64_t{std::min(range.left, range.right)} + 1 == width;
  }

  static std::string unescaped(const std::string& name) {
    return name.size() > 1 && name[0] == '\\' ? name.substr(1) : name;
  }

  std::string word(std::string_view wanted, std::string_view section = "") {
    for (;;) {
      const std::string_view w = lines_.word();
      if (!w.empty()) return std::string(w);
      if (!lines_.more()) {
        lines_.fail(fmt::format("the file ends before {}{}; it was cut off in its header", wanted, section));
      }
    }
  }

  // The words up to `$end`, joined by one blank each.
  std::string words_to_end(std::string_view section) {
    const bool to_keep = section == "$var" || section == "$scope" || section == "$timescale";
    std::string all;
    for (;;) {
      const std::string w = word("the $end of ", section);
      if (w == "$end") return all;
      if (w.ends_with("$end")) lines_.fail(as_shown(w) + "; a blank must stand before $end");
      if (to_keep && w.starts_with("$end")) lines_.fail(as_shown(w) + "; a blank must stand around $end");
      if (to_keep) all += (all.empty() ? "" : " ") + w;
    }
  }

  void end_of(std::string_view section) {
    const std::string w = word("the $end of ", section);
    if (w != "$end") lines_.fail(fmt::format("{} after {}; only $end may follow", as_shown(w), section));
  }

  LineBuffer& lines_;
  VcdHeader header_;
  std::vector<std::string> scopes_;
  bool has_timescale_ = false;
  std::size_t name_bytes_ = 0;
};

}  // namespace

VcdHeader read_vcd_header(LineBuffer& lines) { return HeaderParser(lines).parse(); }

}  // namespace tachproof
