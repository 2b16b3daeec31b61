/* SPDX-License-Identifier: MIT */
/*
 * The sheet: loaded as a file, changed a position at a time, shown with what is
 * finished.  The daemon understands the file; this side only carries it there.
 */
#include "client/command_calls.h"

#include "client/nearly.h"

#include "client/typed.h"
#include "protocol/record/sheet_map.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

char *sheet_text_read(const char *name, size_t *len, struct fault *why)
{
	bool standard = strcmp(name, "-") == 0;
	FILE *f = standard ? stdin : fopen(name, "rb");
	char *text = f ? malloc(WIRE_LINE_MAX + 1) : NULL;
	if (!f || !text) {
		fault_at(why, name, 0, 0, "%s", f ? "out of memory" : strerror(errno));
		if (f && !standard)
			fclose(f);
		return NULL;
	}
	errno = 0;
	*len = fread(text, 1, WIRE_LINE_MAX + 1, f);
	bool failed = ferror(f) != 0, longer = *len > WIRE_LINE_MAX;
	int error = errno;
	if (!standard)
		fclose(f);
	if (failed)
		fault_at(why, name, 0, 0, "cannot be read: %s", strerror(error));
	else if (longer)
		fault_at(why, name, 0, 0, "is longer than %u bytes, which a sheet never is",
		         WIRE_LINE_MAX);
	if (!failed && !longer)
		return text;
	free(text);
	return NULL;
}

/* ---- loading ---- */

/* The column of a sheet of which the heading is a slip; NULL where it is like none. */
static const char *meant_column(const char *heading)
{
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (nearly_same(heading, sheet_column_name[i]))
			return sheet_column_name[i];
	return NULL;
}

/* "Ref is position, Qty was counted; kept: Footprint; left out: Price" */
static void say_columns(struct client *c, const struct sheet_taken *taken)
{
	static const struct {
		int use;
		const char *before;
	} rest[] = {{SHEET_KEPT, "kept under their names: "}, {SHEET_LEFT, "left out: "}};
	struct lines out = {0};
	char clean[WORDS_SIZE];
	const char *between = "";
	for (int i = 0; i < taken->columns; i++) {
		int use = taken->use[i];
		words_clean(taken->heading[i], strlen(taken->heading[i]), clean, sizeof clean);
		if (use > SHEET_COUNT || strcasecmp(clean, sheet_use_name(use)) == 0)
			continue;
		lines_printf(&out, use == SHEET_COUNT ? "%s%s was counted" : "%s%s is %s", between, clean,
		             sheet_use_name(use));
		between = ", ";
	}
	for (size_t k = 0; k < sizeof rest / sizeof *rest; k++) {
		bool any = false;
		for (int i = 0; i < taken->columns; i++) {
			if (taken->use[i] != rest[k].use)
				continue;
			words_clean(taken->heading[i], strlen(taken->heading[i]), clean, sizeof clean);
			lines_printf(&out, "%s%s%s", any ? ", " : between[0] ? "; " : "",
			             any ? "" : rest[k].before, clean);
			const char *meant = meant_column(clean);
			if (rest[k].use == SHEET_KEPT && meant)
				lines_printf(&out, " (if %s is meant, name it so and load it again)", meant);
			any = true;
			between = ", ";
		}
	}
	if (out.len)
		lines_puts(&out, "\n");
	client_lines(c, &out);
}

static bool describe(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)why;
	typed_row(arg, row);
	return true;
}

/* What would be loaded: nobody need be asked for that. */
static enum outcome load_dry(struct client *c, const char *name, const char *text, size_t len,
                             const struct sheet_map *map)
{
	struct lines out = {0};
	struct typed_rows rows = {.style = &c->style, .out = &out};
	struct sheet_taken taken = {.columns = 0};
	struct fault why;
	bool good = sheet_parse_mapped(name, text, len, map, &taken, describe, &rows, &why);
	int faults = good ? 0 : sheet_faults_say(c, name, text, len, map, NULL);
	typed_rows_end(&rows);
	if (good && client_has(c, OPTION_JSON)) {
		json_t *said = json_pack("{s:i}", "positions", rows.rows);
		char *dump = json_dumps(said, JSON_COMPACT);
		client_json(c, (struct slice){dump ? dump : "{}", dump ? strlen(dump) : 2});
		free(dump);
		json_decref(said);
	} else if (good) {
		say_columns(c, &taken);
		lines_printf(&out, "%d position%s would be loaded; nothing was done\n", rows.rows,
		             rows.rows == 1 ? "" : "s");
		client_lines(c, &out);
	}
	typed_rows_free(&rows);
	lines_free(&out);
	return good ? OUTCOME_DONE : faults ? OUTCOME_WRONG : client_fault(c, OUTCOME_WRONG, &why);
}

static json_t *map_params(const struct sheet_map *map)
{
	json_t *object = json_object();
	for (int i = 0; i < map->pairs; i++)
		json_object_set_new(object, map->heading[i], json_string(sheet_use_name(map->use[i])));
	if (map->rest_left)
		json_object_set_new(object, "*", json_string("-"));
	return object;
}

