#include "bench/history/postgres_library.h"

#include <dlfcn.h>

#include <stdexcept>
#include <string>

namespace tachproof {
namespace {

constexpr const char* library_file = "libpq.so.5";

template <class Function>
void load_function(void* library, const char* name, Function& into) {
  into = reinterpret_cast<Function>(::dlsym(library, name));
  if (into == nullptr)
    throw std::runtime_error(std::string("the PostgreSQL library ") + library_file + " has no " + name);
}

PgLibrary loaded_library() {
  // It stays until the program ends: its own libraries cannot be unloaded safely.
  void* const library = ::dlopen(library_file, RTLD_NOW | RTLD_LOCAL);
  if (library == nullptr)
    throw std::runtime_error(std::string("the PostgreSQL library ") + library_file +
                             " cannot be loaded: install Debian's libpq5");
  PgLibrary pg{};
  load_function(library, "PQconninfoParse", pg.conninfo_parse);
  load_function(library, "PQconninfoFree", pg.conninfo_free);
  load_function(library, "PQfreemem", pg.free_memory);
  load_function(library, "PQconnectdbParams", pg.connect);
  load_function(library, "PQstatus", pg.status);
  load_function(library, "PQerrorMessage", pg.error_message);
  load_function(library, "PQfinish", pg.finish);
  load_function(library, "PQsetNoticeProcessor", pg.set_notice_processor);
  load_function(library, "PQsetnonblocking", pg.set_nonblocking);
  load_function(library, "PQsocket", pg.socket);
  load_function(library, "PQsendQuery", pg.send);
  load_function(library, "PQsendQueryParams", pg.send_with_values);
  load_function(library, "PQflush", pg.flush);
  load_function(library, "PQconsumeInput", pg.consume_input);
  load_function(library, "PQisBusy", pg.is_busy);
  load_function(library, "PQgetResult", pg.next_result);
  load_function(library, "PQresultStatus", pg.result_status);
  load_function(library, "PQresultErrorField", pg.error_field);
  load_function(library, "PQclear", pg.clear);
  load_function(library, "PQntuples", pg.rows);
  load_function(library, "PQgetisnull", pg.is_null);
  load_function(library, "PQgetvalue", pg.value);
  load_function(library, "PQgetlength", pg.length);
  return pg;
}

}  // namespace

const PgLibrary& pg_library() {
  static const PgLibrary library = loaded_library();
  return library;
}

}  // namespace tachproof
