/* SPDX-License-Identifier: MIT */
/*
 * The verbs: what each asks of the daemon, what comes of the answer, pages and sheets.
 */
#include "tests/client_script.h"

/* ---- what is asked, and what comes of the answer ---- */

static const struct verb_row {
	const char *argv[ARGV_MOST];
	const char *asked;  /* in what the daemon heard */
	const char *answer; /* to it */
	int status;
	const char *out;    /* all of standard output; NULL: not looked at */
} verb_rows[] = {
	{{"status", "--json"}, "\"method\":\"status\",\"params\":{\"service\":true}}", RESULT("{\"job\" : null}"), 0,
	 "{\"job\" : null}\n"},
	{{"meters", "--json"}, "\"method\":\"meters\"", RESULT("{\"meters\":[{\"name\": \"a\"},{}]}"),
	 0, "{\"name\": \"a\"}\n{}\n"},
	{{"job", "start", "amp 1"}, "\"params\":{\"name\":\"amp 1\"}", RESULT("{\"seq\":7}"), 0,
	 "started job amp 1: record 7\n"},
	{{"job", "start", "x", "--json"}, "job.start", RESULT("{\"seq\":7}"), 0, "{\"seq\":7}\n"},
	{{"job", "close"}, "\"method\":\"job.close\"}", RESULT("{\"seq\":8}"), 0,
	 "closed the job: record 8\n"},
	{{"job", "show", "amp"}, "\"params\":{\"job\":\"amp\"}", RESULT("{\"job\":\"amp\"}"), 0, NULL},
	{{"job", "list", "--json"}, "job.list", RESULT("{\"jobs\":[{\"job\":\"a\"},{\"job\":\"b\"}],"
	 "\"more\":false}"), 0, "{\"job\":\"a\"}\n{\"job\":\"b\"}\n"},
	{{"sheet", "set", "R1", "nominal=4k7", "note=a=b", "max="},
	 "{\"position\":\"R1\",\"fields\":{\"nominal\":\"4k7\",\"note\":\"a=b\",\"max\":\"\"}}",
	 RESULT("{\"seq\":9}"), 0, "set R1: record 9\n"},
	{{"sheet", "add", "R1-R3 1k", "C1 10u"}, "{\"text\":\"R1-R3 1k\\nC1 10u\"}",
	 RESULT("{\"seq\":9}"), 0, "added to the sheet: record 9\n"},
	{{"sheet", "add", "R12", "470k", "cc", "anode", "V3"}, "{\"text\":\"R12 470k cc anode V3\"}",
	 RESULT("{\"seq\":9}"), 0, NULL},
	{{"sheet", "add", "R12", "1k", "note=a b"}, "{\"text\":\"R12 1k note=\\\"a b\\\"\"}",
	 RESULT("{\"seq\":9}"), 0, NULL},
	{{"sheet", "add", "R1", "R2", "L/R3-R5"}, "{\"text\":\"R1\\nR2\\nL/R3-R5\"}",
	 RESULT("{\"seq\":9}"), 0, NULL},
	{{"sheet", "mirror", "R1-R9", "+100"}, "{\"range\":\"R1-R9\",\"by\":100}",
	 RESULT("{\"seq\":9}"), 0, "mirrored: record 9\n"},
	{{"sheet", "show", "--job", "amp", "--json"}, "{\"job\":\"amp\"}",
	 RESULT("{\"job\":\"amp\",\"rows\":[" ODD2 "],\"more\":false}"), 0, ODD2 "\n"},
	{{"at", "R12", "esr", "--meter", "red"},
	 "{\"position\":\"R12\",\"quantity\":\"esr\",\"meter\":\"red\"}",
	 RESULT("{\"chosen\":{\"position\":\"R12\"},\"meter\":\"red\",\"position\":\"R12\"}"), 0, NULL},
	{{"at"}, "\"params\":{}", RESULT("{\"chosen\":null}"), 0,
	 "position     none is chosen: `tally at POSITION` does\n"},
	{{"reach", "lifted"}, "{\"reach\":\"lifted\"}", RESULT("{\"reach\":\"lifted\"}"), 0,
	 "reach        lifted\n"},
	{{"reach"}, "\"method\":\"status\"", RESULT("{\"reach\":\"loose\"}"), 0,
	 "reach        loose\n"},
	{{"condition", "--json"}, "\"method\":\"status\"", RESULT("{\"condition\":\"new\"}"), 0,
	 "{\"condition\":\"new\"}\n"},
	{{"walk", "on"}, "{\"walk\":\"on\"}", RESULT("{\"walk\":\"on\",\"chosen\":null}"), 0,
	 "walk         on\n"},
	{{"take", "--meter", "red", "--json"}, "{\"meter\":\"red\"}",
	 RESULT("{\"seq\":5,\"record\":" ODD "}"), 0, ODD "\n"},
	{{"undo"}, "\"method\":\"undo\"}", RESULT("{\"seq\":21,\"struck\":14}"), 0,
	 "struck entry 14: record 21\n"},
	{{"enter", "V1", "-35", "V", "--from", "dmm", "--quantity", "volts", "--u", "0.1",
	  "--json"}, "{\"position\":\"V1\",\"value\":\"-35 V\",\"from\":\"dmm\",\"quantity\":\"volts\","
	 "\"u\":\"0.1\"}", RESULT("{\"seq\":5,\"record\":" ODD "}"), 0, ODD "\n"},
	{{"strike", "12", "--because", "wrong part"}, "{\"because\":\"wrong part\",\"seq\":12}",
	 RESULT("{\"seq\":22}"), 0, "struck entry 12: record 22\n"},
	{{"note", "R1", "smells", "burnt"}, "{\"position\":\"R1\",\"text\":\"smells burnt\"}",
	 RESULT("{\"seq\":23}"), 0, "noted: record 23\n"},
	{{"entries", "R1", "--json"}, "{\"position\":\"R1\"}",
	 RESULT("{\"entries\":[{\"record\":" ODD ",\"struck\":false,\"moved\":null},{\"record\":" ODD2
	        ",\"struck\":{\"seq\": 9,\"because\":\"x\"},\"moved\":null}],\"more\":false}"), 0,
	 ODD "\n{\"seq\":6,\"n\":-0.0,\"deep\":[ 1 , {\"a\":[ ]}],\"struck\":{\"seq\": 9,"
	 "\"because\":\"x\"}}\n"},
	{{"compare", "--json"}, "\"method\":\"compare\"",
	 RESULT("{\"crosschecks\":[{\"pairs\":[],\"agree\":true}],\"twins\":[{\"agree\":false}]}"), 0,
	 "{\"crosschecks\":[{\"pairs\":[],\"agree\":true}],\"twins\":[{\"agree\":false}]}\n"},
	{{"compare", "R1", "--json"}, "{\"position\":\"R1\"}",
	 RESULT("{\"crosschecks\":[{\"pairs\":[],\"agree\":false}],\"twins\":[]}"), 1, NULL},
	{{"verify", "--json"}, "\"method\":\"verify\"",
	 RESULT("{\"verdict\":\"intact, no anchor\",\"ok\":true}"), 0,
	 "{\"verdict\":\"intact, no anchor\",\"ok\":true}\n"},
	{{"verify"}, "verify", RESULT("{\"verdict\":\"altered\",\"ok\":false,\"bad\":3}"), 1, NULL},
	/* A verdict that is missing is no good one. */
	{{"verify"}, "verify", RESULT("{}"), 1, NULL},
	{{"verify", "--anchor",
	  "3:0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"},
	 "{\"anchor\":\"3:0123", RESULT("{\"verdict\":\"truncated\",\"ok\":false}"), 1, NULL},
	/* The error codes of WIRE.md and the exit status that each means. */
	{{"take"}, "take", FAULT("5", "nothing to take"), 1, ""},
	{{"take"}, "take", FAULT("4", "NOT LOGGED: the disk is full"), 4, ""},
	{{"take"}, "take", FAULT("2", "no such position"), 2, ""},
	{{"take"}, "take", FAULT("-32700", "not JSON"), 2, ""},
	{{"take"}, "take", FAULT("-32600", "no request"), 2, ""},
	{{"take"}, "take", FAULT("-32601", "no such method"), 2, ""},
	{{"take"}, "take", FAULT("-32602", "unknown parameter"), 2, ""},
	{{"take"}, "take", FAULT("-32603", "the log cannot be read"), 2, ""},
	{{"take"}, "take", FAULT("-32002", "hello comes first"), 2, ""},
	{{"take"}, "take", FAULT("0", "a code that must not pass for success"), 2, ""},
	{{"take", "--json"}, "take", FAULT("99", "later"), 2, ""},
	{{"raw"}, NULL, NULL, 2, ""},
};

