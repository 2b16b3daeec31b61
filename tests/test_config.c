/* SPDX-License-Identifier: MIT */
/*
 * daemon/config: what is taken, and every refusal with its exact place.  The form is
 * the project's own (the interfaces' section on configuration); no outside source.
 */
#include "tests/check.h"

#include "daemon/config.h"

#include <stdlib.h>
#include <unistd.h>

static struct config config;

static bool parse(const char *text, bool replay, struct fault *why)
{
	memset(why, 0, sizeof *why);
	return config_parse("bench.conf", text, strlen(text), replay, &config, why);
}

static void taken(const char *text)
{
	struct fault why;
	if (!parse(text, false, &why)) {
		char said[700];
		fault_text(&why, said, sizeof said);
		fail_msg("refused: %s", said);
	}
}

/* ---- what is taken ---- */

static void an_example_is_read(void **state)
{
	(void)state;
	taken("[bench]\n"
	      "name   = north\n"
	      "log    = /var/lib/tally/north-1.db\n"
	      "socket = /run/tally/tally.sock\n"
	      "\n"
	      "[meter red]\n"
	      "port     = /dev/tally/red         ; a path, or usb:VID:PID[:SERIAL]\n"
	      "dialect  = ascii-unit\n"
	      "accuracy ohm   = 0.5% + 2         ; percent of reading + counts\n"
	      "accuracy farad = 1.0% + 3\n"
	      "accuracy   farad  below 10n = 2.0% + 10\n"
	      "accuracy volt-ac = 3% + 10\n"
	      "accuracy volt-ac below 2 kHz = 1% + 5\n"
	      "accuracy volt-ac below 600mV below 400 Hz = 0.5% + 5\n"
	      "input volt-dc  = 10M\n");
	assert_string_equal(config.file, "bench.conf");
	assert_string_equal(config.name, "north");
	assert_string_equal(config.log, "/var/lib/tally/north-1.db");
	assert_string_equal(config.socket, "/run/tally/tally.sock");
	assert_int_equal(config.meters, 1);
	const struct config_meter *m = config_meter(&config, "red");
	assert_non_null(m);
	assert_null(config_meter(&config, "blue"));
	assert_int_equal(m->place.form, PLACE_PATH);
	assert_string_equal(m->place.path, "/dev/tally/red");
	assert_string_equal(m->dialect->name, "ascii-unit");
	assert_memory_equal(&m->serial, &m->dialect->line, sizeof m->serial);
	assert_int_equal(m->function, FUNCTION_NONE);
	assert_int_equal(m->conversion, 1);
	assert_near(m->use.input[FUNCTION_VOLT_DC], 10e6, 0);
	assert_near(m->use.input[FUNCTION_VOLT_AC], 0, 0);
	assert_int_equal(m->use.isolated, ANSWER_UNKNOWN);
	assert_int_equal(m->use.ac, AC_UNKNOWN);

	const struct accuracy_line *a = accuracy_find(&m->accuracy, FUNCTION_FARAD, 4.7e-9);
	assert_non_null(a);
	assert_near(a->percent, 2.0, 0);
	assert_near(a->counts, 10, 0);
	a = accuracy_find(&m->accuracy, FUNCTION_FARAD, 47e-9);
	assert_near(a->percent, 1.0, 0);
	assert_near(accuracy_find(&m->accuracy, FUNCTION_OHM, 1)->counts, 2, 0);
	assert_null(accuracy_find(&m->accuracy, FUNCTION_VOLT_DC, 1));
	assert_near(accuracy_find(&m->accuracy, FUNCTION_VOLT_AC, 0.1)->percent, 3, 0);
	assert_near(accuracy_find_at(&m->accuracy, FUNCTION_VOLT_AC, 0.1, 50)->percent, 0.5, 0);
	assert_near(accuracy_find_at(&m->accuracy, FUNCTION_VOLT_AC, 6, 50)->percent, 1, 0);
	assert_near(accuracy_find_at(&m->accuracy, FUNCTION_VOLT_AC, 6, 1e4)->percent, 3, 0);
}

