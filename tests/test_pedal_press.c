/* SPDX-License-Identifier: MIT */
/*
 * What a foot switch sends, and what must come of it: rows of key events in milliseconds.
 */
#include "tests/check.h"

#include "client/pedal_identity.h"
#include "client/pedal_press.h"

#include <inttypes.h>
#include <stdlib.h>

#include <linux/input.h>

/* ---- presses ---- */

struct said {
	char text[512];
	int64_t now;
	int count;
};

/* "take@100 next@250": the action and when it came. */
static void on_act(void *arg, enum pedal_action action, unsigned code)
{
	struct said *s = arg;
	size_t n = strlen(s->text);
	(void)code;
	s->count++;
	snprintf(s->text + n, sizeof s->text - n, "%s%s@%" PRId64, n ? " " : "",
	         pedal_action_name(action), s->now / 1000);
}

/* Buttons of the rows. */
#define ONE "KEY_B take"
#define LONG "KEY_B take long undo"
#define TWICE "KEY_B take double undo"
#define BOTH "KEY_B take long again double undo"
#define TWO "KEY_B take, KEY_C next"
#define TWO_SLOW "KEY_B take double undo, KEY_C next long back"

/*
 * Events: B and C are the two keys going down, b and c up, R is auto-repeat of B; each
 * with its time in ms.  `want`: what is done, and when it is known (debounce 30, long 700,
 * double 400).
 */
static const struct row {
	const char *buttons, *events, *want, *why;
} rows[] = {
    {ONE, "B100 b200", "take@100", "at the first contact"},
    {ONE, "B100 b108 B300 b308", "take@100 take@300", "a switch that sends pulses"},
    {ONE, "b100", "", "let go of what was never pressed"},
    {ONE, "B100", "take@100", "never let go"},
    {ONE, "B100 R600 R630 R660 b700", "take@100", "auto-repeat"},
    {ONE, "R100 R200 b300", "", "auto-repeat of a press that was not seen"},
    {ONE, "B100 b102 B105 b107 B112 b400", "take@100", "bounces when pressed"},
    {ONE, "B100 b400 B403 b405 B420 b425", "take@100", "bounces when let go"},
    {ONE, "B100 b300 B329 b500", "take@100", "open for 29 ms: the foot did not move"},
    {ONE, "B100 b300 B330 b500", "take@100 take@330", "open for 30 ms: let go"},
    {ONE, "B100 b150 B160 b200 B210 b260 B265 b300", "take@100", "chatters under the foot"},
    {ONE, "B100 B150 b200", "take@100", "down twice without up"},
    {ONE, "C100 c200", "", "a key that is no button"},
    {"", "B100 b200", "", "no buttons"},
    {"KEY_B none", "B100 b200", "", "a button that does nothing"},

    {LONG, "B100 b300", "take@330", "short, known at the release"},
    {LONG, "B100 b900", "undo@800", "long, known while it is down"},
    {LONG, "B100 b799", "take@829", "just too short"},
    {LONG, "B100 b800", "undo@800", "just long"},
    {LONG, "B100 b400 B410 b900", "undo@800", "long with chatter"},
    {LONG, "B100 b790 B810 b1500", "undo@810", "long, open over the moment itself"},
    {LONG, "B100 b300 B500 b700", "take@330 take@730", "two short ones"},
    {LONG, "B100", "undo@800", "a shoe that stays: once"},
    {"KEY_B none long undo", "B100 b300 B500 b1400", "undo@1200", "only long does something"},

    {TWICE, "B100 b200", "take@500", "one, known when no second came"},
    {TWICE, "B100 b200 B350 b450", "undo@350", "two"},
    {TWICE, "B100 b108 B350 b358", "undo@350", "two pulses"},
    {TWICE, "B100 b200 B500 b600", "take@500 take@900", "the second too late"},
    {TWICE, "B100 b200 B499 b600", "undo@499", "the second just in time"},
    {TWICE, "B100 b700", "take@500", "held: one"},
    {TWICE, "B100 b200 B300 b400 B450 b500", "undo@300 take@850", "three: two and one"},
    {TWICE, "B100 b200 B210 b300", "take@500", "chatter is no second press"},

    {BOTH, "B100 b200", "take@500", "one"},
    {BOTH, "B100 b200 B300 b400", "undo@300", "two"},
    {BOTH, "B100 b1000", "again@800", "long"},
    {BOTH, "B100 b600", "take@630", "neither: longer than the double, shorter than the long"},
    {BOTH, "B100 b200 B300 b1500", "undo@300", "two, the second held: no long"},

    {TWO, "B100 b200 C300 c400", "take@100 next@300", "one after the other"},
    {TWO, "B100 C110 c200 b210", "take@100", "a foot on both: the first alone"},
    {TWO, "B100 C400 c500 b600 C700 c800", "take@100 next@700", "the second once the first is up"},
    {TWO, "B100 C400 b500 c600", "take@100", "rolled from one to the other"},
    {TWO, "B100 C110 b120 C125 c130", "take@100", "both chatter"},
    {TWO_SLOW, "B100 b200 C300 c400", "take@300 next@430", "another button decides the first"},
    {TWO_SLOW, "B100 C200 c300 b400", "take@500", "a foot on both: the first, in its time"},
    {TWO_SLOW, "C100 B200 b300 c1000", "back@800", "the first is held on"},
};

