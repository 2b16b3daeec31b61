/* SPDX-License-Identifier: MIT */
/*
 * Entries: taken, typed, undone, struck, listed and compared.
 */
#include "client/command_calls.h"

#include "protocol/record/record.h"

#include <string.h>

/* The record that an answer carries: verbatim, or as one line for people. */
static void show_record(struct client *c, struct slice result)
{
	struct lines out = {0};
	struct slice record = json_member(result.at, result.len, "record");
	if (!record.at)
		return;
	if (client_has(c, OPTION_JSON)) {
		client_json(c, record);
		return;
	}
	view_record(&c->style, record, &out);
	client_lines(c, &out);
}

/* A call that answers with the record that it made. */
static enum outcome ask_record(struct client *c, const char *method, json_t *params)
{
	struct message m;
	enum outcome outcome = client_ask(c, method, params, &m);
	if (outcome == OUTCOME_DONE)
		show_record(c, m.result);
	message_free(&m);
	return outcome;
}

enum outcome call_take(struct client *c)
{
	json_t *params = client_params("meter", client_option(c, OPTION_METER), "frequency",
	                               client_option(c, OPTION_FREQUENCY), NULL);
	return ask_record(c, "take", params);
}

enum outcome call_there(struct client *c)
{
	return ask_record(c, "there", NULL);
}

enum outcome call_move(struct client *c)
{
	int last = c->args.count - 1;
	json_t *seqs = json_array();
	char done[WORDS_SIZE];
	for (int i = 0; i < last; i++)
		json_array_append_new(seqs, json_string_nocheck(client_word(c, i)));
	json_t *params = client_params("position", client_word(c, last), "because",
	                               client_option(c, OPTION_BECAUSE), NULL);
	json_object_set_new(params, "seqs", seqs);
	snprintf(done, sizeof done, "moved to %s", client_word(c, last));
	return client_change(c, "move", params, done);
}

enum outcome call_enter(struct client *c)
{
	json_t *params = client_params("position", client_word(c, 0), "value", client_word(c, 1),
	                               "from", client_option(c, OPTION_FROM), "quantity",
	                               client_option(c, OPTION_QUANTITY), "u",
	                               client_option(c, OPTION_U), "because",
	                               client_option(c, OPTION_BECAUSE), "frequency",
	                               client_option(c, OPTION_FREQUENCY), NULL);
	return ask_record(c, "enter", params);
}