static void an_asked_meter_is_read(void **state)
{
	struct decimal digit;
	(void)state;
	taken("[meter bench]\n"
	      "dialect = scpi\n"
	      "port = usb:1209:0001:A1\n"
	      "serial = 19200 7E2\n"
	      "flow = hardware\n"
	      "dtr = on\n"
	      "quiet = 1500\n"
	      "conversion = 2\n"
	      "setup = *CLS | CONF:RES 1E6 | SENS:FUNC \"RES\"\n"
	      "query = FETC?\n"
	      "digit = 0.01\n"
	      "digit farad = 1p\n"
	      "pace = 5/s\n"
	      "timeout = 750 ms\n"
	      "identify = no\n"
	      "isolated = yes\n"
	      "ac = average\n"
	      "bandwidth = 20k\n"
	      "test farad = 1 kHz, bridge\n");
	const struct config_meter *m = config_meter(&config, "bench");
	assert_int_equal(m->place.form, PLACE_USB);
	assert_int_equal(m->serial.baud, 19200);
	assert_int_equal(m->serial.bits, 7);
	assert_int_equal(m->serial.parity, PARITY_EVEN);
	assert_int_equal(m->serial.stop, 2);
	assert_int_equal(m->serial.flow, FLOW_HARDWARE);
	assert_int_equal(m->serial.dtr, WIRE_ON);
	assert_int_equal(m->serial.rts, m->dialect->line.rts);
	assert_int_equal(m->serial.quiet_ms, 1500);
	assert_int_equal(m->conversion, 2);
	assert_int_equal(m->setups, 3);
	assert_string_equal(m->setup[0], "*CLS");
	assert_string_equal(m->setup[1], "CONF:RES 1E6");
	assert_string_equal(m->setup[2], "SENS:FUNC \"RES\"");
	assert_string_equal(m->query, "FETC?");
	assert_int_equal(m->function, FUNCTION_OHM); /* the set-up says so */
	assert_true(config_digit(m, FUNCTION_OHM, &digit));
	assert_int_equal(digit.n, 1);
	assert_int_equal(digit.e, -2);
	assert_true(config_digit(m, FUNCTION_FARAD, &digit));
	assert_int_equal(digit.e, -12);
	assert_int_equal(m->pace_us, 200000);
	assert_int_equal(m->timeout_us, 750000);
	assert_false(m->identify);
	assert_int_equal(m->use.isolated, ANSWER_YES);
	assert_int_equal(m->use.ac, AC_AVERAGE);
	assert_near(m->use.bandwidth, 20e3, 0);
	assert_string_equal(m->use.test[FUNCTION_FARAD], "1 kHz, bridge");
}

/* As fast as it answers, but for FETC?, whose answers are no new measurements. */
static void the_usual_pace(void **state)
{
	static const struct {
		const char *lines;
		int64_t us;
	} row[] = {
		{ "", 0 },
		{ "query = MEAS:VOLT:DC?\n", 0 },
		{ "query = FETC?\n", 100000 },
		{ "query = :FETCh:RES?\n", 100000 },
		{ "query = FETC?\npace = 0\n", 0 },
		{ "pace = 5/s\nquery = fetch?\n", 200000 },
		{ "pace = 0.02\n", 20000 },
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		char text[300];
		note_row("%s", row[i].lines);
		snprintf(text, sizeof text, "[meter m]\nport=/dev/m\ndialect=scpi\n%s", row[i].lines);
		taken(text);
		assert_int_equal(config.meter[0].pace_us, row[i].us);
	}
}

static void the_function_of_an_asked_meter(void **state)
{
	static const struct {
		const char *lines;
		enum function f;
	} row[] = {
		{ "function = farad\n", FUNCTION_FARAD },
		{ "query = MEAS:RES?\n", FUNCTION_OHM },
		{ "setup = CONF:VOLT:AC\n", FUNCTION_VOLT_AC },
		{ "setup = CONF:RES | CONF:VOLT:DC\n", FUNCTION_VOLT_DC },
		{ "function = ohm\nsetup = CONF:RES\n", FUNCTION_OHM },
		{ "", FUNCTION_NONE }, /* the meter is asked */
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		char text[300];
		note_row("%s", row[i].lines);
		snprintf(text, sizeof text, "[meter m]\nport=/dev/m\ndialect=scpi\n%s", row[i].lines);
		taken(text);
		assert_int_equal(config.meter[0].function, row[i].f);
		assert_true(config.meter[0].identify);
	}
	assert_string_equal(config.meter[0].query, config.meter[0].dialect->query);
}