static struct pedal_buttons buttons_of(const char *text)
{
	struct pedal_buttons b;
	struct fault why;
	if (!pedal_buttons_parse(text, &b, &why))
		fail_msg("%s", why.text);
	return b;
}

static const struct pedal_timing usual = {30000, 700000, 400000};

/* Go on to `until`, deadline by deadline, as a timer would. */
static void go_on(struct pedal_press *p, struct said *s, int64_t until)
{
	for (int64_t due; (due = pedal_press_due(p)) <= until;) {
		if (due > s->now)
			s->now = due;
		pedal_press_run(p, s->now);
		assert_true(pedal_press_due(p) > s->now);
	}
}

static void feed(struct pedal_press *p, struct said *s, const char *events)
{
	for (char *end; *events; events = end) {
		char what = *events;
		int64_t time = strtol(events + 1, &end, 10) * 1000;
		go_on(p, s, time - 1);
		s->now = time;
		pedal_press_event(p, time, time, what == 'C' || what == 'c' ? KEY_C : KEY_B,
		                  what == 'R' ? 2 : what < 'a');
		end += *end == ' ';
	}
}

static void test_presses(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		const struct row *r = &rows[i];
		struct pedal_press p;
		struct said s = {.text = ""};
		struct pedal_buttons b = buttons_of(r->buttons);
		note_row("%s: %s (%s)", r->buttons, r->events, r->why);
		pedal_press_begin(&p, &b, &usual, on_act, &s);
		feed(&p, &s, r->events);
		go_on(&p, &s, 100000000);
		assert_string_equal(s.text, r->want);
	}
}

/* Whoever reads all events at once, with no timer between them, decides the same. */
static void test_read_at_once(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct pedal_press p;
		struct said s = {.text = ""}, want = {.text = ""};
		struct pedal_buttons b = buttons_of(rows[i].buttons);
		const char *at = rows[i].events;
		note_row("%s: %s", rows[i].buttons, rows[i].events);
		pedal_press_begin(&p, &b, &usual, on_act, &want);
		feed(&p, &want, rows[i].events);
		go_on(&p, &want, 100000000);
		pedal_press_begin(&p, &b, &usual, on_act, &s);
		for (char *end; *at; at = end) {
			char what = *at;
			int64_t time = strtol(at + 1, &end, 10) * 1000;
			/* read 0.2 s late */
			pedal_press_event(&p, time + 200000, time, what == 'C' || what == 'c' ? KEY_C : KEY_B,
			                  what == 'R' ? 2 : what < 'a');
			end += *end == ' ';
		}
		go_on(&p, &s, 100000000);
		/* Names alone: the times are those of reading. */
		const char *x = s.text, *y = want.text;
		while (*x && *y) {
			size_t n = strcspn(x, "@");
			assert_int_equal(n, strcspn(y, "@"));
			assert_memory_equal(x, y, n);
			x += strcspn(x, " ");
			y += strcspn(y, " ");
			x += *x == ' ';
			y += *y == ' ';
		}
		assert_true(!*x && !*y);
	}
}

