#include "bench/rigs/gpio/gpio_watcher.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace tachproof {
namespace {

// An edge is stamped by the interrupt handler and handed over by a thread: so
// much later it is there, from memory; one that is later still is out of order
// and ends the run.
constexpr Nanos handed_over_within = 5 * ns_per_ms;
// From an edge to its stamp, standard; from memory, of an idle machine.
constexpr Nanos stamp_uncertainty = 20 * ns_per_us;

}  // namespace

GpioWatcher::GpioWatcher(const GpioSettings& settings, RunZero zero, std::shared_ptr<CommandClock> clock,
                         std::shared_ptr<GpioKernel> kernel)
    : zero_(std::move(zero)), clock_(std::move(clock)) {
  const std::vector<GpioChipFound> chips = gpio_chips(*kernel);
  std::vector<std::string> names;
  for (const ResolvedWire& wire : settings.wires) names.push_back(wire.channel);
  const GpioChipFound& chip = find_gpio_chip(chips, settings.chip, names);
  std::vector<unsigned> numbers;
  for (const ResolvedWire& wire : settings.wires) {
    const unsigned number = find_gpio_line(chip, wire.channel);
    const auto same = std::find(numbers.begin(), numbers.end(), number);
    if (same == numbers.end()) {
      numbers.push_back(number);
      lines_.push_back({number, wire.lights});
    } else {
      lines_[static_cast<std::size_t>(same - numbers.begin())].lights |= wire.lights;
    }
  }
  description_ =
      fmt::format("{} lines of {} ({}), stamped by the kernel", numbers.size(), chip.name, chip.label);
  watched_ =
      std::make_unique<GpioLines>(std::move(kernel), chip, numbers, !settings.active_high, settings.bias);
}

WatcherFacts GpioWatcher::facts() const {
  WatcherFacts facts;
  facts.kind = "gpio";
  facts.description = description_;
  facts.stamp_uncertainty = stamp_uncertainty;
  facts.time_by = TimeRelation::host_clock;
  for (const Line& line : lines_) facts.wired |= line.lights;
  return facts;
}

void GpioWatcher::begin() {
  drain();
  edges_.clear();
  shown_.reset();
  lost_ = 0;
  const std::vector<bool> active = watched_->active();
  read_at_ = clock_->now();
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    lines_[i].active = active[i];
    lines_[i].certain = false;
  }
}

Channels GpioWatcher::lit() const {
  Channels out = 0;
  for (const Line& line : lines_)
    if (line.active) out |= line.lights;
  return out;
}

void GpioWatcher::drain() {
  while (const std::optional<GpioEdge> edge = watched_->next_edge()) {
    lost_ += edge->sequence - sequence_ - 1;
    sequence_ = edge->sequence;
    edges_.push_back(*edge);
  }
}

// Two edges the same way: the one between them was missed.
void GpioWatcher::take(const GpioEdge& edge) {
  for (Line& line : lines_) {
    if (line.number != edge.line) continue;
    const bool told = line.certain || edge.at > read_at_;
    if (told && line.active == edge.rising) ++lost_;
    line.active = edge.rising;
    line.certain = true;
  }
}

Seen GpioWatcher::collect(Nanos until, std::vector<LampEvent>& out) {
  const Nanos zero = zero_->value();
  clock_->wait_until(zero + until + handed_over_within);
  drain();
  for (; !edges_.empty() && edges_.front().at - zero <= until; edges_.pop_front()) {
    const GpioEdge& edge = edges_.front();
    // What the lamps ended at before the run is what it begins with.
    if (edge.at > zero && !shown_) out.push_back({0, *(shown_ = lit())});
    take(edge);
    const Channels now = lit();
    if (edge.at <= zero || now == *shown_) continue;
    if (!out.empty() && out.back().at == edge.at - zero) out.pop_back();
    out.push_back({edge.at - zero, now});
    shown_ = now;
  }
  if (!shown_) out.push_back({0, *(shown_ = lit())});
  Seen seen;
  seen.until = until;
  seen.lost = std::exchange(lost_, 0);
  if (seen.lost > 0)
    seen.lost_why = fmt::format(
        "{} edges of the GPIO lines were lost: the kernel had no room for them or did not see them",
        seen.lost);
  return seen;
}

}  // namespace tachproof
