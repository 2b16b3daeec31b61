/* SPDX-License-Identifier: MIT */
/*
 * Settling: scripted traces with the events that must come of them, what `take`
 * says, the pace of meters, and a corpus of made-up traces with bounds.
 *
 * The rules are the project's own (one touch, one entry); the figures of meters and
 * probes are common practice, no source.
 */
#include "tests/check.h"

#include "tests/traces_score.h"

#include <stdlib.h>

/* --- scripts --- */

/*
 * A script is a list of tokens; each is one frame and takes one period:
 *     481.2     a reading, its digits as written, times the unit of the row
 *     OL  -OL   overload           ?    invalid        H1.2   a held reading
 *     .         silence            =V   the same frame again after 2 ms
 *     token*N   N times
 * What comes of it, with blanks between:
 *     T touched   S481.2 settled (value as digits of the row's unit)   M moving
 *     L lifted    D12 doubt
 */
struct feed {
	struct settle s;
	int64_t t, period;
	enum function function;
	int unit; /* power of ten */
	char got[400];
};

static void say(struct feed *f, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void say(struct feed *f, const char *format, ...)
{
	size_t len = strlen(f->got);
	va_list ap;
	va_start(ap, format);
	vsnprintf(f->got + len, sizeof(f->got) - len, format, ap);
	va_end(ap);
}

static void say_value(struct feed *f, char letter)
{
	const struct settle_result *r = settle_result(&f->s);
	char text[DECIMAL_TEXT_SIZE];
	struct decimal v = r->value;
	v.e -= f->unit;
	decimal_plain(v, text, sizeof(text));
	say(f, "%s%c%s", f->got[0] ? " " : "", letter, text);
}

static void say_events(struct feed *f, unsigned events)
{
	static const struct {
		unsigned bit;
		char letter;
	} plain[] = {{SETTLE_LIFTED, 'L'}, {SETTLE_TOUCHED, 'T'}, {SETTLE_MOVING, 'M'}};
	for (size_t i = 0; i < sizeof(plain) / sizeof(plain[0]); i++)
		if (events & plain[i].bit)
			say(f, "%s%c", f->got[0] ? " " : "", plain[i].letter);
	if (events & SETTLE_SETTLED) {
		assert_true(settle_result(&f->s)->settled);
		say_value(f, 'S');
	}
	if (events & SETTLE_DOUBT)
		say_value(f, 'D');
}

static void feed_ticks(struct feed *f, int64_t t)
{
	int64_t d;
	while ((d = settle_deadline(&f->s)) <= t)
		say_events(f, settle_tick(&f->s, d));
}

static struct reading feed_token(const struct feed *f, const char *token, size_t len)
{
	struct reading r = {.t = f->t, .function = f->function, .prefix = f->unit};
	if (token[0] == 'H') {
		r.state |= READING_HOLD;
		token++;
		len--;
	}
	if (len == 1 && token[0] == '?') {
		r.state = READING_INVALID;
	} else if ((len == 2 && !memcmp(token, "OL", 2)) || (len == 3 && !memcmp(token, "-OL", 3))) {
		r.state = READING_OVERLOAD;
		r.negative = len == 3;
	} else {
		assert_true(decimal_parse(token, len, &r.value));
		r.value.e += f->unit;
		r.has_value = true;
	}
	return r;
}

static void feed_script(struct feed *f, const char *script)
{
	struct reading last = {0};
	for (const char *p = script; *p;) {
		size_t len = strcspn(p, " *");
		int times = 1;
		const char *next = p + len;
		if (*next == '*')
			times = (int)strtol(next + 1, (char **)(uintptr_t)&next, 10);
		for (int i = 0; i < times; i++) {
			if (p[0] == '=') {
				last.t = f->t - f->period + 2000;
				say_events(f, settle_reading(&f->s, &last));
				continue;
			}
			feed_ticks(f, f->t);
			if (!(len == 1 && p[0] == '.')) {
				last = feed_token(f, p, len);
				say_events(f, settle_reading(&f->s, &last));
			}
			f->t += f->period;
		}
		p = next + strspn(next, " ");
	}
}

static void feed_begin(struct feed *f, enum function function, int unit, double period)
{
	memset(f, 0, sizeof(*f));
	settle_init(&f->s, NULL, 1);
	f->function = function;
	f->unit = unit;
	f->period = (int64_t)llround(period * 1e6);
}

struct script_row {
	const char *name;
	enum function function;
	int unit;
	double period, nominal; /* s; in the unit, NAN for none */
	const char *script, *want;
};

#define OHM FUNCTION_OHM
#define FARAD FUNCTION_FARAD
#define VOLT FUNCTION_VOLT_DC
#define AC FUNCTION_VOLT_AC

static const struct script_row scripts[] = {
	/* clean */
	{"clean, the 4th reading", OHM, 3, 0.25, NAN, "OL*4 0.481 0.481 0.481", "T"},
	{"clean, settles at it", OHM, 3, 0.25, NAN, "OL*4 0.481*4", "T S0.481"},
	{"last digit moves", OHM, 3, 0.25, NAN, "OL*4 4.812 4.811 4.812 4.812 4.811", "T S4.812"},
	{"fast: not before 0.4 s", OHM, 3, 0.05, NAN, "OL*4 4.812*7", "T"},
	{"fast: but then", OHM, 3, 0.05, NAN, "OL*4 4.812*9", "T S4.812"},
	{"once a touch", OHM, 0, 0.25, NAN, "OL*4 330.1*60 OL*4", "T S330.1 L"},
	{"begins touched", OHM, 0, 0.25, NAN, "330.1*5 OL*4", "T S330.1 L"},
	{"equal neighbours are two", OHM, 3, 0.25, NAN, "OL*4 4.70*5 OL*5 4.70*5 OL*5",
	 "T S4.70 L T S4.70 L"},
	{"a part that is open", OHM, 3, 0.25, 4.7, "OL*100", ""},
	{"a short", OHM, 0, 0.25, NAN, "OL*4 0.3 0.2 0.2 0.2 0.2", "T S0.2"},
	{"exactly zero", OHM, 0, 0.25, NAN, "OL*4 0.0*4", "T S0.0"},
	{"negative by a leftover charge", OHM, 0, 0.25, NAN, "OL*4 -12.3*4 OL*3", "T S-12.3 L"},
	{"negative overload is open too", OHM, 0, 0.25, NAN, "-OL*4 82.1*4 -OL*3", "T S82.1 L"},

	/* lifts: two open readings and 0.5 s */
	{"one open reading is none", OHM, 0, 1, NAN, "OL*3 82.1*5 OL 82.1*5", "T S82.1"},
	{"two of a second are", OHM, 0, 1, NAN, "OL*3 82.1*5 OL OL", "T S82.1 L"},
	{"two of 0.25 s are", OHM, 0, 0.25, NAN, "OL*3 82.1*5 OL OL", "T S82.1 L"},
	{"four of 0.1 s are not", OHM, 0, 0.1, NAN, "OL*6 82.1*8 OL*4 82.1*9", "T S82.1"},
	{"five of 0.1 s are", OHM, 0, 0.1, NAN, "OL*6 82.1*8 OL*5", "T S82.1 L"},
	{"chatter after settling", OHM, 0, 0.25, NAN, "OL*3 82.1*5 OL 82.1 OL 82.1*9", "T S82.1"},
	{"chatter before", OHM, 0, 0.25, NAN, "OL*3 82.1 OL 82.1 82.1 OL 82.1*4", "T S82.1"},
	{"a slip: the bench decides", OHM, 0, 0.25, NAN, "OL*3 82.1*5 OL*3 82.1*4",
	 "T S82.1 L T S82.1"},

	/* silence */
	{"silent when open", OHM, 0, 0.2, NAN, "82.1*5 .*12 82.1*5 .*12", "T S82.1 L T S82.1 L"},
	{"1.2 s are wanted", OHM, 0, 0.2, NAN, "82.1*5 .*4 82.1*9", "T S82.1"},
	{"and five periods", OHM, 0, 0.5, NAN, "82.1*5 .*3 82.1*9 .*6", "T S82.1 L"},
	{"a stall of one that speaks when open", OHM, 0, 0.25, NAN, "OL*20 82.1*5 .*8 82.1*8 OL*3",
	 "T S82.1 L"},
	{"which comes back elsewhere", OHM, 0, 0.25, NAN, "OL*20 82.1*5 .*8 33.4*8 OL*3",
	 "T S82.1 L T S33.4 L"},
	{"overload of hunting is no speech", OHM, 0, 0.25, NAN, "OL*8 82.1*5 .*8 82.1*8",
	 "T S82.1 L T S82.1"},
	{"after a lift it is", OHM, 0, 0.25, NAN, "OL*4 33.2*5 OL*7 82.1*5 .*8 82.1*8",
	 "T S33.2 L T S82.1"},
	{"farad: 6 s", FARAD, -9, 1, NAN, "471.2*6 .*4 471.2*6 .*8", "T S471.2 L"},

	/* strays, bad frames, held readings */
	{"a stray starts the count again", OHM, 0, 0.25, NAN, "OL*3 82.1 82.1 99.9 82.1*3", "T"},
	{"and does not count", OHM, 0, 0.25, NAN, "OL*3 82.1 82.1 99.9 82.1*4", "T S82.1"},
	{"a bad frame does as well", OHM, 0, 0.25, NAN, "OL*3 82.1*3 ? 82.1*4", "T S82.1"},
	{"a doubled frame is one", OHM, 0, 0.25, NAN, "OL*6 82.1 =V 82.1 =V", "T"},
	{"nor is a doubled overload a lift", OHM, 0, 0.25, NAN, "OL*6 82.1*4 OL =V 82.1*4", "T S82.1"},
	{"held readings never settle", OHM, 0, 0.25, NAN, "OL*6 H82.1*20", ""},

	/* ranges */
	{"hunting down", OHM, 3, 0.25, NAN, "OL*4 0.5*1 0.48 0.481 0.4812*4 OL*3", "T S0.4812 L"},
	{"hunting through overload", OHM, 3, 0.25, NAN, "OL*4 OL 5.1 OL 4.811*4 OL*3", "T S4.811 L"},
	{"another range starts again", OHM, 3, 0.25, NAN, "OL*4 4.81 4.81 4.811*3", "T"},
	{"few digits, and a finer range is known", OHM, 3, 0.25, NAN,
	 "OL*4 4.811*5 OL*4 0.05*4 0.0471*4", "T S4.811 L T S0.0471"},

	/* motion */
	{"an approach by halves", OHM, 3, 0.25, NAN,
	 "OL*4 2.400 3.600 4.200 4.500 4.650 4.725 4.762 4.781 4.791 4.795", "T"},
	{"until it is there", OHM, 3, 0.25, NAN,
	 "OL*4 2.400 3.600 4.200 4.500 4.650 4.725 4.762 4.781 4.791 4.795 4.798 4.799 4.799 "
	 "4.800*6", "T S4.800"},
	{"ten digits a reading", OHM, 0, 0.25, NAN,
	 "OL*4 500.0 501.0 502.0 503.0 504.0 505.0 506.0 507.0 508.0 509.0 510.0 511.0", "T"},
	{"jumping about", OHM, 0, 0.25, NAN,
	 "OL*4 500 612 380 455 390 611 533 477 401 580 466 390 555", "T"},

	/* farad */
	{"residual is open", FARAD, -9, 0.5, NAN, "0.012 0.013 0.011 0.021 0.034 0.040 0.020*20", ""},
	{"a capacitor", FARAD, -9, 0.5, NAN,
	 "0.012 0.013 0.011 0.012 471.2 471.1 471.2 471.2 471.2 0.02 0.013 0.012", "T S471.2 L"},
	{"overload is a short, not a lift", FARAD, -6, 0.5, NAN, "OL*8 .*20", "T L"},
	{"33 pF beside 20 pF of leads", FARAD, -12, 0.5, 33, "20 21 20 19 20 22 53 53 54 53 53 20 20",
	 "T S53 L"},
	{"two frames a conversion, learnt", FARAD, -9, 0.5, NAN,
	 "0.012*2 0.015*2 0.011*2 0.018*2 0.014*2 0.016*2 0.010*2 0.013*2 0.011*2 0.017*2 22.1*6",
	 "T"},
	{"until the fourth", FARAD, -9, 0.5, NAN,
	 "0.012*2 0.015*2 0.011*2 0.018*2 0.014*2 0.016*2 0.010*2 0.013*2 0.011*2 0.017*2 22.1*7",
	 "T S22.1"},
	{"equal readings by chance teach nothing", FARAD, -9, 0.5, NAN,
	 "0.012*2 0.013 0.012 0.011*2 0.013*2 0.012 0.014*3 0.013*2 0.012*2 0.011 0.012*2 0.013 "
	 "0.014 22.1*4",
	 "T S22.1"},

	/* volts */
	{"what was expected", VOLT, 0, 0.25, 285, "0.012 0.031 -0.02 0.011 281.3*5 0.02 0.03 0.01",
	 "T S281.3 L"},
	{"negative", VOLT, 0, 0.25, -35, "0.012 0.031 -0.02 0.011 -36.31*5 0.02 0.03 0.01",
	 "T S-36.31 L"},
	{"nothing expected: a word is wanted", VOLT, 0, 0.25, NAN, "0.012 0.031 -0.02 12.31*9",
	 "T D12.31"},
	{"far from what was expected", VOLT, 0, 0.25, 285, "0.012 0.031 -0.02 100.2*9", "T D100.2"},
	{"the wrong way round", VOLT, 0, 0.25, 285, "0.012 0.031 -0.02 -281.2*9", "T D-281.2"},
	{"zero expected is never sure", VOLT, 0, 0.25, 0, "0.012 0.031 -0.02 0.01*9", ""},
	{"ac has no sign", AC, 0, 0.25, 6.3, "0.31 0.12 0.22 0.41 6.29*5 0.3 0.2 0.4", "T S6.29 L"},
	{"floating is open", VOLT, 0, 0.25, 1.5, "0.012 0.031 -0.02 0.05 0.06 0.05 0.05 0.05 0.05", ""},
	{"a glide is not the next part", VOLT, 0, 0.25, 285,
	 "0.01*4 281.3*5 200.1 150.3 112.4 84.1 63.0 47.1 35.3 26.4 19.7 14.8 11.1 8.3 6.2 4.6",
	 "T S281.3 L"},

	/* what cannot move */
	{"overload after a touch", OHM, 0, 0.25, NAN, "82.1*5 OL*100", "T S82.1 L"},
};

static void test_scripts(void **state)
{
	(void)state;
	static struct feed f;
	for (size_t i = 0; i < sizeof(scripts) / sizeof(scripts[0]); i++) {
		const struct script_row *row = &scripts[i];
		feed_begin(&f, row->function, row->unit, row->period);
		struct settle_expected expected = {row->function, !isnan(row->nominal),
		                                   row->nominal * pow(10, row->unit), -INFINITY, INFINITY};
		if (isnan(row->nominal))
			expected.nominal = 0;
		settle_expect(&f.s, &expected);
		feed_script(&f, row->script);
		if (strcmp(f.got, row->want)) {
			note_row("%s: %s gave \"%s\", expected \"%s\"", row->name, row->script, f.got,
			         row->want);
			fail();
		}
	}
}

/* --- the result --- */

static void test_result(void **state)
{
	(void)state;
	static struct feed f;
	feed_begin(&f, FUNCTION_OHM, 3, 0.25);
	feed_script(&f, "OL*4 9.1 OL 4.812 4.811 4.813 4.812");
	assert_string_equal(f.got, "T S4.812");
	const struct settle_result *r = settle_result(&f.s);
	assert_int_equal(r->function, FUNCTION_OHM);
	assert_int_equal(r->value.n, 4812);
	assert_int_equal(r->value.e, 0);
	assert_int_equal(r->prefix, 3);
	assert_int_equal(r->n, 4);
	assert_int_equal(r->from, 6); /* four open, one half made, one open */
	assert_int_equal(r->to, 9);
	assert_near_relative(r->s, sqrt(2.0 / 3), 1e-12); /* of 0, -1, 1, 0 */
	assert_false(r->overload);

	/* An even number: of the two in the middle the one nearer to the mean. */
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "OL*4 100.1 100.1 100.2 100.2 OL*3");
	assert_string_equal(f.got, "T S100.1 L");
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "OL*4 100.0 100.1 100.2 100.2");
	assert_string_equal(f.got, "T S100.1");
}