/* Stopped for a minute: what was pressed then does nothing now; what is pressed now does. */
static void test_stale(void **state)
{
	struct pedal_press p;
	struct said s = {.text = ""};
	struct pedal_buttons b = buttons_of(LONG);
	(void)state;
	pedal_press_begin(&p, &b, &usual, on_act, &s);
	int64_t now = 60000000;
	pedal_press_event(&p, now, 100000, KEY_B, 1);
	pedal_press_event(&p, now, 200000, KEY_B, 0);
	pedal_press_event(&p, now, 300000, KEY_B, 1);
	pedal_press_run(&p, now);
	assert_string_equal(s.text, "");
	struct pedal_press one;
	struct pedal_buttons plain = buttons_of(ONE);
	pedal_press_begin(&one, &plain, &usual, on_act, &s);
	pedal_press_event(&one, now, now - PEDAL_STALE_US - 1, KEY_B, 1);
	pedal_press_event(&one, now, now - PEDAL_STALE_US, KEY_B, 0);
	assert_string_equal(s.text, "");
	s.now = now;
	pedal_press_event(&one, now, now - PEDAL_STALE_US + 50000, KEY_B, 1);
	assert_string_equal(s.text, "take@60000");
	s.text[0] = '\0';
	/* Still down from then: not long, not short. */
	s.now = now + 5000000;
	pedal_press_run(&p, s.now);
	pedal_press_event(&p, s.now, s.now, KEY_B, 0);
	pedal_press_run(&p, s.now + 100000);
	assert_string_equal(s.text, "");
	s.now = 70000000;
	feed(&p, &s, "B70000 b70100");
	go_on(&p, &s, 80000000);
	assert_string_equal(s.text, "take@70130");
	/* A decision that waited through the stop is dropped, too: pressed, then stopped. */
	s.text[0] = '\0';
	feed(&p, &s, "B90000 b90100");
	s.now = 200000000;
	pedal_press_run(&p, s.now);
	assert_string_equal(s.text, "");
	assert_true(pedal_press_due(&p) == INT64_MAX);
	feed(&p, &s, "B210000 b210100");
	go_on(&p, &s, 220000000);
	assert_string_equal(s.text, "take@210130");
}

/* The kernel dropped events: the state is set, nothing is done. */
static void test_set(void **state)
{
	struct pedal_press p;
	struct said s = {.text = ""};
	struct pedal_buttons b = buttons_of(BOTH);
	(void)state;
	pedal_press_begin(&p, &b, &usual, on_act, &s);
	feed(&p, &s, "B100");
	pedal_press_set(&p, KEY_B, true); /* it was let go and pressed again, who knows */
	go_on(&p, &s, 5000000);
	feed(&p, &s, "b5000");
	go_on(&p, &s, 6000000);
	assert_string_equal(s.text, "");
	feed(&p, &s, "B7000 b7050");
	pedal_press_set(&p, KEY_B, false); /* a second press may have been lost */
	go_on(&p, &s, 8000000);
	assert_string_equal(s.text, "");
	feed(&p, &s, "B9000 b9900");
	assert_string_equal(s.text, "again@9700");
	pedal_press_set(&p, KEY_X, true); /* no button: passed over */
}

/* Times from a clock that jumps: nothing hangs, nothing comes twice. */
static void test_times(void **state)
{
	struct pedal_press p;
	struct said s = {.text = ""};
	struct pedal_buttons b = buttons_of(ONE);
	(void)state;
	pedal_press_begin(&p, &b, &usual, on_act, &s);
	pedal_press_event(&p, 1000000, INT64_MAX, KEY_B, 1);
	pedal_press_event(&p, 1100000, INT64_MAX, KEY_B, 0);
	pedal_press_event(&p, 1900000, 1100000, KEY_B, 1);
	pedal_press_event(&p, 2000000, 0, KEY_B, 0); /* backwards: taken as the last time */
	pedal_press_run(&p, 3000000);
	assert_true(s.count >= 1 && s.count <= 2);
	assert_true(pedal_press_due(&p) == INT64_MAX);
	/* Odd values and codes. */
	pedal_press_event(&p, 4000000, 4000000, KEY_B, 7);
	pedal_press_event(&p, 4000000, 4000000, KEY_B, -1);
	pedal_press_event(&p, 4000000, 4000000, 70000, 1);
	assert_true(pedal_press_due(&p) == INT64_MAX);
}

