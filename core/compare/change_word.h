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
  int pairs = 0;                   // of transitions; 0: from the runs' own numbers
  double only_rate_rpm_per_s = 0;  // of the pairs, where there is one only
};

struct RowsToWord {
  std::map<std::size_t, RowBasis> rows;                // by index
  std::array<std::optional<std::size_t>, 2> together;  // responses of all boundaries: rising, falling
  double allowed_response_ms = 0;                      // the span that the settings allow
};

// The word of every row that has numbers, and what would decide one that has none.
void put_words(Comparison& comparison, const RowsToWord& words);

// `i` has expected and observed change, uncertainty, e_n and en_limit. `tells`: a
// change that is so large must not be taken for none. Sets the word, and a remark
// where it is `cannot_tell`. The rules are those of `compare`.
void put_word(ComparisonItem& i, double tells);

}  // namespace tachproof
