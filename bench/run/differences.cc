// Two results side by side, by what result.json says of them.
#include <fmt/format.h>

#include <cmath>

#include "bench/record/causes_json.h"
#include "bench/record/json_values.h"
#include "bench/record/result_json.h"
#include "bench/record/text.h"
#include "bench/run/judge_again.h"

namespace tachproof {
namespace {

// Numbers pass through text once; the same arithmetic gives the same bits
// otherwise, so this only has to swallow the rounding of instants.
constexpr double rounding = 1e-9;

bool same_number(double a, double b) {
  return std::fabs(a - b) <= rounding * std::fmax(1, std::fmax(std::fabs(a), std::fabs(b)));
}

class Comparison {
 public:
  explicit Comparison(const char* other) : other_(other) {}

  void compare(const std::string& where, const Json& stored, const Json& again) {
    if (stored.is_number() && again.is_number()) {
      if (!same_number(stored.get<double>(), again.get<double>())) differ(where, stored, again);
    } else if (stored.is_object() && again.is_object()) {
      for (const auto& [key, value] : again.items())
        compare(below(where, key), stored.contains(key) ? stored.at(key) : Json(nullptr), value);
      for (const auto& [key, value] : stored.items())
        if (!again.contains(key)) compare(below(where, key), value, Json(nullptr));
    } else if (stored.is_array() && again.is_array()) {
      if (stored.size() != again.size())
        found_.push_back(fmt::format("{} has {} rows in result.json and {} {}.", where, stored.size(),
                                     again.size(), other_));
      for (std::size_t i = 0; i < std::min(stored.size(), again.size()); ++i)
        compare(fmt::format("{}[{}]", where, i), stored[i], again[i]);
    } else if (stored != again) {
      differ(where, stored, again);
    }
  }
  std::vector<std::string> take() { return std::move(found_); }

 private:
  void differ(const std::string& where, const Json& stored, const Json& again) {
    constexpr std::size_t most = 60;
    found_.push_back(fmt::format("{} is {} in result.json and {} {}.", where,
                                 shortened(json_text(stored), most), shortened(json_text(again), most),
                                 other_));
  }
  static std::string below(const std::string& where, const std::string& key) {
    return where.empty() ? key : where + "." + key;
  }
  const char* other_;  // where the other comes from, as words
  std::vector<std::string> found_;
};

// At most so many, then how many more there are.
std::vector<std::string> shortened_list(std::vector<std::string> found, std::size_t most) {
  if (found.size() > most) {
    const std::size_t more = found.size() - most;
    found.resize(most);
    found.push_back(fmt::format("{} more differences are not shown.", more));
  }
  return found;
}

}  // namespace

std::vector<std::string> differences(const RunRecord& stored, const JudgedAgain& again, std::size_t most) {
  RunRecord other = stored;
  other.result = again.result;
  other.gauge = again.gauge;
  const Json a = parse_json(result_json(stored));
  const Json b = parse_json(result_json(other));
  // Notes are remarks for a reader, and a command may add its own.
  Comparison comparison("when judged again");
  for (const char* key :
       {"verdict",    "complete",    "gauge",     "duration_s", "transitions", "boundaries",
        "deadbands",  "responses",   "blinks",    "flicker",    "scatter",     "answers",
        "levels",     "presses",     "dims",      "powers",     "findings",    "findings_left_out",
        "not_judged", "not_visited", "not_asked", "evidence"})
    comparison.compare(key, a.at(key), b.at(key));
  comparison.compare("closing", a.value("closing", Json()), b.value("closing", Json()));
  return shortened_list(comparison.take(), most);
}

std::vector<std::string> differences_of_causes(const Causes& stored, const Causes& again) {
  Json a = Json::object(), b = Json::object();
  causes_into_json(stored, a);
  causes_into_json(again, b);
  Comparison comparison("when looked for again");
  comparison.compare("", a, b);
  return comparison.take();
}

std::vector<std::string> differences_from_begun(const RunRecord& stored, const RunRecord& begun) {
  const Json a = parse_json(result_json(stored));
  const Json b = parse_json(result_json(begun));
  Comparison comparison("in the first line of journal.jsonl");
  for (const char* key : {"tool", "rig", "unit", "certificate", "started", "extra_tolerance_rpm"})
    comparison.compare(key, a.at(key), b.at(key));
  const auto purpose = [](const Json& json) {
    return json.contains("purpose") ? json.at("purpose") : Json();
  };
  comparison.compare("purpose", purpose(a), purpose(b));
  comparison.compare("to_the_end", a.value("to_the_end", Json()), b.value("to_the_end", Json()));
  Json scenario = a.at("scenario");
  // A survey has its scenario when it is over.
  if (begun.scenario_sha256.empty()) scenario["sha256"] = "";
  comparison.compare("scenario", scenario, b.at("scenario"));
  // And the gauge of an unknown unit then.
  if (stored.purpose != purpose_found) comparison.compare("gauge", a.at("gauge"), b.at("gauge"));
  return comparison.take();
}

}  // namespace tachproof
