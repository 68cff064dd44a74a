#include "bench/record/folder_format.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include <stdexcept>
#include <system_error>
#include <utility>

#include "bench/files/regular_file.h"
#include "bench/record/json_values.h"
#include "bench/record/result_json.h"
#include "bench/record/summary.h"

namespace tachproof {
namespace {

// A line holds at most 200,000 points of a drawing (EvidenceWriter); the longest journal is that of
// weeks. The names of 64 channels are in the header of a timeline.
constexpr std::size_t longest_journal_line = std::size_t{32} << 20;
constexpr std::uint64_t most_journal_bytes = std::uint64_t{4} << 30;
constexpr std::size_t longest_timeline_line = std::size_t{1} << 20;

}  // namespace

std::string timeline_header(const Gauge& gauge) {
  std::string line = "time_s";
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& colour : lamp.colours) line += "," + csv_name(lamp.id) + "." + csv_name(colour);
  return line + "\n";
}

std::string timeline_row(const LampEvent& event, std::size_t channels) {
  std::string line = exact_seconds(event.at);
  for (std::size_t i = 0; i < channels; ++i) line += (event.lit >> i) & 1 ? ",1" : ",0";
  return line + "\n";
}

std::vector<LampEvent> changes_only(const std::vector<LampEvent>& events, const LampEvent* before) {
  std::vector<LampEvent> changes;
  for (const LampEvent& event : events) {
    const LampEvent* const last = changes.empty() ? before : &changes.back();
    if (last == nullptr || last->lit != event.lit) changes.push_back(event);
  }
  return changes;
}

std::string begin_line(const RunRecord& begun) {
  const Json line = {{"kind", "begin"}, {"run", parse_json(result_json(begun))}};
  return json_text(line) + "\n";
}

std::string power_line(Nanos at, Nanos lasts) {
  return json_text(Json{{"kind", "power-off"}, {"at_s", to_seconds(at)}, {"for_s", to_seconds(lasts)}}) +
         "\n";
}

std::string supply_line(Nanos at, const Supply& supply) {
  return json_text(Json{{"kind", "supply"},
                        {"at_s", to_seconds(at)},
                        {"from_v", supply.from_v},
                        {"to_v", supply.to_v},
                        {"for_s", to_seconds(supply.lasts)}}) +
         "\n";
}

std::string released_line(std::optional<Nanos> by, const std::string& action, std::size_t held) {
  Json line = {{"kind", "released"},
               {"by_s", by ? Json(to_seconds(*by)) : Json(nullptr)},
               {"action", text_to_json(action)}};
  if (held > 0) line["held"] = held;
  return json_text(line) + "\n";
}

std::string fed_line(std::optional<Nanos> by, const std::string& what, std::size_t held) {
  Json line = {
      {"kind", "fed"}, {"by_s", by ? Json(to_seconds(*by)) : Json(nullptr)}, {"what", text_to_json(what)}};
  if (held > 0) line["held"] = held;
  return json_text(line) + "\n";
}

std::string supplied_line(Nanos due, Nanos from, Nanos to, double volts, double within_v) {
  return json_text(Json{{"kind", "supplied"},
                        {"due_s", to_seconds(due)},
                        {"from_s", to_seconds(from)},
                        {"to_s", to_seconds(to)},
                        {"volts", number_to_json(volts)},
                        {"within_v", number_to_json(within_v)}}) +
         "\n";
}

std::string press_line(Nanos at, const std::string& action) {
  return json_text(Json{{"kind", "press"}, {"at_s", to_seconds(at)}, {"action", text_to_json(action)}}) +
         "\n";
}

std::string answer_line(const AnswerResult& answer, std::size_t held) {
  Json line = {{"kind", "answer"},
               {"at_s", to_seconds(answer.at)},
               {"question", text_to_json(answer.question)},
               {"answer", text_to_json(answer.answer)},
               {"verdict", word(answer.verdict)}};
  if (held > 0) line["held"] = held;
  return json_text(line) + "\n";
}

std::string dwell_line(const FlickerResult& row) {
  return json_text(Json{{"kind", "dwell"},
                        {"boundary", text_to_json(row.boundary)},
                        {"mean_rpm", number_to_json(row.mean_rpm)},
                        {"duration_s", number_to_json(row.duration_s)},
                        {"changes", row.changes},
                        {"verdict", word(row.verdict)}}) +
         "\n";
}

std::string recording_line(const std::string& file, const std::string& sha256) {
  return json_text(Json{{"kind", "recording"}, {"file", text_to_json(file)}, {"sha256", sha256}}) + "\n";
}

std::string input_line(const std::string& file, const std::string& sha256) {
  return json_text(Json{{"kind", "input"}, {"file", text_to_json(file)}, {"sha256", sha256}}) + "\n";
}

