/* SPDX-License-Identifier: MIT */
/*
 * See bench_guide.h: the words that the person gives with a guided run, KEY=VALUE:
 *
 *     grid=red            which meter has which role; one that is alone to read what the
 *                         role wants needs no word
 *     leak=1M             the grid leak, where the sheet names none (with)
 *     resistor=100k       in series, for re-forming; across which a current is read; or the
 *                         position at which it was measured (resistor=R99)
 *     to=350V  heat=1W    the volts to end at; watts that are too many
 *     era=modern|period   whose limit of leakage
 *     load=8  mains=230V  tap=230V
 *     ceiling=450V        volts above which the person is told to switch off
 *     for=R1,R2           positions that a lot is for, two and two
 *     tolerance=5%        of the parts of a lot
 *     load2=10            the second load, for the output impedance
 *     soak=30             minutes; 0 for none
 *     most=25W            that a valve may have at its anode
 *     isolated=red,blue   of meters whose section does not say: their input is isolated from earth
 *     rated=red:600V      ... and for how many volts it and its probes are rated
 *     because=TEXT        rise: why it begins although job.ready lists something
 */
#include "daemon/bench_guide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool a_number(const char *key, const char *value, enum function f, double *out,
                     struct fault *why)
{
	struct decimal d;
	enum function g;
	struct fault inner;
	if (!quantity_parse(value, strlen(value), f, &d, &g, &inner)) {
		fault_set(why, "%s=%.40s: %.160s", key, value, inner.text);
		return false;
	}
	*out = decimal_double(d);
	return true;
}

static bool take_for(struct bench_guide *gd, const char *list, struct fault *why)
{
	struct guide_plan *p = &gd->plan;
	for (const char *at = list; *at; at += *at == ',') {
		size_t n = strcspn(at, ",");
		if (!name_valid(at, n) || p->fits == GUIDE_FOR_MAX) {
			fault_set(why, "for=%.60s: at most %d names of positions, parted by commas", list,
			          GUIDE_FOR_MAX);
			return false;
		}
		snprintf(p->fit[p->fits++], NAME_SIZE, "%.*s", (int)n, at);
		at += n;
	}
	return true;
}

static bool take_era(struct guide_plan *p, const char *value, struct fault *why)
{
	bool modern = strcmp(value, "modern") == 0;
	if (!modern && strcmp(value, "period") != 0) {
		fault_set(why, "era=%.40s: modern or period", value);
		return false;
	}
	p->limit = modern ? LEAKAGE_001CV : LEAKAGE_PERIOD;
	return true;
}

static bool take_tolerance(struct guide_plan *p, const char *value, struct fault *why)
{
	struct tolerance t;
	struct limits l;
	struct fault inner;
	if (!tolerance_parse(value, strlen(value), p->function, &t, &inner) ||
	    !limits_from(&t, true, decimal_from_double(p->nominal, 9), &l)) {
		fault_set(why, "tolerance=%.40s: such as 5%% or -20/+80%%", value);
		return false;
	}
	p->low = l.has_low ? decimal_double(l.low) : NAN;
	p->high = l.has_high ? decimal_double(l.high) : NAN;
	return true;
}

/* The next of `list` (NAME or NAME:VOLTS, parted by commas) in *one, its volts in *volts or NULL. */
static const char *next_vouched(const char *list, char one[80], char **volts)
{
	size_t n = strcspn(list, ", ");
	snprintf(one, 80, "%.*s", (int)n, list);
	*volts = strchr(one, ':');
	if (*volts)
		*(*volts)++ = '\0';
	return list + n + (list[n] == ',');
}

