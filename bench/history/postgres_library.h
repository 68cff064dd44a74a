// The functions of libpq that are used, loaded when they are first asked for.
#pragma once

#include <postgresql/libpq-fe.h>

namespace tachproof {

struct PgLibrary {
  decltype(&::PQconninfoParse) conninfo_parse;
  decltype(&::PQconninfoFree) conninfo_free;
  decltype(&::PQfreemem) free_memory;
  decltype(&::PQconnectdbParams) connect;
  decltype(&::PQstatus) status;
  decltype(&::PQerrorMessage) error_message;
  decltype(&::PQfinish) finish;
  decltype(&::PQsetNoticeProcessor) set_notice_processor;
  decltype(&::PQsetnonblocking) set_nonblocking;
  decltype(&::PQsocket) socket;
  decltype(&::PQsendQuery) send;
  decltype(&::PQsendQueryParams) send_with_values;
  decltype(&::PQflush) flush;
  decltype(&::PQconsumeInput) consume_input;
  decltype(&::PQisBusy) is_busy;
  decltype(&::PQgetResult) next_result;
  decltype(&::PQresultStatus) result_status;
  decltype(&::PQresultErrorField) error_field;
  decltype(&::PQclear) clear;
  decltype(&::PQntuples) rows;
  decltype(&::PQgetisnull) is_null;
  decltype(&::PQgetvalue) value;
  decltype(&::PQgetlength) length;
};

// Throws std::runtime_error where it is not installed.
const PgLibrary& pg_library();

}  // namespace tachproof
