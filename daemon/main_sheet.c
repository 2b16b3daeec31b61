/* SPDX-License-Identifier: MIT */
/* See main_sheet.h. */
#include "daemon/main_sheet.h"

#include <string.h>

bool sheet_map_read(const json_t *object, struct sheet_map *map, struct fault *why)
{
	const char *heading;
	json_t *column;
	if (!object || json_is_null(object))
		return true;
	if (!json_is_object(object)) {
		fault_set(why, "map: an object of headings, each with the name of its column");
		return false;
	}
	json_object_foreach ((json_t *)object, heading, column) {
		if (!json_is_string(column)) {
			fault_set(why, "map: `%.60s` wants the name of a column", heading);
			return false;
		}
		if (!sheet_map_add(map, heading, json_string_value(column), why))
			return false;
	}
	return true;
}

void sheet_columns_write(struct text *out, const struct sheet_taken *taken)
{
	text_puts(out, ",\"columns\":[");
	for (int i = 0; i < taken->columns; i++) {
		if (taken->use[i] == SHEET_UNNAMED)
			continue;
		text_puts(out, out->bytes[out->len - 1] == '[' ? "{\"heading\":" : ",{\"heading\":");
		text_string(out, taken->heading[i], strlen(taken->heading[i]));
		text_member_string(out, "as", sheet_use_name(taken->use[i]));
		text_puts(out, "}");
	}
	text_puts(out, "]");
}

/* ---- what would become of lines ---- */

#define FAULTS_MAX 1000
/* Of the answer's room; what does not fit is said to be missing. */
#define FAULT_SIZE 1024

struct telling {
	struct text *out;
	int faults;
	bool more;
};

static void tell(void *arg, const struct fault *why)
{
	struct telling *t = arg;
	if (t->faults == FAULTS_MAX || t->out->size - t->out->len < FAULT_SIZE) {
		t->more = true;
		return;
	}
	text_printf(t->out, "%s{\"line\":%d,\"column\":%d", t->faults ? "," : "", why->line,
	            why->column);
	text_member_string(t->out, "message", why->text);
	text_puts(t->out, "}");
	t->faults++;
}

void sheet_try_write(struct bench *b, int64_t t, const char *lines, struct text *out)
{
	struct telling telling = {.out = out};
	text_puts(out, "{\"faults\":[");
	int positions = bench_sheet_try(b, t, lines, strlen(lines), tell, &telling);
	text_puts(out, "]");
	text_member_int(out, "positions", positions);
	text_member(out, "more");
	text_puts(out, telling.more ? "true}" : "false}");
}
