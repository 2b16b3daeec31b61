/* SPDX-License-Identifier: MIT */
/*
 * Configuration and dialect files: see ini.h.
 *
 * A library was not used: those at hand cut long lines in silence, join indented
 * lines, or do not tell the column.
 */
#include "protocol/file/ini.h"

#include "protocol/file/utf8.h"
#include "protocol/trade/ascii.h"

#include <stdlib.h>
#include <string.h>

/* A name that was given: a section of the file, or a key of the open section. */
struct given {
	char *name;
	int line;
};

struct given_list {
	struct given *item;
	size_t count, size;
};

struct ini {
	const char *file;
	const char *line; /* the line at work, without its end and its comment */
	size_t len;
	int number;
	struct given_list sections, keys;
	struct fault *why;
	/* Where every fault is told (ini_faults), and not the first alone; else NULL. */
	void (*tell)(void *arg, const struct fault *why);
	void *tell_arg;
	int told;
	bool passing; /* what stands in a section that was refused */
	char key[INI_LINE_MAX + 1], value[INI_LINE_MAX + 1];
};

static bool given_add(struct given_list *list, const char *name, int line)
{
	if (list->count == list->size) {
		size_t size = list->size ? 2 * list->size : 32;
		struct given *more = realloc(list->item, size * sizeof *more);
		if (!more)
			return false;
		list->item = more;
		list->size = size;
	}
	char *copy = strdup(name);
	if (!copy)
		return false;
	list->item[list->count++] = (struct given){copy, line};
	return true;
}

static void given_clear(struct given_list *list)
{
	for (size_t i = 0; i < list->count; i++)
		free(list->item[i].name);
	list->count = 0;
}

/* The line in which `name` was given before; 0 where it was not. */
static int given_line(const struct given_list *list, const char *name)
{
	for (size_t i = 0; i < list->count; i++)
		if (strcmp(list->item[i].name, name) == 0)
			return list->item[i].line;
	return 0;
}

static int column_of(size_t at)
{
	return (int)at + 1;
}

/* Copy line[from, to) with its outer spaces dropped and inner ones folded to one. */
static void fold(const struct ini *ini, size_t from, size_t to, char out[INI_LINE_MAX + 1])
{
	size_t n = 0;
	for (size_t i = from; i < to; i++) {
		if (!ascii_blank(ini->line[i]))
			out[n++] = ini->line[i];
		else if (n && out[n - 1] != ' ')
			out[n++] = ' ';
	}
	if (n && out[n - 1] == ' ')
		n--;
	out[n] = '\0';
}

static size_t skip_blank(const struct ini *ini, size_t at)
{
	while (at < ini->len && ascii_blank(ini->line[at]))
		at++;
	return at;
}

/* Where the comment after a blank begins, looking from `at` to the end: a ; that
 * stands outside quotes.  A backslash hides a quote only in a quoted value. */
static size_t comment_start(const struct ini *ini, size_t at, bool escapes, bool *open)
{
	bool inside = false;
	for (size_t i = at; i < ini->len; i++) {
		char c = ini->line[i];
		if (inside && escapes && c == '\\')
			i++;
		else if (c == '"')
			inside = !inside;
		else if (c == ';' && !inside && i > 0 && ascii_blank(ini->line[i - 1]))
			return *open = false, i;
	}
	*open = inside;
	return ini->len;
}

/* ---- the three sorts of line ---- */

static bool ini_section(struct ini *ini, size_t at, struct ini_item *item)
{
	bool open;
	ini->len = comment_start(ini, at, false, &open);
	size_t from = skip_blank(ini, at + 1), to = from;
	while (to < ini->len && ini->line[to] != ']' && ini->line[to] != '[')
		to++;
	if (to == ini->len || ini->line[to] == '[') {
		fault_at(ini->why, ini->file, ini->number, column_of(to),
		         "the section name does not end: expected ]");
		return false;
	}
	size_t after = skip_blank(ini, to + 1);
	if (after < ini->len) {
		fault_at(ini->why, ini->file, ini->number, column_of(after),
		         "something stands after the ] of a section: expected the end of the line or "
		         "a comment");
		return false;
	}
	fold(ini, from, to, ini->key);
	if (!ini->key[0]) {
		fault_at(ini->why, ini->file, ini->number, column_of(to),
		         "a section without a name: expected [name]");
		return false;
	}
	int before = given_line(&ini->sections, ini->key);
	if (before) {
		fault_at(ini->why, ini->file, ini->number, column_of(from),
		         "section [%.100s] was given already in line %d", ini->key, before);
		return false;
	}
	given_clear(&ini->keys);
	if (!given_add(&ini->sections, ini->key, ini->number)) {
		fault_at(ini->why, ini->file, ini->number, 0, "out of memory");
		return false;
	}
	*item = (struct ini_item){.section = ini->sections.item[ini->sections.count - 1].name,
	                          .value = "",
	                          .line = ini->number,
	                          .key_column = column_of(from),
	                          .value_column = column_of(from)};
	return true;
}

