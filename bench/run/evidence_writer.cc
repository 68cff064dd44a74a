#include "bench/run/evidence_writer.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

namespace tachproof {

namespace {

constexpr std::uint32_t tach_channel = 0;
constexpr Nanos longest_high = 5 * ns_per_ms;
constexpr auto flush_every = std::chrono::milliseconds(250);  // of wall time
constexpr std::size_t most_unflushed = 1 << 16;

// tach, then one per lamp and colour in the order of the gauge's channels.
std::vector<std::string> capture_channels(const Gauge& gauge) {
  std::vector<std::string> names = {"tach"};
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& colour : lamp.colours) names.push_back(lamp.id + "." + colour);
  return names;
}

}  // namespace

EvidenceWriter::EvidenceWriter(RunFolder& folder, const Gauge& gauge)
    : folder_(folder),
      capture_(folder.path() / "capture.vcd", capture_channels(gauge)),
      channels_(gauge.all_channels()),
      flushed_(std::chrono::steady_clock::now()) {
  // Nothing is lit and no pulse has come: without this a reader would have to
  // take every channel for unknown.
  for (std::uint32_t channel = 0; channel <= gauge.channels(); ++channel) capture_.change(0, channel, false);
}

void EvidenceWriter::add_point(RpmPoint point) {
  if (trace_.rpm.size() == most_trace_points) {
    trace_.thinned = true;
    return;
  }
  trace_.rpm.push_back(point);
  new_points_.push_back(point);
}

void EvidenceWriter::rpm(const Segment& segment) {
  const auto at = [&](double s) {
    return segment.start.whole + from_seconds(segment.start.frac_ns * 1e-9 + s);
  };
  add_point({at(0), segment.rpm(0)});
  if (segment.shape == Segment::Shape::sine) {
    // A wave is drawn with 16 chords a period, a very long one with fewer.
    constexpr double chords_per_period = 16;
    constexpr double most_chords = 20'000;
    const double chords =
        std::min(std::ceil(segment.lasts_s / segment.period_s * chords_per_period), most_chords);
    for (double i = 1; i < chords; ++i) {
      const double s = segment.lasts_s * i / chords;
      add_point({at(s), segment.rpm(s)});
    }
  }
  add_point({at(segment.lasts_s), segment.rpm(segment.lasts_s)});
}

void EvidenceWriter::reach(const Reach& reach) {
  if (trace_.reaches.size() == most_trace_points) {
    trace_.thinned = true;
    return;
  }
  trace_.reaches.push_back(reach);
  new_reaches_.push_back(reach);
}

void EvidenceWriter::pulses(std::span<const Nanos> pulses) {
  if (next_pulse_ > 0) {
    pulses_.erase(pulses_.begin(), pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_));
    next_pulse_ = 0;
  }
  pulses_.insert(pulses_.end(), pulses.begin(), pulses.end());
}

void EvidenceWriter::write_tach_until(Nanos until) {
  for (;;) {
    const bool more = next_pulse_ < pulses_.size();
    if (tach_high_) {
      // Halfway to the next pulse when that is near, so that both edges show.
      Nanos fall = fall_;
      if (more) fall = std::min(fall, written_ + (pulses_[next_pulse_] - written_) / 2);
      if (fall > until) return;
      capture_.change(fall, tach_channel, false);
      written_ = std::max(written_, fall);
      tach_high_ = false;
    } else {
      if (!more || pulses_[next_pulse_] > until) return;
      const Nanos rise = pulses_[next_pulse_++];
      capture_.change(rise, tach_channel, true);
      written_ = rise;
      fall_ = rise + longest_high;
      tach_high_ = true;
      ++pulses_written_;
    }
  }
}

void EvidenceWriter::write_lamps(const LampEvent& event) {
  for (Channels left = (event.lit ^ lit_) & channels_; left != 0; left &= left - 1) {
    const auto bit = static_cast<std::uint32_t>(std::countr_zero(left));
    capture_.change(event.at, bit + 1, ((event.lit >> bit) & 1) != 0);
  }
  lit_ = event.lit;
}

void EvidenceWriter::advance(std::span<const LampEvent> lamps, Nanos until) {
  for (const LampEvent& event : lamps) {
    write_tach_until(event.at);
    write_lamps(event);
  }
  write_tach_until(until);
  lamp_events_ += lamps.size();
  const std::size_t room = most_trace_points - trace_.lamps.size();
  trace_.lamps.insert(trace_.lamps.end(), lamps.begin(),
                      lamps.begin() + static_cast<std::ptrdiff_t>(std::min(room, lamps.size())));
  if (lamps.size() > room) trace_.thinned = true;
  new_lamps_.insert(new_lamps_.end(), lamps.begin(), lamps.end());
  if (new_lamps_.size() > most_unflushed || new_points_.size() > most_unflushed ||
      new_reaches_.size() > most_unflushed || std::chrono::steady_clock::now() - flushed_ > flush_every)
    flush(until);
}

void EvidenceWriter::flush(Nanos at) {
  folder_.lamps(new_lamps_);
  new_lamps_.clear();
  folder_.rpm(new_points_);
  new_points_.clear();
  folder_.reaches(new_reaches_);
  new_reaches_.clear();
  nlohmann::ordered_json line;
  line["kind"] = "progress";
  line["at_s"] = to_seconds(at);
  line["pulses"] = pulses_written_;
  line["lamp_changes"] = lamp_events_;
  folder_.journal(line.dump());
  capture_.flush();
  flushed_ = std::chrono::steady_clock::now();
}

void EvidenceWriter::close(Nanos end) {
  flush(end);
  capture_.close(std::max(end, written_));
}

}  // namespace tachproof
