#include "bench/record/folder_format.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <fstream>

#include "bench/record/json_values.h"
#include "bench/record/result_json.h"
#include "bench/record/summary.h"

namespace tachproof {

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
  const Json line = {{"kind", "begin"}, {"run", Json::parse(result_json(begun))}};
  return line.dump() + "\n";
}

std::string press_line(Nanos at, const std::string& action) {
  return Json{{"kind", "press"}, {"at_s", to_seconds(at)}, {"action", text_to_json(action)}}.dump() + "\n";
}

std::string answer_line(const AnswerResult& answer) {
  return Json{{"kind", "answer"},
              {"at_s", to_seconds(answer.at)},
              {"question", text_to_json(answer.question)},
              {"answer", text_to_json(answer.answer)},
              {"verdict", word(answer.verdict)}}
             .dump() +
         "\n";
}

std::string dwell_line(const FlickerResult& row) {
  return Json{{"kind", "dwell"},
              {"boundary", text_to_json(row.boundary)},
              {"mean_rpm", number_to_json(row.mean_rpm)},
              {"duration_s", number_to_json(row.duration_s)},
              {"changes", row.changes},
              {"verdict", word(row.verdict)}}
             .dump() +
         "\n";
}

std::string recording_line(const std::string& file, const std::string& sha256) {
  return Json{{"kind", "recording"}, {"file", text_to_json(file)}, {"sha256", sha256}}.dump() + "\n";
}

std::string input_line(const std::string& file, const std::string& sha256) {
  return Json{{"kind", "input"}, {"file", text_to_json(file)}, {"sha256", sha256}}.dump() + "\n";
}

std::string stamps_line(const StampTimes& stamps) {
  return Json{{"kind", "stamps"},
              {"width_ns", stamps.width},
              {"uncertainty_ns", stamps.uncertainty},
              {"offset_ns", stamps.offset}}
             .dump() +
         "\n";
}

std::string progress_line(Nanos at, std::uint64_t pulses, std::uint64_t lamp_changes) {
  return Json{{"kind", "progress"},
              {"at_s", to_seconds(at)},
              {"pulses", pulses},
              {"lamp_changes", lamp_changes}}
             .dump() +
         "\n";
}

std::string played_line(Nanos due, Nanos sent, Nanos answered, double hz) {
  return Json{{"kind", "played"},
              {"due_s", to_seconds(due)},
              {"sent_s", to_seconds(sent)},
              {"answered_s", to_seconds(answered)},
              {"hz", number_to_json(hz)}}
             .dump() +
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
  return line.dump() + "\n";
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
  return line.dump() + "\n";
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
  return line.dump() + "\n";
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

void take_rpm(const Json& line, std::size_t most, Journal& journal) {
  const Json& at = line.at("at_ns");
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
  const Json& from = line.at("from_ns");
  const auto window = [](const Json& value) -> std::size_t {
    if (!value.is_number_unsigned()) throw std::runtime_error("a reach is not of windows");
    return value.get<std::size_t>();
  };
  for (std::size_t i = 0; i < from.size(); ++i) {
    if (journal.reaches.size() == most) {
      journal.more = true;
      return;
    }
    journal.reaches.push_back(
        {instant_of(from[i], "from_ns"), window(line.at("lowest").at(i)), window(line.at("highest").at(i))});
  }
}

void take_line(const std::string& text, bool first, std::size_t most, Journal& journal) {
  journal.seal.reset();  // only the very last line can be one
  constexpr std::array<std::string_view, 6> kinds{"rpm", "reaches", "answer", "input", "stamps", "end"};
  const auto is = [&](std::string_view k) { return text.starts_with(fmt::format("{{\"kind\":\"{}\"", k)); };
  if (!first && std::none_of(kinds.begin(), kinds.end(), is)) return;
  const Json line = Json::parse(text);
  const std::string kind = text_from(line, "kind");
  if (kind == "begin") journal.begun = record_from_json(line.at("run").dump());
  if (kind == "rpm") take_rpm(line, most, journal);
  if (kind == "reaches") take_reaches(line, most, journal);
  if (kind == "answer") journal.answers.push_back(text_from(line, "answer"));
  if (kind == "input") journal.inputs.push_back({text_from(line, "file"), text_from(line, "sha256")});
  if (kind == "stamps") journal.stamps = stamps_from(line);
  if (kind == "end") journal.seal = seal_from(line);
}

}  // namespace

Journal read_journal(const std::filesystem::path& file, std::size_t most) {
  Journal journal;
  std::ifstream in(file, std::ios::binary);
  std::string line;
  for (bool first = true; std::getline(in, line); first = false) {
    if (in.eof()) {  // no line end: the writer was stopped in mid-line
      journal.seal.reset();
      break;
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
  std::ifstream in(file, std::ios::binary);
  std::string row;
  std::getline(in, row);  // the header
  LampEvent event;
  while (std::getline(in, row) && !in.eof() && parse_row(row, channels, event)) {
    if (timeline.events.size() == most) {
      timeline.more = true;
      break;
    }
    timeline.events.push_back(event);
  }
  return timeline;
}

}  // namespace tachproof
