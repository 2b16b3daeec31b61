/* SPDX-License-Identifier: MIT */
/* One value changed in the text of a settings file, all else kept: see settings.h. */
#include "client/settings.h"

#include "client/lines.h"
#include "protocol/file/ini.h"

#include <stdlib.h>
#include <string.h>

/* What is looked for, and the lines where it was found; 0 for none. */
struct search {
	const char *section, *key;
	int key_line, value_column;
	int value_length;  /* of a value without quotes */
	int section_line;  /* the section's own line */
	int last_line;     /* the last line of the section that says something */
};

static bool search_item(void *arg, const struct ini_item *item, struct fault *why)
{
	struct search *f = arg;
	(void)why;
	if (strcmp(item->section, f->section) != 0)
		return true;
	f->last_line = item->line;
	if (!item->key) {
		f->section_line = item->line;
	} else if (strcmp(item->key, f->key) == 0) {
		f->key_line = item->line;
		f->value_column = item->value_column;
		f->value_length = (int)strlen(item->value);
	}
	return true;
}

/* Where line n (1 the first) begins, and where the next does. */
static void line_find(const char *text, size_t len, int n, size_t *from, size_t *to)
{
	*from = *to = 0;
	for (int i = 0; i < n; i++) {
		const char *lf = *to < len ? memchr(text + *to, '\n', len - *to) : NULL;
		*from = *to;
		*to = lf ? (size_t)(lf - text) + 1 : len;
	}
}

/* The end of the value that begins at `at`: after the closing quote of a quoted one. */
static size_t value_end(const struct search *f, const char *text, size_t from, size_t to, size_t at,
                        size_t *start)
{
	*start = at;
	if (at == from || text[at - 1] != '"')
		return at + (size_t)f->value_length;
	*start = at - 1;
	while (at < to && text[at] != '"')
		at += text[at] == '\\' ? 2 : 1;
	return at + 1;
}

static bool quotes_wanted(const char *value)
{
	size_t n = strlen(value);
	return !n || strpbrk(value, "\";") != NULL || value[0] == ' ' || value[0] == '\t' ||
	       value[n - 1] == ' ' || value[n - 1] == '\t';
}

static void value_write(struct lines *out, const char *value)
{
	if (!quotes_wanted(value)) {
		lines_puts(out, value);
		return;
	}
	lines_puts(out, "\"");
	for (; *value; value++) {
		if (*value == '"' || *value == '\\')
			lines_puts(out, "\\");
		lines_add(out, value, 1);
	}
	lines_puts(out, "\"");
}

/* The line end that the file has: that of its first line. */
static const char *line_end(const char *text, size_t len)
{
	const char *lf = memchr(text, '\n', len);
	return lf && lf > text && lf[-1] == '\r' ? "\r\n" : "\n";
}

static void edit_key(struct lines *out, const struct search *f, const char *text, size_t len,
                     const char *value)
{
	size_t from, to, start;
	line_find(text, len, f->key_line, &from, &to);
	if (!value) {
		lines_add(out, text, from);
		lines_add(out, text + to, len - to);
		return;
	}
	size_t end = value_end(f, text, from, to, from + (size_t)f->value_column - 1, &start);
	lines_add(out, text, start);
	if (start > from && text[start - 1] == '=')
		lines_puts(out, " ");
	value_write(out, value);
	lines_add(out, text + end, len - end);
}

static void edit_add(struct lines *out, const struct search *f, const char *text, size_t len,
                     const char *value)
{
	size_t from, to = len;
	const char *end = line_end(text, len);
	if (f->section_line)
		line_find(text, len, f->last_line, &from, &to);
	lines_add(out, text, to);
	if (to && text[to - 1] != '\n')
		lines_puts(out, end);
	if (!f->section_line)
		lines_printf(out, "%s[%s]%s", to ? end : "", f->section, end);
	lines_printf(out, "%s = ", f->key);
	value_write(out, value);
	lines_puts(out, end);
	lines_add(out, text + to, len - to);
}

bool settings_edit(const char *name, const char *text, size_t len, const char *section,
                   const char *key, const char *value, char **out, size_t *out_len,
                   struct fault *why)
{
	struct search f = {.section = section, .key = key};
	struct lines changed = {0};
	if (!ini_parse(name, text, len, search_item, &f, why))
		return false;
	if (f.key_line)
		edit_key(&changed, &f, text, len, value);
	else if (value)
		edit_add(&changed, &f, text, len, value);
	else
		lines_add(&changed, text, len);
	if (changed.failed) {
		lines_free(&changed);
		fault_at(why, name, 0, 0, "out of memory");
		return false;
	}
	*out = changed.bytes;
	*out_len = changed.len;
	return true;
}
