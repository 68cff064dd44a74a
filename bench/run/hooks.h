// What a command hears of a run, and what it may say to it.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "core/base/time.h"
#include "core/cause/evidence_log.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"

namespace tachproof {

// For a person who watches; a few times a second of wall time.
struct RunProgress {
  Nanos at = 0;
  double rpm = 0;
  Channels lit = 0;
};

// What a person said to a question; nothing when nobody is there or wants to say anything.
struct Reply {
  std::optional<std::string> text;
};

// All may be empty.
struct RunHooks {
  // Asked before every stretch; a sentence why the run must stop, or nothing.
  std::function<std::optional<std::string>()> stop;
  std::function<void(const RunProgress&)> progress;
  // A sentence, before anything is played: how long it will take, where the profile does not say.
  std::function<void(const std::string&)> announce;
  // When the watcher has no answer of its own. Called again and again until
  // there is a reply, and waits for it no longer than `patience`.
  std::function<std::optional<Reply>(const Ask&, Nanos patience)> ask_person;
  // What the lamps do, as soon as it is known, and what the judge finds as it goes: for who watches. The
  // run's result has the last word. Called from the run's thread or, of lamps, from the watcher's.
  std::function<void(const LampEvent&)> lamps;
  std::function<void(const Finding&)> finding;
  // A rig in virtual time is let go no faster than real time: for who watches.
  bool in_real_time = false;
  // Keeps what the judge is told; it must outlive the run. Null: nothing is kept.
  EvidenceLog* evidence = nullptr;
};

}  // namespace tachproof
