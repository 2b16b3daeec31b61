/* SPDX-License-Identifier: MIT */
/* Pictures of answers, as in tests/test_view.c: comparisons, verify, meters, doctor, sheet, status. */
#include "tests/view_stand.h"

static void test_compare(void **state)
{
	(void)state;
	static const char result[] =
		"{\"crosschecks\":[{\"position\":\"R12\",\"quantity\":\"value\",\"condition\":\"found\","
		"\"reach\":\"lifted\",\"pairs\":[{\"a\":{\"seq\":15,\"meter\":\"blue\",\"shown\":"
		"\"600.0 kohm\",\"U\":10969.8},\"b\":{\"seq\":13,\"meter\":\"red\",\"shown\":\"612.0 kohm\","
		"\"U\":3764.76},\"en\":1.03467,\"agree\":false}],\"apart\":null,\"agree\":false},"
		"{\"position\":\"R13\",\"quantity\":\"value\",\"condition\":\"found\",\"reach\":\"lifted\","
		"\"pairs\":[{\"a\":{\"seq\":3,\"meter\":\"blue\",\"shown\":\"1.000 Mohm\",\"U\":20000},"
		"\"b\":{\"seq\":4,\"meter\":\"red\",\"shown\":\"1.001 Mohm\",\"U\":3000},\"en\":0.049,"
		"\"agree\":true}],\"apart\":null,\"agree\":true}],"
		"\"twins\":[{\"position\":\"R12\",\"twin\":\"R112\",\"a\":{\"seq\":13,\"shown\":"
		"\"612.0 kohm\"},\"b\":{\"seq\":18,\"shown\":\"471.2 kohm\"},\"ratio\":1.29881,"
		"\"difference\":0.26,\"en\":29.4,\"agree\":false,\"reach\":\"in-circuit\"},"
		"{\"position\":\"R1\",\"twin\":\"R101\",\"a\":{\"seq\":1,\"shown\":\"2 ohm\"},"
		"\"b\":{\"seq\":2,\"shown\":\"1 ohm\"},\"ratio\":2,\"difference\":-0.667,\"en\":9,"
		"\"agree\":false,\"condition\":\"found\",\"reach\":\"lifted\"},"
		"{\"position\":\"R2\",\"twin\":\"R102\",\"a\":{\"seq\":1,\"shown\":\"1 ohm\"},"
		"\"b\":{\"seq\":2,\"shown\":\"1 ohm\"},\"ratio\":1,\"difference\":0,\"en\":0,"
		"\"agree\":true,\"condition\":\"found\",\"reach\":\"lifted\"}],"
		"\"refused\":[{\"position\":\"C1\",\"a\":5,\"b\":6,\"why\":\"the reach differs\"}]}";
	struct lines out = {0};
	int disagree = -1;
	view_compare(&columns, slice(result), &disagree, &out);
	assert_int_equal(disagree, 1);
	same(&out,
	     "position  quantity  measured       one                      value  other            "
	     "          value   E_n  answer\n"
	     "R12       value     found, lifted  blue  600.0   +-11 kohm (15)    red    612.0   "
	     "+-3.8 kohm (13)    1.03  ! disagree\n"
	     "R13       value     found, lifted  blue    1.000 +-0.020 Mohm (3)  red      1.001 "
	     "+-0.0030 Mohm (4)  0.05    agree\n"
	     "2 cross-checks: 1 agree, 1 disagree (they agree where E_n is at most 1)\n"
	     "\n"
	     "position       shown  twin      twin's  measured       difference  ratio  answer\n"
	     "R12       612.0 kohm  R112  471.2 kohm  in-circuit         26.0 %  1.299  ! differ: "
	     "lift both and measure again\n"
	     "R1          2   ohm   R101    1   ohm   found, lifted      66.7 %  2.000  ! differ "
	     "more than their tolerance allows\n"
	     "R2          1   ohm   R102    1   ohm   found, lifted       0.0 %  1.000    alike: "
	     "nothing against them\n"
	     "3 pairs of twins: 1 alike, 2 differ\n"
	     "not compared: C1, entries 5 and 6: the reach differs\n");
	view_compare(&columns, slice("{\"crosschecks\":[],\"twins\":[],\"refused\":[]}"), &disagree,
	             &out);
	assert_int_equal(disagree, 0);
	assert_non_null(strstr(lines_text(&out), "nothing to compare yet"));
	lines_free(&out);
}

