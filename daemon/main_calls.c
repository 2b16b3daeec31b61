/* SPDX-License-Identifier: MIT */
/*
 * See main_calls.h.
 *
 * One row a method: its parameters are read strictly into a `struct asked`, then
 * its function calls the bench.  A call that makes a record is answered when the
 * record is durable (answered below), every other at once.
 */
#include "daemon/main_calls.h"

#include "daemon/main_ready.h"
#include "daemon/main_sheet.h"
#include "daemon/query_params.h"
#include "protocol/record/text.h"
#include "protocol/record/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ANSWER_SIZE (256 * 1024)

/* Everything that any method takes. */
struct asked {
	const char *position, *quantity, *meter, *name, *text, *job, *because, *value, *from, *u;
	const char *reach, *condition, *walk, *state, *range, *order, *leads, *to, *prefix, *positions, *again, *photo,
	    *frequency;
	int64_t seq, by, meters, up;
	bool service, speaks, wait, swapped, accept, none, dry;
	json_t *fields, *seqs, *map;
};

struct answering {
	struct calls *calls;
	struct server_call *call;
	int64_t t;
	unsigned uid;
	struct asked asked;
	struct text out; /* an answer given at once */
};

/* ---- answers that wait for the disk ---- */

enum shape { SHAPE_SEQ, SHAPE_RECORD, SHAPE_UNDONE, SHAPE_SHEET, SHAPE_MANNER, SHAPE_READY };

struct waiting {
	struct server_call *call;
	enum shape shape;
	const char *key, *word; /* SHAPE_MANNER: what the answer says */
	struct sheet_taken *taken; /* SHAPE_SHEET: what became of the columns */
	char *ready;            /* SHAPE_READY: the answer, but for seq at its end; malloc */
};

static void waiting_free(struct waiting *w)
{
	free(w->taken);
	free(w->ready);
	free(w);
}

static void answer_durable(const struct waiting *w, const struct bench_outcome *o)
{
	size_t size = o->len + 256 + (w->taken ? SHEET_MAP_MAX * 512 : 0) +
	              (w->ready ? strlen(w->ready) : 0);
	char *buffer = malloc(size);
	struct text t;
	int64_t n;
	if (!buffer) { /* the record stands; only its answer has no room */
		server_answer(w->call, "{}");
		return;
	}
	text_begin(&t, buffer, size);
	if (w->shape == SHAPE_MANNER)
		text_printf(&t, "{\"%s\":\"%s\"", w->key, w->word);
	else if (w->shape == SHAPE_READY)
		text_printf(&t, "%s,\"seq\":%lld", w->ready, (long long)o->seq);
	else
		text_printf(&t, "{\"seq\":%lld", (long long)o->seq);
	if (w->shape == SHAPE_RECORD) {
		text_member(&t, "record");
		text_add(&t, o->record, o->len);
	}
	if (w->shape == SHAPE_UNDONE && json_int(json_member(o->record, o->len, "of"), &n))
		text_member_int(&t, json_is(json_member(o->record, o->len, "kind"), "move") ? "moved"
		                                                                           : "struck", n);
	if (w->shape == SHAPE_SHEET && json_int(json_member(o->record, o->len, "count"), &n))
		text_member_int(&t, "positions", n);
	if (w->taken)
		sheet_columns_write(&t, w->taken);
	text_puts(&t, "}");
	server_answer(w->call, buffer);
	free(buffer);
}

static void answered(void *arg, const struct bench_outcome *o)
{
	struct waiting *w = arg;
	struct fault why;
	if (o->durable) {
		answer_durable(w, o);
	} else if (o->refused) {
		fault_set(&why, "%s", o->why);
		server_refuse(w->call, WIRE_REFUSED, &why);
	} else {
		fault_set(&why, "NOT LOGGED: %s", o->why ? o->why : "the log refused it");
		server_refuse(w->call, WIRE_NOT_LOGGED, &why);
	}
	waiting_free(w);
}

static struct bench_wait wait_for(struct answering *a, enum shape shape)
{
	struct waiting *w = malloc(sizeof *w);
	if (!w)
		return (struct bench_wait){NULL, NULL};
	*w = (struct waiting){.call = a->call, .shape = shape};
	return (struct bench_wait){answered, w};
}

/* Answers {key: word}. */
static struct bench_wait wait_manner(struct answering *a, const char *key, const char *word)
{
	struct bench_wait w = wait_for(a, SHAPE_MANNER);
	if (w.arg) {
		((struct waiting *)w.arg)->key = key;
		((struct waiting *)w.arg)->word = word;
	}
	return w;
}

