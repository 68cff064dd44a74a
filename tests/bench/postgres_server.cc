#include "tests/bench/postgres_server.h"

#include <fcntl.h>
#include <grp.h>
#include <pwd.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <fstream>
#include <iterator>
#include <memory>
#include <stdexcept>
#include <thread>
#include <vector>

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using Words = std::vector<std::string>;

const passwd* server_user() {
  if (::geteuid() != 0) return nullptr;
  const passwd* const own = ::getpwnam("postgres");
  return own != nullptr ? own : ::getpwnam("nobody");
}

// In `folder`, as the server's user; what it says goes into the folder's file `log`.
pid_t started(const Words& words, const fs::path& folder, const std::string& log) {
  const pid_t pid = ::fork();
  if (pid != 0) return pid;
  const int out = ::open((folder / log).c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
  const int in = ::open("/dev/null", O_RDONLY);
  ::dup2(in, STDIN_FILENO);
  ::dup2(out, STDOUT_FILENO);
  ::dup2(out, STDERR_FILENO);
  if (const passwd* const user = server_user())
    if (::setgroups(0, nullptr) != 0 || ::setgid(user->pw_gid) != 0 || ::setuid(user->pw_uid) != 0)
      ::_exit(126);
  ::prctl(PR_SET_PDEATHSIG, SIGQUIT);  // a test that crashes leaves nothing behind
  if (::chdir(folder.c_str()) != 0) ::_exit(126);
  ::setenv("LC_ALL", "C.UTF-8", 1);
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  ::execv(arguments[0], arguments.data());
  ::_exit(127);
}

std::string content(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

int outcome_of(pid_t pid) {
  int status = 0;
  ::waitpid(pid, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

// All processes whose parent this is.
std::vector<pid_t> children_of(pid_t parent) {
  std::vector<pid_t> all;
  std::ifstream in("/proc/" + std::to_string(parent) + "/task/" + std::to_string(parent) + "/children");
  for (pid_t pid = 0; in >> pid;) all.push_back(pid);
  return all;
}

}  // namespace

fs::path PostgresServer::programs() {
  std::error_code error;
  fs::path newest;
  for (fs::directory_iterator entry("/usr/lib/postgresql", error), end; !error && entry != end;
       entry.increment(error)) {
    const fs::path bin = entry->path() / "bin";
    if (fs::exists(bin / "initdb") && fs::exists(bin / "postgres") && bin > newest) newest = bin;
  }
  return newest;
}

PostgresServer::PostgresServer(bool safe) : safety_(safe ? "on" : "off") {
  std::string name = (fs::temp_directory_path() / "tachproof-pg-XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no scratch folder in " + name);
  folder_ = name;
  if (const passwd* const user = server_user())
    if (::chown(name.c_str(), user->pw_uid, user->pw_gid) != 0)
      throw std::runtime_error("cannot give away " + name);
  const int status = outcome_of(
      started({(programs() / "initdb").string(), "-D", (folder_ / "data").string(), "--username=postgres",
               "--auth=trust", "--encoding=UTF8", "--no-sync", "--no-instructions"},
              folder_, "initdb.log"));
  if (status != 0) throw std::runtime_error("initdb failed: " + content(folder_ / "initdb.log"));
  start();
}

PostgresServer::~PostgresServer() {
  if (server_ > 0) {
    ::kill(server_, SIGQUIT);  // at once: nobody needs the data any more
    outcome_of(server_);
  }
  std::error_code ignored;
  fs::remove_all(folder_, ignored);
}

void PostgresServer::start() {
  const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds(30);
  while (std::chrono::steady_clock::now() < give_up) {
    server_ = started(
        {(programs() / "postgres").string(), "-D", (folder_ / "data").string(), "-k", folder_.string(), "-c",
         "listen_addresses=", "-c", "fsync=" + safety_, "-c", "max_connections=60", "-c", "autovacuum=off"},
        folder_, "server.log");
    // It says so in the last line of its lock file, whose first line is its number.
    while (::waitpid(server_, nullptr, WNOHANG) == 0) {
      const std::string lock = content(folder_ / "data" / "postmaster.pid");
      if (lock.starts_with(std::to_string(server_) + "\n") && lock.find("\nready") != std::string::npos)
        return;
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    server_ = -1;  // the remains of one that was killed may still hold its memory: again
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
  }
  throw std::runtime_error("postgres does not start: " + content(folder_ / "server.log"));
}

void PostgresServer::stop() {
  send(SIGINT);  // "fast": ends connections
  outcome_of(server_);
  server_ = -1;
}

void PostgresServer::kill() {
  const std::vector<pid_t> children = children_of(server_);
  send(SIGKILL);
  for (const pid_t child : children) ::kill(child, SIGKILL);
  outcome_of(server_);
  server_ = -1;
}

void PostgresServer::freeze() const { send(SIGSTOP); }
void PostgresServer::thaw() const { send(SIGCONT); }

void PostgresServer::send(int signal) const {
  if (server_ <= 0) throw std::logic_error("the server does not run");
  ::kill(server_, signal);
}

std::string PostgresServer::address(const std::string& database, const std::string& user) const {
  return "postgresql:///" + database + "?host=" + folder_.string() + "&user=" + user;
}

std::string PostgresServer::new_database() {
  const std::string name = "shop" + std::to_string(databases_ % 2);
  if (databases_++ < 2)
    sql(address("postgres"), "CREATE DATABASE " + name);
  else
    sql(address(name), "DROP SCHEMA IF EXISTS tachproof CASCADE");
  return address(name);
}

std::string PostgresServer::sql(const std::string& address, const std::string& statements) const {
  static int asked = 0;  // children of a test ask as well
  const std::string name = "psql-" + std::to_string(::getpid()) + "-" + std::to_string(++asked);
  const fs::path file = folder_ / (name + ".sql");
  std::ofstream(file) << statements << "\n";
  fs::permissions(file, fs::perms::owner_read | fs::perms::others_read);
  const int status =
      outcome_of(started({(programs() / "psql").string(), "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1",
                          "-f", file.string(), address + "&options=-cclient_min_messages%3Dwarning"},
                         folder_, name + ".log"));
  std::string said = content(folder_ / (name + ".log"));
  fs::remove(file);
  fs::remove(folder_ / (name + ".log"));
  if (status != 0) throw std::runtime_error(said);
  while (said.ends_with('\n')) said.pop_back();
  return said;
}

PostgresServer* common_postgres_server() {
  if (PostgresServer::programs().empty()) return nullptr;
  static const std::unique_ptr<PostgresServer> server = std::make_unique<PostgresServer>();
  return server.get();
}

}  // namespace tachproof
