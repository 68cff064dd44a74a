// What the page of one run shows.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/page/request.h"
#include "bench/page/shop.h"
#include "bench/record/record.h"

namespace tachproof {

struct RunFrame {
  std::string name;  // beneath runs/
  std::filesystem::path folder;
  RunRecord record;
  std::optional<std::string> reference;  // who made it the unit's reference and why; nothing: it is not
  bool keeps_history = false;            // then it may be made one
  std::vector<std::string> parts;        // of the job that it is part of, itself among them
  // What a person wrote into the form of the reference, and what is wrong with it.
  Fields written;
  std::string trouble;
};
std::string run_frame_html(const RunFrame& frame);

// Of a job's folder: its parts. Of a suite's: every pair with its runs.
std::string job_frame_html(const std::string& name, const std::vector<std::string>& parts, const Shop& shop);
std::string suite_frame_html(const std::string& name, const std::filesystem::path& folder);

}  // namespace tachproof
