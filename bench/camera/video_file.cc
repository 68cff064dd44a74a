#include "bench/camera/video_file.h"

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
}

#include <fmt/format.h>

#include <array>
#include <cmath>

namespace tachproof {
namespace {

template <class T, void (*close)(T**)>
struct Closes {
  void operator()(T* it) const { close(&it); }
};
using Format = std::unique_ptr<AVFormatContext, Closes<AVFormatContext, avformat_close_input>>;
using Codec = std::unique_ptr<AVCodecContext, Closes<AVCodecContext, avcodec_free_context>>;
using Packet = std::unique_ptr<AVPacket, Closes<AVPacket, av_packet_free>>;
using Decoded = std::unique_ptr<AVFrame, Closes<AVFrame, av_frame_free>>;

struct FreesScaler {
  void operator()(SwsContext* it) const { sws_freeContext(it); }
};
using Scaler = std::unique_ptr<SwsContext, FreesScaler>;

std::string reason(int error) {
  std::array<char, AV_ERROR_MAX_STRING_SIZE> text{};
  av_strerror(error, text.data(), text.size());
  return text.data();
}

AVPixelFormat format_of(const AVFrame& frame) { return static_cast<AVPixelFormat>(frame.format); }

bool is_full_range(const AVFrame& frame) {
  const AVPixelFormat format = format_of(frame);
  return frame.color_range == AVCOL_RANGE_JPEG || format == AV_PIX_FMT_YUVJ420P ||
         format == AV_PIX_FMT_YUVJ422P || format == AV_PIX_FMT_YUVJ444P;
}

// Three planes of bytes.
bool is_plain(const AVFrame& frame) {
  switch (format_of(frame)) {
    case AV_PIX_FMT_YUV420P:
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUV422P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUV444P:
    case AV_PIX_FMT_YUVJ444P: return true;
    default: return false;
  }
}

cv::Mat bgr_of(const AVFrame& frame) {
  // No scaling: swscale is only asked for the colours.
  const Scaler scaler(sws_getContext(frame.width, frame.height, format_of(frame), frame.width, frame.height,
                                     AV_PIX_FMT_BGR24, SWS_BICUBIC | SWS_ACCURATE_RND, nullptr, nullptr,
                                     nullptr));
  if (!scaler) throw CameraError("cannot convert the video's pictures to colour");
  const int* const matrix =
      sws_getCoefficients(frame.colorspace == AVCOL_SPC_BT709 ? SWS_CS_ITU709 : SWS_CS_ITU601);
  sws_setColorspaceDetails(scaler.get(), matrix, is_full_range(frame) ? 1 : 0,
                           sws_getCoefficients(SWS_CS_DEFAULT), 1, 0, 1 << 16, 1 << 16);
  cv::Mat picture(frame.height, frame.width, CV_8UC3);
  const std::array<std::uint8_t*, 4> to{picture.data, nullptr, nullptr, nullptr};
  const std::array<int, 4> strides{static_cast<int>(picture.step[0]), 0, 0, 0};
  sws_scale(scaler.get(), frame.data, frame.linesize, 0, frame.height, to.data(), strides.data());
  return picture;
}

class VideoFile : public FrameSource {
 public:
  explicit VideoFile(const SourceSettings& settings)
      : from_(settings.from), packet_(av_packet_alloc()), decoded_(av_frame_alloc()) {
    av_log_set_level(AV_LOG_FATAL);  // what matters is said by us
    AVFormatContext* format = nullptr;
    if (const int error = avformat_open_input(&format, from_.c_str(), nullptr, nullptr); error < 0)
      throw CameraError(fmt::format("cannot read the video {}: {}", from_, reason(error)));
    format_.reset(format);
    const AVCodec* decoder = nullptr;
    if (avformat_find_stream_info(format, nullptr) < 0 ||
        (index_ = av_find_best_stream(format, AVMEDIA_TYPE_VIDEO, -1, -1, &decoder, 0)) < 0 ||
        decoder == nullptr)
      throw CameraError("cannot read the video " + from_ + ": it holds no pictures that can be decoded");
    stream_ = format->streams[index_];
    for (unsigned i = 0; i < format->nb_streams; ++i)
      if (static_cast<int>(i) != index_) format->streams[i]->discard = AVDISCARD_ALL;
    mjpg_ = stream_->codecpar->codec_id == AV_CODEC_ID_MJPEG;
    codec_name_ = mjpg_ ? "MJPG" : decoder->name;
    if (!mjpg_) open(*decoder);
    const AVRational rate = av_guess_frame_rate(format, stream_, nullptr);
    const double says = rate.den > 0 ? av_q2d(rate) : 0;
    const double fps = sensible_fps(settings.fps > 0 ? settings.fps : says, from_);
    // The user knows better how fast it was filmed: all its times are that much off.
    if (settings.fps > 0 && says > 0) stretch_ = says / settings.fps;
    period_ = from_seconds(1 / fps);
  }

