// The file readers on any bytes: they must answer, and every error is one line fit for a terminal,
// with a place inside the text. What is sound is used as commands use it.
#include <algorithm>

#include "bench/files/certificate.h"
#include "bench/files/gauge_writer.h"
#include "bench/files/readers.h"
#include "bench/files/regions.h"
#include "bench/files/rig_writer.h"
#include "bench/record/certificate_json.h"
#include "bench/record/gauge_json.h"
#include "bench/reports/settings_sheet.h"
#include "core/gauge/settings_change.h"
#include "tests/fuzz/fuzz.h"

namespace {

using namespace tachproof;
using fuzz::require;

void use_gauge(const std::filesystem::path& file) {
  const Gauge gauge = load_gauge(file);
  const Gauge again = settings_from_json(settings_to_json(gauge));
  require(again.windows.size() == gauge.windows.size() && again.channels() == gauge.channels());
  require(settings_change(gauge, gauge).numbers.empty());
  require(check_text("/nowhere/again.yaml", gauge_yaml(gauge)).kind == "gauge");
  const SheetOf sheet{gauge, "fuzz.yaml", ""};
  settings_sheet_text(sheet);
  settings_sheet_html(sheet);
  fuzz::require_fit_for_a_terminal(settings_sheet_json(sheet));
}

void use_regions(const std::filesystem::path& file) {
  const std::string text = regions_text(load_regions(file));
  require(regions_text(load_regions(fuzz::file_with(text, "again.yaml"))) == text);
}

void use(const CheckedFile& checked, const std::filesystem::path& file) {
  if (checked.kind == "gauge") use_gauge(file);
  if (checked.kind == "scenario") require(Profile(load_scenario(file).steps).duration() >= 0);
  if (checked.kind == "rig") rig_yaml(load_rig(file), "fuzz");
  if (checked.kind == "wiring") load_wiring(file);
  if (checked.kind == "noise") load_noise(file);
  if (checked.kind == "regions") use_regions(file);
  if (checked.kind == "certificate") certificate_from_json(certificate_to_json(load_certificate(file)));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text = fuzz::text_of(data, size);
  const auto lines = std::count(text.begin(), text.end(), '\n') + 1;
  const CheckedFile checked = check_text("/nowhere/fuzz.yaml", text);
  for (const FileError& e : checked.errors) {
    fuzz::require_fit_for_a_line(to_line(e));
    require(e.message.find("; ") != std::string::npos);
    require(e.line >= 0 && e.line <= lines);
  }
  if (checked.errors.empty()) use(checked, fuzz::file_with(text, "fuzz.yaml"));
  return 0;
}