static void test_verify(void **state)
{
	(void)state;
	struct lines out = {0};
	view_verify(&columns, slice("{\"verdict\":\"altered\",\"ok\":false,\"records\":11,\"bad\":12,"
	                            "\"what\":\"its hash is another\",\"head\":\"11:ab\","
	                            "\"identity\":\"cd\"}"), "l.db", "", false, &out);
	same(&out, "checked      l.db\n"
	           "identity     cd\n"
	           "records      11: the place, the text and the hash of each fit\n"
	           "verdict      altered: NOT GOOD\n"
	           "first bad    record 12\n"
	           "what         its hash is another\n"
	           "good up to   11:ab\n");
	view_verify(&columns, slice("{\"verdict\":\"newer than the anchor\",\"ok\":true,\"records\":20,"
	                            "\"bad\":null,\"what\":\"\",\"head\":\"20:ef\",\"identity\":\"cd\"}"),
	            "l.db", "11:ab", false, &out);
	same(&out, "checked      l.db\n"
	           "identity     cd\n"
	           "records      20: the place, the text and the hash of each fit\n"
	           "verdict      newer than the anchor\n"
	           "anchor       11:ab\n"
	           "head         20:ef\n"
	           "             Write the head down where nobody who can write the log can reach\n"
	           "             it: it is the anchor of the next check.\n"
	           "not proven   What was logged after the anchor could have been written anew by\n"
	           "             someone who can write the file; up to the anchor it could not.\n"
	           "             No seal shows that the probes were on the right part.\n");
}

static void test_meters(void **state)
{
	(void)state;
	struct lines out = {0};
	view_meters(&columns, slice("{\"meters\":[{\"name\":\"red\",\"dialect\":\"ascii-unit\","
	                            "\"port\":\"/dev/tally/red\",\"state\":\"ready\",\"asked\":false,"
	                            "\"identity\":null,\"function\":\"ohm\",\"shown\":\"0.4812 kohm\","
	                            "\"counters\":{\"good\":120,\"bad\":2,\"readings\":120,\"timeouts\":0,"
	                            "\"late\":0,\"resync\":1,\"parity\":3,\"stale\":4,\"reconnects\":1},"
	                            "\"accuracy\":\"ohm 0.5% + 2\","
	                            "\"why\":null},{\"name\":\"bench\",\"dialect\":\"scpi\","
	                            "\"port\":\"/dev/x\",\"state\":\"absent\",\"asked\":true,"
	                            "\"identity\":\"A,B,0,2\",\"maker\":\"A\",\"model\":\"B\","
	                            "\"serial\":null,\"firmware\":\"2\",\"function\":null,\"shown\":null,"
	                            "\"counters\":{\"good\":0,\"bad\":0,\"readings\":0,\"timeouts\":3,"
	                            "\"late\":0,\"reconnects\":0},\"accuracy\":null,"
	                            "\"why\":\"/dev/x is not there\"}]}"), &out);
	same(&out,
	     "meter  state         reads  function  dialect     line         port            good  bad  "
	     "resync  parity  stale  late  reconnects\n"
	     "red    ready   0.4812 kohm  ohm       ascii-unit  listened to  /dev/tally/red   120    2  "
	     "     1       3      4                 1\n"
	     "bench  absent                         scpi        asked        /dev/x             0    0  "
	     "                          3\n"
	     "red          accuracy ohm 0.5% + 2\n"
	     "bench        says it is maker A, model B, firmware 2\n"
	     "bench        accuracy not given: a pessimistic class is assumed; write `accuracy ohm = "
	     "0.5% + 2` under [meter bench]\n"
	     "bench        attention: /dev/x is not there\n");
	/* Counters that a daemon has besides are shown where something has come of them. */
	view_meters(&columns, slice("{\"meters\":[{\"name\":\"red\",\"counters\":{\"good\":7,\"bad\":0,"
	                            "\"resync\":2,\"parity\":31,\"stale\":4,\"late\":1,\"timeouts\":2,"
	                            "\"reconnects\":0}},{\"name\":\"blue\",\"counters\":{\"good\":1,"
	                            "\"bad\":0,\"resync\":0,\"parity\":0,\"stale\":0,\"reconnects\":0}}]}"),
	            &out);
	same(&out,
	     "meter  good  bad  resync  parity  stale  late\n"
	     "red       7    0       2      31      4     3\n"
	     "blue      1    0\n");
	view_meters(&sentences, slice("{\"meters\":[{\"name\":\"red\",\"state\":\"absent\",\"counters\":{"
	                          "\"good\":7,\"bad\":1,\"stale\":4}}]}"), &out);
	same(&out, "red, absent, good 7, bad 1, stale 4\n");
	/* An identity that is not in four fields stands as it is. */
	lines_free(&out);
	out = (struct lines){0};
	view_meters(&columns, slice("{\"meters\":[{\"name\":\"old\",\"dialect\":\"x\",\"state\":\"stale\","
	                            "\"asked\":true,\"identity\":\"OLD METER 3\",\"maker\":null}]}"), &out);
	assert_non_null(strstr(lines_text(&out), "says it is OLD METER 3\n"));
	assert_non_null(strstr(lines_text(&out), "stale"));
	view_meters(&columns, slice("{\"meters\":[]}"), &out);
	assert_non_null(strstr(lines_text(&out), "Add a section [meter NAME]"));
	lines_free(&out);
}

