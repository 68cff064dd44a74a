#include "bench/commands/teaching.h"

#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <optional>

#include "bench/commands/output_file.h"
#include "bench/commands/terminal.h"
#include "bench/record/disk.h"
#include "bench/rigs/camera/camera_process.h"
#include "bench/run/live_teaching.h"
#include "bench/run/scratch_folder.h"
#include "bench/run/stop_request.h"
#include "core/camera/teaching.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

// A folder that goes when nobody wants it any more.
class FilmFolder {
 public:
  explicit FilmFolder(const std::string& keep) : path_(keep) {
    if (!keep.empty() && fs::exists(path_)) throw UsageError(keep + " exists already; give another name");
    if (keep.empty()) path_ = scratch_.emplace("film").path();
  }
  const fs::path& path() const { return path_; }

 private:
  fs::path path_;
  std::optional<Scratch> scratch_;
};

ExitStatus looked_at(const fs::path& regions) {
  const std::string picture = (regions.parent_path() / regions.stem()).string() + ".png";
  for (;;) {
    const std::optional<std::string> answer =
        ask_at_terminal(picture + ": is every lamp circled, with its right name? (yes or no) ");
    if (!answer) {
      Replacement(regions,
                  "# Nobody has checked yet that all lamps are circled and have their right names in " +
                      fs::path(picture).filename().string() + ".\n" + whole_file(regions))
          .move_into_place();
      return exit_pass;
    }
    if (*answer == "yes" || *answer == "y") return exit_pass;
    if (*answer == "no" || *answer == "n") {
      fs::remove(regions);
      fmt::print("{} was removed: teach again, in other light or from another place.\n", regions.string());
      return exit_undecided;
    }
  }
}

}  // namespace

ExitStatus teach_from_clip(const TeachWords& words) {
  require_output_place(words.out);
  std::vector<std::string> all{"teach", words.from, "--gauge", words.gauge_file,
                               "--out", words.out,  "--sync",  words.sync};
  const auto add = [&](const char* key, const std::string& value) {
    if (!value.empty()) all.insert(all.end(), {key, value});
  };
  add("--scenario", words.scenario);
  add("--fps", words.fps);
  add("--within", words.within);
  std::fflush(stdout);
  const int status = run_camera_program(all);
  if (status == exit_pass) return looked_at(words.out);
  if (status == exit_usage) return exit_usage;
  throw RigError(fmt::format("the camera's program ended with status {}", status));
}

ExitStatus teach_live(const Gauge& gauge, const CameraSettings& camera, const RigFile& rig,
                      const std::string& rig_name, TeachWords words, const std::string& keep) {
  catch_stop_signals();
  const FilmFolder folder(keep);
  const TeachingFilm film{camera, rig, rig_name, folder.path()};
  words.from = folder.path().string();
  words.sync = teaching_sync(film);
  if (words.sync.empty())
    fmt::print(stderr, "The rig's source cannot press '{}', so the sync lamp is not taught.\n", camera.sync);
  ProgressLine line(gauge, Profile(teaching_steps(gauge, words.sync)).duration(), "teaching ");
  RunHooks hooks;
  hooks.stop = stop_requested;
  hooks.progress = [&](const RunProgress& progress) { line.show(progress); };
  film_teaching(film, gauge, hooks);
  line.clear();
  return teach_from_clip(words);
}

}  // namespace tachproof