std::string candidate_line(const CandidateLine& candidate) {
  return json_text(Json{{"kind", "candidate"},
                        {"file", text_to_json(candidate.file)},
                        {"of", text_to_json(candidate.of)},
                        {"accepted", text_to_json(candidate.accepted)}}) +
         "\n";
}

std::string stamps_line(const StampTimes& stamps) {
  return json_text(Json{{"kind", "stamps"},
                        {"width_ns", stamps.width},
                        {"uncertainty_ns", stamps.uncertainty},
                        {"offset_ns", stamps.offset}}) +
         "\n";
}

std::string progress_line(Nanos at, std::uint64_t pulses, std::uint64_t lamp_changes) {
  return json_text(Json{{"kind", "progress"},
                        {"at_s", to_seconds(at)},
                        {"pulses", pulses},
                        {"lamp_changes", lamp_changes}}) +
         "\n";
}

std::string played_line(Nanos due, Nanos sent, Nanos answered, double hz) {
  return json_text(Json{{"kind", "played"},
                        {"due_s", to_seconds(due)},
                        {"sent_s", to_seconds(sent)},
                        {"answered_s", to_seconds(answered)},
                        {"hz", number_to_json(hz)}}) +
         "\n";
}

std::string rpm_line(const std::vector<RpmPoint>& points) {
  Json at = Json::array();
  Json rpm = Json::array();
  for (const RpmPoint& p : points) {
    at.push_back(p.at);
    rpm.push_back(number_to_json(p.rpm));
  }
  const Json line = {{"kind", "rpm"}, {"at_ns", std::move(at)}, {"rpm", std::move(rpm)}};
  return json_text(line) + "\n";
}

std::string reaches_line(const std::vector<Reach>& reaches) {
  Json from = Json::array();
  Json lowest = Json::array();
  Json highest = Json::array();
  for (const Reach& r : reaches) {
    from.push_back(r.from);
    lowest.push_back(r.lowest);
    highest.push_back(r.highest);
  }
  const Json line = {{"kind", "reaches"},
                     {"from_ns", std::move(from)},
                     {"lowest", std::move(lowest)},
                     {"highest", std::move(highest)}};
  return json_text(line) + "\n";
}

std::string end_line(const Seal& seal) {
  const Json drawn = {
      {"rpm", seal.rpm}, {"lamps", seal.lamps}, {"reaches", seal.reaches}, {"thinned", seal.thinned}};
  const Json line = {{"kind", "end"},
                     {"verdict", word(seal.verdict)},
                     {"complete", seal.complete},
                     {"result_sha256", seal.result_sha256},
                     {"timeline_sha256", seal.timeline_sha256},
                     {"drawn", drawn}};
  return json_text(line) + "\n";
}

