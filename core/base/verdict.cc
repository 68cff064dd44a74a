#include "core/base/verdict.h"

namespace tachproof {

std::string_view word(Verdict v) {
  switch (v) {
    case Verdict::pass: return "pass";
    case Verdict::fail: return "fail";
    case Verdict::undecided: return "undecided";
  }
  return "undecided";
}

Verdict worst(Verdict a, Verdict b) {
  if (a == Verdict::fail || b == Verdict::fail) return Verdict::fail;
  if (a == Verdict::undecided || b == Verdict::undecided) return Verdict::undecided;
  return Verdict::pass;
}

std::string_view word(Direction d) { return d == Direction::rising ? "rising" : "falling"; }

}  // namespace tachproof
