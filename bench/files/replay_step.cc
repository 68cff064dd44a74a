// A step that replays an rpm log:
//
//     {replay: FILE, time: COLUMN, rpm: COLUMN, from: DURATION, to: DURATION,
//      time_in: s | ms, steepest: RPM_PER_S}
//
// FILE is relative to the scenario; rpm_log.h says what it may be. `from` and `to` are optional, by
// the log's own clock; `time_in` where the file does not say the unit of its times; `steepest`
// where an engine really changes its speed faster than 100000 rpm per second.
#include "bench/files/readers.h"
#include "bench/files/rpm_log.h"

namespace tachproof {
namespace {

constexpr std::size_t most_replays = 100;  // each reads its log

// Unlike a span, an instant may be 0.
void instant(Mapping& m, const std::string& key, std::optional<double>& into, ErrorList& errors) {
  const YamlNode* node = m.any(key, Need::may);
  if (node == nullptr) return;
  const std::optional<Nanos> value = plain_duration(*node);
  if (value && *value >= 0 && *value <= longest_duration)
    into = to_seconds(*value);
  else
    errors.add(node->at, "'" + key + "' is " + found_text(*node),
               "an instant with its unit (ms, s, min or h), such as 12s, from 0s to 168h");
}

}  // namespace

std::optional<Step> read_replay(Mapping& m, NamedFiles& files, std::vector<LogFacts>& logs,
                                ErrorList& errors) {
  const std::size_t before = errors.values();
  std::string file;
  LogAsk ask;
  m.text("replay", file, Need::must);
  m.text("time", ask.time, Need::must);
  m.text("rpm", ask.rpm, Need::must);
  instant(m, "from", ask.from_s, errors);
  instant(m, "to", ask.to_s, errors);
  m.choice("time_in", ask.time_in, {"s", "ms"}, Need::may);
  m.number("steepest", ask.steepest_rpm_per_s, {0, 1e7, true}, Need::may);
  if (ask.from_s && ask.to_s && *ask.from_s >= *ask.to_s)
    errors.add(m.place("to"), "'to' is " + found_text(*m.find("to")), "later than 'from'");
  if (logs.size() == most_replays)
    errors.add(m.place("replay"), "more than 100 steps that replay a log", "at most 100 of them in the file");
  if (!m.has("time") || !m.has("rpm") || errors.values() != before) return std::nullopt;

  const auto unsound = [&](const std::string& key, const std::string& found, const std::string& allowed) {
    errors.add(m.place(key), "'" + on_one_line(file) + "' " + found, allowed);
    return std::nullopt;
  };
  std::string trouble;
  const std::string* text = files.read(file, "log", most_log_bytes, m.place("replay").line, trouble);
  if (text == nullptr) {
    const std::size_t cut = trouble.find("; ");
    return unsound("replay", trouble.substr(0, cut), trouble.substr(cut + 2));
  }
  auto log = read_rpm_log(*text, ask);
  if (const LogTrouble* bad = std::get_if<LogTrouble>(&log))
    return unsound(m.has(bad->key) ? bad->key : "replay", bad->found, bad->allowed);
  RpmLog& sound = std::get<RpmLog>(log);
  sound.facts.file = file;
  logs.push_back(std::move(sound.facts));
  return std::move(sound.step);
}

}  // namespace tachproof
