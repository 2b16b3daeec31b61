/* SPDX-License-Identifier: MIT */
/*
 * See dialect_file.h.  Keys come in any order, so the file is first taken down as it
 * stands, then put together, and then every sample is held against the result.
 */
#include "protocol/meter/dialect_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "protocol/meter/dialect_draft.h"
#include "protocol/trade/position.h"

#define QUIET_ASKED_MS 100
#define GAP_FIXED_US 30000

/* ---- [dialect] ---- */

static bool take_name(struct draft *t, const struct ini_item *i, struct fault *why)
{
	if (!name_valid(i->value, strlen(i->value)))
		return draft_wrong(t, why, draft_value(i), "`name`: letters, digits and . _ / - were "
		                   "expected, a letter or digit first, at most 32");
	return draft_text(t, i, t->d->name, sizeof t->d->name, why);
}

static bool take_summary(struct draft *t, const struct ini_item *i, struct fault *why)
{
	return draft_text(t, i, t->d->summary, sizeof t->d->summary, why);
}

static bool take_reads(struct draft *t, const struct ini_item *i, struct fault *why)
{
	char list[160];
	size_t n = 0;
	t->own_columns = strcmp(i->value, "columns") == 0;
	t->own_pattern = strcmp(i->value, "pattern") == 0;
	t->reads = dialect_find(i->value, strlen(i->value));
	if (t->reads || t->own_columns || t->own_pattern)
		return true;
	for (int k = 0; dialects[k] && n < sizeof list; k++)
		n += (size_t)snprintf(list + n, sizeof list - n, ", %s", dialects[k]->name);
	return draft_wrong(t, why, draft_value(i), "`reads`: expected pattern, columns%s", list);
}

static bool take_frame(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct dialect *row = &t->d->row;
	int size;
	size_t len;
	if (strcmp(i->value, "line") == 0) {
		row->end = FRAME_LINE;
		return true;
	}
	if (strncmp(i->value, "until ", 6) == 0) {
		row->end = FRAME_LINE;
		row->sync.tails = 1;
		if (!draft_bytes(t, i, i->value + 6, row->sync.tail, 1, &len, why))
			return false;
		return len == 1 || draft_wrong(t, why, draft_value(i), "`frame`: expected one byte after "
		                               "until, as in \\x03");
	}
	if (strncmp(i->value, "fixed ", 6) == 0 && draft_whole(i->value + 6, 2, FRAME_MAX, &size)) {
		row->end = FRAME_FIXED;
		row->size = (size_t)size;
		return true;
	}
	return draft_wrong(t, why, draft_value(i), "`frame`: expected line, until and a byte, or fixed "
	                   "and 2 to %d", FRAME_MAX);
}

/* `numbered`, `head \x02`, `tail \r\n`, `head \x02 tail \x03`. */
static bool take_sync(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct frame_sync *y = &t->d->row.sync;
	char copy[128];
	size_t got;
	const char *p = i->value;
	if (!draft_text(t, i, copy, sizeof copy, why))
		return false;
	while (*p) {
		size_t len = strcspn(p, " ");
		bool head = len == 4 && memcmp(p, "head", 4) == 0;
		bool tail = len == 4 && memcmp(p, "tail", 4) == 0;
		struct spot at = {i->line, i->value_column + (int)(p - i->value)};
		if (len == 8 && memcmp(p, "numbered", 8) == 0) {
			y->numbered = true;
		} else if ((head && !y->heads) || (tail && !y->tails)) {
			p += len + strspn(p + len, " ");
			len = strcspn(p, " ");
			copy[p - i->value + (long)len] = '\0'; /* this word alone */
			struct ini_item word = *i;
			word.value = copy;
			if (!draft_bytes(t, &word, copy + (p - i->value), head ? y->head : y->tail,
			                 FRAME_SYNC_MAX, &got, why))
				return false;
			if (!got)
				return draft_wrong(t, why, at, "`sync`: expected 1 to %d bytes after head or tail",
				                   FRAME_SYNC_MAX);
			*(head ? &y->heads : &y->tails) = (unsigned char)got;
		} else {
			break;
		}
		p += len;
		p += strspn(p, " ");
	}
	if (!*p && *i->value)
		return true;
	return draft_wrong(t, why, (struct spot){i->line, i->value_column + (int)(p - i->value)},
	                   "`sync`: expected numbered, head and tail with bytes, as in `head \\x02 tail "
	                   "\\r\\n`");
}

