#include "bench/reports/grade_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "bench/record/text.h"
#include "bench/reports/fault_json.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

std::string seconds(Nanos t) { return fixed(to_seconds(t), 1) + " s"; }

std::string shift_text(double rpm) { return std::isfinite(rpm) ? fixed(rpm, 2) : "none seen"; }

void add_wrapped(std::string& text, const std::string& sentence, std::size_t columns,
                 const std::string& indent) {
  for (const std::string& line : wrapped(sentence, columns - indent.size())) text += indent + line + "\n";
}

// Faults with one reason stand together below it, in the order of the first of each.
void add_those(std::string& text, const Grade& grade, Verdict verdict, const char* title,
               std::size_t columns) {
  std::vector<std::vector<const GradedFault*>> groups;
  for (const GradedFault& fault : grade.faults) {
    if (fault.verdict != verdict) continue;
    const auto group = std::find_if(groups.begin(), groups.end(), [&](const auto& members) {
      return members.front()->why.shared == fault.why.shared;
    });
    if (group == groups.end())
      groups.push_back({&fault});
    else
      group->push_back(&fault);
  }
  if (!groups.empty()) text += fmt::format("\n{}\n", title);
  for (const std::vector<const GradedFault*>& members : groups) {
    if (members.size() == 1) {
      add_wrapped(text, describe(members[0]->listed.fault, grade.gauge) + ":", columns, "  ");
      add_wrapped(text, members[0]->why.clause, columns, "    ");
      continue;
    }
    add_wrapped(text, fmt::format("{} faults, because {}", members.size(), members[0]->why.shared), columns,
                "  ");
    for (const GradedFault* const fault : members) {
      const std::string own = fault->why.own.empty() ? "" : ": " + fault->why.own;
      std::string lines;
      add_wrapped(lines, describe(fault->listed.fault, grade.gauge) + own, columns, "      ");
      lines[4] = '-';
      text += lines;
    }
  }
}

// Both ways of a boundary in one row.
struct ShiftRow {
  std::size_t boundary = 0;
  double up = not_measured, down = not_measured;
  bool has_up = false, has_down = false;
};
std::vector<ShiftRow> shift_rows(const Grade& grade) {
  std::vector<ShiftRow> rows;
  for (const NoticedShift& shift : grade.shifts) {
    auto row = std::find_if(rows.begin(), rows.end(),
                            [&](const ShiftRow& r) { return r.boundary == shift.boundary; });
    if (row == rows.end()) {
      rows.emplace_back();
      row = rows.end() - 1;
      row->boundary = shift.boundary;
    }
    (shift.up ? row->up : row->down) = shift.rpm;
    (shift.up ? row->has_up : row->has_down) = true;
  }
  std::sort(rows.begin(), rows.end(),
            [](const ShiftRow& a, const ShiftRow& b) { return a.boundary < b.boundary; });
  return rows;
}

std::string cell(bool tried, double rpm) { return tried ? shift_text(rpm) : "-"; }

std::string shifts_text(const Grade& grade) {
  const std::vector<ShiftRow> rows = shift_rows(grade);
  if (rows.empty()) return "";
  std::size_t widest = std::string_view("boundary").size();
  for (const ShiftRow& row : rows)
    widest = std::max(widest, code_points(grade.gauge.windows[row.boundary].name));
  widest = std::min<std::size_t>(widest, 30);
  std::string text = "\nSmallest shift that is noticed, in rpm\n";
  text += fmt::format("{:{}}{:>10}{:>12}{:>12}\n", "boundary", widest, "rpm", "up", "down");
  for (const ShiftRow& row : rows) {
    const Window& window = grade.gauge.windows[row.boundary];
    const std::string name = shortened(window.name, widest);
    text += name + std::string(widest - std::min(widest, code_points(name)), ' ');
    text += fmt::format("{:>10}{:>12}{:>12}\n", number_text(window.from_rpm), cell(row.has_up, row.up),
                        cell(row.has_down, row.down));
  }
  return text;
}

std::size_t alike(const Grade& grade) {
  std::size_t all = 0;
  for (const GradedFault& fault : grade.faults) all += fault.listed.same_as.size();
  return all;
}

std::string scenario_line(const GradedScenario& scenario) {
  const std::string begin =
      fmt::format("Scenario {}: {} of bench time. ", scenario.name, seconds(scenario.lasts));
  switch (scenario.sound) {
    case Verdict::pass: return begin + "A unit without a fault passes.";
    case Verdict::undecided: return begin + "A unit without a fault is undecided: " + scenario.why + ".";
    case Verdict::fail:
      return begin + "A unit without a fault FAILS, so this scenario is left out: " + scenario.why + ".";
  }
  return begin;
}

}  // namespace

std::string grade_answer(const Grade& grade) {
  const std::size_t all = grade.faults.size(), caught = grade.count(Verdict::fail);
  if (all == 0) return "There is no fault to try.";
  // Rounded down: 100 % are all of them.
  return fmt::format("{} of {} faults are caught ({} %): {} undecided, {} escape.", caught, all,
                     100 * caught / all, grade.count(Verdict::undecided), grade.count(Verdict::pass));
}

