#include "bench/rigs/simulated/unit_buttons.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace tachproof {
namespace {

Gauge with_anchors_off(Gauge gauge, const ButtonFaults::Anchors& off) {
  const auto meant = [&](const std::string& anchor) {
    return !anchor.empty() && (off.name.empty() || anchor == off.name);
  };
  for (Window& window : gauge.windows)
    if (meant(window.anchor)) window.from_rpm += off.by_rpm;
  for (auto& [name, rpm] : gauge.anchors)
    if (meant(name)) rpm += off.by_rpm;
  return gauge;
}

}  // namespace

bool is_level(double share, double level) { return std::abs(share - level) < 1e-9; }

std::optional<std::size_t> other_end(const Gauge& gauge, std::size_t boundary) {
  const std::string& anchor = gauge.windows[boundary].anchor;
  if (anchor.empty()) return std::nullopt;
  if (boundary > 1 && gauge.windows[boundary - 1].anchor == anchor) return boundary - 1;
  if (boundary + 1 < gauge.windows.size() && gauge.windows[boundary + 1].anchor == anchor)
    return boundary + 1;
  return std::nullopt;
}

UnitButtons::UnitButtons(const UnitSettings& settings)
    : set_(settings.gauge), faults_(settings.buttons), gauge_(settings.gauge) {}

UnitButtons::Effect UnitButtons::press(const std::string& name, Nanos at, double believed_rpm) {
  const Button* button = button_named(set_, name);
  if (button == nullptr) return Effect::none;
  if (const auto* takes = std::get_if<TakeRpm>(&button->does)) return take(*button, *takes, at, believed_rpm);
  if (const auto* peak = std::get_if<ShowPeak>(&button->does)) return show(*button, *peak, at);
  return dim(*button, std::get<Dim>(button->does));
}

UnitButtons::Effect UnitButtons::take(const Button& button, const TakeRpm& take, Nanos at,
                                      double believed_rpm) {
  if (faults_.take_ignored) return Effect::none;
  const double rpm = faults_.take_late > 0 ? believed_at(at - faults_.take_late) : believed_rpm;
  const bool allowed = rpm >= take.lowest_rpm && rpm <= take.highest_rpm;
  if (!allowed && !faults_.take_not_refused) return Effect::none;
  const std::size_t boundary =
      faults_.take_other_end ? other_end(set_, take.boundary).value_or(take.boundary) : take.boundary;
  // A window that never shows has no boundary to be moved.
  if (!std::isfinite(set_.windows[boundary].from_rpm)) return Effect::none;
  std::erase_if(takes_, [&](const Take& old) { return old.button == button.name; });
  takes_.push_back({button.name, boundary, rpm});
  apply_takes();
  return Effect::settings;
}

UnitButtons::Effect UnitButtons::show(const Button& button, const ShowPeak& peak, Nanos at) {
  const auto shown = shown_.find(button.name);
  if (shown == shown_.end() || at - shown->second > peak.lasts) {
    shown_[button.name] = at;
    return Effect::none;
  }
  shown_.erase(shown);
  return faults_.peak_not_cleared ? Effect::none : Effect::peak_cleared;
}

UnitButtons::Effect UnitButtons::dim(const Button& button, const Dim& dim) {
  const auto skipped = [&](double share) {
    return std::any_of(faults_.skipped_levels.begin(), faults_.skipped_levels.end(),
                       [&](double level) { return is_level(share, level); });
  };
  std::size_t& level = level_[button.name];
  for (std::size_t tried = 0; tried < dim.levels.size(); ++tried) {
    level = (level + 1) % dim.levels.size();
    if (!skipped(dim.levels[level])) break;
  }
  return Effect::dimmed;
}

void UnitButtons::apply_takes() {
  gauge_ = set_;
  for (const Take& take : takes_) gauge_ = with_boundary_at(gauge_, take.boundary, take.rpm);
}

void UnitButtons::lose_power() {
  if (faults_.reset_to) {
    set_ = with_anchors_off(std::move(set_), *std::exchange(faults_.reset_to, std::nullopt));
    takes_.clear();
  }
  std::erase_if(takes_, [this](const Take& take) { return faults_.take_lost || !kept(take.button); });
  apply_takes();
  std::erase_if(level_, [this](const auto& level) { return !kept(level.first); });
  shown_.clear();
  believed_.clear();
}

bool UnitButtons::kept(const std::string& button) const {
  return set_.power_up && keeps(*set_.power_up, button);
}

bool UnitButtons::keeps_peak() const {
  return std::any_of(set_.buttons.begin(), set_.buttons.end(), [this](const Button& button) {
    return std::holds_alternative<ShowPeak>(button.does) && kept(button.name);
  });
}

double UnitButtons::share() const {
  double share = 1;
  for (const Button& button : set_.buttons)
    if (const Dim* dim = std::get_if<Dim>(&button.does)) {
      const auto level = level_.find(button.name);
      share *= dim->levels[level == level_.end() ? 0 : level->second];
    }
  return share;
}

void UnitButtons::believes(Nanos at, double rpm) {
  believed_.emplace_back(at, rpm);
  while (believed_.size() > 1 && believed_[1].first <= at - faults_.take_late) believed_.pop_front();
}

double UnitButtons::believed_at(Nanos t) const {
  double rpm = 0;
  for (const auto& [at, then] : believed_)
    if (at <= t) rpm = then;
  return rpm;
}

}  // namespace tachproof
