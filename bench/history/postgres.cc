#include "bench/history/postgres.h"

#include <fmt/format.h>
#include <poll.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <stdexcept>
#include <string_view>

#include "bench/history/history_store.h"
#include "bench/history/postgres_library.h"
#include "core/base/foreign_text.h"
#include "core/judge/result.h"

namespace tachproof {
namespace {

constexpr std::size_t most_words = 300;  // of a server
constexpr const char* connect_patience_s = "5";
constexpr int answer_patience_s = 5;  // for a server that does not keep its own time limit

// A server's or libpq's words, in one line, fit for a terminal.
std::string words_of(std::string_view text, const HistoryPlace& place) {
  std::string line;
  for (const char c : text) {
    const bool blank = c == '\n' || c == '\t' || c == ' ';
    if (!blank)
      line += c;
    else if (!line.empty() && line.back() != ' ')
      line += ' ';
  }
  while (line.ends_with(' ')) line.pop_back();
  line = shown(without_password(line, place));
  if (line.size() <= most_words) return line;
  std::size_t end = most_words;
  while (end > 0 && (static_cast<unsigned char>(line[end]) & 0xc0) == 0x80) --end;
  return line.substr(0, end) + "..";
}

void hear_no_notice(void*, const char*) {}

// Classes 08 and 57P: the connection failed, the server ends or only just begins. 53: it has no room, in
// whatever it lacks. https://www.postgresql.org/docs/15/errcodes-appendix.html
bool tells_of_being_away(std::string_view sqlstate) {
  return sqlstate.starts_with("08") || sqlstate.starts_with("57P") || sqlstate.starts_with("53");
}

bool is_set(const char* variable) { return std::getenv(variable) != nullptr; }

}  // namespace

PgConnection::PgConnection(const HistoryPlace& place, int patience_s)
    : place_(place), patience_s_(patience_s) {
  const PgLibrary& pg = pg_library();
  check_address();
  std::vector<const char*> keys, values;
  const auto with = [&](const char* key, const char* value) {
    keys.push_back(key);
    values.push_back(value);
  };
  // What the address says comes later and wins; a service file and the environment are not overruled.
  const bool told_elsewhere = is_set("PGCONNECT_TIMEOUT") || is_set("PGSERVICE") ||
                              place.text().find("service=") != std::string::npos;
  if (!told_elsewhere) with("connect_timeout", connect_patience_s);
  with("fallback_application_name", "tachproof");
  with("dbname", place_.text().c_str());
  with("client_encoding", "UTF8");
  with(nullptr, nullptr);
  connection_ = pg.connect(keys.data(), values.data(), 1);
  if (pg.status(connection_) != CONNECTION_OK) {
    const std::string why =
        connection_ == nullptr ? "out of memory" : words_of(pg.error_message(connection_), place_);
    pg.finish(connection_);
    connection_ = nullptr;
    throw HistoryAway(fmt::format("cannot reach the history {}: {}", place_.shown(), why));
  }
  pg.set_notice_processor(connection_, hear_no_notice, nullptr);
  pg.set_nonblocking(connection_, 1);
  try {
    // Nothing of another schema is ever found by accident.
    run(
        fmt::format("SET search_path = pg_catalog; SET statement_timeout = '{}s'; SET lock_timeout = 0; "
                    "SET standard_conforming_strings = on; SET extra_float_digits = 1; "
                    "SET client_min_messages = warning",
                    patience_s));
  } catch (...) {
    pg.finish(connection_);
    throw;
  }
}

PgConnection::~PgConnection() { pg_library().finish(connection_); }

void PgConnection::check_address() const {
  const PgLibrary& pg = pg_library();
  char* why = nullptr;
  PQconninfoOption* const options = pg.conninfo_parse(place_.text().c_str(), &why);
  // libpq quotes what it does not understand, and that may be the password.
  const std::string words = why == nullptr ? "" : why;
  const std::string plain = words.substr(0, words.find('"'));
  pg.free_memory(why);
  pg.conninfo_free(options);
  if (options == nullptr)
    throw std::runtime_error(fmt::format(
        "the history's address is not understood: {}..; it is written as postgresql://USER@HOST/DATABASE",
        shown(plain.substr(0, plain.find_last_not_of(" :\n") + 1))));
  if (!place_.is_clear())
    throw std::runtime_error(
        "the history's address is not understood: in a user's name or a password write @ as %40 and / as "
        "%2F, or keep the password in ~/.pgpass");
}

void PgConnection::lost(const std::string& why) const {
  throw HistoryAway(fmt::format("the history {} was lost: {}", place_.shown(), why));
}

void PgConnection::fail(pg_result* result) const {
  const PgLibrary& pg = pg_library();
  const auto field = [&](int code) {
    const char* const text = pg.error_field(result, code);
    return std::string(text == nullptr ? "" : text);
  };
  const std::string state = field(PG_DIAG_SQLSTATE), said = field(PG_DIAG_MESSAGE_PRIMARY);
  const std::string words =
      words_of(said.empty() ? std::string(pg.error_message(connection_)) : said, place_);
  pg.clear(result);
  if (pg.status(connection_) != CONNECTION_OK) lost(words);
  const std::string sentence = fmt::format("the history {}: {}", place_.shown(), words);
  if (tells_of_being_away(state)) throw HistoryAway(sentence);
  throw std::runtime_error(sentence);
}

void PgConnection::wait_for(bool to_write) const {
  using namespace std::chrono;
  const auto left = ceil<milliseconds>(until_ - steady_clock::now());
  pollfd wanted{pg_library().socket(connection_), static_cast<short>(to_write ? POLLIN | POLLOUT : POLLIN),
                0};
  if (left.count() <= 0 || ::poll(&wanted, 1, static_cast<int>(left.count())) == 0)
    lost(fmt::format("it did not answer within {} s", patience_s_ + answer_patience_s));
}

pg_result* PgConnection::answer() const {
  const PgLibrary& pg = pg_library();
  until_ = std::chrono::steady_clock::now() + std::chrono::seconds(patience_s_ + answer_patience_s);
  const auto read = [&] {
    if (pg.consume_input(connection_) == 0) lost(words_of(pg.error_message(connection_), place_));
  };
  for (int more = 1; (more = pg.flush(connection_)) != 0;) {
    if (more < 0) lost(words_of(pg.error_message(connection_), place_));
    wait_for(true);
    read();
  }
  pg_result* last = nullptr;
  try {
    for (;;) {
      while (pg.is_busy(connection_) != 0) {
        wait_for(false);
        read();
      }
      pg_result* const next = pg.next_result(connection_);
      if (next == nullptr) break;
      // Of several statements that is kept which failed.
      const bool failed = last != nullptr && pg.result_status(last) == PGRES_FATAL_ERROR;
      pg.clear(failed ? next : last);
      if (!failed) last = next;
    }
  } catch (...) {
    pg.clear(last);
    throw;
  }
  if (last == nullptr) lost(words_of(pg.error_message(connection_), place_));
  const ExecStatusType status = pg.result_status(last);
  if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) fail(last);
  return last;
}

