// The tables of a history on a server, in the schema `tachproof`, and the steps that lead to them.
#pragma once

#include <cstdint>
#include <vector>

#include "bench/history/history_place.h"
#include "bench/history/history_store.h"
#include "bench/history/postgres.h"

namespace tachproof {

// Step n leads from format n - 1 to format n; format 0 is a database without a history.
const std::vector<const char*>& postgres_steps();

// Locks that last as long as a transaction: one for each thing that is done by one at a time.
enum class PgLock { steps = 1, acceptances = 2 };
void take(const PgConnection& connection, PgLock lock);

std::int64_t postgres_format(const PgConnection& connection);

// Leads the history to this program's format, unless it is only to be listed; each step is done once,
// however many programs come at once. Throws std::runtime_error where there is none and none is to be made,
// where it is of a newer program, and where this user may not change it.
void bring_up_to_date(const PgConnection& connection, const HistoryPlace& place, HistoryStore::Open how);

}  // namespace tachproof
