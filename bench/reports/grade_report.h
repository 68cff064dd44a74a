// What `tachproof grade` says: text of at most `columns`, JSON as the contract has it, and a page
// with the ladder of windows and what is noticed at each boundary.
#pragma once

#include <string>
#include <vector>

#include "bench/run/grade.h"

namespace tachproof {

std::string grade_text(const Grade& grade, std::size_t columns = 80);
std::string grade_json(const Grade& grade);
std::string grade_html(const Grade& grade);

// "188 of 192 faults are caught (97 %): 1 undecided, 3 escape."
std::string grade_answer(const Grade& grade);

// Shards of one grade, as JSON texts, put together. Throws std::runtime_error, a sentence, for
// texts that do not belong together or are not all there.
std::string merged_grade_json(const std::vector<std::string>& shards);

}  // namespace tachproof
