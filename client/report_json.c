/* SPDX-License-Identifier: MIT */
/*
 * The report for machines: everything that it was made from, verbatim, with what followed
 * from it.  Sealed records stand byte for byte as they were sealed.
 *
 *     format      "tally-report-1"; within it members are only added
 *     made        when, UTC; version, bench, identity (of the log), job, item, by: texts or null
 *     complete    whether the report says so; incomplete: the stated reason, or null
 *     safety      earth-bond, insulation, touch-current: null, or {seq of the entry, passed}
 *     seal        the answer of `verify` (protocol/WIRE.md): its head is the anchor
 *     job_show    the answer of `job.show`
 *     lines       the table of positions: position, quantity, and the seq of the entry that counts
 *                 as found, new and done (null: none)
 *     never_measured  position, quantities (texts, as `missing` of `sheet.show`)
 *     responses   position, condition, reference (Hz, its 0 dB), points: [{hertz, seq, db}]
 *     positions   the rows of `sheet.show`; entries: those of `entries`; records: others, as sealed
 *     compare, plan, places   the answers of these
 */
#include "client/report.h"

#include <stdlib.h>
#include <stdio.h>
#include <string.h>

static void string(struct lines *out, const char *text)
{
	size_t size = 6 * strlen(text) + 3;
	char *buffer = malloc(size);
	struct text t;
	if (!buffer) {
		out->failed = true;
		return;
	}
	text_begin(&t, buffer, size);
	text_string(&t, text, strlen(text));
	lines_puts(out, buffer);
	free(buffer);
}

static void member(struct lines *out, const char *key, const char *text)
{
	lines_printf(out, ",\n\"%s\":", key);
	if (text)
		string(out, text);
	else
		lines_puts(out, "null");
}

static void verbatim(struct lines *out, const char *key, struct slice s)
{
	lines_printf(out, ",\n\"%s\":", key);
	if (s.at)
		lines_add(out, s.at, s.len);
	else
		lines_puts(out, "null");
}

static void safety(const struct report *r, struct lines *out)
{
	static const char *const names[] = {"earth-bond", "insulation", "touch-current"};
	lines_puts(out, ",\n\"safety\":{");
	for (int t = 0; t < REPORT_TESTS; t++) {
		lines_printf(out, "%s\"%s\":", t ? "," : "", names[t]);
		if (r->test[t])
			lines_printf(out, "{\"seq\":%lld,\"passed\":%s}", (long long)r->test[t]->seq,
			             report_test_passed(r->test[t]) ? "true" : "false");
		else
			lines_puts(out, "null");
	}
	lines_puts(out, "}");
}

/* Each line of the table: the seq of the entries that stand in it. */
static void lines_of(const struct report *r, struct lines *out)
{
	static const char *const names[] = {"found", "new", "done"};
	lines_puts(out, ",\n\"lines\":[");
	for (int i = 0; i < r->lines; i++) {
		const struct report_line *l = &r->line[i];
		lines_printf(out, "%s\n{\"position\":", i ? "," : "");
		string(out, l->position->name);
		lines_printf(out, ",\"quantity\":\"%s\"", quantity_name(l->quantity));
		for (int c = 0; c < REPORT_CONDITIONS; c++) {
			if (l->at[c])
				lines_printf(out, ",\"%s\":%lld", names[c], (long long)l->at[c]->seq);
			else
				lines_printf(out, ",\"%s\":null", names[c]);
		}
		lines_puts(out, "}");
	}
	lines_puts(out, "\n]");
}

static void lacks(const struct report *r, struct lines *out)
{
	bool any = false;
	lines_puts(out, ",\n\"never_measured\":[");
	for (int i = 0; i < r->positions; i++) {
		struct slice list = report_lacks(&r->position[i]);
		if (!list.at)
			continue;
		lines_printf(out, "%s\n{\"position\":", any ? "," : "");
		any = true;
		string(out, r->position[i].name);
		lines_puts(out, ",\"quantities\":");
		lines_add(out, list.at, list.len);
		lines_puts(out, "}");
	}
	lines_puts(out, "\n]");
}

void report_json(const struct report *r, struct lines *out)
{
	char buffer[40];
	struct text made;
	text_begin(&made, buffer, sizeof buffer);
	text_time(&made, r->made);
	lines_printf(out, "{\"format\":\"tally-report-1\",\n\"made\":%s", made.failed ? "null" : buffer);
	member(out, "version", r->version);
	member(out, "bench", r->bench);
	member(out, "identity", r->identity);
	member(out, "job", r->job);
	member(out, "item", r->item);
	member(out, "by", r->by);
	lines_printf(out, ",\n\"complete\":%s", report_complete(r) ? "true" : "false");
	member(out, "incomplete", r->incomplete);
	safety(r, out);
	verbatim(out, "seal", r->seal);
	verbatim(out, "job_show", r->job_show);
	lines_of(r, out);
	lacks(r, out);
	report_response_json(r, out);
	lines_puts(out, ",\n\"positions\":[");
	for (int i = 0; i < r->positions; i++)
		lines_printf(out, "%s\n%s", i ? "," : "", r->position[i].text);
	lines_puts(out, "\n],\n\"entries\":[");
	for (int i = 0; i < r->entries; i++)
		lines_printf(out, "%s\n%s", i ? "," : "", r->entry[i].text);
	lines_puts(out, "\n],\n\"records\":[");
	for (int i = 0; i < r->records; i++)
		lines_printf(out, "%s\n%s", i ? "," : "", r->record[i].text);
	lines_puts(out, "\n]");
	verbatim(out, "compare", r->compare);
	verbatim(out, "plan", r->plan);
	verbatim(out, "places", r->places);
	lines_puts(out, "}\n");
}