static void defaults_hold(void **state)
{
	(void)state;
	taken("# nothing\n");
	assert_int_equal(config.meters, 0);
	assert_true(config.name[0] != '\0');
	assert_string_equal(config.socket, CONFIG_SOCKET);
	assert_non_null(strstr(config.log, "/var/lib/tally/"));
#define X(field, name, standard, low, high) assert_near(config.limits.field, standard, 0);
	SETTLE_LIMIT_LIST(X)
#undef X
	taken("[bench]\nname = south-2\n");
	assert_string_equal(config.log, "/var/lib/tally/south-2.db");
	taken("[bench]\nlog = x.db\nname = south\n");
	assert_string_equal(config.log, "x.db");
	config_standard(&config);
	assert_int_equal(config.meters, 0);
	struct fault why;
	assert_true(config_load(NULL, false, &config, &why) || why.file[0]);
}

static void thresholds_are_set(void **state)
{
	(void)state;
	taken("[bench]\narm seconds = 1.5\nlift seconds = 250 ms\nsettle  conversions = 6\n"
	      "open farad = 0.1n\n");
	assert_near(config.limits.arm_seconds, 1.5, 0);
	assert_near(config.limits.lift_seconds, 0.25, 1e-12);
	assert_near(config.limits.settle_conversions, 6, 0);
	assert_near(config.limits.residual_farad, 0.1e-9, 1e-20);
}

/* Every threshold is a key: its default is taken, and what lies outside refused. */
static void every_threshold_has_its_bounds(void **state)
{
	static const struct {
		const char *name;
		double standard, low, high;
	} row[] = {
#define X(field, name, standard, low, high) { name, standard, low, high },
		SETTLE_LIMIT_LIST(X)
#undef X
	};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		const double value[] = { row[i].standard, row[i].low, row[i].high,
			                     row[i].high * 1.01 + 1, -1 };
		for (size_t k = 0; k < sizeof value / sizeof value[0]; k++) {
			char text[200];
			struct fault why;
			snprintf(text, sizeof text, "[bench]\n%s = %.12g\n", row[i].name, value[k]);
			if (parse(text, false, &why) != (k < 3))
				fail_msg("%s: %s", text, why.text);
			if (k >= 3) {
				assert_int_equal(why.line, 2);
				assert_int_equal(why.column, (int)strlen(row[i].name) + 4);
			}
		}
	}
}

static void many_meters_fit(void **state)
{
	static char text[CONFIG_METERS_MAX * 80 + 200];
	struct fault why;
	size_t len = 0;
	(void)state;
	for (int i = 0; i <= CONFIG_METERS_MAX; i++) {
		len += (size_t)snprintf(text + len, sizeof text - len,
		                        "[meter m%d]\nport = /dev/m%d\ndialect = ascii-unit\n", i, i);
		if (i < CONFIG_METERS_MAX) {
			taken(text);
			assert_int_equal(config.meters, i + 1);
		}
	}
	assert_false(parse(text, false, &why));
	assert_int_equal(why.line, CONFIG_METERS_MAX * 3 + 1);
	assert_int_equal(why.column, 2);
}

static void a_replay_needs_no_port(void **state)
{
	struct fault why;
	(void)state;
	assert_true(parse("[meter red]\ndialect = ascii-unit\n", true, &why));
	assert_false(config.meter[0].has_place);
	/* stand-ins of one port do no harm where none is opened */
	assert_true(parse("[meter a]\nport=/dev/null\ndialect=ascii-unit\n"
	                  "[meter b]\nport=/dev/null\ndialect=ascii-unit\n", true, &why));
	assert_false(parse("[meter red]\n", true, &why));
}

/* ---- what is refused ---- */

#define RED "[meter red]\nport = /dev/red\ndialect = ascii-unit\n"
#define ASK "[meter ask]\nport = /dev/ask\ndialect = scpi\nfunction = ohm\n"

