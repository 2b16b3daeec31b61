/* SPDX-License-Identifier: MIT */
/*
 * `trail`, `trail.lines`, `trail.envelope`: the sealed records of a stretch of time, what
 * there is, and pictures of it.
 */
#include "daemon/query_private.h"

#include "protocol/record/record.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COLUMNS 800
#define COLUMNS_MAX 8000

/* A time exactly as records have it; without one the bound stays open. */
static bool read_time(struct query *q, const char *method, const char *name, const char *text,
                      int64_t *out)
{
	if (!text || time_parse(text, strlen(text), out))
		return true;
	fault_set(q->why, "%s: %s is \"%.60s\", where a time such as 2026-11-25T10:00:00.000000Z is "
	          "expected", method, name, text);
	return query_refuse(q, WIRE_BAD_PARAMS);
}

static void add_time(struct answer *a, int64_t us)
{
	char buffer[40];
	struct text text;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, us);
	answer_puts(a, text.failed ? "null" : buffer);
}

/* The shortest digits that are this double again. */
static void add_double(struct answer *a, double x)
{
	char number[40];
	for (int digits = 15; digits <= 17; digits++) {
		snprintf(number, sizeof number, "%.*g", digits, x);
		if (strtod(number, NULL) == x)
			break;
	}
	answer_puts(a, number);
}

/* ---- a position that had other names ---- */

struct asked {
	struct query *q;
	struct names names;
	const char *position;
};

static bool is_called(void *arg, int64_t seq, const char *name)
{
	const struct asked *a = arg;
	char now[NAME_SIZE];
	snprintf(now, sizeof now, "%s", name);
	names_at(&a->names, seq, now);
	return !strcmp(now, a->position);
}

/* From here to asked_end the readings of a position are those that are its own today. */
static bool asked_begin(struct query *q, const char *position, struct asked *a)
{
	*a = (struct asked){ .q = q, .position = position };
	if (position && !names_read(q, &a->names))
		return false;
	if (a->names.n)
		log_reader_called(q->reader, is_called, a);
	return true;
}

static void asked_end(struct asked *a)
{
	log_reader_called(a->q->reader, NULL, NULL);
	names_free(&a->names);
}

/* ---- records ---- */

struct trail_page {
	struct record_page page;
	bool open;          /* the list of those that are not sealed has begun */
	int64_t left_out;   /* of them, because the answer is full */
};

static bool trail_add(void *arg, int64_t seq, const char *text, size_t len)
{
	struct trail_page *p = arg;
	return record_page_add(&p->page, seq, text, len);
}

static void open_begin(struct trail_page *p)
{
	if (!p->open)
		answer_puts(&p->page.q->out, "],\"unsealed\":[");
	p->open = true;
}

/* They come with the last page; where they have no room beside records, with one of their own. */
static bool open_add(void *arg, const char *text, size_t len)
{
	struct trail_page *p = arg;
	struct query *q = p->page.q;
	bool room = query_room(q, len + 1);
	if (!room && !p->open && p->page.last) {
		p->page.more = true;
		return false;
	}
	open_begin(p);
	if (!room) {
		p->left_out++;
		return true;
	}
	if (q->out.bytes[q->out.len - 1] != '[')
		answer_puts(&q->out, ",");
	answer_add(&q->out, text, len);
	return true;
}

bool query_trail(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT };
	struct log_trail_query what = { .from = INT64_MIN, .to = INT64_MAX };
	const char *from = NULL, *to = NULL;
	bool unsealed = false;
	const struct param list[] = {
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
		{ "unsealed", PARAM_FLAG, false, &unsealed },
		{ "meter", PARAM_TEXT, false, &what.meter },
		{ "function", PARAM_TEXT, false, &what.function },
		{ "position", PARAM_TEXT, false, &what.position },
		{ "from", PARAM_TEXT, false, &from },
		{ "to", PARAM_TEXT, false, &to },
	};
	if (!params_read("trail", params, list, sizeof list / sizeof *list, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "trail", &bounds) || !read_time(q, "trail", "from", from, &what.from) ||
	    !read_time(q, "trail", "to", to, &what.to))
		return false;
	struct asked asked;
	if (!asked_begin(q, what.position, &asked))
		return false;
	struct trail_page p = { .page = { .q = q, .left = bounds.limit, .last = bounds.after } };
	what.after = bounds.after;
	what.unsealed = unsealed ? open_add : NULL;
	answer_puts(&q->out, "{\"records\":[");
	bool good = log_reader_trail(q->reader, &what, trail_add, &p, q->why) >= 0;
	asked_end(&asked);
	if (!good)
		return query_refuse(q, WIRE_UNREADABLE);
	if (unsealed && !p.page.more)
		open_begin(&p);
	answer_puts(&q->out, "]");
	if (p.left_out)
		answer_printf(&q->out, ",\"left_out\":%lld", (long long)p.left_out);
	query_more(q, p.page.more, p.page.last);
	answer_puts(&q->out, "}");
	return true;
}

/* ---- lines ---- */