/* What the person says of meters whose sections say nothing: it is kept with the words. */
static bool take_vouched(const struct bench *b, const char *key, const char *list, struct fault *why)
{
	bool rated = strcmp(key, "rated") == 0;
	for (const char *at = list; *at;) {
		char one[80], *volts;
		double most = 0;
		at = next_vouched(at, one, &volts);
		if (bench_meter_index(b, one) < 0) {
			fault_set(why, "%s=%.60s: there is no meter %.40s in the configuration", key, list, one);
			return false;
		}
		if (rated != (volts != NULL)) {
			fault_set(why, rated ? "rated=%.60s: the meter and its volts, such as rated=red:600V"
			                     : "isolated=%.60s: names of meters, parted by commas", list);
			return false;
		}
		if (rated && !a_number(key, volts, FUNCTION_VOLT_DC, &most, why))
			return false;
		if (rated && !(most > 0 && most <= 100e3)) {
			fault_set(why, "rated=%.60s: %.40s is no rating of a meter", list, volts);
			return false;
		}
	}
	return true;
}

/* Did the person say that of this meter?  *most: the volts that were said of it. */
bool guide_vouched(const struct bench_guide *gd, const char *key, const char *meter, double *most)
{
	bool found = false;
	for (const char *at = gd->said; *(at += strspn(at, " ")); at += strcspn(at, " ")) {
		const char *end = at + strcspn(at, " ");
		if (strncmp(at, key, strlen(key)) != 0 || at[strlen(key)] != '=')
			continue;
		for (const char *list = at + strlen(key) + 1; list < end;) {
			char one[80], *volts;
			struct fault ignored;
			list = next_vouched(list, one, &volts);
			if (strcmp(one, meter) != 0)
				continue;
			found = true;
			if (volts)
				(void)a_number(key, volts, FUNCTION_VOLT_DC, most, &ignored);
		}
	}
	return found;
}

/* Ohms, volts and watts that are none; a bias is below zero, and no soak may be wanted. */
static bool more_than_nothing(const struct bench_guide *gd, const char *key, const char *value,
                              double x, struct fault *why)
{
	bool any = gd->kind == GUIDE_TUNE && strcmp(key, "to") == 0;
	bool none = strcmp(key, "soak") == 0 && x == 0;
	if (any || none || x > 0)
		return true;
	fault_set(why, "%s=%.40s makes no sense: it is more than nothing", key, value);
	return false;
}

/* Which kinds know a word; a role of its meters every kind knows. */
static bool is_of(enum guide_kind kind, const char *key)
{
	static const struct { const char *key; unsigned kinds; } words[] = {
#define K(kind) (1u << GUIDE_##kind)
	    {"leak", K(LEAK)}, {"resistor", K(REFORM) | K(TUNE)}, {"to", K(REFORM) | K(TUNE)},
	    {"heat", K(REFORM)}, {"era", K(REFORM)}, {"ceiling", ~K(LOT)}, {"load", K(RISE)},
	    {"load2", K(RISE)}, {"mains", K(RISE)}, {"tap", K(RISE)}, {"soak", K(RISE)},
	    {"most", K(TUNE)}, {"tolerance", K(LOT)}, {"for", K(LOT)}};
#undef K
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (strcmp(words[i].key, key) == 0)
			return words[i].kinds >> kind & 1;
	return true;
}

