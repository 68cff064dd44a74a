// The history for a reader: on a terminal, as JSON, and as one page of HTML.
#pragma once

#include <string>
#include <vector>

#include "bench/history/history.h"
#include "bench/history/trends.h"

namespace tachproof {

struct HistoryView {
  std::vector<HistoryRun> runs;
  std::vector<Drift> drifts;
  std::vector<Spread> spreads;
};
HistoryView view_of(std::vector<HistoryRun> runs);

// A greater Cpk says no more than that the units are alike: it is shown as "> 10".
inline constexpr double most_cpk = 10;

std::string history_text(const HistoryView& view, int width);
std::string history_json(const HistoryView& view);
std::string history_html(const HistoryView& view, const std::string& asked_for, const std::string& now);

// "unit K17, Two-lamp gauge": for headings, escaped by nobody.
std::string unit_title(const Drift& drift);

// The causes of a failed run, a sentence each without its full stop; those after the first begin
// with "or: ".
std::vector<std::string> cause_sentences(const HistoryRun& run);

// How far apart two points in time are put on a drawing's axis, and the words
// under them: "2031-03-14", or with the time where the whole span is short.
std::string axis_time(std::int64_t at_s, bool with_clock);

}  // namespace tachproof
