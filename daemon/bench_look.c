/* SPDX-License-Identifier: MIT */
/*
 * What the bench shows of itself, as JSON object texts (protocol/WIRE.md): status,
 * meters, live values.  Nothing here changes anything.
 */
#include "daemon/bench_inside.h"
#include "protocol/meter/timing.h"
#include "protocol/record/kinds.h"

#include <stdio.h>
#include <string.h>

static void member_name(struct text *out, const char *key, const char *name)
{
	if (name && name[0])
		text_member_string(out, key, name);
	else
		text_member_null(out, key);
}

/* By what it is judged in the quantity that is up: those of an entry that came now. */
static void chosen_limits(const struct bench *b, const struct position *p, struct text *out)
{
	struct limits limits = {0};
	bool first = position_nominal_means(p, b->quantity);
	text_member_string(out, "function", function_name(position_function(p, b->quantity)));
	if (!first || !position_limits(p, &limits)) {
		text_member_null(out, "limits");
		return;
	}
	limits_write(out, "limits", &limits);
	struct limits written;
	text_member_bool(out, "assumed", !limits_from(&p->tolerance, p->has_nominal, p->nominal,
	                                              &written));
}

void bench_chosen(const struct bench *b, struct text *out)
{
	if (b->chosen < 0) {
		text_puts(out, "null");
		return;
	}
	const struct position *p = position_now(b, b->chosen);
	char shown[64] = "", tolerance[64] = "";
	if (p->has_nominal)
		quantity_shown(p->nominal, p->function, quantity_prefix(p->nominal, p->function), shown,
		               sizeof shown);
	tolerance_shown(&p->tolerance, p->function, tolerance, sizeof tolerance);
	text_puts(out, "{\"position\":");
	text_string(out, p->name, strlen(p->name));
	text_member_string(out, "quantity", quantity_name(b->quantity));
	text_member_string(out, "kind", kind_name(p->kind));
	member_name(out, "nominal", shown);
	member_name(out, "tolerance", tolerance);
	member_name(out, "role", p->role);
	member_name(out, "twin", p->twin);
	const char *valve = valve_at(b, b->chosen);
	if (valve[0])
		text_member_string(out, "valve", valve);
	if (b->again[0])
		text_member_string(out, "again", b->again);
	if (p != &b->position[b->chosen].row.position)
		text_member_bool(out, "fit", true);
	chosen_limits(b, p, out);
	text_member_bool(out, "armed", walk_armed(b));
	text_puts(out, "}");
}

/* `lacks` names so many at most: what a client keeps of a sheet. */
#define LACKS_MAX 1024

/* Does the walk want something of it yet, in the condition that is chosen?  Where it goes for
 * what needs a leg up, an entry in circuit is not all. */
static bool unfinished(const struct bench *b, int place)
{
	return walk_lacks(b, place) || (b->way.mode == WALK_LIFT && walk_wants(b, place));
}

/* Those of the unit, for a reference lies on the bench; how many are done, and which are not. */
static void write_places(const struct bench *b, struct text *out)
{
	int all = 0, left = 0;
	text_member(out, "lacks");
	text_puts(out, "[");
	for (int i = 0; i < b->positions; i++) {
		const struct position *p = &b->position[i].row.position;
		if (p->kind == KIND_REFERENCE)
			continue;
		all++;
		if (!unfinished(b, i))
			continue;
		if (left++ >= LACKS_MAX)
			continue;
		text_puts(out, left > 1 ? "," : "");
		text_string(out, p->name, strlen(p->name));
	}
	text_puts(out, "]");
	text_member_int(out, "done", all - left);
	text_member_int(out, "positions", all);
}

/* What waits for a word. */
static void write_held(const struct bench *b, struct text *out)
{
	int count = 0;
	text_member(out, "held");
	text_puts(out, "[");
	for (int i = 0; i < b->meters; i++) {
		const struct held *h = &b->meter[i].held;
		char shown[64];
		if (!h->waits)
			continue;
		quantity_shown(h->value.value, h->value.function, h->value.prefix, shown, sizeof shown);
		text_puts(out, count++ ? ",{\"meter\":" : "{\"meter\":");
		text_string(out, b->meter[i].config->name, strlen(b->meter[i].config->name));
		text_member_string(out, "position", b->position[h->aim.place].row.position.name);
		member_name(out, "looks", h->looks >= 0 ? b->position[h->looks].row.position.name : NULL);
		text_member_string(out, "shown", shown);
		text_puts(out, "}");
	}
	text_puts(out, "]");
}

