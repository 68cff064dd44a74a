// A result in words, for a test that says why it failed.
#pragma once

#include <string>

#include "core/judge/result.h"

namespace tachproof::test {

// All that a result says against a unit, or leaves open.
inline std::string told_of(const RunResult& result) {
  std::string text;
  for (const Finding& f : result.findings) text += std::string(word(f.kind)) + ": " + f.message + "\n";
  for (const PowerResult& p : result.powers)
    text += "power " + std::to_string(to_seconds(p.at)) + " s, " + std::to_string(p.lowest_v) +
            " V: " + std::string(word(p.verdict)) + " " + std::to_string(p.boot_ms) + " ms " + p.remark +
            "\n";
  for (const PressResult& p : result.presses)
    if (p.verdict != Verdict::pass) text += "press: " + p.remark + "\n";
  for (const DimResult& d : result.dims)
    if (d.verdict != Verdict::pass) text += "dim: " + d.remark + "\n";
  for (const BoundaryResult& b : result.boundaries)
    if (b.verdict != Verdict::pass)
      text += b.boundary + " " + b.state + ": " + std::string(word(b.verdict)) + " " +
              std::to_string(b.threshold_rpm - b.nominal_rpm) + " " + b.remark + "\n";
  for (const StateResult& s : result.states) text += "[" + s.state + "] ";
  return text;
}

}  // namespace tachproof::test