/* Without debounce each release counts at once. */
static void test_without_debounce(void **state)
{
	static const struct pedal_timing bare = {0, 700000, 400000};
	struct pedal_press p;
	struct said s = {.text = ""};
	struct pedal_buttons b = buttons_of(LONG);
	(void)state;
	pedal_press_begin(&p, &b, &bare, on_act, &s);
	feed(&p, &s, "B100 b101 B102 b103");
	assert_string_equal(s.text, "take@101 take@103");
}

/* Any stream: a decision for each press at most, none once all is up and time has gone. */
static void test_any_stream(void **state)
{
	(void)state;
	for (unsigned seed = 1; seed <= 200; seed++) {
		static const char *const all[] = {ONE, LONG, TWICE, BOTH, TWO, TWO_SLOW};
		unsigned r = seed * 2654435761u;
		struct pedal_press p;
		struct said s = {.text = ""};
		struct pedal_buttons b = buttons_of(all[seed % 6]);
		int downs = 0;
		int64_t time = 0;
		pedal_press_begin(&p, &b, &usual, on_act, &s);
		for (int i = 0; i < 60; i++) {
			r = r * 1664525u + 1013904223u;
			time += (r >> 8) % ((r >> 28) < 8 ? 40000 : 1000000);
			int value = (int)((r >> 5) % 3);
			downs += value == 1;
			go_on(&p, &s, time);
			pedal_press_event(&p, time, time, r & 1 ? KEY_B : KEY_C, value);
			s.text[0] = '\0';
		}
		pedal_press_event(&p, time, time, KEY_B, 0);
		pedal_press_event(&p, time, time, KEY_C, 0);
		s.now = time;
		go_on(&p, &s, time + 10000000);
		assert_true(s.count <= downs);
		assert_true(pedal_press_due(&p) == INT64_MAX);
		for (int i = 0; i < b.count; i++)
			assert_false(p.state[i].down || p.state[i].pending);
	}
}

/* ---- buttons in words ---- */

static const struct words {
	const char *text;
	int column; /* of the fault; 0: good */
	const char *again; /* as it is written; NULL: the same */
} words[] = {
    {"", 0, NULL},
    {"KEY_B take", 0, NULL},
    {"KEY_B take long undo", 0, NULL},
    {"KEY_B take long undo double say", 0, NULL},
    {"KEY_B take double say long undo", 0, "KEY_B take long undo double say"},
    {"KEY_B take long new double next", 0, NULL},
    {"  KEY_B \ttake  ,KEY_F13   none ", 0, "KEY_B take, KEY_F13 none"},
    {"BTN_LEFT back, CODE_589 again", 0, NULL},
    {"CODE_48 take", 0, "KEY_B take"},
    {"KEY_B", 6, NULL},
    {"KEY_B jump", 7, NULL},
    {"KEY_B Take", 7, NULL},
    {"B take", 1, NULL},
    {"KEY_B take,", 12, NULL},
    {", KEY_B take", 1, NULL},
    {"KEY_B take undo", 12, NULL},
    {"KEY_B take long", 16, NULL},
    {"KEY_B take long undo long say", 22, NULL},
    {"KEY_B take, KEY_B next", 13, NULL},
    {"CODE_0 take", 1, NULL},
    {"CODE_768 take", 1, NULL},
    {"CODE_ take", 1, NULL},
    {"KEY_1 take, KEY_2 take, KEY_3 take, KEY_4 take, KEY_5 take, KEY_6 take, KEY_7 take, "
     "KEY_8 take, KEY_9 take", 97, NULL},
};

static void test_words(void **state)
{
	char text[300];
	(void)state;
	for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
		struct pedal_buttons b, again;
		struct fault why = {.text = ""};
		bool good = pedal_buttons_parse(words[i].text, &b, &why);
		note_row("\"%s\" %d %s", words[i].text, why.column, why.text);
		assert_int_equal(good, words[i].column == 0);
		if (!good) {
			assert_int_equal(why.column, words[i].column);
			assert_true(strlen(why.text) > 20);
			continue;
		}
		pedal_buttons_text(&b, text, sizeof text);
		assert_string_equal(text, words[i].again ? words[i].again : words[i].text);
		assert_true(pedal_buttons_parse(text, &again, &why));
		assert_memory_equal(&b, &again, sizeof b);
	}
}

