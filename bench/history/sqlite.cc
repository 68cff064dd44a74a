#include "bench/history/sqlite.h"

#include <fmt/format.h>
#include <sqlite3.h>

#include <cmath>
#include <stdexcept>

#include "core/judge/result.h"

namespace tachproof {
SqliteFile::SqliteFile(const std::filesystem::path& file, Open how, int patience_ms, const char* what)
    : file_(file), what_(what) {
  const int flags = SQLITE_OPEN_READWRITE | (how == Open::make ? SQLITE_OPEN_CREATE : 0);
  if (sqlite3_open_v2(file.c_str(), &db_, flags, nullptr) != SQLITE_OK) {
    const std::string why = db_ == nullptr ? "out of memory" : sqlite3_errmsg(db_);
    sqlite3_close(db_);
    throw std::runtime_error(fmt::format("cannot open the {} {}: {}", what_, file.string(), why));
  }
  sqlite3_busy_timeout(db_, patience_ms);
}

SqliteFile::~SqliteFile() { sqlite3_close(db_); }

void SqliteFile::run(const std::string& sql) const {
  if (sqlite3_exec(db_, sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK) fail();
}

std::int64_t SqliteFile::number(const char* sql) const {
  SqliteStatement rows(*this, sql);
  return rows.step() ? rows.whole(0) : 0;
}

std::vector<std::string> SqliteFile::texts(const char* sql) const {
  SqliteStatement rows(*this, sql);
  std::vector<std::string> all;
  while (rows.step()) all.push_back(rows.text(0));
  return all;
}

void SqliteFile::mark_as(int id) const { run(fmt::format("PRAGMA application_id = {}", id)); }
bool SqliteFile::is_marked_as(int id) const { return number("PRAGMA application_id") == id; }

void SqliteFile::fail() const {
  throw std::runtime_error(fmt::format("the {} {}: {}", what_, file_.string(), sqlite3_errmsg(db_)));
}

SqliteStatement::SqliteStatement(const SqliteFile& file, const std::string& sql) : file_(file) {
  if (sqlite3_prepare_v2(file.db_, sql.c_str(), -1, &statement_, nullptr) != SQLITE_OK) file.fail();
}
SqliteStatement::~SqliteStatement() { sqlite3_finalize(statement_); }

SqliteStatement& SqliteStatement::check(int status) {
  if (status != SQLITE_OK) file_.fail();
  return *this;
}

SqliteStatement& SqliteStatement::bind(const std::string& text) {
  return check(
      sqlite3_bind_text64(statement_, ++bound_, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8));
}
SqliteStatement& SqliteStatement::bind(std::int64_t value) {
  return check(sqlite3_bind_int64(statement_, ++bound_, value));
}
SqliteStatement& SqliteStatement::bind(double value) {
  return check(std::isfinite(value) ? sqlite3_bind_double(statement_, ++bound_, value)
                                    : sqlite3_bind_null(statement_, ++bound_));
}

bool SqliteStatement::step() {
  const int status = sqlite3_step(statement_);
  if (status != SQLITE_ROW && status != SQLITE_DONE) file_.fail();
  return status == SQLITE_ROW;
}
void SqliteStatement::reset() {
  sqlite3_reset(statement_);
  bound_ = 0;
}

std::string SqliteStatement::text(int column) const {
  const unsigned char* const value = sqlite3_column_text(statement_, column);
  const auto size = static_cast<std::size_t>(sqlite3_column_bytes(statement_, column));
  return value == nullptr ? std::string() : std::string(reinterpret_cast<const char*>(value), size);
}
std::int64_t SqliteStatement::whole(int column) const { return sqlite3_column_int64(statement_, column); }
double SqliteStatement::number(int column) const {
  return sqlite3_column_type(statement_, column) == SQLITE_NULL ? not_measured
                                                                : sqlite3_column_double(statement_, column);
}

SqliteTransaction::SqliteTransaction(const SqliteFile& file) : file_(file) { file_.run("BEGIN IMMEDIATE"); }
SqliteTransaction::~SqliteTransaction() {
  if (committed_) return;
  try {
    file_.run("ROLLBACK");
  } catch (const std::runtime_error&) {  // SQLite has undone it by itself
  }
}
void SqliteTransaction::commit() {
  file_.run("COMMIT");
  committed_ = true;
}

}  // namespace tachproof
