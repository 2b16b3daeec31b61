/* SPDX-License-Identifier: MIT */
/*
 * What stands in the file beside the records: triggers, indices, the unsealed
 * table of open runs, and views for people who open it with the sqlite3 shell.
 * The schema is part of the format (protocol/SEAL.md): the table of records may
 * never differ; the rest is derived and is put back where it is missing or of another
 * shape.  So derived things need no version: their shape is the version, and a log goes from
 * any program to any other.  DEVELOPERS.md, "A step of the schema", says what to do where
 * something here is changed.
 */
#include "daemon/log_inside.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

/* The name that a record's position has now.  Most logs know no rename: that is asked once
 * a query, not once a row. */
#define NAME_NOW(job, was, since)                                                              \
	"CASE WHEN EXISTS (SELECT 1 FROM record WHERE kind = 'rename')\n"                          \
	"    THEN coalesce((SELECT n.now FROM renamed AS n WHERE n.job = " job "\n"                \
	"      AND n.was = " was " AND n.seq > " since " ORDER BY n.seq LIMIT 1), " was ")\n"       \
	"    ELSE " was " END"

/* The views use nothing that fails on records without a member: json_extract
 * gives NULL there and json_each no row. */
static const struct schema_object {
	const char *type, *name, *sql;
} objects[] = {
	{ "table", "record",
	  "CREATE TABLE record (\n"
	  "  seq INTEGER PRIMARY KEY,\n"
	  "  text TEXT NOT NULL,\n"
	  "  hash BLOB NOT NULL,\n"
	  "  kind TEXT GENERATED ALWAYS AS (json_extract(text, '$.kind')) VIRTUAL,\n"
	  "  t TEXT GENERATED ALWAYS AS (json_extract(text, '$.t')) VIRTUAL,\n"
	  "  meter TEXT GENERATED ALWAYS AS (json_extract(text, '$.meter')) VIRTUAL,\n"
	  "  position TEXT GENERATED ALWAYS AS (json_extract(text, '$.position')) VIRTUAL\n"
	  ") STRICT" },
	{ "table", "open_run",
	  "CREATE TABLE open_run (\n"
	  "  meter TEXT PRIMARY KEY,\n"
	  "  t INTEGER NOT NULL, -- us since 1970\n"
	  "  body TEXT NOT NULL  -- the members of the trail record to be\n"
	  ") STRICT" },
	/* What was up when the daemon ended (bench_desk.c); without it a walk begins anew. */
	{ "table", "desk",
	  "CREATE TABLE desk (\n"
	  "  one INTEGER PRIMARY KEY CHECK (one = 1),\n"
	  "  body TEXT NOT NULL\n"
	  ") STRICT" },
	/* Derived, see log_run.c. */
	{ "table", "run",
	  "CREATE TABLE run (\n"
	  "  meter TEXT NOT NULL,\n"
	  "  function TEXT NOT NULL,\n"
	  "  seq INTEGER NOT NULL,   -- of the trail record\n"
	  "  t INTEGER NOT NULL,     -- us since 1970, its first reading\n"
	  "  until INTEGER NOT NULL, -- its last\n"
	  "  silence INTEGER,        -- us since the reading before it; null: there was none\n"
	  "  position TEXT,\n"
	  "  low REAL, high REAL, first REAL, last REAL, -- SI; null: no reading has a value\n"
	  "  n INTEGER NOT NULL,\n"
	  "  PRIMARY KEY (meter, function, seq)\n"
	  ") STRICT, WITHOUT ROWID" },
	{ "table", "rollup",
	  "CREATE TABLE rollup (\n"
	  "  meter TEXT NOT NULL,\n"
	  "  function TEXT NOT NULL,\n"
	  "  seq INTEGER NOT NULL,   -- of the last of its runs\n"
	  "  since INTEGER NOT NULL, -- of the first\n"
	  "  t INTEGER NOT NULL, until INTEGER NOT NULL,\n"
	  "  silence INTEGER,        -- before the first of them\n"
	  "  inner INTEGER NOT NULL, -- the longest silence between two of them\n"
	  "  low REAL, high REAL, first REAL, last REAL, n INTEGER NOT NULL,\n"
	  "  PRIMARY KEY (meter, function, seq)\n"
	  ") STRICT, WITHOUT ROWID" },
	{ "index", "record_by_meter", "CREATE INDEX record_by_meter ON record (kind, meter, t)" },
	{ "index", "record_by_position",
	  "CREATE INDEX record_by_position ON record (kind, position, t)" },
	{ "trigger", "record_no_update",
	  "CREATE TRIGGER record_no_update BEFORE UPDATE ON record BEGIN\n"
	  "  SELECT RAISE(ABORT, 'a sealed record cannot be changed');\n"
	  "END" },
	{ "trigger", "record_no_delete",
	  "CREATE TRIGGER record_no_delete BEFORE DELETE ON record BEGIN\n"
	  "  SELECT RAISE(ABORT, 'a sealed record cannot be deleted');\n"
	  "END" },
	{ "trigger", "record_in_order",
	  "CREATE TRIGGER record_in_order BEFORE INSERT ON record\n"
	  "WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM record) BEGIN\n"
	  "  SELECT RAISE(ABORT, 'a record can only be the next one');\n"
	  "END" },
	/* Every rename, with what the position is called today. */
	{ "view", "renamed",
	  "CREATE VIEW renamed AS WITH RECURSIVE one(job, seq, was, now) AS (\n"
	  "  SELECT json_extract(text, '$.job'), seq, json_extract(text, '$.from'), position\n"
	  "  FROM record WHERE kind = 'rename'),\n"
	  "chain(job, seq, was, now, at) AS (\n"
	  "  SELECT job, seq, was, now, seq FROM one UNION ALL\n"
	  "  SELECT c.job, c.seq, c.was, o.now, o.seq FROM chain AS c JOIN one AS o ON o.seq = (\n"
	  "    SELECT min(n.seq) FROM one AS n WHERE n.job = c.job AND n.was = c.now AND n.seq > c.at))\n"
	  "SELECT job, seq, was, now, max(at) AS last FROM chain GROUP BY seq" },
	/* As it counts today: moved and judged anew where a later record says so. */
	{ "view", "entry",
	  "CREATE VIEW entry AS WITH said AS (\n"
	  "  SELECT kind, json_extract(text, '$.of') AS of, max(seq) AS seq, position, text FROM record\n"
	  "  WHERE kind IN ('strike', 'move', 'rejudge') GROUP BY kind, json_extract(text, '$.of'))\n"
	  "SELECT e.seq, e.t, json_extract(e.text, '$.job') AS job,\n"
	  "  " NAME_NOW("json_extract(e.text, '$.job')", "coalesce(m.position, e.position)",
	             "coalesce(m.seq, e.seq)") " AS position,\n"
	  "  json_extract(e.text, '$.quantity') AS quantity,\n"
	  "  json_extract(e.text, '$.condition') AS condition,\n"
	  "  json_extract(e.text, '$.reach') AS reach, e.meter,\n"
	  "  json_extract(e.text, '$.function') AS function,\n"
	  "  json_extract(e.text, '$.value') AS value,\n"
	  "  json_extract(e.text, '$.u') AS u,\n"
	  "  json_extract(e.text, '$.state') AS state,\n"
	  "  json_extract(e.text, '$.shown') AS shown,\n"
	  "  json_extract(coalesce(j.text, e.text), '$.verdict') AS verdict,\n"
	  "  json_extract(coalesce(j.text, e.text), '$.side') AS side,\n"
	  "  json_extract(coalesce(j.text, e.text), '$.reason') AS reason,\n"
	  "  json_extract(coalesce(j.text, e.text), '$.deviation') AS deviation,\n"
	  "  json_extract(coalesce(j.text, e.text), '$.service.verdict') AS service,\n"
	  "  json_extract(coalesce(j.text, e.text), '$.against') AS against,\n"
	  "  json_extract(e.text, '$.source') AS source,\n"
	  "  json_extract(e.text, '$.settled') AS settled,\n"
	  "  json_extract(s.text, '$.because') AS struck\n"
	  "FROM record AS e\n"
	  "LEFT JOIN said AS m ON m.kind = 'move' AND m.of = e.seq\n"
	  "LEFT JOIN said AS j ON j.kind = 'rejudge' AND j.of = e.seq\n"
	  "LEFT JOIN said AS s ON s.kind = 'strike' AND s.of = e.seq\n"
	  "WHERE e.kind = 'entry'" },
	{ "view", "sheet",
	  "CREATE VIEW sheet AS WITH now AS (SELECT seq, text, json_extract(text, '$.job') AS job,\n"
	  "  " NAME_NOW("json_extract(r.text, '$.job')", "r.position", "r.seq") " AS position\n"
	  "  FROM record AS r WHERE kind = 'position')\n"
	  "SELECT max(seq) AS seq, job, position,\n"
	  "  json_extract(text, '$.sheet.kind') AS kind,\n"
	  "  json_extract(text, '$.sheet.nominal') AS nominal,\n"
	  "  json_extract(text, '$.sheet.written.tolerance') AS tolerance,\n"
	  "  json_extract(text, '$.sheet.service') AS service,\n"
	  "  json_extract(text, '$.sheet.role') AS role,\n"
	  "  json_extract(text, '$.sheet.twin') AS twin,\n"
	  "  json_extract(text, '$.sheet') AS sheet\n"
	  "FROM now GROUP BY job, position" },
	/* What is fitted now, where it is another part than the sheet says. */
	{ "view", "fit",
	  "CREATE VIEW fit AS WITH now AS (SELECT seq, text, json_extract(text, '$.job') AS job,\n"
	  "  " NAME_NOW("json_extract(r.text, '$.job')", "r.position", "r.seq") " AS position\n"
	  "  FROM record AS r WHERE kind = 'fit'),\n"
	  "last AS (SELECT max(seq) AS seq, job, position, text FROM now GROUP BY job, position)\n"
	  "SELECT seq, job, position, json_extract(text, '$.fit.kind') AS kind,\n"
	  "  json_extract(text, '$.fit.nominal') AS nominal,\n"
	  "  json_extract(text, '$.fit.limits') AS limits,\n"
	  "  json_extract(text, '$.fit.rated') AS rated,\n"
	  "  json_extract(text, '$.fit.part') AS part,\n"
	  "  json_extract(text, '$.replaces') AS replaces\n"
	  "FROM last WHERE json_type(text, '$.fit') = 'object'" },
	{ "view", "job",
	  "CREATE VIEW job AS SELECT r.seq, json_extract(r.text, '$.job') AS job,\n"
	  "  a.since, r.t AS last,\n"
	  "  json_extract(r.text, '$.open') AS open,\n"
	  "  json_extract(r.text, '$.unit') AS unit,\n"
	  "  json_extract(r.text, '$.condition') AS condition,\n"
	  "  json_extract(r.text, '$.reach') AS reach\n"
	  "FROM record AS r JOIN (SELECT max(seq) AS seq, min(t) AS since FROM record\n"
	  "  WHERE kind = 'job' GROUP BY json_extract(text, '$.job')) AS a ON a.seq = r.seq" },
	{ "view", "reading",
	  "CREATE VIEW reading AS SELECT r.seq, v.key AS i, r.t,\n"
	  "  json_extract(r.text, '$.at[' || v.key || ']') / 10000.0 AS seconds,\n"
	  "  r.meter, " NAME_NOW("json_extract(r.text, '$.job')", "r.position", "r.seq") " AS position,\n"
	  "  json_extract(r.text, '$.function') AS function,\n"
	  "  v.value * json_extract(r.text, '$.digit') AS value\n"
	  "FROM record AS r, json_each(r.text, '$.v') AS v WHERE r.kind = 'trail'" },
};
#define OBJECTS (sizeof objects / sizeof *objects)