static bool take_serial(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct fault inner;
	if (line_settings_parse(i->value, strlen(i->value), &t->line, &inner))
		return true;
	return draft_wrong(t, why, (struct spot){i->line, i->value_column + inner.column - 1},
	                   "`serial`: %s", inner.text);
}

static bool take_word(struct draft *t, const struct ini_item *i, const char *const *words,
                      int *out, struct fault *why)
{
	if (draft_one_of(i->value, words, out))
		return true;
	char list[80];
	size_t n = 0;
	for (int k = 0; words[k] && n < sizeof list; k++)
		n += (size_t)snprintf(list + n, sizeof list - n, "%s%s", k ? ", " : "", words[k]);
	return draft_wrong(t, why, draft_value(i), "`%s`: `%.40s` is not among %s", i->key, i->value,
	                   list);
}

static bool take_flow(struct draft *t, const struct ini_item *i, struct fault *why)
{
	static const char *const words[] = {"none", "hardware", "software", NULL};
	int n;
	if (!take_word(t, i, words, &n, why))
		return false;
	t->line.flow = (enum flow)n;
	return true;
}

static bool take_wire(struct draft *t, const struct ini_item *i, struct fault *why)
{
	static const char *const words[] = {"leave", "on", "off", NULL};
	int n;
	if (!take_word(t, i, words, &n, why))
		return false;
	*(strcmp(i->key, "dtr") == 0 ? &t->line.dtr : &t->line.rts) = (enum wire_state)n;
	return true;
}

static bool take_milliseconds(struct draft *t, const struct ini_item *i, struct fault *why)
{
	bool quiet = strcmp(i->key, "quiet") == 0;
	int n, low = quiet ? 0 : 1, high = quiet ? 60000 : 10000;
	if (!draft_whole(i->value, low, high, &n))
		return draft_wrong(t, why, draft_value(i), "`%s`: expected milliseconds from %d to %d",
		                   i->key, low, high);
	if (quiet)
		t->line.quiet_ms = n;
	else
		t->d->row.gap_us = n * INT64_C(1000);
	return true;
}

static bool take_function(struct draft *t, const struct ini_item *i, struct fault *why)
{
	if (function_from_name(i->value, strlen(i->value), &t->d->function) &&
	    t->d->function != FUNCTION_NONE)
		return true;
	return draft_wrong(t, why, draft_value(i), "`function`: expected one such as ohm, farad, "
	                   "volt-dc, not `%.40s`", i->value);
}

static bool take_asked(struct draft *t, const struct ini_item *i, struct fault *why)
{
	static const char *const words[] = {"no", "yes", NULL};
	int n;
	if (!take_word(t, i, words, &n, why))
		return false;
	t->asked = n == 1;
	return true;
}

static bool take_line_end(struct draft *t, const struct ini_item *i, struct fault *why)
{
	static const char *const words[] = {"none", "lf", "cr", "crlf", NULL};
	static const char *const ends[] = {"", "\n", "\r", "\r\n"};
	int n;
	if (!take_word(t, i, words, &n, why))
		return false;
	snprintf(t->d->line_end, sizeof t->d->line_end, "%s", ends[n]);
	return true;
}

/* What is sent: any bytes but 0, which ends them here. */
static bool take_command(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct dialect_file *d = t->d;
	struct { const char *key; char *out; size_t size; } texts[] = {
	    {"query", d->query, sizeof d->query},    {"identify", d->identify, sizeof d->identify},
	    {"errors", d->errors, sizeof d->errors}, {"clear", d->clear, sizeof d->clear},
	    {"setup", d->setup, sizeof d->setup},    {"learn", d->learn, sizeof d->learn}};
	size_t k = 0, len;
	while (strcmp(texts[k].key, i->key) != 0)
		k++;
	char *out = texts[k].out;
	if (!draft_bytes(t, i, i->value, out, texts[k].size - 1, &len, why))
		return false;
	out[len] = '\0';
	if (strlen(out) != len)
		return draft_wrong(t, why, draft_value(i), "`%s`: a byte 0 cannot be sent", i->key);
	return true;
}

