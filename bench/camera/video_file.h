// Frames of a video file, as its codec left them.
#pragma once

#include <memory>

#include "bench/camera/frame_source.h"

namespace tachproof {

// Packets of MJPG are handed on as they are. Other codecs' pictures stay in the
// planes that they were decoded to, where those are 8 bits of YCbCr: turning a
// picture of HD size into BGR takes longer than all that is looked at in it.
// Times are the file's. A frame that the codec says is damaged is left out, as
// if it were missing, and all that may be made from it, up to the next key
// frame. Throws CameraError.
std::unique_ptr<FrameSource> open_video_file(const SourceSettings& settings);

cv::Mat to_picture(const Planes& planes);  // BGR

}  // namespace tachproof
