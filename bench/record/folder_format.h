// The lines of timeline.csv and journal.jsonl, both ways.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/record/run_folder.h"
#include "core/signal/profile.h"

namespace tachproof {

// timeline.csv: time_s and one 0/1 column for each channel, "left.white"; a
// row whenever something changes.
std::string timeline_header(const Gauge& gauge);
std::string timeline_row(const LampEvent& event, std::size_t channels);

// `events` without those that change nothing; `before` precedes them.
std::vector<LampEvent> changes_only(const std::vector<LampEvent>& events, const LampEvent* before = nullptr);

// journal.jsonl, each one line with its end.
std::string begin_line(const RunRecord& begun);
std::string press_line(Nanos at, const std::string& action);
std::string power_line(Nanos at, Nanos lasts);
std::string supply_line(Nanos at, const Supply& supply);
// A person has pressed, no later than `by`; nothing: nobody did. `held`: how many stretches of the train
// were played meanwhile at the rpm of the moment, in real time.
std::string released_line(std::optional<Nanos> by, const std::string& action, std::size_t held);
// A person has done with the unit's supply as he was asked: "cut", "back", "set"; otherwise the same.
std::string fed_line(std::optional<Nanos> by, const std::string& what, std::size_t held);
std::string answer_line(const AnswerResult& answer, std::size_t held);
std::string dwell_line(const FlickerResult& row);
std::string recording_line(const std::string& file, const std::string& sha256);
// An input that was kept in the folder.
std::string input_line(const std::string& file, const std::string& sha256);
// A gauge file that was kept as a candidate for the causes.
struct CandidateLine {
  std::string file;      // its copy in the folder
  std::string of;        // what it was called, or where it was
  std::string accepted;  // as in OtherGauge
};
std::string candidate_line(const CandidateLine& candidate);
// What the watcher found of its stamps while it ran, said at its end.
std::string stamps_line(const StampTimes& stamps);
std::string progress_line(Nanos at, std::uint64_t pulses, std::uint64_t lamp_changes);
// Of a source that times its own commands: when a frequency was due, sent and read back.
std::string played_line(Nanos due, Nanos sent, Nanos answered, double hz);
// Of a supply that is told by commands: when it was due, between which instants it came, and the volts that
// were read back.
std::string supplied_line(Nanos due, Nanos from, Nanos to, double volts, double within_v);
std::string rpm_line(const std::vector<RpmPoint>& points);
std::string reaches_line(const std::vector<Reach>& reaches);

// The journal's last line: how the run ended, what the other files must be,
// and how much of the streams the drawings show.
struct Seal {
  Verdict verdict = Verdict::undecided;
  bool complete = false;
  std::string result_sha256, timeline_sha256;
  std::size_t rpm = 0, lamps = 0, reaches = 0;
  bool thinned = false;
};
std::string end_line(const Seal& seal);

// An answer, a press by hand, or what a hand did with the supply.
struct PersonDid {
  std::string text;                   // of an answer
  std::optional<std::string> action;  // of a press
  bool done = true;                   // nobody was there to press: false
  std::size_t held = 0;               // as above
  std::string fed = {};               // "cut", "back", "set": what was done with the supply
};

struct Journal {
  std::optional<RunRecord> begun;  // from the first line
  std::optional<Seal> seal;        // only when the last line is whole
  std::vector<RpmPoint> rpm;
  std::vector<Reach> reaches;
  std::vector<PersonDid> did;   // in the order of the questions
  std::vector<FileSum> inputs;  // as they were kept
  std::vector<CandidateLine> candidates;
  std::optional<StampTimes> stamps;  // as last told
  bool more = false;                 // than `most` of either
};
// Reads what can be read; a line that cannot is passed over.
Journal read_journal(const std::filesystem::path& file, std::size_t most);

struct StoredTimeline {
  std::vector<LampEvent> events;
  bool more = false;
};
// Reads whole rows, up to the first that is not as timeline_row writes it.
StoredTimeline read_timeline(const std::filesystem::path& file, std::size_t channels, std::size_t most);

}  // namespace tachproof
