/* SPDX-License-Identifier: MIT */
/*
 * Twins proposed by equal value, for an amplifier without a schematic: two channels hold
 * the same parts, so what was measured alike in both is probably the same place.
 *
 *   - Of each position without a twin the newest found entry of its first quantity that
 *     counts, with a value, lifted or loose before in circuit.
 *   - Two are alike where they were measured alike and their values lie no farther apart
 *     than the tolerance of such a part (by its nominal's limits, else the default of the
 *     kind around the value itself; 10 % where practice says nothing), or E_n allows it.
 *     Two of one nominal may lie twice as far apart; but so do neighbours of a series.
 *   - Two are of two channels where the sheet says so (channel), else their names do (what
 *     stands before a slash), and both say something else.  Where neither says a thing, any
 *     two may be.
 *   - Those alike are taken in the order in which they were named, the first of the one
 *     channel with the first of the other; without channels the first half with the second.
 *     A pair is `alone` where nothing else is alike: only such are accepted unseen.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/crosscheck.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct candidate {
	int place;
	const struct entry *e;
	double value, allowed; /* allowed: half the width, as a share of the value */
	char channel[NAME_SIZE];
	int cluster;
	bool used;
};

struct pair {
	int a, b; /* places */
	const struct entry *x, *y;
	bool alone;
};

struct guess {
	struct candidate *at;
	int n;
	struct pair *pair;
	int pairs;
};

/* ---- candidates ---- */

static const struct entry *newest_value(const struct bench *b, int place)
{
	const struct position *p = &b->position[place].row.position;
	const struct entry *circuit = NULL;
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older) {
		const struct entry *e = &b->made[i].entry;
		if (e->struck || !e->has_value || e->condition != CONDITION_FOUND ||
		    e->quantity != position_first_quantity(p) || decimal_double(e->value) == 0)
			continue;
		if (e->reach != REACH_IN_CIRCUIT)
			return e;
		circuit = circuit ? circuit : e;
	}
	return circuit;
}

static double allowed_share(const struct position *p, const struct entry *e)
{
	struct tolerance usual;
	struct limits l;
	struct position as = *p;
	if (!as.has_nominal) {
		as.has_nominal = true;
		as.nominal = e->value;
		as.function = e->function;
	}
	if (!position_limits(&as, &l) &&
	    !(tolerance_default(p->kind, e->function, &usual) &&
	      limits_from(&usual, true, e->value, &l)))
		return 0.1;
	if (!l.has_low || !l.has_high)
		return 0.1;
	double low = decimal_double(l.low), high = decimal_double(l.high);
	double middle = fabs(low + high) / 2;
	return middle > 0 ? fabs(high - low) / 2 / middle : 0.1;
}

/* "" where neither the sheet nor the name says one. */
static void channel_of(const struct position *p, char out[NAME_SIZE])
{
	const char *slash = strrchr(p->name, '/');
	out[0] = '\0';
	if (p->channel[0])
		snprintf(out, NAME_SIZE, "%s", p->channel);
	else if (slash)
		snprintf(out, NAME_SIZE, "%.*s", (int)(slash - p->name), p->name);
}

static bool gather(const struct bench *b, struct guess *g)
{
	g->at = calloc((size_t)b->positions + 1, sizeof *g->at);
	g->pair = calloc((size_t)b->positions + 1, sizeof *g->pair);
	if (!g->at || !g->pair)
		return false;
	for (int i = 0; i < b->positions; i++) {
		const struct position *p = &b->position[i].row.position;
		const struct entry *e = p->twin[0] || p->kind == KIND_REFERENCE ? NULL : newest_value(b, i);
		if (!e)
			continue;
		struct candidate *c = &g->at[g->n++];
		*c = (struct candidate){.place = i, .e = e, .value = decimal_double(e->value),
		                        .allowed = allowed_share(p, e), .cluster = -1};
		channel_of(p, c->channel);
	}
	return true;
}

/* ---- alike ---- */

static bool alike(const struct candidate *x, const struct candidate *y)
{
	struct twins twins;
	struct fault ignored;
	if (x->e->function != y->e->function || x->e->reach != y->e->reach ||
	    x->e->quantity != y->e->quantity)
		return false;
	double allowed = x->allowed < y->allowed ? x->allowed : y->allowed;
	return twins_compare(x->e, y->e, allowed, &twins, &ignored) && twins.agree;
}

static int by_value(const void *a, const void *b)
{
	const struct candidate *x = a, *y = b;
	if (x->e->function != y->e->function)
		return x->e->function < y->e->function ? -1 : 1;
	if (x->e->reach != y->e->reach)
		return x->e->reach < y->e->reach ? -1 : 1;
	if (x->value != y->value)
		return x->value < y->value ? -1 : 1;
	return x->place - y->place;
}

static int by_cluster(const void *a, const void *b)
{
	const struct candidate *x = a, *y = b;
	return x->cluster != y->cluster ? x->cluster - y->cluster : x->place - y->place;
}

/* Values in order: one begins another cluster where it is not like the first of the last;
 * so no chain of small steps joins what is far apart. */
static void cluster(struct guess *g)
{
	if (g->n)
		qsort(g->at, (size_t)g->n, sizeof *g->at, by_value);
	for (int i = 0, first = 0; i < g->n; i++) {
		if (i && !alike(&g->at[first], &g->at[i]))
			first = i;
		g->at[i].cluster = first;
	}
	if (g->n)
		qsort(g->at, (size_t)g->n, sizeof *g->at, by_cluster);
}