void PgConnection::run(const std::string& sql) const {
  const PgLibrary& pg = pg_library();
  if (pg.send(connection_, sql.c_str()) == 0) lost(words_of(pg.error_message(connection_), place_));
  pg.clear(answer());
}

std::int64_t PgConnection::number(const std::string& sql) const {
  PgStatement rows(*this, sql);
  return rows.step() ? rows.whole(0) : 0;
}

std::vector<std::string> PgConnection::texts(const std::string& sql) const {
  PgStatement rows(*this, sql);
  std::vector<std::string> all;
  while (rows.step()) all.push_back(rows.text(0));
  return all;
}

PgStatement::PgStatement(const PgConnection& connection, std::string sql)
    : connection_(connection), sql_(std::move(sql)) {}
PgStatement::~PgStatement() { pg_library().clear(result_); }

PgStatement& PgStatement::bind(const std::string& text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    char32_t code = 0;
    const std::size_t length = utf8_sequence(std::string_view(text).substr(i), code);
    if (length == 0 || code == 0)
      out += byte_shown(static_cast<unsigned char>(text[i]));
    else
      out.append(text, i, length);
    i += std::max<std::size_t>(length, 1);
  }
  values_.emplace_back(std::move(out));
  return *this;
}
PgStatement& PgStatement::bind(std::int64_t value) {
  values_.emplace_back(std::to_string(value));
  return *this;
}
PgStatement& PgStatement::bind(bool value) {
  values_.emplace_back(value ? "true" : "false");
  return *this;
}
PgStatement& PgStatement::bind(double value) {
  if (std::isfinite(value))
    values_.emplace_back(fmt::format("{}", value));  // the shortest that reads back the same
  else
    values_.emplace_back(std::nullopt);
  return *this;
}

bool PgStatement::step() {
  const PgLibrary& pg = pg_library();
  if (result_ == nullptr) {
    std::vector<const char*> values;
    for (const auto& value : values_) values.push_back(value ? value->c_str() : nullptr);
    if (pg.send_with_values(connection_.connection_, sql_.c_str(), static_cast<int>(values.size()), nullptr,
                            values.data(), nullptr, nullptr, 0) == 0)
      connection_.lost(words_of(pg.error_message(connection_.connection_), connection_.place_));
    result_ = connection_.answer();
    rows_ = pg.rows(result_);
  }
  return ++row_ < rows_;
}

std::string PgStatement::text(int column) const {
  const PgLibrary& pg = pg_library();
  return {pg.value(result_, row_, column), static_cast<std::size_t>(pg.length(result_, row_, column))};
}
std::int64_t PgStatement::whole(int column) const {
  const std::string value = text(column);
  if (value == "t") return 1;
  std::int64_t number = 0;
  std::from_chars(value.data(), value.data() + value.size(), number);
  return number;
}
double PgStatement::number(int column) const {
  if (pg_library().is_null(result_, row_, column) != 0) return not_measured;
  const std::string value = text(column);
  double number = not_measured;
  std::from_chars(value.data(), value.data() + value.size(), number);
  return number;
}

PgTransaction::PgTransaction(const PgConnection& connection, const char* how) : connection_(connection) {
  connection_.run(how);
}
PgTransaction::~PgTransaction() {
  if (committed_) return;
  try {
    connection_.run("ROLLBACK");
  } catch (const std::runtime_error&) {  // a server that is lost undoes it by itself
  }
}
void PgTransaction::commit() {
  connection_.run("COMMIT");
  committed_ = true;
}

std::string json_for_server(const std::string& json) {
  std::string out;
  out.reserve(json.size());
  for (std::size_t i = 0; i < json.size(); ++i) {
    if (json[i] != '\\') {
      out += json[i];
    } else if (json.compare(i, 6, "\\u0000") == 0) {
      out += "\\\\x00";
      i += 5;
    } else {
      out.append(json, i, 2);
      ++i;
    }
  }
  return out;
}

}  // namespace tachproof
