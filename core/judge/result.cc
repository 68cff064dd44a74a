#include "core/judge/result.h"

#include "core/gauge/buttons.h"

namespace tachproof {

std::string_view word(FindingKind k) {
  switch (k) {
    case FindingKind::missing_transition: return "missing-transition";
    case FindingKind::early: return "early";
    case FindingKind::late: return "late";
    case FindingKind::extra_transition: return "extra-transition";
    case FindingKind::wrong_cue: return "wrong-cue";
    case FindingKind::stuck_lamp: return "stuck-lamp";
    case FindingKind::blink_rate: return "blink-rate";
    case FindingKind::blink_missing: return "blink-missing";
    case FindingKind::flicker: return "flicker";
    case FindingKind::slow_response: return "slow-response";
    case FindingKind::no_signal: return "no-signal";
    case FindingKind::lost_evidence: return "lost-evidence";
    case FindingKind::bench_fault: return "bench-fault";
    case FindingKind::wrong_answer: return "wrong-answer";
    case FindingKind::unknown_colour: return "unknown-colour";
    case FindingKind::press_ignored: return "press-ignored";
    case FindingKind::press_not_refused: return "press-not-refused";
    case FindingKind::wrong_take: return "wrong-take";
    case FindingKind::dim_level: return "dim-level";
    case FindingKind::settings_lost: return "settings-lost";
    case FindingKind::settings_kept: return "settings-kept";
    case FindingKind::wrong_greeting: return "wrong-greeting";
    case FindingKind::slow_boot: return "slow-boot";
    case FindingKind::supply_drift: return "supply-drift";
    case FindingKind::brown_out: return "brown-out";
    case FindingKind::no_return: return "no-return";
  }
  return "bench-fault";
}

Verdict verdict_of(FindingKind k) {
  switch (k) {
    case FindingKind::no_signal:
    case FindingKind::lost_evidence:
    case FindingKind::bench_fault: return Verdict::undecided;
    default: return Verdict::fail;
  }
}

Gauge in_state(const Gauge& gauge, const StateResult& state) {
  Gauge out = gauge;
  for (const StateResult::Taken& taken : state.taken)
    for (std::size_t b = 1; b < gauge.windows.size(); ++b)
      if (gauge.windows[b].name == taken.boundary) out = with_boundary_at(out, b, taken.rpm);
  return out;
}

}  // namespace tachproof