static const struct {
	const char *key;
	enum said_key said; /* SAID_KEYS: it does not count */
	bool (*take)(struct draft *t, const struct ini_item *i, struct fault *why);
} dialect_keys[] = {
    {"name", SAID_KEYS, take_name},
    {"summary", SAID_KEYS, take_summary},
    {"reads", SAID_KEY_READS, take_reads},
    {"serial", SAID_KEY_SERIAL, take_serial},
    {"flow", SAID_KEY_FLOW, take_flow},
    {"dtr", SAID_KEY_DTR, take_wire},
    {"rts", SAID_KEY_RTS, take_wire},
    {"quiet", SAID_KEY_QUIET, take_milliseconds},
    {"function", SAID_KEY_FUNCTION, take_function},
    {"frame", SAID_KEY_FRAME, take_frame},
    {"gap", SAID_KEY_GAP, take_milliseconds},
    {"sync", SAID_KEY_SYNC, take_sync},
    {"asked", SAID_KEY_ASKED, take_asked},
    {"query", SAID_KEY_QUERY, take_command},
    {"line end", SAID_KEY_LINE_END, take_line_end},
    {"setup", SAID_KEY_SETUP, take_command},
    {"identify", SAID_KEY_IDENTIFY, take_command},
    {"errors", SAID_KEY_ERRORS, take_command},
    {"clear", SAID_KEY_CLEAR, take_command},
    {"learn", SAID_KEY_LEARN, take_command},
};
#define DIALECT_KEYS (sizeof dialect_keys / sizeof dialect_keys[0])

static bool take_dialect(struct draft *t, const struct ini_item *i, struct fault *why)
{
	char list[200];
	size_t n = 0;
	for (size_t k = 0; k < DIALECT_KEYS; k++)
		if (strcmp(dialect_keys[k].key, i->key) == 0) {
			if (dialect_keys[k].said != SAID_KEYS)
				t->said[dialect_keys[k].said] = draft_value(i);
			return dialect_keys[k].take(t, i, why);
		}
	for (size_t k = 0; k < DIALECT_KEYS && n < sizeof list; k++)
		n += (size_t)snprintf(list + n, sizeof list - n, "%s%s", k ? ", " : "", dialect_keys[k].key);
	return draft_wrong(t, why, draft_key(i), "unknown key `%.40s` of [dialect]: expected %s", i->key,
	                   list);
}

static bool take(void *arg, const struct ini_item *i, struct fault *why)
{
	struct draft *t = arg;
	struct spot *section = strcmp(i->section, "columns") == 0   ? &t->columns.section
	                       : strcmp(i->section, "pattern") == 0 ? &t->pattern.section
	                                                            : NULL;
	static const struct {
		const char *section;
		bool (*take)(struct draft *, const struct ini_item *, struct fault *);
	} sections[] = {{"dialect", take_dialect},       {"pattern", draft_take_pattern},
	                {"columns", draft_take_columns}, {"samples", draft_take_sample}};
	if (section && !i->key)
		*section = draft_key(i);
	for (size_t k = 0; k < sizeof sections / sizeof *sections; k++)
		if (strcmp(sections[k].section, i->section) == 0)
			return !i->key || sections[k].take(t, i, why);
	return draft_wrong(t, why, draft_key(i), "unknown section [%.60s]: expected dialect, pattern, "
	                   "columns, samples", i->section);
}

/* ---- the whole ---- */

static bool said(const struct draft *t, enum said_key key)
{
	return t->said[key].line > 0;
}

