/* SPDX-License-Identifier: MIT */
/*
 * A lot of loose parts: each touch that settles is one numbered part, the number is spoken, and
 * the part goes down in that order.  Then the pairs that lie nearest to each other are proposed,
 * and on a `go` they are those of the positions that the lot is for.
 *
 * Driven by one hand: `go` with a part between the probes that has not settled counts it as it
 * stands; with the probes open it means enough.  `back` measures the last one once more, `back`
 * again the one before it, and so on.
 *
 * The pairs are the exact minimum of the sum of differences, not the nearest two first: those
 * leave a bad pair at the end.  For values in order, differences in percent of the mean are a
 * concave function of the distance (2 tanh of half of ln b/a), so no two pairs of a best choice
 * cross, and nothing unpaired lies inside of a pair: another part in its place would be nearer.
 * That leaves blocks of neighbours that are wholly paired, and an optimum over blocks.
 */
#include "protocol/guide/guide_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Where nobody said a tolerance: beyond this factor of its nominal it is another part.  Beyond
 * the second it is no part of any lot: a finger, a wrong range.  Common practice, no source. */
#define FACTOR_OUTSIDE 1.5
#define FACTOR_ABSURD 10
/* Of the nominal: what reads less has nothing between the probes. */
#define FRACTION_OPEN 0.02

enum { ROLE_PART };
enum { SLOT_PARTS, SLOT_AGAIN = GUIDE_LOT_MAX + 1 }; /* 1 to GUIDE_LOT_MAX: the parts */
enum { STEP_CAUTION, STEP_TOUCH, STEP_PAIRS };

static const char *const slots[] = {[SLOT_PARTS] = "parts", [SLOT_AGAIN] = "again"};

static const struct guide_role roles[] = {
    [ROLE_PART] = {"part", FUNCTION_NONE, QUANTITY_VALUE, false, "across the loose part"},
};

static const char *const cautions[] = {
    "loose parts only: a part in a unit is measured in its place",
    "capacitors are discharged before they come to a meter, large ones through a resistor",
    NULL,
};

static const struct guide_step steps[] = {
    [STEP_CAUTION] = {"caution", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                      "the parts of %s lie loose, and capacitors are discharged"},
    [STEP_TOUCH] = {"touch", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                    "touch one part of %s after the other: its number is said, and it goes down in that "
                    "order"},
    [STEP_PAIRS] = {"pairs", -1, -1, QUANTITY_VALUE, GUIDE_UNIT_SAME, false, false,
                    "the nearest pairs of %s are proposed, and go to the positions they are for"},
};

static bool begin(struct guide *g, struct fault *why)
{
	if (!(g->plan.nominal > 0)) {
		fault_set(why, "a lot has a nominal, such as 4k7 or 100n");
		return false;
	}
	if (g->plan.fits % 2 != 0) {
		fault_set(why, "for= names positions two and two: %d are not pairs", g->plan.fits);
		return false;
	}
	for (int i = 0; i < g->plan.fits; i++)
		for (int j = 0; j < i; j++)
			if (strcmp(g->plan.fit[i], g->plan.fit[j]) == 0) {
				fault_set(why, "for= names %s twice", g->plan.fit[i]);
				return false;
			}
	return true;
}

static int parts(const struct guide *g)
{
	return (int)guide_slot_value(g, SLOT_PARTS);
}

/* ---- limits ---- */

static void limits(const struct guide *g, double *low, double *high)
{
	*low = isnan(g->plan.low) ? g->plan.nominal / FACTOR_OUTSIDE : g->plan.low;
	*high = isnan(g->plan.high) ? g->plan.nominal * FACTOR_OUTSIDE : g->plan.high;
}

static bool inside(const struct guide *g, int n)
{
	double low, high;
	limits(g, &low, &high);
	return g->slot[n].has && g->slot[n].value > 0 && g->slot[n].value >= low &&
	       g->slot[n].value <= high;
}

const char *guide_lot_verdict(const struct guide *g, int number, double *low, double *high)
{
	const struct guide_slot *s = &g->slot[number];
	double U = 2 * s->u;
	limits(g, low, high);
	if (s->value - U >= *low && s->value + U <= *high)
		return "within";
	return s->value + U < *low || s->value - U > *high ? "outside" : "unsure";
}

