/* SPDX-License-Identifier: MIT */
/*
 * Entries as a table: what was measured, the verdict, and what to do next.
 */
#include "client/view.h"

#include "protocol/trade/quantity.h"

#include <stdio.h>
#include <string.h>

enum table_mark view_mark(struct slice entry)
{
	if (words_member_is(entry, "verdict", "outside"))
		return TABLE_BAD;
	return words_member_is(entry, "verdict", "unsure") ? TABLE_WARNING : TABLE_ORDINARY;
}

/* "; " between the parts of a remark. */
static void part(struct lines *out, size_t start, const char *text)
{
	if (!text[0])
		return;
	if (out->len > start)
		lines_puts(out, "; ");
	lines_puts(out, text);
}

/* An object, and not null, false or nothing. */
static bool said(struct slice s)
{
	return s.at && *s.at == '{';
}

static void struck_part(struct slice struck, size_t start, struct lines *out)
{
	int64_t seq = 0;
	char because[WORDS_SIZE], text[WORDS_SIZE + 64];
	if (!said(struck))
		return;
	json_int(json_member(struck.at, struck.len, "seq"), &seq);
	words_member(struck, "because", because, sizeof because);
	snprintf(text, sizeof text, "STRUCK by %lld%s%s", (long long)seq, because[0] ? ": " : "",
	         because);
	part(out, start, text);
}

/* Reason and what to do next; the judge's own words where it has some. */
static void reason_part(const struct style *style, struct slice entry, size_t start,
                        struct lines *out)
{
	char reason[48], why[WORDS_SIZE], deviation[WORDS_SIZE], text[WORDS_SIZE * 2];
	words_member(entry, "reason", reason, sizeof reason);
	words_member(entry, "why", why, sizeof why);
	words_deviation(style, entry, deviation, sizeof deviation);
	/* "more negative" stands in the deviation already. */
	if (why[0] && strstr(deviation, why))
		why[0] = '\0';
	const char *means = why[0] ? why : words_reason(reason), *next = words_next(reason);
	char said_next[WORDS_SIZE];
	words_member(entry, "next", said_next, sizeof said_next);
	if (said_next[0] && means[0])
		next = said_next;
	/* A colon: the judge has said what to do. */
	if (strchr(means, ':'))
		next = "";
	snprintf(text, sizeof text, "%s%s%s", means, next[0] ? ": " : "", next);
	part(out, start, text);
}

/* What is judged where the leads were taken off; `shown` is what the meter gave. */
static void offset_part(const struct style *style, struct slice entry, size_t start,
                        struct lines *out)
{
	struct decimal value, digit;
	enum function f;
	int64_t prefix = 0;
	char word[32], shown[WORDS_SIZE], text[WORDS_SIZE + 16], number[WORDS_SIZE];
	if (!json_member(entry.at, entry.len, "raw").at ||
	    !json_decimal(json_member(entry.at, entry.len, "value"), &value) ||
	    !json_decimal(json_member(entry.at, entry.len, "digit"), &digit) ||
	    !decimal_rescale(value, decimal_strip(digit).e, &value))
		return;
	words_member(entry, "function", word, sizeof word);
	json_int(json_member(entry.at, entry.len, "prefix"), &prefix);
	if (!function_from_name(word, strlen(word), &f) || prefix < -15 || prefix > 12)
		return;
	quantity_shown(value, f, (int)prefix, shown, sizeof shown);
	words_value(style, shown, number, sizeof number);
	snprintf(text, sizeof text, "%.100s without the leads", number);
	part(out, start, text);
}

/* "at 31.5 Hz": of alternating volts and amps. */
static void frequency_part(struct slice entry, size_t start, struct lines *out)
{
	char text[80], hertz[40];
	words_hertz(entry, hertz, sizeof hertz);
	if (hertz[0] &&
	    (words_member_is(entry, "function", "volt-ac") ||
	     words_member_is(entry, "function", "amp-ac"))) {
		snprintf(text, sizeof text, "at %s", hertz);
		part(out, start, text);
	}
}

/* "dissipation 0.0871 within", what the meter sent beside the value. */
static void second_part(const struct style *style, struct slice entry, size_t start,
                        struct lines *out)
{
	struct slice s = json_member(entry.at, entry.len, "second");
	struct decimal value, digit;
	enum function f;
	char is[24], word[32], verdict[16], shown[WORDS_SIZE], number[WORDS_SIZE],
	    text[WORDS_SIZE + 80];
	if (!said(s) || !json_decimal(json_member(s.at, s.len, "value"), &value) ||
	    !json_decimal(json_member(s.at, s.len, "digit"), &digit) ||
	    !decimal_rescale(value, decimal_strip(digit).e, &value))
		return;
	words_member(s, "is", is, sizeof is);
	words_member(s, "function", word, sizeof word);
	words_member(s, "verdict", verdict, sizeof verdict);
	if (!function_from_name(word, strlen(word), &f))
		return;
	quantity_shown(value, f, f == FUNCTION_NUMBER ? 0 : quantity_prefix(value, f), shown,
	               sizeof shown);
	words_value(style, shown, number, sizeof number);
	bool judged = verdict[0] && strcmp(verdict, "none") != 0;
	snprintf(text, sizeof text, "%s %.100s%s%s%s", is, number, judged ? " " : "",
	         judged ? verdict : "", judged && words_member_is(s, "accuracy", "assumed")
	         ? " (accuracy assumed)" : "");
	part(out, start, text);
}

