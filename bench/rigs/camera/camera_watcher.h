// The watcher that a camera is: frames in, lamp changes in the run's time out, and what could not be read.
#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/files/regions.h"
#include "bench/rigs/camera/camera.h"
#include "bench/rigs/camera/camera_clock.h"
#include "bench/rigs/camera/camera_doubts.h"
#include "bench/rigs/camera/camera_stream.h"
#include "bench/rigs/camera/camera_timing.h"
#include "bench/rigs/rig.h"
#include "core/camera/dim_follower.h"
#include "core/camera/frame_times.h"
#include "core/camera/lamp_frames.h"

namespace tachproof {

class CameraWatcher : public Watcher {
 public:
  // `zero`: by the host's clock; none: by the sync lamp, or a clip by its own changes.
  CameraWatcher(const CameraSettings& settings, const Gauge& gauge, std::shared_ptr<PlayedMarks> marks,
                RunZero zero, Attend attend, const OpenCamera& open);

  WatcherFacts facts() const override;
  void begin() override {}
  Seen collect(Nanos until, std::vector<LampEvent>& out) override;
  std::vector<WatcherFile> files() const override { return {{"readings.txt", stream_.said()}}; }
  void end() noexcept override {}

 private:
  CameraTiming timing() const { return {settings_, regions_, stream_.period(), by_, marks_->ends}; }
  LampFrames::Setup setup_for(const std::vector<LampRegion>& regions) const;

  // Frames in.
  bool waits_for_all(Nanos until) const;
  void read_until(Nanos until);
  bool read(std::chrono::milliseconds patience);
  void read_all();
  Nanos wait_by_source();
  void take_frame(CameraStream::Frame& frame);
  void pass_held_frames(bool all);
  void look_at_frame(DimFollower::Frame& frame);
  void tell_lights(Seen& seen);
  bool placed(Nanos until);

  // The camera's time and the run's.
  std::optional<SyncClock::Offset> offset_at(Nanos camera) const;  // run time less camera time
  bool synced() const { return offset_at(last_frame_).has_value(); }
  std::optional<Nanos> known_in_run() const;
  Nanos in_run(Nanos camera) const;

  // Changes out.
  void take_changes();
  void take(const ChangeSpan& change);
  void put(Nanos at);
  Channels lit() const;
  void tell_lost_sights();
  void tell_doubts(bool is_last, Seen& seen);
  void check_clock(Nanos until, Seen& seen);
  void lose(std::string why);

  CameraSettings settings_;
  Regions regions_;
  std::vector<std::vector<Channels>> channels_;
  std::shared_ptr<PlayedMarks> marks_;
  RunZero zero_;
  Attend attend_;
  TimeRelation by_;
  CameraStream stream_;
  std::vector<Channels> moves_;  // by lamp
  Channels wired_ = 0;
  std::optional<DimFollower> dims_;  // where the unit has a button for it
  std::deque<SeenLight> lights_;     // by the camera's time
  std::optional<LampFrames> lamps_, sync_lamp_;
  std::optional<CameraDoubts> doubts_;
  FrameTimes times_;
  StampsSeen stamps_;
  std::vector<LostSight> moved_;
  std::vector<int> states_;  // by lamp
  std::vector<ChangeSpan> unplaced_;
  std::optional<bool> placed_;
  std::vector<LampEvent> waiting_;
  Nanos last_at_ = 0, last_frame_ = 0, vouched_ = 0;
  std::optional<Nanos> silent_since_;  // by the source
  bool any_lost_ = false;
  std::uint64_t lost_ = 0;
  std::string lost_why_;
};

}  // namespace tachproof