static void test_doctor(void **state)
{
	static const char answer[] =
	    "{\"ok\":false,\"daemon\":true,\"config\":\"/etc/tally.ini\",\"socket\":\"/s\","
	    "\"log\":\"/l\",\"user\":\"tally\",\"groups\":\"tally, dialout\",\"findings\":[{\"word\":"
	    "\"udev\",\"fault\":false,\"text\":\"no udev runs here\",\"cure\":\"run it outside\"}],"
	    "\"meters\":[{\"name\":\"red\",\"ok\":true,\"port\":\"/dev/x\",\"node\":\"/dev/ttyUSB0\","
	    "\"line\":\"open\",\"state\":\"listened to\",\"good\":12,\"bad\":1,\"findings\":[]},"
	    "{\"name\":\"blue\",\"ok\":false,\"line\":\"refused\",\"findings\":[{\"word\":\"held\","
	    "\"fault\":true,\"text\":\"/dev/ttyUSB1 is held by \\u001b[2Jcat\",\"cure\":\"close it\"},"
	    "{\"word\":\"latency\",\"fault\":false,\"text\":\"16 ms\",\"cure\":\"the rules\"}]}],"
	    "\"adapters\":[{\"node\":\"/dev/ttyUSB0\",\"ids\":\"1209:0001\",\"serial\":\"A1\",\"place\":"
	    "\"1-1.4:1.0\",\"driver\":null,\"product\":null,\"link\":null,\"user\":\"root\",\"group\":"
	    "\"dialout\",\"mode\":\"0660\",\"may\":true,\"holder\":null,\"meter\":\"red\"}],"
	    "\"strays\":[{\"place\":\"1-2\",\"ids\":\"1209:0002\",\"serial\":null,\"product\":null,"
	    "\"claimed\":false,\"holder\":null}],\"dropped\":0}";
	struct lines out = {0};
	(void)state;
	view_doctor(&columns, slice(answer), NULL, "", &out);
	same(&out,
	     "daemon       runs as user tally, in the groups tally, dialout\n"
	     "configured   /etc/tally.ini\n"
	     "bench        worth knowing (udev): no udev runs here\n"
	     "             do: run it outside\n"
	     "red          nothing stands in the way: listened to at /dev/ttyUSB0, 12 frames good, 1 bad\n"
	     "blue         IN THE WAY (held): /dev/ttyUSB1 is held by \\x1B[2Jcat\n"
	     "             do: close it\n"
	     "             worth knowing (latency): 16 ms\n"
	     "             do: the rules\n"
	     "\n"
	     "adapter       ids        serial  place      rights             meter\n"
	     "/dev/ttyUSB0  1209:0001  A1      1-1.4:1.0  root:dialout 0660  red\n"
	     "USB device   1209:0002 in place 1-2 has no line: no driver took it, or it is none\n");
	/* One meter alone, for a screen reader: each line says whose it is. */
	view_doctor(&sentences, slice(answer), "blue", "", &out);
	same(&out,
	     "daemon: runs as user tally, in the groups tally, dialout\n"
	     "configured: /etc/tally.ini\n"
	     "bench: worth knowing (udev): no udev runs here\n"
	     "bench: do: run it outside\n"
	     "blue: IN THE WAY (held): /dev/ttyUSB1 is held by \\x1B[2Jcat\n"
	     "blue: do: close it\n"
	     "blue: worth knowing (latency): 16 ms\n"
	     "blue: do: the rules\n");
}