static int usable(const struct guide *g)
{
	int n = 0;
	for (int i = 1; i <= parts(g); i++)
		n += inside(g, i);
	return n;
}

static const char *unit(const struct guide *g)
{
	return function_unit(g->plan.function);
}

/* Five digits, trailing zeros dropped: more than three, for what is sorted differs in these. */
static const char *shown(double value, const char *unit, char out[32])
{
	static const char prefix[] = "pnum\0kMG";
	int i = value != 0 && isfinite(value) ? (int)floor(log10(fabs(value) * 1.000001) / 3) + 4 : 4;
	i = i < 0 ? 0 : i > 7 ? 7 : i;
	char p[2] = {prefix[i], '\0'};
	snprintf(out, 32, "%.5g %s%s", value / pow(1000, i - 4), p, unit);
	return out;
}

/* ---- pairs ---- */

struct order {
	int n;
	int number[GUIDE_LOT_MAX];
	double value[GUIDE_LOT_MAX];
};

static void sorted(const struct guide *g, struct order *o)
{
	o->n = 0;
	for (int i = 1; i <= parts(g) && i <= GUIDE_LOT_MAX; i++) {
		int at = o->n;
		if (!inside(g, i))
			continue;
		for (; at > 0 && o->value[at - 1] > g->slot[i].value; at--) {
			o->value[at] = o->value[at - 1];
			o->number[at] = o->number[at - 1];
		}
		o->value[at] = g->slot[i].value;
		o->number[at] = i;
		o->n++;
	}
}

static double apart(const struct order *o, int i, int j)
{
	return 200 * (o->value[j] - o->value[i]) / (o->value[j] + o->value[i]);
}

#define SIDE (GUIDE_LOT_MAX + 1)
#define NOBODY 1e300

struct blocks {
	double sum[SIDE][SIDE]; /* of i to j - 1, wholly paired */
	int with[SIDE][SIDE];   /* whom i is paired with there */
	double best[GUIDE_LOT_MAX / 2 + 1][SIDE]; /* m pairs among the first j */
	int from[GUIDE_LOT_MAX / 2 + 1][SIDE];    /* the last block begins here, -1: j - 1 is left out */
};

static void fill_blocks(const struct order *o, struct blocks *b)
{
	for (int i = 0; i <= o->n; i++)
		b->sum[i][i] = 0;
	for (int len = 2; len <= o->n; len += 2) {
		for (int i = 0; i + len <= o->n; i++) {
			b->sum[i][i + len] = NOBODY;
			for (int k = i + 1; k < i + len; k += 2) {
				double sum = apart(o, i, k) + b->sum[i + 1][k] + b->sum[k + 1][i + len];
				if (sum >= b->sum[i][i + len])
					continue;
				b->sum[i][i + len] = sum;
				b->with[i][i + len] = k;
			}
		}
	}
}

static void fill_best(const struct order *o, int n, struct blocks *b)
{
	for (int m = 0; m <= n; m++) {
		for (int j = 0; j <= o->n; j++) {
			b->best[m][j] = m == 0 ? 0 : j == 0 ? NOBODY : b->best[m][j - 1];
			b->from[m][j] = -1;
			for (int i = j - 2; m > 0 && i >= 0 && (j - i) / 2 <= m; i -= 2) {
				double sum = b->best[m - (j - i) / 2][i] + b->sum[i][j];
				if (sum >= b->best[m][j])
					continue;
				b->best[m][j] = sum;
				b->from[m][j] = i;
			}
		}
	}
}

static void put_pair(const struct guide *g, const struct order *o, int i, int j,
                     struct guide_pair *out)
{
	int a = o->number[i], b = o->number[j];
	out->a = a < b ? a : b;
	out->b = a < b ? b : a;
	out->percent = apart(o, i, j);
	struct pair p = place_pair(guide_slot_measure(g, a), guide_slot_measure(g, b));
	/* Both share the meter, so less than this may well be told apart; never the other way. */
	out->apart = fabs(p.percent.value) > 2 * p.percent.u;
}

