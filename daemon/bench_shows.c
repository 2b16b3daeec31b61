/* SPDX-License-Identifier: MIT */
/*
 * Which quantities of a part the walk asks for: those that the part must show
 * (protocol/trade/part.h), that it lacks, and that a meter of this bench can measure with
 * the probes alone.
 *
 * Leakage wants working volts, so no walk asks for it: its guided run is named instead.  An
 * ohm-meter on a capacitor shows no ESR and one at its own few volts no insulation: these are
 * asked for where a meter says in its section that it measures so (`test ohm = 100 kHz`,
 * `test ohm = 500 V`).  What nobody asks for is missing all the same: it is said when the walk
 * leaves the part (event `missing`), once more as a count at its end, and stands in
 * `sheet show --missing`.
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <string.h>

/* Insulation is not tested with less.  Common practice, no source. */
static const struct decimal least_volts = {50, 0};

/* Is one of the parts of `test ohm = 500 V, ...` volts that test an insulation? */
static bool tests_insulation(const char *test)
{
	while (*test) {
		struct decimal volts;
		struct fault ignored;
		enum function f;
		test += strspn(test, " ,");
		size_t len = strcspn(test, ","), n = len;
		while (n && test[n - 1] == ' ')
			n--;
		if (n && quantity_parse(test, n, FUNCTION_NONE, &volts, &f, &ignored) &&
		    (f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC) &&
		    decimal_compare(volts, least_volts) >= 0)
			return true;
		test += len;
	}
	return false;
}

static bool tests_esr(const char *test)
{
	struct decimal hertz;
	char mode[12];
	return test_frequency(test, &hertz, mode);
}

/* Does any meter of the bench measure ohms like that? */
static bool ohms_tested(const struct bench *b, bool (*so)(const char *test))
{
	for (int i = 0; i < b->meters; i++)
		if (so(b->meter[i].config->use.test[FUNCTION_OHM]))
			return true;
	return false;
}

static bool askable(const struct bench *b, const struct part_quantity *q)
{
	switch (q->quantity) {
	case QUANTITY_VALUE:
	case QUANTITY_VOLTS:
		return true;
	case QUANTITY_ESR:
		return ohms_tested(b, tests_esr);
	case QUANTITY_INSULATION:
		return ohms_tested(b, tests_insulation);
	default:
		return false;
	}
}

/* A meter that sends such a value beside each of its own; NULL for none. */
static const char *sends_beside(const struct bench *b, const struct part_quantity *q)
{
	for (int i = 0; i < b->meters; i++) {
		enum quantity second = second_quantity(b->meter[i].config->second);
		if (second == q->quantity || (second == q->or_else && second != QUANTITY_COUNT))
			return b->meter[i].config->name;
	}
	return NULL;
}

/* What is to be done for one that no walk asks for. */
static void way_to(const struct bench *b, const char *name, const struct part_quantity *q,
                   char *out, size_t size)
{
	const char *meter = sends_beside(b, q);
	if (q->quantity == QUANTITY_LEAKAGE)
		snprintf(out, size, "use `tally leak %s`", name);
	else if (meter)
		snprintf(out, size, "again with %s, which sends it beside the value", meter);
	else
		snprintf(out, size, "no meter of this bench measures it: `tally enter %s VALUE --quantity %s "
		         "--from INSTRUMENT`", name, quantity_name(q->quantity));
}

/* The quantities of the part that it lacks and no walk asks for. */
static int unasked(const struct bench *b, int place, struct part_quantity out[PART_SHOWS_MAX])
{
	struct part_quantity shows[PART_SHOWS_MAX];
	int count = part_shows(position_now(b, place), shows), lacks = 0;
	for (int i = 1; i < count; i++)
		if (!askable(b, &shows[i]) && shows_lacks(b, place, shows[i].quantity))
			out[lacks++] = shows[i];
	return lacks;
}

void shows_say_missing(struct bench *b, int place)
{
	struct part_quantity lacks[PART_SHOWS_MAX];
	const char *name = position_now(b, place)->name;
	char text[400], which[48], way[160];
	int count = unasked(b, place, lacks);
	size_t len = (size_t)snprintf(text, sizeof text, "%s is not whole yet: ", name);
	for (int i = 0; i < count && len < sizeof text; i++) {
		part_quantity_text(&lacks[i], which, sizeof which);
		way_to(b, name, &lacks[i], way, sizeof way);
		len += (size_t)snprintf(text + len, sizeof text - len, "%s%s missing, %s", i ? "; " : "",
		                        which, way);
	}
	if (count)
		bench_event(b, "missing", "position", name, "quantity", quantity_name(lacks[0].quantity),
		            "text", text, NULL);
}

void shows_missing_text(const struct bench *b, char *out, size_t size)
{
	int parts = 0;
	for (int i = 0; i < b->positions; i++) {
		struct part_quantity lacks[PART_SHOWS_MAX];
		parts += unasked(b, i, lacks) > 0;
	}
	out[0] = '\0';
	if (parts)
		snprintf(out, size, "; %d of them lack%s what no walk can measure (leakage, ...): `tally sheet "
		         "show --missing`", parts, parts == 1 ? "s" : "");
}

int shows_asked(const struct bench *b, int place, enum quantity out[PART_SHOWS_MAX])
{
	struct part_quantity shows[PART_SHOWS_MAX];
	const struct position *p = position_now(b, place);
	int count = part_shows(p, shows), asked = 0;
	for (int i = 0; i < count; i++)
		if (i == 0 || askable(b, &shows[i]))
			out[asked++] = shows[i].quantity;
	if (!asked)
		out[asked++] = position_first_quantity(p);
	return asked;
}

bool shows_lacks(const struct bench *b, int place, enum quantity q)
{
	struct part_quantity shows[PART_SHOWS_MAX];
	int count = part_shows(position_now(b, place), shows), wanted = 1;
	if (b->way.mode != WALK_OFF && b->way.meters > 1)
		wanted = b->way.meters;
	if (way_meters_have(b, place, q) >= wanted)
		return false;
	/* What stands for it will do. */
	for (int i = 0; i < count; i++)
		if (shows[i].quantity == q && shows[i].or_else != q &&
		    way_meters_have(b, place, shows[i].or_else) >= wanted)
			return false;
	return true;
}

enum quantity shows_next(const struct bench *b, int place, enum function dial)
{
	enum quantity asked[PART_SHOWS_MAX];
	const struct position *p = position_now(b, place);
	int count = shows_asked(b, place, asked);
	for (int i = 0; i < count; i++)
		if (shows_lacks(b, place, asked[i]) &&
		    (dial == FUNCTION_NONE || position_takes(p, asked[i], dial)))
			return asked[i];
	return asked[0];
}

enum quantity shows_here(const struct bench *b, int place)
{
	enum quantity asked[PART_SHOWS_MAX];
	const struct position *p = position_now(b, place);
	int count = shows_asked(b, place, asked);
	for (int i = 0; i < count; i++) {
		if (!shows_lacks(b, place, asked[i]))
			continue;
		for (int k = 0; k < b->meters; k++) {
			const struct bench_meter *m = &b->meter[k];
			if (m->has_last && !m->gone && m->bound.place < 0 &&
			    position_takes(p, asked[i], m->last.function))
				return asked[i];
		}
	}
	return b->quantity;
}
