// A camera's own settings: automatics off, exposure and gain as asked, and all
// of it read back. What a driver answers when it is set proves
// nothing; what it says when it is asked does.
#pragma once

#include <string>

#include "bench/camera/frame_source.h"
#include "bench/rigs/camera/video_kernel.h"

namespace tachproof {

// Settles the open device `fd`. One line: every setting as read back. Throws
// CameraError where something is not as asked or stays automatic.
std::string settle_controls(VideoKernel& kernel, int fd, const SourceSettings& asked);

}  // namespace tachproof