namespace {

Seal seal_from(const Json& line) {
  Seal seal;
  seal.complete = line.at("complete").get<bool>();
  seal.result_sha256 = text_from(line, "result_sha256");
  seal.timeline_sha256 = text_from(line, "timeline_sha256");
  const Json& drawn = line.at("drawn");
  seal.rpm = count_from(drawn, "rpm");
  seal.lamps = count_from(drawn, "lamps");
  seal.reaches = count_from(drawn, "reaches");
  seal.thinned = drawn.at("thinned").get<bool>();
  return seal;
}

StampTimes stamps_from(const Json& line) {
  const auto span = [&](const char* key) { return nanos_of(line.at(key), key, 0, 3600 * ns_per_s); };
  return {span("width_ns"), span("uncertainty_ns"), span("offset_ns")};
}

Nanos instant_of(const Json& value, const char* name) {
  constexpr Nanos most = static_cast<Nanos>(most_seconds) * ns_per_s;
  return nanos_of(value, name, -most, most);
}

std::size_t window_of(const Json& value) {
  constexpr std::uint64_t most_windows = 1'000'000;
  if (!value.is_number_unsigned() || value.get<std::uint64_t>() > most_windows)
    throw std::runtime_error("a reach is not of windows");
  return value.get<std::size_t>();
}

const Json& list_from(const Json& line, const char* key) {
  const Json& list = line.at(key);
  if (!list.is_array()) throw std::runtime_error(fmt::format("{} is not a list", key));
  return list;
}

void take_rpm(const Json& line, std::size_t most, Journal& journal) {
  const Json& at = list_from(line, "at_ns");
  const Json& rpm = line.at("rpm");
  for (std::size_t i = 0; i < at.size(); ++i) {
    if (journal.rpm.size() == most) {
      journal.more = true;
      return;
    }
    journal.rpm.push_back({instant_of(at[i], "at_ns"), number_of(rpm.at(i), "rpm")});
  }
}

void take_reaches(const Json& line, std::size_t most, Journal& journal) {
  const Json& from = list_from(line, "from_ns");
  for (std::size_t i = 0; i < from.size(); ++i) {
    if (journal.reaches.size() == most) {
      journal.more = true;
      return;
    }
    journal.reaches.push_back({instant_of(from[i], "from_ns"), window_of(line.at("lowest").at(i)),
                               window_of(line.at("highest").at(i))});
  }
}

// Before stretches were counted, none.
std::size_t held_in(const Json& line) {
  return line.contains("held") ? static_cast<std::size_t>(count_from(line, "held")) : 0;
}

void take_line(const std::string& text, bool first, std::size_t most, Journal& journal) {
  journal.seal.reset();  // only the very last line can be one
  constexpr std::array<std::string_view, 9> kinds{"rpm",   "reaches",   "answer", "released", "fed",
                                                  "input", "candidate", "stamps", "end"};
  const auto is = [&](std::string_view k) { return text.starts_with(fmt::format("{{\"kind\":\"{}\"", k)); };
  if (!first && std::none_of(kinds.begin(), kinds.end(), is)) return;
  const Json line = parse_json(text);
  const std::string kind = text_from(line, "kind");
  if (kind == "begin") journal.begun = record_from_json(json_text(line.at("run")));
  if (kind == "rpm") take_rpm(line, most, journal);
  if (kind == "reaches") take_reaches(line, most, journal);
  if (kind == "answer") journal.did.push_back({text_from(line, "answer"), {}, true, held_in(line), {}});
  if (kind == "released")
    journal.did.push_back({"", text_from(line, "action"), !line.at("by_s").is_null(), held_in(line), {}});
  if (kind == "fed")
    journal.did.push_back({"", {}, !line.at("by_s").is_null(), held_in(line), text_from(line, "what")});
  if (kind == "input") journal.inputs.push_back({text_from(line, "file"), text_from(line, "sha256")});
  if (kind == "candidate")
    journal.candidates.push_back(
        {own_file_from(line, "file"), text_from(line, "of"), text_from(line, "accepted")});
  if (kind == "stamps") journal.stamps = stamps_from(line);
  if (kind == "end") journal.seal = seal_from(line);
}

}  // namespace

Journal read_journal(const std::filesystem::path& file, std::size_t most) {
  Journal journal;
  std::error_code error;
  if (!std::filesystem::exists(std::filesystem::symlink_status(file, error))) return journal;
  RegularFile opened(file, RegularFile::Links::refuse);
  if (opened.size() > most_journal_bytes)
    throw std::runtime_error(fmt::format("cannot read {}: it has {} bytes, and no journal has more than {}",
                                         file.string(), opened.size(), most_journal_bytes));
  FileLines lines(std::move(opened), longest_journal_line);
  std::string line;
  for (bool first = true;; first = false) {
    const FileLines::Got got = lines.next(line);
    if (got == FileLines::Got::end) break;
    if (got == FileLines::Got::unended) {  // the writer was stopped in mid-line
      journal.seal.reset();
      break;
    }
    if (got == FileLines::Got::too_long) {
      journal.seal.reset();
      continue;
    }
    try {
      take_line(line, first, most, journal);
    } catch (const std::exception&) {
      // A journal damaged in the middle still tells what its other lines say;
      // the seal's counts show that something is missing.
      continue;
    }
  }
  return journal;
}

namespace {

bool parse_row(std::string_view row, std::size_t channels, LampEvent& event) {
  if (row.size() < 2 * channels) return false;
  const std::string_view states = row.substr(row.size() - 2 * channels);
  if (!parse_seconds(row.substr(0, row.size() - 2 * channels), event.at)) return false;
  event.lit = 0;
  for (std::size_t i = 0; i < channels; ++i) {
    const char state = states[2 * i + 1];
    if (states[2 * i] != ',' || (state != '0' && state != '1')) return false;
    if (state == '1') event.lit |= Channels{1} << i;
  }
  return true;
}

}  // namespace

StoredTimeline read_timeline(const std::filesystem::path& file, std::size_t channels, std::size_t most) {
  StoredTimeline timeline;
  std::error_code error;
  if (!std::filesystem::exists(std::filesystem::symlink_status(file, error))) return timeline;
  FileLines lines(RegularFile(file, RegularFile::Links::refuse), longest_timeline_line);
  std::string row;
  lines.next(row);  // the header
  LampEvent event;
  while (lines.next(row) == FileLines::Got::line && parse_row(row, channels, event)) {
    if (!timeline.events.empty() && event.at < timeline.events.back().at) break;
    if (timeline.events.size() == most) {
      timeline.more = true;
      break;
    }
    timeline.events.push_back(event);
  }
  return timeline;
}

}  // namespace tachproof
