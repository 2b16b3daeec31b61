/* SPDX-License-Identifier: MIT */
/*
 * A sitting against a daemon that says what a script tells it: asking, deeds, and a
 * connection that breaks in every way.
 */
#include "tests/client_script.h"

#include "client/sitting.h"

#include <uv.h>

static uv_loop_t loop;
static struct sitting sitting;
static char told_text[8192]; /* what was told, a letter or word each */

static void on_told(void *arg, const struct happening_told *told)
{
	size_t len = strlen(told_text);
	(void)arg;
	snprintf(told_text + len, sizeof told_text - len, "%d:%s:%s ", (int)told->what,
	         told->position ? told->position : "-", told->why ? told->why : "-");
}

static void begin(void)
{
	const struct style style = {.utf8 = false, .colour = true};
	told_text[0] = '\0';
	sitting = (struct sitting){.loop = &loop};
	assert_int_equal(uv_loop_init(&loop), 0);
	happening_listen(&sitting.listeners, (struct happening_listener){on_told, NULL});
	assert_true(sitting_begin(&sitting, path, &style));
}

static void end(void)
{
	sitting_end(&sitting);
	uv_run(&loop, UV_RUN_DEFAULT);
	assert_int_equal(uv_loop_close(&loop), 0);
	sitting_free(&sitting);
}

/* Let it run until this is heard by the daemon (or told); 4 s at most. */
static bool until(const char *(*where)(void), const char *text)
{
	for (int i = 0; i < 2000; i++) {
		uv_run(&loop, UV_RUN_NOWAIT);
		if (strstr(where(), text))
			return true;
		usleep(2000);
	}
	print_error("never: %s\nbut: %s\n", text, where());
	return false;
}

static const char *told(void)
{
	return told_text;
}

/* The five answers behind hello: sheet, entries, meters, status, watch. */
#define ENTRIES_EMPTY RESULT("{\"entries\":[],\"more\":false}")
#define SHEET                                                                                  \
	RESULT("{\"rows\":[{\"position\":\"R1\",\"entries\":1,\"written\":{}},"                          \
	       "{\"position\":\"R12\",\"entries\":0,\"written\":{}},"                                   \
	       "{\"position\":\"R13\",\"entries\":0,\"written\":{}}],\"more\":false}")
#define METERS RESULT("{\"meters\":[{\"name\":\"red\",\"state\":\"asked\"}]}")
#define STATUS                                                                                 \
	RESULT("{\"job\":\"j\",\"state\":\"cold\",\"condition\":\"found\",\"reach\":\"lifted\",\"walk\":\"on\","   \
	       "\"chosen\":{\"position\":\"R12\",\"quantity\":\"value\",\"armed\":true},\"bound\":[],"       \
	       "\"health\":\"good\",\"done\":1,\"positions\":3}")
#define WATCH RESULT("{\"last\":3}")
#define ANSWERS HELLO, SHEET, ENTRIES_EMPTY, METERS, STATUS, WATCH
#define RECORD(seq) NEWS("record", "{\"seq\":" seq ",\"record\":{\"seq\":" seq ",\"kind\":\"entry\","  \
	"\"position\":\"R12\",\"shown\":\"1 kohm\",\"verdict\":\"within\"}}")

static void stop_daemon(pid_t pid)
{
	int status;
	kill(pid, SIGTERM);
	waitpid(pid, &status, 0);
	unlink(path);
}

static void test_reconnects(void **state)
{
	(void)state;
	const char *const *scripts[] = {
		SCRIPT(ANSWERS, RECORD("4"), STATUS, "!close"),
		SCRIPT(HELLO, SHEET, ENTRIES_EMPTY, METERS, STATUS, WATCH, RECORD("4"), RECORD("5"), STATUS),
	};
	pid_t pid = daemon_start(scripts, 2);
	begin();
	assert_true(until(told, "11:R12:")); /* up, as the client begins */
	assert_true(until(told, "0:R12:-"));  /* logged */
	assert_true(until(told, "7:-:"));     /* the daemon is gone */
	assert_true(until(told, "8:-:"));     /* ... and back */
	assert_true(until(heard, "\"after\":3,\"live\":true"));
	assert_true(until(heard, "\"after\":4,\"live\":true")); /* where it was */
	assert_true(until(told, "8:-:- 11:R12:- 0:R12:-"));
	/* Record 4 came twice and was told once. */
	const char *first = strstr(told_text, "0:R12");
	assert_ptr_equal(strstr(first + 1, "0:R12"), strstr(told_text, "8:-:- 11:R12:- 0:R12") + 15);
	end();
	stop_daemon(pid);
}

