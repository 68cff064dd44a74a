// A PostgreSQL server of the tests' own, from Debian's package: its own data folder, a Unix socket only,
// gone afterwards. Where tests run as root it runs as another user, since it refuses root.
#pragma once

#include <sys/types.h>

#include <filesystem>
#include <string>

namespace tachproof {

class PostgresServer {
 public:
  // Where initdb and postgres are; empty: the package is missing.
  static std::filesystem::path programs();

  // `safe`: waits for the disk as a server does that must survive a kill. Throws std::runtime_error.
  explicit PostgresServer(bool safe = false);
  ~PostgresServer();
  PostgresServer(const PostgresServer&) = delete;
  PostgresServer& operator=(const PostgresServer&) = delete;

  void start();  // returns when it answers
  void stop();   // as an administrator does
  void kill();   // SIGKILL to all of it
  // Takes connections and answers none.
  void freeze() const;
  void thaw() const;

  // "postgresql:///DATABASE?host=...&user=..."
  std::string address(const std::string& database, const std::string& user = "postgres") const;
  // An empty database; its address. There are two, which take turns: making one copies a thousand files.
  std::string new_database();
  // What psql prints of these statements, without heads; throws with what psql complains of.
  std::string sql(const std::string& address, const std::string& statements) const;

 private:
  // To the server alone: a number that is none would mean all processes.
  void send(int signal) const;

  std::filesystem::path folder_;
  std::string safety_;
  pid_t server_ = -1;
  int databases_ = 0;
};

// One server for all tests of the program, started when it is first asked for. Null: the package is missing.
PostgresServer* common_postgres_server();

}  // namespace tachproof