/* The end of every call that waits: answered later, or refused now. */
static bool later(struct answering *a, bool accepted, struct bench_wait w, int code,
                  const struct fault *why)
{
	if (accepted)
		return true;
	if (bench_log_refused(a->calls->bench))
		code = WIRE_NOT_LOGGED;
	struct waiting *waiting = w.arg;
	if (waiting) {
		server_refuse(waiting->call, code, why);
		waiting_free(waiting);
	}
	return true;
}

/* ---- the methods ---- */

typedef bool method_function(struct answering *a, struct fault *why);

static bool call_status(struct answering *a, struct fault *why)
{
	(void)why;
	bench_seen(a->calls->bench, a->t);
	bench_status(a->calls->bench, &a->out);
	if (!a->asked.service || !a->calls->health || a->out.failed)
		return true;
	a->out.len--; /* its closing brace */
	text_member(&a->out, "service");
	a->calls->health(a->calls->arg, &a->out);
	text_puts(&a->out, "}");
	return true;
}

static bool call_meters(struct answering *a, struct fault *why)
{
	(void)why;
	bench_meters(a->calls->bench, a->t, &a->out);
	return true;
}

static bool call_doctor(struct answering *a, struct fault *why)
{
	if (!a->calls->doctor) {
		fault_set(why, "there are no lines here to look at");
		return false;
	}
	a->calls->doctor(a->calls->arg, a->call);
	return true;
}

static bool call_reload(struct answering *a, struct fault *why)
{
	if (a->calls->reload)
		return a->calls->reload(a->calls->arg, &a->out, why);
	fault_set(why, "there is no configuration here to read anew");
	return false;
}

/* Bad words are bad input (2); what the bench cannot do now is refused (5). */
#define LATER(shape, code, call_)                            \
	do {                                                     \
		struct bench_wait w = wait_for(a, shape);            \
		bool accepted_ = w.done && (call_);                  \
		if (!w.done)                                         \
			fault_set(why, "out of memory");                 \
		return later(a, accepted_, w, code, why) && w.done;  \
	} while (0)

enum { FIELDS = 16 };

static bool read_fields(const struct answering *a, const char *key[FIELDS],
                        const char *value[FIELDS], int *n, struct fault *why)
{
	const char *k;
	json_t *v;
	*n = 0;
	json_object_foreach (a->asked.fields, k, v) {
		if (*n == FIELDS || !json_is_string(v)) {
			fault_set(why, "fields: at most %d, each a text, as written in a sheet", FIELDS);
			return false;
		}
		key[*n] = k;
		value[(*n)++] = json_string_value(v);
	}
	return true;
}

static bool call_job_start(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      k->again ? bench_job_again(a->calls->bench, a->t, k->name, k->again, w, why)
	               : bench_job_start(a->calls->bench, a->t, k->name, w, why));
}

static bool call_job_set(struct answering *a, struct fault *why)
{
	const char *key[FIELDS], *value[FIELDS];
	int n;
	if (!read_fields(a, key, value, &n, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_identity(a->calls->bench, a->t, key, value, n, w, why));
}

static bool call_job_fitted(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_fitted(a->calls->bench, a->t, a->asked.positions, w, why));
}

static bool call_job_close(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_REFUSED, bench_job_close(a->calls->bench, a->t, w, why));
}

static bool call_job_state(struct answering *a, struct fault *why)
{
	bool live = strcmp(a->asked.state, "live") == 0;
	if (!live && strcmp(a->asked.state, "cold") != 0) {
		fault_set(why, "the state of a job is cold or live, not %.40s", a->asked.state);
		return false;
	}
	LATER(SHAPE_SEQ, WIRE_REFUSED, bench_job_state(a->calls->bench, a->t, live,
	                                              a->asked.because ? a->asked.because : "", w, why));
}

static bool call_sheet_load(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct sheet_map map = {.pairs = 0};
	if (!sheet_map_read(k->map, &map, why))
		return false;
	struct bench_wait w = wait_for(a, SHAPE_SHEET);
	struct waiting *waiting = w.arg;
	struct sheet_taken *taken = calloc(1, sizeof *taken);
	if (!waiting || !taken) {
		free(taken);
		free(waiting);
		fault_set(why, "out of memory");
		return false;
	}
	waiting->taken = taken;
	return later(a, bench_sheet_load_mapped(a->calls->bench, a->t, k->name, k->text,
	                                        strlen(k->text), k->job, &map, taken, w, why),
	             w, WIRE_BAD_INPUT, why);
}