void bench_status(const struct bench *b, struct text *out)
{
	text_puts(out, "{\"bench\":");
	text_string(out, b->config->name, strlen(b->config->name));
	member_name(out, "job", b->job);
	text_member_string(out, "state", b->live ? "live" : "cold");
	text_member_string(out, "condition", condition_name(b->condition));
	text_member_string(out, "reach", reach_name(b->reach));
	text_member_string(out, "walk", walk_mode_name(b->way.mode));
	text_member(out, "chosen");
	bench_chosen(b, out);
	bench_bindings(b, out);
	write_held(b, out);
	text_member_string(out, "order", walk_order_name(b->way.order));
	text_member_int(out, "meters", b->way.meters);
	int next = walk_next(b, b->chosen);
	member_name(out, "next", next >= 0 && next != b->chosen ? b->position[next].row.position.name
	                                                        : NULL);
	safe_look(b, out);
	bench_guides(b, out);
	text_member_bool(out, "speaks", b->speaks);
	text_member_string(out, "health", log_health_word(log_health(b->log)));
	if (log_aside(b->log)[0])
		text_member_string(out, "log-aside", log_aside(b->log));
	text_member_int(out, "last", log_last_seq(b->log));
	write_places(b, out);
	text_puts(out, "}");
}

/* An old value is not shown as if it were now. */
static bool is_old(const struct bench_meter *m, int64_t t)
{
	return !m->has_last || m->gone || stale_old(&m->stale, t);
}

static void member_shown(struct text *out, const struct bench_meter *m, int64_t t)
{
	char shown[64] = "";
	if (!is_old(m, t))
		reading_shown(&m->last, shown, sizeof shown);
	member_name(out, "shown", shown);
	member_name(out, "function", is_old(m, t) ? NULL : function_name(m->last.function));
}

void accuracy_text(const struct accuracy *a, char *out, size_t size)
{
	struct text t;
	text_begin(&t, out, size);
	for (int i = 0; i < a->count; i++) {
		const struct accuracy_line *l = &a->line[i];
		char below[64] = "";
		if (l->has_below)
			quantity_shown(l->below, l->function, quantity_prefix(l->below, l->function), below,
			               sizeof below);
		text_printf(&t, "%s%s%s%s ", i ? "; " : "", function_name(l->function),
		            below[0] ? " below " : "", below);
		if (a->hertz[i].n > 0)
			text_printf(&t, "below %g Hz ", decimal_double(a->hertz[i]));
		text_printf(&t, "%.6g%% + %.6g", l->percent, l->counts);
	}
	if (t.failed && size)
		out[0] = '\0';
}

static const char *line_word(const struct bench_meter *m)
{
	if (m->trouble[0] && m->refused)
		return "refused";
	if (m->gone || m->trouble[0])
		return "absent";
	return m->stale.said ? "stale" : meter_state_word(&m->machine);
}

/* How well the time of its readings is known, s, by what it was seen to do. */
static double stamp_of(const struct bench_meter *m)
{
	size_t chars = meter_frame_len(&m->machine);
	return timing_stamp(&m->config->serial, chars ? chars : timing_frame(m->config->dialect),
	                    (double)meter_answer_us(&m->machine) / 1e6);
}