/* The pairs of the block i to j - 1, behind what stands at out[count]. */
static int walk(const struct guide *g, const struct order *o, const struct blocks *b, int i, int j,
                struct guide_pair *out, int count)
{
	while (i < j) {
		int k = b->with[i][j];
		put_pair(g, o, i, k, &out[count++]);
		count = walk(g, o, b, i + 1, k, out, count);
		i = k + 1;
	}
	return count;
}

int guide_lot_pairs(const struct guide *g, int n, struct guide_pair *out)
{
	struct order o;
	struct blocks b;
	int count = 0;
	sorted(g, &o);
	n = n < o.n / 2 ? n : o.n / 2;
	if (n <= 0)
		return 0;
	fill_blocks(&o, &b);
	fill_best(&o, n, &b);
	for (int m = n, j = o.n; m > 0;) {
		int i = b.from[m][j];
		if (i < 0) {
			j--;
			continue;
		}
		count = walk(g, &o, &b, i, j, out, count);
		m -= (j - i) / 2;
		j = i;
	}
	/* The nearest first. */
	for (int i = 1; i < count; i++) {
		for (int j = i; j > 0 && out[j].percent < out[j - 1].percent; j--) {
			struct guide_pair swap = out[j];
			out[j] = out[j - 1];
			out[j - 1] = swap;
		}
	}
	return count;
}

static int pairs(const struct guide *g, struct guide_pair out[GUIDE_LOT_MAX / 2])
{
	return guide_lot_pairs(g, g->plan.fits ? g->plan.fits / 2 : GUIDE_LOT_MAX / 2, out);
}

/* ---- touches ---- */

static void tell_part(const struct guide *g, int n, bool stood, struct guide_out *out)
{
	char value[32], beside[64] = "";
	double low, high, v = g->slot[n].value;
	limits(g, &low, &high);
	if (!inside(g, n))
		snprintf(beside, sizeof beside, ", outside: %.1f %% %s", 100 * fabs(v / g->plan.nominal - 1),
		         v < low ? "low" : "high");
	snprintf(out->text, sizeof out->text, "%d: %s%s%s", n, shown(v, unit(g), value), beside,
	         stood ? ", as it stood" : "");
}

static void count_part(struct guide *g, const struct guide_input *in, struct measure x, bool stood,
                       struct guide_out *out)
{
	char value[32];
	int again = (int)guide_slot_value(g, SLOT_AGAIN), n = again ? again : parts(g) + 1;
	if (x.value < g->plan.nominal / FACTOR_ABSURD || x.value > g->plan.nominal * FACTOR_ABSURD) {
		snprintf(out->text, sizeof out->text, "not counted: %s is no part of a lot of %s",
		         shown(x.value, unit(g), value), g->plan.of);
		return;
	}
	if (n > GUIDE_LOT_MAX) {
		snprintf(out->text, sizeof out->text, "not counted: a lot has at most %d parts", GUIDE_LOT_MAX);
		return;
	}
	g->slot[n] = (struct guide_slot){.has = true, .value = x.value, .u = isfinite(x.u) ? x.u : 0};
	if (!again)
		guide_slot_set(g, SLOT_PARTS, n);
	g->slot[SLOT_AGAIN].has = false;
	g->kept_at = in->t;
	out->keep = true;
	out->part = n;
	out->stood = stood;
	tell_part(g, n, stood, out);
}

static bool nothing_there(const struct guide *g, const struct guide_input *in)
{
	return in->over || fabs(in->x.value) < FRACTION_OPEN * g->plan.nominal;
}

#define NEVER (INT64_MIN / 2)

/* Since it was taken up, or its meter is back, the probes were not open; what stands between
 * them reads like the part that was counted last, and so it is that part. */
static bool stands_still(const struct guide *g, struct measure x)
{
	int n = parts(g);
	if (g->said_at != NEVER || g->kept_at != NEVER || n < 1 || guide_slot_value(g, SLOT_AGAIN) > 0)
		return false;
	return fabs(x.value - g->slot[n].value) <= 2 * hypot(isfinite(x.u) ? x.u : 0, g->slot[n].u);
}

