/* SPDX-License-Identifier: MIT */
/* See main_calls_inside.h: what is up, the walk, entries by key or typed, notes. */
#include "daemon/main_calls_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool read_quantity(const char *name, int *out, struct fault *why)
{
	enum quantity q;
	*out = -1;
	if (!name)
		return true;
	if (!quantity_from_name(name, strlen(name), &q)) {
		fault_set(why, "there is no quantity %.40s: value, leakage, esr, dissipation, insulation, "
		          "volts", name);
		return false;
	}
	*out = (int)q;
	return true;
}

/* A record: answered when it is durable. */
static bool bind_meter(struct answering *a, int quantity, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct bench *b = a->calls->bench;
	struct bench_wait w = wait_for(a, SHAPE_READY);
	struct waiting *waiting = w.arg;
	if (!waiting) {
		fault_set(why, "out of memory");
		return false;
	}
	text_puts(&a->out, "{\"chosen\":");
	bench_chosen(b, &a->out);
	text_member_string(&a->out, "meter", k->meter);
	text_member_string(&a->out, "position", k->position);
	waiting->ready = strdup(a->out.bytes);
	if (!waiting->ready) {
		free(waiting);
		fault_set(why, "out of memory");
		return false;
	}
	bool bound = bench_bind(b, a->t, k->position, quantity, k->meter, w, why);
	return later(a, bound, w, WIRE_BAD_INPUT, why);
}

bool call_at(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	int quantity;
	if (!read_quantity(k->quantity, &quantity, why))
		return false;
	if (k->meter)
		return bind_meter(a, quantity, why);
	bench_seen(a->calls->bench, a->t);
	if (k->position && !bench_at(a->calls->bench, a->t, k->position, quantity, NULL, why))
		return false;
	text_puts(&a->out, "{\"chosen\":");
	bench_chosen(a->calls->bench, &a->out);
	bench_bindings(a->calls->bench, &a->out);
	text_puts(&a->out, "}");
	server_answer(a->call, a->out.bytes);
	return true;
}

/* What is up now. */
static bool answer_chosen(struct answering *a)
{
	text_puts(&a->out, "{\"chosen\":");
	bench_chosen(a->calls->bench, &a->out);
	text_puts(&a->out, "}");
	server_answer(a->call, a->out.bytes);
	return true;
}

bool call_at_new(struct answering *a, struct fault *why)
{
	if (!bench_at_new(a->calls->bench, a->t, a->asked.prefix, why)) {
		server_refuse(a->call, bench_log_refused(a->calls->bench) ? WIRE_NOT_LOGGED : WIRE_BAD_INPUT,
		              why);
		return true;
	}
	return answer_chosen(a);
}

bool call_reach(struct answering *a, struct fault *why)
{
	enum reach r;
	if (!reach_from_name(a->asked.reach, strlen(a->asked.reach), &r)) {
		fault_set(why, "a reach is in-circuit, lifted or loose, not %.40s", a->asked.reach);
		return false;
	}
	LATER_BY(wait_manner(a, "reach", reach_name(r)), WIRE_BAD_INPUT,
	         bench_reach(a->calls->bench, a->t, r, w, why));
}

bool call_condition(struct answering *a, struct fault *why)
{
	enum condition c;
	const char *name = a->asked.condition;
	if (!condition_from_name(name, strlen(name), &c)) {
		fault_set(why, "a condition is found, new or done, not %.40s", name);
		return false;
	}
	LATER_BY(wait_manner(a, "condition", condition_name(c)), WIRE_BAD_INPUT,
	         bench_condition(a->calls->bench, a->t, c, w, why));
}

bool call_walk(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct bench_way way = {.meters = k->meters >= 0 && k->meters < 1000 ? (int)k->meters : 0};
	if (!walk_mode_from_name(k->walk, &way.mode)) {
		fault_set(why, "walk is on, off, lift or new, not %.40s", k->walk);
		return false;
	}
	if (k->order && !walk_order_from_name(k->order, &way.order)) {
		fault_set(why, "the order of a walk is sheet, kind or channel, not %.40s", k->order);
		return false;
	}
	if (k->prefix && (way.mode != WALK_NEW || strlen(k->prefix) >= sizeof way.prefix)) {
		fault_set(why, "a prefix is the beginning of new names (walk new), short as they are");
		return false;
	}
	snprintf(way.prefix, sizeof way.prefix, "%s", k->prefix ? k->prefix : "");
	if (!bench_walk(a->calls->bench, a->t, &way, why)) {
		server_refuse(a->call, bench_log_refused(a->calls->bench) ? WIRE_NOT_LOGGED : WIRE_REFUSED,
		              why);
		return true;
	}
	text_printf(&a->out, "{\"walk\":\"%s\",\"order\":\"%s\",\"meters\":%d,\"reach\":\"%s\","
	            "\"chosen\":", walk_mode_name(way.mode), walk_order_name(way.order), way.meters,
	            bench_reach_word(a->calls->bench));
	bench_chosen(a->calls->bench, &a->out);
	text_puts(&a->out, "}");
	server_answer(a->call, a->out.bytes);
	return true;
}