std::string grade_text(const Grade& grade, std::size_t columns) {
  std::string text;
  for (const GradedScenario& scenario : grade.scenarios)
    add_wrapped(text, scenario_line(scenario), columns, "");
  if (grade.shards > 1) text += fmt::format("Share {} of {}.\n", grade.shard, grade.shards);
  add_wrapped(text, grade_answer(grade), columns, "");
  add_those(text, grade, Verdict::pass, "Escape", columns);
  add_those(text, grade, Verdict::undecided, "Undecided", columns);
  text += shifts_text(grade);
  text += "\n";
  if (alike(grade) > 0)
    add_wrapped(text,
                fmt::format("{} more faults show the same as one of these, whatever is played, and count "
                            "with it.",
                            alike(grade)),
                columns, "");
  if (!grade.left_out.empty())
    add_wrapped(text,
                fmt::format("{} are left out, because no scenario can show them; --json lists them with "
                            "the reason.",
                            grade.left_out.size()),
                columns, "");
  return text;
}

std::string grade_json(const Grade& grade) {
  Json out;
  out["bench_time_s"] = to_seconds(grade.bench_time());
  out["faults"] = grade.faults.size();
  out["caught"] = grade.count(Verdict::fail);
  out["undecided"] = grade.count(Verdict::undecided);
  out["escaped"] = grade.count(Verdict::pass);
  out["gauge"] = text_to_json(grade.gauge.name);
  out["rig"] = text_to_json(grade.rig);
  out["shard"] = {{"shard", grade.shard}, {"shards", grade.shards}};
  out["scenarios"] = list_of(grade.scenarios, [](const GradedScenario& scenario) {
    return Json{{"name", text_to_json(scenario.name)},
                {"bench_time_s", to_seconds(scenario.lasts)},
                {"sound_unit", word(scenario.sound)},
                {"why", text_to_json(scenario.why)}};
  });
  out["list"] = list_of(grade.faults, [&](const GradedFault& fault) {
    const bool caught = fault.verdict == Verdict::fail;
    Json one{{"fault", fault_json(fault.listed.fault, grade.gauge)},
             {"text", text_to_json(describe(fault.listed.fault, grade.gauge))},
             {"verdict", word(fault.verdict)},
             {"at_s", caught ? Json(to_seconds(fault.at)) : Json(nullptr)}};
    if (caught) one["scenario"] = text_to_json(fault.scenario);
    if (!caught) one["why"] = text_to_json(fault.why.clause);
    if (fault.listed.sized()) one["smallest_caught"] = number_to_json(fault.smallest);
    if (!fault.listed.same_as.empty())
      one["same_as"] =
          list_of(fault.listed.same_as, [&](const Fault& same) { return fault_json(same, grade.gauge); });
    return one;
  });
  out["boundaries"] = list_of(grade.shifts, [&](const NoticedShift& shift) {
    return Json{{"boundary", text_to_json(grade.gauge.windows[shift.boundary].name)},
                {"direction", shift.up ? "up" : "down"},
                {"smallest_caught_rpm", number_to_json(shift.rpm)}};
  });
  out["left_out"] = list_of(grade.left_out, [&](const LeftOutFault& fault) {
    return Json{{"fault", fault_json(fault.fault, grade.gauge)}, {"why", text_to_json(fault.why)}};
  });
  return json_text(out, 2) + "\n";
}

namespace {

// Faults were dealt in turn; each boundary that is off has its line among the boundaries, in the same order.
void put_in_order(std::vector<Json>& parts, Json& out) {
  std::sort(parts.begin(), parts.end(), [](const Json& a, const Json& b) {
    return a["shard"].value("shard", 0) < b["shard"].value("shard", 0);
  });
  out["list"] = out["boundaries"] = Json::array();
  std::vector<std::size_t> shifts(parts.size(), 0);
  bool more = true;
  for (std::size_t turn = 0; more; ++turn) {
    more = false;
    for (std::size_t i = 0; i < parts.size(); ++i) {
      if (turn >= parts[i]["list"].size()) continue;
      more = true;
      const Json& fault = parts[i]["list"][turn];
      out["list"].push_back(fault);
      const bool moved = fault.value("/fault/kind"_json_pointer, "") == word(Fault::Kind::boundary_moved);
      if (moved && shifts[i] < parts[i]["boundaries"].size())
        out["boundaries"].push_back(parts[i]["boundaries"][shifts[i]++]);
    }
  }
}

}  // namespace

std::string merged_grade_json(const std::vector<std::string>& shards) {
  std::vector<Json> parts;
  for (const std::string& text : shards) {
    Json part;
    try {
      part = parse_json(text);
    } catch (const std::runtime_error&) {
      // It is no object then.
    }
    if (!part.is_object() || !part.contains("shard") || !part.contains("list"))
      throw std::runtime_error("a file is no JSON of `tachproof grade --json`");
    parts.push_back(std::move(part));
  }
  if (parts.empty()) throw std::runtime_error("there is no share to put together");
  std::set<int> seen;
  const int wanted = parts[0]["shard"].value("shards", 0);
  Json out = parts[0];
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const Json& part = parts[i];
    for (const char* const same : {"gauge", "rig", "scenarios", "left_out"})
      if (part.value(same, Json()) != parts[0].value(same, Json()))
        throw std::runtime_error(fmt::format("the shares are of different grades: '{}' differs", same));
    if (part["shard"].value("shards", 0) != wanted || !seen.insert(part["shard"].value("shard", 0)).second)
      throw std::runtime_error(
          "the shares do not belong together: one is there twice, or of another number of shares");
    if (i == 0) continue;
    for (const char* const sum : {"faults", "caught", "undecided", "escaped"})
      out[sum] = out.value(sum, 0) + part.value(sum, 0);
  }
  if (static_cast<int>(seen.size()) != wanted)
    throw std::runtime_error(fmt::format("there are {} of {} shares", seen.size(), wanted));
  put_in_order(parts, out);
  out["shard"] = {{"shard", 1}, {"shards", 1}};
  return json_text(out, 2) + "\n";
}

}  // namespace tachproof