static bool call_sheet_add(struct answering *a, struct fault *why)
{
	const char *text = a->asked.text;
	if (a->asked.dry) {
		sheet_try_write(a->calls->bench, a->t, text, &a->out);
		server_answer(a->call, a->out.bytes);
		return true;
	}
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_add(a->calls->bench, a->t, text, strlen(text), w, why));
}

static bool call_sheet_mirror(struct answering *a, struct fault *why)
{
	int64_t by = a->asked.by;
	if (by < -999999999 || by > 999999999)
		by = 0; /* refused, with the reason */
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_mirror(a->calls->bench, a->t, a->asked.range, (int)by, w, why));
}

static bool call_sheet_set(struct answering *a, struct fault *why)
{
	const char *key[FIELDS], *value[FIELDS];
	int n;
	if (!read_fields(a, key, value, &n, why) ||
	    !bench_sheet_known(a->calls->bench, a->t, a->asked.position, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_set(a->calls->bench, a->t, a->asked.position, key, value, n, w, why));
}

static bool call_sheet_fit(struct answering *a, struct fault *why)
{
	const char *key[FIELDS], *value[FIELDS];
	int n;
	if (!read_fields(a, key, value, &n, why))
		return false;
	if (a->asked.none == (n > 0)) {
		fault_set(why, "say what is fitted (fields), or that nothing else is (none), not both");
		return false;
	}
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_fit(a->calls->bench, a->t, a->asked.position, key, value, n, w, why));
}

static bool call_sheet_rename(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_rename(a->calls->bench, a->t, k->position, k->to, w, why));
}

static bool call_sheet_twins(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	if (!k->accept && k->positions) {
		fault_set(why, "positions are those to accept: say accept, too");
		return false;
	}
	if (k->accept)
		LATER(SHAPE_SEQ, WIRE_REFUSED,
		      bench_twins_accept(a->calls->bench, a->t, k->positions, w, why));
	bench_twins(a->calls->bench, &a->out);
	server_answer(a->call, a->out.bytes);
	return true;
}

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

static bool call_at(struct answering *a, struct fault *why)
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

static bool call_at_new(struct answering *a, struct fault *why)
{
	if (!bench_at_new(a->calls->bench, a->t, a->asked.prefix, why)) {
		server_refuse(a->call, bench_log_refused(a->calls->bench) ? WIRE_NOT_LOGGED : WIRE_BAD_INPUT,
		              why);
		return true;
	}
	text_puts(&a->out, "{\"chosen\":");
	bench_chosen(a->calls->bench, &a->out);
	text_puts(&a->out, "}");
	server_answer(a->call, a->out.bytes);
	return true;
}

static bool call_reach(struct answering *a, struct fault *why)
{
	enum reach r;
	if (!reach_from_name(a->asked.reach, strlen(a->asked.reach), &r)) {
		fault_set(why, "a reach is in-circuit, lifted or loose, not %.40s", a->asked.reach);
		return false;
	}
	struct bench_wait w = wait_manner(a, "reach", reach_name(r));
	if (!w.done) {
		fault_set(why, "out of memory");
		return false;
	}
	return later(a, bench_reach(a->calls->bench, a->t, r, w, why), w, WIRE_BAD_INPUT, why);
}

static bool call_condition(struct answering *a, struct fault *why)
{
	enum condition c;
	const char *name = a->asked.condition;
	if (!condition_from_name(name, strlen(name), &c)) {
		fault_set(why, "a condition is found, new or done, not %.40s", name);
		return false;
	}
	struct bench_wait w = wait_manner(a, "condition", condition_name(c));
	if (!w.done) {
		fault_set(why, "out of memory");
		return false;
	}
	return later(a, bench_condition(a->calls->bench, a->t, c, w, why), w, WIRE_BAD_INPUT, why);
}

static bool call_walk(struct answering *a, struct fault *why)
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
	text_puts(&a->out, "{\"chosen\":");
	bench_chosen(a->calls->bench, &a->out);
	text_puts(&a->out, "}");
	server_answer(a->call, a->out.bytes);
	return true;
}

static bool call_next(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_next(a->calls->bench, a->t, why), why);
}

static bool call_back(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_back(a->calls->bench, a->t, why), why);
}

static bool call_again(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_again(a->calls->bench, a->t, a->asked.swapped, why), why);
}

