#include "bench/run/clip_evidence.h"

#include <fmt/format.h>

#include <algorithm>
#include <sstream>
#include <stdexcept>
#include <system_error>

#include "bench/files/regions.h"
#include "bench/files/regular_file.h"
#include "bench/files/rig_alone.h"
#include "bench/record/disk.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

constexpr const char *sum_name = "clip.sha256", *regions_name = "regions.yaml";

std::vector<fs::path> files_of(const fs::path& clip) {
  if (!fs::is_directory(clip)) return {clip};
  std::vector<fs::path> files;
  for (const fs::directory_entry& entry : fs::directory_iterator(clip))
    if (entry.is_regular_file()) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  return files;
}

std::string sums_text(const fs::path& clip) {
  std::string text = clip.string() + "\n";
  for (const fs::path& file : files_of(clip))
    text += sha256_of_file(file) + "  " + file.filename().string() + "\n";
  return text;
}

// The longest line names all regions of a frame.
constexpr std::size_t longest_reading = std::size_t{1} << 20;

class StoredLines : public CameraLines {
 public:
  explicit StoredLines(const fs::path& file) : lines_(RegularFile(file), longest_reading) {}
  std::optional<std::string> line(std::chrono::milliseconds) override {
    std::string line;
    const FileLines::Got got = lines_.next(line);
    return got == FileLines::Got::line || got == FileLines::Got::unended ? line : "end";
  }

 private:
  FileLines lines_;
};

// The next line of a frame; nothing at the end.
std::optional<std::string> next_frame(CameraLines& lines) {
  for (;;) {
    const std::optional<std::string> line = lines.line(10'000ms);
    if (!line || *line == "end") return std::nullopt;
    // Why a frame was of no use is words for a person: those may change from version to version.
    if (line->starts_with("moved ")) return line->substr(0, line->find(' ', 6));
    if (line->starts_with("frame ")) return line;
  }
}

}  // namespace

std::vector<std::pair<std::string, std::string>> keep_clip_evidence(RunFolder& folder,
                                                                    const CameraSettings& camera) {
  std::vector<std::pair<std::string, std::string>> kept;
  kept.emplace_back(regions_name, folder.keep_input(camera.regions, regions_name));
  const fs::path dial = load_regions(camera.regions).dial_picture;
  if (fs::is_regular_file(dial)) {
    const std::string as = dial.filename().string();
    kept.emplace_back(as, folder.keep_input(dial, as));
  }
  if (!camera.live) {
    const std::string text = sums_text(fs::absolute(camera.from));
    kept.emplace_back(sum_name, folder.keep_text(text, sum_name));
  }
  return kept;
}

OpenCamera stored_readings(const fs::path& folder) {
  return [file = folder / readings_name](const std::vector<std::string>&) {
    return std::make_unique<StoredLines>(file);
  };
}

ClipAgain read_clip_again(const fs::path& folder) {
  using Outcome = ClipAgain::Outcome;
  std::error_code error;
  if (!fs::is_regular_file(folder / sum_name, error))
    return {Outcome::not_read, "The frames came from a device: there is no clip that could be read again."};
  const std::string text = whole_file(folder / sum_name);
  const fs::path clip = text.substr(0, text.find('\n'));
  if (!fs::exists(clip, error))
    return {
        Outcome::not_read,
        fmt::format("The clip {} is no longer there: its frames were not read again. The readings that the "
                    "run kept were judged.",
                    clip.string())};
  std::string sums;
  try {
    sums = sums_text(clip);
  } catch (const NotReadable& e) {
    return {Outcome::not_read, fmt::format("The frames of the clip were not read again: {}.", e.what())};
  }
  if (sums != text)
    return {
        Outcome::not_read,
        fmt::format("The clip {} is not the one that was judged: its SHA-256 differs. Its frames were not "
                    "read again.",
                    clip.string())};
  const RigFile rig = load_rig_alone(folder / "rig.yaml");
  std::vector<std::string> words{"watch", clip.string(), "--regions", (folder / regions_name).string()};
  if (rig.watch.camera.fps > 0) words.insert(words.end(), {"--fps", fmt::format("{}", rig.watch.camera.fps)});
  StoredLines stored(folder / readings_name);
  std::size_t frames = 0;
  try {
    const std::unique_ptr<CameraLines> again = open_camera_program(words);
    while (const std::optional<std::string> line = next_frame(stored)) {
      const std::optional<std::string> other = next_frame(*again);
      if (other != line)
        return {Outcome::differs, fmt::format("Frame {} of the clip {} does not read as in {}.", frames,
                                              clip.string(), readings_name)};
      ++frames;
    }
  } catch (const RigError& e) {
    return {Outcome::not_read, fmt::format("The clip was not read again: {}.", e.what())};
  }
  return {Outcome::same,
          fmt::format("The clip {} was read again: {} frames read as before.", clip.string(), frames)};
}

}  // namespace tachproof
