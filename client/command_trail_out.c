/* SPDX-License-Identifier: MIT */
/*
 * Single readings of the trail: as CSV, a line each, or as the records that they stand in.  Those
 * of runs that are open come last; no record can be named with them.
 */
#include "client/command_calls.h"
#include "client/command_trail.h"
#include "protocol/record/record.h"

#include <stdlib.h>
#include <string.h>

static void csv_reading(struct client *c, const struct trail_body *b, const struct record_head *head,
                        int i)
{
	const struct trail_reading *r = &b->reading[i];
	char buffer[40], value[DECIMAL_TEXT_SIZE] = "", second[DECIMAL_TEXT_SIZE] = "";
	struct text text;
	struct decimal d;
	text_begin(&text, buffer, sizeof buffer);
	text_time(&text, head->t + r->at * TRAIL_TICK_US);
	text_begin(&text, value, sizeof value);
	if (r->has_value && !__builtin_mul_overflow(r->v, b->digit.n, &d.n)) {
		d.e = b->digit.e;
		text_decimal(&text, d);
	}
	text_begin(&text, second, sizeof second);
	if (r->has_second && !__builtin_mul_overflow(r->second, b->second_digit.n, &d.n)) {
		d.e = b->second_digit.e;
		text_decimal(&text, d);
	}
	char record[24] = ""; /* of what is not sealed there is no record yet */
	if (head->seq)
		snprintf(record, sizeof record, "%lld", (long long)head->seq);
	fprintf(c->out, "%.27s,%s,%s,%s,%s,%s,%s,%d,%s,%s\r\n", buffer + 1, b->meter,
	        b->position ? b->position : "", function_name(b->function), value,
	        r->has_value ? "" : reading_state_word(r->state), record, i,
	        r->has_second ? second_word(b->second) : "", second);
}

/* The readings of one run in the stretch that is shown. */
static int run_out(struct client *c, struct gathering *g, struct slice record)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct trail_body body;
	struct trail_names names;
	struct record_head head = {.seq = 0};
	int n = 0;
	if (!client_has(c, OPTION_CSV))
		client_json(c, record);
	json_int(json_member(record.at, record.len, "seq"), &head.seq);
	if (!json_time(json_member(record.at, record.len, "t"), &head.t) ||
	    !trail_body_read(record.at, record.len, &body, &names, reading, TRAIL_READINGS_MAX))
		return 0;
	for (int i = 0; i < body.n; i++) {
		int64_t t = head.t + reading[i].at * TRAIL_TICK_US;
		if (t < g->chart.from || t >= g->chart.to)
			continue;
		if (client_has(c, OPTION_CSV))
			csv_reading(c, &body, &head, i);
		n++;
	}
	return n;
}

static void each_run(struct client *c, struct slice record, struct slice result, void *arg)
{
	struct gathering *g = arg;
	if (record.at) {
		run_out(c, g, record);
		return;
	}
	/* A page begins: what is not sealed comes last, of the last of them. */
	struct slice unsealed = json_member(result.at, result.len, "unsealed");
	free(g->unsealed);
	g->unsealed = unsealed.at ? strndup(unsealed.at, unsealed.len) : NULL;
	g->unsealed_len = g->unsealed ? unsealed.len : 0;
	g->left_out = 0;
	json_int(json_member(result.at, result.len, "left_out"), &g->left_out);
}

static void unsealed_out(struct client *c, struct gathering *g)
{
	struct slice run;
	size_t cursor = 0;
	long long n = 0;
	while (g->unsealed && json_next((struct slice){g->unsealed, g->unsealed_len}, &cursor, &run))
		n += run_out(c, g, run);
	if (n)
		fprintf(c->err, "tally: %lld reading%s at the end %s not sealed yet%s\n", n, n == 1 ? "" : "s",
		        n == 1 ? "is" : "are",
		        client_has(c, OPTION_CSV) ? ": no record is named with them" : " (\"sealed\":false)");
	if (g->left_out)
		fprintf(c->err, "tally: %lld more run%s not sealed yet and had no room in the answer: ask for one "
		        "meter\n", (long long)g->left_out, g->left_out == 1 ? " is" : "s are");
	free(g->unsealed);
}

enum outcome trail_out(struct client *c, struct gathering *g)
{
	if (client_has(c, OPTION_CSV))
		fputs("time_utc,meter,position,function,value_si,state,record,reading,second,second_si\r\n", c->out);
	if (!g->lines)
		return OUTCOME_DONE;
	json_t *params = client_params("meter", g->meter, NULL);
	/* Of a touch all that was seen, else what is the position's. */
	if (g->position && !g->touch_seq)
		json_object_set_new(params, "position", json_string(g->position));
	trail_time_param(params, "from", g->chart.from);
	trail_time_param(params, "to", g->chart.to);
	json_object_set_new(params, "unsealed", json_true());
	enum outcome outcome = client_pages(c, "trail", params, "records", each_run, g);
	if (outcome == OUTCOME_DONE)
		unsealed_out(c, g);
	else
		free(g->unsealed);
	return outcome;
}