static bool take_word(struct bench *b, struct bench_guide *gd, const char *key, const char *value,
                      struct fault *why)
{
	if (!is_of(gd->kind, key)) {
		fault_set(why, "%s= says nothing to %s: leave it out", key, guide_name(gd->kind));
		return false;
	}
	struct guide_plan *p = &gd->plan;
	const struct { const char *key; enum function f; double *to; } numbers[] = {
	    {"leak", FUNCTION_OHM, &p->R.value}, {"resistor", FUNCTION_OHM, &p->R.value},
	    {"to", FUNCTION_VOLT_DC, &p->to}, {"ceiling", FUNCTION_VOLT_DC, &p->ceiling},
	    {"load", FUNCTION_OHM, &p->load}, {"mains", FUNCTION_VOLT_AC, &p->mains},
	    {"tap", FUNCTION_VOLT_AC, &p->tap}, {"load2", FUNCTION_OHM, &p->load2}};
	for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
		if (strcmp(numbers[i].key, key) != 0)
			continue;
		if (numbers[i].to == &p->R.value) {
			int place = position_find(b, value); /* one that was measured, better than its colours */
			p->R = place >= 0 ? guide_ohms_at(b, place) : (struct measure){NAN, 0};
			if (place >= 0 && !isnan(p->R.value))
				return true;
		}
		if (!a_number(key, value, numbers[i].f, numbers[i].to, why) ||
		    !more_than_nothing(gd, key, value, *numbers[i].to, why))
			return false;
		/* 5 % where nobody measured it: common practice, no source. */
		if (numbers[i].to == &p->R.value)
			p->R.u = 0.05 * p->R.value / sqrt(3);
		return true;
	}
	const struct { const char *key, *unit; double *to, by; } bare[] = {
	    {"heat", "W ", &p->heat, 1}, {"most", "W ", &p->most, 1}, {"soak", "m ", &p->soak, 60}};
	for (size_t i = 0; i < sizeof bare / sizeof *bare; i++) {
		char text[24]; /* there is no function of power or time: the number alone */
		if (strcmp(bare[i].key, key) != 0)
			continue;
		snprintf(text, sizeof text, "%.*s", (int)strcspn(value, bare[i].unit), value);
		if (!a_number(key, text, FUNCTION_NUMBER, bare[i].to, why) ||
		    !more_than_nothing(gd, key, value, *bare[i].to, why))
			return false;
		*bare[i].to *= bare[i].by;
		return true;
	}
	if (strcmp(key, "tolerance") == 0)
		return take_tolerance(p, value, why);
	if (strcmp(key, "because") == 0)
		return true; /* why it begins all the same: kept with the words */
	if (strcmp(key, "era") == 0)
		return take_era(p, value, why);
	if (strcmp(key, "isolated") == 0 || strcmp(key, "rated") == 0)
		return take_vouched(b, key, value, why);
	if (strcmp(key, "for") == 0)
		return take_for(gd, value, why);
	for (int i = 0; i < guide_roles(gd->kind); i++) {
		if (strcmp(guide_role(gd->kind, i)->name, key) != 0)
			continue;
		gd->meter[i] = bench_meter_index(b, value);
		if (gd->meter[i] < 0)
			fault_set(why, "there is no meter %.40s in the configuration", value);
		return gd->meter[i] >= 0;
	}
	fault_set(why, "%s knows no %.40s=: a role of its meters (%s), or leak, resistor, to, heat, era, load, "
	          "load2, mains, tap, soak, most, tolerance, ceiling, for, isolated, rated", guide_name(gd->kind), key,
	          guide_roles(gd->kind) ? guide_role(gd->kind, 0)->name : "none");
	return false;
}

/* Does that key stand in front of `at`, too? */
static bool said_before(const char *said, const char *at, const char *key)
{
	for (const char *one = said; one < at; one += strcspn(one, " "), one += strspn(one, " "))
		if (strncmp(one, key, strlen(key)) == 0 && one[strlen(key)] == '=')
			return true;
	return false;
}

/* How long the word is that begins here.  A reason is a sentence: what follows it and is no
 * KEY=VALUE belongs to it. */
static size_t word_length(const char *at)
{
	size_t n = strcspn(at, " ");
	while (strncmp(at, "because=", 8) == 0 && at[8] != ' ' && at[n]) {
		size_t next = n + strspn(at + n, " "), len = strcspn(at + next, " ");
		if (!len || memchr(at + next, '=', len))
			break;
		n = next + len;
	}
	return n;
}

bool guide_take_words(struct bench *b, struct bench_guide *gd, struct fault *why)
{
	for (const char *at = gd->said; *(at += strspn(at, " "));) {
		char word[96], *value;
		size_t n = word_length(at), fits = sizeof word - 1;
		bool reason = strncmp(at, "because=", 8) == 0;
		snprintf(word, sizeof word, "%.*s", (int)(n < fits ? n : fits), at);
		value = strchr(word, '=');
		if ((n > fits && !reason) || !value || !value[1]) {
			fault_set(why, "%.60s: a guided run takes words such as grid=red and leak=1M", word);
			return false;
		}
		*value++ = '\0';
		if (said_before(gd->said, at, word)) {
			fault_set(why, "%.40s= is said twice: once is enough", word);
			return false;
		}
		if (!take_word(b, gd, word, value, why))
			return false;
		at += n;
	}
	return true;
}
