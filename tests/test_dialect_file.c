/* SPDX-License-Identifier: MIT */
/*
 * Dialect files: the shipped ones with their samples, files of users, what is refused
 * and where, and the plain dialects frame by frame.
 */
#include "tests/check.h"

#include "protocol/meter/dialect_file.h"

#include <stdbool.h>
#include <stdlib.h>
#include <time.h>

static struct dialect_file *load(const char *text, struct fault *why)
{
	struct dialect_file *d = malloc(sizeof *d);
	assert_non_null(d);
	if (dialect_file_load(d, "x.ini", text, strlen(text), why))
		return d;
	free(d);
	return NULL;
}

static void drop(struct dialect_file *d)
{
	dialect_file_free(d);
	free(d);
}

static char *slurp(const char *path)
{
	FILE *f = fopen(path, "rb");
	char *text = calloc(1, 1 << 16);
	assert_non_null(f);
	assert_non_null(text);
	text[fread(text, 1, (1 << 16) - 1, f)] = '\0';
	fclose(f);
	return text;
}

/* ---- shipped ---- */

/* The file of every shipped dialect loads, its samples hold, and it says the same as
 * the built-in row. */
static void shipped_files_agree_with_their_rows(void **state)
{
	(void)state;
	for (int i = 0; dialects[i]; i++) {
		char path[128];
		struct fault why;
		snprintf(path, sizeof path, "protocol/meter/dialects/%s.ini", dialects[i]->name);
		char *text = slurp(path);
		struct dialect_file *d = malloc(sizeof *d);
		assert_non_null(d);
		if (!dialect_file_load(d, path, text, strlen(text), &why)) {
			note_row("%s:%d:%d: %s", why.file, why.line, why.column, why.text);
			fail();
		}
		const struct dialect *a = &d->row, *b = dialects[i];
		note_row("%s, %d samples", d->name, d->samples);
		assert_true(d->samples >= 4);
		assert_string_equal(a->name, b->name);
		assert_string_equal(a->summary, b->summary);
		assert_int_equal(a->asked, b->asked);
		assert_int_equal(a->end, b->end);
		assert_int_equal(a->size, b->size);
		assert_int_equal(a->line.baud, b->line.baud);
		assert_int_equal(a->line.dtr, b->line.dtr);
		assert_int_equal(a->line.quiet_ms, b->line.quiet_ms);
		if (b->query)
			assert_string_equal(a->query, b->query);
		if (b->line_end)
			assert_string_equal(a->line_end, b->line_end);
		drop(d);
		free(text);
	}
}

/* ---- frames ---- */

static void say(const struct dialect *d, enum function f, const char *bytes, size_t len,
                struct understood *u)
{
	struct dialect_setting setting = {.function = f, .rules = d->rules};
	struct dialect_memory memory = {0};
	struct frame frame = {.bytes = bytes, .len = len, .t = 7, .fault = FRAME_GOOD};
	d->understand(&setting, &memory, &frame, u);
}

static const char good14[] = "+4812 1\x20\x00\x20\x20\x00\r\n";

/* Every single flipped bit of a 14 byte frame: either it is refused, or what came out
 * is another well-formed reading that the frame really says (a digit, the sign, the
 * point, a prefix): never two units, never a state that makes no sense. */
static void flipped_bits_of_columns(void **state)
{
	const struct dialect *d = dialect_find("columns-14", 10);
	struct understood u;
	int refused = 0, read = 0;
	(void)state;
	say(d, FUNCTION_NONE, good14, 14, &u);
	assert_int_equal(u.said, SAID_READINGS);
	assert_int_equal(u.reading[0].t, 7);
	assert_near(decimal_double(u.reading[0].value), 4812, 0);
	for (int i = 0; i < 14 * 8; i++) {
		char copy[14];
		memcpy(copy, good14, 14);
		copy[i / 8] = (char)(copy[i / 8] ^ (1 << (i % 8)));
		say(d, FUNCTION_NONE, copy, 14, &u);
		if (u.said == SAID_NOTHING) {
			assert_true(u.why[0]);
			refused++;
			continue;
		}
		read++;
		const struct reading *r = &u.reading[0];
		assert_int_equal(u.count, 1);
		assert_true(r->function > FUNCTION_NONE && r->function < FUNCTION_COUNT);
		assert_true(r->has_value != ((r->state & READING_OVERLOAD) != 0));
	}
	print_message("  %d refused, %d read as something else that they say\n", refused, read);
	/* The bar graph (8 bits) carries nothing; digits, sign and flags are what is left. */
	assert_true(refused >= 70);
	for (size_t n = 0; n < 14; n++) {
		say(d, FUNCTION_NONE, good14, n, &u);
		assert_int_equal(u.said, SAID_NOTHING);
	}
	/* 7-bit lines set or clear the eighth bit of all: none may pass as ohms. */
	char seven[14];
	for (int i = 0; i < 14; i++)
		seven[i] = (char)(good14[i] | 0x80);
	say(d, FUNCTION_NONE, seven, 14, &u);
	assert_int_equal(u.said, SAID_NOTHING);
}

