#include "core/cause/missing.h"

#include <algorithm>
#include <utility>

#include "core/base/text.h"
#include "core/judge/row_place.h"

namespace tachproof {
namespace {

constexpr std::size_t most = 8;

std::string stopped(std::string text) {
  if (!text.empty() && text.back() != '.') text += '.';
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

class Missing {
 public:
  explicit Missing(const RunResult& result) : result_(result) {}

  std::vector<std::string> all(const Gauge& gauge) {
    if (result_.evidence.lamp_changes == 0 && gauge.boundaries() > 0 && !result_.transitions.empty())
      say("No lamp ever changed: the unit has no supply, gets no tach signal, or the watcher does not see "
          "it. "
          "Check the supply, then the tach wire, then the wires of the lamps, and run again.");
    for (const Finding& finding : result_.findings)
      if (verdict_of(finding.kind) == Verdict::undecided) say(stopped(finding.message));
    if (!result_.complete) say("The run did not get to its end: run it again, to the end.");
    for (const PressResult& row : result_.presses) pressed("press of " + row.button, row);
    for (const DimResult& row : result_.dims) pressed("press of " + row.button, row);
    for (const PowerResult& row : result_.powers) pressed(std::string(power_word(row)), row);
    rows(result_.boundaries, "threshold");
    rows(result_.deadbands, "deadband");
    rows(result_.responses, "response");
    rows(result_.transitions, "transition");
    for (const BlinkResult& row : result_.blinks)
      if (row.verdict == Verdict::undecided)
        say("The blink of " + row.lamp + " in window " + in_state(row.window, row.state) +
            " was not measured: hold the rpm there for at least eight blinks.");
    for (const AnswerResult& row : result_.answers)
      if (row.verdict == Verdict::undecided)
        say("Nobody answered \"" + row.question + "\": run again and answer it.");
    if (said_.size() > most) said_.resize(most);
    return std::move(said_);
  }

 private:
  void say(std::string text) {
    if (std::find(said_.begin(), said_.end(), text) == said_.end()) said_.push_back(std::move(text));
  }

  template <class Row>
  void pressed(const std::string& what, const Row& row) {
    if (row.verdict == Verdict::undecided && !row.remark.empty())
      say(stopped("the " + what + " at " + say_time(row.at) + ": " + row.remark));
  }

  // Rows that lack the same, in one state of the unit, are one sentence.
  template <class Row>
  void rows(const std::vector<Row>& rows, const char* what) {
    struct Group {
      std::string remark, state, names;
    };
    std::vector<Group> groups;
    for (const Row& row : rows) {
      if (row.verdict != Verdict::undecided || !row.asked || row.remark.empty()) continue;
      auto group = std::find_if(groups.begin(), groups.end(), [&](const Group& g) {
        return g.remark == row.remark && g.state == row.state;
      });
      if (group == groups.end()) group = groups.insert(group, {row.remark, row.state, ""});
      std::string& names = group->names;
      if ((", " + names + ",").find(", " + row.boundary + ",") == std::string::npos)
        names += (names.empty() ? "" : ", ") + row.boundary;
    }
    for (const Group& g : groups)
      say(stopped("the " + std::string(what) + " of " + in_state(g.names, g.state) + ": " + g.remark));
  }

  const RunResult& result_;
  std::vector<std::string> said_;
};

}  // namespace

std::vector<std::string> missing_evidence(const Gauge& gauge, const RunResult& result) {
  if (result.verdict != Verdict::undecided) return {};
  return Missing(result).all(gauge);
}

}  // namespace tachproof
