#include "bench/run/evidence_writer.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <string>

#include "bench/record/folder_format.h"

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

void EvidenceWriter::pulses(std::span<const Nanos> pulses, Nanos known_until) {
  if (next_pulse_ > 0) {
    pulses_.erase(pulses_.begin(), pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_));
    next_pulse_ = 0;
  }
  pulses_.insert(pulses_.end(), pulses.begin(), pulses.end());
  pulses_known_until_ = std::max(pulses_known_until_, known_until);
}

// High halfway to the next pulse, so that both edges show, and not for long. The
// same whatever portions the pulses come in.
EvidenceWriter::TachChange EvidenceWriter::next_tach() const {
  const bool more = next_pulse_ < pulses_.size();
  if (!tach_high_) return {more ? pulses_[next_pulse_] : std::numeric_limits<Nanos>::max(), more};
  if (more) return {rise_ + std::min(longest_high, (pulses_[next_pulse_] - rise_) / 2), true};
  const Nanos free = (pulses_known_until_ - rise_) / 2;
  return {rise_ + std::clamp<Nanos>(free, 0, longest_high), free >= longest_high};
}

void EvidenceWriter::write_tach(Nanos at) {
  tach_high_ = !tach_high_;
  capture_.change(at, tach_channel, tach_high_);
  written_ = std::max(written_, at);
  if (!tach_high_) return;
  rise_ = at;
  ++next_pulse_;
  ++pulses_written_;
}

void EvidenceWriter::write_lamps(const LampEvent& event) {
  for (Channels left = (event.lit ^ lit_) & channels_; left != 0; left &= left - 1) {
    const auto bit = static_cast<std::uint32_t>(std::countr_zero(left));
    capture_.change(event.at, bit + 1, ((event.lit >> bit) & 1) != 0);
  }
  lit_ = event.lit;
}

void EvidenceWriter::write_until(Nanos until) {
  for (;;) {
    const TachChange tach = next_tach();
    if (next_lamp_ < to_write_.size() && to_write_[next_lamp_].at < tach.at)
      write_lamps(to_write_[next_lamp_++]);
    else if (tach.certain && tach.at <= until)
      write_tach(tach.at);
    else
      return;
  }
}

void EvidenceWriter::advance(std::span<const LampEvent> lamps, Nanos until) {
  to_write_.erase(to_write_.begin(), to_write_.begin() + static_cast<std::ptrdiff_t>(next_lamp_));
  next_lamp_ = 0;
  to_write_.insert(to_write_.end(), lamps.begin(), lamps.end());
  write_until(until);
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
  folder_.journal(progress_line(at, pulses_written_, lamp_events_));
  capture_.flush();
  flushed_ = std::chrono::steady_clock::now();
}

void EvidenceWriter::close(Nanos end) {
  pulses_known_until_ = std::numeric_limits<Nanos>::max();
  write_until(end);
  flush(end);
  capture_.close(std::max(end, written_));
}

}  // namespace tachproof
