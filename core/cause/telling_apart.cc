#include "core/cause/telling_apart.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "core/base/words.h"
#include "core/cause/shown.h"

namespace tachproof {
namespace {

constexpr double fast = 3000;  // rpm per s, where nothing is looked at
constexpr std::size_t most_places = 12;

// An rpm, coming from below or from above, at which some of the causes show different lamps.
struct Place {
  double rpm = 0, low = 0, high = 0;
  bool from_above = false;
  std::set<std::pair<std::size_t, std::size_t>> tells;  // pairs of causes
  Nanos watch = 0;
  std::string why;
};

class Difference {
 public:
  Difference(const Gauge& set, const std::vector<Gauge>& acts) : set_(set) {
    for (const Gauge& gauge : acts) acts_.push_back(as_it_acts(gauge));
    highest_ = 500;
    for (const Gauge& gauge : acts_)
      for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
        highest_ = std::max(highest_, gauge.rising_rpm(b) + 300);
    highest_ = std::min(highest_, Profile::max_rpm);
    settled_ = set.tolerance.response_to + set.tolerance.settle;
    for (const Gauge& gauge : acts_)
      settled_ = std::max(settled_, gauge.tolerance.response_to + gauge.tolerance.settle);
  }

  std::vector<Place> places() const {
    std::vector<Place> all;
    for (const bool from_above : {false, true}) stretches(from_above, all);
    return chosen(std::move(all));
  }
  double lowest() const {
    double least = highest_;
    for (const Gauge& gauge : acts_)
      if (gauge.boundaries() > 0) least = std::min(least, gauge.falling_rpm(1));
    return std::max(0.0, std::round(std::min(0.8 * least, least - 3 * set_.tolerance.rpm - 20)));
  }
  double highest() const { return std::round(highest_); }
  Nanos settled() const { return settled_; }

 private:
  // Every rpm between two thresholds of any of them shows the same all along.
  void stretches(bool from_above, std::vector<Place>& all) const {
    std::vector<double> edges{lowest(), highest_};
    for (const Gauge& gauge : acts_)
      for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
        edges.push_back(from_above ? gauge.falling_rpm(b) : gauge.rising_rpm(b));
    std::sort(edges.begin(), edges.end());
    for (std::size_t i = 0; i + 1 < edges.size(); ++i) {
      Place place;
      place.low = edges[i];
      place.high = edges[i + 1];
      place.rpm = (place.low + place.high) / 2;
      place.from_above = from_above;
      if (place.high - place.low < 0.5 || place.rpm < lowest() || place.rpm > highest_) continue;
      look(place);
      if (!place.tells.empty()) all.push_back(std::move(place));
    }
  }

  void look(Place& place) const {
    bool blinks = false;
    std::vector<std::string> shown;
    for (std::size_t a = 0; a < acts_.size(); ++a) {
      const Cue cue_a = cue(acts_[a], place);
      shown.push_back(set_.describe(cue_a));
      blinks |= cue_a.blinking != 0;
      for (std::size_t b = a + 1; b < acts_.size(); ++b) {
        const Cue cue_b = cue(acts_[b], place);
        const bool same_blink =
            cue_a.blinking == 0 || !acts_[a].blink || !acts_[b].blink ||
            (std::abs(acts_[a].blink->hz - acts_[b].blink->hz) < set_.tolerance.blink_hz / 2 &&
             std::abs(acts_[a].blink->duty - acts_[b].blink->duty) < set_.tolerance.blink_duty / 2);
        if (!(cue_a == cue_b) || !same_blink) place.tells.insert({a, b});
      }
    }
    place.watch = settled_ + 400 * ns_per_ms;
    if (blinks && set_.blink) place.watch += from_seconds(9 / set_.blink->hz);
    for (std::size_t a = 0; a < shown.size(); ++a)
      place.why += (a == 0 ? "" : ", ") + std::string("cause ") + std::to_string(a + 1) + ": " + shown[a];
  }

  Cue cue(const Gauge& gauge, const Place& place) const {
    const std::size_t from = place.from_above ? gauge.boundaries() : 0;
    return gauge.windows[next_window(gauge, from, place.rpm)].cue;
  }

  // As few as tell every pair that any tells; of those that tell as much, the widest.
  static std::vector<Place> chosen(std::vector<Place> all) {
    std::vector<Place> kept;
    std::set<std::pair<std::size_t, std::size_t>> told;
    const auto gain = [&](const Place& place) {
      return std::count_if(place.tells.begin(), place.tells.end(),
                           [&](const auto& p) { return !told.contains(p); });
    };
    while (!all.empty() && kept.size() < most_places) {
      const auto best = std::max_element(all.begin(), all.end(), [&](const Place& a, const Place& b) {
        if (gain(a) != gain(b)) return gain(a) < gain(b);
        if (a.from_above != b.from_above) return a.from_above;
        return a.high - a.low < b.high - b.low;
      });
      if (gain(*best) == 0) break;
      told.insert(best->tells.begin(), best->tells.end());
      kept.push_back(*best);
      all.erase(best);
    }
    std::stable_sort(kept.begin(), kept.end(), [](const Place& a, const Place& b) {
      if (a.from_above != b.from_above) return b.from_above;
      return a.from_above ? a.rpm > b.rpm : a.rpm < b.rpm;
    });
    return kept;
  }

  const Gauge& set_;
  std::vector<Gauge> acts_;
  double highest_ = 0;
  Nanos settled_ = 0;
};

// Slow responses look alike at rest: steps over the lowest boundary and back measure them.
bool responses_differ(const std::vector<Gauge>& acts) {
  return std::any_of(acts.begin(), acts.end(), [&](const Gauge& g) {
    return std::abs(g.tolerance.response_to - acts.front().tolerance.response_to) > 2 * ns_per_ms;
  });
}

}  // namespace

std::vector<ToldStep> steps_that_tell_apart(const Gauge& set, const std::vector<Gauge>& acts) {
  if (acts.size() < 2) return {};
  const Difference difference(set, acts);
  const std::vector<Place> places = difference.places();
  const bool responses = responses_differ(acts) && set.boundaries() > 0;
  if (places.empty() && !responses) return {};
  const double low = difference.lowest();
  std::vector<ToldStep> steps{{Hold{low, ns_per_s}, "at rest, below all that is looked at"}};
  bool up = false;
  for (const Place& place : places) {
    const double rpm = std::round(place.rpm * 10) / 10;
    if (place.from_above && !up) {
      steps.push_back({RampByRate{difference.highest(), fast}, "over the top, to come from above"});
      steps.push_back({Hold{difference.highest(), difference.settled() + 200 * ns_per_ms}, ""});
      up = true;
    }
    steps.push_back({RampByRate{rpm, fast}, place.why});
    steps.push_back({Hold{rpm, place.watch}, ""});
  }
  if (responses)
    for (int i = 0; i < 3; ++i) {
      const double above = std::min(set.rising_rpm(1) + 60 + 3 * set.tolerance.rpm, Profile::max_rpm);
      for (const double rpm : {above, low}) {
        steps.push_back({StepTo{rpm}, i == 0 && rpm != low ? "steps, for the response" : ""});
        steps.push_back({Hold{rpm, 2 * difference.settled() + 300 * ns_per_ms}, ""});
      }
    }
  steps.push_back({RampByRate{low, fast}, "and back"});
  steps.push_back({Hold{low, difference.settled() + 500 * ns_per_ms}, ""});
  return steps;
}

}  // namespace tachproof
