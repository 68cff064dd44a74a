#include "bench/commands/run_output.h"

#include <cctype>
#include <cstdio>
#include <ctime>

#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/commands/terminal.h"
#include "bench/record/disk.h"
#include "bench/reports/run_report.h"

namespace tachproof {

namespace {

std::string local_time(const char* format) {
  const std::time_t now = std::time(nullptr);
  std::tm local = {};
  localtime_r(&now, &local);
  char text[64];
  return {text, std::strftime(text, sizeof text, format, &local)};
}

}  // namespace

std::string fit_for_a_file_name(std::string text) {
  for (char& c : text)
    if (std::isalnum(static_cast<unsigned char>(c)) == 0 && c != '-' && c != '_' && c != '.') c = '_';
  return text;
}

std::string stem(const std::filesystem::path& file) { return file.stem().string(); }

std::filesystem::path unused_run_folder(const std::string& scenario, const std::string& serial) {
  return unused_run_folder("runs", scenario, serial);
}

std::filesystem::path unused_run_folder(const std::filesystem::path& beneath, const std::string& scenario,
                                        const std::string& serial) {
  std::string name = local_time("%Y%m%d-%H%M%S-") + fit_for_a_file_name(scenario);
  if (!serial.empty()) name += "-" + fit_for_a_file_name(serial);
  std::filesystem::path folder = beneath / name;
  for (int i = 2; std::filesystem::exists(folder); ++i) folder = beneath / fmt::format("{}-{}", name, i);
  return folder;
}

RunFolder make_run_folder(const std::string& out, const RunRecord& begun) {
  try {
    return RunFolder::create(
        out.empty() ? unused_run_folder(begun.scenario_name, begun.unit_serial) : std::filesystem::path(out),
        begun, run_pages);
  } catch (const std::runtime_error& e) {
    throw UsageError(e.what());
  }
}

int print_outcome(const RunRecord& record, const RunFolder& folder, bool json) {
  const std::string report = (folder.path() / "report.html").string();
  const std::string text =
      json ? whole_file(folder.path() / "result.json")
           : verdict_text(record, columns_of(stdout), wants_colour(stdout)) + "Report: " + report + "\n";
  std::fwrite(text.data(), 1, text.size(), stdout);
  return exit_status(record.result.verdict);
}

}  // namespace tachproof