static void add_pair(struct guess *g, struct candidate *x, struct candidate *y, bool alone)
{
	x->used = y->used = true;
	g->pair[g->pairs++] = (struct pair){x->place, y->place, x->e, y->e, alone};
}

/* One cluster, in the order of naming. */
static void pair_up(struct guess *g, struct candidate *c, int n)
{
	bool channels = false;
	for (int i = 1; i < n; i++)
		channels = channels || strcmp(c[i].channel, c[0].channel) != 0;
	if (!channels && c[0].channel[0])
		return; /* all in one channel */
	if (!channels) {
		for (int i = 0; n % 2 == 0 && i < n / 2; i++)
			add_pair(g, &c[i], &c[i + n / 2], n == 2);
		return;
	}
	for (int i = 0; i < n; i++)
		for (int k = i + 1; k < n && !c[i].used; k++)
			if (!c[k].used && c[i].channel[0] && c[k].channel[0] &&
			    strcmp(c[i].channel, c[k].channel) != 0)
				add_pair(g, &c[i], &c[k], n == 2);
}

static bool guess(const struct bench *b, struct guess *g)
{
	*g = (struct guess){0};
	if (!gather(b, g))
		return false;
	cluster(g);
	for (int from = 0, to; from < g->n; from = to) {
		for (to = from + 1; to < g->n && g->at[to].cluster == g->at[from].cluster;)
			to++;
		if (to - from > 1)
			pair_up(g, g->at + from, to - from);
	}
	return true;
}

static void guess_free(struct guess *g)
{
	free(g->at);
	free(g->pair);
}

/* ---- said ---- */

static void write_side(const struct bench *b, struct text *out, const char *key, int place,
                       const struct entry *e)
{
	char shown[80];
	entry_shown(e, shown, sizeof shown);
	text_printf(out, "\"%s\":{\"position\":", key);
	const char *name = b->position[place].row.position.name;
	text_string(out, name, strlen(name));
	text_member_int(out, "seq", e->seq);
	text_member_string(out, "shown", shown);
	text_puts(out, "}");
}

void bench_twins(const struct bench *b, struct text *out)
{
	struct guess g;
	bool good = guess(b, &g);
	text_puts(out, "{\"pairs\":[");
	/* Room for a pair and the end: a sheet that has more shows the rest once these are
	 * twins. */
	int i = 0;
	for (; good && i < g.pairs && out->size - out->len > 512; i++) {
		const struct pair *p = &g.pair[i];
		double x = decimal_double(p->x->value), y = decimal_double(p->y->value);
		text_puts(out, i ? ",{" : "{");
		write_side(b, out, "a", p->a, p->x);
		text_puts(out, ",");
		write_side(b, out, "b", p->b, p->y);
		text_member_real(out, "difference", (y - x) / ((fabs(x) + fabs(y)) / 2));
		text_member_bool(out, "alone", p->alone);
		text_puts(out, "}");
	}
	text_puts(out, "]");
	text_member_bool(out, "more", good && i < g.pairs);
	text_puts(out, "}");
	guess_free(&g);
}

/* ---- accepted ---- */

/* Is it one of the words?  Each that is used is struck off with a space. */
static bool named(char *words, const char *name)
{
	size_t len = strlen(name);
	for (char *p = words; *(p += strspn(p, " ,"));) {
		size_t n = strcspn(p, " ,");
		if (n == len && memcmp(p, name, n) == 0) {
			memset(p, ' ', n);
			return true;
		}
		p += n;
	}
	return false;
}

static bool make_twins(struct sheet_batch *rows, const struct pair *p, struct fault *why)
{
	struct bench *b = rows->b;
	struct sheet_row one = b->position[p->a].row, other = b->position[p->b].row;
	return sheet_set(&one, "twin", other.position.name, why) &&
	       sheet_set(&other, "twin", one.position.name, why) &&
	       batch_add(rows, &one, POSITION_PAIRED, why) &&
	       batch_add(rows, &other, POSITION_PAIRED, why);
}

bool bench_twins_accept(struct bench *b, int64_t t, const char *positions, struct bench_wait w,
                        struct fault *why)
{
	bench_run_until(b, t);
	struct guess g;
	struct sheet_batch rows = {.b = b};
	char words[8192];
	bool some = positions && positions[0], good = guess(b, &g);
	if (!good)
		fault_set(why, "out of memory");
	if (good && some && strlen(positions) >= sizeof words) {
		fault_set(why, "that are too many names at once: at most %zu bytes of them",
		          sizeof words - 1);
		good = false;
	}
	snprintf(words, sizeof words, "%s", some ? positions : "");
	for (int i = 0; good && i < g.pairs; i++) {
		const struct pair *p = &g.pair[i];
		bool a = named(words, b->position[p->a].row.position.name);
		bool of_b = named(words, b->position[p->b].row.position.name);
		if (some ? a || of_b : p->alone)
			good = make_twins(&rows, p, why);
	}
	size_t left = strspn(words, " ,");
	if (good && words[left]) {
		fault_set(why, "no twin is proposed for %.*s", (int)strcspn(words + left, " ,"),
		          words + left);
		good = false;
	}
	if (good && !rows.rows) {
		fault_set(why, "no twins are proposed of which each is the only one of its value; name "
		          "those that you mean");
		good = false;
	}
	good = good && batch_put(&rows, t, NULL, w, why);
	if (good)
		bench_taped(b, t, "twins", "%s", some ? positions : "");
	guess_free(&g);
	batch_free(&rows);
	return good;
}