/* "at 1 kHz, series": how both values were measured. */
static void method_part(struct slice entry, size_t start, struct lines *out)
{
	char text[120], hertz[40], mode[40];
	if (!said(json_member(entry.at, entry.len, "second")))
		return;
	words_hertz(entry, hertz, sizeof hertz);
	words_member(entry, "mode", mode, sizeof mode);
	if (!hertz[0] && !mode[0])
		return;
	snprintf(text, sizeof text, "%s%s%s%s", hertz[0] ? "at " : "", hertz, hertz[0] && mode[0] ? ", " : "",
	         mode);
	part(out, start, text);
}

/* As it was sold, or in doubt, and yet too far off for its place: the plan goes by that. */
static void service_part(const struct style *style, struct slice entry, size_t start,
                         struct lines *out)
{
	struct slice service = json_member(entry.at, entry.len, "service");
	struct slice limits = json_member(service.at, service.len, "limits");
	char bounds[WORDS_SIZE], next[WORDS_SIZE], text[2 * WORDS_SIZE + 80];
	if (!words_member_is(service, "verdict", "outside") ||
	    words_member_is(entry, "verdict", "outside") || !limits.at)
		return;
	words_limits_of(style, entry, limits, bounds, sizeof bounds);
	words_member(service, "next", next, sizeof next);
	snprintf(text, sizeof text, "outside what its place can live with%s%s%s%s%s",
	         bounds[0] ? " (" : "", bounds, bounds[0] ? ")" : "", next[0] ? ": " : "", next);
	part(out, start, text);
}

void view_remark(const struct style *style, struct slice entry, struct slice struck,
                 struct lines *out)
{
	size_t start = out->len;
	char because[WORDS_SIZE], text[WORDS_SIZE + 16];
	struck_part(struck, start, out);
	reason_part(style, entry, start, out);
	service_part(style, entry, start, out);
	offset_part(style, entry, start, out);
	frequency_part(entry, start, out);
	second_part(style, entry, start, out);
	method_part(entry, start, out);
	if (!json_bool(json_member(entry.at, entry.len, "settled"), true) &&
	    !words_member_is(entry, "reason", "moving"))
		part(out, start, "taken while it still moved");
	if (words_member_is(entry, "source", "typed")) {
		words_member(entry, "because", because, sizeof because);
		snprintf(text, sizeof text, "typed%s%s", because[0] ? ": " : "", because);
		part(out, start, text);
	}
	if (words_member_is(entry, "against", "fit"))
		part(out, start, "by what is fitted");
	else if (words_member_is(entry, "against", "sheet") &&
	         words_member_is(entry, "condition", "new"))
		part(out, start, "by the sheet, for no fit is known");
	if (json_bool(json_member(entry.at, entry.len, "assumed"), false))
		part(out, start, "limits assumed by its kind");
	if (words_member_is(entry, "accuracy", "assumed"))
		part(out, start, "meter's accuracy assumed");
}

static const struct table_column entry_columns[] = {
	{"seq", true, false},      {"position", false, true}, {"quantity", false, true},
	{"shown", true, true},     {"verdict", false, true},  {"deviation", true, true},
	{"limits", false, false},  {"measured", false, true}, {"meter", false, false},
	{"remark", false, true},
};

void view_entries_begin(struct view_entries *v)
{
	*v = (struct view_entries){.entries = 0};
	table_begin(&v->table, entry_columns, sizeof entry_columns / sizeof entry_columns[0]);
}

void view_entries_end(struct view_entries *v)
{
	table_end(&v->table);
}

static void count(struct view_entries *v, bool struck, const char *verdict)
{
	v->entries++;
	if (struck)
		v->struck++;
	else if (strcmp(verdict, "within") == 0)
		v->within++;
	else if (strcmp(verdict, "outside") == 0)
		v->outside++;
	else if (strcmp(verdict, "unsure") == 0)
		v->unsure++;
	else
		v->unjudged++;
}

/* A member as a cell. */
static void member_cell(struct table *t, struct slice object, const char *path)
{
	char text[WORDS_SIZE];
	words_member(object, path, text, sizeof text);
	table_cell(t, text);
}