enum outcome call_undo(struct client *c)
{
	struct message m;
	int64_t seq = 0, of = 0;
	enum outcome outcome = client_ask(c, "undo", NULL, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		bool moved = json_int(json_member(m.result.at, m.result.len, "moved"), &of);
		if (!moved)
			json_int(json_member(m.result.at, m.result.len, "struck"), &of);
		json_int(json_member(m.result.at, m.result.len, "seq"), &seq);
		fprintf(c->out, "%s entry %lld: record %lld\n", moved ? "moved back" : "struck",
		        (long long)of, (long long)seq);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_strike(struct client *c)
{
	int64_t seq;
	char done[64];
	if (!client_seq(c, client_word(c, 0), "SEQ", &seq))
		return OUTCOME_WRONG;
	json_t *params = client_params("because", client_option(c, OPTION_BECAUSE), NULL);
	json_object_set_new(params, "seq", json_integer(seq));
	snprintf(done, sizeof done, "struck entry %lld", (long long)seq);
	return client_change(c, "strike", params, done);
}

/* ---- listing ---- */

/* One more member before the closing brace of a record that is being printed. */
static void add_member(struct client *c, struct slice element, const char *name)
{
	struct slice said = json_member(element.at, element.len, name);
	if (!said.at || *said.at != '{')
		return;
	fprintf(c->out, ",\"%s\":", name);
	fwrite(said.at, 1, said.len, c->out);
}

/* An entry for scripts: its record byte for byte.  One that was struck, moved,
 * renamed or
 * judged anew gets that as further members before the closing brace, for it must
 * not pass for one that counts as it stands. */
static void entry_json(struct client *c, struct slice element)
{
	struct slice record = json_member(element.at, element.len, "record");
	if (!record.at || record.len < 2)
		return;
	fwrite(record.at, 1, record.len - 1, c->out);
	add_member(c, element, "struck");
	add_member(c, element, "moved");
	add_member(c, element, "rejudged");
	add_member(c, element, "renamed");
	fputs("}\n", c->out);
}

/* What its uncertainty was made of, from the record alone. */
static void entry_budget(struct client *c, struct slice element)
{
	char shown[WORDS_SIZE], buffer[4096];
	struct lines out = {0};
	struct text t;
	struct entry e;
	struct slice record = json_member(element.at, element.len, "record");
	struct slice struck = json_member(element.at, element.len, "struck");
	if (!record.at || !entry_read(record.at, record.len, &e) || (struck.at && *struck.at == '{'))
		return;
	words_member(record, "shown", shown, sizeof shown);
	if (client_has(c, OPTION_JSON)) {
		text_begin(&t, buffer, sizeof buffer);
		view_budget_json(&e, shown, &t);
		client_json(c, (struct slice){t.bytes, t.len});
		return;
	}
	view_budget(&c->style, &e, shown, &out);
	client_lines(c, &out);
}

static void each_entry(struct client *c, struct slice element, struct slice result, void *arg)
{
	(void)result;
	if (element.at && client_has(c, OPTION_BUDGET))
		entry_budget(c, element);
	else if (element.at && client_has(c, OPTION_JSON))
		entry_json(c, element);
	else if (element.at)
		view_entries_add(arg, &c->style, element);
}

/* "value within, leakage not measured": the second half of it. */
static enum outcome say_missing(struct client *c, const char *position, struct lines *out)
{
	struct message m;
	json_t *params = client_params("position", position, "job", client_option(c, OPTION_JOB), NULL);
	if (strcmp(client_option(c, OPTION_JOB) ? client_option(c, OPTION_JOB) : "", "*") == 0) {
		json_decref(params); /* of all jobs there is no sheet */
		return OUTCOME_DONE;
	}
	enum outcome outcome = client_ask(c, "sheet.missing", params, &m);
	struct slice row = json_element(json_member(m.result.at, m.result.len, "positions"), 0);
	if (outcome == OUTCOME_DONE && row.at) {
		lines_printf(out, "%s: ", position);
		view_missing(row, "", out);
		lines_puts(out, "\n");
	}
	message_free(&m);
	return outcome;
}

/* Loose parts of lots: no position is theirs until they are fitted. */
static void each_part(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct lines *out = arg;
	char lot[64], number[24], shown[64], verdict[24], meter[64];
	struct slice record = json_member(element.at, element.len, "record");
	int64_t n = 0;
	(void)result;
	(void)c;
	if (!element.at)
		return;
	words_member(record, "lot", lot, sizeof lot);
	words_member(record, "shown", shown, sizeof shown);
	words_member(record, "verdict", verdict, sizeof verdict);
	words_member(record, "meter", meter, sizeof meter);
	json_int(json_member(record.at, record.len, "number"), &n);
	snprintf(number, sizeof number, "%lld", (long long)n);
	lines_printf(out, "loose, lot %s, part %s: %s, %s, %s%s\n", lot, number, shown, verdict, meter,
	             json_absent(json_member(record.at, record.len, "replaces")) ? "" : " (once more)");
}

enum outcome call_entries(struct client *c)
{
	struct view_entries v;
	struct lines out = {0};
	if (client_option(c, OPTION_BESIDE))
		return call_beside(c, client_word(c, 0), client_option(c, OPTION_BESIDE));
	json_t *params = client_params("position", client_word(c, 0), "job",
	                               client_option(c, OPTION_JOB), "valve",
	                               client_option(c, OPTION_VALVE), NULL);
	view_entries_begin(&v);
	enum outcome outcome = client_pages(c, "entries", params, "entries", each_entry, &v);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON) && !client_has(c, OPTION_BUDGET)) {
		view_entries_print(&v, &c->style, &out);
		if (client_word(c, 0))
			outcome = say_missing(c, client_word(c, 0), &out);
		else
			outcome = client_pages(c, "parts", client_params("job", client_option(c, OPTION_JOB), NULL), "parts",
			                       each_part, &out);
		client_lines(c, &out);
	}
	view_entries_end(&v);
	return outcome;
}

enum outcome call_compare(struct client *c)
{
	static const char *const lists[] = {"crosschecks", "references", "twins", "refused", NULL};
	struct lines out = {0}, whole = {0};
	int disagree = 0;
	json_t *params = client_params("position", client_word(c, 0), "job",
	                               client_option(c, OPTION_JOB), NULL);
	enum outcome outcome = client_whole(c, "compare", params, lists, &whole);
	struct slice result = {lines_text(&whole), whole.len};
	if (outcome == OUTCOME_DONE) {
		view_compare(&c->style, result, &disagree, &out);
		if (client_has(c, OPTION_JSON)) {
			client_json(c, result);
			lines_free(&out);
		} else {
			client_lines(c, &out);
			say_beside(c, client_word(c, 0));
		}
		/* Meters that disagree are a doubt about every number; twins that differ
		 * are a finding, and no failure of the comparison. */
		outcome = disagree ? OUTCOME_NO : OUTCOME_DONE;
	}
	lines_free(&whole);
	return outcome;
}