/* Line settings: the shipped reader's, with what the file says above them. */
static void join_line(struct draft *t)
{
	struct line_settings *l = &t->d->row.line;
	*l = t->reads ? t->reads->line
	              : (struct line_settings){.baud = 9600, .bits = 8, .stop = 1,
	                                       .quiet_ms = t->asked ? QUIET_ASKED_MS : 0};
	if (said(t, SAID_KEY_SERIAL)) {
		l->baud = t->line.baud;
		l->bits = t->line.bits;
		l->parity = t->line.parity;
		l->stop = t->line.stop;
	}
	if (said(t, SAID_KEY_FLOW))
		l->flow = t->line.flow;
	if (said(t, SAID_KEY_DTR))
		l->dtr = t->line.dtr;
	if (said(t, SAID_KEY_RTS))
		l->rts = t->line.rts;
	if (said(t, SAID_KEY_QUIET))
		l->quiet_ms = t->line.quiet_ms;
}

/* Where a frame begins and ends. */
static bool join_frame(struct draft *t, struct fault *why)
{
	struct dialect *row = &t->d->row;
	int *size = &t->d->columns.size;
	struct spot at = t->said[SAID_KEY_SYNC];
	if (t->reads && !said(t, SAID_KEY_FRAME)) {
		row->end = t->reads->end;
		row->size = t->reads->size;
		row->sync = said(t, SAID_KEY_SYNC) ? row->sync : t->reads->sync;
		row->gap_us = said(t, SAID_KEY_GAP) ? row->gap_us : t->reads->gap_us;
	}
	if (t->own_columns && !said(t, SAID_KEY_FRAME)) {
		row->end = FRAME_FIXED;
		row->size = (size_t)*size;
	}
	if (t->own_columns && row->end == FRAME_FIXED && *size == 0)
		*size = (int)row->size;
	if (t->own_columns && *size == 0 && t->columns.section.line)
		return draft_wrong(t, why, t->columns.section, "[columns] has no `size`");
	if (t->own_columns && row->end == FRAME_FIXED && (size_t)*size != row->size)
		return draft_wrong(t, why, t->columns.size, "`frame` says fixed %zu and `size` %d", row->size,
		                   *size);
	if (row->end == FRAME_FIXED && row->gap_us == 0)
		row->gap_us = GAP_FIXED_US;
	if (!said(t, SAID_KEY_SYNC))
		return true;
	if (row->end != FRAME_FIXED)
		return draft_wrong(t, why, at, "`sync` goes with fixed frames: lines have their end");
	if (row->sync.numbered && row->size > FRAME_NUMBERED_MAX)
		return draft_wrong(t, why, at, "`sync`: at most %d bytes can be numbered, and there are %zu",
		                   FRAME_NUMBERED_MAX, row->size);
	if ((size_t)row->sync.heads + row->sync.tails > row->size)
		return draft_wrong(t, why, at, "`sync`: head and tail are longer than the frame");
	return true;
}

static bool setup_fits(const char *setup)
{
	int count = 1;
	for (const char *bar; (bar = strstr(setup, " | ")); setup = bar + 3, count++)
		if (bar == setup || bar - setup >= DIALECT_COMMAND_SIZE)
			return false;
	return *setup && strlen(setup) < DIALECT_COMMAND_SIZE && count <= DIALECT_SETUPS_MAX;
}

/* A command: the file's, else the shipped reader's; an empty one is none. */
static const char *command(const struct draft *t, enum said_key key, const char *own,
                           const char *shipped)
{
	if (said(t, key))
		return *own ? own : NULL;
	return t->reads && t->asked && shipped ? shipped : NULL;
}

