#include "core/compare/new_findings.h"

#include <algorithm>
#include <cmath>
#include <set>
#include <string>
#include <utility>

#include "core/compare/pressed_rows.h"

namespace tachproof {
namespace {

class NewFindings {
 public:
  NewFindings(Comparison& comparison, const ComparedRun& before, const ComparedRun& after,
              const SettingsChange& change)
      : comparison_(comparison), before_(before), after_(after), change_(change) {}

  // A finding that the old run had not, in a window where no row tells of it.
  void add() {
    const auto key = [](const Finding& f, const std::string& window) {
      return std::pair(f.kind, window.empty() ? f.lamp : window);
    };
    std::set<std::pair<FindingKind, std::string>> known;
    for (const Finding& f : before_.result.findings) known.insert(key(f, name_now(f.window)));
    const std::set<std::string> told = windows_told();
    for (const Finding& f : after_.result.findings) {
      if (verdict_of(f.kind) != Verdict::fail || told.contains(f.window) || judged_by_tolerance(f.kind) ||
          is_measured(f))
        continue;
      if (!known.insert(key(f, f.window)).second) continue;
      ComparisonItem row;
      row.what = "finding: " + std::string(word(f.kind));
      row.boundary = f.window;
      row.expected_change = 0;
      row.observed_change = 1;
      row.word = ChangeWord::unintended;
      row.remark = f.message;
      comparison_.items.push_back(std::move(row));
    }
  }

 private:
  // A number that lies near the edge of the tolerance is found in one run and
  // not in the next; whether it moved, its own row tells: of the unit as it was set.
  bool is_measured(const Finding& f) const {
    if (fails_when_pressed(after_.result, f.window)) return false;
    const bool threshold = f.kind == FindingKind::early || f.kind == FindingKind::late;
    const std::string what = threshold                              ? "threshold"
                             : f.kind == FindingKind::slow_response ? "response"
                             : f.kind == FindingKind::blink_rate    ? "blink rate, " + f.lamp
                                                                    : "";
    bool any = false;
    for (const ComparisonItem& i : comparison_.items) {
      if (i.what != what || i.boundary != f.window) continue;
      if (!std::isfinite(i.e_n)) return false;
      any = true;
    }
    return any;
  }

  std::string name_now(const std::string& window) const {
    for (const WindowChange& w : change_.windows)
      if (w.was_called == window && !window.empty()) return w.name;
    return window;
  }

  // Windows with a row that is unintended or missing, and those next to such a
  // boundary: what is found there has its explanation.
  std::set<std::string> windows_told() const {
    std::set<std::string> told;
    for (const ComparisonItem& i : comparison_.items) {
      if (i.word != ChangeWord::unintended && i.word != ChangeWord::missing) continue;
      told.insert(i.boundary);
      for (std::size_t w = 1; w < after_.gauge.windows.size(); ++w) {
        if (after_.gauge.windows[w].name != i.boundary) continue;
        told.insert(after_.gauge.windows[w - 1].name);
        if (w + 1 < after_.gauge.windows.size()) told.insert(after_.gauge.windows[w + 1].name);
      }
    }
    return told;
  }

  // A narrower tolerance finds what was there before.
  bool judged_by_tolerance(FindingKind kind) const {
    const bool timing = kind == FindingKind::early || kind == FindingKind::late ||
                        kind == FindingKind::slow_response || kind == FindingKind::blink_rate;
    const auto is_tolerance = [](const NamedChange& n) {
      return n.name != "deadband" && n.name != "blink" && n.name != "blink duty";
    };
    return timing && std::any_of(change_.numbers.begin(), change_.numbers.end(), is_tolerance);
  }

  Comparison& comparison_;
  const ComparedRun& before_;
  const ComparedRun& after_;
  const SettingsChange& change_;
};

}  // namespace

void add_new_findings(Comparison& comparison, const ComparedRun& before, const ComparedRun& after,
                      const SettingsChange& change) {
  NewFindings(comparison, before, after, change).add();
}

}  // namespace tachproof
