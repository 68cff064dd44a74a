#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <limits>
#include <optional>
#include <utility>

#include "bench/formats/channel_names.h"
#include "bench/formats/csv_header.h"
#include "bench/formats/csv_times.h"
#include "bench/formats/digits.h"
#include "bench/formats/pending_changes.h"
#include "bench/formats/readers.h"

namespace tachproof {
namespace {

std::optional<Level> level_of(std::string_view cell) {
  if (cell.size() > 2 && cell.front() == '"' && cell.back() == '"') cell = cell.substr(1, cell.size() - 2);
  if (cell.empty()) return Level::unknown;
  if (cell.size() == 1) {
    switch (cell[0]) {
      case '0': return Level::low;
      case '1': return Level::high;
      case 'x':
      case 'X':
      case 'z':
      case 'Z': return Level::unknown;
      default: break;
    }
  }
  return std::nullopt;
}

constexpr std::size_t pending_enough = 1024;
constexpr std::size_t padding = 8;

// memcmp without a call: rows are short. Up to 7 bytes behind `size` are read.
bool same(const char* a, const char* b, std::size_t size) {
  for (std::size_t i = 0; i < size; i += 8) {
    std::uint64_t x = 0;
    std::uint64_t y = 0;
    std::memcpy(&x, a + i, 8);
    std::memcpy(&y, b + i, 8);
    const std::size_t left = size - i;
    const std::uint64_t counted = left >= 8 ? ~std::uint64_t{0} : (std::uint64_t{1} << (8 * left)) - 1;
    if (((x ^ y) & counted) != 0) return false;
  }
  return true;
}

class CsvReader : public RecordingReader {
 public:
  CsvReader(LineBuffer lines, const std::vector<std::string>& wanted, std::string_view head);

  const std::vector<std::string>& channels() const override { return header_.channels; }
  Nanos resolution() const override { return resolution_; }
  std::size_t next(std::span<ChannelChange> out) override;
  bool truncated() const override { return !trouble_.empty(); }
  std::string trouble() const override { return trouble_; }
  Nanos end() const override { return now_; }

 private:
  // Where things were in the last row that was read in full. The next is
  // assumed to be laid out alike, which is checked byte by byte.
  struct Layout {
    bool usable = false;
    unsigned whole = 0;                 // digits before the point
    unsigned fraction = 0;              // and after it
    std::string rest;                   // what follows the time, newline included; then padding
    std::vector<std::size_t> level_at;  // in `rest`, of each column
  };

  bool quick_rows();
  bool quick_levels(const char* rest, std::size_t size);
  void split(std::string_view row);
  void read_cells();
  void learn(std::string_view row);
  void set_time(Nanos at);
  void begin_changes();
  void apply(std::size_t column, Level level);
  void at_end();

