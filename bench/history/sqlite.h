// A file of SQLite's: opened, asked, written. What goes wrong is a std::runtime_error whose sentence names
// the file and what it is.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

struct sqlite3;
struct sqlite3_stmt;

namespace tachproof {

class SqliteFile {
 public:
  enum class Open { make, existing };
  // Also who only reads opens it to be written: a journal that a power cut left has to be rolled back before
  // anybody can read. `patience_ms`: how long to wait while another bench writes. `what`: "history".
  SqliteFile(const std::filesystem::path& file, Open how, int patience_ms, const char* what = "history");
  ~SqliteFile();
  SqliteFile(const SqliteFile&) = delete;
  SqliteFile& operator=(const SqliteFile&) = delete;

  void run(const std::string& sql) const;      // statements without values and without rows
  std::int64_t number(const char* sql) const;  // the first column of the first row; 0 where there is none
  std::vector<std::string> texts(const char* sql) const;  // the first column of each row

  // A number in the file that tells ours from others.
  void mark_as(int id) const;
  bool is_marked_as(int id) const;

 private:
  friend class SqliteStatement;
  [[noreturn]] void fail() const;

  std::filesystem::path file_;
  const char* what_;
  sqlite3* db_ = nullptr;
};

// One statement; its values are bound in the order of ?1, ?2, ...
class SqliteStatement {
 public:
  SqliteStatement(const SqliteFile& file, const std::string& sql);
  ~SqliteStatement();
  SqliteStatement(const SqliteStatement&) = delete;
  SqliteStatement& operator=(const SqliteStatement&) = delete;

  SqliteStatement& bind(const std::string& text);
  SqliteStatement& bind(std::int64_t value);
  SqliteStatement& bind(std::size_t value) { return bind(static_cast<std::int64_t>(value)); }
  SqliteStatement& bind(bool value) { return bind(std::int64_t{value}); }
  SqliteStatement& bind(double value);  // one that is not finite is kept as NULL

  bool step();   // true: there is a row to read
  void reset();  // to be bound and asked anew

  std::string text(int column) const;  // "" for NULL
  std::int64_t whole(int column) const;
  double number(int column) const;  // not_measured for NULL

 private:
  SqliteStatement& check(int status);

  const SqliteFile& file_;
  sqlite3_stmt* statement_ = nullptr;
  int bound_ = 0;
};

// A writing transaction, undone unless it is committed.
class SqliteTransaction {
 public:
  explicit SqliteTransaction(const SqliteFile& file);
  ~SqliteTransaction();
  SqliteTransaction(const SqliteTransaction&) = delete;
  SqliteTransaction& operator=(const SqliteTransaction&) = delete;
  void commit();

 private:
  const SqliteFile& file_;
  bool committed_ = false;
};

}  // namespace tachproof