/* --- take --- */

static void test_take(void **state)
{
	(void)state;
	static struct feed f;
	struct settle_result r;
	struct fault why = {.text = ""};

	feed_begin(&f, FUNCTION_OHM, 3, 0.25);
	assert_false(settle_take(&f.s, 0, &r, &why));
	assert_true(why.text[0] != 0);

	feed_script(&f, "OL*6");
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_true(r.overload && !r.settled && !r.negative);
	assert_int_equal(r.n, 1);
	assert_int_equal(r.to, 5);

	feed_script(&f, "4.1 4.4"); /* on its way */
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_false(r.settled);
	assert_int_equal(r.value.n, 44);

	feed_script(&f, "4.812*5");
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_true(r.settled);
	assert_int_equal(r.value.n, 4812);

	/* Where it stands now, not where it settled. */
	feed_script(&f, "4.912");
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_false(r.settled);
	assert_int_equal(r.value.n, 4912);

	feed_script(&f, "4.812*5");
	assert_false(settle_take(&f.s, f.t + 4 * f.period, &r, &why)); /* stale */
	feed_script(&f, "H4.812");
	assert_false(settle_take(&f.s, f.t, &r, &why));
	feed_script(&f, "?");
	assert_false(settle_take(&f.s, f.t, &r, &why));

	/* A supply that is off reads next to nothing, and that is an answer. */
	feed_begin(&f, FUNCTION_VOLT_DC, 0, 0.25);
	feed_script(&f, "0.01 0.00 0.00 0.01 0.00 0.00 0.00 0.01 0.00");
	assert_string_equal(f.got, "");
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_true(r.settled);
	assert_int_equal(r.value.n, 0);
	/* A float that wanders is no answer. */
	feed_script(&f, "0.11 0.02 -0.07 0.05 0.09 -0.02 0.04 0.08");
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_false(r.settled);

	/* A doubtful voltage waits for this. */
	feed_begin(&f, FUNCTION_VOLT_DC, 0, 0.25);
	feed_script(&f, "0.01*4 12.31*6");
	assert_string_equal(f.got, "T D12.31");
	assert_true(settle_take(&f.s, f.t, &r, &why));
	assert_true(r.settled);
	assert_int_equal(r.value.n, 1231);
}

