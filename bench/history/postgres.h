// One connection to a PostgreSQL server, by libpq: opened, asked, written.
//
// libpq is loaded when the first connection is made, so that commands that need no server do not wait for
// it and its own libraries. What goes wrong is HistoryAway where the server could not be reached or was
// lost, else std::runtime_error; the sentence names the place without its password, and a server's words
// are shown as what they are.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bench/history/history_place.h"

struct pg_conn;
struct pg_result;

namespace tachproof {

class PgConnection {
 public:
  // `patience_s`: how long one statement may take, waiting for others included.
  PgConnection(const HistoryPlace& place, int patience_s);
  ~PgConnection();
  PgConnection(const PgConnection&) = delete;
  PgConnection& operator=(const PgConnection&) = delete;

  void run(const std::string& sql) const;  // statements without values and without rows
  std::int64_t number(
      const std::string& sql) const;  // the first column of the first row; 0 where there is none
  std::vector<std::string> texts(const std::string& sql) const;  // the first column of each row

 private:
  friend class PgStatement;
  void check_address() const;
  // The last result of what was sent; never null.
  pg_result* answer() const;
  void wait_for(bool to_write) const;
  [[noreturn]] void fail(pg_result* result) const;  // clears it
  [[noreturn]] void lost(const std::string& why) const;

  HistoryPlace place_;
  const int patience_s_;
  pg_conn* connection_ = nullptr;
  mutable std::chrono::steady_clock::time_point until_;  // for the statement that was sent
};

// One statement, as SqliteStatement is one; its values are bound in the order of $1, $2, ...
class PgStatement {
 public:
  PgStatement(const PgConnection& connection, std::string sql);
  ~PgStatement();
  PgStatement(const PgStatement&) = delete;
  PgStatement& operator=(const PgStatement&) = delete;

  // What PostgreSQL's text cannot hold, a zero or a byte that is no UTF-8, is shown as "\x00".
  PgStatement& bind(const std::string& text);
  PgStatement& bind(std::int64_t value);
  PgStatement& bind(std::size_t value) { return bind(static_cast<std::int64_t>(value)); }
  PgStatement& bind(bool value);
  PgStatement& bind(double value);  // one that is not finite is kept as NULL

  bool step();  // true: there is a row to read

  std::string text(int column) const;    // "" for NULL
  std::int64_t whole(int column) const;  // of a boolean 0 or 1
  double number(int column) const;       // not_measured for NULL

 private:
  const PgConnection& connection_;
  const std::string sql_;
  std::vector<std::optional<std::string>> values_;
  pg_result* result_ = nullptr;
  int row_ = -1, rows_ = 0;
};

// A transaction, undone unless it is committed.
class PgTransaction {
 public:
  explicit PgTransaction(const PgConnection& connection, const char* how = "BEGIN");
  ~PgTransaction();
  PgTransaction(const PgTransaction&) = delete;
  PgTransaction& operator=(const PgTransaction&) = delete;
  void commit();

 private:
  const PgConnection& connection_;
  bool committed_ = false;
};

// `json` without what jsonb cannot hold: the character zero is written as its escape is shown, "\x00".
std::string json_for_server(const std::string& json);

}  // namespace tachproof
