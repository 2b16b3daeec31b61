/* SPDX-License-Identifier: MIT */
/*
 * Records, events and frames as they come: one line each.
 *
 *        14  10:00:03  R12       value         612 kohm  outside  30.2 % high; carbon, ...
 *        15  10:00:21  note      R12: smells burnt
 *            10:00:22  moving    R13: red
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

/* Columns of the line; what is longer pushes the rest on. */
#define PLACE_WIDTH 10
#define QUANTITY_WIDTH 8
#define SHOWN_WIDTH 13
#define VERDICT_WIDTH 7
#define SEQ_WIDTH 6

static void padded(struct lines *out, const char *text, size_t width, bool right)
{
	size_t w = words_width(text, strlen(text));
	if (right && w < width)
		lines_fill(out, ' ', width - w);
	lines_puts(out, text);
	if (!right && w < width)
		lines_fill(out, ' ', width - w);
}

/* "    14  10:00:03  "; plain "record 14, 10:00:03, ". seq 0: an event. */
static void begin(const struct style *style, struct slice object, int64_t seq, struct lines *out)
{
	char time[32], number[32] = "";
	words_time(style, json_member(object.at, object.len, "t"), false, time, sizeof time);
	if (style->plain) {
		if (seq)
			lines_printf(out, "record %lld, ", (long long)seq);
		if (time[0])
			lines_printf(out, "%s, ", time);
		return;
	}
	if (seq)
		snprintf(number, sizeof number, "%lld", (long long)seq);
	padded(out, number, SEQ_WIDTH, true);
	lines_printf(out, "  %s  ", time);
}

/* ---- entries ---- */

static void entry_plain(const struct style *style, struct slice entry, struct lines *out)
{
	static const char *const members[] = {"position", "quantity", "shown", "verdict"};
	char text[WORDS_SIZE];
	const char *gap = "entry ";
	for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
		words_member(entry, members[i], text, sizeof text);
		if (!text[0] || strcmp(text, "none") == 0)
			continue;
		lines_printf(out, "%s%s", gap, text);
		gap = ", ";
	}
	words_deviation(style, entry, text, sizeof text);
	if (text[0])
		lines_printf(out, ", %s", text);
}

static void entry_columns(const struct style *style, struct slice entry, struct lines *out)
{
	char text[WORDS_SIZE], shown[WORDS_SIZE];
	enum table_mark mark = view_mark(entry);
	words_member(entry, "position", text, sizeof text);
	padded(out, text, PLACE_WIDTH, false);
	lines_puts(out, "  ");
	words_member(entry, "quantity", text, sizeof text);
	padded(out, text, QUANTITY_WIDTH, false);
	lines_puts(out, " ");
	words_member(entry, "shown", shown, sizeof shown);
	words_value(style, shown, text, sizeof text);
	padded(out, text, SHOWN_WIDTH, true);
	words_member(entry, "verdict", text, sizeof text);
	if (!text[0] || strcmp(text, "none") == 0)
		snprintf(text, sizeof text, "-");
	lines_printf(out, "  %s", table_colour(style, mark));
	padded(out, text, VERDICT_WIDTH, false);
	lines_puts(out, table_colour_end(style, mark));
	words_deviation(style, entry, text, sizeof text);
	if (text[0])
		lines_printf(out, "  %s", text);
}

static void view_entry(const struct style *style, struct slice entry, struct lines *out)
{
	struct lines remark = {0};
	if (style->plain)
		entry_plain(style, entry, out);
	else
		entry_columns(style, entry, out);
	view_remark(style, entry, (struct slice){NULL, 0}, &remark);
	if (remark.len)
		lines_printf(out, "%s%s", style->plain ? ", " : "; ", lines_text(&remark));
	lines_free(&remark);
}

/* ---- the other kinds ---- */

/* Which members of a kind are said, in this order; what stands after '=' is said
 * before the value ("at=" alone: the member's own name).  Kinds that are not here
 * say all their simple members. */
static const struct {
	const char *kind, *members;
} kind_table[] = {
	{"log", "bench= version= identity="},
	{"clock", "cause step=seconds version="},
	{"aside", "why file=now head=last"},
	{"job", "job state unit condition reach because"},
	{"alarm", "alarm on= meter= position=at text"},
	{"guide", "guide of event step failed=because result.leakage.value=amps result.verdict="},
	{"sheet", "job file count=positions"},
	{"position", "position change sheet.kind= sheet.written.nominal= sheet.written.tolerance="},
	{"note", "position text"},
	{"strike", "of=entry position because"},
	{"move", "of=entry from= position=to because"},
	{"fit", "position fit.kind= fit.written.nominal= fit.written.tolerance= fit.rated=rated fit.part="},
	{"rename", "from= position=to"},
	{"rejudge", "of=entry position verdict side reason because"},
	{"offset", "meter leads=leads shown function"},
	{"check", "meter position=at shown nominal= en=E_n agree="},
	{"meter", "meter state dialect= identity= cause"},
	{"gap", "meter cause lost=lost from= to="},
	{"bad", "meter count=frames"},
	{"trail", "meter n=readings function position=at"},
};