/* --- time --- */

static void test_moving(void **state)
{
	(void)state;
	static struct feed f;
	char value[32];
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "OL*4");
	int64_t touched = f.t;
	for (int i = 0; i < 100; i++) {
		snprintf(value, sizeof(value), "%d.0", 100 + 7 * i);
		feed_script(&f, value);
		/* Said once, at 20 s. */
		assert_string_equal(f.got, f.t - f.period < touched + 20000000 ? "T" : "T M");
	}
	/* It may come to rest after all. */
	feed_script(&f, "800.0*20 OL*3");
	assert_string_equal(f.got, "T M S800.0 L");

	/* Larger capacitances have longer: 2.2 mF 22 s more. */
	feed_begin(&f, FUNCTION_FARAD, -6, 1);
	feed_script(&f, "0.00*4 100 500 800 1000 1100 1200");
	for (int i = 0; i < 30; i++) {
		snprintf(value, sizeof(value), "%d", 1200 + 31 * i);
		feed_script(&f, value);
	}
	assert_string_equal(f.got, "T");
	feed_script(&f, "2200 2230 2260 2290 2310 2350 2390 2420 2460 2490");
	assert_string_equal(f.got, "T M");

	/* Overload does not move. */
	feed_begin(&f, FUNCTION_FARAD, -6, 1);
	feed_script(&f, "0.00*4 OL*40");
	assert_string_equal(f.got, "T");
}

