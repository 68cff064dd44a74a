#include "bench/camera/region_sums.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <csetjmp>
#include <cstdio>

#include <jpeglib.h>

#include <string>

#include "bench/camera/frame_source.h"

namespace tachproof {
namespace {

struct JpegTrouble {
  jpeg_error_mgr manager;  // first: libjpeg hands back a pointer to it
  std::jmp_buf back;
  bool damaged;
};

void on_trouble(j_common_ptr info) {
  auto* trouble = reinterpret_cast<JpegTrouble*>(info->err);
  trouble->damaged = true;
  std::longjmp(trouble->back, 1);
}

// Below 0: the data are wrong, and libjpeg goes on with what it makes up.
void on_message(j_common_ptr info, int level) {
  if (level < 0) reinterpret_cast<JpegTrouble*>(info->err)->damaged = true;
}

// YCbCr as JPEG has it: BT.601, all of 0 to 255 (JFIF 1.02).
class AsJpeg {
 public:
  explicit AsJpeg(const Planes& planes) : black_(planes.full_range ? 0 : 16) {
    // BT.601 and BT.709, table 3 each: the shares of red and blue in Y.
    const double red = planes.bt709 ? 0.2126 : 0.299, blue = planes.bt709 ? 0.0722 : 0.114;
    const double luma = planes.full_range ? 1 : 255.0 / 219, chroma = planes.full_range ? 1 : 255.0 / 224;
    // R', G' and B' of a unit of Y, Cb and Cr.
    const double green = 1 - red - blue;
    const cv::Matx33d rgb(luma, 0, 2 * (1 - red) * chroma,                //
                          luma, -2 * blue * (1 - blue) / green * chroma,  //
                          -2 * red * (1 - red) / green * chroma,          //
                          luma, 2 * (1 - blue) * chroma, 0);
    const cv::Matx33d jpeg(0.299, 0.587, 0.114,                  //
                           -0.299 / 1.772, -0.587 / 1.772, 0.5,  //
                           0.5, -0.587 / 1.402, -0.114 / 1.402);
    const cv::Matx33d both = jpeg * rgb;
    for (int i = 0; i < 9; ++i)
      share_[static_cast<std::size_t>(i)] = static_cast<int>(std::lround(both.val[i] * one));
  }
  std::array<int, 3> operator()(int y, int cb, int cr) const {
    const int l = y - black_, b = cb - 128, r = cr - 128;
    const auto row = [&](std::size_t i, int middle) {
      return std::clamp(((share_[i] * l + share_[i + 1] * b + share_[i + 2] * r + one / 2) >> bits) + middle,
                        0, 255);
    };
    return {row(0, 0), row(3, 128), row(6, 128)};
  }