  LineBuffer lines_;
  CsvHeader header_;
  Nanos resolution_ = 1;
  std::vector<std::vector<std::uint32_t>> wanted_by_;  // by column: indices into the wanted list
  std::vector<Level> levels_;                          // of the wanted channels
  std::vector<std::string_view> cells_;                // of one row
  Layout layout_;
  PendingChanges pending_;
  bool has_time_ = false;
  bool past_first_ = false;
  Nanos first_ = 0;  // as written
  Nanos now_ = 0;    // since the first
  bool done_ = false;
  std::string trouble_;
};

CsvReader::CsvReader(LineBuffer lines, const std::vector<std::string>& wanted, std::string_view head)
    : lines_(std::move(lines)), header_(read_csv_header(lines_)) {
  wanted_by_.resize(header_.channels.size());
  for (std::uint32_t i = 0; i < wanted.size(); ++i) {
    const auto at = std::find(header_.channels.begin(), header_.channels.end(), wanted[i]);
    if (at == header_.channels.end()) {
      throw RecordingError(
          fmt::format("{}: {}", lines_.file(), no_such_channel(wanted[i], header_.channels)));
    }
    wanted_by_[static_cast<std::size_t>(at - header_.channels.begin())].push_back(i);
  }
  levels_.assign(wanted.size(), Level::unknown);
  resolution_ = csv_resolution(head, header_);
}

std::size_t CsvReader::next(std::span<ChannelChange> out) {
  std::size_t n = 0;
  while (n < out.size()) {
    n += pending_.give(out.subspan(n));
    if (n == out.size()) break;
    if (done_) break;
    if (lines_.next == lines_.limit) {
      if (!lines_.more()) at_end();
      continue;
    }
    if (quick_rows()) continue;
    const char* const begin = lines_.next;
    split(csv_line(lines_.next, lines_.limit));
    read_cells();
    learn({begin, static_cast<std::size_t>(lines_.next - begin)});
    ++lines_.line;
  }
  return n;
}

// Rows that the layout fits, until there are changes enough to hand out.
// False when the row at hand must be read cell by cell.
bool CsvReader::quick_rows() {
  if (!layout_.usable || !past_first_) return false;
  const unsigned whole_digits = layout_.whole;
  const unsigned fraction_digits = layout_.fraction;
  const std::uint64_t fraction_unit = powers_of_ten[9 - fraction_digits];
  const std::size_t rest_at = whole_digits + 1 + fraction_digits;
  const std::size_t rest_size = layout_.rest.size() - padding;
  const std::size_t size = rest_at + rest_size;
  const char* const last_rest = layout_.rest.data();
  const auto rows_at_hand = static_cast<std::size_t>(lines_.limit - lines_.next) / size;
  const char* p = lines_.next;
  Nanos now = now_;
  std::size_t rows = 0;
  while (rows < rows_at_hand && pending_.size() < pending_enough) {
    std::uint64_t whole = 0;
    std::uint64_t fraction = 0;
    if (p[whole_digits] != '.' || !read_digits(p, whole_digits, whole) ||
        !read_digits(p + whole_digits + 1, fraction_digits, fraction)) {
      break;
    }
    // At most 9 digits on either side: see learn.
    const auto at = static_cast<Nanos>(whole * 1'000'000'000 + fraction * fraction_unit) - first_;
    if (at < now) break;
    if (!same(p + rest_at, last_rest, rest_size)) {
      now_ = at;
      if (!quick_levels(p + rest_at, rest_size)) {
        now_ = now;
        break;
      }
    }
    now = at;
    p += size;
    ++rows;
  }
  now_ = now;
  lines_.next = p;
  lines_.line += rows;
  return rows > 0;
}

// What follows the time of a row, laid out as before but for levels.
bool CsvReader::quick_levels(const char* rest, std::size_t size) {
  for (const std::size_t i : layout_.level_at) {
    if (rest[i] == '0' || rest[i] == '1') layout_.rest[i] = rest[i];
  }
  if (!same(rest, layout_.rest.data(), size)) {
    layout_.usable = false;
    return false;
  }
  for (std::size_t c = 0; c < layout_.level_at.size(); ++c) {
    apply(c, rest[layout_.level_at[c]] == '1' ? Level::high : Level::low);
  }
  return true;
}

void CsvReader::split(std::string_view row) {
  cells_.clear();
  if (trimmed(row).empty()) return;
  for (std::size_t begin = 0;;) {
    const std::size_t end = std::min(row.find(header_.separator, begin), row.size());
    cells_.push_back(trimmed(row.substr(begin, end - begin)));
    if (end == row.size()) break;
    begin = end + 1;
  }
}

void CsvReader::read_cells() {
  if (cells_.empty()) return;  // a line of blanks
  if (cells_.size() != header_.channels.size() + 1) {
    lines_.fail(fmt::format("{} columns; the header has {}", cells_.size(), header_.channels.size() + 1));
  }
  CsvNumber number;
  const auto at = csv_time(cells_[0], header_.unit_exponent, number);
  if (!at) lines_.fail("time " + as_shown(cells_[0]) + "; a number of seconds within 4e9 is needed");
  set_time(*at);
  // In exponent form the last digit is worth the more the later it is.
  if (number.exponent_form && number.digits != 0) {
    resolution_ = std::max(resolution_, csv_last_digit(number, header_.unit_exponent));
  }
  for (std::size_t c = 0; c < header_.channels.size(); ++c) {
    const auto level = level_of(cells_[c + 1]);
    if (!level) {
      lines_.fail(fmt::format("{} in column {}; 0, 1, x, z or nothing are allowed", as_shown(cells_[c + 1]),
                              as_shown(header_.channels[c])));
    }
    apply(c, *level);
  }
}

// Only plain rows get a layout: no sign, a point, up to 9 digits on either
// side, no quotes, every level 0 or 1.
void CsvReader::learn(std::string_view row) {
  layout_.usable = false;
  if (header_.unit_exponent != 0 || cells_.empty()) return;
  const auto digits = [&](std::size_t from) {
    std::size_t n = 0;
    while (from + n < row.size() && row[from + n] >= '0' && row[from + n] <= '9') ++n;
    return n;
  };
  const std::size_t whole = digits(0);
  if (whole < 1 || whole > 9 || row[whole] != '.') return;
  const std::size_t fraction = digits(whole + 1);
  if (fraction < 1 || fraction > 9) return;
  const std::size_t rest_at = whole + 1 + fraction;
  if (rest_at != cells_[0].size()) return;
  layout_.level_at.clear();
  for (std::size_t c = 1; c < cells_.size(); ++c) {
    if (cells_[c] != "0" && cells_[c] != "1") return;
    layout_.level_at.push_back(static_cast<std::size_t>(cells_[c].data() - row.data()) - rest_at);
  }
  layout_.whole = static_cast<unsigned>(whole);
  layout_.fraction = static_cast<unsigned>(fraction);
  layout_.rest = row.substr(rest_at);
  layout_.rest.append(padding, '\0');
  layout_.usable = true;
}

void CsvReader::set_time(Nanos at) {
  if (!has_time_) {
    has_time_ = true;
    first_ = at;
    return;
  }
  const Nanos since = at - first_;
  if (since < now_) {
    lines_.fail(fmt::format("time goes backwards, from {:.9f} s to {:.9f} s", to_seconds(now_ + first_),
                            to_seconds(at)));
  }
  if (since > now_ && !past_first_) begin_changes();
  now_ = since;
}

void CsvReader::begin_changes() {
  past_first_ = true;
  for (std::uint32_t i = 0; i < levels_.size(); ++i) pending_.add({now_, i, levels_[i]});
}

void CsvReader::apply(std::size_t column, Level level) {
  for (const std::uint32_t channel : wanted_by_[column]) {
    if (levels_[channel] == level) continue;
    levels_[channel] = level;
    if (past_first_) pending_.add({now_, channel, level});
  }
}

void CsvReader::at_end() {
  done_ = true;
  // A row without its newline is used when it is whole for all one can see, but
  // not trusted: of "12.5,1" the cell may be whole and the file still cut.
  split(lines_.rest());
  if (!cells_.empty()) {
    trouble_ = fmt::format("{}:{}: the last row, {}, has no newline; the file may have been cut off there",
                           lines_.file(), lines_.line, as_shown(lines_.rest()));
    if (cells_.size() == header_.channels.size() + 1 && level_of(cells_.back()) && !cells_.back().empty())
      read_cells();
  }
  if (!has_time_) lines_.fail("no row after the header; there is nothing in it");
  if (!past_first_) begin_changes();
}

}  // namespace

std::unique_ptr<RecordingReader> open_csv(LineBuffer lines, const std::vector<std::string>& wanted,
                                          std::string_view head) {
  return std::make_unique<CsvReader>(std::move(lines), wanted, head);
}

}  // namespace tachproof
