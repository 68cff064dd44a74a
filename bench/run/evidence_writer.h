// What a run leaves behind while it goes: capture.vcd, timeline.csv, the
// journal, and the bounded trace for the drawings.
//
// Pulses and segments may be handed over ahead of time; `advance` writes what
// is certain, in time order. Throws std::system_error when the disk refuses.
#pragma once

#include <chrono>
#include <span>
#include <vector>

#include "bench/formats/recording.h"
#include "bench/record/run_folder.h"
#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"

namespace tachproof {

class EvidenceWriter {
 public:
  EvidenceWriter(RunFolder& folder, const Gauge& gauge);

  void rpm(const Segment& segment);
  void reach(const Reach& reach);
  // The next pulses; after them none comes before `known_until`.
  void pulses(std::span<const Nanos> pulses, Nanos known_until);
  // Everything until `until` is known; `lamps` are the changes since the last call.
  void advance(std::span<const LampEvent> lamps, Nanos until);
  // Hands what has gathered to the kernel; `advance` does it now and then.
  void flush(Nanos at);
  void close(Nanos end);

  std::uint64_t lamp_events() const { return lamp_events_; }
  const Trace& trace() const { return trace_; }

  // More than anybody can see in a drawing; the end is left out.
  static constexpr std::size_t most_trace_points = 200'000;

 private:
  // The next change of the tach channel. Not certain: no earlier than `at`.
  struct TachChange {
    Nanos at = 0;
    bool certain = false;
  };
  TachChange next_tach() const;
  void write_tach(Nanos at);
  void write_lamps(const LampEvent& event);
  void write_until(Nanos until);
  void add_point(RpmPoint point);

  RunFolder& folder_;
  VcdWriter capture_;
  Channels channels_;
  Trace trace_;

  std::vector<Nanos> pulses_;  // not yet written from `next_pulse_` on
  std::size_t next_pulse_ = 0;
  Nanos pulses_known_until_ = 0;
  bool tach_high_ = false;
  Nanos rise_ = 0;                   // when it last rose
  std::vector<LampEvent> to_write_;  // from `next_lamp_` on; held back while the tach channel is not certain
  std::size_t next_lamp_ = 0;
  Nanos written_ = 0;  // capture.vcd never goes back before this
  Channels lit_ = 0;

  std::vector<RpmPoint> new_points_;
  std::vector<Reach> new_reaches_;
  std::vector<LampEvent> new_lamps_;
  std::uint64_t lamp_events_ = 0;
  std::uint64_t pulses_written_ = 0;
  std::chrono::steady_clock::time_point flushed_;
};

}  // namespace tachproof
