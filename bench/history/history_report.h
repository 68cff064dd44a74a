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
  std::size_t left_out = 0;  // simulated runs, of drifts and spreads
};
// `simulated`: units in software drift and spread too, beside the real ones.
HistoryView view_of(std::vector<HistoryRun> runs, bool simulated = false);

// In the order in which they were given.
struct GivenAcceptance {
  const HistoryRun* run;
  const Acceptance* acceptance;
};
std::vector<GivenAcceptance> acceptances(const std::vector<HistoryRun>& runs);
// "unit K17, acceptance of 2031-03-14T09:26: by Una on 2031-03-15T08:00: first article"; escaped by nobody.
std::string acceptance_words(const GivenAcceptance& given);
// "2 simulated runs are left out of drift and spread; --simulated shows them."; "" where there is none.
std::string left_out_words(const HistoryView& view);

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