/* said_at: the probes were open last; kept_at: a part was counted last. */
static void reading(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	char value[32];
	if (g->step != STEP_TOUCH)
		return;
	if (g->read_at[in->role] == INT64_MIN)
		g->said_at = g->kept_at = NEVER;
	if (nothing_there(g, in))
		g->said_at = in->t;
	else if (in->act == GUIDE_SETTLED && stands_still(g, in->x))
		snprintf(out->text, sizeof out->text, "not counted: %s reads as part %d did, and the probes were not "
		         "lifted since; lift, and touch the next", shown(in->x.value, unit(g), value), parts(g));
	else if (in->act == GUIDE_SETTLED)
		count_part(g, in, in->x, false, out);
}

/* Is there a part between the probes that was not counted? */
static bool unsettled(const struct guide *g)
{
	double v = fabs(g->live[ROLE_PART].value);
	return g->step == STEP_TOUCH && g->is_live[ROLE_PART] && !g->is_over[ROLE_PART] &&
	       v >= FRACTION_OPEN * g->plan.nominal && g->said_at >= g->kept_at &&
	       !stands_still(g, g->live[ROLE_PART]);
}

static bool input(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	if (g->step != STEP_TOUCH || in->act == GUIDE_TAKEN)
		return false;
	int again = (int)guide_slot_value(g, SLOT_AGAIN);
	if (in->act == GUIDE_GO) {
		if (!unsettled(g) && again > 0) { /* that part stays as it was measured */
			g->slot[SLOT_AGAIN].has = false;
			out->keep = true;
			snprintf(out->text, sizeof out->text, "%d stays as it is: touch %d", again, parts(g) + 1);
			return true;
		}
		if (!unsettled(g)) { /* on to the pairs, which are said: nobody has to look */
			struct guide_pair pair[GUIDE_LOT_MAX / 2];
			int n = pairs(g, pair);
			size_t k = 0;
			for (int i = 0; i < n && i < GUIDE_FOR_MAX / 2 && k < sizeof out->text; i++) {
				k += (size_t)snprintf(out->text + k, sizeof out->text - k, "%s%d and %d", i ? "; " : "",
				                      pair[i].a, pair[i].b);
				if (g->plan.fits && k < sizeof out->text)
					k += (size_t)snprintf(out->text + k, sizeof out->text - k, " for %.31s and %.31s",
					                      g->plan.fit[2 * i], g->plan.fit[2 * i + 1]);
			}
			return false;
		}
		count_part(g, in, g->live[ROLE_PART], true, out);
		return true;
	}
	/* Back once more is the part before that. */
	int n = in->number ? in->number : again > 0 ? again - 1 : parts(g);
	if (again == 1 && !in->number) {
		snprintf(out->text, sizeof out->text, "part 1 is the first one: touch it once more");
		return true;
	}
	if (n < 1 || n > parts(g)) {
		snprintf(out->text, sizeof out->text, "there is no part %d: %d were touched", n, parts(g));
		return true;
	}
	guide_slot_set(g, SLOT_AGAIN, n);
	out->keep = true;
	snprintf(out->text, sizeof out->text, "%d once more: touch it", n);
	return true;
}

static bool may_go(const struct guide *g, struct fault *why)
{
	int need = g->plan.fits ? g->plan.fits : 2, there = usable(g);
	if (g->step != STEP_TOUCH || unsettled(g) || guide_slot_value(g, SLOT_AGAIN) > 0 || there >= need)
		return true;
	fault_set(why, "%d parts are wanted for pairs, and %d of the %d touched so far are within their limits: "
	          "touch more", need, there, parts(g));
	return false;
}

/* ---- for people ---- */

static void add(char *out, size_t size, const char *words)
{
	size_t n = strlen(out);
	snprintf(out + n, size - n, "%s", words);
}

static void say_pairs(const struct guide *g, char *out, size_t size)
{
	struct guide_pair pair[GUIDE_LOT_MAX / 2];
	int n = pairs(g, pair);
	for (int i = 0; i < n && i < GUIDE_FOR_MAX / 2; i++) {
		char one[128];
		int k = snprintf(one, sizeof one, "%s%d and %d", i ? "; " : "", pair[i].a, pair[i].b);
		if (g->plan.fits)
			k += snprintf(one + k, sizeof one - (size_t)k, " for %.16s and %.16s", g->plan.fit[2 * i],
			              g->plan.fit[2 * i + 1]);
		snprintf(one + k, sizeof one - (size_t)k, pair[i].apart ? ": %.2g %%" : ": no difference to this meter",
		         pair[i].percent);
		add(out, size, one);
	}
	if (n > GUIDE_FOR_MAX / 2)
		add(out, size, "; further pairs are in the record");
	add(out, size, g->plan.fits ? ". Go on fits them there; back touches more" : ". Go on ends it; back "
	                                                                             "touches more");
}