struct heard {
	int good, bad;
	struct understood last;
	const struct dialect *d;
};

static void hear(void *arg, const struct frame *f)
{
	struct heard *h = arg;
	struct understood u;
	memset(&u, 0, sizeof u);
	if (f->fault == FRAME_GOOD)
		say(h->d, FUNCTION_NONE, f->bytes, f->len, &u);
	else
		u.said = SAID_NOTHING;
	if (u.said == SAID_READINGS) {
		h->good++;
		h->last = u;
	} else {
		h->bad++;
	}
}

/* Whole, byte by byte, cut at every point, with a byte too few or too many: a fixed
 * frame is found again after the next silence, and no wrong reading comes. */
static void fixed_frames_in_pieces(void **state)
{
	const struct dialect *d = dialect_find("columns-14", 10);
	(void)state;
	for (int cut = 0; cut <= 14; cut++)
		for (int missing = -1; missing < 14; missing++) {
			struct frame_splitter s;
			struct heard h = {.d = d};
			int64_t t = 0;
			frame_begin(&s, d->end, d->size, d->gap_us, -1000000);
			for (int k = 0; k < 6; k++, t += 250000) {
				char frame[14];
				size_t n = 0;
				for (int i = 0; i < 14; i++)
					if (k != 2 || i != missing)
						frame[n++] = good14[i];
				size_t first = (size_t)cut < n ? (size_t)cut : n;
				frame_feed(&s, t, frame, first, hear, &h);
				frame_feed(&s, t + 10000, frame + first, n - first, hear, &h);
			}
			int want = missing < 0 ? 6 : 5;
			if (h.good != want)
				note_row("cut %d, missing %d: %d good", cut, missing, h.good);
			assert_int_equal(h.good, want);
			assert_near(decimal_double(h.last.reading[0].value), 4812, 0);
		}
}

/* ---- files of users ---- */

#define HEAD "[dialect]\nname = mine\nreads = pattern\nserial = 2400 7E1\n"
#define MATCH "[pattern]\nmatch = (?<sign>[-+ ])(?<value>\\d+\\.\\d+|O\\.L) (?<prefix>[kM]?)(?<unit>R|V)(?: (?<coupling>AC|DC))?(?<hold> H)?\n"
#define WORDS "unit R = ohm\noverload = O.L\n"
#define SAMPLES "[samples]\nframe 1 = +0.4812 kR\nmeans 1 = ohm 481.2\n"

static void a_pattern_of_a_user(void **state)
{
	struct fault why;
	struct understood u;
	(void)state;
	struct dialect_file *d = load(HEAD MATCH WORDS SAMPLES
	                              "frame 2 = -12.34 V AC H\nmeans 2 = volt-ac -12.34 hold\n"
	                              "frame 3 = +O.L MR\nmeans 3 = ohm overload\n"
	                              "frame 4 = +12.34 W\nmeans 4 = nothing\n", &why);
	if (!d) {
		note_row("%d:%d: %s", why.line, why.column, why.text);
		fail();
	}
	assert_int_equal(d->row.line.baud, 2400);
	assert_int_equal(d->row.line.bits, 7);
	assert_false(d->row.asked);
	static const char frame[] = "+0.4812 kR";
	for (size_t n = 1; n < sizeof frame - 1; n++) {
		say(&d->row, FUNCTION_NONE, frame, n, &u);
		assert_int_equal(u.said, SAID_NOTHING);
	}
	say(&d->row, FUNCTION_NONE, frame, sizeof frame - 1, &u);
	assert_int_equal(u.reading[0].value.n, 4812);
	assert_int_equal(u.reading[0].value.e, -1);
	assert_int_equal(u.reading[0].prefix, 3);
	drop(d);
}

