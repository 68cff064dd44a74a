#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <limits>
#include <unordered_map>
#include <utility>

#include "bench/formats/digits.h"
#include "bench/formats/pending_changes.h"
#include "bench/formats/readers.h"
#include "bench/formats/vcd_channels.h"
#include "bench/formats/vcd_header.h"

namespace tachproof {
namespace {

constexpr std::uint8_t no_level = 0xff;

// By character: IEEE 1364's four values and VHDL's nine, weak ones as strong.
constexpr std::array<std::uint8_t, 256> level_table = [] {
  std::array<std::uint8_t, 256> table{};
  table.fill(no_level);
  for (const char c : {'0', 'l', 'L'})
    table[static_cast<unsigned char>(c)] = static_cast<std::uint8_t>(Level::low);
  for (const char c : {'1', 'h', 'H'})
    table[static_cast<unsigned char>(c)] = static_cast<std::uint8_t>(Level::high);
  for (const char c : {'x', 'X', 'z', 'Z', 'u', 'U', 'w', 'W', '-'}) {
    table[static_cast<unsigned char>(c)] = static_cast<std::uint8_t>(Level::unknown);
  }
  return table;
}();

std::uint8_t level_of(char c) { return level_table[static_cast<unsigned char>(c)]; }

// What every variable with one identifier code has in common.
struct Signal {
  VcdKind kind = VcdKind::bits;
  std::uint32_t width = 1;
  struct Tap {
    std::uint32_t bit = 0;  // from the right
    std::uint32_t channel = 0;
  };
  std::vector<Tap> taps;
};

class VcdReader : public RecordingReader {
 public:
  VcdReader(LineBuffer lines, const std::vector<std::string>& wanted);

  const std::vector<std::string>& channels() const override { return names_; }
  Nanos resolution() const override { return static_cast<Nanos>(scale_.multiply); }
  std::size_t next(std::span<ChannelChange> out) override;
  bool truncated() const override { return !trouble_.empty(); }
  std::string trouble() const override { return trouble_; }
  Nanos end() const override { return now_; }

 private:
  // Where in the grammar the next word stands.
  enum class Place : std::uint8_t { change, comment, vector_code, other_code };

  // What the quick path does with a code: one of these, or a channel + quick_channel.
  static constexpr std::uint32_t quick_no = 0;      // not known, or not simple: the word by word path
  static constexpr std::uint32_t quick_ignore = 1;  // known, not wanted
  static constexpr std::uint32_t quick_channel = 2;

  std::size_t quick(std::span<ChannelChange> out);
  void slow_word();
  void keyword(std::string_view word);
  void time(std::string_view word);
  void set_time(std::uint64_t raw);
  const Signal& signal(std::string_view code);
  void bits(std::string_view value, std::string_view code);
  void apply(std::uint32_t channel, Level level);
  void all_unknown();
  void begin_changes();
  void at_end();
  Nanos to_nanos(std::uint64_t since_first) const {
    if (scale_.divide == 1) return static_cast<Nanos>(since_first * scale_.multiply);
    return static_cast<Nanos>((since_first + scale_.divide / 2) / scale_.divide);
  }

  LineBuffer lines_;
  std::vector<std::string> names_;
  VcdTimescale scale_;
  std::uint64_t longest_ = 0;  // ticks since the first time that nanoseconds can hold

  std::vector<Signal> signals_;
  std::unordered_map<std::string, std::size_t> signal_of_;  // by identifier code
  std::array<std::uint32_t, 256> quick_one_{};              // codes of one character
  std::vector<std::uint32_t> quick_two_;                    // of two; empty when there are none

  std::vector<Level> levels_;  // of the wanted channels
  PendingChanges pending_;

  Place place_ = Place::change;
  std::string block_;  // "$dumpvars", ... while its $end is to come
  std::string value_;  // of a vector whose code is to come
  std::size_t value_line_ = 0;