static void test_verbs(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof verb_rows / sizeof verb_rows[0]; i++) {
		const struct verb_row *row = &verb_rows[i];
		const char *script[LINES_MOST] = {HELLO, row->answer};
		note_row("%zu: %s %s", i, row->argv[0], row->argv[1] ? row->argv[1] : "");
		struct run r = run_script(NULL, script, row->argv);
		if (r.status != row->status)
			print_error("%s", r.err);
		assert_int_equal(r.status, row->status);
		if (row->asked)
			expect(heard(), row->asked, "what was asked");
		if (row->out)
			assert_string_equal(r.out, row->out);
		/* Silence is for what went well; what did not is said on standard error. */
		if (row->out && !row->out[0])
			assert_true(strlen(r.err) > 10);
		run_free(&r);
	}
}

static void test_hello_first(void **state)
{
	(void)state;
	struct run r = run_script(NULL, SCRIPT(HELLO, RESULT("{}")), CLIENT("status", "--json"));
	assert_int_equal(r.status, 0);
	assert_ptr_equal(strstr(heard(), "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"hello\",\"params\":"
	                                 "{\"protocol\":1,\"client\":\"tally\"}}\n"), heard());
	run_free(&r);
}

static void test_fault_place(void **state)
{
	(void)state;
	struct run r = run_script(
		NULL, SCRIPT(HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":2,\"message\":"
		             "\"no unit\\u001b[2J\",\"data\":{\"file\":\"a.csv\",\"line\":3,\"column\":7}}}"),
		CLIENT("sheet", "load", "/dev/null"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.err, "a.csv:3:7: no unit\\x1B[2J\n");
	run_free(&r);
}

/* ---- pages ---- */

static void test_pages(void **state)
{
	(void)state;
#define PAGE(a, b, more)                                                                \
	RESULT("{\"entries\":[{\"record\":{\"seq\":" a "},\"struck\":false},{\"record\":{\"seq\":" b \
	       "},\"struck\":false}]," more "}")
	struct run r = run_script(NULL,
	                          SCRIPT(HELLO, PAGE("3", "5", "\"more\":true,\"next\":5"),
	                                 PAGE("6", "9", "\"more\":true,\"next\":9"),
	                                 PAGE("12", "13", "\"more\":false")),
	                          CLIENT("entries", "--json", "--job", "a"));
	assert_int_equal(r.status, 0);
	assert_string_equal(r.out, "{\"seq\":3}\n{\"seq\":5}\n{\"seq\":6}\n{\"seq\":9}\n{\"seq\":12}\n"
	                           "{\"seq\":13}\n");
	expect(heard(), "{\"job\":\"a\"}}\n", "the first page");
	expect(heard(), "{\"job\":\"a\",\"after\":5}}\n", "the second page");
	expect(heard(), "{\"job\":\"a\",\"after\":9}}\n", "the third page");
	run_free(&r);
	/* More, and none of it: it must not ask for ever, nor pass for all. */
	r = run_script(NULL, SCRIPT(HELLO, PAGE("3", "5", "\"more\":true,\"next\":5"),
	                            PAGE("3", "5", "\"more\":true,\"next\":5")),
	               CLIENT("entries", "--json"));
	assert_int_equal(r.status, 3);
	expect(r.err, "this is not all", "standard error");
	run_free(&r);
}

/* ---- sheets ---- */

static void test_sheet_load(void **state)
{
	(void)state;
#define BYTES(text) text, sizeof text - 1
	static const struct { const char *bytes; size_t len; int status; const char *says; } rows[] = {
		{BYTES("position\nR1\n"), 0, "\"text\":\"position\\nR1\\n\""},
		{BYTES(""), 0, "\"text\":\"\""},
		{BYTES("position,note\r\nR1,\xc2\xb5\r\n"), 0, "R1,\xc2\xb5\\r\\n\""},
		{BYTES("position,note\nR1,ab\xff\n"), 2, "s.csv:2:6: byte 0xFF: a sheet is UTF-8 text"},
		{BYTES("position\nR1\n\0R2\n"), 2, "s.csv:3:1: byte 0x00"},
		{BYTES("\xc3"), 2, "s.csv:1:1: byte 0xC3"},
	};
	char file[128];
	snprintf(file, sizeof file, "%s/s.csv", place);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		FILE *f = fopen(file, "wb");
		fwrite(rows[i].bytes, 1, rows[i].len, f);
		fclose(f);
		struct run r = run_script(NULL, SCRIPT(HELLO, RESULT("{\"seq\":9,\"positions\":1}")),
		                          CLIENT("sheet", "load", file, "--job", "amp"));
		assert_int_equal(r.status, rows[i].status);
		expect(r.status ? r.err : heard(), rows[i].says, "what was said");
		if (!r.status) {
			expect(heard(), "\"job\":\"amp\"", "what was asked");
			expect(r.out, "1 position, record 9", "standard output");
		}
		run_free(&r);
	}
	struct run r = run_client(NULL, CLIENT("sheet", "load", "/nowhere/x.csv"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.err, "/nowhere/x.csv: No such file or directory\n");
	run_free(&r);
	r = run_client(NULL, CLIENT("sheet", "load", place));
	assert_int_equal(r.status, 2);
	run_free(&r);
	/* Longer than the wire: refused here, by name and before anything is asked. */
	FILE *f = fopen(file, "wb");
	for (int i = 0; i < 300000; i++)
		fputs("R1,", f);
	for (int i = 0; i < 100000; i++)
		fputs("\"\"\n", f);
	fclose(f);
	r = run_script(NULL, SCRIPT(HELLO, RESULT("{}")), CLIENT("sheet", "load", file));
	assert_int_equal(r.status, 2);
	run_free(&r);
	unlink(file);
}

static void test_sheet_set_words(void **state)
{
	(void)state;
	static const char *const bad[] = {"nominal", "=4k7", "note=\xff"};
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		note_row("%zu", i);
		struct run r = run_client(NULL, CLIENT("sheet", "set", "R1", bad[i]));
		assert_int_equal(r.status, 2);
		run_free(&r);
	}
	struct run r = run_client(NULL, CLIENT("sheet", "set", "R1", "a=1", "a=2"));
	assert_int_equal(r.status, 2);
	expect(r.err, "given twice", "standard error");
	run_free(&r);
}

