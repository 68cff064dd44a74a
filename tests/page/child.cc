#include "tests/page/child.h"

#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <thread>

namespace tachproof {
namespace {

std::string all_of(const std::filesystem::path& file) {
  std::ostringstream text;
  text << std::ifstream(file).rdbuf();
  return text.str();
}

void write_to(const std::filesystem::path& file, int descriptor) {
  const int opened = open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600);
  if (opened < 0 || dup2(opened, descriptor) < 0) _exit(127);
  close(opened);
}

// Waits until nobody holds the other end of the pipe, then ends the group.
[[noreturn]] void guard(int pipe_end, pid_t group) {
  setpgid(0, 0);  // apart from the test's own group and from the one that it ends
  // What it has inherited would keep the pipes of other guardians open.
  if (pipe_end > 0) close_range(0, static_cast<unsigned>(pipe_end) - 1, 0);
  close_range(static_cast<unsigned>(pipe_end) + 1, ~0U, 0);
  char nothing = 0;
  while (read(pipe_end, &nothing, 1) > 0) {
  }
  kill(-group, SIGKILL);
  _exit(0);
}

}  // namespace

Child::Child(const std::vector<std::string>& words, const std::filesystem::path& folder,
             const std::map<std::string, std::string>& environment) {
  std::string name = (std::filesystem::temp_directory_path() / "tachproof-child-XXXXXX").string();
  if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no scratch folder in " + name);
  scratch_ = name;
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  int life[2];
  if (pipe2(life, O_CLOEXEC) != 0) throw std::runtime_error("no pipe");
  pid_ = fork();
  if (pid_ < 0) throw std::runtime_error("fork failed");
  if (pid_ == 0) {
    setpgid(0, 0);
    const int nothing = open("/dev/null", O_RDONLY);
    dup2(nothing, STDIN_FILENO);
    write_to(scratch_ / "out", STDOUT_FILENO);
    write_to(scratch_ / "err", STDERR_FILENO);
    if (chdir(folder.c_str()) != 0) _exit(127);
    for (const auto& [key, value] : environment) setenv(key.c_str(), value.c_str(), 1);
    execvp(arguments[0], arguments.data());
    _exit(127);
  }
  setpgid(pid_, pid_);
  guardian_ = fork();
  if (guardian_ == 0) {
    close(life[1]);
    guard(life[0], pid_);
  }
  close(life[0]);
  life_ = life[1];
}

Child::~Child() {
  close(life_);
  waitpid(guardian_, nullptr, 0);  // it has ended the group
  if (pid_ > 0) waitpid(pid_, nullptr, 0);
  std::error_code ignored;
  std::filesystem::remove_all(scratch_, ignored);
}

void Child::signal(int number) const {
  if (pid_ > 0) kill(pid_, number);
}

bool Child::has_ended() {
  if (pid_ < 0) return true;
  int status = 0;
  if (waitpid(pid_, &status, WNOHANG) != pid_) return false;
  status_ = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  pid_ = -1;
  return true;
}

int Child::wait() {
  if (!comes_true([this] { return has_ended(); })) throw std::runtime_error("the program does not end");
  return status_;
}

std::string Child::out() const { return all_of(scratch_ / "out"); }
std::string Child::err() const { return all_of(scratch_ / "err"); }

std::string Child::told_after(const std::string& mark) {
  std::string found;
  const bool told = comes_true([&] {
    const std::string text = out();
    const std::size_t at = text.find(mark);
    const std::size_t end = at == text.npos ? text.npos : text.find('\n', at);
    if (end != text.npos) found = text.substr(at + mark.size(), end - at - mark.size());
    return !found.empty() || has_ended();
  });
  if (!told || found.empty()) throw std::runtime_error("never said '" + mark + "': " + out() + err());
  return found;
}

std::string program_in_path(const std::string& name) {
  const char* const path = getenv("PATH");
  std::istringstream folders(path == nullptr ? "" : path);
  for (std::string folder; std::getline(folders, folder, ':');)
    if (access((folder + "/" + name).c_str(), X_OK) == 0) return folder + "/" + name;
  return {};
}

}  // namespace tachproof