/* A simple value for people; false for objects, arrays, null and what is not there. */
static bool simple(struct slice value, char *out, size_t size)
{
	out[0] = '\0';
	if (!value.at || !value.len || json_absent(value) || *value.at == '{' || *value.at == '[')
		return false;
	if (*value.at == '"')
		words_string(value, out, size);
	else
		words_clean(value.at, value.len, out, size);
	return out[0] != '\0';
}

static bool say_member(const struct style *style, struct slice record, const char *item,
                       size_t len, const char **gap, struct lines *out)
{
	char path[64], label[80] = "", value[WORDS_SIZE];
	const char *equals = memchr(item, '=', len);
	size_t name = equals ? (size_t)(equals - item) : len;
	snprintf(path, sizeof path, "%.*s", (int)name, item);
	if (equals)
		snprintf(label, sizeof label, "%.*s ", (int)(len - name - 1), equals + 1);
	if (equals && len == name + 1) {
		const char *dot = strrchr(path, '.');
		snprintf(label, sizeof label, "%s ", dot ? dot + 1 : path);
	}
	struct slice s = json_member(record.at, record.len, path);
	int64_t us;
	if (!simple(s, value, sizeof value))
		return false;
	if (time_parse(value, strlen(value), &us))
		words_time(style, s, false, value, sizeof value);
	lines_printf(out, "%s%s%s", *gap, label, value);
	*gap = ", ";
	return true;
}

/* All simple members but those that every record begins with. */
static void say_all(struct slice record, struct lines *out)
{
	size_t cursor = 0;
	struct slice key, value;
	const char *gap = "";
	while (json_next_member(record, &cursor, &key, &value)) {
		char text[WORDS_SIZE], name[64];
		words_clean(key.at, key.len, name, sizeof name);
		if (strcmp(name, "seq") == 0 || strcmp(name, "t") == 0 || strcmp(name, "kind") == 0)
			continue;
		if (simple(value, text, sizeof text)) {
			lines_printf(out, "%s%s %s", gap, name, text);
			gap = ", ";
		}
	}
}

static void say_kind(const struct style *style, struct slice record, const char *kind,
                     struct lines *out)
{
	bool said = false;
	for (size_t i = 0; i < sizeof kind_table / sizeof kind_table[0]; i++) {
		if (strcmp(kind, kind_table[i].kind) != 0)
			continue;
		const char *at = kind_table[i].members, *gap = "";
		while (*at) {
			size_t n = strcspn(at, " ");
			said |= say_member(style, record, at, n, &gap, out);
			at += n + (at[n] == ' ');
		}
	}
	if (!said)
		say_all(record, out);
}

void view_record(const struct style *style, struct slice record, struct lines *out)
{
	char kind[64];
	int64_t seq = 0;
	words_member(record, "kind", kind, sizeof kind);
	json_int(json_member(record.at, record.len, "seq"), &seq);
	begin(style, record, seq, out);
	if (strcmp(kind, "entry") == 0) {
		view_entry(style, record, out);
	} else if (style->plain) {
		lines_printf(out, "%s ", kind);
		say_kind(style, record, kind, out);
	} else {
		padded(out, kind, PLACE_WIDTH, false);
		lines_puts(out, "  ");
		say_kind(style, record, kind, out);
	}
	lines_puts(out, "\n");
}

/* ---- events ---- */

/* What is said where the daemon gives no sentence of its own. */
static const struct {
	const char *event, *means;
} event_table[] = {
	{"moving", "keeps moving: `tally take` logs it as it stands"},
	{"held", "looks like another part: `tally take` logs it all the same"},
	{"doubt", "may be floating: `tally take` logs it"},
	{"other", "now the other meter, on the same part"},
	{"disagree", "the meters disagree"},
	{"errand", "waits for the probes"},
	{"mute", "names are not said any more"},
	{"guide", "guided run"},
	{"reloaded", "the daemon has read its configuration anew"},
	{"refused", "refused"},
	{"not-logged", "NOT LOGGED"},
	{"gone", "is gone"},
	{"back", "is back"},
	{"stale", "is stale"},
	{"fresh", "reads again"},
};

/* One member of an event, with what parts it from those before. */
static bool event_member(struct slice event, const char *name, const char *before,
                         struct lines *out)
{
	char text[WORDS_SIZE];
	if (!simple(json_member(event.at, event.len, name), text, sizeof text))
		return false;
	lines_printf(out, "%s%s", before, text);
	return true;
}