static const struct {
	enum action action;
	const char *text, *asked;
} deeds[] = {
	/* deed, its text, what the daemon is asked */
	{ACTION_TAKE, "", "\"method\":\"take\",\"params\":{}"},
	{ACTION_UNDO, "", "\"method\":\"undo\",\"params\":{}"},
	{ACTION_NEXT, "", "\"method\":\"next\",\"params\":{}"},
	{ACTION_BACK, "", "\"method\":\"back\",\"params\":{}"},
	{ACTION_AGAIN, "", "\"method\":\"again\",\"params\":{}"},
	{ACTION_OTHER, "", "\"method\":\"there\",\"params\":{}"},
	{ACTION_AT, "r13", "\"method\":\"at\",\"params\":{\"position\":\"R13\"}"},
	{ACTION_AT, "Q9 esr", "{\"position\":\"Q9\",\"quantity\":\"esr\"}"},
	/* What the pedal does by `new`, and the same typed. */
	{ACTION_AT, "new", "\"method\":\"at.new\",\"params\":{}"},
	{ACTION_AT, "new T3/", "\"method\":\"at.new\",\"params\":{\"prefix\":\"T3/\"}"},
	{ACTION_WALK, "new", "{\"walk\":\"new\"}"},
	{ACTION_WALK, "new T3/", "{\"walk\":\"new\",\"prefix\":\"T3/\"}"},
	{ACTION_REACH, "", "\"method\":\"reach\",\"params\":{\"reach\":\"loose\"}"},
	{ACTION_REACH, "in-circuit", "{\"reach\":\"in-circuit\"}"},
	{ACTION_CONDITION, "", "{\"condition\":\"new\"}"},
	{ACTION_WALK, "off", "{\"walk\":\"off\"}"},
	{ACTION_QUANTITY, "", "{\"position\":\"R12\",\"quantity\":\"leakage\"}"},
	{ACTION_NOTE, "a \"burnt\" \\ smell", "{\"position\":\"R12\",\"text\":\"a \\\"burnt\\\" \\\\ smell\"}"},
	{ACTION_STRIKE, "slipped", "\"method\":\"strike\",\"params\":{\"seq\":4,\"because\":\"slipped\"}"},
	{ACTION_WALK, "new T3/", "{\"walk\":\"new\",\"prefix\":\"T3/\"}"},
	{ACTION_STRIKE, "#2 slipped", "{\"seq\":2,\"because\":\"slipped\"}"},
	{ACTION_ORDER, "", "{\"walk\":\"on\",\"order\":\"sheet\"}"},
	{ACTION_ORDER, "kind", "{\"walk\":\"on\",\"order\":\"kind\"}"},
	{ACTION_METERS, "", "{\"walk\":\"on\",\"meters\":2}"},
	{ACTION_METERS, "1", "\"method\":\"walk\",\"params\":{\"walk\":\"on\"}"},
	{ACTION_METERS, "8", "\"meters\":8}"},
	{ACTION_ENTER, "r13 leakage 3 uA from tester u 0.1 uA because it is old",
	 "{\"position\":\"R13\",\"value\":\"3 uA\",\"from\":\"tester\",\"quantity\":\"leakage\","
	 "\"u\":\"0.1 uA\",\"because\":\"it is old\"}"},
	{ACTION_MOVE, "r13", "\"method\":\"move\",\"params\":{\"position\":\"R13\",\"seqs\":[4]}"},
	{ACTION_MOVE, "2-3 last r1", "{\"position\":\"R1\",\"seqs\":[\"2-3\",4]}"},
	{ACTION_OFFSET, "short", "\"method\":\"offset\",\"params\":{\"leads\":\"short\",\"wait\":false}"},
	{ACTION_OFFSET, "open red", "{\"leads\":\"open\",\"meter\":\"red\",\"wait\":false}"},
	{ACTION_CHECK, "red r1", "\"method\":\"meters.check\",\"params\":{\"meter\":\"red\","
	                         "\"position\":\"R1\",\"wait\":false}"},
	{ACTION_BIND, "red r1", "\"method\":\"at\",\"params\":{\"meter\":\"red\",\"position\":\"R1\"}"},
	{ACTION_BIND, "red free", "\"method\":\"at\",\"params\":{\"meter\":\"red\"}"},
	{ACTION_SWAPPED, "", "\"method\":\"again\",\"params\":{\"swapped\":true}"},
	{ACTION_GO, "", "\"method\":\"guide.go\",\"params\":{}"},
	{ACTION_GO, "C1", "\"method\":\"guide.go\",\"params\":{\"name\":\"C1\"}"},
	{ACTION_GO_BACK, "", "\"method\":\"guide.back\",\"params\":{}"},
	{ACTION_LEAVE, "RV1", "\"method\":\"guide.leave\",\"params\":{\"name\":\"RV1\"}"},
	{ACTION_RISE, "", "\"method\":\"job.ready\",\"params\":{}"},
	{ACTION_NOTES, "", "\"method\":\"notes\",\"params\":{\"after\":0}"},
	{ACTION_NOTE, "r13 leaks at one end",
	 "\"method\":\"note\",\"params\":{\"position\":\"R13\",\"text\":\"leaks at one end\"}"},
	{ACTION_NOTE, "warm: R13 too", "\"position\":\"R12\",\"text\":\"warm: R13 too\"}"},
	{ACTION_TWINS, "", "\"method\":\"sheet.twins\",\"params\":{}"},
	{ACTION_FITTED, "r13, r1-R6 can1",
	 "\"method\":\"job.fitted\",\"params\":{\"positions\":\"R13 r1-R6 can1\"}"},
	{ACTION_LINE, "R20-R24 100k", "\"method\":\"sheet.add\",\"params\":{\"text\":\"R20-R24 100k\"}"},
	{ACTION_LINE, "mirror all  +100", "\"params\":{\"range\":\"all\",\"by\":100}"},
	{ACTION_LINE, "mirror all except C20, V7 100", "{\"range\":\"all except C20, V7\",\"by\":100}"},
	{ACTION_LINE, "mirror R1-R40 +100",
	 "\"method\":\"sheet.mirror\",\"params\":{\"range\":\"R1-R40\",\"by\":100}"},
	{ACTION_LINE, "set r13 valve=A17 note=\"hums \\ loud\"",
	 "\"method\":\"sheet.set\",\"params\":{\"position\":\"R13\",\"fields\":{\"valve\":\"A17\","
	 "\"note\":\"hums \\\\ loud\"}}"},
	{ACTION_LINE, "fit r13 kind=film tolerance=",
	 "\"method\":\"sheet.fit\",\"params\":{\"position\":\"R13\",\"fields\":{\"kind\":\"film\","
	 "\"tolerance\":\"\"}}"},
	{ACTION_LINE, "fit R13 none", "{\"position\":\"R13\",\"none\":true}"},
	{ACTION_LINE, "rename r13 R44",
	 "\"method\":\"sheet.rename\",\"params\":{\"position\":\"R13\",\"to\":\"R44\"}"},
	{ACTION_LINE, "twins accept", "\"method\":\"sheet.twins\",\"params\":{\"accept\":true}"},
	{ACTION_LINE, "twins accept R1 R2", "{\"accept\":true,\"positions\":\"R1 R2\"}"},
	{ACTION_LINE, "unit serial=1204", "\"method\":\"job.set\",\"params\":{\"fields\":{\"serial\":\"1204\"}}"},
	{ACTION_LINE, "walk new T3/", "\"method\":\"walk\",\"params\":{\"walk\":\"new\",\"prefix\":\"T3/\"}"},
	{ACTION_LINE, "walk lift", "\"params\":{\"walk\":\"lift\"}"},
	{ACTION_LINE, "start \"a year later\"",
	 "\"method\":\"job.start\",\"params\":{\"name\":\"a year later\"}"},
	{ACTION_LIVE, "", "\"method\":\"job.state\",\"params\":{\"state\":\"live\"}"},
	{ACTION_COLD, "", "{\"state\":\"cold\"}"},
};