  bool has_time_ = false;
  bool past_first_ = false;  // the first time's levels are complete and given
  std::uint64_t first_ = 0;
  std::uint64_t last_ = 0;
  unsigned time_digits_ = 1;  // of the last time
  Nanos now_ = 0;
  bool done_ = false;
  std::string trouble_;
};

VcdReader::VcdReader(LineBuffer lines, const std::vector<std::string>& wanted) : lines_(std::move(lines)) {
  const VcdHeader header = read_vcd_header(lines_);
  scale_ = header.timescale;
  constexpr auto most_ns = static_cast<std::uint64_t>(std::numeric_limits<Nanos>::max());
  longest_ = scale_.divide == 1 ? most_ns / scale_.multiply
                                : std::numeric_limits<std::uint64_t>::max() - scale_.divide / 2;

  for (const VcdVariable& v : header.variables) {
    const auto [at, is_new] = signal_of_.try_emplace(v.code, signals_.size());
    if (is_new) signals_.push_back({v.kind, v.width, {}});
    Signal& s = signals_[at->second];
    if (s.kind != v.kind) {
      throw RecordingError(fmt::format("{}: identifier code {} is shared by variables of different kinds",
                                       lines_.file(), as_shown(v.code)));
    }
    s.width = std::max(s.width, v.width);
  }
  VcdChannels channels(header.variables);
  for (std::uint32_t i = 0; i < wanted.size(); ++i) {
    const VcdBit bit = channels.find(wanted[i], lines_.file());
    signals_[signal_of_.at(bit.code)].taps.push_back({bit.bit, i});
  }
  names_ = channels.take_names();
  levels_.assign(wanted.size(), Level::unknown);

  for (const auto& [code, index] : signal_of_) {
    const Signal& s = signals_[index];
    const bool simple = s.kind == VcdKind::bits && s.width == 1 && s.taps.size() == 1;
    const bool ignored = (s.kind == VcdKind::bits && s.taps.empty()) || s.kind == VcdKind::event;
    const std::uint32_t what = simple ? s.taps[0].channel + quick_channel : ignored ? quick_ignore : quick_no;
    if (code.size() == 1) quick_one_[static_cast<unsigned char>(code[0])] = what;
    if (code.size() == 2) {
      quick_two_.resize(std::size_t{1} << 16);
      quick_two_[static_cast<unsigned char>(code[0]) << 8 | static_cast<unsigned char>(code[1])] = what;
    }
  }
}

std::size_t VcdReader::next(std::span<ChannelChange> out) {
  std::size_t n = 0;
  while (n < out.size()) {
    n += pending_.give(out.subspan(n));
    if (n == out.size()) break;
    if (done_) break;
    if (lines_.next == lines_.limit) {
      if (!lines_.more()) at_end();
      continue;
    }
    if (past_first_ && place_ == Place::change && block_.empty()) n += quick(out.subspan(n));
    if (n < out.size()) slow_word();
  }
  return n;
}

// Predictive reading: a word is taken for a time with as many digits as the
// last one, or for a level and a code of one or two characters; that is then
// checked in full. Anything else is left to slow_word.
std::size_t VcdReader::quick(std::span<ChannelChange> out) {
  const char* p = lines_.next;
  const char* const limit = lines_.limit;
  std::size_t line = lines_.line;
  std::size_t n = 0;
  while (p < limit && n < out.size()) {
    if (*p == '#') {
      std::uint64_t raw = 0;
      if (!read_digits(p + 1, time_digits_, raw) || !is_blank(p[1 + time_digits_])) break;
      if (raw < last_ || raw - first_ > longest_) break;
      last_ = raw;
      now_ = to_nanos(raw - first_);
      p += 1 + time_digits_;
    } else if (const std::uint8_t level = level_of(*p); level != no_level) {
      const auto a = static_cast<unsigned char>(p[1]);
      const auto b = static_cast<unsigned char>(p[2]);
      std::uint32_t what = quick_no;
      std::size_t length = 2;
      if (is_blank(p[2])) {
        what = quick_one_[a];
      } else if (is_blank(p[3]) && !quick_two_.empty()) {
        what = quick_two_[a << 8 | b];
        length = 3;
      }
      if (what == quick_no) break;
      if (what >= quick_channel) {
        Level& known = levels_[what - quick_channel];
        if (known != static_cast<Level>(level)) {
          known = static_cast<Level>(level);
          out[n++] = {now_, what - quick_channel, known};
        }
      }
      p += length;
    } else if (!is_blank(*p)) {
      break;
    }
    // The blank that ends the word, or one more of them.
    line += *p++ == '\n';
  }
  lines_.next = p;
  lines_.line = line;
  return n;
}

void VcdReader::slow_word() {
  const std::string_view word = lines_.word();
  if (word.empty()) return;
  switch (place_) {
    case Place::comment:
      if (word == "$end") {
        place_ = Place::change;
      } else if (word.ends_with("$end")) {
        lines_.fail(as_shown(word) + "; a blank must stand before $end");
      }
      return;
    case Place::vector_code:
      place_ = Place::change;
      bits(value_, word);
      return;
    case Place::other_code:
      place_ = Place::change;
      if (const VcdKind kind = signal(word).kind; kind != VcdKind::real && kind != VcdKind::string) {
        lines_.fail(fmt::format("a real or string value for {}, which has bits", as_shown(word)));
      }
      return;
    case Place::change: break;
  }
  switch (word[0]) {
    case '#': return time(word.substr(1));
    case '$': return keyword(word);
    case 'b':
    case 'B':
      if (word.size() < 2 ||
          !std::all_of(word.begin() + 1, word.end(), [](char c) { return level_of(c) != no_level; })) {
        lines_.fail("vector value " + as_shown(word) + "; b and digits 0, 1, x or z are allowed");
      }
      value_ = word.substr(1);
      value_line_ = lines_.line;
      place_ = Place::vector_code;
      return;
    case 'r':
    case 'R':
    case 's':
    case 'S':
      value_line_ = lines_.line;
      place_ = Place::other_code;
      return;
    default:
      if (level_of(word[0]) == no_level || word.size() < 2) {
        lines_.fail(as_shown(word) + " is not a time, value change or $ keyword");
      }
      bits(word.substr(0, 1), word.substr(1));
  }
}

void VcdReader::keyword(std::string_view word) {
  if (word == "$comment") {
    place_ = Place::comment;
  } else if (word == "$end") {
    if (block_.empty()) lines_.fail("a $end that ends nothing");
    block_.clear();
  } else if (word == "$dumpvars" || word == "$dumpall" || word == "$dumpon" || word == "$dumpoff") {
    if (!block_.empty()) lines_.fail(fmt::format("{} inside of {}; its $end is missing", word, block_));
    block_ = word;
    if (word == "$dumpoff") all_unknown();
  } else {
    lines_.fail(as_shown(word) + " after $enddefinitions; $comment and $dump... may stand there");
  }
}

void VcdReader::time(std::string_view digits) {
  std::uint64_t raw = 0;
  const char* const end = digits.data() + digits.size();
  const auto [last, error] = std::from_chars(digits.data(), end, raw);
  const std::string shown = as_shown("#" + std::string(digits));
  if (error == std::errc::result_out_of_range && last == end) lines_.fail("time " + shown + " is too large");
  if (error != std::errc{} || last != end)
    lines_.fail(shown + " is not a time; # and a whole number are allowed");
  if (!block_.empty()) lines_.fail(fmt::format("time {} inside of {}; its $end is missing", shown, block_));
  set_time(raw);
  time_digits_ = std::clamp<unsigned>(static_cast<unsigned>(digits.size()), 1, 16);
}

void VcdReader::set_time(std::uint64_t raw) {
  if (!has_time_) {
    has_time_ = true;
    first_ = last_ = raw;
    return;
  }
  if (raw < last_) lines_.fail(fmt::format("time goes backwards, from #{} to #{}", last_, raw));
  if (raw - first_ > longest_) lines_.fail(fmt::format("time '#{}' is too large", raw));
  if (raw == last_) return;
  if (!past_first_) begin_changes();
  last_ = raw;
  now_ = to_nanos(raw - first_);
}

void VcdReader::begin_changes() {
  past_first_ = true;
  for (std::uint32_t i = 0; i < levels_.size(); ++i) pending_.add({now_, i, levels_[i]});
}

const Signal& VcdReader::signal(std::string_view code) {
  const auto at = signal_of_.find(std::string(code));
  if (at == signal_of_.end()) lines_.fail("identifier code " + as_shown(code) + " was not declared");
  return signals_[at->second];
}

// A value that is shorter than its variable is extended to the left: by 0
// after 0 or 1, else by its own first digit (IEEE 1364-2005, 18.2.1).
void VcdReader::bits(std::string_view value, std::string_view code) {
  const Signal& s = signal(code);
  if (s.kind == VcdKind::event) return;
  if (s.kind != VcdKind::bits) {
    lines_.fail(fmt::format("a bit value for {}, which is a real or a string", as_shown(code)));
  }
  if (value.size() > s.width) {
    lines_.fail(
        fmt::format("a value of {} bits for {}, which has {}", value.size(), as_shown(code), s.width));
  }
  const auto leftmost = static_cast<Level>(level_of(value[0]));
  const Level extension = leftmost == Level::unknown ? Level::unknown : Level::low;
  for (const Signal::Tap& tap : s.taps) {
    const bool given = tap.bit < value.size();
    apply(tap.channel, given ? static_cast<Level>(level_of(value[value.size() - 1 - tap.bit])) : extension);
  }
}

void VcdReader::apply(std::uint32_t channel, Level level) {
  if (block_ == "$dumpoff") return;  // nothing in it is evidence
  if (levels_[channel] == level) return;
  levels_[channel] = level;
  if (past_first_) pending_.add({now_, channel, level});
}

void VcdReader::all_unknown() {
  for (std::uint32_t i = 0; i < levels_.size(); ++i) {
    if (levels_[i] != Level::unknown && past_first_) pending_.add({now_, i, Level::unknown});
    levels_[i] = Level::unknown;
  }
}

void VcdReader::at_end() {
  done_ = true;
  if (!has_time_) lines_.fail("the file ends before its first time; there is nothing in it");
  if (!past_first_) begin_changes();
  const std::string_view rest = lines_.rest();
  if (!std::all_of(rest.begin(), rest.end(), is_blank)) {
    trouble_ = fmt::format("{}:{}: the last line, {}, has no end; the file was cut off there", lines_.file(),
                           lines_.line, as_shown(rest));
  } else if (place_ == Place::comment) {
    trouble_ = fmt::format("{}:{}: the file ends inside of a $comment", lines_.file(), lines_.line);
  } else if (place_ != Place::change) {
    trouble_ = fmt::format("{}:{}: the file ends between a value and its identifier code", lines_.file(),
                           value_line_);
  } else if (!block_.empty()) {
    trouble_ = fmt::format("{}:{}: the file ends inside of {}", lines_.file(), lines_.line, block_);
  }
}

}  // namespace

std::unique_ptr<RecordingReader> open_vcd(LineBuffer lines, const std::vector<std::string>& wanted) {
  return std::make_unique<VcdReader>(std::move(lines), wanted);
}

}  // namespace tachproof
