/* SPDX-License-Identifier: MIT */
/*
 * A touch as lines: readings that are alike stand in one, what is longer than a screen can show is
 * drawn together (least to greatest), and a silence is said, so that nothing seems to be seen
 * that was not.  Times are seconds before and after the moment at which it was logged.
 */
#include "client/view_touch.h"

#include "protocol/trade/reading.h"

#include <stdio.h>
#include <string.h>

#define ROWS_MAX 16 /* of one phase */
static const double silence = 1.5; /* s; and more than five usual periods */

struct row {
	int from, to;   /* readings, both in it */
	bool has_value; /* of all of them */
	struct decimal low, high;
};

static bool alike(const struct touch_reading *a, const struct touch_reading *b)
{
	return a->has_value == b->has_value && a->state == b->state &&
	       (!a->has_value || decimal_compare(a->value, b->value) == 0);
}

static void take_in(struct row *row, const struct touch_reading *r, int at)
{
	row->to = at;
	if (decimal_compare(r[at].value, row->low) < 0)
		row->low = r[at].value;
	if (decimal_compare(r[at].value, row->high) > 0)
		row->high = r[at].value;
}

static struct row row_at(const struct touch_reading *r, int at)
{
	return (struct row){at, at, r[at].has_value, r[at].value, r[at].value};
}

static void shown(const struct style *style, const struct touch_reading *r, enum function f,
                  int prefix, struct decimal d, char *out, size_t size)
{
	char text[80];
	if (!r->has_value) {
		snprintf(out, size, "%s", reading_state_word(r->state));
		return;
	}
	quantity_shown(d, f, prefix, text, sizeof text);
	words_value(style, text, out, size);
}

static void row_line(const struct style *style, const struct touch_reading *r, const struct row *row,
                     int64_t zero, enum function f, int prefix, struct lines *out)
{
	char low[100], high[100], when[80];
	double from = (double)(r[row->from].t - zero) / 1e6, to = (double)(r[row->to].t - zero) / 1e6;
	int n = row->to - row->from + 1;
	/* Of a capacitor the residual of open leads has another prefix. */
	if (row->has_value && quantity_prefix(row->high, f) < prefix - 3)
		prefix = quantity_prefix(row->high, f);
	from = from > -0.005 && from < 0 ? 0 : from;
	to = to > -0.005 && to < 0 ? 0 : to;
	if (n > 1)
		snprintf(when, sizeof when, "%+.2f to %+.2f s", from, to);
	else
		snprintf(when, sizeof when, "%+.2f s", from);
	shown(style, &r[row->from], f, prefix, row->low, low, sizeof low);
	shown(style, &r[row->from], f, prefix, row->high, high, sizeof high);
	bool one = strcmp(low, high) == 0;
	if (style->plain)
		lines_printf(out, "%s: %s%s%s", when, low, one ? "" : " to ", one ? "" : high);
	else
		lines_printf(out, "  %22s  %s%s%s", when, low, one ? "" : " to ", one ? "" : high);
	if (n > 1)
		lines_printf(out, ", %d readings", n);
	lines_puts(out, "\n");
}

/* The usual time between two readings: the middle one would need sorting; the mean of those
 * that are no silence will do. */
static double period(const struct touch_reading *r, int n)
{
	double sum = 0;
	int count = 0;
	for (int i = 1; i < n; i++) {
		double gap = (double)(r[i].t - r[i - 1].t) / 1e6;
		if (gap < silence) {
			sum += gap;
			count++;
		}
	}
	return count ? sum / count : 0;
}

static bool silent(const struct touch_reading *r, int i, double usual)
{
	double gap = (double)(r[i].t - r[i - 1].t) / 1e6;
	return gap > silence && gap > 5 * usual;
}

/* How many lines the readings from..to make, where so many values may share one. */
static int rows_of(const struct touch_reading *r, int from, int to, int share, double usual,
                   struct row *row)
{
	int n = 0, in_row = 0;
	struct row now = {0};
	for (int i = from; i <= to; i++) {
		bool joins = i > from && !silent(r, i, usual) && r[i].has_value == now.has_value &&
		             r[i].state == r[i - 1].state &&
		             (alike(&r[i], &r[i - 1]) || (r[i].has_value && in_row < share));
		if (joins) {
			in_row += !alike(&r[i], &r[i - 1]);
			take_in(&now, r, i);
		} else {
			now = row_at(r, i);
			in_row = 1;
			n++;
		}
		if (row && n <= ROWS_MAX)
			row[n - 1] = now;
	}
	return n;
}

static void phase(const struct style *style, const struct touch_reading *r, int from, int to,
                  const char *name, int64_t zero, enum function f, int prefix, double usual,
                  struct lines *out)
{
	struct row row[ROWS_MAX];
	int share = 1, n;
	lines_printf(out, "%s%s\n", name, from > to ? ": nothing" : "");
	if (from > to)
		return;
	while ((n = rows_of(r, from, to, share, usual, NULL)) > ROWS_MAX && share < to - from + 1)
		share *= 2;
	n = rows_of(r, from, to, share, usual, row);
	for (int i = 0; i < n && i < ROWS_MAX; i++) {
		if (row[i].from > 0 && silent(r, row[i].from, usual))
			lines_printf(out, style->plain ? "%s%.1f s without a reading\n"
			             : "  %22s  %.1f s without a reading\n", "",
			             (double)(r[row[i].from].t - r[row[i].from - 1].t) / 1e6);
		row_line(style, r, &row[i], zero, f, prefix, out);
	}
	if (n > ROWS_MAX)
		lines_printf(out, "  and %d more stretches\n", n - ROWS_MAX);
}

void view_touch(const struct style *style, struct slice entry, const struct touch_reading *r, int n,
                struct lines *out)
{
	char word[WORDS_SIZE], value[WORDS_SIZE], deviation[WORDS_SIZE], verdict[32];
	enum function f = FUNCTION_NONE;
	int64_t zero = 0, prefix = 0;
	int first = n, last = -1;
	words_member(entry, "function", word, sizeof word);
	function_from_name(word, strlen(word), &f);
	json_time(json_member(entry.at, entry.len, "t"), &zero);
	json_int(json_member(entry.at, entry.len, "prefix"), &prefix);
	for (int i = 0; i < n; i++)
		if (r[i].used) {
			first = first == n ? i : first;
			last = i;
		}
	double usual = period(r, n);
	if (last < 0) { /* its readings are not there any more: what is, by the time alone */
		for (first = 0; first < n && r[first].t <= zero; first++)
			;
		last = first - 1;
	}
	phase(style, r, 0, first - 1, "before", zero, f, (int)prefix, usual, out);
	phase(style, r, first, last, "during: the entry was made from these", zero, f, (int)prefix, usual,
	      out);
	words_member(entry, "shown", word, sizeof word);
	words_value(style, word, value, sizeof value);
	words_member(entry, "verdict", verdict, sizeof verdict);
	words_deviation(style, entry, deviation, sizeof deviation);
	bool judged = verdict[0] && strcmp(verdict, "none");
	if (!style->plain)
		lines_printf(out, "  %22s  ", "0 s");
	lines_printf(out, "logged: %s%s%s%s%s\n", value, judged ? ", " : "", judged ? verdict : "",
	             deviation[0] ? ", " : "", deviation);
	phase(style, r, last + 1, n - 1, "after", zero, f, (int)prefix, usual, out);
}