static bool line_add(void *arg, const struct log_line *line)
{
	struct query *q = arg;
	if (q->out.bytes[q->out.len - 1] != '[')
		answer_puts(&q->out, ",");
	answer_puts(&q->out, "{\"meter\":");
	answer_string(&q->out, line->meter);
	answer_puts(&q->out, ",\"function\":");
	answer_string(&q->out, line->function);
	answer_puts(&q->out, ",\"from\":");
	add_time(&q->out, line->t);
	answer_puts(&q->out, ",\"to\":");
	add_time(&q->out, line->until);
	answer_printf(&q->out, ",\"readings\":%lld,\"runs\":%lld,\"low\":", (long long)line->readings,
	              (long long)line->runs);
	if (line->has_value) {
		add_double(&q->out, line->low);
		answer_puts(&q->out, ",\"high\":");
		add_double(&q->out, line->high);
	} else {
		answer_puts(&q->out, "null,\"high\":null");
	}
	answer_puts(&q->out, "}");
	return true;
}

/* A run that is not sealed, as a line of its own. */
static bool open_line_add(void *arg, const char *text, size_t len)
{
	struct trail_summary run;
	if (!trail_summary_read(text, len, &run))
		return true;
	const struct log_line line = { .meter = run.meter, .function = function_name(run.function),
		.t = run.t, .until = run.t + run.span, .readings = run.all.n, .runs = 1,
		.has_value = run.all.has_value, .low = run.all.low, .high = run.all.high };
	return line_add(arg, &line);
}

bool query_trail_lines(struct query *q, json_t *params)
{
	const char *meter = NULL, *position = NULL;
	bool unsealed = false;
	const struct param list[] = { { "meter", PARAM_TEXT, false, &meter },
		                          { "position", PARAM_TEXT, false, &position },
		                          { "unsealed", PARAM_FLAG, false, &unsealed } };
	if (!params_read("trail.lines", params, list, 3, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	struct asked asked;
	if (!asked_begin(q, position, &asked))
		return false;
	const struct log_trail_query open = { .meter = meter, .position = position, .from = INT64_MIN,
		.to = INT64_MAX, .unsealed = open_line_add };
	bool good = true;
	answer_puts(&q->out, "{");
	/* First: what is sealed meanwhile is named twice, and not left out. */
	if (unsealed) {
		answer_puts(&q->out, "\"unsealed\":[");
		good = log_reader_unsealed(q->reader, &open, q, q->why);
		answer_puts(&q->out, "],");
	}
	answer_puts(&q->out, "\"lines\":[");
	good = good && log_reader_lines(q->reader, meter, position, line_add, q, q->why);
	asked_end(&asked);
	if (!good)
		return query_refuse(q, WIRE_UNREADABLE);
	answer_puts(&q->out, "]}");
	return true;
}

/* ---- envelope ---- */

static void column_add(struct answer *a, int i, const struct log_column *c)
{
	answer_printf(a, "%s[%d,%lld,", a->bytes[a->len - 1] == '[' ? "" : ",", i, (long long)c->n);
	if (c->has_value) {
		const double x[] = { c->low, c->high, c->first, c->last };
		for (int k = 0; k < 4; k++) {
			add_double(a, x[k]);
			answer_puts(a, ",");
		}
	} else {
		answer_puts(a, "null,null,null,null,");
	}
	add_double(a, (double)c->silence / 1e6);
	answer_puts(a, "]");
}

bool query_trail_envelope(struct query *q, json_t *params)
{
	struct log_envelope_query what = { .meter = NULL };
	const char *from = NULL, *to = NULL;
	int64_t columns = COLUMNS, open = 0;
	bool unsealed = false;
	const struct param list[] = {
		{ "meter", PARAM_TEXT, true, &what.meter },
		{ "function", PARAM_TEXT, true, &what.function },
		{ "from", PARAM_TEXT, true, &from },
		{ "to", PARAM_TEXT, true, &to },
		{ "position", PARAM_TEXT, false, &what.position },
		{ "columns", PARAM_WHOLE, false, &columns },
		{ "unsealed", PARAM_FLAG, false, &unsealed },
	};
	if (!params_read("trail.envelope", params, list, sizeof list / sizeof *list, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!read_time(q, "trail.envelope", "from", from, &what.from) ||
	    !read_time(q, "trail.envelope", "to", to, &what.to))
		return false;
	if (columns < 1 || columns > COLUMNS_MAX || what.to <= what.from) {
		fault_set(q->why, "trail.envelope: %s", what.to <= what.from ? "to must be later than from"
		          : "columns must be 1 to 8000");
		return query_refuse(q, WIRE_BAD_PARAMS);
	}
	what.columns = (int)columns;
	what.unsealed = unsealed ? &open : NULL;
	struct log_column *column = calloc((size_t)columns, sizeof *column);
	struct asked asked;
	if (!column)
		return query_no_memory(q);
	if (!asked_begin(q, what.position, &asked)) {
		free(column);
		return false;
	}
	bool good = log_reader_envelope(q->reader, &what, column, q->why);
	asked_end(&asked);
	if (good) {
		answer_puts(&q->out, "{\"from\":");
		add_time(&q->out, what.from);
		answer_puts(&q->out, ",\"to\":");
		add_time(&q->out, what.to);
		answer_printf(&q->out, ",\"width\":%d,\"columns\":[", what.columns);
		for (int i = 0; i < what.columns; i++)
			if (column[i].n)
				column_add(&q->out, i, &column[i]);
		answer_puts(&q->out, "]");
		if (unsealed)
			answer_printf(&q->out, ",\"unsealed\":%lld", (long long)open);
		answer_puts(&q->out, "}");
	}
	free(column);
	return good || query_refuse(q, WIRE_UNREADABLE);
}