static bool run(struct sqlite3 *db, const char *sql, struct fault *why)
{
	char *error = NULL;
	if (sqlite3_exec(db, sql, NULL, NULL, &error) == SQLITE_OK)
		return true;
	fault_set(why, "the tables of the log: %s", error ? error : sqlite3_errmsg(db));
	sqlite3_free(error);
	return false;
}

bool schema_create(struct sqlite3 *db, struct fault *why)
{
	for (size_t i = 0; i < OBJECTS; i++)
		if (!run(db, objects[i].sql, why))
			return false;
	char ids[96];
	snprintf(ids, sizeof ids, "PRAGMA application_id = %d; PRAGMA user_version = %d",
	         LOG_APPLICATION_ID, LOG_USER_VERSION);
	return run(db, ids, why);
}

enum presence {
	ABSENT,
	SAME,
	OTHER,
	UNKNOWN,
};

static enum presence object_presence(struct sqlite3 *db, const struct schema_object *o)
{
	sqlite3_stmt *st = NULL;
	enum presence p = UNKNOWN;
	if (sqlite3_prepare_v2(db, "SELECT sql, type FROM sqlite_schema WHERE name = ?", -1, &st,
	                       NULL) == SQLITE_OK) {
		sqlite3_bind_text(st, 1, o->name, -1, SQLITE_STATIC);
		int rc = sqlite3_step(st);
		if (rc == SQLITE_DONE) {
			p = ABSENT;
		} else if (rc == SQLITE_ROW) {
			const char *sql = (const char *)sqlite3_column_text(st, 0);
			const char *type = (const char *)sqlite3_column_text(st, 1);
			p = sql && type && strcmp(sql, o->sql) == 0 && strcmp(type, o->type) == 0 ? SAME
			                                                                          : OTHER;
		}
	}
	sqlite3_finalize(st);
	return p;
}