static void test_deeds(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof deeds / sizeof deeds[0]; i++) {
		const char *const *scripts[] = {SCRIPT(ANSWERS, RECORD("4"))};
		pid_t pid = daemon_start(scripts, 1);
		struct deed deed = {.action = deeds[i].action};
		snprintf(deed.text, sizeof deed.text, "%s", deeds[i].text);
		begin();
		assert_true(until(told, "0:R12:-"));
		sitting_do(&sitting, &deed);
		note_row("%s", deeds[i].asked);
		assert_true(until(heard, deeds[i].asked));
		end();
		stop_daemon(pid);
	}
}

/* Several meters read open: the one whose value stands large, which touched last, is meant; where
 * one alone suits, or it is named, that one. */
static void test_which_meter(void **state)
{
	(void)state;
#define ONE(name, function, shown, touching) "{\"name\":\"" name "\",\"function\":\"" function \
	"\",\"shown\":\"" shown "\",\"touching\":" touching ",\"progress\":0}"
#define CHOSEN RESULT("{\"job\":\"j\",\"state\":\"cold\",\"chosen\":{\"position\":\"R12\",\"quantity\":" \
	"\"value\",\"function\":\"ohm\",\"armed\":true},\"bound\":[]}")
	static const struct { const char *before, *after, *text, *asked; } rows[] = {
		{ONE("red", "ohm", "overload", "false") "," ONE("blue", "ohm", "1.54 kohm", "true"),
		 ONE("red", "ohm", "overload", "false") "," ONE("blue", "ohm", "overload", "false"), "",
		 "\"method\":\"take\",\"params\":{\"seen\":\"blue\"}"},
		{ONE("red", "ohm", "1.54 kohm", "true") "," ONE("blue", "ohm", "overload", "false"),
		 ONE("red", "ohm", "overload", "false") "," ONE("blue", "ohm", "overload", "false"), "",
		 "\"method\":\"take\",\"params\":{\"seen\":\"red\"}"},
		{ONE("red", "ohm", "1.54 kohm", "true") "," ONE("blue", "farad", "0.02 nF", "false"),
		 ONE("red", "ohm", "overload", "false") "," ONE("blue", "farad", "0.02 nF", "false"), "",
		 "\"method\":\"take\",\"params\":{}"},
		{ONE("red", "ohm", "1.54 kohm", "true") "," ONE("blue", "ohm", "overload", "false"),
		 ONE("red", "ohm", "overload", "false") "," ONE("blue", "ohm", "overload", "false"), "blue",
		 "\"method\":\"take\",\"params\":{\"meter\":\"blue\"}"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char before[400], after[400];
		snprintf(before, sizeof before, NEWS("live", "{\"meters\":[%s]}"), rows[i].before);
		snprintf(after, sizeof after, NEWS("live", "{\"meters\":[%s]}"), rows[i].after);
		const char *const *scripts[] = {
			SCRIPT(HELLO, SHEET, ENTRIES_EMPTY, METERS, CHOSEN, WATCH, before, after, RECORD("4"))};
		pid_t pid = daemon_start(scripts, 1);
		struct deed deed = {.action = ACTION_TAKE};
		snprintf(deed.text, sizeof deed.text, "%s", rows[i].text);
		begin();
		assert_true(until(told, "0:R12:-"));
		sitting_do(&sitting, &deed);
		note_row("%s", rows[i].after);
		assert_true(until(heard, rows[i].asked));
		end();
		stop_daemon(pid);
	}
}