static void test_every_key(void **state)
{
	char name[PEDAL_KEY_SIZE];
	unsigned back;
	(void)state;
	for (unsigned code = 1; code <= KEY_MAX; code++) {
		pedal_key_name(code, name);
		assert_true(pedal_key_find(name, strlen(name), &back));
		assert_int_equal(back, code);
	}
	for (int i = 0; i < PEDAL_ACTIONS; i++) {
		enum pedal_action action;
		const char *word = pedal_action_name((enum pedal_action)i);
		assert_true(pedal_action_find(word, strlen(word), &action));
		assert_int_equal(action, i);
		assert_true(strlen(pedal_action_help(action)) > 3);
	}
	assert_true(pedal_key_modifier(KEY_LEFTCTRL));
	assert_false(pedal_key_modifier(KEY_B));
}

/* Any bytes: read or refused, and what was read is written and read as the same. */
static void test_any_words(void **state)
{
	static const char alphabet[] = "KEY_B BTN_LEFT take long undo double,, \t_09\x80:usb:1209name=";
	char text[80], again[300];
	int good = 0;
	(void)state;
	for (unsigned seed = 1, r = 1; seed < 20000; seed++) {
		struct pedal_buttons b, c;
		struct pedal_identity id;
		struct fault why;
		size_t n = 0;
		int words_left = (int)(seed % 8);
		while (words_left-- > 0 && n < 60) {
			r = r * 1664525u + 1013904223u;
			size_t from = (r >> 8) % (sizeof alphabet - 1), len = 1 + (r >> 24) % 12;
			if (seed % 3 == 0) { /* mostly right */
				static const char *const words_of[] = {"KEY_B ", "take ", "long ", "undo ", ", ",
				                                       "KEY_C ", "next ", "double "};
				n += (size_t)snprintf(text + n, sizeof text - n, "%s", words_of[(r >> 8) % 8]);
				continue;
			}
			for (size_t i = 0; i < len; i++)
				text[n++] = alphabet[(from + i) % (sizeof alphabet - 1)];
		}
		text[n] = '\0';
		if (pedal_buttons_parse(text, &b, &why)) {
			good++;
			pedal_buttons_text(&b, again, sizeof again);
			assert_true(pedal_buttons_parse(again, &c, &why));
			assert_memory_equal(&b, &c, sizeof b);
		} else {
			assert_true(why.column >= 1 && why.column <= (int)n + 1);
		}
		if (!pedal_identity_parse(text, &id, &why))
			assert_true(why.column >= 1 && why.column <= (int)n + 1);
	}
	assert_true(good > 1000);
}

/* ---- identities ---- */

/* Devices: bus, vendor, product, uniq, phys, name; as text. */
static const struct device {
	unsigned bus, vendor, product;
	const char *uniq, *phys, *name, *text;
} devices[] = {
    {3, 0x1209, 2, "A1", "usb-0000:00:14.0-2/input0", "Foot Switch",
     "usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch"},
    {3, 0x1209, 3, "", "usb-0000:00:14.0-2/input0", "Foot Switch",
     "usb:1209:0003 phys=usb-0000:00:14.0-2/input0 name=Foot Switch"},
    {5, 0x1209, 2, "aa:bb", "", "F", "bluetooth:1209:0002 uniq=aa:bb name=F"},
    {0x11, 1, 1, NULL, NULL, NULL, "0011:0001:0001"},
    {6, 0, 0xffff, "", "a b/c", " x; y=\"z\" ", "0006:0000:ffff phys=a_b/c name=x; y=\"z\""},
    {3, 1, 1, "u name=q", "p", "\x1b[2Jx\xff", "usb:0001:0001 uniq=u_name=q phys=p name=?[2Jx?"},
};

static void test_identity_text(void **state)
{
	char text[PEDAL_IDENTITY_TEXT];
	struct fault why;
	(void)state;
	for (size_t i = 0; i < sizeof devices / sizeof devices[0]; i++) {
		const struct device *d = &devices[i];
		struct pedal_identity id, back, other;
		pedal_identity_make(&id, d->bus, d->vendor, d->product, d->uniq, d->phys, d->name);
		pedal_identity_text(&id, text);
		note_row("%s", text);
		assert_string_equal(text, d->text);
		assert_true(pedal_identity_parse(text, &back, &why));
		assert_true(pedal_identity_fits(&back, &id));
		/* No other device of the table is it. */
		for (size_t k = 0; k < sizeof devices / sizeof devices[0]; k++) {
			const struct device *e = &devices[k];
			pedal_identity_make(&other, e->bus, e->vendor, e->product, e->uniq, e->phys, e->name);
			assert_int_equal(pedal_identity_fits(&back, &other), i == k);
		}
	}
	/* The longest that a device may say. */
	char longest[300];
	struct pedal_identity id, back;
	memset(longest, 'x', sizeof longest - 1);
	longest[sizeof longest - 1] = '\0';
	pedal_identity_make(&id, 3, 1, 1, "", longest, longest);
	pedal_identity_text(&id, text);
	assert_true(pedal_identity_parse(text, &back, &why) && pedal_identity_fits(&back, &id));
	assert_true(pedal_identity_parse("usb:0001:0001", &back, &why));
	assert_true(pedal_identity_fits(&back, &id));
}