/* An event that is not known here: its simple members, as they stand. */
static void event_members(struct slice event, struct lines *out)
{
	size_t cursor = 0;
	struct slice key, value;
	const char *gap = "";
	while (json_next_member(event, &cursor, &key, &value)) {
		char name[64], text[WORDS_SIZE];
		words_clean(key.at, key.len, name, sizeof name);
		if (strcmp(name, "event") == 0 || strcmp(name, "t") == 0 ||
		    strcmp(name, "armed") == 0 || strcmp(name, "up") == 0 || !simple(value, text, sizeof text))
			continue;
		lines_printf(out, "%s%s", gap, text);
		gap = ", ";
	}
	if (words_member_is(event, "armed", "no"))
		lines_printf(out, "%slift the probes first", gap);
}

/* "R13, red, 612 kohm: far from this nominal, like R14: why" */
static void event_words(struct slice event, const char *means, struct lines *out)
{
	static const char *const subject[] = {"position", "meter", "shown"};
	const char *gap = "";
	for (size_t i = 0; i < sizeof subject / sizeof subject[0]; i++)
		if (event_member(event, subject[i], gap, out))
			gap = ", ";
	if (!event_member(event, "text", gap[0] ? ": " : "", out))
		lines_printf(out, "%s%s", gap[0] ? ": " : "", means);
	event_member(event, "looks", ", like ", out);
	event_member(event, "why", ": ", out);
}

void view_event(const struct style *style, struct slice event, struct lines *out)
{
	char name[64];
	const char *means = "";
	words_member(event, "event", name, sizeof name);
	/* Its record comes anyway. */
	if (strcmp(name, "logged") == 0 || strcmp(name, "offset") == 0 ||
	    strcmp(name, "check") == 0 || strcmp(name, "moved") == 0 ||
	    strcmp(name, "renamed") == 0)
		return;
	for (size_t i = 0; i < sizeof event_table / sizeof event_table[0]; i++)
		if (strcmp(name, event_table[i].event) == 0)
			means = event_table[i].means;
	enum table_mark mark = strcmp(name, "not-logged") == 0 ? TABLE_BAD
	                     : strcmp(name, "refused") == 0 ? TABLE_WARNING : TABLE_ORDINARY;
	begin(style, event, 0, out);
	lines_puts(out, table_colour(style, mark));
	if (style->plain)
		lines_printf(out, "%s: ", name);
	else
		padded(out, name, PLACE_WIDTH, false);
	if (!style->plain)
		lines_puts(out, "  ");
	if (means[0])
		event_words(event, means, out);
	else
		event_members(event, out);
	lines_puts(out, table_colour_end(style, mark));
	lines_puts(out, "\n");
}

/* ---- frames ---- */

/* The readings of a frame, one after the other: a meter may show two at once. */
static void frame_readings(const struct style *style, struct slice shown, char *out, size_t size)
{
	struct slice one;
	char text[WORDS_SIZE], value[WORDS_SIZE];
	size_t cursor = 0, at = 0;
	out[0] = '\0';
	while (json_next(shown, &cursor, &one) && at < size) {
		words_string(one, text, sizeof text);
		words_value(style, text, value, sizeof value);
		int n = snprintf(out + at, size - at, "%s%s", at ? ", " : "", value);
		at += n > 0 ? (size_t)n : 0;
	}
}

void view_frame(const struct style *style, struct slice frame, struct lines *out)
{
	char time[64], bytes[4 * WORDS_SIZE], said[WORDS_SIZE], shown[WORDS_SIZE], why[WORDS_SIZE];
	char fault[WORDS_SIZE];
	words_time(style, json_member(frame.at, frame.len, "t"), false, time, sizeof time);
	words_member(frame, "bytes", bytes, sizeof bytes);
	words_member(frame, "fault", fault, sizeof fault);
	words_member(frame, "said", said, sizeof said);
	words_member(frame, "why", why, sizeof why);
	frame_readings(style, json_member(frame.at, frame.len, "shown"), shown, sizeof shown);
	bool bad = strcmp(said, "nothing") == 0;
	lines_printf(out, "%s%s", time, style->plain ? ", " : "  ");
	lines_printf(out, "\"%s\"", bytes);
	if (!style->plain) {
		size_t w = words_width(bytes, strlen(bytes)) + 2;
		lines_fill(out, ' ', w < 28 ? 28 - w : 0);
	}
	lines_printf(out, "%s%s", style->plain ? ", " : "  ", bad ? table_colour(style, TABLE_BAD) : "");
	const char *gap = "";
	const char *parts[] = {shown,
	                       bad ? "not understood"
	                       : shown[0] && strcmp(said, "readings") == 0 ? "" : said,
	                       strcmp(fault, "good") == 0 || strstr(why, fault) ? "" : fault, why};
	for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
		if (!parts[i][0])
			continue;
		lines_printf(out, "%s%s", gap, parts[i]);
		gap = ", ";
	}
	lines_puts(out, bad ? table_colour_end(style, TABLE_BAD) : "");
	lines_puts(out, "\n");
}