/* A daemon that does not know these words is told a position. */
static const struct {
	enum action action;
	const char *asked;
} instead[] = {
	{ACTION_NEXT, "\"method\":\"at\",\"params\":{\"position\":\"R13\"}"},
	{ACTION_BACK, "\"method\":\"at\",\"params\":{\"position\":\"R1\"}"},
	{ACTION_AGAIN, "{\"position\":\"R12\",\"quantity\":\"value\"}"},
	{ACTION_OTHER, "\"method\":\"at\",\"params\":{\"position\":\"R1\"}"},
};

static void test_older_daemon(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof instead / sizeof instead[0]; i++) {
		const char *const *scripts[] = {
			SCRIPT(ANSWERS, NEWS("event", "{\"event\":\"held\",\"position\":\"R12\",\"meter\":\"red\","
			                              "\"shown\":\"1 kohm\",\"looks\":\"R1\"}"),
			       FAULT("-32601", "no such method"), RESULT("{}"), STATUS)};
		pid_t pid = daemon_start(scripts, 1);
		begin();
		assert_true(until(told, "3:R12"));
		sitting_do(&sitting, &(struct deed){.action = instead[i].action});
		note_row("%s", instead[i].asked);
		assert_true(until(heard, instead[i].asked));
		assert_null(strstr(told_text, "4:-"));
		end();
		stop_daemon(pid);
	}
}

/* Names that are said here: the daemon hears so, also after it was away; and where it
 * stopped waiting, it is asked to wait again. */
static void test_names(void **state)
{
	(void)state;
	const char *const *scripts[] = {
		SCRIPT(ANSWERS, NEWS("event", "{\"event\":\"mute\",\"text\":\"names are not said\"}"),
		       NEWS("event", "{\"event\":\"up\",\"position\":\"R13\",\"up\":7,\"armed\":\"no\"}"),
		       RESULT("{}"), RESULT("{}"), RESULT("{}"),
		       NEWS("event", "{\"event\":\"armed\",\"position\":\"R13\",\"armed\":\"yes\"}"),
		       NEWS("event", "{\"event\":\"up\",\"position\":\"R13\",\"up\":7,\"armed\":\"yes\"}"),
		       "!hang", "!close"),
		SCRIPT(ANSWERS)};
	pid_t pid = daemon_start(scripts, 2);
	begin();
	sitting_speaks(&sitting, true); /* not connected yet */
	/* Numbered: told at once, though it is armed only when its name was said. */
	assert_true(until(told, "11:R13:"));
	assert_true(until(heard, "\"method\":\"speaks\",\"params\":{\"speaks\":true}"));
	sitting_announced(&sitting, 7);
	assert_true(until(heard, "\"method\":\"announced\",\"params\":{\"up\":7}"));
	assert_true(until(told, "8:-"));
	/* ... and once. */
	assert_null(strstr(strstr(told_text, "11:R13") + 1, "11:R13"));
	for (int i = 0, n = 0; i < 2000 && n < 3; i++) {
		uv_run(&loop, UV_RUN_NOWAIT);
		usleep(2000);
		n = 0;
		for (const char *at = heard(); (at = strstr(at, "\"speaks\":true")); at++)
			n++;
		assert_int_not_equal(i, 1999); /* at first, after mute, after it came back */
	}
	end();
	stop_daemon(pid);
}

