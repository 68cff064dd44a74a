#include "bench/commands/rig_words.h"

#include <algorithm>

#include "bench/commands/rig_questions.h"
#include "bench/commands/terminal.h"
#include "bench/rigs/factory.h"

namespace tachproof {
namespace {

bool is_software(const SourceKind& kind) { return kind.is_software(); }
bool is_software(const WatchKind& kind) { return kind.watches_software(); }

// As a person is offered them: hardware first.
template <class Kind>
std::vector<const Kind*> hardware_first(std::vector<const Kind*> kinds) {
  std::stable_partition(kinds.begin(), kinds.end(), [](const Kind* kind) { return !is_software(*kind); });
  return kinds;
}

}  // namespace

void RigWords::declare(Arguments& arguments) {
  arguments.option(source_, "--source", "KIND",
                   "With --out, what plays: board, scpi (a signal generator) or simulated.");
  arguments.option(watch_, "--watch", "KIND",
                   "With --out, what watches: board (its inputs), gpio, camera or simulated. Default beside "
                   "a board: board.");
  for (const auto& words : kinds_) words->declare(arguments);
}

bool RigWords::any() const {
  return !source_.empty() || !watch_.empty() ||
         std::any_of(kinds_.begin(), kinds_.end(), [](const auto& words) { return words->any(); });
}

std::string RigWords::source_kind() const {
  if (source_.empty())
    for (const auto& words : kinds_)
      if (const std::string implied = words->implied_source(); !implied.empty()) return implied;
  std::vector<Choice> choices;
  for (const SourceKind* kind : hardware_first(source_kinds()))
    choices.push_back({kind->word(), kind->about()});
  return word_or_asked("--source", source_, "What plays the tach signal?", choices, false);
}

std::string RigWords::watch_kind(const RigFile& rig) const {
  const SourceKind& source = kind_of(rig.source);
  const std::vector<const WatchKind*> watchers = hardware_first(watch_kinds());
  if (watch_.empty()) {
    for (const WatchKind* watcher : watchers)
      for (const auto& words : kinds_)
        if (words->implied_watch() == watcher->word()) return watcher->word();
    const bool at_terminal = is_terminal(stdin) && is_terminal(stderr);
    const bool source_is_told = std::any_of(kinds_.begin(), kinds_.end(), [&](const auto& words) {
      return words->part() == KindWords::Part::source && words->kind() == source.word() && words->any();
    });
    if (source.is_software() || (source.clock() == SourceClock::device && (source_is_told || !at_terminal)))
      return source.own_watch();
  }
  std::vector<Choice> choices;
  for (const WatchKind* watcher : watchers)
    if (watcher->goes_beside(source.clock())) choices.push_back({watcher->word(), watcher->about()});
  return word_or_asked("--watch", watch_, "What watches the lamps?", choices, false);
}

RigWanted RigWords::wanted(const std::filesystem::path& out) const {
  RigWanted wanted;
  RigFile& rig = wanted.rig;
  rig.source.kind = source_kind();
  rig.watch.kind = watch_kind(rig);
  const auto is_of = [&](const KindWords& words) {
    return words.kind() == (words.part() == KindWords::Part::source ? rig.source.kind : rig.watch.kind);
  };
  for (const auto& words : kinds_)
    if (!is_of(*words))
      words->refuse_any(words->part() == KindWords::Part::source ? "--source " + rig.source.kind
                                                                 : "--watch " + rig.watch.kind);
  for (const KindWords::Part part : {KindWords::Part::watch, KindWords::Part::source})
    for (const auto& words : kinds_)
      if (words->part() == part && is_of(*words)) words->fill(wanted, out);
  return wanted;
}

}  // namespace tachproof
