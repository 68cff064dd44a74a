#include "core/compare/change_word.h"

#include <algorithm>
#include <cmath>

#include "core/base/en_score.h"
#include "core/base/text.h"

namespace tachproof {

namespace {

std::string with_unit(double value, const ComparisonItem& i) {
  const int decimals = i.unit == "ms" ? 0 : i.unit == "rpm" ? 1 : 2;
  return decimal(value, decimals) + (i.unit.empty() ? "" : " " + i.unit);
}

// "measure both again with survey --within 0.4": the uncertainty that decides this
// row, if the change stays what was observed. Empty for a row of something else.
std::string survey_that_decides(const ComparisonItem& i, double tells) {
  const bool deadband = i.what == "deadband";
  if ((i.what != "threshold" && !deadband) || !std::isfinite(i.e_n)) return "";
  // Small enough to stay within the tolerance, or to be beyond chance; and to be told from none.
  const double off = std::fabs(i.observed_change - i.expected_change);
  double wanted = std::max(tells - off, off / i.en_limit);
  if (std::fabs(i.expected_change) > 1e-6) wanted = std::min(wanted, std::fabs(i.expected_change) / 2);
  // Two runs, and a deadband's U is the sum of both directions'.
  const double within = wanted / std::sqrt(2.0) / (deadband ? 2 : 1);
  return "measure both again with survey --within " +
         decimal(std::clamp(std::floor(within * 10) / 10, 0.1, 10.0), 1);
}

// Something has changed, but at one rate a threshold and a response look alike:
// the one that must have is the one that the other cannot explain.
void doubt_at_one_rate(ComparisonItem& i, const RowBasis& row, double allowed_response_ms) {
  if (i.word == ChangeWord::as_intended) return;
  const double off = std::fabs(i.observed_change - i.expected_change) - i.uncertainty;
  const double by_response = row.only_rate_rpm_per_s * allowed_response_ms * 1e-3;
  const bool certain =
      (i.what == "threshold" && off > by_response) || (i.what == "deadband" && off > 2 * by_response);
  if (certain) return;
  i.word = ChangeWord::cannot_tell;
  i.remark = "at one rate, " + decimal(row.only_rate_rpm_per_s, 0) +
             (i.boundary == all_boundaries
                  ? " rpm/s, a changed response and a deadband that changed everywhere look the same"
                  : " rpm/s, a moved threshold and a changed response look the same");
}

// A boundary's own pairs may be too few where the whole unit's are enough. Not
// against what they say themselves; nor is a change of the whole unit's denied by
// a boundary that cannot tell it from none.
void decide_by_all(ComparisonItem& i, const Comparison& comparison, const RowsToWord& words) {
  if (i.what != "response" || i.boundary == all_boundaries || !i.direction) return;
  const auto& together = words.together[*i.direction == Direction::falling ? 1 : 0];
  if (!together || !(i.e_n <= i.en_limit)) return;
  const ComparisonItem& all = comparison.items[*together];
  if (std::fabs(i.observed_change - all.observed_change) > i.en_limit * i.uncertainty) return;
  const bool unchanged = all.word == ChangeWord::as_intended;
  if (unchanged == (i.word == ChangeWord::as_intended)) return;
  i.word = unchanged ? ChangeWord::as_intended : ChangeWord::cannot_tell;
  i.remark = unchanged ? "too uncertain by itself, but all boundaries together show no change"
                       : "all boundaries together show a change; this one by itself is too uncertain";
}

void advise(ComparisonItem& i, const RowBasis& row) {
  if (i.word != ChangeWord::cannot_tell || !std::isfinite(i.e_n)) return;
  std::string advice = survey_that_decides(i, row.tells);
  if (i.what == "response") {
    const double needed = std::pow(i.uncertainty / std::max(row.tells / 2, 1e-9), 2) * std::max(row.pairs, 1);
    advice = row.only_rate_rpm_per_s > 0 || row.pairs == 0
                 ? "play steps as well: they show the response"
                 : "about " + decimal(std::clamp(std::ceil(needed), row.pairs + 1.0, 999.0), 0) +
                       " changes in this direction would decide it";
  }
  if (i.what.starts_with("blink")) advice = "hold that window longer, and measure both again";
  if (!advice.empty()) i.remark += (i.remark.empty() ? "" : "; ") + advice;
}

}  // namespace

double matters(const RowBasis& row) { return std::max(row.tells, 2 * 1.25 * row.by_updates); }

void put_word(ComparisonItem& i, const RowBasis& row) {
  const bool moved = std::fabs(i.observed_change) > i.uncertainty;
  const bool should_move = std::fabs(i.expected_change) > 1e-6;
  const double off = std::fabs(i.observed_change - i.expected_change);
  i.word = ChangeWord::cannot_tell;
  if (i.e_n > i.en_limit) {
    i.word = should_move && !moved ? ChangeWord::missing : ChangeWord::unintended;
  } else if (i.uncertainty > row.tells) {
    i.remark = "U must be at most " + with_unit(row.tells, i) + " to decide this";
  } else if (should_move && !moved) {
    i.remark = "the change is smaller than its U, so it is not sure that anything changed";
  } else if (off + i.uncertainty > matters(row)) {
    i.remark = i.e_n > 1 ? "|E_n| is above 1, but among so many rows that can be chance"
                         : "the difference plus U is more than " + with_unit(matters(row), i) +
                               ", so the change may be too large";
  } else {
    i.word = ChangeWord::as_intended;
  }
}

void put_words(Comparison& comparison, const RowsToWord& words) {
  int count = 0;
  for (const ComparisonItem& i : comparison.items) count += std::isfinite(i.e_n);
  comparison.en_limit = en_limit_among(count);
  for (const auto& [index, row] : words.rows) {
    ComparisonItem& item = comparison.items[index];
    if (!std::isfinite(item.e_n)) continue;
    item.en_limit = en_limit_among(count, row.dof);
    put_word(item, row);
    if (row.only_rate_rpm_per_s > 0) doubt_at_one_rate(item, row, words.allowed_response_ms);
  }
  for (const auto& [index, row] : words.rows) decide_by_all(comparison.items[index], comparison, words);
  for (const auto& [index, row] : words.rows) advise(comparison.items[index], row);
}

}  // namespace tachproof