  bool next(Frame& frame) override {
    frame = {};
    return mjpg_ ? next_jpeg(frame) : next_picture(frame);
  }
  Nanos period() const override { return period_; }
  std::string about() const override {
    return fmt::format("{}, {:.2f} frames a second, {}, timed by the file{}", from_, 1 / to_seconds(period_),
                       codec_name_,
                       mjpg_ ? "" : "; a repeated frame is noticed only where its codec left noise");
  }
  bool repeats_show() const override { return mjpg_; }

 private:
  void open(const AVCodec& decoder) {
    codec_.reset(avcodec_alloc_context3(&decoder));
    if (!codec_ || avcodec_parameters_to_context(codec_.get(), stream_->codecpar) < 0)
      throw CameraError("cannot decode the video " + from_);
    codec_->pkt_timebase = stream_->time_base;
    // Several frames at once would be quicker, and whether damage is reported of a
    // frame would hang on which thread was first.
    codec_->thread_count = 1;
    codec_->err_recognition |= AV_EF_EXPLODE | AV_EF_CRCCHECK | AV_EF_BITSTREAM | AV_EF_BUFFER;
    codec_->error_concealment = 0;
    if (const int error = avcodec_open2(codec_.get(), &decoder, nullptr); error < 0)
      throw CameraError(fmt::format("cannot decode the video {}: {}", from_, reason(error)));
  }

  // The next packet of the video; false at the end of the file.
  bool read() {
    for (;;) {
      av_packet_unref(packet_.get());
      if (av_read_frame(format_.get(), packet_.get()) < 0) return false;
      if (packet_->stream_index == index_) return true;
    }
  }

  bool next_jpeg(Frame& frame) {
    do
      if (!read()) return false;
    while (packet_->size == 0);  // an AVI's way to say that a frame is missing
    frame.jpeg.assign(packet_->data, packet_->data + packet_->size);
    frame.at = time_of(packet_->pts != AV_NOPTS_VALUE ? packet_->pts : packet_->dts);
    return true;
  }

  bool next_picture(Frame& frame) {
    for (;;) {
      const int got = avcodec_receive_frame(codec_.get(), decoded_.get());
      if (got == AVERROR_EOF) return false;
      if (got == AVERROR(EAGAIN)) {
        if (!read()) av_packet_unref(packet_.get());  // an empty packet: give what is left
        if (avcodec_send_packet(codec_.get(), packet_.get()) == AVERROR_INVALIDDATA) damaged_ = true;
        continue;
      }
      if (got < 0 || decoded_->decode_error_flags != 0 || (decoded_->flags & AV_FRAME_FLAG_CORRUPT) != 0)
        damaged_ = true;
      else if (decoded_->key_frame != 0)
        damaged_ = false;
      if (damaged_) {
        ++count_;
        continue;
      }
      frame.at = time_of(decoded_->best_effort_timestamp);
      if (!is_plain(*decoded_)) {
        frame.picture = bgr_of(*decoded_);
        return true;
      }
      const std::shared_ptr<AVFrame> kept(av_frame_alloc(), Closes<AVFrame, av_frame_free>());
      av_frame_move_ref(kept.get(), decoded_.get());
      const AVPixFmtDescriptor& shape = *av_pix_fmt_desc_get(format_of(*kept));
      Planes& planes = frame.planes;
      planes.owner = kept;
      planes.width = kept->width;
      planes.height = kept->height;
      for (std::size_t i = 0; i < 3; ++i) {
        planes.data[i] = kept->data[i];
        planes.stride[i] = kept->linesize[i];
      }
      planes.chroma_right = shape.log2_chroma_w;
      planes.chroma_down = shape.log2_chroma_h;
      planes.full_range = is_full_range(*kept);
      planes.bt709 = kept->colorspace == AVCOL_SPC_BT709;
      return true;
    }
  }

  Nanos time_of(std::int64_t stamp) {
    const std::int64_t number = count_++;
    if (stamp == AV_NOPTS_VALUE) return number * period_;
    const std::int64_t start = stream_->start_time == AV_NOPTS_VALUE ? 0 : stream_->start_time;
    return from_seconds(static_cast<double>(stamp - start) * av_q2d(stream_->time_base) * stretch_);
  }

  std::string from_, codec_name_;
  Format format_;
  Packet packet_;
  Decoded decoded_;
  Codec codec_;
  AVStream* stream_ = nullptr;
  int index_ = -1;
  bool mjpg_ = false;
  double stretch_ = 1;
  Nanos period_ = 0;
  std::int64_t count_ = 0;
  bool damaged_ = false;  // since a frame, and all that are made from it
};

}  // namespace

std::unique_ptr<FrameSource> open_video_file(const SourceSettings& settings) {
  return std::make_unique<VideoFile>(settings);
}

cv::Mat to_picture(const Planes& planes) { return bgr_of(*static_cast<const AVFrame*>(planes.owner.get())); }

}  // namespace tachproof
