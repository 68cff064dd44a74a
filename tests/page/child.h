// Another program beside a test, which never outlives it.
#pragma once

#include <sys/types.h>

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "tests/page/comes_true.h"

namespace tachproof {

class Child {
 public:
  // Starts `words` (the program first, looked for in PATH) in a process group of its own. A guardian ends the
  // whole group when this object goes, or this process dies, however it does.
  Child(const std::vector<std::string>& words, const std::filesystem::path& folder,
        const std::map<std::string, std::string>& environment = {});
  ~Child();
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  pid_t pid() const { return pid_; }
  void signal(int number) const;  // to the program alone
  int wait();                     // its exit status; 128 + n when signal n ended it
  std::string out() const;        // what it has written by now
  std::string err() const;
  // What stands behind `mark` on its line of the output, once that is written. Throws where it never is.
  std::string told_after(const std::string& mark);

 private:
  bool has_ended();

  std::filesystem::path scratch_;
  pid_t pid_ = -1, guardian_ = -1;
  int life_ = -1;  // open as long as the group may live
  int status_ = -1;
};

// Where a program of this name is in PATH; "" where it is not.
std::string program_in_path(const std::string& name);

}  // namespace tachproof