static void test_open_since(void **state)
{
	(void)state;
	static struct feed f;
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "OL*4 82.1*5");
	assert_true(settle_touching(&f.s));
	assert_int_equal(settle_open_since(&f.s), -1);
	assert_near(settle_progress(&f.s, f.t), 1, 0);
	int64_t first = f.t;
	feed_script(&f, "OL");
	assert_int_equal(settle_open_since(&f.s), -1); /* it may be chatter */
	feed_script(&f, "OL*3");
	assert_false(settle_touching(&f.s));
	assert_int_equal(settle_open_since(&f.s), first);
	assert_near(settle_progress(&f.s, f.t), 0, 0);
	/* 1 s in whole periods, and a quarter. */
	assert_near((double)settle_arm(&f.s), 1062500, 10);

	/* After a silence: since the first reading that did not come. */
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "82.1*5");
	int64_t missing = f.t;
	feed_script(&f, ".*8");
	assert_int_equal(settle_open_since(&f.s), missing);

	/* The meter is gone, and comes back with another function. */
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "OL*4 82.1*5");
	say_events(&f, settle_gone(&f.s, f.t));
	assert_string_equal(f.got, "T S82.1 L");
	assert_int_equal(settle_open_since(&f.s), f.t);
	assert_int_equal(settle_deadline(&f.s), INT64_MAX);
	f.t += 60000000;
	f.function = FUNCTION_FARAD;
	f.unit = -9;
	feed_script(&f, "0.01*3 4.7*5");
	assert_string_equal(f.got, "T S82.1 L T S4.7");

	/* The dial is turned with the probes on. */
	feed_begin(&f, FUNCTION_OHM, 0, 0.25);
	feed_script(&f, "OL*4 82.1*5");
	f.function = FUNCTION_DIODE;
	feed_script(&f, "0.612*5");
	assert_string_equal(f.got, "T S82.1 L T S0.612");
}