/* A pattern that would take for ever on the right frame is stopped. */
static void a_catastrophic_pattern_is_bounded(void **state)
{
	struct fault why;
	struct understood u;
	char frame[FRAME_MAX];
	(void)state;
	struct dialect_file *d = load("[dialect]\nname = slow\nreads = pattern\nfunction = ohm\n"
	                              "[pattern]\nmatch = (?<value>(?:(?:\\d+)+)+)x\n"
	                              "[samples]\nframe 1 = 12x\nmeans 1 = ohm 12\n", &why);
	assert_non_null(d);
	memset(frame, '1', sizeof frame);
	memcpy(frame + sizeof frame - 2, "yx", 2);
	clock_t before = clock();
	for (int i = 0; i < 20; i++) {
		say(&d->row, FUNCTION_OHM, frame, sizeof frame, &u);
		assert_int_equal(u.said, SAID_NOTHING);
		assert_non_null(strstr(u.why, "steps"));
	}
	double seconds = (double)(clock() - before) / CLOCKS_PER_SEC;
	print_message("  %.3f ms a frame\n", seconds / 20 * 1e3);
	assert_true(seconds < 5); /* without a limit it would be years */
	drop(d);
}

static void columns_from_the_left(void **state)
{
	struct fault why;
	(void)state;
	/* The same meter with its bits counted from the left, five digits, no sign column. */
	struct dialect_file *d = load("[dialect]\nname = left\nreads = columns\nserial = 9600 8N1\n"
	                              "[columns]\nsize = 10\ndigits = 0-4\npoint = 5: 0=5 1=1 2=2 3=3 4=4\n"
	                              "byte 9 = \\n\nbits = left\nflag 6.0 = ohm\nflag 6.1 = volt\n"
	                              "flag 7.0 = kilo\nflag 7.7 = minus\nflag 8 = ignore\n"
	                              "[samples]\nframe 1 = 481202\\x80\\x80\\x33\\n\nmeans 1 = ohm 48120\n"
	                              "frame 2 = 012343\\x40\\x01\\x00\\n\nmeans 2 = volt-dc -12.34\n"
	                              "frame 3 = 012343\\xC0\\x01\\x00\\n\nmeans 3 = nothing\n", &why);
	if (!d) {
		note_row("%d:%d: %s", why.line, why.column, why.text);
		fail();
	}
	assert_int_equal(d->row.end, FRAME_FIXED);
	assert_int_equal(d->row.size, 10);
	drop(d);
}

static void what_is_refused_and_where(void **state)
{
	static const struct {
		const char *what, *text;
		int line, column;
		const char *says;
	} rows[] = {
	    {"nothing", "", 1, 1, "name"},
	    {"no reader", "[dialect]\nname = x\n", 1, 1, "reads"},
	    {"no such reader", "[dialect]\nname = x\nreads = telepathy\n", 3, 9, "reads"},
	    {"bad name", "[dialect]\nname = -x\n", 2, 8, "name"},
	    {"unknown key", "[dialect]\nname = x\ncolour = red\n", 3, 1, "colour"},
	    {"unknown section", "[dialect]\nname = x\n[meter]\nx = 1\n", 3, 0, "meter"},
	    {"bad serial", "[dialect]\nname = x\nserial = 9600 9N1\n", 3, 15, "serial"},
	    {"bad flow", "[dialect]\nname = x\nflow = maybe\n", 3, 8, "flow"},
	    {"bad frame", "[dialect]\nname = x\nframe = fixed 1\n", 3, 9, "fixed"},
	    {"no samples", "[dialect]\nname = x\nreads = ascii-unit\n", 1, 1, "samples"},
	    {"failing sample", "[dialect]\nname = x\nreads = ascii-unit\n[samples]\nframe 1 = 1 V\n"
	     "means 1 = volt-dc 2\n", 6, 11, "volt-dc 1"},
	    {"half a sample", "[dialect]\nname = x\nreads = ascii-unit\n[samples]\nframe 1 = 1 V\n",
	     5, 11, "means 1"},
	    {"bad escape", "[dialect]\nname = x\nreads = ascii-unit\n[samples]\nframe 1 = \\q\n", 5, 11,
	     "escape"},
	    {"no match", HEAD SAMPLES, 3, 9, "match"},
	    {"bad pattern", HEAD "[pattern]\nmatch = (?<value>\\d+\n" SAMPLES, 6, 21, "pattern"},
	    {"unknown part", HEAD "[pattern]\nmatch = (?<value>\\d+)(?<colour>x)\n" SAMPLES, 6, 9,
	     "colour"},
	    {"no value part", HEAD "[pattern]\nmatch = (?<unit>V)\n" SAMPLES, 6, 9, "value"},
	    {"bad unit word", HEAD "[pattern]\nunit R = ohms\n", 6, 10, "unit R"},
	    {"asks nothing", "[dialect]\nname = x\nreads = ascii-unit\nasked = yes\n" SAMPLES, 1, 1,
	     "query"},
	    {"column outside", "[dialect]\nname = x\nreads = columns\n[columns]\nsize = 10\n"
	     "digits = 8-11\nflag 7.0 = volt\n" SAMPLES, 5, 1, "column 11"},
	    {"no unit", "[dialect]\nname = x\nreads = columns\n[columns]\nsize = 10\ndigits = 1-4\n"
	     SAMPLES, 5, 1, "unit"},
	    {"bit twice", "[dialect]\nname = x\nreads = columns\n[columns]\nsize = 10\nflag 7.0 = volt\n"
	     "flag 7.0 = amp\n", 7, 1, "already"},
	    {"bad flag", "[dialect]\nname = x\nreads = columns\n[columns]\nflag 7.9 = volt\n", 5, 1,
	     "flag"},
	    {"bad meaning", "[dialect]\nname = x\nreads = columns\n[columns]\nflag 7.1 = watt\n", 5, 12,
	     "expected volt"},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why;
		memset(&why, 0, sizeof why);
		struct dialect_file *d = load(rows[i].text, &why);
		if (d || why.line != rows[i].line || (rows[i].column && why.column != rows[i].column) ||
		    !strstr(why.text, rows[i].says) || strcmp(why.file, "x.ini") != 0) {
			note_row("%s: %s:%d:%d: %s", rows[i].what, why.file, why.line, why.column, why.text);
			fail();
		}
	}
}

