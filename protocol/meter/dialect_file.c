/* SPDX-License-Identifier: MIT */
/*
 * See dialect_file.h.  Keys come in any order, so the file is first taken down as it
 * stands, then put together, and then every sample is held against the result.
 */
#include "protocol/meter/dialect_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "protocol/file/escape.h"
#include "protocol/file/ini.h"
#include "protocol/meter/number.h"
#include "protocol/meter/scpi.h"
#include "protocol/meter/stream.h"
#include "protocol/trade/position.h"

/* Where something stood. */
struct spot {
	int line, column;
};

struct sample {
	char name[16];
	char bytes[FRAME_MAX];
	size_t len;
	bool has_frame;
	char means[96];
	struct spot frame_at, means_at;
};

struct draft {
	struct dialect_file *d;
	const char *file;
	const struct dialect *reads;    /* the shipped one whose reader it is; NULL: own rules */
	bool own_columns, own_pattern, said_reads, said_asked, asked, said_frame;
	struct spot reads_at, match_at, columns_at;
	char match[PATTERN_TEXT_MAX + 1];
	size_t match_len;
	bool bits_left;
	bool has_columns, has_pattern;
	struct sample sample[DIALECT_SAMPLES_MAX];
	int samples;
};

static bool wrong(const struct draft *t, struct fault *why, struct spot at, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
static bool wrong(const struct draft *t, struct fault *why, struct spot at, const char *format, ...)
{
	char text[256];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	fault_at(why, t->file, at.line, at.column, "%s", text);
	return false;
}

static struct spot value_spot(const struct ini_item *i)
{
	return (struct spot){i->line, i->value_column};
}

static bool copy_text(char *out, size_t size, const struct draft *t, const struct ini_item *i,
                      struct fault *why)
{
	if (strlen(i->value) < size) {
		snprintf(out, size, "%s", i->value);
		return true;
	}
	return wrong(t, why, value_spot(i), "`%s`: at most %zu bytes", i->key, size - 1);
}

static bool one_of(const char *value, const char *const *words, int *out)
{
	for (int k = 0; words[k]; k++)
		if (strcmp(words[k], value) == 0) {
			*out = k;
			return true;
		}
	return false;
}

static bool whole(const char *text, int low, int high, int *out)
{
	char *end;
	long n = strtol(text, &end, 10);
	if (end == text || *end || n < low || n > high)
		return false;
	*out = (int)n;
	return true;
}

/* ---- [dialect] ---- */

static bool take_reads(struct draft *t, const struct ini_item *i, struct fault *why)
{
	t->said_reads = true;
	t->reads_at = value_spot(i);
	t->own_columns = strcmp(i->value, "columns") == 0;
	t->own_pattern = strcmp(i->value, "pattern") == 0;
	t->reads = dialect_find(i->value, strlen(i->value));
	if (t->reads || t->own_columns || t->own_pattern)
		return true;
	return wrong(t, why, value_spot(i), "`reads`: expected ascii-unit, ascii-number, ask-comma, "
	             "scpi, columns-14, columns or pattern");
}

static bool take_frame(struct draft *t, const struct ini_item *i, struct fault *why)
{
	int size;
	t->said_frame = true;
	if (strcmp(i->value, "line") == 0) {
		t->d->row.end = FRAME_LINE;
		return true;
	}
	if (strncmp(i->value, "fixed ", 6) == 0 && whole(i->value + 6, 2, FRAME_MAX, &size)) {
		t->d->row.end = FRAME_FIXED;
		t->d->row.size = (size_t)size;
		return true;
	}
	return wrong(t, why, value_spot(i), "`frame`: expected line, or fixed and 2 to %d", FRAME_MAX);
}

static bool take_line(struct draft *t, const struct ini_item *i, struct fault *why, bool *taken)
{
	static const char *const flows[] = {"none", "hardware", "software", NULL};
	static const char *const wires[] = {"leave", "on", "off", NULL};
	struct line_settings *l = &t->d->row.line;
	int n;
	*taken = true;
	if (strcmp(i->key, "serial") == 0) {
		if (line_settings_parse(i->value, strlen(i->value), l, why))
			return true;
		return wrong(t, why, (struct spot){i->line, i->value_column + why->column - 1},
		             "`serial`: settings such as 9600 8N1 were expected");
	}
	if (strcmp(i->key, "flow") == 0 && one_of(i->value, flows, &n))
		l->flow = (enum flow)n;
	else if (strcmp(i->key, "dtr") == 0 && one_of(i->value, wires, &n))
		l->dtr = (enum wire_state)n;
	else if (strcmp(i->key, "rts") == 0 && one_of(i->value, wires, &n))
		l->rts = (enum wire_state)n;
	else if (strcmp(i->key, "quiet") == 0 && whole(i->value, 0, 60000, &n))
		l->quiet_ms = n;
	else if (strcmp(i->key, "gap") == 0 && whole(i->value, 1, 10000, &n))
		t->d->row.gap_us = n * INT64_C(1000);
	else
		*taken = false;
	return true;
}

static bool take_asking(struct draft *t, const struct ini_item *i, struct fault *why, bool *taken)
{
	static const char *const ends[] = {"none", "lf", "cr", "crlf", NULL};
	static const char *const end_text[] = {"", "\n", "\r", "\r\n"};
	static const char *const yes_no[] = {"no", "yes", NULL};
	struct dialect_file *d = t->d;
	struct { const char *key; char *out; } texts[] = {
	    {"query", d->query}, {"identify", d->identify}, {"errors", d->errors}, {"clear", d->clear}};
	int n;
	*taken = true;
	for (size_t k = 0; k < sizeof texts / sizeof *texts; k++)
		if (strcmp(i->key, texts[k].key) == 0)
			return copy_text(texts[k].out, DIALECT_COMMAND_SIZE, t, i, why);
	if (strcmp(i->key, "line end") == 0 && one_of(i->value, ends, &n)) {
		snprintf(d->line_end, sizeof d->line_end, "%s", end_text[n]);
	} else if (strcmp(i->key, "asked") == 0 && one_of(i->value, yes_no, &n)) {
		t->said_asked = true;
		t->asked = n == 1;
	} else {
		*taken = false;
	}
	return true;
}

static bool take_dialect(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct dialect_file *d = t->d;
	bool taken;
	if (strcmp(i->key, "name") == 0) {
		if (!name_valid(i->value, strlen(i->value)))
			return wrong(t, why, value_spot(i), "`name`: letters, digits and . _ / - were "
			             "expected, at most 32");
		return copy_text(d->name, sizeof d->name, t, i, why);
	}
	if (strcmp(i->key, "summary") == 0)
		return copy_text(d->summary, sizeof d->summary, t, i, why);
	if (strcmp(i->key, "reads") == 0)
		return take_reads(t, i, why);
	if (strcmp(i->key, "frame") == 0)
		return take_frame(t, i, why);
	if (strcmp(i->key, "function") == 0 &&
	    function_from_name(i->value, strlen(i->value), &d->function))
		return true;
	if (!take_line(t, i, why, &taken) || (!taken && !take_asking(t, i, why, &taken)))
		return false;
	if (taken)
		return true;
	static const char *const keys[] = {"flow", "dtr", "rts", "quiet", "gap", "line end", "asked",
	                                   "function", NULL};
	int n;
	if (one_of(i->key, keys, &n))
		return wrong(t, why, value_spot(i), "`%s`: `%.40s` is not among what is expected here",
		             i->key, i->value);
	return wrong(t, why, (struct spot){i->line, i->key_column}, "unknown key `%s` of [dialect]",
	             i->key);
}

/* ---- [pattern] ---- */

static bool exponent_word(const char *word, size_t len, int *out)
{
	static const struct { const char *word; int exponent; } words[] = {
	    {"pico", -12}, {"nano", -9}, {"micro", -6}, {"milli", -3}, {"kilo", 3}, {"mega", 6},
	    {"giga", 9}};
	for (size_t k = 0; k < sizeof words / sizeof *words; k++)
		if (strlen(words[k].word) == len && memcmp(words[k].word, word, len) == 0) {
			*out = words[k].exponent;
			return true;
		}
	return false;
}

/* `unit R = ohm`, `unit mR = milli ohm`, `prefix x = kilo`, `function 2 = ohm`. */
static bool take_word(struct draft *t, const struct ini_item *i, const char *text,
                      struct pattern_word *words, int *count, bool prefix, bool function,
                      struct fault *why)
{
	struct pattern_word w = {.function = FUNCTION_NONE};
	const char *value = i->value;
	size_t n = strcspn(value, " ");
	if (*count == PATTERN_WORDS_MAX || !*text || strlen(text) >= sizeof w.text)
		return wrong(t, why, (struct spot){i->line, i->key_column}, "`%s`: at most %d of them, each "
		             "of 1 to %d bytes", i->key, PATTERN_WORDS_MAX, PATTERN_WORD_SIZE - 1);
	snprintf(w.text, sizeof w.text, "%s", text);
	if (prefix && exponent_word(value, n, &w.exponent)) {
		value += n;
		value += strspn(value, " ");
	}
	bool good = function ? function_from_name(value, strlen(value), &w.function)
	                     : *value == '\0' && w.exponent != 0;
	if (!good)
		return wrong(t, why, value_spot(i), "`%s`: expected %s", i->key,
		             function ? "a function such as ohm, farad, volt-dc"
		                      : "pico, nano, micro, milli, kilo, mega or giga");
	words[(*count)++] = w;
	return true;
}

static bool take_pattern(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct pattern *p = &t->d->pattern;
	t->has_pattern = true;
	if (strcmp(i->key, "match") == 0) {
		t->match_len = strlen(i->value);
		t->match_at = value_spot(i);
		if (t->match_len > PATTERN_TEXT_MAX)
			return wrong(t, why, value_spot(i), "`match`: at most %d bytes", PATTERN_TEXT_MAX);
		memcpy(t->match, i->value, t->match_len);
		return true;
	}
	if (strncmp(i->key, "unit ", 5) == 0)
		return take_word(t, i, i->key + 5, p->unit, &p->units, true, true, why);
	if (strncmp(i->key, "prefix ", 7) == 0)
		return take_word(t, i, i->key + 7, p->prefix, &p->prefixes, true, false, why);
	if (strncmp(i->key, "function ", 9) == 0)
		return take_word(t, i, i->key + 9, p->function, &p->functions, false, true, why);
	if (strcmp(i->key, "overload") == 0 || strncmp(i->key, "overload ", 9) == 0) {
		if (p->overloads == PATTERN_WORDS_MAX)
			return wrong(t, why, value_spot(i), "at most %d overloads", PATTERN_WORDS_MAX);
		return copy_text(p->overload[p->overloads++], PATTERN_WORD_SIZE, t, i, why);
	}
	return wrong(t, why, (struct spot){i->line, i->key_column}, "unknown key `%s` of [pattern]",
	             i->key);
}

/* ---- [columns] ---- */

/* The bytes of a value, escaped as in recordings. */
static bool unescape(const char *text, char *out, size_t size, size_t *len)
{
	size_t at;
	return escape_read_all(text, strlen(text), out, size, len, &at);
}

static bool take_point(struct columns *c, const char *text)
{
	char *end;
	c->point = (int)strtol(text, &end, 10);
	if (end == text || *end != ':')
		return false;
	for (const char *p = end + 1; *p;) {
		p += strspn(p, " ");
		if (!*p)
			break;
		if (c->point_count == COLUMNS_POINTS_MAX || p[1] != '=' || p[2] < '0' || p[2] > '9')
			return false;
		c->points[c->point_count].code = p[0];
		c->points[c->point_count++].before = p[2] - '0';
		p += 3;
		if (*p && *p != ' ')
			return false;
	}
	return c->point_count > 0;
}

/* `flag 7.3 = ac`, `flag 11 = ignore`; left or right is settled when all is read. */
static bool take_flag(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	enum column_meaning means;
	char *end;
	int byte = (int)strtol(i->key + 5, &end, 10), bit = -1;
	if (*end == '.') {
		bit = end[1] - '0';
		end += end[1] ? 2 : 1;
	}
	if (end == i->key + 5 || *end || bit > 7 || byte < 0 || byte >= FRAME_MAX)
		return wrong(t, why, (struct spot){i->line, i->key_column},
		             "`flag BYTE.BIT` was expected, bits 0 to 7, as in `flag 7.3 = ac`");
	if (!column_meaning_find(i->value, strlen(i->value), &means) ||
	    (bit < 0 && means != COLUMN_IGNORE))
		return wrong(t, why, value_spot(i), "`%s`: expected volt, amp, ohm, farad, henry, hertz, "
		             "celsius, percent, diode, pico ... giga, ac, dc, overload, hold, low-battery, "
		             "relative, min-max, minus or ignore", i->key);
	if (c->flag_count == COLUMNS_FLAGS_MAX)
		return wrong(t, why, value_spot(i), "at most %d flags", COLUMNS_FLAGS_MAX);
	unsigned char mask = bit < 0 ? 0xff : (unsigned char)(1u << bit);
	for (int k = 0; k < c->flag_count; k++)
		if (c->flags[k].byte == byte && (c->flags[k].mask & mask))
			return wrong(t, why, (struct spot){i->line, i->key_column}, "this bit has a meaning "
			             "already");
	c->flags[c->flag_count].byte = byte;
	c->flags[c->flag_count].mask = mask;
	c->flags[c->flag_count++].means = means;
	return true;
}

static bool take_columns(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	static const char *const sides[] = {"right", "left", NULL};
	int n, used = 0;
	size_t len;
	if (!t->has_columns)
		t->columns_at = (struct spot){i->line, i->key_column};
	t->has_columns = true;
	if (strncmp(i->key, "flag ", 5) == 0)
		return take_flag(t, i, why);
	if (strcmp(i->key, "size") == 0 && whole(i->value, 4, FRAME_MAX, &c->size))
		return true;
	if (strcmp(i->key, "sign") == 0 && whole(i->value, 0, FRAME_MAX - 1, &c->sign))
		return true;
	if (strcmp(i->key, "digits") == 0 &&
	    sscanf(i->value, "%3d-%3d%n", &c->digits_from, &c->digits_to, &used) == 2 &&
	    !i->value[used])
		return true;
	if (strcmp(i->key, "point") == 0 && take_point(c, i->value))
		return true;
	if (strcmp(i->key, "overload") == 0)
		return copy_text(c->overload, sizeof c->overload, t, i, why);
	if (strcmp(i->key, "bits") == 0 && one_of(i->value, sides, &n)) {
		t->bits_left = n == 1;
		return true;
	}
	if (strncmp(i->key, "byte ", 5) == 0 && whole(i->key + 5, 0, FRAME_MAX - 1, &n) &&
	    c->fixed_count < COLUMNS_FIXED_MAX &&
	    unescape(i->value, &c->fixed[c->fixed_count].byte, 1, &len) && len == 1) {
		c->fixed[c->fixed_count++].at = n;
		return true;
	}
	static const char *const keys[] = {"size", "sign", "digits", "point", "bits", NULL};
	if (one_of(i->key, keys, &n) || strncmp(i->key, "byte ", 5) == 0)
		return wrong(t, why, value_spot(i), "`%s`: `%.40s` is not what is expected here", i->key,
		             i->value);
	return wrong(t, why, (struct spot){i->line, i->key_column}, "unknown key `%s` of [columns]",
	             i->key);
}

/* ---- [samples] ---- */

static struct sample *sample_of(struct draft *t, const char *name)
{
	for (int k = 0; k < t->samples; k++)
		if (strcmp(t->sample[k].name, name) == 0)
			return &t->sample[k];
	if (t->samples == DIALECT_SAMPLES_MAX || strlen(name) >= sizeof t->sample[0].name || !*name)
		return NULL;
	struct sample *s = &t->sample[t->samples++];
	snprintf(s->name, sizeof s->name, "%s", name);
	return s;
}

static bool take_sample(struct draft *t, const struct ini_item *i, struct fault *why)
{
	bool frame = strncmp(i->key, "frame ", 6) == 0;
	if (!frame && strncmp(i->key, "means ", 6) != 0)
		return wrong(t, why, (struct spot){i->line, i->key_column}, "`frame N` and `means N` were "
		             "expected in [samples]");
	struct sample *s = sample_of(t, i->key + 6);
	if (!s)
		return wrong(t, why, (struct spot){i->line, i->key_column}, "at most %d samples, with short "
		             "names", DIALECT_SAMPLES_MAX);
	if (frame) {
		s->frame_at = value_spot(i);
		s->has_frame = unescape(i->value, s->bytes, sizeof s->bytes, &s->len);
		if (s->has_frame)
			return true;
		return wrong(t, why, value_spot(i), "a frame of at most %d bytes was expected, escaped as "
		             "in recordings (\\r \\n \\t \\\\ \\\" \\xHH)", FRAME_MAX);
	}
	s->means_at = value_spot(i);
	return copy_text(s->means, sizeof s->means, t, i, why);
}

/* What a sample was understood as, in the words of `means`. */
static void say_understood(const struct understood *u, char *out, size_t size)
{
	if (u->said == SAID_NOTHING || u->said != SAID_READINGS) {
		snprintf(out, size, "%s", u->said == SAID_NOTHING ? "nothing" : "other");
		return;
	}
	const struct reading *r = &u->reading[0];
	char value[DECIMAL_TEXT_SIZE] = "overload";
	if (r->has_value)
		decimal_json(r->value, value, sizeof value);
	else if (!(r->state & READING_OVERLOAD))
		snprintf(value, sizeof value, "invalid");
	snprintf(out, size, "%s %s%s%s%s", function_name(r->function), value,
	         r->state & READING_HOLD ? " hold" : "",
	         r->state & READING_LOW_BATTERY ? " low-battery" : "",
	         r->state & READING_RELATIVE ? " relative" : "");
}

/* The value of `means` may be written in other digits: 481.20 is 481.2. */
static bool means_same(const char *said, const char *means)
{
	char function[2][32], value[2][64], rest[2][64] = {"", ""};
	struct decimal a, b;
	if (strcmp(said, means) == 0)
		return true;
	if (sscanf(said, "%31s %63s %63[^\n]", function[0], value[0], rest[0]) < 2 ||
	    sscanf(means, "%31s %63s %63[^\n]", function[1], value[1], rest[1]) < 2)
		return false;
	return strcmp(function[0], function[1]) == 0 && strcmp(rest[0], rest[1]) == 0 &&
	       decimal_parse(value[0], strlen(value[0]), &a) &&
	       decimal_parse(value[1], strlen(value[1]), &b) && decimal_compare(a, b) == 0;
}

static bool check_sample(const struct draft *t, const struct sample *s, struct fault *why)
{
	struct dialect_setting setting = {.function = t->d->function, .rules = t->d->row.rules};
	struct dialect_memory memory = {0};
	struct frame f = {.bytes = s->bytes, .len = s->len, .fault = FRAME_GOOD};
	struct understood u;
	char said[128];
	if (!s->has_frame || !s->means[0])
		return wrong(t, why, s->has_frame ? s->frame_at : s->means_at,
		             "sample %s wants both `frame %s` and `means %s`", s->name, s->name, s->name);
	t->d->row.understand(&setting, &memory, &f, &u);
	say_understood(&u, said, sizeof said);
	if (means_same(said, s->means))
		return true;
	return wrong(t, why, s->means_at, "sample %s is understood as `%s`, not as `%s`%s%s", s->name,
	             said, s->means, u.said == SAID_NOTHING ? ": " : "",
	             u.said == SAID_NOTHING ? u.why : "");
}

/* ---- the whole file ---- */

static bool take(void *arg, const struct ini_item *i, struct fault *why)
{
	static const struct {
		const char *section;
		bool (*take)(struct draft *, const struct ini_item *, struct fault *);
	} sections[] = {{"dialect", take_dialect}, {"pattern", take_pattern},
	                {"columns", take_columns}, {"samples", take_sample}};
	for (size_t k = 0; k < sizeof sections / sizeof *sections; k++)
		if (strcmp(sections[k].section, i->section) == 0)
			return !i->key || sections[k].take(arg, i, why);
	return wrong(arg, why, (struct spot){i->line, i->key ? i->key_column : i->key_column},
	             "unknown section [%s]: dialect, pattern, columns, samples", i->section);
}

static bool join_pattern(struct draft *t, struct fault *why)
{
	if (!t->match_len)
		return wrong(t, why, t->reads_at, "reads = pattern wants `match` in [pattern]");
	if (!pattern_compile(&t->d->pattern, t->match, t->match_len, why)) {
		struct fault inner = *why;
		return wrong(t, why, (struct spot){t->match_at.line, t->match_at.column + inner.column - 1},
		             "%s", inner.text);
	}
	t->d->row.understand = pattern_understand;
	t->d->row.rules = &t->d->pattern;
	return true;
}

static bool join_columns(struct draft *t, struct fault *why)
{
	struct columns *c = &t->d->columns;
	if (!t->has_columns)
		return wrong(t, why, t->reads_at, "reads = columns wants a section [columns]");
	for (int k = 0; t->bits_left && k < c->flag_count; k++) {
		unsigned char mask = 0;
		for (int bit = 0; bit < 8; bit++)
			if (c->flags[k].mask & 1u << bit)
				mask |= (unsigned char)(0x80u >> bit);
		c->flags[k].mask = mask;
	}
	if (!columns_check(c, why)) {
		struct fault inner = *why;
		return wrong(t, why, t->columns_at, "%s", inner.text);
	}
	t->d->row.understand = columns_understand;
	t->d->row.rules = c;
	t->d->row.end = FRAME_FIXED;
	t->d->row.size = (size_t)c->size;
	return true;
}

static bool join(struct draft *t, struct fault *why)
{
	struct dialect_file *d = t->d;
	struct spot top = {1, 1};
	if (!d->name[0])
		return wrong(t, why, top, "[dialect] has no `name`");
	if (!t->said_reads)
		return wrong(t, why, top, "[dialect] has no `reads`");
	if ((t->own_pattern && !join_pattern(t, why)) || (t->own_columns && !join_columns(t, why)))
		return false;
	if (t->reads) {
		d->row.understand = t->reads->understand;
		d->row.rules = t->reads->rules;
		if (!t->said_frame) {
			d->row.end = t->reads->end;
			d->row.size = t->reads->size;
			d->row.gap_us = t->reads->gap_us;
		}
	}
	d->row.name = d->name;
	d->row.summary = d->summary;
	d->row.asked = t->said_asked ? t->asked : t->reads && t->reads->asked;
	d->row.query = d->query[0] ? d->query : t->reads ? t->reads->query : NULL;
	d->row.identify = d->identify[0] ? d->identify : NULL;
	d->row.error_query = d->errors[0] ? d->errors : NULL;
	d->row.clear = d->clear[0] ? d->clear : NULL;
	d->row.line_end = d->line_end;
	d->row.bare = t->reads && t->reads->bare && d->function == FUNCTION_NONE;
	if (d->row.asked && (!d->row.query || !d->row.query[0]))
		return wrong(t, why, top, "a dialect that asks wants a `query`");
	if (d->row.end == FRAME_FIXED && d->row.gap_us == 0)
		d->row.gap_us = 30000;
	if (t->samples == 0)
		return wrong(t, why, top, "no samples: [samples] wants at least one frame and what it means");
	for (int k = 0; k < t->samples; k++)
		if (!check_sample(t, &t->sample[k], why))
			return false;
	d->samples = t->samples;
	return true;
}

bool dialect_file_load(struct dialect_file *d, const char *file, const char *text, size_t len,
                       struct fault *why)
{
	struct draft *t = calloc(1, sizeof *t);
	memset(d, 0, sizeof *d);
	if (!t) {
		fault_at(why, file, 0, 0, "out of memory");
		return false;
	}
	t->d = d;
	t->file = file;
	d->columns.sign = d->columns.point = -1;
	d->columns.digits_to = -1;
	d->row.line = (struct line_settings){.baud = 9600, .bits = 8, .stop = 1};
	snprintf(d->line_end, sizeof d->line_end, "\n");
	bool good = ini_parse(file, text, len, take, t, why) && join(t, why);
	free(t);
	if (!good)
		dialect_file_free(d);
	return good;
}

void dialect_file_free(struct dialect_file *d)
{
	pattern_free(&d->pattern);
}