static void refusals_name_the_place(void **state)
{
	static const struct {
		const char *text;
		int line, column;
		const char *words; /* in the message: what was expected */
	} row[] = {
		/* sections and keys */
		{ "[meters red]\n", 1, 2, "[bench] or [meter NAME]" },
		{ "[bench]\nname = a\n[ Bench ]\n", 3, 3, "[bench] or [meter NAME]" },
		{ "[bench]\n  volume = 3\n", 2, 3, "unknown key `volume` of the bench" },
		{ RED "colour = red\n", 4, 1, "unknown key `colour` of a meter" },
		{ RED "accuracyohm = 1\n", 4, 1, "unknown key" },
		{ "[meter]\nport = /dev/x\n", 1, 2, "[meter NAME]" },
		{ "[meter -red]\n", 1, 8, "no name for a meter" },
		{ "[meter a b]\n", 1, 8, "no name for a meter" },
		{ "[meter abcdefghijklmnopqrstuvwxyz0123456]\n", 1, 8, "up to 32" },
		/* given twice */
		{ RED "class = handheld\n", 4, 9, "expected handheld-2000, handheld-6000, bench-50000, lcr" },
		{ RED "\n[meter red]\n", 5, 2, "already" },
		{ RED "port = /dev/blue\n", 4, 1, "already in line 2" },
		{ RED "accuracy farad below 10n = 1%\naccuracy farad below 0.01u = 2%\n", 5, 1,
		  "already" },
		{ RED "accuracy ohm = 1%\naccuracy  ohm = 2%\n", 5, 1, "already" },
		{ RED "accuracy volt-ac below 1 kHz = 1%\naccuracy volt-ac below 1000 Hz = 2%\n", 5, 1,
		  "already" },
		{ RED "accuracy volt-ac below 1 kHz below 2 kHz = 1%\n", 4, 36, "second bound" },
		{ RED "accuracy volt-ac below 1 kHz above 2 V = 1%\n", 4, 0, "" },
		{ RED "[meter b]\ndialect=ascii-unit\nport = /dev/red\n", 6, 8, "already to meter red" },
		/* missing */
		{ "[meter red]\ndialect = ascii-unit\n", 1, 2, "has no port" },
		{ "[bench]\n\n  [ meter red ]\nport = /dev/red\n", 3, 5, "has no dialect" },
		/* [bench] */
		{ "[bench]\nname = north bench\n", 2, 8, "no name" },
		{ "[bench]\nname =\n", 2, 7, "no name" },
		{ "[bench]\nlog =\n", 2, 6, "path of the log" },
		{ "[bench]\nsocket = /run/"
		  "0123456789012345678901234567890123456789012345678901234567890123456789"
		  "0123456789012345678901234567890123456789\n", 2, 10 + 107, "107 bytes" },
		{ "[bench]\narm seconds = soon\n", 2, 15, "seconds from 0 to 60" },
		{ "[bench]\narm seconds = 61\n", 2, 15, "seconds from 0 to 60" },
		{ "[bench]\nsettle conversions = 4.5\n", 2, 22, "whole number" },
		{ "[bench]\nsettle conversions = 1\n", 2, 22, "from 2 to 100" },
		/* a meter's values */
		{ "[meter red]\nport = ttyUSB0\n", 2, 8, "expected a path" },
		{ "[meter red]\nport = usb:12g4:0001\n", 2, 12, "usb:VID:PID" },
		{ "[meter red]\ndialect = ascii\n", 2, 11, "ascii-unit" },
		{ "[meter red]\ndialect = ascii\n", 2, 11, "scpi" },
		{ RED "serial = fast\n", 4, 10, "9600 8N1" },
		{ RED "flow = both\n", 4, 8, "none, hardware or software" },
		{ RED "dtr = yes\n", 4, 7, "on, off or leave" },
		{ RED "quiet = 1e3\n", 4, 9, "whole number from 0 to 60000" },
		{ RED "flow = hardware\nrts = on\n", 5, 1, "flow control" },
		{ RED "conversion = 0\n", 4, 14, "from 1 to 100" },
		{ RED "function = resistance\n", 4, 12, "volt-dc" },
		{ RED "isolated = maybe\n", 4, 12, "yes or no" },
		{ RED "ac = peak\n", 4, 6, "rms or average" },
		{ RED "bandwidth = 1 V\n", 4, 0, "bandwidth" },
		{ RED "bandwidth = 1\n", 4, 13, "from 10" },
		{ RED "input = 10M\n", 4, 1, "expected a function" },
		{ RED "input volts = 10M\n", 4, 7, "no function" },
		{ RED "input volt-dc = 0\n", 4, 17, "ohms from" },
		{ RED "input volt-dc now = 10M\n", 4, 15, "no more" },
		{ RED "test farad =\n", 4, 13, "nothing stands here" },
		{ RED "accuracy = 1%\n", 4, 1, "expected a function" },
		{ RED "accuracy none = 1%\n", 4, 10, "no function" },
		{ RED "accuracy farad above 10n = 1%\n", 4, 16, "below VALUE" },
		{ RED "accuracy farad below 10V = 1%\n", 4, 0, "" },
		{ RED "accuracy ohm = 101%\n", 4, 16, "between 0 and 100" },
		{ RED "accuracy ohm = good\n", 4, 16, "accuracy was expected" },
		/* nothing is sent to a meter that is listened to */
		{ RED "query = READ?\n", 4, 1, "listened to" },
		{ RED "pace = 1\n", 4, 1, "listened to" },
		{ "[meter red]\nidentify = yes\nport = /dev/red\ndialect = ascii-unit\n", 2, 1,
		  "listened to" },
		/* a meter that is asked */
		{ ASK "pace = -1\n", 5, 8, "seconds from 0 to 60" },
		{ ASK "pace = 20000/s\n", 5, 8, "10000/s" },
		{ ASK "timeout = 0.01\n", 5, 11, "seconds from 0.05 to 60" },
		{ ASK "timeout = 3 min\n", 5, 11, "seconds" },
		{ ASK "setup = *CLS |  | CONF:RES\n", 5, 16, "command of 1 to" },
		{ ASK "setup = *CLS |\n", 5, 9, "between two commands" },
		{ ASK "query = READ?\xc3\xa4\n", 5, 14, "printable" },
		{ ASK "query = MEAS:VOLT:DC?\n", 5, 9, "measures volt-dc here, but `function` says ohm" },
		{ ASK "digit = 0\n", 5, 9, "" },
		{ ASK "digit farad = 1 ohm\n", 5, 0, "" },
	};
	int wrong = 0;
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
		struct fault why;
		char said[700];
		if (parse(row[i].text, false, &why))
			fail_msg("taken, though wrong:\n%s", row[i].text);
		fault_text(&why, said, sizeof said);
		if (strcmp(why.file, "bench.conf") != 0 || why.line != row[i].line ||
		    (row[i].column && why.column != row[i].column) || why.column < 1 ||
		    !strstr(why.text, row[i].words)) {
			print_error("%s\nsaid: %s\nexpected line %d column %d: %s\n", row[i].text, said,
			            row[i].line, row[i].column, row[i].words);
			wrong++;
		}
	}
	assert_int_equal(wrong, 0);
}