 private:
  static constexpr int bits = 14, one = 1 << bits;
  int black_;
  std::array<int, 9> share_{};
};

}  // namespace

RegionSummer::RegionSummer(const std::vector<LampRegion>& regions, int width, int height, bool with_light)
    : regions_(regions), width_(width), height_(height), with_light_(with_light), sums_(regions.size()) {
  place();
}

void RegionSummer::shift(int right, int down) {
  if (right == right_ && down == down_) return;
  right_ = right;
  down_ = down;
  place();
}

void RegionSummer::place() {
  rows_.assign(static_cast<std::size_t>(height_), {});
  left_edge_ = width_;
  right_edge_ = 0;
  for (std::uint32_t i = 0; i < regions_.size(); ++i) {
    const LampRegion& region = regions_[i];
    const double cx = region.x + right_, cy = region.y + down_, outer = rim_to * region.radius;
    const int top = std::max(0, static_cast<int>(std::ceil(cy - outer)));
    const int bottom = std::min(height_ - 1, static_cast<int>(std::floor(cy + outer)));
    for (int y = top; y <= bottom; ++y) {
      // Half the chord of a circle of this radius in row y; below 0: none.
      const auto half = [&](double radius) {
        const double square = radius * radius - (y - cy) * (y - cy);
        return square < 0 ? -1 : std::sqrt(square);
      };
      const auto add = [&](double from, double to, bool core) {
        const int a = std::max(0, static_cast<int>(std::ceil(from)));
        const int b = std::min(width_, static_cast<int>(std::floor(to)) + 1);
        if (a >= b) return;
        rows_[static_cast<std::size_t>(y)].push_back({a, b, i, core});
        left_edge_ = std::min(left_edge_, a);
        right_edge_ = std::max(right_edge_, b);
      };
      const double core = half(region.radius), inner = half(rim_from * region.radius), out = half(outer);
      if (core >= 0) add(cx - core, cx + core, true);
      if (inner >= 0) {
        add(cx - out, cx - inner, false);
        add(cx + inner, cx + out, false);
      } else {
        add(cx - out, cx + out, false);
      }
    }
  }
}

void RegionSummer::check_size(int width, int height) const {
  if (width != width_ || height != height_)
    throw CameraError("the frames are " + std::to_string(width) + "x" + std::to_string(height) +
                      " pixels, and the lamps were taught at " + std::to_string(width_) + "x" +
                      std::to_string(height_) + ": film at that size, or teach again");
}

const std::vector<RegionSums>& RegionSummer::of_picture(const cv::Mat& bgr) {
  check_size(bgr.cols, bgr.rows);
  if (bgr.type() != CV_8UC3)
    throw CameraError("the frames are not in colour with 8 bits a channel: film in colour");
  sums_.assign(regions_.size(), {});
  for (int y = 0; y < height_; ++y)
    for (const Span& span : rows_[static_cast<std::size_t>(y)]) {
      PixelSums& sums = span.core ? sums_[span.region].core : sums_[span.region].rim;
      const std::uint8_t* p = bgr.ptr(y) + 3 * span.from;
      for (int x = span.from; x < span.to; ++x, p += 3) {
        const int b = p[0], g = p[1], r = p[2];
        sums.add((306 * r + 601 * g + 117 * b + 512) >> 10,
                 ((-173 * r - 339 * g + 512 * b + 512) >> 10) + 128,
                 ((512 * r - 429 * g - 83 * b + 512) >> 10) + 128, with_light_);
      }
    }
  return sums_;
}

const std::vector<RegionSums>& RegionSummer::of_planes(const Planes& planes) {
  check_size(planes.width, planes.height);
  sums_.assign(regions_.size(), {});
  const AsJpeg as_jpeg(planes);
  for (int y = 0; y < height_; ++y) {
    const std::ptrdiff_t down = y >> planes.chroma_down;
    const std::uint8_t *luma = planes.data[0] + y * planes.stride[0],
                       *blue = planes.data[1] + down * planes.stride[1],
                       *red = planes.data[2] + down * planes.stride[2];
    for (const Span& span : rows_[static_cast<std::size_t>(y)]) {
      PixelSums& sums = span.core ? sums_[span.region].core : sums_[span.region].rim;
      for (int x = span.from; x < span.to; ++x) {
        const int right = x >> planes.chroma_right;
        const auto [l, b, r] = as_jpeg(luma[x], blue[right], red[right]);
        sums.add(l, b, r, with_light_);
      }
    }
  }
  return sums_;
}

const std::vector<RegionSums>* RegionSummer::of_jpeg(std::span<const std::uint8_t> jpeg) {
  sums_.assign(regions_.size(), {});
  jpeg_decompress_struct info{};
  JpegTrouble trouble{};
  info.err = jpeg_std_error(&trouble.manager);
  trouble.manager.error_exit = on_trouble;
  trouble.manager.emit_message = on_message;
  // Nothing with a destructor lives below: a longjmp would pass it by.
  if (setjmp(trouble.back) != 0) {
    jpeg_destroy_decompress(&info);
    return nullptr;
  }
  jpeg_create_decompress(&info);
  jpeg_mem_src(&info, jpeg.data(), jpeg.size());
  jpeg_read_header(&info, TRUE);
  const int width = static_cast<int>(info.image_width), height = static_cast<int>(info.image_height);
  if (width != width_ || height != height_ || info.num_components != 3) {
    jpeg_destroy_decompress(&info);
    check_size(width, height);
    throw CameraError("the frames are not in colour: film in colour");
  }
  info.out_color_space = JCS_YCbCr;
  info.do_fancy_upsampling = FALSE;
  info.dct_method = JDCT_IFAST;
  jpeg_start_decompress(&info);
  JDIMENSION left = static_cast<JDIMENSION>(left_edge_),
             across = static_cast<JDIMENSION>(right_edge_ - left_edge_);
  jpeg_crop_scanline(&info, &left, &across);
  row_.resize(std::size_t{3} * across);
  JSAMPROW row = row_.data();
  JDIMENSION skip = 0;
  // What lies below the last region is not even looked at.
  int last = height_ - 1;
  while (last >= 0 && rows_[static_cast<std::size_t>(last)].empty()) --last;
  for (int y = 0; y <= last; ++y) {
    const std::vector<Span>& spans = rows_[static_cast<std::size_t>(y)];
    if (spans.empty()) {
      ++skip;
      continue;
    }
    if (skip > 0) jpeg_skip_scanlines(&info, skip);
    skip = 0;
    jpeg_read_scanlines(&info, &row, 1);
    for (const Span& span : spans) {
      PixelSums& sums = span.core ? sums_[span.region].core : sums_[span.region].rim;
      const std::uint8_t* p = row_.data() + 3 * (span.from - static_cast<int>(left));
      for (int x = span.from; x < span.to; ++x, p += 3) sums.add(p[0], p[1], p[2], with_light_);
    }
  }
  jpeg_abort_decompress(&info);
  jpeg_destroy_decompress(&info);
  return trouble.damaged ? nullptr : &sums_;
}

}  // namespace tachproof
