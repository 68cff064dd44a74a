// The built program as a process of its own.
#pragma once

#include <sys/types.h>

#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace tachproof {

struct Finished {
  int status = -1;  // the exit status; 128 + n when signal n ended it
  std::string out;
  std::string err;
};

// The built program and `words`, parted at blanks as a shell would.
std::vector<std::string> command_line(const std::string& words);

class Process {
 public:
  // Starts `words` (the program first) in `folder`, with `environment` added.
  Process(const std::vector<std::string>& words, const std::filesystem::path& folder,
          const std::map<std::string, std::string>& environment = {});
  ~Process();  // kills it when it still runs
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  void signal(int number);
  Finished wait();

 private:
  std::filesystem::path scratch_;
  pid_t pid_ = -1;
};

// Waits until the journal says that a run makes progress. False: it never did.
bool makes_progress(const std::filesystem::path& journal);

Finished run_process(const std::vector<std::string>& words, const std::filesystem::path& folder,
                     const std::map<std::string, std::string>& environment = {});

// What a person types, once `after` stands on the terminal.
struct Typing {
  std::string after;
  std::string keys;
};

// All that it writes to a terminal of 80 columns.
Finished run_in_terminal(const std::vector<std::string>& words, const std::filesystem::path& folder,
                         const std::map<std::string, std::string>& environment = {},
                         const Typing& typing = {});

}  // namespace tachproof