static bool call_speaks(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_speaks(a->calls->bench, a->t, a->asked.speaks, why), why);
}

static bool call_announced(struct answering *a, struct fault *why)
{
	return chosen_or_refused(a, bench_announced(a->calls->bench, a->t, a->asked.up, why), why);
}

static bool call_there(struct answering *a, struct fault *why)
{
	LATER(SHAPE_RECORD, WIRE_REFUSED, bench_there(a->calls->bench, a->t, w, why));
}

static bool call_offset(struct answering *a, struct fault *why)
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

static bool call_check(struct answering *a, struct fault *why)
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

static bool call_move(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	char which[8192];
	if (!read_seqs(k->seqs, which, sizeof which, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_move(a->calls->bench, a->t, which, k->position, k->because, w, why));
}

static bool call_take(struct answering *a, struct fault *why)
{
	LATER(SHAPE_RECORD, WIRE_REFUSED,
	      bench_take_at(a->calls->bench, a->t, a->asked.meter, a->asked.frequency, w, why));
}

static bool call_undo(struct answering *a, struct fault *why)
{
	LATER(SHAPE_UNDONE, WIRE_REFUSED, bench_undo(a->calls->bench, a->t, w, why));
}

static bool call_enter(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct bench_typed typed = {.position = k->position, .value = k->value, .from = k->from,
	                            .u = k->u, .because = k->because, .frequency = k->frequency};
	if (!read_quantity(k->quantity, &typed.quantity, why))
		return false;
	LATER(SHAPE_RECORD, WIRE_BAD_INPUT, bench_enter(a->calls->bench, a->t, &typed, w, why));
}

static bool call_strike(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_strike(a->calls->bench, a->t, a->asked.seq, a->asked.because, w, why));
}

static bool call_note(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct photo_kept kept;
	if (k->name && strlen(k->name) >= PHOTO_NAME_SIZE) {
		fault_set(why, "the name of the photo is longer than %d bytes", PHOTO_NAME_SIZE - 1);
		return false;
	}
	if (k->photo && !photo_find(a->calls->log, k->photo, &kept, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_note_photo(a->calls->bench, a->t, k->position, k->text, k->photo ? &kept : NULL,
	                       k->name, w, why));
}

/* ---- guided runs ---- */

/* A run that goes on once the log has said that nothing stands in its way. */
struct rising {
	struct answering a;
	bool resume;
	char text[3][512]; /* name, position, words: the parameters are gone by then */
};

static bool guide_begin(struct answering *a, bool resume, struct fault *why)
{
	const struct asked *k = &a->asked;
	if (resume)
		LATER(SHAPE_SEQ, WIRE_REFUSED, bench_guide_resume(a->calls->bench, a->t, k->name, w, why));
	LATER(SHAPE_SEQ, WIRE_REFUSED,
	      bench_guide_start(a->calls->bench, a->t, k->name, k->position, k->text, w, why));
}

static void rise_may_begin(void *arg, bool good, const struct fault *what)
{
	struct rising *r = arg;
	struct fault why;
	r->a.t = r->a.calls->now(r->a.calls->arg);
	if (good) {
		bench_by(r->a.calls->bench, r->a.t, r->a.uid);
		if (!guide_begin(&r->a, r->resume, &why))
			server_refuse(r->a.call, WIRE_REFUSED, &why);
		bench_by_nobody(r->a.calls->bench);
	} else {
		server_refuse(r->a.call, WIRE_REFUSED, what);
	}
	free(r);
}

static const char *kept(char *out, const char *text, bool *fits)
{
	*fits = *fits && (!text || strlen(text) < sizeof ((struct rising *)0)->text[0]);
	snprintf(out, sizeof ((struct rising *)0)->text[0], "%s", text ? text : "");
	return text ? out : NULL;
}

/* `rise` begins, or goes on, only where job.ready lists nothing or its words say why. */
static bool guide_begin_ready(struct answering *a, bool resume, const char *kind, const char *words,
                              struct fault *why)
{
	const struct asked *k = &a->asked;
	bool fits = true;
	if (!a->calls->loop || !ready_wanted(kind, words))
		return guide_begin(a, resume, why);
	struct rising *r = calloc(1, sizeof *r);
	if (!r) {
		fault_set(why, "out of memory");
		return false;
	}
	*r = (struct rising){.a = {.calls = a->calls, .call = a->call, .uid = a->uid}, .resume = resume};
	r->a.asked.name = kept(r->text[0], k->name, &fits);
	r->a.asked.position = kept(r->text[1], k->position, &fits);
	r->a.asked.text = kept(r->text[2], k->text, &fits);
	if (fits && ready_ask(a->calls->loop, a->calls->log, rise_may_begin, r, why))
		return true;
	if (!fits)
		fault_set(why, "the words of a run are longer than %zu bytes", sizeof r->text[0] - 1);
	free(r);
	return false;
}

static bool call_guide_start(struct answering *a, struct fault *why)
{
	return guide_begin_ready(a, false, a->asked.name, a->asked.text, why);
}

static bool call_guide_go(struct answering *a, struct fault *why)
{
	LATER(SHAPE_RECORD, WIRE_REFUSED, bench_guide_go(a->calls->bench, a->t, a->asked.name, w, why));
}

static bool call_guide_back(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_REFUSED, bench_guide_back(a->calls->bench, a->t, a->asked.name, w, why));
}

