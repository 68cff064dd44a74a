#include "tests/program/process.h"

#include <fcntl.h>
#include <pty.h>
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

[[noreturn]] void become(const std::vector<std::string>& words, const std::filesystem::path& folder,
                         const std::map<std::string, std::string>& environment) {
  constexpr int cannot_start = 127;
  if (chdir(folder.c_str()) != 0) _exit(cannot_start);
  setenv("TACHPROOF_HISTORY", "", 1);  // nothing of the tests goes into the user's own
  for (const auto& [name, value] : environment) setenv(name.c_str(), value.c_str(), 1);
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  execvp(arguments[0], arguments.data());
  _exit(cannot_start);
}

void redirect(const std::filesystem::path& file, int descriptor, int flags) {
  const int opened = open(file.c_str(), flags, 0600);
  if (opened < 0 || dup2(opened, descriptor) < 0) _exit(127);
}

std::string content(const std::filesystem::path& file) {
  std::ostringstream text;
  text << std::ifstream(file).rdbuf();
  return text.str();
}

int status_of(pid_t pid) {
  int status = 0;
  if (waitpid(pid, &status, 0) != pid) throw std::runtime_error("waitpid failed");
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

}  // namespace

Process::Process(const std::vector<std::string>& words, const std::filesystem::path& folder,
                 const std::map<std::string, std::string>& environment) {
  std::string name = (std::filesystem::temp_directory_path() / "tachproof-process-XXXXXX").string();
  if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no scratch folder in " + name);
  scratch_ = name;
  pid_ = fork();
  if (pid_ < 0) throw std::runtime_error("fork failed");
  if (pid_ == 0) {
    redirect("/dev/null", STDIN_FILENO, O_RDONLY);
    redirect(scratch_ / "out", STDOUT_FILENO, O_WRONLY | O_CREAT);
    redirect(scratch_ / "err", STDERR_FILENO, O_WRONLY | O_CREAT);
    become(words, folder, environment);
  }
}

Process::~Process() {
  if (pid_ > 0) {
    kill(pid_, SIGKILL);
    waitpid(pid_, nullptr, 0);
  }
  std::error_code ignored;
  std::filesystem::remove_all(scratch_, ignored);
}

void Process::signal(int number) { kill(pid_, number); }

Finished Process::wait() {
  Finished finished;
  finished.status = status_of(pid_);
  pid_ = -1;
  finished.out = content(scratch_ / "out");
  finished.err = content(scratch_ / "err");
  return finished;
}

std::vector<std::string> command_line(const std::string& words) {
  std::vector<std::string> parts = {TACHPROOF_PROGRAM};
  std::istringstream stream(words);
  for (std::string word; stream >> word;) parts.push_back(word);
  return parts;
}

bool makes_progress(const std::filesystem::path& journal) {
  const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds(30);
  while (std::chrono::steady_clock::now() < give_up) {
    if (content(journal).find("progress") != std::string::npos) return true;
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  return false;
}

Finished run_process(const std::vector<std::string>& words, const std::filesystem::path& folder,
                     const std::map<std::string, std::string>& environment) {
  return Process(words, folder, environment).wait();
}

Finished run_in_terminal(const std::vector<std::string>& words, const std::filesystem::path& folder,
                         const std::map<std::string, std::string>& environment, const Typing& typing) {
  winsize size = {.ws_row = 24, .ws_col = 80, .ws_xpixel = 0, .ws_ypixel = 0};
  int terminal = -1;
  const pid_t pid = forkpty(&terminal, nullptr, nullptr, &size);
  if (pid < 0) throw std::runtime_error("forkpty failed");
  if (pid == 0) become(words, folder, environment);
  Finished finished;
  char block[4096];
  ssize_t n = 0;
  bool typed = typing.keys.empty();
  while ((n = read(terminal, block, sizeof block)) > 0) {
    finished.out.append(block, static_cast<std::size_t>(n));
    if (typed || finished.out.find(typing.after) == std::string::npos) continue;
    typed = write(terminal, typing.keys.data(), typing.keys.size()) > 0;
  }
  close(terminal);
  finished.status = status_of(pid);
  return finished;
}

}  // namespace tachproof
