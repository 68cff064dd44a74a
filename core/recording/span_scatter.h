// How much the speeds of neighbouring spans scatter, whatever the speed does.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace tachproof {

class SpanScatter {
 public:
  // `off_rpm`: how far a span is off the line through its two neighbours; for
  // scatter alone its standard deviation is sqrt(1.5) times a span's.
  void add(double off_rpm) {
    offs_[seen_++ % offs_.size()] = std::abs(off_rpm);
    if (seen_ < enough) return;
    Ring sorted = offs_;
    const auto n = static_cast<std::ptrdiff_t>(std::min(seen_, offs_.size()));
    const auto middle = sorted.begin() + n / 2;
    std::nth_element(sorted.begin(), middle, sorted.begin() + n);
    // A jump or a corner must hardly count.
    const double most = 3 * *middle;
    double squares = 0;
    for (auto off = sorted.begin(); off != sorted.begin() + n; ++off)
      squares += std::pow(std::min(*off, most), 2);
    rpm_ = std::sqrt(squares / static_cast<double>(n) / 1.5);
  }

  // Of one span, the standard deviation; 0 until enough has been seen.
  double rpm() const { return rpm_; }

 private:
  // One corner puts about six spans off.
  static constexpr std::size_t enough = 17;
  using Ring = std::array<double, 33>;
  Ring offs_{};
  std::size_t seen_ = 0;
  double rpm_ = 0;
};

}  // namespace tachproof