/* ---- every fault, and not the first alone ---- */

struct told {
	char text[2000];
	int first_line, first_column;
};

static void keep_told(void *arg, const struct fault *why)
{
	struct told *t = arg;
	size_t n = strlen(t->text);
	if (!n) {
		t->first_line = why->line;
		t->first_column = why->column;
	}
	snprintf(t->text + n, sizeof t->text - n, "%d:%d ", why->line, why->column);
}

static void every_fault_is_told(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text, *places;
	} rows[] = {
	    {"a good one has none", RED, ""},
	    {"keys of the bench", "[bench]\nname = a b\nfrob = 1\narm seconds = x\n", "2:8 3:1 4:15 "},
	    {"in two meters", "[meter red]\nport = usb:12\ndialect = ascii-unit\n"
	     "[meter blue]\nport = /dev/b\ndialect = none\naccuracy ohm = x\n", "2:12 6:11 7:16 "},
	    {"what a meter lacks for a fault is none",
	     "[meter red]\ndialect = ascii-unit\nport /dev/x\n", "3:1 "},
	    {"what it lacks otherwise, at its name; the next one is read",
	     "[meter red]\ndialect = ascii-unit\n[meter blue]\nfoo = 1\n", "1:2 4:1 "},
	    {"the last one, too", "[meter red]\ndialect = ascii-unit\nport=/dev/a\n[meter blue]\n"
	     "port = /dev/b\n", "4:2 "},
	    {"a refused section is passed over, with all in it",
	     "[metre red]\nport = usb:12\nfoo\n[meter a b]\nport = x\n[bench]\nfoo = 1\n", "1:2 4:8 7:1 "},
	    {"a section twice", RED "[meter red]\nport = usb:12\n[bench]\nfoo = 1\n", "4:2 7:1 "},
	    {"a port twice, found at the end", RED "[meter blue]\ndialect = ascii-unit\n"
	     "port = /dev/red\n", "6:8 "},
	    {"not text", "[bench]\nname = \xff\nlog =\n", "2:8 3:6 "},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char name[] = "/tmp/test_config.XXXXXX";
		struct told t = {.text = ""};
		struct fault why = {.text = ""};
		int fd = mkstemp(name), wanted = 0;
		assert_true(fd >= 0);
		assert_int_equal(write(fd, rows[i].text, strlen(rows[i].text)),
		                 (ssize_t)strlen(rows[i].text));
		close(fd);
		for (const char *c = rows[i].places; *c; c++)
			wanted += *c == ' ';
		int n = config_faults(name, false, &config, keep_told, &t);
		if (n != wanted || strcmp(t.text, rows[i].places) != 0) {
			note_row("%s: %d, %s", rows[i].legend, n, t.text);
			fail();
		}
		/* The first one told is the one that refuses it, and there is one where it is refused. */
		bool good = config_load(name, false, &config, &why);
		assert_int_equal(good, n == 0);
		if (!good) {
			assert_int_equal(why.line, t.first_line);
			assert_int_equal(why.column, t.first_column);
		}
		unlink(name);
	}
	struct told t = {.text = ""};
	assert_int_equal(config_faults("/nonexistent/bench.conf", false, &config, keep_told, &t), 0);
}