/* The lead offsets that count now, and the newest checks. */
static void write_backings(const struct bench *b, const struct bench_meter *m, int64_t t,
                           struct text *out)
{
	const char *name = m->config->name;
	int count = 0;
	text_member(out, "offsets");
	text_puts(out, "[");
	for (enum function f = FUNCTION_NONE; f < FUNCTION_COUNT; f++) {
		const struct backing *k = backing_offset(f) == ERRAND_NONE ? NULL
		                          : backing_for(b, backing_offset(f), name, f, b->utc + t);
		char shown[64];
		if (!k)
			continue;
		quantity_shown(k->value, f, quantity_prefix(k->value, f), shown, sizeof shown);
		text_printf(out, "%s{\"seq\":%lld,\"function\":\"%s\",\"shown\":\"%s\"}", count++ ? "," : "",
		            (long long)k->seq, function_name(f), shown);
	}
	text_puts(out, "]");
	text_member(out, "checks");
	text_puts(out, "[");
	count = 0;
	for (enum function f = FUNCTION_NONE; f < FUNCTION_COUNT; f++) {
		const struct backing *k = backing_for(b, ERRAND_CHECK, name, f, b->utc + t);
		if (!k)
			continue;
		text_printf(out, "%s{\"seq\":%lld,\"function\":\"%s\",\"position\":\"%s\",\"passed\":%s}",
		            count++ ? "," : "", (long long)k->seq, function_name(f), k->position,
		            k->failed ? "false" : "true");
	}
	text_puts(out, "]");
}

static void write_meter(const struct bench *b, const struct bench_meter *m, int64_t t,
                        struct text *out)
{
	const struct meter_counters *c = meter_counters(&m->machine);
	char accuracy[1024];
	accuracy_text(&m->config->accuracy, accuracy, sizeof accuracy);
	text_puts(out, "{\"name\":");
	text_string(out, m->config->name, strlen(m->config->name));
	text_member_string(out, "dialect", m->config->dialect->name);
	member_name(out, "port", m->config->port);
	text_member_string(out, "state", line_word(m));
	text_member_bool(out, "asked", m->config->dialect->asked);
	const struct identity *id = meter_identity_fields(&m->machine);
	member_name(out, "identity", m->identity);
	member_name(out, "maker", id->maker);
	member_name(out, "model", id->model);
	member_name(out, "serial", id->serial);
	member_name(out, "firmware", id->firmware);
	member_shown(out, m, t);
	text_member(out, "counters");
	text_printf(out, "{\"good\":%llu,\"bad\":%llu,\"readings\":%llu,\"timeouts\":%llu,"
	            "\"late\":%llu,\"resync\":%llu,\"parity\":%llu,\"stale\":%llu,"
	            "\"reconnects\":%llu}",
	            (unsigned long long)c->good, (unsigned long long)c->bad,
	            (unsigned long long)c->readings, (unsigned long long)c->timeouts,
	            (unsigned long long)c->late, (unsigned long long)c->resync,
	            (unsigned long long)c->parity, (unsigned long long)m->stale.count,
	            (unsigned long long)c->reconnects);
	member_name(out, "accuracy", accuracy);
	text_member_string(out, "class", meter_class_word(meter_kind(m)));
	text_member_real(out, "stamp_u", stamp_of(m));
	use_write(out, &m->config->use);
	write_backings(b, m, t, out);
	member_name(out, "why", m->trouble[0] ? m->trouble : meter_why(&m->machine));
	text_puts(out, "}");
}

void bench_meters(const struct bench *b, int64_t t, struct text *out)
{
	text_puts(out, "{\"meters\":[");
	for (int i = 0; i < b->meters; i++) {
		if (i)
			text_puts(out, ",");
		write_meter(b, &b->meter[i], t, out);
	}
	text_puts(out, "]}");
}

void bench_live(const struct bench *b, int64_t t, struct text *out)
{
	text_puts(out, "{\"meters\":[");
	for (int i = 0; i < b->meters; i++) {
		const struct bench_meter *m = &b->meter[i];
		text_puts(out, i ? ",{\"name\":" : "{\"name\":");
		text_string(out, m->config->name, strlen(m->config->name));
		text_member_string(out, "state", line_word(m));
		member_shown(out, m, t);
		text_member_real(out, "progress", settle_progress(&m->settle, t));
		text_member_bool(out, "touching", settle_touching(&m->settle));
		if (m->spent && m->spent_place >= 0 && settle_touching(&m->settle))
			text_member_string(out, "has", b->position[m->spent_place].row.position.name);
		text_puts(out, "}");
	}
	text_puts(out, "]");
	member_name(out, "position", b->chosen >= 0 ? b->position[b->chosen].row.position.name : NULL);
	bench_ear(b, t, out);
	text_puts(out, "}");
}