/* What may be dropped and made again: all but the records, and the readings that only
 * open_run has. */
static bool is_derived(const struct schema_object *o)
{
	return strcmp(o->name, "record") != 0 && strcmp(o->name, "open_run") != 0;
}

/* Everything again that is missing or of another shape, whichever program made it so. */
static bool make_again(struct sqlite3 *db, const enum presence *found, struct fault *why)
{
	char drop[96];
	for (size_t i = 0; i < OBJECTS; i++) {
		const struct schema_object *o = &objects[i];
		snprintf(drop, sizeof drop, "DROP %s %s", o->type, o->name);
		if ((found[i] == OTHER && !run(db, drop, why)) || (found[i] != SAME && !run(db, o->sql, why)))
			return false;
	}
	return true;
}

bool schema_check(struct sqlite3 *db, char *note, size_t size, struct fault *why)
{
	enum presence found[OBJECTS];
	bool all = true;
	note[0] = '\0';
	for (size_t i = 0; i < OBJECTS; i++) {
		const struct schema_object *o = &objects[i];
		found[i] = object_presence(db, o);
		if (found[i] == SAME)
			continue;
		if (found[i] == UNKNOWN || (found[i] == OTHER && !is_derived(o)) ||
		    (found[i] == ABSENT && i == 0)) {
			fault_set(why, found[i] == UNKNOWN ? "its tables cannot be read"
			                                   : "its table %s is not as the log made it", o->name);
			return false;
		}
		all = false;
		size_t len = strlen(note);
		snprintf(note + len, size - len, "%s%s %s", len ? ", " : "", o->type, o->name);
	}
	/* One transaction: a log has the shapes of one program or of another, never of two.  Where
	 * it fails, closing undoes it. */
	return all || (run(db, "BEGIN IMMEDIATE", why) && make_again(db, found, why) &&
	               run(db, "COMMIT", why));
}

/* Code beside ours cannot run on this connection; this is against our own slips. */
static int authorize(void *arg, int action, const char *a, const char *b, const char *db,
                     const char *trigger)
{
	(void)arg, (void)b, (void)db, (void)trigger;
	switch (action) {
	case SQLITE_SELECT:
	case SQLITE_READ:
	case SQLITE_FUNCTION:
	case SQLITE_TRANSACTION:
		return SQLITE_OK;
	case SQLITE_INSERT:
		return strcmp(a, "record") == 0 || strcmp(a, "open_run") == 0 || strcmp(a, "run") == 0 ||
		       strcmp(a, "rollup") == 0 || strcmp(a, "desk") == 0 ? SQLITE_OK : SQLITE_DENY;
	case SQLITE_DELETE:
		return strcmp(a, "open_run") == 0 ? SQLITE_OK : SQLITE_DENY;
	case SQLITE_PRAGMA:
		return strcmp(a, "user_version") == 0 || strcmp(a, "data_version") == 0 ? SQLITE_OK
		                                                                        : SQLITE_DENY;
	default:
		return SQLITE_DENY;
	}
}

void schema_seal_off(struct sqlite3 *db)
{
	sqlite3_set_authorizer(db, authorize, NULL);
}
