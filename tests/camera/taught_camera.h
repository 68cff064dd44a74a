// A drawn camera that was set up once and taught, and what its gauge plays.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <random>

#include "bench/files/files.h"
#include "core/signal/profile.h"
#include "tests/camera/filmed_gauge.h"

namespace tachproof::test {

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : random_(seed) {}
  double between(double a, double b) { return a + (b - a) * static_cast<double>(random_() >> 11) * 0x1p-53; }
  bool one_in(double n) { return between(0, n) < 1; }
  int whole(int a, int b) { return a + static_cast<int>(random_() % static_cast<std::uint64_t>(b - a + 1)); }
  template <class T>
  T of(std::initializer_list<T> all) {
    return *(all.begin() + whole(0, static_cast<int>(all.size()) - 1));
  }

 private:
  std::mt19937_64 random_;
};

// A camera that was set up once and taught: trials share it.
class TaughtCamera {
 public:
  // Films the teaching scenario as teaching.avi and runs `tachproof teach`. Throws
  // std::runtime_error with what it said when that fails.
  // `size`: of its pictures, 1 as usual.
  // `brightness`: of a lamp's core, steadily lit; else as the seed draws it, dimmed now and then.
  TaughtCamera(const std::filesystem::path& folder, std::uint64_t seed, double size = 1,
               std::optional<double> brightness = {});

  const std::filesystem::path& folder() const { return folder_; }
  const Gauge& gauge() const { return gauge_; }
  const Camera& camera() const { return camera_; }
  double dim() const { return dim_; }

 private:
  std::filesystem::path folder_;
  Gauge gauge_;
  Camera camera_;
  double dim_ = 1;
};

void write_text(const std::filesystem::path& file, std::string_view text);

// What `unit` shows in this profile, and the flashes of the bench's lamp.
Scene scene_of(const Gauge& gauge, const Behaviour& behaviour, const Profile& profile, std::uint64_t seed);

}  // namespace tachproof::test
