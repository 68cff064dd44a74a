// What the camera's program says, or a run folder's readings.txt in its place: believed only as far as a
// camera can have said it.
#include <gtest/gtest.h>

#include <memory>
#include <utility>

#include "bench/rigs/camera/camera_stream.h"
#include "bench/rigs/rig.h"
#include "tests/bench/error_of.h"

namespace tachproof {
namespace {

constexpr const char* not_known =
    "the camera's program sent something that this program does not know: build both from one version";

class SaidLines : public CameraLines {
 public:
  explicit SaidLines(std::vector<std::string> lines) : lines_(std::move(lines)) {}
  std::optional<std::string> line(std::chrono::milliseconds) override {
    return next_ < lines_.size() ? lines_[next_++] : "end";
  }

 private:
  std::vector<std::string> lines_;
  std::size_t next_ = 0;
};

// Of two lamps: one has two colours, one has one.
CameraStream stream_of(const std::string& period, const std::vector<std::string>& lines) {
  std::vector<std::string> all{"tachproof-camera 1", "about a clip", "period " + period};
  all.insert(all.end(), lines.begin(), lines.end());
  return {CameraSettings{}, {2, 1}, [&](const std::vector<std::string>&) {
            return std::make_unique<SaidLines>(all);
          }};
}

std::string complaint(const std::string& line) {
  CameraStream stream = stream_of("20000000", {line});
  return error_of([&] { stream.next(std::chrono::milliseconds(1)); });
}

TEST(CameraStream, TakesTheColoursThatWereTaught) {
  EXPECT_EQ(complaint("frame 0 - BA"), "none");
  EXPECT_EQ(complaint("frame 0 s .#"), "none");
  EXPECT_EQ(complaint("frame 0 - b? 4008030603ff0a01c0"), "none");
}

TEST(CameraStream, RefusesAColourThatWasNotTaught) {
  EXPECT_EQ(complaint("frame 0 - CA"), not_known);
  EXPECT_EQ(complaint("frame 0 - AB"), not_known);
  EXPECT_EQ(complaint("frame 0 - z."), not_known);
}

TEST(CameraStream, RefusesMeasuresBelowNothing) {
  EXPECT_EQ(complaint("frame 0 - A. -ff-f-f-f000000000"), not_known);
}

TEST(CameraStream, RefusesTimesThatNoClockTells) {
  EXPECT_EQ(complaint("frame 1000000000000000000 - .."), "none");
  EXPECT_EQ(complaint("frame 1000000000000000001 - .."), not_known);
  EXPECT_EQ(complaint("frame -9223372036854775807 - .."), not_known);
  EXPECT_EQ(complaint("moved 9223372036854775807 the dial: put it back"), not_known);
}

TEST(CameraStream, RefusesAPeriodThatNoCameraHas) {
  const auto complaint_of = [](const std::string& period) {
    return error_of([&] { stream_of(period, {}); });
  };
  EXPECT_EQ(complaint_of("1000000"), "none");
  EXPECT_EQ(complaint_of("1000000000"), "none");
  EXPECT_EQ(
      complaint_of("1"),
      "the camera says that it gives 1e+09 frames a second, and 1 to 1000 can be: give the right number "
      "(--fps, or fps in the rig file)");
  EXPECT_EQ(complaint_of("4000000000"),
            "the camera says that it gives 0.25 frames a second, and 1 to 1000 can be: give the right number "
            "(--fps, or fps in the rig file)");
}

}  // namespace
}  // namespace tachproof