/* A value that opens with a quote at `at`. */
static bool quoted_value(struct ini *ini, size_t at, struct ini_item *item)
{
	size_t i = at + 1, n = 0;
	for (; i < ini->len && ini->line[i] != '"'; i++) {
		if (ini->line[i] == '\\') {
			if (i + 1 == ini->len || (ini->line[i + 1] != '"' && ini->line[i + 1] != '\\')) {
				fault_at(ini->why, ini->file, ini->number, column_of(i),
				         "a backslash in quotes: expected \\\" or \\\\");
				return false;
			}
			i++;
		}
		ini->value[n++] = ini->line[i];
	}
	ini->value[n] = '\0';
	if (i == ini->len) {
		fault_at(ini->why, ini->file, ini->number, column_of(at), "this quote is not closed");
		return false;
	}
	size_t after = skip_blank(ini, i + 1);
	if (after < ini->len && (ini->line[after] != ';' || after == i + 1)) {
		fault_at(ini->why, ini->file, ini->number, column_of(after),
		         "something stands after the closing quote: expected the end of the line or a "
		         "space and a comment");
		return false;
	}
	item->value_column = column_of(at + 1);
	return true;
}

static bool plain_value(struct ini *ini, size_t at, size_t equals, struct ini_item *item)
{
	bool open;
	size_t end = comment_start(ini, at, false, &open);
	if (open) {
		size_t quote = end;
		while (ini->line[quote - 1] != '"')
			quote--;
		fault_at(ini->why, ini->file, ini->number, column_of(quote - 1),
		         "a quote without its partner: put the whole value in quotes and write \\\"");
		return false;
	}
	while (end > at && ascii_blank(ini->line[end - 1]))
		end--;
	memcpy(ini->value, ini->line + at, end - at);
	ini->value[end - at] = '\0';
	item->value_column = end > at ? column_of(at) : column_of(equals + 1);
	return true;
}

static bool ini_key(struct ini *ini, size_t at, struct ini_item *item)
{
	bool open;
	size_t end = comment_start(ini, at, false, &open), equals = at;
	while (equals < end && ini->line[equals] != '=')
		equals++;
	if (equals == end) {
		fault_at(ini->why, ini->file, ini->number, column_of(at),
		         "expected `key = value`, [section] or a comment");
		return false;
	}
	fold(ini, at, equals, ini->key);
	if (!ini->key[0]) {
		fault_at(ini->why, ini->file, ini->number, column_of(at),
		         "nothing stands before the =: expected `key = value`");
		return false;
	}
	if (!ini->sections.count) {
		fault_at(ini->why, ini->file, ini->number, column_of(at),
		         "`%.100s` stands before any section: expected [section] first", ini->key);
		return false;
	}
	int before = given_line(&ini->keys, ini->key);
	if (before) {
		fault_at(ini->why, ini->file, ini->number, column_of(at),
		         "`%.100s` was given already in line %d", ini->key, before);
		return false;
	}
	if (!given_add(&ini->keys, ini->key, ini->number)) {
		fault_at(ini->why, ini->file, ini->number, 0, "out of memory");
		return false;
	}
	*item = (struct ini_item){
	    .section = ini->sections.item[ini->sections.count - 1].name,
	    .key = ini->key,
	    .value = ini->value,
	    .line = ini->number,
	    .key_column = column_of(at),
	};
	size_t value = skip_blank(ini, equals + 1);
	return value < ini->len && ini->line[value] == '"' ? quoted_value(ini, value, item)
	                                                   : plain_value(ini, value, equals, item);
}

/* ---- lines ---- */