static void plain_dialects_frame_by_frame(void **state)
{
	static const struct {
		const char *dialect, *frame;
		enum function function;
		double value; /* NAN: overload; INFINITY: not understood */
	} rows[] = {
	    {"ascii-number", "+4.8120E+02", FUNCTION_FARAD, 481.2}, {"ascii-number", " 7 ", FUNCTION_OHM, 7},
	    {"ascii-number", "-OL", FUNCTION_OHM, NAN},          {"ascii-number", "7 V", FUNCTION_OHM, INFINITY},
	    {"ascii-number", "7,1", FUNCTION_OHM, INFINITY},     {"ascii-number", "--7", FUNCTION_OHM, INFINITY},
	    {"ask-comma", "1.5,mV DC,OK", FUNCTION_VOLT_DC, 0.0015}, {"ask-comma", "1.5,A AC,", FUNCTION_AMP_AC, 1.5},
	    {"ask-comma", "1.5,Ohm AC,", FUNCTION_OHM, INFINITY}, {"ask-comma", "1.5,V,OL", FUNCTION_VOLT_DC, INFINITY},
	    {"ask-comma", "1.5,V,OK,", FUNCTION_VOLT_DC, INFINITY}, {"ask-comma", "OL,kOhm,OK", FUNCTION_OHM, NAN},
	    {"ask-comma", ",,", FUNCTION_OHM, INFINITY},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		const struct dialect *d = dialect_find(rows[i].dialect, strlen(rows[i].dialect));
		struct understood u;
		say(d, rows[i].function, rows[i].frame, strlen(rows[i].frame), &u);
		note_row("%s %s", rows[i].dialect, rows[i].frame);
		if (isinf(rows[i].value)) {
			assert_int_equal(u.said, SAID_NOTHING);
			continue;
		}
		assert_int_equal(u.said, SAID_READINGS);
		assert_int_equal(u.reading[0].function, rows[i].function);
		if (isnan(rows[i].value))
			assert_true(u.reading[0].state & READING_OVERLOAD);
		else
			assert_near(decimal_double(u.reading[0].value), rows[i].value, 0);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(shipped_files_agree_with_their_rows),
	    cmocka_unit_test(flipped_bits_of_columns),
	    cmocka_unit_test(fixed_frames_in_pieces),
	    cmocka_unit_test(a_pattern_of_a_user),
	    cmocka_unit_test(a_catastrophic_pattern_is_bounded),
	    cmocka_unit_test(columns_from_the_left),
	    cmocka_unit_test(what_is_refused_and_where),
	    cmocka_unit_test(plain_dialects_frame_by_frame),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
