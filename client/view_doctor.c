/* SPDX-License-Identifier: MIT */
/*
 * What the doctor found: meter by meter, what stands in the way and what to do about
 * it; below it the adapters that are there.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

#define LABEL_WIDTH 13

/* "red          " and from there on the text, folded. */
static void say(struct lines *out, const struct style *style, const char *label, const char *text)
{
	if (style->plain) {
		lines_printf(out, "%s%s%s\n", label, label[0] ? ": " : "", text);
		return;
	}
	lines_printf(out, "%-12s ", label);
	size_t width = strlen(label) < LABEL_WIDTH ? LABEL_WIDTH : strlen(label) + 1;
	words_fold(out, style, width, LABEL_WIDTH, text);
	lines_puts(out, "\n");
}

/* A cure may hold quoted commands and be longer than a cell: as long as it is. */
static void member(struct slice object, const char *path, char *out, size_t size)
{
	words_string(json_member(object.at, object.len, path), out, size);
}

static void say_finding(struct lines *out, const struct style *style, const char *label,
                        struct slice finding)
{
	char word[WORDS_SIZE], text[1024], line[2048];
	bool fault = json_bool(json_member(finding.at, finding.len, "fault"), true);
	enum table_mark mark = fault ? TABLE_BAD : TABLE_WARNING;
	member(finding, "word", word, sizeof word);
	member(finding, "text", text, sizeof text);
	snprintf(line, sizeof line, "%s%s (%s): %s%s", table_colour(style, mark),
	         fault ? "IN THE WAY" : "worth knowing", word, text, table_colour_end(style, mark));
	say(out, style, label, line);
	member(finding, "cure", text, sizeof text);
	snprintf(line, sizeof line, "do: %s", text);
	if (text[0])
		say(out, style, style->plain ? label : "", line);
}

static int say_findings(struct lines *out, const struct style *style, const char *label,
                        struct slice of)
{
	struct slice findings = json_member(of.at, of.len, "findings"), finding;
	size_t cursor = 0;
	int n = 0;
	while (json_next(findings, &cursor, &finding))
		say_finding(out, style, n++ && !style->plain ? "" : label, finding);
	return n;
}

/* A meter of which nothing is said: how it stands. */
static void say_well(struct lines *out, const struct style *style, const char *name,
                     struct slice meter)
{
	char text[WORDS_SIZE * 2], state[WORDS_SIZE], node[WORDS_SIZE];
	int64_t good = 0, bad = 0;
	member(meter, "state", state, sizeof state);
	member(meter, "node", node, sizeof node);
	json_int(json_member(meter.at, meter.len, "good"), &good);
	json_int(json_member(meter.at, meter.len, "bad"), &bad);
	if (words_member_is(meter, "line", "open"))
		snprintf(text, sizeof text, "nothing stands in the way: %.100s at %.100s, %lld frames "
		         "good, %lld bad", state, node, (long long)good, (long long)bad);
	else if (words_member_is(meter, "line", "unread"))
		snprintf(text, sizeof text, "its line %.100s is there and may be used; what comes over it "
		         "only a running daemon can say", node);
	else
		snprintf(text, sizeof text, "its line is being opened: ask again in a moment");
	say(out, style, name, text);
}

static const struct table_column adapter_columns[] = {
	{"adapter", false, true}, {"ids", false, false},    {"serial", false, false},
	{"place", false, false},  {"driver", false, false}, {"rights", false, false},
	{"meter", false, false},  {"held by", false, false},
};

static void adapters(struct lines *out, const struct style *style, struct slice result)
{
	static const char *const cells[] = {"node", "ids", "serial", "place", "driver"};
	struct slice list = json_member(result.at, result.len, "adapters"), adapter;
	struct table t;
	size_t cursor = 0;
	table_begin(&t, adapter_columns, sizeof adapter_columns / sizeof adapter_columns[0]);
	while (json_next(list, &cursor, &adapter)) {
		char text[WORDS_SIZE], group[WORDS_SIZE], mode[WORDS_SIZE];
		table_row(&t, TABLE_ORDINARY);
		for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
			words_member(adapter, cells[i], text, sizeof text);
			table_cell(&t, text);
		}
		words_member(adapter, "user", text, sizeof text);
		words_member(adapter, "group", group, sizeof group);
		words_member(adapter, "mode", mode, sizeof mode);
		table_printf(&t, "%.40s:%.40s %.8s", text, group, mode);
		words_member(adapter, "meter", text, sizeof text);
		table_cell(&t, text);
		words_member(adapter, "holder", text, sizeof text);
		table_cell(&t, text);
	}
	if (t.row_count) {
		lines_puts(out, style->plain ? "" : "\n");
		table_print(&t, style, out);
	}
	table_end(&t);
	/* A machine has such devices at any time: of interest where a meter is missing. */
	if (json_bool(json_member(result.at, result.len, "ok"), false))
		return;
	list = json_member(result.at, result.len, "strays");
	cursor = 0;
	while (json_next(list, &cursor, &adapter)) {
		char place[WORDS_SIZE], ids[WORDS_SIZE], product[WORDS_SIZE], line[WORDS_SIZE * 3];
		words_member(adapter, "place", place, sizeof place);
		words_member(adapter, "ids", ids, sizeof ids);
		words_member(adapter, "product", product, sizeof product);
		snprintf(line, sizeof line, "%.20s in place %.60s%s%.100s has no line: %s", ids, place,
		         product[0] ? ", " : "", product,
		         json_bool(json_member(adapter.at, adapter.len, "claimed"), false)
		             ? "a program has taken it over" : "no driver took it, or it is none");
		say(out, style, "USB device", line);
	}
}

static void say_daemon(struct lines *out, const struct style *style, struct slice result,
                       const char *socket_why)
{
	char line[WORDS_SIZE * 4], user[WORDS_SIZE], groups[WORDS_SIZE], text[WORDS_SIZE];
	bool daemon = json_bool(json_member(result.at, result.len, "daemon"), false);
	words_member(result, "user", user, sizeof user);
	words_member(result, "groups", groups, sizeof groups);
	if (daemon)
		snprintf(line, sizeof line, "runs as user %s, in the groups %s", user,
		         groups[0] ? groups : "(none)");
	else
		snprintf(line, sizeof line, "none was asked: %s. What follows is as user %s, in the groups "
		                            "%s",
		         socket_why, user, groups[0] ? groups : "(none)");
	say(out, style, "daemon", line);
	words_member(result, "config", text, sizeof text);
	say(out, style, "configured", text[0] ? text : "by no file");
}

void view_doctor(const struct style *style, struct slice result, const char *meter,
                 const char *socket_why, struct lines *out)
{
	struct slice meters = json_member(result.at, result.len, "meters"), element;
	char name[WORDS_SIZE];
	size_t cursor = 0;
	int64_t dropped = 0;
	say_daemon(out, style, result, socket_why);
	say_findings(out, style, "bench", result);
	while (json_next(meters, &cursor, &element)) {
		words_member(element, "name", name, sizeof name);
		if (meter && strcmp(meter, name) != 0)
			continue;
		if (!say_findings(out, style, name, element))
			say_well(out, style, name, element);
	}
	if (json_int(json_member(result.at, result.len, "dropped"), &dropped) && dropped)
		lines_printf(out, "and %lld more: there was no room for them\n", (long long)dropped);
	if (!meter)
		adapters(out, style, result);
}