static void test_period(void **state)
{
	(void)state;
	static struct settle s;
	struct reading r = {.function = FUNCTION_OHM, .has_value = true, .value = {1000, 0}};
	settle_init(&s, NULL, 1);
	assert_int_equal(settle_period(&s), 0);
	for (int i = 0; i < 40; i++) {
		r.t = i * 250000 + (i % 3) * 10000;
		settle_reading(&s, &r);
	}
	assert_near((double)settle_period(&s), 250000, 2500);
	/* A gap is not pace. */
	r.t += 3000000;
	settle_reading(&s, &r);
	assert_near((double)settle_period(&s), 250000, 2500);
	/* A thousand a second, in bunches of sixteen. */
	settle_init(&s, NULL, 1);
	for (int i = 0; i < 800; i++) {
		r.t = i / 16 * 16000;
		settle_reading(&s, &r);
	}
	assert_near((double)settle_period(&s), 1000, 250);
}

/* The same sequence gives the same, and so does a copy taken in the middle. */
static void test_same(void **state)
{
	(void)state;
	static struct settle a, b, c;
	struct trace tr;
	trace_make(&tr, TRACE_SLOW, 7);
	settle_init(&a, NULL, 1);
	settle_init(&b, NULL, 1);
	for (int i = 0; i < tr.count; i++) {
		const struct reading *r = &tr.reading[i];
		unsigned ea = settle_reading(&a, r), eb = settle_reading(&b, r);
		assert_int_equal(ea, eb);
		if (i >= tr.count / 2) {
			if (i == tr.count / 2)
				c = a;
			else
				assert_int_equal(settle_reading(&c, r), ea);
		}
	}
	assert_int_equal(memcmp(settle_result(&a), settle_result(&c), sizeof(struct settle_result)), 0);
	trace_free(&tr);
}

