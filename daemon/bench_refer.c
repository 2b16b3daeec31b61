/* SPDX-License-Identifier: MIT */
/*
 * What stands behind an entry: the lead offset that was taken off it, and the newest
 * check of its meter.  Both are records that the entry names by number.
 *
 * A lead offset counts for its meter and function (shorted leads for ohm, open ones for
 * farad), in every range and job, for OFFSET_HOURS: leads and plugs are the same through a
 * working day, and are changed, cleaned and worn from one to the next (common practice, no
 * source).  The newest that was not struck counts.
 *
 * It is taken off exactly, in decimals, where it is at least a tenth of the meter's last
 * digit; the value is then written with the finer of the two digits, and what the meter
 * gave stands beside it (`raw`).  Where it is less it changes nothing that could be shown,
 * and the entry only names it.  Its u joins that of the entry either way.
 *
 * A check has no such end: the newest of a meter and function counts, however old it is.
 * While that one failed, every entry of the meter says so, and none of its values decides.
 */
#include "daemon/bench_inside.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define OFFSET_HOURS 12
#define HOUR_US INT64_C(3600000000)

bool backing_room(struct bench *b)
{
	return bench_grow((void **)&b->backing, b->backings, &b->backings_size, sizeof *b->backing);
}

int backing_find(const struct bench *b, int64_t seq)
{
	for (int i = b->backings - 1; i >= 0 && seq > 0; i--)
		if (b->backing[i].seq == seq)
			return i;
	return -1;
}

/* Is it an offset, and of what leads: as the function says. */
enum errand backing_offset(enum function f)
{
	return f == FUNCTION_OHM ? ERRAND_SHORT : f == FUNCTION_FARAD ? ERRAND_OPEN : ERRAND_NONE;
}

const struct backing *backing_for(const struct bench *b, enum errand what, const char *meter,
                                  enum function f, int64_t utc)
{
	for (int i = b->backings - 1; i >= 0; i--) {
		const struct backing *k = &b->backing[i];
		if (k->what != what || k->function != f || !k->seq || k->struck ||
		    strcmp(k->meter, meter) != 0)
			continue;
		bool old = what != ERRAND_CHECK && utc - k->utc > OFFSET_HOURS * HOUR_US;
		return old ? NULL : k;
	}
	return NULL;
}

static bool wants_offset(const struct entry *e)
{
	return e->source == SOURCE_METER && e->has_value && backing_offset(e->function) != ERRAND_NONE;
}

/* At least a tenth of the last digit? */
static bool shows(const struct entry *e, const struct backing *k)
{
	double digit = decimal_double((struct decimal){1, e->value.e});
	return fabs(decimal_double(k->value)) >= 0.0999999 * digit;
}

void entry_refer(const struct bench *b, struct entry *e)
{
	struct decimal less;
	if (e->source != SOURCE_METER)
		return;
	const struct backing *check = backing_for(b, ERRAND_CHECK, e->meter, e->function,
	                                          b->utc + e->t);
	if (check) {
		e->check = check->seq;
		e->check_failed = check->failed;
	}
	if (!wants_offset(e))
		return;
	const struct backing *k = backing_for(b, backing_offset(e->function), e->meter, e->function,
	                                      b->utc + e->t);
	e->offset_missing = !k;
	if (!k)
		return;
	e->offset = k->seq;
	e->u = uncertainty_combine(e->u, k->u, 0);
	e->basis.offset_u = k->u;
	if (!shows(e, k) || !decimal_subtract(e->value, k->value, &less))
		return;
	/* The sum of exponents is the finer one; more digits than fit are none. */
	int finer = e->value.e < k->value.e ? e->value.e : k->value.e;
	if (!decimal_rescale(less, finer, &less))
		return;
	e->has_raw = true;
	e->raw = e->value;
	e->value = less;
}

void entry_refer_again(const struct bench *b, struct entry *e)
{
	int k = backing_find(b, e->offset), check = backing_find(b, e->check);
	bool counts = k >= 0 && !b->backing[k].struck;
	e->offset_missing = wants_offset(e) && !counts;
	e->check_failed = check >= 0 && b->backing[check].failed && !b->backing[check].struck;
	if (e->has_raw && !counts) {
		e->value = e->raw;
		e->has_raw = false;
	}
}

/* ---- struck, refused, read back ---- */

static void judge_all(struct bench *b, int64_t seq, const char *because)
{
	for (int i = 0; i < b->mades; i++) {
		struct entry *e = &b->made[i].entry;
		if (e->struck || (e->offset != seq && e->check != seq))
			continue;
		entry_refer_again(b, e);
		job_judge_anew(b, i, because);
	}
}

bool backing_strike(struct bench *b, int64_t t, int backing, const char *because,
                    struct bench_wait w, struct fault *why)
{
	struct backing *k = &b->backing[backing];
	if (k->struck) {
		fault_set(why, "record %lld is struck already", (long long)k->seq);
		return false;
	}
	uint64_t ticket = job_put_strike(b, t, k->seq, k->position, because, why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, w);
	p.unbacks = backing;
	bench_pend(b, p);
	k->struck = true;
	judge_all(b, k->seq, k->what == ERRAND_CHECK ? "the meter check was struck"
	                                             : "the lead offset was struck");
	job_rejudge_owed(b, t);
	return true;
}

void backing_unstrike(struct bench *b, int backing)
{
	b->backing[backing].struck = false;
	/* Values that were put back to what the meter gave are in the log as they were. */
	b->unsure = true;
}

void backing_heard(struct bench *b, struct backing *k, int64_t seq)
{
	char number[24], shown[64], en[24];
	k->seq = seq;
	k->struck = !seq;
	if (!seq)
		return;
	snprintf(number, sizeof number, "%lld", (long long)seq);
	quantity_shown(k->value, k->function, quantity_prefix(k->value, k->function), shown,
	               sizeof shown);
	snprintf(en, sizeof en, "%.2f", k->en);
	if (k->what == ERRAND_CHECK)
		bench_event(b, "check", "seq", number, "meter", k->meter, "position", k->position, "shown",
		            shown, "verdict", k->failed ? "failed" : "passed", "en", en, NULL);
	else
		bench_event(b, "offset", "seq", number, "meter", k->meter, "shown", shown, NULL);
}

bool backing_restore(struct bench *b, const char *kind, const char *text, size_t len)
{
	struct backing_body body;
	if (!backing_body_read(text, len, kind, &body))
		return true; /* of a later version */
	if (!backing_room(b))
		return false;
	struct backing *k = &b->backing[b->backings++];
	*k = (struct backing){.what = ERRAND_CHECK, .seq = body.seq, .utc = body.t,
	                      .function = body.function, .value = body.value, .u = body.u,
	                      .en = body.en, .failed = body.check && !body.agree};
	if (!body.check)
		k->what = backing_offset(body.function);
	memcpy(k->meter, body.meter, sizeof k->meter);
	memcpy(k->position, body.position, sizeof k->position);
	return true;
}