static void test_sheet(void **state)
{
	(void)state;
	struct lines out = {0};
	struct view_list v;
	view_sheet_begin(&v);
	snprintf(v.job, sizeof v.job, "amp");
	view_sheet_add(&v, &columns,
	               slice("{\"position\":\"R12\",\"entries\":2,\"seq\":6,\"written\":{\"position\":"
	                     "\"R12\",\"nominal\":\"470k\",\"tolerance\":\"10%\"},\"extra\":{\"owner\":"
	                     "\"mine\"},\"kind\":\"resistor\",\"function\":\"ohm\",\"nominal\":470000,"
	                     "\"limits\":[423000,517000],\"service\":null}"));
	view_sheet_add(&v, &columns,
	               slice("{\"position\":\"C7\",\"entries\":0,\"seq\":7,\"written\":{\"position\":"
	                     "\"C7\",\"nominal\":\"0.1 uF\",\"max\":\"2 W\"},\"kind\":\"paper\","
	                     "\"function\":\"farad\",\"nominal\":1e-07,\"limits\":null,"
	                     "\"service\":[9e-08,null],\"twin\":\"C17\"}"));
	/* Of a marking nobody wrote a nominal: what it means is shown, not a number of farads. */
	view_sheet_add(&v, &columns,
	               slice("{\"position\":\"C8\",\"entries\":1,\"seq\":8,\"written\":{\"position\":"
	                     "\"C8\"},\"extra\":{\"marking\":\"473\"},\"kind\":\"film\","
	                     "\"function\":\"farad\",\"nominal\":4.7e-08,\"limits\":null}"));
	view_sheet_print(&v, &columns, &out);
	view_list_end(&v);
	same(&out,
	     "job          amp\n"
	     "position  kind      nominal  tolerance  twin  entries  beside\n"
	     "R12       resistor  470k           10%              2  owner mine\n"
	     "C7        paper      0.1 uF             C17         -  max 2 W\n"
	     "C8        film      47   nF                         1  marking 473\n"
	     "2 of 3 positions measured, the first without an entry is C7\n");
}

static void test_status(void **state)
{
	(void)state;
	struct lines out = {0};
	view_status(&columns,
	            slice("{\"bench\":\"north\",\"job\":\"amp\",\"state\":\"cold\",\"condition\":"
	                  "\"found\",\"reach\":\"lifted\",\"walk\":\"on\",\"chosen\":{\"position\":"
	                  "\"R12\",\"quantity\":\"value\",\"kind\":\"resistor\",\"nominal\":\"470 kohm\","
	                  "\"tolerance\":\"10%\",\"role\":null,\"twin\":\"R112\",\"armed\":false},"
	                  "\"bound\":[{\"meter\":\"red\",\"position\":\"V1\"}],\"health\":\"good\","
	                  "\"done\":9,\"positions\":24}"), &out);
	same(&out, "bench        north\n"
	           "job          amp\n"
	           "state        cold\n"
	           "condition    found\n"
	           "reach        lifted\n"
	           "walk         on\n"
	           "position     R12, value, resistor, nominal 470 kohm 10%, twin R112, not ready yet: "
	           "lift the probes\n"
	           "bound        red to V1\n"
	           "measured     9 of 24 positions\n"
	           "log          good\n");
	view_status(&sentences, slice("{\"job\":null,\"chosen\":null,\"bound\":[]}"), &out);
	same(&out, "job: none is open: `tally job start NAME` does\n"
	           "position: none is chosen: `tally at POSITION` does\n");
}

/* Members that are missing leave their place empty, and nothing falls over. */
static void test_nothing_there(void **state)
{
	(void)state;
	struct lines out = {0};
	struct slice nothing = slice("{}");
	int disagree;
	view_record(&columns, nothing, &out);
	view_event(&columns, nothing, &out);
	view_frame(&columns, nothing, &out);
	view_meters(&columns, nothing, &out);
	view_job(&columns, nothing, &out);
	view_chosen(&columns, nothing, &out);
	view_status(&columns, nothing, &out);
	view_compare(&columns, nothing, &disagree, &out);
	view_doctor(&columns, nothing, NULL, "", &out);
	view_verify(&columns, nothing, "x", "", false, &out);
	assert_int_equal(disagree, 0);
	assert_false(out.failed);
	/* And an unsealed nothing is never called good. */
	assert_non_null(strstr(lines_text(&out), "NOT GOOD"));
	lines_free(&out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_compare),
		cmocka_unit_test(test_verify),
		cmocka_unit_test(test_meters),
		cmocka_unit_test(test_doctor),
		cmocka_unit_test(test_sheet),
		cmocka_unit_test(test_status),
		cmocka_unit_test(test_nothing_there),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