static bool call_guide_leave(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	LATER(SHAPE_SEQ, WIRE_REFUSED,
	      bench_guide_leave(a->calls->bench, a->t, k->name, k->because, w, why));
}

static bool call_guide_resume(struct answering *a, struct fault *why)
{
	const char *words = "", *kind = bench_guide_left(a->calls->bench, a->asked.name, &words);
	return guide_begin_ready(a, true, kind, words, why);
}

static bool call_guide_dry(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	enum { SIZE = 16384 };
	char *text = malloc(SIZE);
	struct text steps;
	if (!text) {
		fault_set(why, "out of memory");
		return false;
	}
	text_begin(&steps, text, SIZE);
	bool good = bench_guide_dry(a->calls->bench, k->name, k->position, k->text, &steps, why);
	if (good) {
		text_puts(&a->out, "{\"steps\":");
		text_string(&a->out, text, steps.len);
		text_puts(&a->out, "}");
		server_answer(a->call, a->out.bytes);
	}
	free(text);
	return good;
}

/* Parameters by name; `out` is set from the offsets when a call comes. */
static const struct {
	const char *name;
	size_t at;
	enum param_type type;
} members[] = {
#define M(member) {#member, offsetof(struct asked, member), PARAM_TEXT}
    M(position), M(quantity), M(meter), M(name),  M(text),      M(job),  M(because),
    M(value),    M(from),     M(u),     M(reach), M(condition), M(walk), M(state),
    M(range),    M(order),    M(leads), M(to),    M(prefix),    M(positions), M(again),
    M(photo),    M(frequency),
#undef M
    {"seq", offsetof(struct asked, seq), PARAM_WHOLE},
    {"by", offsetof(struct asked, by), PARAM_WHOLE},
    {"meters", offsetof(struct asked, meters), PARAM_WHOLE},
    {"up", offsetof(struct asked, up), PARAM_WHOLE},
    {"service", offsetof(struct asked, service), PARAM_FLAG},
    {"speaks", offsetof(struct asked, speaks), PARAM_FLAG},
    {"wait", offsetof(struct asked, wait), PARAM_FLAG},
    {"swapped", offsetof(struct asked, swapped), PARAM_FLAG},
    {"accept", offsetof(struct asked, accept), PARAM_FLAG},
    {"none", offsetof(struct asked, none), PARAM_FLAG},
    {"dry", offsetof(struct asked, dry), PARAM_FLAG},
};

