/* SPDX-License-Identifier: MIT */
/*
 * Scenes for the tests of `tally bench`: a job of made-up parts, and what the daemon
 * says of it, message by message.
 */
#ifndef TALLY_TESTS_BENCH_SCENE_H
#define TALLY_TESTS_BENCH_SCENE_H

#include "tests/check.h"

#include "client/scene.h"
#include "client/view_bench.h"

#include <stdlib.h>

static struct scene *scene;
static struct scene_position *sheet;
static int64_t now; /* ms */

static inline struct slice text_slice(const char *json)
{
	size_t where;
	if (!json_valid(json, strlen(json), &where)) {
		print_error("no JSON at byte %zu: %s\n", where, json);
		fail();
	}
	return (struct slice){json, strlen(json)};
}

static inline void scene_start(bool utf8)
{
	const struct style style = {.utf8 = utf8};
	scene = calloc(1, sizeof *scene);
	sheet = calloc(SCENE_POSITIONS_MAX, sizeof *sheet);
	assert_non_null(scene);
	assert_non_null(sheet);
	now = 1000;
	scene_begin(scene, sheet, &style);
}

static inline void scene_stop(void)
{
	free(scene);
	free(sheet);
}

static inline void hello(int64_t last)
{
	char text[200];
	snprintf(text, sizeof text, "{\"protocol\":1,\"bench\":\"north\",\"identity\":\"ab\",\"last\":%lld}",
	         (long long)last);
	scene_connected(scene, now, text_slice(text));
}

#define ROW(name, kind, function, nominal, written, tolerance, low, high, more)                \
	"{\"position\":\"" name "\",\"entries\":0,\"seq\":9,\"written\":{\"nominal\":\"" written       \
	"\",\"tolerance\":\"" tolerance "\"" more "},\"kind\":\"" kind "\",\"function\":\"" function    \
	"\",\"nominal\":" nominal ",\"limits\":[" low "," high "]"

/* Ten positions of a made-up amplifier. */
static inline void sheet_there(void)
{
	scene_sheet_begin(scene);
	scene_sheet(scene, text_slice(
		"{\"job\":\"picture house\",\"rows\":["
		ROW("R1", "carbon-composition", "ohm", "1000000", "1M", "10%", "900000", "1100000", "")
		",\"role\":\"grid leak\",\"channel\":\"left\",\"twin\":\"R101\"},"
		ROW("R3", "carbon-composition", "ohm", "100000", "100k", "10%", "90000", "110000",
		    ",\"note\":\"input stage\"")
		",\"role\":\"anode load\",\"channel\":\"left\",\"twin\":\"R103\"},"
		ROW("R13", "carbon-film", "ohm", "130000", "130k", "5%", "123500", "136500", "") "},"
		ROW("C7", "paper", "farad", "1e-07", "0.1 uF", "-10/+10%", "9e-08", "1.1e-07",
		    ",\"rated\":\"400 V\",\"note\":\"to V3\"")
		",\"role\":\"coupling\",\"channel\":\"left\",\"twin\":\"C107\",\"with\":\"R1\"},"
		ROW("B1", "rail", "volt-dc", "-35", "-35 V", "+-2 V", "-37", "-33", "")
		",\"role\":\"bias\"},"
		ROW("T1", "winding", "ohm", "null", "", ">=20M", "20000000", "null", "") "},"
		ROW("R101", "carbon-composition", "ohm", "1000000", "1M", "10%", "900000", "1100000", "")
		",\"role\":\"grid leak\",\"channel\":\"right\",\"twin\":\"R1\"},"
		ROW("R103", "carbon-composition", "ohm", "100000", "100k", "10%", "90000", "110000", "")
		",\"role\":\"anode load\",\"channel\":\"right\",\"twin\":\"R3\"},"
		ROW("C107", "paper", "farad", "1e-07", "0.1 uF", "-10/+10%", "9e-08", "1.1e-07", "")
		",\"role\":\"coupling\",\"channel\":\"right\",\"twin\":\"C7\"},"
		"{\"position\":\"X1\",\"entries\":0,\"seq\":30,\"written\":{},\"kind\":\"other\","
		"\"function\":\"none\",\"nominal\":null,\"limits\":null}],\"more\":false}"));
}