/* What is refused, not logged or lost is told, and never taken for done. */
static void test_refusals(void **state)
{
	(void)state;
	static const struct { const char *answer, *then, *want; } rows[] = {
		{FAULT("5", "nothing to take"), NULL, "4:-:nothing to take"},
		{FAULT("4", "the disk is full"), NULL, "10:-:the disk is full"},
		{"=", "!close", "4:-:the daemon went away before it answered: it is not known"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		const char *const *scripts[] = {SCRIPT(ANSWERS, rows[i].answer, rows[i].then)};
		pid_t pid = daemon_start(scripts, 1);
		begin();
		assert_true(until(told, "11:R12:"));
		sitting_do(&sitting, &(struct deed){.action = ACTION_TAKE});
		note_row("%s", rows[i].want);
		assert_true(until(told, rows[i].want));
		end();
		stop_daemon(pid);
	}
	/* Without any daemon. */
	begin();
	assert_true(until(told, "") && sitting.scene);
	sitting_do(&sitting, &(struct deed){.action = ACTION_TAKE});
	assert_true(until(told, "there is no daemon"));
	end();
}

/* Whatever it sends: it is left, tried again, and the next one is good. */
static const char *const bad[][3] = {
	{"-hello there\n", NULL, NULL}, {"=not JSON", NULL, NULL},
	{"={\"jsonrpc\":\"2.0\",\"id\":77,\"result\":{}}", "!close", NULL},
	{"={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{\"protocol\":99}}", NULL, NULL},
	{"={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":-32003,\"message\":\"no\"}}", NULL, NULL},
	{"!huge", NULL, NULL}, {"!nul", NULL, NULL}, {"!close", NULL, NULL},
};

static void test_bad_daemons(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		const char *const *scripts[] = {SCRIPT(bad[i][0], bad[i][1], bad[i][2]), SCRIPT(ANSWERS)};
		pid_t pid = daemon_start(scripts, 2);
		note_row("%s", bad[i][0]);
		begin();
		assert_true(until(told, "11:R12:"));
		assert_true(sitting.scene->connected);
		end();
		stop_daemon(pid);
	}
}

/* `walk` without a word goes round: a daemon that knows no lift is asked for off. */
static void test_walk_round(void **state)
{
	(void)state;
	const char *const *scripts[] = {SCRIPT(ANSWERS, FAULT("-32602", "walk is on or off"),
	                                       RESULT("{}"), STATUS)};
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	sitting_do(&sitting, &(struct deed){.action = ACTION_WALK});
	assert_true(until(heard, "{\"walk\":\"lift\"}"));
	assert_true(until(heard, "{\"walk\":\"off\"}"));
	assert_null(strstr(told_text, "4:-"));
	end();
	stop_daemon(pid);
}

/* Typed in a prompt of this action, then Tab: what stands there, and what is said. */
static void test_complete(void **state)
{
	(void)state;
	static const struct {
		enum action action;
		const char *typed, *becomes, *hint;
	} rows[] = {
		{ACTION_AT, "R", "R1", "R1  R12  R13"}, {ACTION_AT, "r1", "R1", "R1  R12  R13"},
		{ACTION_AT, "R12", "R12 ", ""},         {ACTION_AT, "Q", "Q", "no name begins so"},
		{ACTION_AT, "R12 le", "R12 leakage ", ""},
		{ACTION_ENTER, "r13", "R13 ", ""},      {ACTION_ENTER, "R13 5 ", "R13 5 ", "type it"},
		{ACTION_CHECK, "r", "red ", ""},        {ACTION_OFFSET, "o", "open ", ""},
		{ACTION_MOVE, "last r13", "last R13 ", ""}, {ACTION_BIND, "red R13", "red R13 ", ""},
		{ACTION_NOTE, "R", "R", "type it"},
		/* what may stand in a line of the sheet */
		{ACTION_LINE, "re", "rename ", ""},     {ACTION_LINE, "set r13", "set R13 ", ""},
		{ACTION_LINE, "R", "R14", ""},          {ACTION_LINE, "R14 tol", "R14 tolerance=", ""},
		{ACTION_LINE, "set R13 tol", "set R13 tolerance=", ""},
		{ACTION_LINE, "fit R13 kind=fi", "fit R13 kind=film ", ""},
		{ACTION_LINE, "R14 grid le", "R14 grid leak ", ""},
		{ACTION_LINE, "set R13 qq", "set R13 qq", "no word of the sheet"},
		{ACTION_FITTED, "r13", "R13 ", ""},
	};
	const char *const *scripts[] = {SCRIPT(ANSWERS)};
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	struct keys_guide guide = sitting_guide(&sitting);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct keys k = {.mode = KEYS_TYPE, .asked = rows[i].action};
		struct deed deed;
		prompt_set(&k.line, rows[i].typed, 1000);
		keys_press(&k, KEY_IS_TAB, &guide, &deed);
		note_row("%s", rows[i].typed);
		assert_string_equal(k.line.text, rows[i].becomes);
		assert_true(rows[i].hint[0] ? strstr(k.hint, rows[i].hint) != NULL : !k.hint[0]);
	}
	end();
	stop_daemon(pid);
}

