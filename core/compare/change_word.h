// The words for rows of numbers.
#pragma once

#include <array>
#include <cstddef>
#include <map>
#include <optional>
#include <string>

#include "core/compare/comparison.h"

namespace tachproof {

inline constexpr const char* all_boundaries = "(all)";  // of the rows of the whole unit

// What a row's numbers rest on.
struct RowBasis {
  double tells = 0;  // so large a change must not be taken for none
  double dof = 0;
  double by_updates = 0;           // of its U: what the unit's updates may shift it by, 95 %
  int pairs = 0;                   // of transitions; 0: from the runs' own numbers
  double only_rate_rpm_per_s = 0;  // of the pairs, where there is one only
};

// So much a change and its U may come to together: `tells`, or twice the most that the
// unit's updates alone can make of one unit played twice, if that is more. Of P that is
// 1.25 times the 95 % of a difference of two waits, 1.96 P / sqrt 6.
double matters(const RowBasis& row);

struct RowsToWord {
  std::map<std::size_t, RowBasis> rows;                // by index
  std::array<std::optional<std::size_t>, 2> together;  // responses of all boundaries: rising, falling
  double allowed_response_ms = 0;                      // the span that the settings allow
};

// The word of every row that has numbers, and what would decide one that has none.
void put_words(Comparison& comparison, const RowsToWord& words);

// `i` has expected and observed change, uncertainty, e_n and en_limit. Sets the word, and
// a remark where it is `cannot_tell`. The rules are those of `compare`.
void put_word(ComparisonItem& i, const RowBasis& row);

}  // namespace tachproof
