#include "core/cause/button_causes.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/cause/fault.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

struct Known {
  FindingKind finding;
  Kind fault;
  const char* text;
  const char* todo;
};

constexpr Known known[] = {
    {FindingKind::press_ignored, Kind::take_ignored,
     "The unit did not take the rpm when its button was pressed",
     "Press longer; then check the button, its wire and the output that presses it."},
    {FindingKind::press_not_refused, Kind::take_not_refused,
     "The unit takes an rpm that its button has to refuse",
     "Write the range that the button allows to the unit again."},
    {FindingKind::wrong_take, Kind::take_late, "The unit takes another rpm than that of the press",
     "Check which end of the window the button takes, and how long the unit averages; keep the rpm still for "
     "longer before "
     "the press."},
    {FindingKind::dim_level, Kind::dim_missing, "A level of dimming is not as set",
     "Write the levels of dimming to the unit again."},
    {FindingKind::settings_lost, Kind::take_lost, "The unit forgets what it took when its supply is cut",
     "Check that the unit stores what it takes; then its memory, or the battery that keeps it."},
    {FindingKind::settings_kept, Kind::settings_reset,
     "The unit keeps what it took, though it has to forget it without supply",
     "Write to the unit again which buttons outlast a loss of power."},
    {FindingKind::wrong_greeting, Kind::greets_wrong, "The unit greets with other lamps than it is set to",
     "Write the greeting to the unit again; then check the wires of those lamps."},
    {FindingKind::slow_boot, Kind::slow_boot, "The unit wakes too late",
     "Check the voltage at the unit while it wakes; then the time to boot in the gauge file."},
};

const Known* known_by(FindingKind kind) {
  const auto found =
      std::find_if(std::begin(known), std::end(known), [&](const Known& k) { return k.finding == kind; });
  return found == std::end(known) ? nullptr : found;
}

// By how much the takes were off, where that was measured.
void say_size(const RunResult& result, const Known& one, Cause& cause) {
  if (one.finding != FindingKind::wrong_take) return;
  for (const PressResult& press : result.presses) {
    if (press.verdict != Verdict::fail || std::isnan(press.taken_rpm)) continue;
    const double off = press.taken_rpm - press.rpm;
    cause.text += ": " + decimal(std::abs(off), 1) + " rpm too " + (off > 0 ? "high" : "low") + " at " +
                  decimal(press.rpm, 1) + " rpm";
    cause.changes.front().numbers = {{"by_rpm", off},
                                     {"expanded_uncertainty_rpm", press.expanded_uncertainty_rpm}};
    return;
  }
}

// A question for the highest rpm that was answered as before it was cleared.
bool not_cleared(const RunResult& result, const Finding& finding) {
  if (finding.kind != FindingKind::wrong_answer) return false;
  const auto wrong = std::find_if(result.answers.begin(), result.answers.end(), [&](const AnswerResult& a) {
    return a.at == finding.at && a.verdict == Verdict::fail;
  });
  return wrong != result.answers.end() &&
         std::any_of(result.answers.begin(), wrong, [&](const AnswerResult& a) {
           return a.verdict == Verdict::pass && a.answer == wrong->answer;
         });
}

Cause peak_not_cleared(std::size_t findings) {
  Cause cause;
  cause.text = "The unit does not clear its highest rpm";
  cause.todo =
      "Press the button again while the dial shows the highest rpm; if it stays, check the button's setting.";
  cause.explains = cause.of = findings;
  cause.changes.push_back({std::string(word(Kind::peak_not_cleared)), {}, {}, {}});
  return cause;
}

}  // namespace

std::vector<Cause> button_causes(const RunResult& result) {
  std::vector<const Finding*> against;
  for (const Finding& finding : result.findings)
    if (verdict_of(finding.kind) == Verdict::fail) against.push_back(&finding);
  std::vector<Cause> causes;
  if (!against.empty() &&
      std::all_of(against.begin(), against.end(), [&](const Finding* f) { return not_cleared(result, *f); }))
    return {peak_not_cleared(against.size())};
  if (against.empty() || std::any_of(against.begin(), against.end(),
                                     [](const Finding* f) { return known_by(f->kind) == nullptr; }))
    return causes;
  // All of them together are what is wrong: one cause, with a change for each kind.
  Cause all;
  all.explains = all.of = against.size();
  for (const Known& one : known) {
    if (std::none_of(against.begin(), against.end(),
                     [&](const Finding* f) { return f->kind == one.finding; }))
      continue;
    CauseChange change{std::string(word(one.fault)), {}, {}, {}};
    if (all.changes.empty()) {
      all.text = one.text;
      all.todo = one.todo;
      all.changes.push_back(change);
      say_size(result, one, all);
    } else {
      all.text += "; " + std::string(1, static_cast<char>(one.text[0] + ('a' - 'A'))) + (one.text + 1);
      all.todo += " " + std::string(one.todo);
      all.changes.push_back(change);
    }
  }
  causes.push_back(std::move(all));
  return causes;
}

}  // namespace tachproof