static void say(const struct guide *g, char *out, size_t size)
{
	int again = (int)guide_slot_value(g, SLOT_AGAIN);
	if (g->step == STEP_CAUTION)
		snprintf(out, size, "lay the parts of %s out loose, capacitors discharged; then go on", g->plan.of);
	else if (g->step == STEP_PAIRS)
		say_pairs(g, out, size);
	else if (again)
		snprintf(out, size, "touch part %d once more; back is the one before it; go on with the probes open leaves "
		         "it as it is", again);
	else
		snprintf(out, size, "touch part %d; go on with the probes open when it is enough", parts(g) + 1);
}

/* ---- for the record ---- */

static void write_pair(const struct guide *g, const struct guide_pair *p, int i, struct text *out)
{
	text_printf(out, "%s{\"a\":%d,\"b\":%d,\"percent\":", i ? "," : "", p->a, p->b);
	text_real(out, p->percent);
	text_member_bool(out, "apart", p->apart);
	if (g->plan.fits) {
		text_member(out, "for");
		text_puts(out, "[");
		text_string(out, g->plan.fit[2 * i], strlen(g->plan.fit[2 * i]));
		text_puts(out, ",");
		text_string(out, g->plan.fit[2 * i + 1], strlen(g->plan.fit[2 * i + 1]));
		text_puts(out, "]");
	}
	text_puts(out, "}");
}

static void result(const struct guide *g, struct text *out)
{
	struct guide_pair pair[GUIDE_LOT_MAX / 2];
	bool first = true;
	if (g->step != STEP_PAIRS)
		return;
	int n = pairs(g, pair);
	text_member(out, "result");
	text_printf(out, "{\"parts\":%d", parts(g));
	text_member_real(out, "nominal", g->plan.nominal);
	text_member_string(out, "unit", unit(g));
	text_member(out, "pairs");
	text_puts(out, "[");
	for (int i = 0; i < n; i++)
		write_pair(g, &pair[i], i, out);
	text_puts(out, "]");
	text_member(out, "outside");
	text_puts(out, "[");
	for (int i = 1; i <= parts(g); i++) {
		if (inside(g, i))
			continue;
		text_printf(out, "%s%d", first ? "" : ",", i);
		first = false;
	}
	text_puts(out, "]}");
}

static void figures(const struct guide *g, struct text *out)
{
	char a[32], b[32];
	double low, high;
	limits(g, &low, &high);
	if (!(g->plan.nominal > 0))
		return;
	text_printf(out, "with: at most %d parts; for pairs those from %s to %s\n", GUIDE_LOT_MAX,
	            shown(low, unit(g), a), shown(high, unit(g), b));
	for (int i = 0; i + 1 < g->plan.fits; i += 2)
		text_printf(out, "for: %s and %s\n", g->plan.fit[i], g->plan.fit[i + 1]);
	if (!g->plan.fits)
		text_puts(out, "for: no position was named (for=R1,R2): the pairs are proposed, and kept in the record\n");
}

static void look(const struct guide *g, struct text *out)
{
	text_member_int(out, "parts", parts(g));
	text_member_int(out, "usable", usable(g));
}

/* The parts lie where they lay, in their order. */
static void again(struct guide *g, const struct guide *left)
{
	for (int i = SLOT_PARTS; i <= GUIDE_LOT_MAX; i++)
		g->slot[i] = left->slot[i];
}

const struct guide_procedure guide_lot = {
    .name = "lot", .step = steps, .steps = sizeof steps / sizeof *steps, .role = roles,
    .roles = sizeof roles / sizeof *roles, .needs = GUIDE_NEEDS_COLD, .cautions = cautions,
    .slot = slots, .slots = sizeof slots / sizeof *slots, .begin = begin, .say = say,
    .reading = reading, .may_go = may_go, .input = input, .result = result, .look = look, .again = again,
    .figures = figures,
};
