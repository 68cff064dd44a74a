#include "bench/history/postgres_schema.h"

#include <fmt/format.h>

#include <stdexcept>

namespace tachproof {
namespace {

constexpr int locks_of_tachproof = 0x54504831;  // "TPH1": tells our advisory locks from others

// SQL that PostgreSQL 13 and 15 both know. What SQLite's file has, except that a row never changes: where a
// run was moved to is a row of its own.
constexpr const char* tables = R"sql(
CREATE SCHEMA IF NOT EXISTS tachproof;
CREATE TABLE tachproof.steps (
  format integer PRIMARY KEY,
  done timestamptz NOT NULL DEFAULT now(),
  done_by text NOT NULL DEFAULT session_user
);
CREATE TABLE tachproof.runs (
  id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  result_sha256 text NOT NULL UNIQUE CHECK (result_sha256 ~ '^[0-9a-f]{64}$'),
  report_id text NOT NULL,
  folder text NOT NULL,
  started text NOT NULL,
  started_s bigint NOT NULL,
  unit_serial text NOT NULL,
  gauge text NOT NULL,
  gauge_sha256 text NOT NULL,
  scenario text NOT NULL,
  scenario_sha256 text NOT NULL,
  source text NOT NULL,
  watch text NOT NULL,
  tested_by text NOT NULL,
  tool_version text NOT NULL,
  verdict text NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided')),
  complete boolean NOT NULL,
  duration_s double precision NOT NULL,
  tolerance_rpm double precision
);
CREATE INDEX runs_by_unit ON tachproof.runs (unit_serial, started_s);
CREATE INDEX runs_by_gauge ON tachproof.runs (gauge, started_s);
CREATE INDEX runs_by_scenario ON tachproof.runs (scenario, started_s);
CREATE INDEX runs_by_date ON tachproof.runs (started_s);
CREATE TABLE tachproof.boundaries (
  run bigint NOT NULL REFERENCES tachproof.runs (id),
  place integer NOT NULL,
  boundary text NOT NULL,
  direction text NOT NULL CHECK (direction IN ('rising', 'falling')),
  nominal_rpm double precision,
  threshold_rpm double precision,
  expanded_uncertainty_rpm double precision,
  response_ms double precision,
  verdict text NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided')),
  PRIMARY KEY (run, place)
);
CREATE TABLE tachproof.causes (
  run bigint NOT NULL REFERENCES tachproof.runs (id),
  place integer NOT NULL,
  text text NOT NULL,
  explains bigint NOT NULL,
  findings bigint NOT NULL,
  PRIMARY KEY (run, place)
);
CREATE TABLE tachproof.accepted (
  id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  run bigint NOT NULL REFERENCES tachproof.runs (id),
  at text NOT NULL,
  who text NOT NULL,
  why text NOT NULL
);
CREATE INDEX accepted_by_run ON tachproof.accepted (run);
CREATE TABLE tachproof.moved (
  id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  run bigint NOT NULL REFERENCES tachproof.runs (id),
  folder text NOT NULL
);
CREATE INDEX moved_by_run ON tachproof.moved (run, id);

-- A run comes with all its rows, and gets none later.
CREATE FUNCTION tachproof.comes_with_its_run() RETURNS trigger LANGUAGE plpgsql AS $body$
BEGIN
  PERFORM 1 FROM tachproof.runs r WHERE r.id = NEW.run AND r.xmin = pg_catalog.pg_current_xact_id()::xid;
  IF NOT FOUND THEN
    RAISE EXCEPTION 'run % is in already, and gets no more rows', NEW.run;
  END IF;
  RETURN NEW;
END $body$;
CREATE TRIGGER with_its_run BEFORE INSERT ON tachproof.boundaries
  FOR EACH ROW EXECUTE FUNCTION tachproof.comes_with_its_run();
CREATE TRIGGER with_its_run BEFORE INSERT ON tachproof.causes
  FOR EACH ROW EXECUTE FUNCTION tachproof.comes_with_its_run();
)sql";

// The whole record, and what the server itself knows: who wrote, and when. Of older rows nobody knows.
constexpr const char* records = R"sql(
ALTER TABLE tachproof.runs ADD COLUMN result jsonb;
ALTER TABLE tachproof.runs ADD COLUMN added timestamptz;
ALTER TABLE tachproof.runs ADD COLUMN added_by text;
ALTER TABLE tachproof.runs ALTER COLUMN added SET DEFAULT now();
ALTER TABLE tachproof.runs ALTER COLUMN added_by SET DEFAULT session_user;
ALTER TABLE tachproof.accepted ADD COLUMN given timestamptz;
ALTER TABLE tachproof.accepted ADD COLUMN given_by text;
ALTER TABLE tachproof.accepted ALTER COLUMN given SET DEFAULT now();
ALTER TABLE tachproof.accepted ALTER COLUMN given_by SET DEFAULT session_user;
)sql";

std::int64_t newest_format() { return static_cast<std::int64_t>(postgres_steps().size()); }

}  // namespace

const std::vector<const char*>& postgres_steps() {
  static const std::vector<const char*> steps{tables, records};
  return steps;
}

void take(const PgConnection& connection, PgLock lock) {
  connection.number(
      fmt::format("SELECT pg_advisory_xact_lock({}, {})", locks_of_tachproof, static_cast<int>(lock)));
}

std::int64_t postgres_format(const PgConnection& connection) {
  // The catalogue itself is asked: what to_regclass() remembers may be from before another program's step.
  if (connection.number("SELECT count(*) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace "
                        "WHERE n.nspname = 'tachproof' AND c.relname = 'steps'") == 0)
    return 0;
  return connection.number("SELECT max(format) FROM tachproof.steps");
}

void bring_up_to_date(const PgConnection& connection, const HistoryPlace& place, HistoryStore::Open how) {
  const std::int64_t found = postgres_format(connection);
  if (found == newest_format()) return;
  if (found > newest_format())
    throw std::runtime_error(
        fmt::format("the history {} has format {}, and this program knows format {}: use a newer program",
                    place.shown(), found, newest_format()));
  if (found == 0 && how != HistoryStore::Open::make)
    throw std::runtime_error(fmt::format("there is no history at {} yet", place.shown()));
  if (how == HistoryStore::Open::list) return;  // every format has what a list shows
  try {
    PgTransaction transaction(connection);
    take(connection, PgLock::steps);
    // Another program may have done it while this one waited.
    for (std::int64_t format = postgres_format(connection) + 1; format <= newest_format(); ++format) {
      connection.run(postgres_steps()[static_cast<std::size_t>(format - 1)]);
      connection.run(fmt::format("INSERT INTO tachproof.steps (format) VALUES ({})", format));
    }
    transaction.commit();
  } catch (const HistoryAway&) {
    throw;
  } catch (const std::runtime_error& e) {
    throw std::runtime_error(
        fmt::format("{}; let the owner of the database run 'tachproof history --prepare', "
                    "which leads it from format {} to format {}",
                    e.what(), found, newest_format()));
  }
}

}  // namespace tachproof
