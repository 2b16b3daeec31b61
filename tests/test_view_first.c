/* SPDX-License-Identifier: MIT */
/*
 * A bench without meters: what `tally meters` says to do next, for what the doctor saw.
 * And which slips of the hand between two words are taken for one.
 */
#include "tests/check.h"

#include "client/nearly.h"
#include "client/view.h"

#define ADAPTER(node, serial, may, holder)                                                     \
	"{\"node\":\"" node "\",\"ids\":\"1209:0001\",\"serial\":\"" serial "\",\"place\":"        \
	"\"1-1.4:1.0\",\"driver\":\"ch341\",\"product\":\"A cable\",\"user\":\"root\",\"group\":"  \
	"\"dialout\",\"mode\":\"0660\",\"may\":" may ",\"holder\":\"" holder "\",\"meter\":null}"
#define DOCTOR(config, adapters, strays)                                                       \
	"{\"ok\":false,\"daemon\":true,\"config\":\"" config "\",\"user\":\"tally\",\"groups\":\"\"," \
	"\"findings\":[],\"meters\":[],\"adapters\":[" adapters "],\"strays\":[" strays "]}"

static void test_first_meter(void **state)
{
	static const struct {
		const char *legend, *doctor;
		bool reloads;
		const char *has[5], *hasnt;
	} rows[] = {
	    {"nothing is plugged in", DOCTOR("/etc/tally.ini", "", ""), true,
	     {"/etc/tally.ini names none", "plug in the meter's cable", "port     = usb:VID:PID:SERIAL",
	      "tally reload", "tallyd --check-config --config /etc/tally.ini"}, "start tallyd again"},
	    {"no configuration", DOCTOR("", "", ""), false,
	     {"no configuration yet", "man tally.ini", "start tallyd again"}, "tally reload"},
	    {"something without a line", DOCTOR("", "", "{\"place\":\"1-1\",\"ids\":\"1209:0002\"}"), false,
	     {"USB devices without a serial line", "tally doctor"}, "1 serial"},
	    {"one that may be opened", DOCTOR("c", ADAPTER("/dev/ttyUSB0", "A1", "true", ""), ""), false,
	     {"1 serial adapter is plugged in", "/dev/ttyUSB0 may be opened by the daemon (user tally)",
	      "port     = usb:1209:0001:A1   ; A cable", "dialect  = ascii-unit", "tally doctor red"}, "usermod"},
	    {"the right is missing", DOCTOR("c", ADAPTER("/dev/ttyUSB0", "A1", "false", ""), ""), false,
	     {"may not be opened", "sudo usermod -aG dialout tally"}, "is held by"},
	    {"another program has it", DOCTOR("c", ADAPTER("/dev/ttyUSB0", "A1", "true", "process 7 (other)"), ""),
	     false, {"is held by process 7 (other): end that first"}, "may be opened"},
	    {"no serial number: by its place", DOCTOR("c", ADAPTER("/dev/ttyUSB0", "", "true", ""), ""), false,
	     {"port     = usb-place:1-1.4:1.0"}, "usb:1209"},
	    {"two", DOCTOR("c", ADAPTER("/dev/ttyUSB0", "A1", "true", "") "," ADAPTER("/dev/ttyUSB1", "", "true", ""), ""),
	     false, {"2 serial adapters are plugged in", "/dev/ttyUSB1 may be opened", "usb:1209:0001:A1"}, "usb-place"},
	};
	static const struct style style = {0};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct lines out = {0};
		note_row("%s", rows[i].legend);
		assert_true(json_valid(rows[i].doctor, strlen(rows[i].doctor), NULL));
		view_first_meter(&style, (struct slice){rows[i].doctor, strlen(rows[i].doctor)}, rows[i].reloads, &out);
		for (int k = 0; k < 5 && rows[i].has[k]; k++)
			if (!strstr(lines_text(&out), rows[i].has[k]))
				fail_msg("%s: no `%s` in:\n%s", rows[i].legend, rows[i].has[k], lines_text(&out));
		if (strstr(lines_text(&out), rows[i].hasnt))
			fail_msg("%s: `%s` in:\n%s", rows[i].legend, rows[i].hasnt, lines_text(&out));
		lines_free(&out);
	}
}

static void test_nearly(void **state)
{
	static const struct {
		const char *typed, *meant;
		bool same;
	} rows[] = {
	    {"metres", "meters", true},      {"nominl", "nominal", true}, {"Position", "position", true},
	    {"tolerence", "tolerance", true}, {"verfy", "verify", true},   {"at", "at", true},
	    {"footprint", "part", false},    {"max", "note", false},      {"x", "at", false},
	    {"a-word-of-more-than-22-letters", "a-word-of-more-than-22-letters", false},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%s for %s", rows[i].typed, rows[i].meant);
		assert_int_equal(nearly_same(rows[i].typed, rows[i].meant), rows[i].same);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_first_meter),
	    cmocka_unit_test(test_nearly),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
