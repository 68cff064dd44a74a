// Everything that one run leaves behind.
//
// The journal is appended to as the run goes, and the folder's result.json
// says "complete": false, "verdict": "undecided" from the first moment: a run
// that is killed leaves exactly that. The last step of a good run replaces it
// (write beside, fsync, rename).
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/record/record.h"

namespace tachproof {

// A file of the folder that is drawn from the record: "report.html".
struct Page {
  std::string name, text;
};
// Draws them; called for the record as begun and as finished. Empty: no pages.
using DrawPages = std::function<std::vector<Page>(const RunRecord&, const Trace&)>;

// What finish() wrote: the bytes of result.json, and what they tell but for the transitions, of which there
// may be a million.
struct FinishedRun {
  RunRecord record;
  std::string result;
};

class RunFolder {
 public:
  // Makes the folder (and parents). An existing one must be empty, or the
  // remains of a run are refused. Throws std::runtime_error with a sentence.
  static RunFolder create(const std::filesystem::path& folder, const RunRecord& begun, DrawPages pages = {});

  const std::filesystem::path& path() const { return path_; }
  // Copies an input under its role's name ("gauge.yaml") and returns its SHA-256.
  std::string keep_input(const std::filesystem::path& file, const std::string& as);
  std::string keep_text(std::string_view text, const std::string& as);  // likewise, of what is in no file
  void journal(const std::string& line);                                // of folder_format.h, whole
  void lamps(const std::vector<LampEvent>& events);                     // timeline.csv, as they come
  void rpm(const std::vector<RpmPoint>& points);                        // to the journal, for drawings
  void reaches(const std::vector<Reach>& reaches);                      // to the journal, for drawings
  // Writes result.json and the pages; then the run is over. The trace
  // is the beginning of what was streamed, or all of it and more: what was not
  // streamed yet is added to the files first. Gives the record its report_id,
  // `issued` and evidence_files. Seals the folder: the journal's last line
  // holds the SHA-256 of result.json and of timeline.csv, SHA256SUMS those of
  // every file.
  void finish(const RunRecord& record, const Trace& trace);
  // Throws std::logic_error before finish().
  const FinishedRun& finished() const;

 private:
  RunFolder(std::filesystem::path path, DrawPages pages);
  std::filesystem::path path_;
  DrawPages pages_;
  struct Streams;
  std::shared_ptr<Streams> streams_;
};

// Reads a run folder back, complete or not. Throws std::runtime_error with a
// sentence when it is not a run folder. A folder that is not as finish() left
// it (cut short, or changed since) is incomplete and never a pass; its notes
// say why.
struct StoredRun {
  RunRecord record;
  Trace trace;
  std::optional<std::string>
      result;  // the bytes of result.json, which the record is from; nothing: it is not
};
StoredRun load_run(const std::filesystem::path& folder);

std::string sha256_of_file(const std::filesystem::path& file);  // lower-case hex

}  // namespace tachproof