/* What was said of the entry afterwards stands at the end of its remark. */
static void said_part(struct slice moved, struct slice rejudged, struct slice renamed,
                      struct lines *out)
{
	char text[WORDS_SIZE], whole[WORDS_SIZE + 80];
	int64_t seq = 0;
	if (said(moved)) {
		json_int(json_member(moved.at, moved.len, "seq"), &seq);
		words_member(moved, "from", text, sizeof text);
		snprintf(whole, sizeof whole, "moved from %s by %lld", text, (long long)seq);
		part(out, 0, whole);
	}
	if (said(renamed)) {
		json_int(json_member(renamed.at, renamed.len, "seq"), &seq);
		words_member(renamed, "from", text, sizeof text);
		snprintf(whole, sizeof whole, "was %s until %lld", text, (long long)seq);
		part(out, 0, whole);
	}
	if (said(rejudged)) {
		json_int(json_member(rejudged.at, rejudged.len, "seq"), &seq);
		words_member(rejudged, "because", text, sizeof text);
		snprintf(whole, sizeof whole, "judged anew by %lld%s%s", (long long)seq,
		         text[0] ? ": " : "", text);
		part(out, 0, whole);
	}
}

/* The entry as it is judged now: its own members, with those of the rejudgement
 * before them, for the first of a name is the one that is found. */
static void judged_now(struct slice entry, struct slice rejudged, struct lines *out)
{
	static const char *const members[] = {"verdict", "side", "reason", "deviation", "limits",
	                                      "assumed", "other", "why", "next", "service", "against"};
	lines_puts(out, "{");
	for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
		struct slice s = json_member(rejudged.at, rejudged.len, members[i]);
		if (s.at)
			lines_printf(out, "\"%s\":%.*s,", members[i], (int)s.len, s.at);
		else
			lines_printf(out, "\"%s\":null,", members[i]);
	}
	/* The value stays, its verdict is the new one. */
	struct slice second = json_member(entry.at, entry.len, "second");
	struct slice anew = json_member(rejudged.at, rejudged.len, "second");
	if (said(second) && said(anew) && anew.len > 2)
		lines_printf(out, "\"second\":{%.*s,%.*s,", (int)anew.len - 2, anew.at + 1,
		             (int)second.len - 1, second.at + 1);
	lines_add(out, entry.at + 1, entry.len - 1);
}

void view_entries_add(struct view_entries *v, const struct style *style, struct slice element)
{
	struct slice entry = json_member(element.at, element.len, "record");
	struct slice struck = json_member(element.at, element.len, "struck");
	struct slice moved = json_member(element.at, element.len, "moved");
	struct slice rejudged = json_member(element.at, element.len, "rejudged");
	struct slice renamed = json_member(element.at, element.len, "renamed");
	struct lines now = {0}, remark = {0};
	char text[WORDS_SIZE], other[WORDS_SIZE];
	struct table *t = &v->table;
	int64_t seq = 0;
	if (!said(entry))
		return;
	if (said(rejudged)) {
		judged_now(entry, rejudged, &now);
		entry = (struct slice){lines_text(&now), now.len};
	}
	json_int(json_member(entry.at, entry.len, "seq"), &seq);
	table_row(t, said(struck) ? TABLE_FAINT : view_mark(entry));
	table_printf(t, "%lld", (long long)seq);
	/* The name that it has now; daemons before that say it where it was moved. */
	bool named = json_member(element.at, element.len, "position").at != NULL;
	member_cell(t, named ? element : said(moved) ? moved : entry, "position");
	member_cell(t, entry, "quantity");
	words_member(entry, "shown", other, sizeof other);
	words_value(style, other, text, sizeof text);
	table_cell(t, text);
	words_member(entry, "verdict", text, sizeof text);
	count(v, said(struck), text);
	words_mark(style, text, text[0] && strcmp(text, "none") != 0 ? text : "unjudged", other, sizeof other);
	table_cell(t, other);
	words_deviation(style, entry, text, sizeof text);
	table_cell(t, text);
	words_limits(style, entry, text, sizeof text);
	table_cell(t, text);
	words_member(entry, "condition", text, sizeof text);
	words_member(entry, "reach", other, sizeof other);
	table_printf(t, "%.60s%s%.60s", text, text[0] && other[0] ? ", " : "", other);
	member_cell(t, entry, "meter");
	view_remark(style, entry, struck, &remark);
	said_part(moved, rejudged, renamed, &remark);
	table_cell(t, lines_text(&remark));
	lines_free(&remark);
	lines_free(&now);
}

static void counted(struct lines *out, const char **gap, int n, const char *word)
{
	if (n)
		lines_printf(out, "%s%d %s", *gap, n, word);
	if (n)
		*gap = ", ";
}

void view_entries_print(struct view_entries *v, const struct style *style, struct lines *out)
{
	table_print(&v->table, style, out);
	if (!v->entries) {
		lines_puts(out, "no entries yet\n");
		return;
	}
	const char *gap = ": ";
	lines_printf(out, "%d %s", v->entries, v->entries == 1 ? "entry" : "entries");
	counted(out, &gap, v->within, "within");
	counted(out, &gap, v->outside, "outside");
	counted(out, &gap, v->unsure, "unsure");
	counted(out, &gap, v->unjudged, "without limits");
	counted(out, &gap, v->struck, "struck");
	lines_puts(out, "\n");
}