static void files_that_cannot_be_read(void **state)
{
	char name[] = "/tmp/test_config.XXXXXX";
	struct fault why;
	(void)state;
	assert_false(config_load("/nonexistent/bench.conf", false, &config, &why));
	assert_string_equal(why.file, "/nonexistent/bench.conf");
	assert_non_null(strstr(why.text, "No such file"));
	assert_false(config_load("/tmp", false, &config, &why));
	assert_non_null(strstr(why.text, "cannot be read"));

	int fd = mkstemp(name);
	assert_true(fd >= 0);
	assert_int_equal(write(fd, RED, strlen(RED)), (ssize_t)strlen(RED));
	assert_true(config_load(name, false, &config, &why));
	assert_int_equal(config.meters, 1);
	assert_int_equal(ftruncate(fd, CONFIG_FILE_MAX + 1), 0);
	assert_false(config_load(name, false, &config, &why));
	assert_non_null(strstr(why.text, "longer than"));
	close(fd);
	unlink(name);
}

/* ---- a folder of dialect files ---- */

static char folder[] = "/tmp/test_config.XXXXXX";

static const char *in_folder(const char *name, const char *text)
{
	static char path[128];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
	return path;
}

static void refused_load(const char *file, const char *where, int line, const char *words)
{
	struct fault why;
	memset(&why, 0, sizeof why);
	bool good = config_load(file, false, &config, &why);
	if (good || !strstr(why.file, where) || why.line != line || !strstr(why.text, words))
		print_error("%s:%d: %s\n", why.file, why.line, why.text);
	assert_false(good);
	assert_non_null(strstr(why.file, where));
	assert_int_equal(why.line, line);
	assert_non_null(strstr(why.text, words));
}

#define MINE "[dialect]\nname = mine\nreads = scpi\nsetup = *CLS | CONF:CAP\nserial = 1200 7E2\n" \
             "function = farad\n[samples]\nframe 1 = 1E-9\nmeans 1 = farad 1e-9\n"
#define STAND_IN "[dialect]\nname = ascii-unit\nreads = ascii-number\nfunction = ohm\n" \
                 "[samples]\nframe 1 = 12\nmeans 1 = ohm 12\n"