static inline void status(const char *state, const char *position, const char *quantity,
                          const char *more)
{
	char text[1200];
	snprintf(text, sizeof text,
	         "{\"bench\":\"north\",\"job\":\"picture house\",\"state\":\"%s\",\"condition\":\"found\","
	         "\"reach\":\"lifted\",\"walk\":\"on\",\"chosen\":{\"position\":\"%s\",\"quantity\":\"%s\"%s,"
	         "\"armed\":true},\"bound\":[],\"health\":\"good\",\"last\":40,\"done\":2,\"positions\":10}",
	         state, position, quantity, more);
	scene_status(scene, now, text_slice(text));
}

#define R3_CHOSEN ",\"kind\":\"carbon-composition\",\"nominal\":\"100 kohm\",\"tolerance\":\"10%\"," \
	"\"role\":\"anode load\",\"twin\":\"R103\""
#define C7_CHOSEN ",\"kind\":\"paper\",\"nominal\":\"0.1 uF\",\"tolerance\":\"-10/+10%\"," \
	"\"role\":\"coupling\",\"twin\":\"C107\""
#define B1_CHOSEN ",\"kind\":\"rail\",\"nominal\":\"-35 V\",\"tolerance\":\"+-2 V\",\"role\":\"bias\""

/* One `live` of three meters; `bench` is the one that measures. */
static inline void live(const char *shown, const char *function, double progress, bool touching)
{
	char text[1200], quoted[100];
	if (shown)
		snprintf(quoted, sizeof quoted, "\"%s\"", shown);
	else
		snprintf(quoted, sizeof quoted, "null");
	snprintf(text, sizeof text,
	         "{\"meters\":[{\"name\":\"bench\",\"state\":\"%s\",\"shown\":%s,\"function\":\"%s\","
	         "\"progress\":%g,\"touching\":%s},{\"name\":\"red\",\"state\":\"listened to\","
	         "\"shown\":\"0.012 nF\",\"function\":\"farad\",\"progress\":0,\"touching\":false},"
	         "{\"name\":\"blue\",\"state\":\"absent\",\"shown\":null,\"function\":null,\"progress\":0,"
	         "\"touching\":false}],\"position\":\"R3\"}",
	         shown ? "asked" : "stale", quoted, function, progress, touching ? "true" : "false");
	scene_live(scene, now, text_slice(text));
}

static inline unsigned event(const char *members)
{
	char text[600];
	snprintf(text, sizeof text, "{\"t\":\"2026-11-25T10:00:03.000000Z\",%s}", members);
	return scene_event(scene, now, text_slice(text));
}

static inline unsigned record(int64_t seq, const char *kind, const char *members)
{
	char text[1600];
	snprintf(text, sizeof text,
	         "{\"seq\":%lld,\"record\":{\"seq\":%lld,\"t\":\"2026-11-25T10:00:03.000000Z\","
	         "\"kind\":\"%s\"%s}}", (long long)seq, (long long)seq, kind, members);
	return scene_record(scene, now, text_slice(text));
}

#define ENTRY(position, shown, value, verdict, side, deviation, more)                          \
	",\"job\":\"picture house\",\"position\":\"" position "\",\"quantity\":\"value\",\"meter\":\"bench\","  \
	"\"function\":\"ohm\",\"shown\":\"" shown "\",\"value\":" value ",\"verdict\":\"" verdict        \
	"\",\"side\":\"" side "\",\"deviation\":" deviation ",\"settled\":true,"                      \
	"\"source\":\"meter\"" more

/* Everything up to a position that is up, with two entries before it. */
static inline void scene_ready(bool utf8, const char *unit, const char *position,
                               const char *quantity, const char *chosen)
{
	scene_start(utf8);
	hello(20);
	sheet_there();
	status(unit, position, quantity, chosen);
	record(21, "entry", ENTRY("R1", "1.062 Mohm", "1062000", "within", "high", "0.062", ""));
	record(22, "entry", ENTRY("R13", "131.20 kohm", "131200", "unsure", "high", "0.0092",
	                          ",\"reason\":\"meter\""));
	status(unit, position, quantity, chosen);
	scene->logged.is = false;
	live("overload", "ohm", 0, false);
	while (scene_happening(scene))
		;
}

#endif
