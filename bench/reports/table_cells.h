// Cells and rows of the report's tables.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

#include "bench/record/record.h"
#include "bench/record/text.h"

namespace tachproof {

std::string verdict_cell(const RunRecord& record, Verdict v);
// Names stay whole; what is long may break anywhere.
std::string text_cell(std::string_view text);
std::string short_cell(std::string_view text);
// `html` is ready: numbers and signs only.
std::string number_cell(const std::string& html);

template <class Row>
std::string row_verdict_cell(const RunRecord& record, const Row& r) {
  if (!r.asked && r.verdict == Verdict::undecided) return fmt::format("<td>{}</td>", row_word(r));
  return verdict_cell(record, r.verdict);
}

struct TableColumn {
  const char* title;
  bool number = false;
};

// "" where there are no rows.
std::string table(const char* heading, const std::vector<TableColumn>& columns, const std::string& rows,
                  const std::string& caption = "");

std::string row(const std::string& cells);
// A sentence across the `columns` of a table, below the row that it belongs to; "" of no sentence.
std::string remark_row(const std::string& sentence, std::size_t columns);

// The heading that a row needs: where it is the first of its state. Rows of one state lie together; a
// unit that stayed as it was set needs none.
class StateHeadings {
 public:
  template <class Rows>
  StateHeadings(const Rows& rows, std::size_t columns)
      : columns_(columns),
        any_(std::any_of(rows.begin(), rows.end(), [](const auto& row) { return !row.state.empty(); })) {}
  std::string before(const std::string& state);

 private:
  std::size_t columns_;
  bool any_, first_ = true;
  std::string state_;
};

// Which items a table shows: all, or all that are no pass and then the first
// others, in their order. The file of a long run has to stay readable.
inline constexpr std::size_t most_rows = 400;
template <class Items>
std::vector<std::size_t> shown_items(const Items& items) {
  std::vector<std::size_t> shown;
  for (std::size_t i = 0; i < items.size() && shown.size() < most_rows; ++i)
    if (items[i].verdict != Verdict::pass) shown.push_back(i);
  for (std::size_t i = 0; i < items.size() && shown.size() < most_rows; ++i)
    if (items[i].verdict == Verdict::pass) shown.push_back(i);
  std::sort(shown.begin(), shown.end());
  return shown;
}

template <class Items>
std::string left_out_caption(const Items& items, std::size_t shown) {
  if (items.size() == shown) return "";
  const auto bad =
      std::count_if(items.begin(), items.end(), [](const auto& i) { return i.verdict != Verdict::pass; });
  return fmt::format(
      "{} of {} rows, those that are no pass first; {} in all are no pass. result.json has every one.", shown,
      items.size(), bad);
}

}  // namespace tachproof
