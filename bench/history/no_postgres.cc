// In place of the store on a server, where libpq was not found at build time.
#include <stdexcept>

#include "bench/history/history_store.h"

namespace tachproof {

std::unique_ptr<HistoryStore> open_postgres_store(const HistoryPlace& place, HistoryStore::Open) {
  throw std::runtime_error("the history " + place.shown() +
                           " cannot be used, because this build has no PostgreSQL: install libpq-dev and "
                           "build again");
}

}  // namespace tachproof