static bool join_asking(struct draft *t, struct fault *why)
{
	static const enum said_key sending[] = {SAID_KEY_QUERY, SAID_KEY_LINE_END, SAID_KEY_SETUP,
	                                        SAID_KEY_IDENTIFY, SAID_KEY_ERRORS, SAID_KEY_CLEAR,
	                                        SAID_KEY_LEARN};
	struct dialect_file *d = t->d;
	struct dialect *row = &d->row;
	const struct dialect *r = t->reads;
	if (!said(t, SAID_KEY_ASKED))
		t->asked = r && r->asked;
	row->asked = t->asked;
	for (size_t k = 0; !t->asked && k < sizeof sending / sizeof *sending; k++)
		if (said(t, sending[k]))
			return draft_wrong(t, why, t->said[sending[k]], "nothing is sent to a meter that is "
			                   "listened to: expected `asked = yes` with this");
	row->query = command(t, SAID_KEY_QUERY, d->query, r ? r->query : NULL);
	row->identify = command(t, SAID_KEY_IDENTIFY, d->identify, r ? r->identify : NULL);
	row->error_query = command(t, SAID_KEY_ERRORS, d->errors, r ? r->error_query : NULL);
	row->clear = command(t, SAID_KEY_CLEAR, d->clear, r ? r->clear : NULL);
	row->setup = command(t, SAID_KEY_SETUP, d->setup, r ? r->setup : NULL);
	row->learn = command(t, SAID_KEY_LEARN, d->learn, r ? r->learn : NULL);
	if (!t->asked)
		return true;
	row->line_end = said(t, SAID_KEY_LINE_END) || !r || !r->line_end ? d->line_end : r->line_end;
	if (!row->query)
		return draft_wrong(t, why, t->said[said(t, SAID_KEY_ASKED) ? SAID_KEY_ASKED : SAID_KEY_READS],
		                   "a dialect that asks wants a `query`");
	if (row->setup && !setup_fits(row->setup))
		return draft_wrong(t, why, t->said[SAID_KEY_SETUP], "`setup`: expected at most %d commands "
		                   "of at most %d bytes with ` | ` between them", DIALECT_SETUPS_MAX,
		                   DIALECT_COMMAND_SIZE - 1);
	/* An answer that its reader cannot tell would be waited for in vain. */
	bool scpi = r && r->identify;
	if (row->identify && !scpi && !t->pattern.identity.len)
		return draft_wrong(t, why, t->said[SAID_KEY_IDENTIFY], "`identify` wants a reader that knows "
		                   "the answer: scpi, or a pattern with `identity`");
	if (row->error_query && !scpi && !t->pattern.error.len)
		return draft_wrong(t, why, t->said[SAID_KEY_ERRORS], "`errors` wants a reader that knows the "
		                   "answer: scpi, or a pattern with `error`");
	if (said(t, SAID_KEY_LEARN) && row->learn && !(r && r->learn))
		return draft_wrong(t, why, t->said[SAID_KEY_LEARN], "`learn` wants a reader that knows the "
		                   "answer: scpi");
	return true;
}

static bool join_reader(struct draft *t, struct fault *why)
{
	struct dialect_file *d = t->d;
	struct dialect *row = &d->row;
	if (!t->own_columns && t->columns.section.line)
		return draft_wrong(t, why, t->columns.section, "[columns] goes with `reads = columns`");
	if (!t->own_pattern && t->pattern.section.line)
		return draft_wrong(t, why, t->pattern.section, "[pattern] goes with `reads = pattern`");
	if (t->own_pattern) {
		row->understand = pattern_understand;
		row->rules = &d->pattern;
		if (!draft_join_pattern(t, why))
			return false;
		row->bare = !pattern_says_function(&d->pattern);
	} else if (t->own_columns) {
		row->understand = columns_understand;
		row->rules = &d->columns;
		if (!draft_join_columns(t, why))
			return false;
		columns_know(&d->columns);
		row->bare = !columns_say_unit(&d->columns);
	} else {
		row->understand = t->reads->understand;
		row->rules = t->reads->rules;
		row->bare = t->reads->bare;
	}
	row->bare = row->bare && d->function == FUNCTION_NONE;
	return true;
}

static bool join(struct draft *t, struct fault *why)
{
	struct dialect_file *d = t->d;
	struct spot top = {1, 1};
	d->row.name = d->name;
	d->row.summary = d->summary;
	if (!d->name[0])
		return draft_wrong(t, why, top, "[dialect] has no `name`");
	if (!said(t, SAID_KEY_READS))
		return draft_wrong(t, why, top, "[dialect] has no `reads`");
	if (!join_asking(t, why) || !join_frame(t, why) || !join_reader(t, why))
		return false;
	join_line(t);
	if (t->samples == 0)
		return draft_wrong(t, why, top, "no samples: [samples] wants at least one frame and what it "
		                   "means");
	return draft_check_samples(t, why);
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
	d->columns.sign = d->columns.function.field.column = -1;
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
