#include "bench/run/live_teaching.h"

#include <fmt/format.h>

#include <chrono>
#include <thread>
#include <utility>

#include "bench/rigs/camera/camera_process.h"
#include "bench/rigs/factory.h"
#include "bench/run/survey_run.h"
#include "core/camera/teaching.h"

namespace tachproof {
namespace {

using namespace std::chrono_literals;

// After the source has been given all: what it still has to play, and a look more.
constexpr auto linger = 1s;
constexpr std::chrono::milliseconds first_frame_within = 20s;

bool is_device(const std::string& from) {
  std::error_code error;
  return std::filesystem::is_character_file(from, error);
}

// The source with whatever watcher paces it and sees nothing.
RigFile source_alone(const TeachingFilm& film) {
  const RigFile& rig = film.rig;
  if (kind_of(rig.source).is_software() && is_device(film.camera.from))
    throw FileErrors({{film.rig_name, rig.source.line, rig.source.column,
                       "a simulated source plays nothing to the unit that the camera sees; source must be a "
                       "board or a generator"}});
  return unwatched(rig);
}

std::vector<std::string> words_of(const TeachingFilm& film) {
  std::vector<std::string> words{"film", film.camera.from, "--out", film.folder.string()};
  const auto add = [&](const char* key, double value) {
    words.insert(words.end(), {key, fmt::format("{}", value)});
  };
  if (film.camera.fps > 0) add("--fps", film.camera.fps);
  if (film.camera.exposure_ms > 0) add("--exposure-ms", film.camera.exposure_ms);
  if (film.camera.gain >= 0) add("--gain", film.camera.gain);
  return words;
}

}  // namespace

std::string teaching_sync(const TeachingFilm& film) {
  return can_press(film.rig, film.camera.sync) ? film.camera.sync : "";
}

void film_teaching(const TeachingFilm& film, const Gauge& gauge, const RunHooks& hooks) {
  const RigFile alone = source_alone(film);
  std::vector<Step> steps = teaching_steps(gauge, teaching_sync(film));
  const Nanos lasts = Profile(steps).duration();
  std::filesystem::create_directories(film.folder);
  // The camera before the source: nothing is played when it cannot be opened.
  CameraProcess camera(words_of(film));
  const std::optional<std::string> ready = camera.line(first_frame_within);
  if (!ready)
    throw RigError(fmt::format("the camera {} has given no frame for {} s: check its cable, then teach again",
                               film.camera.from, std::chrono::duration<double>(first_frame_within).count()));
  Rig rig = make_rig(alone, film.rig_name, gauge, 1);

  RunHooks watched = hooks;
  watched.stop = [&]() -> std::optional<std::string> {
    if (hooks.stop)
      if (const auto why = hooks.stop()) return why;
    try {
      camera.line(0ms);
    } catch (const RigError& e) {
      return e.what();
    }
    return std::nullopt;
  };
  const auto started = std::chrono::steady_clock::now();
  const NextSteps all_at_once = [&](const SurveyView&) { return std::exchange(steps, {}); };
  const SurveyEvidence played = play_survey(all_at_once, gauge.pulses_per_rev, rig, nullptr, watched);
  if (!played.findings.empty()) throw RigError(played.findings.front().message);
  if (!played.complete) throw RigError("the teaching scenario was not played to its end: teach again");

  // A source in virtual time was done at once; what stands in for the camera is not.
  const auto until = started + std::chrono::nanoseconds(lasts) + linger;
  const auto at_least = std::chrono::steady_clock::now() + linger;
  while (std::chrono::steady_clock::now() < std::max(until, at_least)) {
    if (const auto why = watched.stop()) throw RigError(*why);
    std::this_thread::sleep_for(20ms);
  }
}

}  // namespace tachproof
