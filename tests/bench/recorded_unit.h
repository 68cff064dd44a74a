// Recordings of a simulated unit as a logic analyser would make them, with what spoils
// them: contact bounce and lost or extra pulses on the tach line, glitches on
// the lamps'. The unit hears the clean pulses, as its input filter would give them.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/formats/recording.h"
#include "bench/record/run_folder.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/run/recording_run.h"
#include "core/signal/profile.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof::test {

// The same numbers everywhere; not those that the simulation draws.
class Lots {
 public:
  explicit Lots(std::uint64_t seed) : state_(seed * 2654435761u + 1) {}
  double next() {  // [0, 1)
    state_ = state_ * 6364136223846793005u + 1442695040888963407u;
    return static_cast<double>(state_ >> 33) / 2147483648.0;
  }

 private:
  std::uint64_t state_;
};

struct LineEdge {
  Nanos at = 0;
  bool high = false;
};

// High for 40 % of a period of 4 ms at most.
inline std::vector<LineEdge> square(const std::vector<Nanos>& pulses) {
  std::vector<LineEdge> line;
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    const Nanos period = i + 1 < pulses.size() ? pulses[i + 1] - pulses[i] : 4 * ns_per_ms;
    line.push_back({pulses[i], true});
    line.push_back({pulses[i] + std::min<Nanos>(period, 4 * ns_per_ms) * 2 / 5, false});
  }
  return line;
}

// Bounce at one rising edge in `one_in`: up to three more, within `within`; and at the
// falling ones as well.
inline std::vector<LineEdge> bounced(const std::vector<LineEdge>& line, int one_in, Nanos within,
                                     std::uint64_t seed) {
  Lots lots(seed);
  std::vector<LineEdge> out;
  for (const LineEdge& edge : line) {
    out.push_back(edge);
    if (lots.next() * one_in >= 1) continue;
    const int times = 1 + static_cast<int>(3 * lots.next());
    const Nanos part = within / (2 * times + 1);
    for (int k = 0; k < times; ++k) {
      const auto jitter = static_cast<Nanos>(lots.next() * static_cast<double>(part) / 2);
      out.push_back({edge.at + (2 * k + 1) * part + jitter, !edge.high});
      out.push_back({edge.at + (2 * k + 2) * part + jitter, edge.high});
    }
  }
  return out;
}

// Loses one pulse in so many.
inline std::vector<Nanos> some_missing(const std::vector<Nanos>& pulses, int one_in, std::uint64_t seed) {
  Lots lots(seed);
  std::vector<Nanos> out;
  for (const Nanos pulse : pulses)
    if (lots.next() * one_in >= 1) out.push_back(pulse);
  return out;
}

// One period in so many has an extra pulse, at 30 % to 70 % of it.
inline std::vector<Nanos> some_extra(const std::vector<Nanos>& pulses, int one_in, std::uint64_t seed) {
  Lots lots(seed);
  std::vector<Nanos> out;
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    out.push_back(pulses[i]);
    if (i + 1 < pulses.size() && lots.next() * one_in < 1)
      out.push_back(pulses[i] + static_cast<Nanos>((0.3 + 0.4 * lots.next()) *
                                                   static_cast<double>(pulses[i + 1] - pulses[i])));
  }
  return out;
}

// Each channel glitches so many times a second, for a microsecond.
inline std::vector<LampEvent> glitched(const std::vector<LampEvent>& lamps, std::size_t channels,
                                       double per_s, Nanos end, std::uint64_t seed) {
  Lots lots(seed);
  std::vector<std::pair<Nanos, Channels>> flips;
  for (Nanos at = 0; at < end;) {
    at += static_cast<Nanos>(-std::log(1 - lots.next()) * 1e9 / per_s);
    const Channels bit = Channels{1} << static_cast<std::size_t>(lots.next() * static_cast<double>(channels));
    flips.emplace_back(at, bit);
    flips.emplace_back(at + ns_per_us, bit);
  }
  std::vector<LampEvent> out;
  Channels lit = 0, flipped = 0;
  std::size_t lamp = 0;
  for (const auto& [at, bit] : flips) {
    for (; lamp < lamps.size() && lamps[lamp].at <= at; ++lamp)
      out.push_back({lamps[lamp].at, (lit = lamps[lamp].lit) ^ flipped});
    flipped ^= bit;
    if (at < end) out.push_back({at, lit ^ flipped});
  }
  for (; lamp < lamps.size(); ++lamp) out.push_back(lamps[lamp]);
  return out;
}

// One unit on the profile, recorded.
struct RecordedUnit {
  const Gauge& gauge;
  const Gauge& runs;  // what the unit really runs
  const Profile& profile;
  Behaviour behaviour = {};
  std::uint64_t seed = 1;
  Nanos resolution = 100;
  Nanos begins = 0;  // of the profile, in the recording
  std::function<std::vector<LineEdge>(const std::vector<Nanos>&)> tach = square;
  std::function<std::vector<LampEvent>(std::vector<LampEvent>)> lamps = {};
  double clock_ppm = 0;  // the recorder's clock is fast

  // Writes `file`, a VCD with the channels of the gauge's wiring.
  void write(const std::filesystem::path& file) const {
    PulseTrain train(profile, gauge.pulses_per_rev, {}, seed);
    std::vector<Nanos> pulses(1'000'000);
    pulses.resize(train.next(pulses));
    SimulatedUnit unit(runs, behaviour, gauge, seed);
    std::vector<LampEvent> seen;
    unit.run(pulses, profile.duration(), seen);
    if (lamps) seen = lamps(std::move(seen));

    struct Change {
      Nanos at = 0;
      std::uint32_t channel = 0;
      bool high = false;
    };
    const auto stamp = [&](Nanos at) {
      const double ns = static_cast<double>(at) * (1 + clock_ppm * 1e-6) + static_cast<double>(begins);
      return std::max<Nanos>(0, std::llround(ns / static_cast<double>(resolution)) * resolution);
    };
    std::vector<Change> changes;
    for (const LineEdge& edge : tach(pulses)) changes.push_back({stamp(edge.at), 0, edge.high});
    Channels lit = 0;
    for (const LampEvent& event : seen) {
      for (std::uint32_t c = 0; c < gauge.channels(); ++c)
        if (((event.lit ^ lit) >> c) & 1)
          changes.push_back({stamp(event.at), c + 1, ((event.lit >> c) & 1) != 0});
      lit = event.lit;
    }
    std::stable_sort(changes.begin(), changes.end(),
                     [](const Change& a, const Change& b) { return a.at < b.at; });
    std::vector<std::string> names{"tach"};
    for (const Lamp& lamp : gauge.lamps)
      for (const std::string& colour : lamp.colours) names.push_back(lamp.id + "." + colour);
    VcdWriter vcd(file, names, resolution);
    for (std::uint32_t c = 0; c < names.size(); ++c)
      if (std::none_of(changes.begin(), changes.end(),
                       [&](const Change& change) { return change.at == 0 && change.channel == c; }))
        vcd.change(0, c, false);
    for (const Change& change : changes) vcd.change(change.at, change.channel, change.high);
    vcd.close(std::max(stamp(profile.duration()), changes.empty() ? 0 : changes.back().at));
  }
};

inline Wiring capture_wiring(const Gauge& gauge) {
  Wiring wiring;
  wiring.tach = "tach";
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& colour : lamp.colours)
      wiring.wires.push_back({lamp.id + "." + colour, lamp.id, colour});
  return wiring;
}

}  // namespace tachproof::test
