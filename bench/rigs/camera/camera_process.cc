#include "bench/rigs/camera/camera_process.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>

#include "bench/rigs/rig.h"

namespace tachproof {

std::string camera_program() {
  std::error_code error;
  const std::filesystem::path folder = std::filesystem::read_symlink("/proc/self/exe", error).parent_path();
  const std::string beside = (folder / "tachproof-camera").string();
  for (const std::string& path :
       {beside, (folder.parent_path() / "libexec/tachproof/tachproof-camera").string()})
    if (::access(path.c_str(), X_OK) == 0) return path;
  throw RigError("there is no " + beside +
                 ": this tachproof has no camera; install the package tachproof-camera, or, where tachproof "
                 "was built from its sources, libopencv-imgcodecs-dev, libjpeg62-turbo-dev, libavformat-dev "
                 "and libswscale-dev, and build it again");
}

int run_camera_program(const std::vector<std::string>& words) {
  std::vector<std::string> all{camera_program()};
  all.insert(all.end(), words.begin(), words.end());
  std::vector<char*> arguments;
  for (std::string& word : all) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  pid_t pid = -1;
  if (const int failed = ::posix_spawn(&pid, arguments[0], nullptr, nullptr, arguments.data(), environ))
    throw RigError(std::string("cannot start the camera's program: ") + std::strerror(failed));
  int status = 0;
  while (::waitpid(pid, &status, 0) < 0)
    if (errno != EINTR)
      throw RigError(std::string("waiting for the camera's program: ") + std::strerror(errno));
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

CameraProcess::CameraProcess(const std::vector<std::string>& words) {
  std::vector<std::string> all{camera_program()};
  all.insert(all.end(), words.begin(), words.end());
  std::vector<char*> arguments;
  for (std::string& word : all) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  int out[2], err[2];
  if (::pipe2(out, O_CLOEXEC) != 0)
    throw RigError(std::string("cannot start the camera's program: ") + std::strerror(errno));
  if (::pipe2(err, O_CLOEXEC) != 0) {
    ::close(out[0]);
    ::close(out[1]);
    throw RigError(std::string("cannot start the camera's program: ") + std::strerror(errno));
  }
  posix_spawn_file_actions_t files;
  posix_spawn_file_actions_init(&files);
  posix_spawn_file_actions_adddup2(&files, out[1], 1);
  posix_spawn_file_actions_adddup2(&files, err[1], 2);
  const int failed = ::posix_spawn(&pid_, arguments[0], &files, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&files);
  ::close(out[1]);
  ::close(err[1]);
  lines_ = out[0];
  words_ = err[0];
  if (failed == 0) return;
  ::close(lines_);
  ::close(words_);
  throw RigError(std::string("cannot start the camera's program: ") + std::strerror(failed));
}

CameraProcess::~CameraProcess() {
  ::close(lines_);
  ::close(words_);
  if (pid_ <= 0) return;
  ::kill(pid_, SIGTERM);
  ::waitpid(pid_, nullptr, 0);
}

std::optional<std::string> CameraProcess::line(std::chrono::milliseconds patience) {
  const auto until = std::chrono::steady_clock::now() + patience;
  for (;;) {
    const std::size_t end = pending_.find('\n', taken_);
    if (end != std::string::npos) {
      std::string line = pending_.substr(taken_, end - taken_);
      taken_ = end + 1;
      return line;
    }
    pending_.erase(0, taken_);
    taken_ = 0;
    const auto left =
        std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
    pollfd wait{lines_, POLLIN, 0};
    const int ready =
        ::poll(&wait, 1, static_cast<int>(std::max<std::chrono::milliseconds::rep>(left.count(), 0)));
    if (ready == 0) return std::nullopt;
    if (ready < 0 && errno == EINTR) continue;
    std::array<char, 65536> block;
    const ssize_t n = ::read(lines_, block.data(), block.size());
    if (n > 0)
      pending_.append(block.data(), static_cast<std::size_t>(n));
    else if (n == 0 || errno != EINTR)
      ended();
  }
}

// Its last sentence says why.
void CameraProcess::ended() {
  std::array<char, 4096> block;
  std::string said;
  for (ssize_t n; (n = ::read(words_, block.data(), block.size())) > 0;)
    said.append(block.data(), static_cast<std::size_t>(n));
  while (!said.empty() && said.back() == '\n') said.pop_back();
  const std::size_t last = said.rfind('\n');
  throw RigError(said.empty() ? "the camera's program ended and gave no reason: run this again"
                              : said.substr(last == std::string::npos ? 0 : last + 1));
}

}  // namespace tachproof