/* A photo goes in pieces and is noted by its hash, while the rest of the work goes on; one
 * that cannot be read is said, and comes back with its key. */
static void test_photo(void **state)
{
	(void)state;
	const char *const *scripts[] = {
		SCRIPT(ANSWERS, RESULT("{\"photo\":7}"), RESULT("{\"at\":600000}"), RESULT("{\"at\":600001}"),
		       RESULT("{\"hash\":\"abc123\",\"size\":600001,\"type\":\"jpeg\"}"),
		       RESULT("{\"seq\":9}"))};
	char file[] = "/tmp/tally-sitting-XXXXXX", text[200];
	int fd = mkstemp(file);
	FILE *f = fdopen(fd, "w");
	for (int i = 0; i < 600001; i++)
		fputc(i % 251, f);
	fclose(f);
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	struct deed deed = {.action = ACTION_PHOTO, .about = "R1"};
	snprintf(deed.text, sizeof deed.text, "%s leaks at one end", file);
	sitting_do(&sitting, &deed);
	assert_true(until(heard, "\"method\":\"photo.begin\",\"params\":{\"size\":600001}"));
	assert_true(until(heard, "{\"photo\":7,\"at\":0,\"data\":\"AAECAwQF"));
	assert_true(until(heard, "{\"photo\":7,\"at\":491520,\"data\":\""));
	assert_true(until(heard, "\"method\":\"photo.end\",\"params\":{\"photo\":7}"));
	snprintf(text, sizeof text, "\"method\":\"note\",\"params\":{\"position\":\"R1\",\"text\":"
	         "\"leaks at one end\",\"photo\":\"abc123\",\"name\":\"%s\"}", strrchr(file, '/') + 1);
	assert_true(until(heard, text));
	for (int i = 0; i < 2000 && sitting.photo; i++) {
		uv_run(&loop, UV_RUN_NOWAIT);
		usleep(1000);
	}
	assert_null(sitting.photo);
	/* One at a time; the sitting ends with it on its way. */
	sitting_do(&sitting, &deed);
	sitting_do(&sitting, &deed);
	assert_true(until(told, "a photo is on its way"));
	end();
	stop_daemon(pid);
	unlink(file);
	pid = daemon_start((const char *const *[]){SCRIPT(ANSWERS)}, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	sitting_do(&sitting, &deed);
	assert_true(until(told, "No such file"));
	struct keys k = {.mode = KEYS_ACT};
	struct keys_guide guide = sitting_guide(&sitting);
	keys_press(&k, '@', &guide, &deed);
	assert_non_null(strstr(k.line.text, "leaks at one end"));
	assert_string_equal(k.about, "R1");
	end();
	stop_daemon(pid);
}

/* What stands before the power: cautions first, and Tab knows what waits for a look. */
static void test_before_power(void **state)
{
	(void)state;
	const char *const *scripts[] = {
		SCRIPT(ANSWERS, RESULT("{\"job\":\"j\",\"cautions\":[\"valve equipment kills\"],\"lifted\":["
		                       "{\"position\":\"R13\",\"reach\":\"lifted\",\"by\":\"entry\",\"seq\":3}],"
		                       "\"new\":[{\"position\":\"C7\",\"by\":\"fit\",\"seq\":4}],\"ready\":false}"),
		       RESULT("{\"seq\":9}"))};
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	sitting_do(&sitting, &(struct deed){.action = ACTION_RISE});
	for (int i = 0; i < 2000 && !sitting.scene->ready[0]; i++) {
		uv_run(&loop, UV_RUN_NOWAIT);
		usleep(1000);
	}
	assert_ptr_equal(strstr(sitting.scene->ready, "CAUTION: valve equipment kills\n"),
	                 sitting.scene->ready);
	assert_non_null(strstr(sitting.scene->ready, "R13: a leg is up"));
	assert_non_null(strstr(sitting.scene->ready, "C7: a new part is to be fitted"));
	struct keys k = {.mode = KEYS_TYPE, .asked = ACTION_FITTED};
	struct keys_guide guide = sitting_guide(&sitting);
	struct deed deed;
	keys_press(&k, KEY_IS_TAB, &guide, &deed);
	assert_string_equal(k.hint, "R13  C7");
	end();
	stop_daemon(pid);
}

static void until_listed(void)
{
	for (int i = 0; i < 2000 && !sitting.scene->ready[0]; i++) {
		uv_run(&loop, UV_RUN_NOWAIT);
		usleep(1000);
	}
}

/* The notes of the job, over two pages, the newest first; then the twins that are proposed. */
static void test_lists(void **state)
{
	(void)state;
	static const char *const wants[] = {"C7  leaks", "job  hums", "R12  burnt"};
	const char *const *scripts[] = {
		SCRIPT(ANSWERS,
		       RESULT("{\"notes\":[{\"record\":{\"seq\":1,\"text\":\"burnt\"},\"position\":\"R12\"},"
		              "{\"record\":{\"seq\":2,\"text\":\"hums\"}}],\"more\":true,\"next\":2}"),
		       RESULT("{\"notes\":[{\"record\":{\"seq\":3,\"text\":\"leaks\",\"photo\":{\"name\":"
		              "\"c7.jpg\"}},\"position\":\"C7\"}],\"more\":false}"),
		       RESULT("{\"pairs\":[{\"a\":{\"position\":\"R1\",\"shown\":\"101 kohm\"},\"b\":{\"position\":"
		              "\"R2\",\"shown\":\"102 kohm\"},\"difference\":0.01,\"alone\":true}]}"))};
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	sitting_do(&sitting, &(struct deed){.action = ACTION_NOTES});
	sitting_do(&sitting, &(struct deed){.action = ACTION_NOTES}); /* one is on its way */
	until_listed();
	const char *at = sitting.scene->ready;
	for (size_t i = 0; i < sizeof wants / sizeof wants[0]; i++) {
		at = strstr(at, wants[i]);
		assert_non_null(at);
	}
	assert_non_null(strstr(sitting.scene->ready, "[photo c7.jpg]"));
	sitting_do(&sitting, &(struct deed){.action = ACTION_TWINS});
	assert_string_equal(sitting.scene->ready, "");
	until_listed();
	assert_non_null(strstr(sitting.scene->ready, "101 kohm"));
	assert_non_null(strstr(sitting.scene->ready, "twins accept (the word line) makes twins of the 1"));
	assert_null(strchr(sitting.scene->ready, '\033'));
	end();
	stop_daemon(pid);
}

/* The next visit of a unit: the sheet of the earlier job over two pages, which unit it is, then
 * the job, and what is fitted is what the sheet says. */
static void test_start_again(void **state)
{
	(void)state;
	const char *const *scripts[] = {
		SCRIPT(ANSWERS,
		       RESULT("{\"rows\":[{\"position\":\"R1\",\"written\":{\"position\":\"R1\",\"nominal\":\"100k\"},"
		              "\"fit\":{\"written\":{\"kind\":\"metal-film\",\"nominal\":\"120k\"}}}],\"more\":true,"
		              "\"next\":7}"),
		       RESULT("{\"rows\":[{\"position\":\"V3\",\"written\":{\"position\":\"V3\"},\"extra\":{\"valve\":"
		              "\"A17\"},\"fit\":null}],\"more\":false}"),
		       RESULT("{\"job\":\"amp\",\"identity\":{\"serial\":\"1204\",\"complaint\":\"hums\"}}"),
		       RESULT("{\"seq\":9}"), RESULT("{\"seq\":10}"), RESULT("{\"seq\":12}"))};
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	sitting_do(&sitting, &(struct deed){.action = ACTION_LINE, .text = "start \"a year later\" again amp"});
	assert_true(until(heard, "\"method\":\"sheet.show\",\"params\":{\"job\":\"amp\"}"));
	assert_true(until(heard, "\"method\":\"sheet.show\",\"params\":{\"job\":\"amp\",\"after\":7}"));
	assert_true(until(heard, "\"method\":\"job.show\",\"params\":{\"job\":\"amp\"}"));
	assert_true(until(heard, "\"method\":\"job.start\",\"params\":{\"name\":\"a year later\",\"again\":\"amp\"}"));
	assert_true(until(heard, "\"method\":\"job.set\",\"params\":{\"fields\":{\"serial\":\"1204\"}}"));
	assert_true(until(heard, "\"method\":\"sheet.load\",\"params\":{\"name\":\"like job amp\",\"job\":\"a year later\","));
	assert_true(until(heard, "R1,120k,metal-film,\\nV3,,,A17\\n"));
	end();
	stop_daemon(pid);
}

/* Another unit of that kind: the sheet alone, which begins the job. */
static void test_start_like(void **state)
{
	(void)state;
	const char *const *scripts[] = {
		SCRIPT(ANSWERS,
		       RESULT("{\"rows\":[{\"position\":\"V3\",\"written\":{\"position\":\"V3\",\"nominal\":\"2 V\"},"
		              "\"extra\":{\"valve\":\"A17\"},\"fit\":null}],\"more\":false}"),
		       RESULT("{\"seq\":12}"))};
	pid_t pid = daemon_start(scripts, 1);
	begin();
	assert_true(until(told, "11:R12:"));
	sitting_do(&sitting, &(struct deed){.action = ACTION_LINE, .text = "start x like amp"});
	assert_true(until(heard, "\"method\":\"sheet.load\",\"params\":{\"name\":\"like job amp\",\"job\":\"x\","));
	assert_true(until(heard, "V3,2 V"));
	assert_null(strstr(heard(), "job.start"));
	assert_null(strstr(heard(), "A17"));
	end();
	stop_daemon(pid);
}

/* ... which is not begun where the earlier one is not found, or has no sheet. */
static void test_start_again_refused(void **state)
{
	(void)state;
	static const char *const answers[] = {FAULT("5", "there is no job"), RESULT("{\"rows\":[],\"more\":false}")};
	static const char *const says[] = {"there is no job", "no sheet that could be taken over"};
	for (size_t i = 0; i < 2; i++) {
		const char *const *scripts[] = {SCRIPT(ANSWERS, answers[i], STATUS, STATUS)};
		pid_t pid = daemon_start(scripts, 1);
		begin();
		assert_true(until(told, "11:R12:"));
		sitting_do(&sitting, &(struct deed){.action = ACTION_LINE, .text = "start x again amp"});
		assert_true(until(told, says[i]));
		assert_null(strstr(heard(), "job.start"));
		/* It comes back with its key. */
		assert_string_equal(sitting.refused.text, "start x again amp");
		end();
		stop_daemon(pid);
	}
}

/* What is refused comes back with its key, about what it was about; what cannot be
 * understood, and what there is no daemon for, never leaves the line. */
static void test_typed_again(void **state)
{
	(void)state;
	const char *const *scripts[] = {SCRIPT(ANSWERS, FAULT("2", "5 ohm? no"), STATUS, "!close")};
	pid_t pid = daemon_start(scripts, 1);
	struct keys k = {.mode = KEYS_ACT};
	struct deed deed;
	begin();
	assert_true(until(told, "11:R12:"));
	struct keys_guide guide = sitting_guide(&sitting);
	keys_press(&k, 'e', &guide, &deed);
	assert_string_equal(k.line.text, "R12 ");
	for (const char *c = "5 from tester"; *c; c++)
		keys_press(&k, *c, &guide, &deed);
	assert_true(keys_press(&k, KEY_IS_ENTER, &guide, &deed));
	sitting_do(&sitting, &deed);
	assert_true(until(heard, "\"method\":\"enter\",\"params\":{\"position\":\"R12\",\"value\":\"5\","
	                         "\"from\":\"tester\"}"));
	assert_true(until(told, "4:-:5 ohm? no"));
	keys_press(&k, 'e', &guide, &deed);
	assert_string_equal(k.line.text, "R12 5 from tester");
	assert_non_null(strstr(k.hint, "not done"));
	/* The daemon goes in the middle of it. */
	assert_true(until(told, "7:-:"));
	assert_false(keys_press(&k, KEY_IS_ENTER, &guide, &deed));
	assert_non_null(strstr(k.hint, "no daemon"));
	assert_string_equal(k.line.text, "R12 5 from tester");
	end();
	stop_daemon(pid);
}

int main(void)
{
	signal(SIGPIPE, SIG_IGN); /* as main does */
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_reconnects), cmocka_unit_test(test_deeds),
		cmocka_unit_test(test_older_daemon), cmocka_unit_test(test_names),
		cmocka_unit_test(test_refusals),   cmocka_unit_test(test_bad_daemons),
		cmocka_unit_test(test_walk_round), cmocka_unit_test(test_complete),
		cmocka_unit_test(test_typed_again), cmocka_unit_test(test_photo),
		cmocka_unit_test(test_before_power),
		cmocka_unit_test(test_lists),
		cmocka_unit_test(test_start_again), cmocka_unit_test(test_start_again_refused),
		cmocka_unit_test(test_start_like),
		cmocka_unit_test(test_which_meter),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
