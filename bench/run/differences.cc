// Two results side by side, by what result.json says of them.
#include <fmt/format.h>

#include <cmath>

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
  void compare(const std::string& where, const Json& stored, const Json& again) {
    if (stored.is_number() && again.is_number()) {
      if (!same_number(stored.get<double>(), again.get<double>())) differ(where, stored, again);
    } else if (stored.is_object() && again.is_object()) {
      for (const auto& [key, value] : again.items())
        compare(where + "." + key, stored.contains(key) ? stored.at(key) : Json(nullptr), value);
    } else if (stored.is_array() && again.is_array()) {
      if (stored.size() != again.size())
        found_.push_back(fmt::format("{} has {} rows in result.json and {} when judged again.", where,
                                     stored.size(), again.size()));
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
    found_.push_back(fmt::format("{} is {} in result.json and {} when judged again.", where,
                                 shortened(json_text(stored), most), shortened(json_text(again), most)));
  }
  std::vector<std::string> found_;
};

}  // namespace

std::vector<std::string> differences(const RunRecord& stored, const JudgedAgain& again, std::size_t most) {
  RunRecord other = stored;
  other.result = again.result;
  other.gauge = again.gauge;
  const Json a = Json::parse(result_json(stored));
  const Json b = Json::parse(result_json(other));
  // Notes are remarks for a reader, and a command may add its own.
  Comparison comparison;
  for (const char* key : {"verdict", "complete", "gauge", "duration_s", "transitions", "boundaries",
                          "deadbands", "responses", "blinks", "flicker", "answers", "levels", "findings",
                          "findings_left_out", "not_judged", "not_visited", "not_asked", "evidence"})
    comparison.compare(key, a.at(key), b.at(key));
  std::vector<std::string> found = comparison.take();
  if (found.size() > most) {
    const std::size_t more = found.size() - most;
    found.resize(most);
    found.push_back(fmt::format("{} more differences are not shown.", more));
  }
  return found;
}

}  // namespace tachproof
