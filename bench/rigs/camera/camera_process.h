// The camera's own program, started beside this one: its words in, its lines out.
#pragma once

#include <sys/types.h>

#include <chrono>
#include <optional>
#include <string>
#include <vector>

namespace tachproof {

// The path of tachproof-camera: beside the running program, or where it is installed. Throws RigError with
// what to do when this build has none.
std::string camera_program();

// Runs it to its end with this program's own input and outputs: its exit status.
// Throws RigError when it cannot be started.
int run_camera_program(const std::vector<std::string>& words);

// Lines of the camera's program, or of whatever stands in for it.
class CameraLines {
 public:
  virtual ~CameraLines() = default;
  // The next line; nothing when none came in time. Throws RigError, with what
  // was said last, when there will be no more.
  virtual std::optional<std::string> line(std::chrono::milliseconds patience) = 0;
};

class CameraProcess : public CameraLines {
 public:
  // Throws RigError when it cannot be started.
  explicit CameraProcess(const std::vector<std::string>& words);
  ~CameraProcess() override;  // ends it
  CameraProcess(const CameraProcess&) = delete;
  CameraProcess& operator=(const CameraProcess&) = delete;

  std::optional<std::string> line(std::chrono::milliseconds patience) override;

 private:
  [[noreturn]] void ended();

  pid_t pid_ = -1;
  int lines_ = -1, words_ = -1;  // its stdout and stderr
  std::string pending_;
  std::size_t taken_ = 0;
};

}  // namespace tachproof