/* Only characters that a person can see, and tabs. */
static bool line_clean(struct ini *ini)
{
	if (ini->len > INI_LINE_MAX) {
		fault_at(ini->why, ini->file, ini->number, INI_LINE_MAX + 1,
		         "the line is longer than %d bytes", INI_LINE_MAX);
		return false;
	}
	for (size_t i = 0; i < ini->len;) {
		unsigned char c = (unsigned char)ini->line[i];
		size_t n = utf8_length(ini->line + i, ini->len - i);
		if (!n || (c < 0x20 && c != '\t') || c == 0x7f) {
			fault_at(ini->why, ini->file, ini->number, column_of(i),
			         n ? "a control character (byte %02X): expected text"
			           : "byte %02X is not UTF-8: save the file as UTF-8",
			         c);
			return false;
		}
		i += n;
	}
	return true;
}

/* `said` tells whether the line holds an item. */
static bool ini_line(struct ini *ini, struct ini_item *item, bool *said)
{
	*said = false;
	if (!line_clean(ini))
		return false;
	size_t at = skip_blank(ini, 0);
	if (at == ini->len || ini->line[at] == '#' || ini->line[at] == ';')
		return true;
	*said = true;
	return ini->line[at] == '[' ? ini_section(ini, at, item) : ini_key(ini, at, item);
}

static void add_place(const struct ini *ini, const struct ini_item *item)
{
	struct fault *why = ini->why;
	if (!why->line) {
		why->line = item->line;
		why->column = item->value_column + (why->column ? why->column - 1 : 0);
	}
	if (!why->file[0])
		fault_at(why, ini->file, why->line, why->column, "%s", why->text);
}

/* A fault where every one is told: what stands in a section that was refused is not read, for
 * it would be taken for what it is not.  False where the reading ends at it. */
static bool excuse(struct ini *ini)
{
	if (!ini->tell)
		return false;
	ini->tell(ini->tell_arg, ini->why);
	size_t at = skip_blank(ini, 0);
	ini->passing |= at < ini->len && ini->line[at] == '[';
	return ++ini->told < INI_FAULTS_MAX;
}

/* Is this line left out, for its section was refused? */
static bool passed_over(struct ini *ini)
{
	size_t at = skip_blank(ini, 0);
	ini->passing &= at == ini->len || ini->line[at] != '[';
	return ini->passing;
}

static bool ini_lines(struct ini *ini, const char *text, size_t len,
                      bool (*each)(void *arg, const struct ini_item *item, struct fault *why),
                      void *arg)
{
	const char *end = text + len;
	if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		text += 3;
	for (; text < end; ini->number++) {
		const char *lf = memchr(text, '\n', (size_t)(end - text));
		const char *stop = lf ? lf : end;
		ini->line = text;
		ini->len = (size_t)(stop - text);
		if (ini->len && stop[-1] == '\r')
			ini->len--;
		struct ini_item item;
		bool said = false, good = passed_over(ini) || ini_line(ini, &item, &said);
		/* A sentence left from an earlier call is not this one's. */
		struct fault said_why = {0};
		if (good && said && !each(arg, &item, &said_why)) {
			*ini->why = said_why;
			add_place(ini, &item);
			good = false;
		}
		if (!good && !excuse(ini))
			return false;
		text = lf ? lf + 1 : end;
	}
	return true;
}

static bool ini_run(struct ini *ini, const char *text, size_t len,
                    bool (*each)(void *arg, const struct ini_item *item, struct fault *why),
                    void *arg)
{
	bool good = ini_lines(ini, text, len, each, arg);
	given_clear(&ini->sections);
	given_clear(&ini->keys);
	free(ini->sections.item);
	free(ini->keys.item);
	return good;
}

bool ini_parse(const char *name, const char *text, size_t len,
               bool (*each)(void *arg, const struct ini_item *item, struct fault *why), void *arg,
               struct fault *why)
{
	struct ini ini = {.file = name, .number = 1, .why = why};
	return ini_run(&ini, text, len, each, arg);
}

int ini_faults(const char *name, const char *text, size_t len,
               bool (*each)(void *arg, const struct ini_item *item, struct fault *why), void *arg,
               void (*tell)(void *arg, const struct fault *why), void *tell_arg)
{
	struct fault why = {.text = ""};
	struct ini ini = {.file = name, .number = 1, .why = &why, .tell = tell, .tell_arg = tell_arg};
	ini_run(&ini, text, len, each, arg);
	return ini.told;
}