static void test_identity_place(void **state)
{
	struct pedal_identity wanted, here;
	struct fault why;
	(void)state;
	/* A serial number goes with it to another place, but not to another part of it. */
	assert_true(pedal_identity_parse("usb:1209:0002 uniq=A1 phys=input0 name=F", &wanted, &why));
	pedal_identity_make(&here, 3, 0x1209, 2, "A1", "usb-0000:00:14.0-9/input0", "F");
	assert_true(pedal_identity_fits(&wanted, &here));
	pedal_identity_make(&here, 3, 0x1209, 2, "A1", "usb-0000:00:14.0-9/input1", "F");
	assert_false(pedal_identity_fits(&wanted, &here));
	pedal_identity_make(&here, 3, 0x1209, 2, "A2", "usb-0000:00:14.0-9/input0", "F");
	assert_false(pedal_identity_fits(&wanted, &here));
	/* Without one the place is what tells them apart. */
	assert_true(pedal_identity_parse("usb:1209:0002 phys=usb-1/input0 name=F", &wanted, &why));
	pedal_identity_make(&here, 3, 0x1209, 2, "", "usb-2/input0", "F");
	assert_false(pedal_identity_fits(&wanted, &here));
	assert_true(pedal_identity_like(&wanted, &here));
}

#define FORTY "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"

static void test_identity_refused(void **state)
{
	static const char *const bad[] = {
	    "x", "usb", "usb:", "usb:1209", "usb:1209:", "usb:1209:2", "usb:120g:0002", "USB:1209:0002",
	    "usb:1209:00021", "usb:1209:0002x", "usb:1209:0002 x", "usb:1209:0002 name=",
	    "usb:1209:0002 uniq= name=x", "usb:1209:0002 phys=a uniq=b", "event3", "/dev/input/event3",
	    "usb:1209:0002 uniq=" FORTY FORTY,
	};
	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		struct pedal_identity id;
		struct fault why = {.text = ""};
		note_row("%s", bad[i]);
		assert_false(pedal_identity_parse(bad[i], &id, &why));
		assert_true(why.column >= 1 && why.column <= (int)strlen(bad[i]) + 1);
	}
}

static void test_rule(void **state)
{
	char rule[400];
	struct pedal_identity id;
	(void)state;
	pedal_identity_make(&id, 3, 0x1209, 2, "A1", "usb-1/input0", "F");
	pedal_identity_rule(&id, rule, sizeof rule);
	assert_string_equal(rule, "SUBSYSTEM==\"input\", KERNEL==\"event*\", "
	                    "ATTRS{id/vendor}==\"1209\", "
	                    "ATTRS{id/product}==\"0002\", ATTRS{uniq}==\"A1\", TAG+=\"uaccess\"");
	/* Nothing that a device says of itself gets out of the quotes. */
	pedal_identity_make(&id, 3, 0x1209, 2, "A\", MODE=\"0666", "usb-1/input0", "F");
	pedal_identity_rule(&id, rule, sizeof rule);
	assert_null(strstr(rule, "MODE"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_presses),       cmocka_unit_test(test_read_at_once),
	    cmocka_unit_test(test_stale),         cmocka_unit_test(test_set),
	    cmocka_unit_test(test_times),         cmocka_unit_test(test_without_debounce),
	    cmocka_unit_test(test_any_stream),    cmocka_unit_test(test_words),
	    cmocka_unit_test(test_any_words),
	    cmocka_unit_test(test_every_key),     cmocka_unit_test(test_identity_text),
	    cmocka_unit_test(test_identity_place), cmocka_unit_test(test_identity_refused),
	    cmocka_unit_test(test_rule),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