/* Answered at once with what is up then; refused where the bench does. */
static bool chosen_or_refused(struct answering *a, bool done, const struct fault *why)
{
	if (!done) {
		server_refuse(a->call, WIRE_REFUSED, why);
		return true;
	}
	return answer_chosen(a);
}

bool call_next(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_next(a->calls->bench, a->t, why), why);
}

bool call_back(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_back(a->calls->bench, a->t, why), why);
}

bool call_again(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_again(a->calls->bench, a->t, a->asked.swapped, why), why);
}

bool call_speaks(struct answering *a, struct fault *why)
{
	/* Another one may go on speaking. */
	bool speaks = server_voice(a->call, a->asked.speaks) > 0;
	return chosen_or_refused(a, bench_speaks(a->calls->bench, a->t, speaks, why), why);
}

bool call_announced(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_announced(a->calls->bench, a->t, a->asked.up, why), why);
}

bool call_there(struct answering *a, struct fault *why)
{
	LATER(SHAPE_RECORD, WIRE_REFUSED, bench_there(a->calls->bench, a->t, w, why));
}

bool call_offset(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	bool open = strcmp(k->leads, "open") == 0;
	if (!open && strcmp(k->leads, "short") != 0) {
		fault_set(why, "the leads are short or open, not %.40s", k->leads);
		return false;
	}
	if (!k->wait)
		return chosen_or_refused(a, bench_offset(a->calls->bench, a->t, open, k->meter,
		                                         (struct bench_wait){0}, why), why);
	LATER(SHAPE_RECORD, WIRE_REFUSED, bench_offset(a->calls->bench, a->t, open, k->meter, w, why));
}

bool call_check(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	if (!k->wait)
		return chosen_or_refused(a, bench_check(a->calls->bench, a->t, k->meter, k->position,
		                                        (struct bench_wait){0}, why), why);
	LATER(SHAPE_RECORD, WIRE_REFUSED,
	      bench_check(a->calls->bench, a->t, k->meter, k->position, w, why));
}

/* Numbers, or texts such as "45-48" and "^1", as words parted by spaces. */
static bool read_seqs(const json_t *seqs, char *out, size_t size, struct fault *why)
{
	size_t at = 0, i;
	json_t *one;
	out[0] = '\0';
	json_array_foreach (seqs, i, one) {
		char word[40] = "";
		if (json_is_integer(one))
			snprintf(word, sizeof word, "%lld", (long long)json_integer_value(one));
		else if (json_is_string(one) && json_string_length(one) < sizeof word)
			snprintf(word, sizeof word, "%s", json_string_value(one));
		if (!word[0] || strchr(word, ' ') || at + sizeof word >= size) {
			fault_set(why, "seqs: numbers of entries, runs of them (\"45-48\"), or \"^1\" for the "
			          "last one; at most some hundred");
			return false;
		}
		at += (size_t)snprintf(out + at, size - at, "%s%s", at ? " " : "", word);
	}
	return true;
}

bool call_move(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	char which[8192];
	if (!read_seqs(k->seqs, which, sizeof which, why) ||
	    !bench_sheet_may_name(a->calls->bench, a->t, k->position, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_move(a->calls->bench, a->t, which, k->position, k->because, w, why));
}

bool call_take(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	if (!k->meter && k->seen)
		LATER(SHAPE_RECORD, WIRE_REFUSED,
		      bench_take_seen(a->calls->bench, a->t, k->seen, k->frequency, w, why));
	LATER(SHAPE_RECORD, WIRE_REFUSED,
	      bench_take_at(a->calls->bench, a->t, k->meter, k->frequency, w, why));
}

bool call_undo(struct answering *a, struct fault *why)
{
	LATER(SHAPE_UNDONE, WIRE_REFUSED, bench_undo(a->calls->bench, a->t, w, why));
}

bool call_enter(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct bench_typed typed = {.position = k->position, .value = k->value, .from = k->from,
	                            .u = k->u, .because = k->because, .frequency = k->frequency};
	if (!read_quantity(k->quantity, &typed.quantity, why))
		return false;
	LATER(SHAPE_RECORD, WIRE_BAD_INPUT, bench_enter(a->calls->bench, a->t, &typed, w, why));
}

bool call_strike(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_strike(a->calls->bench, a->t, a->asked.seq, a->asked.because, w, why));
}

bool call_note(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct photo_kept kept;
	if (k->name && strlen(k->name) >= PHOTO_NAME_SIZE) {
		fault_set(why, "the name of the photo is longer than %d bytes", PHOTO_NAME_SIZE - 1);
		return false;
	}
	if (!bench_sheet_may_name(a->calls->bench, a->t, k->position, why))
		return false;
	if (k->photo && !photo_find(a->calls->log, k->photo, &kept, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_note_photo(a->calls->bench, a->t, k->position, k->text, k->photo ? &kept : NULL,
	                       k->name, w, why));
}
