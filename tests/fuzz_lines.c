/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: lines of a sheet as they are typed or pasted.
 *
 * What must hold: a refused line has a sentence and a byte of it; every row of a good one
 * has a name that is one, comes back from its JSON as it was, and has a mirror image whose
 * mirror image it is; the names of a line are printed and read back the same; plain text
 * is plain, and each of its bytes has a place in what was typed.
 */
#include "protocol/record/sheet_entry.h"
#include "protocol/record/sheet_map.h"
#include "protocol/record/sheet_plain.h"
#include "tests/fuzz.h"

#define NAMES_MOST 1024

static char json[65536], again[65536];

struct got {
	int n;
	size_t len; /* of the line */
	char name[NAMES_MOST][NAME_SIZE];
};
static struct got got, back;

static bool all_mirrored(void *arg, const char *name)
{
	(void)arg;
	(void)name;
	return true;
}

static void mirrored(const struct sheet_row *row)
{
	static struct sheet_row there, home;
	struct fault why = {.text = ""};
	char shifted[NAME_SIZE];
	if (!sheet_mirror_row(row, 100, all_mirrored, NULL, &there, &why)) {
		must(why.text[0]);
		return;
	}
	must(strcmp(there.position.twin, row->position.name) == 0);
	must(there.position.kind == row->position.kind || row->written[SHEET_KIND][0] == '\0');
	must(name_shift(row->position.name, 100, shifted));
	must(strcmp(there.position.name, shifted) == 0);
	must(sheet_mirror_row(&there, -100, all_mirrored, NULL, &home, &why));
	must(strcmp(home.position.twin, there.position.name) == 0);
	must(strcmp(home.written[SHEET_NOMINAL], row->written[SHEET_NOMINAL]) == 0);
}

static bool each(void *arg, const struct sheet_row *row, size_t at, struct fault *why)
{
	static struct sheet_row same;
	struct got *g = arg;
	struct text t;
	must(name_valid(row->position.name, strlen(row->position.name)));
	must(at < g->len);
	if (g->n < NAMES_MOST)
		memcpy(g->name[g->n], row->position.name, NAME_SIZE);
	if (g->n++ > 4)
		return true; /* the others are the same but for their names */
	text_begin(&t, json, sizeof json);
	sheet_row_write(&t, row);
	must(!t.failed && json_valid(json, t.len, NULL));
	must(sheet_row_read((struct slice){json, t.len}, &same, why));
	text_begin(&t, again, sizeof again);
	sheet_row_write(&t, &same);
	must(strcmp(json, again) == 0);
	mirrored(row);
	return true;
}

static bool keep(void *arg, const char *name, struct fault *why)
{
	struct got *g = arg;
	(void)why;
	if (g->n < NAMES_MOST)
		memcpy(g->name[g->n], name, NAME_SIZE);
	g->n++;
	return true;
}

static void one_line(const char *line, size_t len)
{
	static char printed[NAMES_MOST * NAME_SIZE];
	struct fault why = {.text = ""};
	got.n = back.n = 0;
	got.len = len;
	if (!sheet_entry_read(line, len, each, &got, &why)) {
		must(why.text[0] && why.column >= 1 && (size_t)why.column <= len + 1);
		return;
	}
	if (got.n == 0 || got.n > NAMES_MOST)
		return;
	size_t n = names_print((const char (*)[NAME_SIZE])got.name, (size_t)got.n, printed,
	                       sizeof printed);
	if (n == 0 || n > NAMES_TEXT_MAX)
		return;
	must(names_expand(printed, n, keep, &back, &why));
	must(back.n == got.n);
	for (int i = 0; i < got.n; i++)
		must(strcmp(back.name[i], got.name[i]) == 0);
}

static void plain(const char *text, size_t len)
{
	static char out[4096], twice[4096];
	size_t n = plain_text(text, len, out, sizeof out), last = 0;
	if (n == sizeof out)
		return;
	for (size_t i = 0; i <= n; i++) {
		size_t from = plain_origin(text, len, i);
		must(from >= last && from <= len);
		last = from;
	}
	must(plain_text(out, n, twice, sizeof twice) <= n);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *text = (const char *)data;
	for (size_t at = 0; at < size;) {
		const char *end = memchr(text + at, '\n', size - at);
		size_t n = end ? (size_t)(end - text) - at : size - at;
		one_line(text + at, n);
		plain(text + at, n);
		sheet_is_header(text + at, n);
		at += n + 1;
	}
	return 0;
}