static void a_folder_of_dialects(void **state)
{
	struct fault why;
	char bench[256], conf[160];
	(void)state;
	assert_non_null(mkdtemp(folder));
	/* [meter] before [bench]: the folder is known all the same. */
	snprintf(bench, sizeof bench, "[meter red]\nport = /dev/red\ndialect = mine\n"
	         "[meter blue]\nport = /dev/blue\ndialect = ascii-unit\n[bench]\ndialects = %s\n", folder);
	snprintf(conf, sizeof conf, "%s", in_folder("bench.conf", bench));
	refused_load(conf, "bench.conf", 3, "`mine` is no dialect: expected one of ascii-unit, "
	             "ascii-number, ask-comma, columns-14, scpi");
	in_folder("mine.ini", MINE);
	in_folder("unit.ini", STAND_IN);
	in_folder("not-one.txt", "rubbish");
	in_folder(".hidden.ini", "rubbish");
	if (!config_load(conf, false, &config, &why))
		fail_msg("%s:%d:%d: %s", why.file, why.line, why.column, why.text);
	const struct config_meter *m = config_meter(&config, "red");
	assert_string_equal(m->dialect->name, "mine");
	assert_true(m->dialect->asked);
	assert_int_equal(m->serial.baud, 1200);
	assert_int_equal(m->serial.stop, 2);
	assert_int_equal(m->function, FUNCTION_FARAD);
	assert_int_equal(m->setups, 2);
	assert_string_equal(m->setup[0], "*CLS");
	assert_string_equal(m->setup[1], "CONF:CAP");
	assert_string_equal(m->query, "READ?");
	/* A file stands in the place of the shipped dialect of its name. */
	m = config_meter(&config, "blue");
	assert_string_equal(m->dialect->name, "ascii-unit");
	assert_ptr_not_equal(m->dialect, dialect_find("ascii-unit", 10));
	assert_int_equal(m->function, FUNCTION_OHM);
	config_free(&config);

	/* Each name once in the list, the files' first. */
	in_folder("bench.conf", "[bench]\ndialects =\n");
	refused_load(conf, "bench.conf", 2, "folder of dialect files");
	in_folder("bench.conf", "[bench]\ndialects = /nonexistent\n");
	refused_load(conf, "/nonexistent", 0, "cannot be read");
	snprintf(bench, sizeof bench, "[bench]\ndialects = %s\n[meter red]\ndialect = nix\n", folder);
	in_folder("bench.conf", bench);
	refused_load(conf, "bench.conf", 4, "`nix` is no dialect: expected one of mine, ascii-unit, "
	             "ascii-number, ask-comma, columns-14, scpi");
	/* Two files of one dialect, a file with a fault: refused whole, whoever uses it. */
	in_folder("other.ini", MINE);
	refused_load(conf, "other.ini", 1, "a dialect mine already");
	in_folder("other.ini", "[dialect]\nname = other\nreads = columns\n[columns]\nsize = x\n");
	refused_load(conf, "other.ini", 5, "number of bytes");
	static const char *const names[] = {"bench.conf", "mine.ini", "unit.ini", "not-one.txt",
	                                    ".hidden.ini", "other.ini"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		snprintf(conf, sizeof conf, "%s/%s", folder, names[i]);
		unlink(conf);
	}
	assert_int_equal(rmdir(folder), 0);
}

/* Bytes from outside never end the program: every cut of a good file, and every
 * byte of it spoilt, is taken or refused with a place. */
static void damaged_files_are_refused_with_a_place(void **state)
{
	static const char good[] = "[bench]\nname = north\narm seconds = 1\n" ASK
	                           "setup = *CLS | CONF:RES\ndigit farad = 1p\n"
	                           "accuracy farad below 10n = 2% + 10 ; small\n";
	struct fault why;
	char text[sizeof good];
	(void)state;
	taken(good);
	for (size_t cut = 0; cut < sizeof good; cut++)
		if (!config_parse("f", good, cut, false, &config, &why))
			assert_true(why.line >= 1 && why.text[0]);
	for (size_t at = 0; at < sizeof good - 1; at++)
		for (int byte = 0; byte < 256; byte += 5) {
			memcpy(text, good, sizeof good);
			text[at] = (char)byte;
			if (!config_parse("f", text, sizeof good - 1, false, &config, &why))
				assert_true(why.line >= 1 && why.text[0]);
		}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(an_example_is_read),
		cmocka_unit_test(an_asked_meter_is_read),
		cmocka_unit_test(the_usual_pace),
		cmocka_unit_test(the_function_of_an_asked_meter),
		cmocka_unit_test(defaults_hold),
		cmocka_unit_test(thresholds_are_set),
		cmocka_unit_test(every_threshold_has_its_bounds),
		cmocka_unit_test(many_meters_fit),
		cmocka_unit_test(a_replay_needs_no_port),
		cmocka_unit_test(refusals_name_the_place),
		cmocka_unit_test(every_fault_is_told),
		cmocka_unit_test(files_that_cannot_be_read),
		cmocka_unit_test(a_folder_of_dialects),
		cmocka_unit_test(damaged_files_are_refused_with_a_place),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
