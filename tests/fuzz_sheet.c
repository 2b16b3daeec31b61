/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: a sheet or a parts list, and behind the line `----` fields that are
 * set by hand, `key=value` each on a line.  A first line `map HEADING=COLUMN,...` is a map.
 *
 * What must hold: a refused sheet has a sentence and a place, and not one row came
 * of it, and it is among all its faults; each row of a good one comes back from its JSON as it was, also after a
 * field was set; a field that is refused leaves the row as it was.
 */
#include "protocol/record/sheet_map.h"
#include "tests/fuzz.h"

static char json[65536], again[65536];

struct fields {
	const char *text;
	size_t len;
	int rows;
};

static size_t write_row(char *out, size_t size, const struct sheet_row *row)
{
	struct text t;
	text_begin(&t, out, size);
	sheet_row_write(&t, row);
	must(!t.failed && json_valid(out, t.len, NULL));
	return t.len;
}

static void there_and_back(const struct sheet_row *row)
{
	static struct sheet_row back;
	struct fault why;
	size_t len = write_row(json, sizeof json, row);
	must(name_valid(row->position.name, strlen(row->position.name)));
	must(row->extras >= 0 && row->extras <= SHEET_EXTRA_MAX);
	must(sheet_row_read((struct slice){json, len}, &back, &why));
	write_row(again, sizeof again, &back);
	must(strcmp(json, again) == 0);
}

static void set_one(struct sheet_row *row, const char *line, size_t len)
{
	static struct sheet_row before;
	char key[64], value[512];
	struct fault why;
	const char *sign = memchr(line, '=', len);
	if (!sign || (size_t)(sign - line) >= sizeof key || len >= sizeof value)
		return;
	snprintf(key, sizeof key, "%.*s", (int)(sign - line), line);
	snprintf(value, sizeof value, "%.*s", (int)(len - (size_t)(sign - line) - 1), sign + 1);
	memset(&why, 0, sizeof why);
	before = *row;
	if (sheet_set(row, key, value, &why)) {
		there_and_back(row);
		return;
	}
	must(why.text[0] && why.column >= 0 && (size_t)why.column <= strlen(value) + 1);
	must(memcmp(&before, row, sizeof before) == 0);
}

static bool each(void *arg, const struct sheet_row *row, struct fault *why)
{
	static struct sheet_row changed;
	struct fields *f = arg;
	(void)why;
	there_and_back(row);
	if (f->rows++ >= 4) /* setting is the same for all of them */
		return true;
	changed = *row;
	for (size_t at = 0, n; at < f->len; at += n + 1) {
		const char *end = memchr(f->text + at, '\n', f->len - at);
		n = end ? (size_t)(end - (f->text + at)) : f->len - at;
		set_one(&changed, f->text + at, n);
	}
	return true;
}

/* What all faults are held against. */
struct faults_seen {
	int count;
	bool any_same; /* as the one that refused the sheet */
	const struct fault *refused;
	const uint8_t *data;
	size_t size;
};

static void see_fault(void *arg, const struct fault *why)
{
	struct faults_seen *s = arg;
	must_be_placed(why, s->data, s->size);
	s->any_same |= s->refused && why->line == s->refused->line &&
	               why->column == s->refused->column;
	s->count++;
}

/* There are some where the sheet was refused, among them the one that refused it, and else
 * none. */
static void faults_agree(const uint8_t *data, size_t len, const struct sheet_map *map,
                         const struct fault *refused)
{
	struct faults_seen s = {.refused = refused, .data = data, .size = len};
	int n = sheet_faults("f", (const char *)data, len, map, see_fault, &s);
	must(n == s.count && n <= SHEET_FAULTS_MAX);
	must(refused ? n > 0 && (s.any_same || n == SHEET_FAULTS_MAX) : n == 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const char mark[] = "\n----\n";
	const uint8_t *cut = memmem(data, size, mark, sizeof mark - 1);
	size_t len = cut ? (size_t)(cut - data) + 1 : size;
	struct fields fields = {NULL, 0, 0};
	struct fault why;
	if (cut) {
		fields.text = (const char *)cut + sizeof mark - 1;
		fields.len = size - len - (sizeof mark - 2);
	}
	memset(&why, 0, sizeof why);
	static struct sheet_map map;
	static struct sheet_taken taken;
	char text[600];
	const uint8_t *end = memchr(data, '\n', len);
	memset(&map, 0, sizeof map);
	memset(&taken, 0, sizeof taken);
	if (len > 4 && memcmp(data, "map ", 4) == 0 && end && (size_t)(end - data) < sizeof text) {
		snprintf(text, sizeof text, "%.*s", (int)(end - data - 4), (const char *)data + 4);
		if (!sheet_map_parse(&map, text, &why)) {
			must(why.text[0] && why.column >= 1 && (size_t)why.column <= strlen(text) + 1);
			map.pairs = 0;
		}
		len -= (size_t)(end + 1 - data);
		data = end + 1;
	}
	memset(&why, 0, sizeof why);
	if (!sheet_parse_mapped("f", (const char *)data, len, &map, &taken, each, &fields, &why)) {
		must(fields.rows == 0);
		must_be_placed(&why, data, len);
		faults_agree(data, len, &map, &why);
		return 0;
	}
	faults_agree(data, len, &map, NULL);
	must(taken.columns >= 1 && taken.columns <= SHEET_MAP_MAX);
	for (int i = 0; i < taken.columns; i++)
		must(taken.use[i] >= 0 && taken.use[i] <= SHEET_UNNAMED);
	return 0;
}
