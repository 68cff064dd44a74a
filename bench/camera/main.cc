// tachproof-camera: the part of Tachproof that needs OpenCV, apart so that the
// rest starts in a millisecond. `tachproof` starts it; nobody else need.
//
//     tachproof-camera watch FROM --regions FILE [--fps N] [--exposure-ms N] [--gain N] [--at-once N]
//                           [--least-level SHARE]
//     tachproof-camera film FROM --out FOLDER [--fps N] [--exposure-ms N] [--gain N]
//     tachproof-camera teach FROM --gauge FILE --scenario FILE --out FILE [--sync ACTION] [--within PX] ...
//
// watch writes lines:
//
//     tachproof-camera 1
//     about TEXT                the source, and the device's settings as read back
//     period NS
//     frame NS - LOOKS          the frame's time by the source's clock; then a letter for each
//     frame NS s LOOKS          region: . dark, A B ... lit in that colour, a b ... weakly, ? cannot
//                               tell. s: the last picture again
//     moved NS WHY              a frame that cannot be used: what is wrong, ": ", what to do
//     end
//
// film writes "ready" when the first frame is in FOLDER, and films until SIGTERM.
//
// Exit status: 0; 2 with a sentence on stderr.
#include <charconv>
#include <cstdio>
#include <exception>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "bench/camera/camera.h"

namespace tachproof {
namespace {

class Words {
 public:
  explicit Words(const std::vector<std::string>& words) {
    for (std::size_t i = 2; i + 1 < words.size(); i += 2) options_[words[i]] = words[i + 1];
  }
  std::string text(const std::string& key) const {
    const auto found = options_.find(key);
    return found == options_.end() ? std::string() : found->second;
  }
  double number(const std::string& key, double otherwise) const {
    const std::string word = text(key);
    double value = otherwise;
    if (!word.empty() &&
        std::from_chars(word.data(), word.data() + word.size(), value).ptr != word.data() + word.size())
      throw CameraError(key + " is '" + word + "', which is no number");
    return value;
  }

 private:
  std::map<std::string, std::string> options_;
};

int run(const std::vector<std::string>& words) {
  if (words.size() < 2 || words.size() % 2 != 0 ||
      (words[0] != "watch" && words[0] != "film" && words[0] != "teach"))
    throw CameraError("tachproof-camera is started by tachproof; see `tachproof teach --help`");
  const Words options(words);
  SourceSettings from;
  from.from = words[1];
  from.fps = options.number("--fps", 0);
  from.exposure_ms = options.number("--exposure-ms", 0);
  from.gain = options.number("--gain", -1);
  if (words[0] == "watch")
    watch(from, options.text("--regions"),
          {static_cast<std::size_t>(options.number("--at-once", 0)), options.number("--least-level", 1)});
  else if (words[0] == "film")
    film(from, options.text("--out"));
  else
    teach({from, options.text("--gauge"), options.text("--scenario"), options.text("--out"),
           options.text("--sync"), options.number("--within", 12)});
  return 0;
}

}  // namespace
}  // namespace tachproof

int main(int argc, char** argv) {
  try {
    return tachproof::run({argv + (argc > 0 ? 1 : 0), argv + argc});
  } catch (const std::exception& e) {
    std::fprintf(stderr, "%s\n", e.what());
    return 2;
  }
}
