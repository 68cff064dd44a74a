// Everything that one run leaves behind.
//
// The journal is appended to as the run goes, and the folder's result.json
// says "complete": false, "verdict": "undecided" from the first moment: a run
// that is killed leaves exactly that. The last step of a good run replaces it
// (write beside, fsync, rename).
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/files/certificate.h"
#include "bench/run/checksums.h"
#include "bench/run/trace.h"
#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/result.h"
#include "core/judge/time_relation.h"
#include "core/judge/timeline.h"

namespace tachproof {

// What the verdict rests on beside settings and evidence: kept so that a stored
// run can be judged again.
struct BenchFacts {
  Nanos source_tick = 1;
  Nanos watcher_resolution = 1;
  Nanos stamp_uncertainty = 0;  // standard
  double clock_ppm = 0;         // standard
  Nanos source_lag = 0;         // bounds, as in JudgeSetup
  double source_rpm = 0;
  Nanos stamp_offset = 0;  // standard, of stamp_uncertainty
  TimeRelation time_by = TimeRelation::one_clock;
  bool operator==(const BenchFacts&) const = default;
};

// Of a record that judges nothing against the settings: it tells what was found.
inline constexpr const char* purpose_found = "found";

// What the reports need beside the core's RunResult.
struct RunRecord {
  RunResult result;
  std::string purpose;  // empty: the settings were judged; else purpose_found
  Gauge gauge;
  std::string gauge_name, gauge_sha256;
  std::string scenario_name, scenario_sha256;
  std::uint64_t seed = 0;
  std::string source, watch;  // kinds
  std::string source_description, watch_description;
  std::string unit_serial;  // may be empty
  std::string started;      // ISO 8601 with offset
  std::string tool_version;
  double extra_tolerance_rpm = 0;                           // granted for scripted noise
  std::vector<std::pair<std::string, std::string>> inputs;  // file name in the folder, sha256
  BenchFacts bench;
  std::optional<Certificate> certificate;

  // Set by RunFolder::finish.
  std::string report_id;                // no two runs have the same
  std::string issued;                   // ISO 8601 with offset
  std::vector<FileSum> evidence_files;  // capture.vcd and timeline.csv
};

// What a drawing needs. Bounded: `thinned` says that the end was left out.
struct Trace {
  std::vector<RpmPoint> rpm;     // a polyline; two points at one instant: a step
  std::vector<LampEvent> lamps;  // raw, in the gauge's channels
  std::vector<Reach> reaches;
  bool thinned = false;
};

class RunFolder {
 public:
  // Makes the folder (and parents). An existing one must be empty, or the
  // remains of a run are refused. Throws std::runtime_error with a sentence.
  static RunFolder create(const std::filesystem::path& folder, const RunRecord& begun);

  const std::filesystem::path& path() const { return path_; }
  // Copies an input under its role's name ("gauge.yaml") and returns its SHA-256.
  std::string keep_input(const std::filesystem::path& file, const std::string& as);
  std::string keep_text(std::string_view text, const std::string& as);  // likewise, of what is in no file
  void journal(const std::string& json_line);                           // one JSON object, no newline
  void lamps(const std::vector<LampEvent>& events);                     // timeline.csv, as they come
  void rpm(const std::vector<RpmPoint>& points);                        // to the journal, for drawings
  void reaches(const std::vector<Reach>& reaches);                      // to the journal, for drawings
  // Writes result.json, report.html, junit.xml; then the run is over. The trace
  // is the beginning of what was streamed, or all of it and more: what was not
  // streamed yet is added to the files first. Gives the record its report_id,
  // `issued` and evidence_files. Seals the folder: the journal's last line
  // holds the SHA-256 of result.json and of timeline.csv, SHA256SUMS those of
  // every file.
  void finish(const RunRecord& record, const Trace& trace);

 private:
  explicit RunFolder(std::filesystem::path path);
  std::filesystem::path path_;
  struct Streams;
  std::shared_ptr<Streams> streams_;
};

std::string result_json(const RunRecord& record);  // pretty, ends in a newline
std::string report_html(const RunRecord& record, const Trace& trace);
std::string junit_xml(const RunRecord& record);
// The verdict table for a terminal of `width` columns; colours only if asked.
std::string verdict_text(const RunRecord& record, int width, bool colour);

// Reads a run folder back, complete or not. Throws std::runtime_error with a
// sentence when it is none. A folder that is not as finish() left it (cut
// short, or changed since) is incomplete and never a pass; its notes say why.
struct StoredRun {
  RunRecord record;
  Trace trace;
};
StoredRun load_run(const std::filesystem::path& folder);

// Now, ISO 8601 with the offset from UTC.
std::string now_iso8601();

std::string sha256_of_file(const std::filesystem::path& file);  // lower-case hex

}  // namespace tachproof