/* `takes`: names with spaces between; an ending ! marks a compulsory one. */
static const struct method {
	const char *name;
	method_function *call;
	const char *takes;
	bool at_once;
} methods[] = {
    {"status", call_status, "service", true},
    {"meters", call_meters, "", true},
    {"doctor", call_doctor, "", false},
    {"reload", call_reload, "", true},
    {"job.start", call_job_start, "name! again", false},
    {"job.set", call_job_set, "fields!", false},
    {"job.fitted", call_job_fitted, "positions!", false},
    {"job.close", call_job_close, "", false},
    {"job.state", call_job_state, "state! because", false},
    {"sheet.load", call_sheet_load, "name! text! job map", false},
    {"sheet.set", call_sheet_set, "position! fields!", false},
    {"sheet.fit", call_sheet_fit, "position! fields none", false},
    {"sheet.rename", call_sheet_rename, "position! to!", false},
    {"sheet.twins", call_sheet_twins, "accept positions", false},
    {"sheet.add", call_sheet_add, "text! dry", false},
    {"sheet.mirror", call_sheet_mirror, "range! by!", false},
    {"at", call_at, "position quantity meter", false},
    {"at.new", call_at_new, "prefix", false},
    {"reach", call_reach, "reach!", false},
    {"condition", call_condition, "condition!", false},
    {"walk", call_walk, "walk! order meters prefix", false},
    {"next", call_next, "", false},
    {"back", call_back, "", false},
    {"again", call_again, "swapped", false},
    {"there", call_there, "", false},
    {"speaks", call_speaks, "speaks!", false},
    {"announced", call_announced, "up", false},
    {"move", call_move, "seqs! position! because", false},
    {"offset", call_offset, "leads! meter wait", false},
    {"meters.check", call_check, "meter! position! wait", false},
    {"take", call_take, "meter frequency", false},
    {"undo", call_undo, "", false},
    {"enter", call_enter, "position! value! from! quantity u because frequency", false},
    {"strike", call_strike, "seq! because!", false},
    {"guide.start", call_guide_start, "name! position text", false},
    {"guide.go", call_guide_go, "name", false},
    {"guide.back", call_guide_back, "name", false},
    {"guide.leave", call_guide_leave, "name because", false},
    {"guide.resume", call_guide_resume, "name", false},
    {"guide.dry", call_guide_dry, "name! position text", false},
    {"note", call_note, "position! text! photo name", false},
};

/* Builds the table of parameters of one method. */
static bool read_asked(const struct method *m, json_t *params, struct asked *k, struct fault *why)
{
	enum { PARAMS = 8 };
	struct param list[PARAMS];
	char names[PARAMS][16];
	size_t n = 0;
	json_t *rest = json_copy(params);
	for (const char *p = m->takes; *p && n < PARAMS;) {
		size_t len = strcspn(p, " ");
		bool compulsory = p[len - 1] == '!';
		snprintf(names[n], sizeof names[n], "%.*s", (int)(len - compulsory), p);
		p += len + strspn(p + len, " ");
		/* Not of one simple type: the method looks at them itself. */
		json_t **itself = strcmp(names[n], "fields") == 0 ? &k->fields
		                  : strcmp(names[n], "seqs") == 0 ? &k->seqs
		                  : strcmp(names[n], "map") == 0  ? &k->map
		                                                  : NULL;
		if (itself) {
			*itself = json_object_get(params, names[n]);
			json_object_del(rest, names[n]);
			continue;
		}
		for (size_t i = 0; i < sizeof members / sizeof *members; i++)
			if (strcmp(members[i].name, names[n]) == 0)
				list[n] = (struct param){names[n], members[i].type, compulsory,
				                         (char *)k + members[i].at};
		n++;
	}
	bool good = params_read(m->name, rest, list, n, why);
	json_decref(rest);
	bool has_fields = json_is_object(k->fields) || (!k->fields && !strstr(m->takes, "fields!"));
	if (good && strstr(m->takes, "fields") && !has_fields) {
		fault_set(why, "%s wants fields: an object of texts", m->name);
		good = false;
	}
	if (good && strstr(m->takes, "seqs") && !json_is_array(k->seqs)) {
		fault_set(why, "%s wants seqs: a list of entries", m->name);
		good = false;
	}
	return good;
}

bool calls_call(void *arg, struct server_call *call, const char *method, json_t *params,
                unsigned uid)
{
	const struct method *m = NULL;
	struct fault why;
	for (size_t i = 0; i < sizeof methods / sizeof *methods; i++)
		if (strcmp(methods[i].name, method) == 0)
			m = &methods[i];
	if (!m)
		return photos_call(((struct calls *)arg)->photos, call, method, params);
	struct answering a = {.calls = arg, .call = call, .uid = uid, .asked = {.meters = 1, .wait = true}};
	a.t = a.calls->now(a.calls->arg);
	char *buffer = malloc(ANSWER_SIZE);
	if (!buffer) {
		fault_set(&why, "out of memory");
		server_refuse(call, WIRE_REFUSED, &why);
		return true;
	}
	text_begin(&a.out, buffer, ANSWER_SIZE);
	bench_by(a.calls->bench, a.t, uid);
	if (!read_asked(m, params, &a.asked, &why))
		server_refuse(call, WIRE_BAD_PARAMS, &why);
	else if (!m->call(&a, &why))
		server_refuse(call, WIRE_BAD_INPUT, &why);
	else if (m->at_once)
		server_answer(call, buffer);
	bench_by_nobody(a.calls->bench);
	free(buffer);
	return true;
}
