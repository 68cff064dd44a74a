// Frames from a V4L2 device, in MJPG where it offers that, else in the first of
// readable_formats() that it has, decoded whole.
//
// V4L2 is asked directly, as OpenCV's own reader says nothing of automatic gain,
// damaged frames and whose clock the stamps are of.
#pragma once

#include <memory>

#include "bench/camera/frame_source.h"
#include "bench/rigs/camera/video_kernel.h"

namespace tachproof {

// Frame times are CLOCK_MONOTONIC. Throws CameraError when the device cannot be
// opened, is no camera, or is not as asked.
std::unique_ptr<FrameSource> open_device(const SourceSettings& settings, std::shared_ptr<VideoKernel> kernel);

}  // namespace tachproof