/* Times that do not rise, values at the ends, digits that change with each reading:
 * whatever comes, it returns, and says no more than it may. */
static void test_anything(void **state)
{
	(void)state;
	static struct settle s;
	struct chance c = {12345};
	static const int64_t ends[] = {0, 1, -1, 999999999999999999, -999999999999999999};
	for (int round = 0; round < 40; round++) {
		settle_init(&s, NULL, 1 + chance_pick(&c, 3));
		int64_t t = 0;
		bool touched = false, settled = false;
		for (int i = 0; i < 400; i++) {
			t += chance_of(&c, 0.2) ? 0 : (int64_t)chance_log(&c, 10, 3e7);
			struct reading r = {.t = t, .function = FUNCTION_OHM};
			if (chance_of(&c, 0.05))
				r.function = (enum function)(1 + chance_pick(&c, FUNCTION_COUNT - 1));
			r.state = chance_of(&c, 0.2) ? 1u << chance_pick(&c, 7) : 0;
			r.has_value = !(r.state & (READING_OVERLOAD | READING_UNDER | READING_INVALID));
			r.value.n = chance_of(&c, 0.1) ? ends[chance_pick(&c, 5)]
			                               : (int64_t)chance_between(&c, 4000, 4003);
			r.value.e = chance_of(&c, 0.1) ? chance_pick(&c, 80) - 40 : -1;
			unsigned e = settle_reading(&s, &r);
			int64_t d = settle_deadline(&s);
			assert_true(d > t);
			if (e & SETTLE_LIFTED)
				touched = settled = false;
			if (e & SETTLE_TOUCHED) {
				assert_false(touched);
				touched = true;
			}
			if (e & SETTLE_SETTLED) {
				assert_true(touched && !settled);
				settled = true;
			}
			double p = settle_progress(&s, t);
			assert_true(p >= 0 && p <= 1);
		}
	}
}