static void say_loaded(struct client *c, const char *name, struct slice result)
{
	int64_t seq = 0, positions = 0;
	struct sheet_taken taken = {.columns = 0};
	struct slice columns = json_member(result.at, result.len, "columns"), column;
	size_t cursor = 0;
	while (taken.columns < SHEET_MAP_MAX && json_next(columns, &cursor, &column)) {
		char as[SHEET_HEADING_SIZE];
		words_member(column, "heading", taken.heading[taken.columns], SHEET_HEADING_SIZE);
		words_member(column, "as", as, sizeof as);
		int use = SHEET_KEPT;
		for (int i = 0; i <= SHEET_LEFT; i++)
			if (strcmp(as, sheet_use_name(i)) == 0)
				use = i;
		taken.use[taken.columns++] = use;
	}
	say_columns(c, &taken);
	json_int(json_member(result.at, result.len, "seq"), &seq);
	json_int(json_member(result.at, result.len, "positions"), &positions);
	fprintf(c->out, "loaded %s: %lld position%s, record %lld\n", name, (long long)positions,
	        positions == 1 ? "" : "s", (long long)seq);
}

static enum outcome load(struct client *c, const char *name, const char *text, size_t len,
                         const struct sheet_map *map)
{
	struct message m;
	json_t *params = client_params("name", name, "job", client_option(c, OPTION_JOB), NULL);
	json_object_set_new(params, "text", json_stringn(text, len));
	if (map->pairs || map->rest_left)
		json_object_set_new(params, "map", map_params(map));
	enum outcome outcome = OUTCOME_UNREACHABLE;
	if (!client_open(c, NULL, &outcome)) {
		json_decref(params);
		return outcome;
	}
	outcome = link_call(c->link, "sheet.load", params, LINK_CALL_MS, &m);
	struct fault why = m.why;
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON))
		client_json(c, m.result);
	else if (outcome == OUTCOME_DONE)
		say_loaded(c, name, m.result);
	message_free(&m);
	if (outcome == OUTCOME_DONE)
		return outcome;
	/* The daemon names the first fault of a sheet: all of them are looked for here. */
	if (outcome != OUTCOME_WRONG || !why.line || !sheet_faults_say(c, name, text, len, map, &why))
		client_failed(c, outcome, &why);
	return outcome;
}

enum outcome call_sheet_load(struct client *c)
{
	struct fault why;
	struct sheet_map map = {.pairs = 0};
	size_t len;
	const char *word = client_word(c, 0), *asked = client_option(c, OPTION_MAP);
	const char *name = strcmp(word, "-") == 0 ? "(standard input)" : word;
	if (asked && !sheet_map_parse(&map, asked, &why))
		return client_wrong(c, "--map \"%s\", character %d: %s", asked, why.column, why.text);
	char *text = sheet_text_read(word, &len, &why);
	if (!text)
		return client_fault(c, OUTCOME_WRONG, &why);
	enum outcome outcome;
	if (!sheet_bytes_check(name, text, len, &why))
		outcome = client_fault(c, OUTCOME_WRONG, &why);
	else if (client_has(c, OPTION_DRY))
		outcome = load_dry(c, name, text, len, &map);
	else
		outcome = load(c, name, text, len, &map);
	free(text);
	return outcome;
}

json_t *sheet_fields_read(struct client *c, int first)
{
	json_t *fields = json_object();
	for (int i = first; i < c->args.count; i++) {
		const char *word = client_word(c, i), *equals = strchr(word, '=');
		if (!equals || equals == word) {
			json_decref(fields);
			client_wrong(c, "\"%s\" is no key=value, such as nominal=470k", word);
			return NULL;
		}
		json_t *value = json_string(equals + 1);
		char *key = strndup(word, (size_t)(equals - word));
		bool twice = key && json_object_get(fields, key);
		/* json_object_set_new takes the value over, whatever becomes of it. */
		bool good = key && value && !twice && json_object_set_new(fields, key, value) == 0;
		if (twice)
			json_decref(value);
		free(key);
		if (!good) {
			json_decref(fields);
			client_wrong(c, twice ? "\"%s\": the key is given twice" : "\"%s\" is not UTF-8", word);
			return NULL;
		}
	}
	return fields;
}

enum outcome call_sheet_set(struct client *c)
{
	char done[80];
	json_t *fields = sheet_fields_read(c, 1);
	if (!fields)
		return OUTCOME_WRONG;
	json_t *params = client_params("position", client_word(c, 0), NULL);
	json_object_set_new(params, "fields", fields);
	snprintf(done, sizeof done, "set %s", client_word(c, 0));
	enum outcome outcome = client_change(c, "sheet.set", params, done);
	for (int i = 1; outcome == OUTCOME_DONE && i < c->args.count; i++)
		sheet_twin_say(c, client_word(c, 0), client_word(c, i));
	return outcome;
}

static void each_row(struct client *c, struct slice row, struct slice result, void *arg)
{
	struct view_list *v = arg;
	if (!row.at)
		words_member(result, "job", v->job, sizeof v->job);
	else if (client_has(c, OPTION_JSON))
		client_json(c, row);
	else
		view_sheet_add(v, &c->style, row);
}

static enum outcome show_missing(struct client *c)
{
	return client_show(c, "sheet.missing",
	                   client_params("job", client_option(c, OPTION_JOB), NULL), view_sheet_missing);
}

enum outcome call_sheet_show(struct client *c)
{
	if (client_has(c, OPTION_MISSING))
		return show_missing(c);
	struct view_list v;
	struct lines out = {0};
	json_t *params = client_params("job", client_option(c, OPTION_JOB), NULL);
	view_sheet_begin(&v);
	enum outcome outcome = client_pages(c, "sheet.show", params, "rows", each_row, &v);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON)) {
		view_sheet_print(&v, &c->style, &out);
		client_lines(c, &out);
	}
	view_list_end(&v);
	return outcome;
}