/* A plan in two pages is one plan, its elements byte for byte; a page that does not move on
 * is no plan. */
static void test_plan_pages(void **state)
{
	(void)state;
#define ROUNDS(a, b) "\"rounds\":[{\"round\":1,\"name\":\"supply\",\"replace\":[" a "]},"           \
	"{\"round\":2,\"name\":\"coupling\",\"replace\":[" b "]},{\"round\":3,\"name\":\"rest\",\"replace\":[]}]"
	struct run r = run_script(NULL,
	    SCRIPT(HELLO, RESULT("{\"job\":\"j\"," ROUNDS("{\"position\":\"C1\", \"x\":1.0}", "")
	                         ",\"order\":[],\"recheck\":[],\"more\":true,\"next\":1}"),
	           RESULT("{\"job\":\"j\"," ROUNDS("", "{\"position\":\"C2\"}")
	                  ",\"order\":[" ODD2 "],\"recheck\":[],\"more\":false,\"next\":3}")),
	    CLIENT("plan", "--json"));
	assert_int_equal(r.status, 0);
	assert_string_equal(r.out, "{\"round\":1,\"name\":\"supply\",\"replace\":[{\"position\":\"C1\", \"x\":1.0}]}\n"
	                           "{\"round\":2,\"name\":\"coupling\",\"replace\":[{\"position\":\"C2\"}]}\n"
	                           "{\"round\":3,\"name\":\"rest\",\"replace\":[]}\n");
	assert_true(strstr(heard(), "\"after\":1") != NULL);
	run_free(&r);
	r = run_script(NULL, SCRIPT(HELLO, RESULT("{\"job\":\"j\"," ROUNDS("", "") ",\"order\":[],\"recheck\":[],"
	                                          "\"more\":true,\"next\":0}")), CLIENT("plan"));
	assert_int_equal(r.status, 2);
	expect(r.err, "does not give it", "what it says");
	run_free(&r);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_plan_pages),
		cmocka_unit_test(test_verbs),
		cmocka_unit_test(test_hello_first),
		cmocka_unit_test(test_fault_place),
		cmocka_unit_test(test_pages),
		cmocka_unit_test(test_sheet_load),
		cmocka_unit_test(test_sheet_set_words),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
