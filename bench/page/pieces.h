// Pieces of HTML that several places show.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "bench/history/history_place.h"
#include "bench/page/request.h"
#include "bench/record/record.h"
#include "core/judge/result.h"

namespace tachproof {

// "/runs/20310314-142501-drumlin-job/1-acceptance" of the run's name beneath runs/.
std::string run_address(const std::string& name);
// "/units/DR-0042"; for a serial number that no path can bear, "/units?unit=..".
std::string unit_address(const std::string& serial);
// "/rigs/rigs/shed.yaml": each part of a file's name encoded for itself.
std::string address_of(const std::string& place, const std::string& name);

// The verdict in a line of text: a word, in a shape of its own. `simulated` says so beside it.
std::string verdict_mark(Verdict verdict, bool simulated = false);
// Why a run is not a pass and what to do, as far as it is known: sentences.
std::string causes_html(const RunRecord& record);

// The history cannot be read: why, how many runs wait for it, and what to do.
std::string history_away_html(const HistoryPlace& place, const std::string& why);

// "2031-03-14 14:25:01" of "2031-03-14T14:25:01+01:00".
std::string clock_words(const std::string& iso8601);

// A labelled choice; the first is "" with the word `any`.
std::string choice_field(const std::string& name, const std::string& label, const std::string& any,
                         const std::vector<std::string>& values, const std::string& chosen);
std::string text_field(const std::string& name, const std::string& label, const std::string& value,
                       const std::string& more = {});

// The links to the pages of a list before and after page `page`, from 1, of `pages`; the rest of the query
// stays as it is. "" where there is one page.
std::string pager_html(const std::string& place, const Fields& query, std::size_t page, std::size_t pages);
// The page that a query asks for, from 1 to `pages`.
std::size_t page_asked_for(const Fields& query, std::size_t pages);

inline constexpr const char* html_type = "text/html; charset=utf-8";

}  // namespace tachproof