/* --- the corpus --- */

/* Seeds other than those of the scorer's default. */
enum { corpus_traces = 8, corpus_seed = 70000 };

static void test_corpus(void **state)
{
	(void)state;
	static struct judge j;
	struct score sum[2] = {{0}, {0}};
	j.limits = settle_limits_standard;
	j.verbose = true; /* names the touches that went wrong */
	for (int kind = 0; kind < TRACE_KINDS; kind++) {
		bool hard = trace_hard((enum trace_kind)kind);
		struct score score = {0};
		j.score = &score;
		j.verbose = !hard;
		for (uint64_t i = 0; i < corpus_traces; i++) {
			struct trace tr;
			trace_make(&tr, (enum trace_kind)kind, corpus_seed + i);
			judge_trace(&j, &tr);
			trace_free(&tr);
		}
		sum[hard].touches += score.touches;
		sum[hard].right += score.right;
		sum[hard].doubled += score.doubled;
		sum[hard].open += score.open;
		sum[hard].moving += score.moving;
		/* Every kind by itself. */
		double share = score.touches ? (double)score.right / score.touches : 1;
		if (share < (hard ? 0.6 : 0.95)) {
			note_row("%s: %d of %d right", trace_name((enum trace_kind)kind), score.right,
			         score.touches);
			fail();
		}
	}
	print_message("  %d touches: %.2f %% right, and of %d hard ones %.1f %%\n", sum[0].touches,
	              100.0 * sum[0].right / sum[0].touches, sum[1].touches,
	              100.0 * sum[1].right / sum[1].touches);
	assert_int_equal(sum[0].open + sum[1].open, 0);
	assert_int_equal(sum[0].doubled + sum[1].doubled, 0);
	assert_true(sum[0].moving <= 3);
	assert_true(sum[1].moving <= 0.065 * sum[1].touches);
	assert_true(sum[0].right >= 0.99 * sum[0].touches);
	assert_true(sum[1].right >= 0.85 * sum[1].touches);
}

/* The judge is no rubber stamp: a detector that takes the second reading fails. */
static void test_corpus_can_fail(void **state)
{
	(void)state;
	static struct judge j;
	struct score score = {0};
	j.limits = settle_limits_standard;
	j.limits.settle_conversions = j.limits.settle_conversions_slow = 2;
	j.limits.settle_seconds = 0;
	j.limits.settle_doubt = 2;
	j.limits.lawless_most = 0;
	j.limits.tail_doubt = j.limits.tail_doubt_early = 1;
	j.limits.tail_clear = 0;
	j.score = &score;
	for (uint64_t i = 0; i < 4; i++) {
		struct trace tr;
		trace_make(&tr, TRACE_SLOW, corpus_seed + i);
		judge_trace(&j, &tr);
		trace_free(&tr);
	}
	assert_true(score.right < score.touches / 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_scripts),
		cmocka_unit_test(test_result),
		cmocka_unit_test(test_take),
		cmocka_unit_test(test_moving),
		cmocka_unit_test(test_open_since),
		cmocka_unit_test(test_period),
		cmocka_unit_test(test_same),
		cmocka_unit_test(test_anything),
		cmocka_unit_test(test_corpus),
		cmocka_unit_test(test_corpus_can_fail),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
