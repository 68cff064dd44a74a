#include <fmt/format.h>

#include <chrono>
#include <csignal>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <thread>

#include "bench/camera/camera.h"

namespace tachproof {
namespace {

using namespace std::chrono_literals;

volatile std::sig_atomic_t stopped = 0;
extern "C" void note_stop(int) { stopped = 1; }

// No SA_RESTART: a wait ends when the filming shall.
void catch_stop() {
  struct sigaction action = {};
  action.sa_handler = note_stop;
  sigaction(SIGTERM, &action, nullptr);
  sigaction(SIGINT, &action, nullptr);
}

class Film {
 public:
  Film(const SourceSettings& from, const std::string& folder)
      : source_(open_frames(from)),
        live_(std::filesystem::is_character_file(from.from)),
        folder_(folder),
        times_(folder_ / "times.txt") {
    if (!times_) throw CameraError("cannot write into " + folder);
  }

  void run() {
    Frame frame;
    while (stopped == 0 && source_->next(frame)) {
      if (!live_) wait_for(frame.at);
      if (stopped != 0) break;
      keep(frame);
      if (frames_++ == 0) {
        std::puts("ready");
        std::fflush(stdout);
      }
    }
    while (stopped == 0) std::this_thread::sleep_for(10ms);
  }

 private:
  // A clip is as long as it was.
  void wait_for(Nanos at) {
    if (frames_ == 0) first_ = at;
    const auto due = started_ + std::chrono::nanoseconds(at - first_);
    while (stopped == 0 && std::chrono::steady_clock::now() < due) std::this_thread::sleep_for(2ms);
  }

  // The picture first: a time without a picture would make the folder unsound.
  void keep(const Frame& frame) {
    const std::string name = fmt::format("frame-{:06}.{}", frames_, frame.jpeg.empty() ? "png" : "jpg");
    const std::string file = (folder_ / name).string();
    bool written = false;
    if (frame.jpeg.empty()) {
      written = cv::imwrite(file, to_picture(frame));
    } else {
      std::ofstream out(file, std::ios::binary);
      out.write(reinterpret_cast<const char*>(frame.jpeg.data()),
                static_cast<std::streamsize>(frame.jpeg.size()));
      out.close();
      written = out.good();
    }
    times_ << fmt::format("{}.{:09}\n", frame.at / ns_per_s, frame.at % ns_per_s);
    times_.flush();
    if (!written || !times_) throw CameraError("cannot write " + file);
  }

  std::unique_ptr<FrameSource> source_;
  bool live_;
  std::filesystem::path folder_;
  std::ofstream times_;
  std::size_t frames_ = 0;
  Nanos first_ = 0;
  std::chrono::steady_clock::time_point started_ = std::chrono::steady_clock::now();
};

}  // namespace

void film(const SourceSettings& from, const std::string& folder) {
  catch_stop();
  std::signal(SIGPIPE, SIG_IGN);
  Film(from, folder).run();
}

}  // namespace tachproof
