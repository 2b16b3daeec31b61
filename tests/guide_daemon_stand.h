/* SPDX-License-Identifier: MIT */
/*
 * Guided runs on the whole daemon (tests/daemon_stand.h): two meters, the sheets of an amplifier, and what
 * its meters read at each step of bringing it up.  For more than one test program, so what one of
 * them leaves out is no fault.
 */
#ifndef TALLY_TESTS_GUIDE_DAEMON_STAND_H
#define TALLY_TESTS_GUIDE_DAEMON_STAND_H

#include "tests/daemon_stand.h"

static const char sheet_csv[] = "position,kind,nominal,tolerance,rated,role,with\n"
                                "R5,carbon-film,1M,5%,,grid leak,\n"
                                "C1,paper,0.1 uF,20%,400 V,coupling,R5\n"
                                "C20,electrolytic,32 uF,-20/+50%,450 V,reservoir,\n";

static const char power_csv[] = "position,kind,nominal,tolerance,rated,role,with,twin,max\n"
                                "H1,rail,6.3 V AC,5%,,heater,,,\n"
                                "HT1,rail,285 V,10%,,,,,\n"
                                "V3,valve,280 V,10%,,output,,,14\n"
                                "R21,metal-film,10,1%,,sense,V3,,\n"
                                "BIAS,rail,-35 V,+-2 V,,bias,,,\n"
                                "LOAD1,wirewound,8,5%,,load,,,\n"
                                "R1,metal-film,4k7,5%,,grid stopper,,,\n"
                                "R2,metal-film,4k7,5%,,grid stopper,,,\n";

static int red, blue;

/* Two meters, of which red reads that, and a job with that sheet. */
static inline void begin_with(struct stand *s, const char *reads, const char *csv)
{
	static const char about[] = "accuracy volt-dc = 0.5% + 2\ninput volt-dc = 10M\nrated = 600 V\n"
	                            "isolated = yes\n";
	red = meter_new(s, "red", 20, about);
	blue = meter_new(s, "blue", 20, about);
	meter_says(s, red, reads);
	meter_says(s, blue, "0.00 V DC");
	meter_plug(s, red);
	meter_plug(s, blue);
	daemon_start(s);
	file_write(in_dir(s, "sheet.csv"), csv);
	musttally(s, 0, "job", "start", "first");
	musttally(s, 0, "sheet", "load", in_dir(s, "sheet.csv"));
}

static inline void begin(struct stand *s)
{
	begin_with(s, "0.0120 V DC", sheet_csv);
}

/* A step may want a value that has come since the last start: try for a while. */
static inline void go(struct stand *s, const char *of)
{
	struct answer a = {.status = -1};
	for (int i = 0; i < 100; i++) {
		a = tally_run(s, (const char *const[]){"go", of, NULL});
		if (a.status == 0)
			break;
		if (i < 99)
			answer_free(&a);
		usleep(50000);
	}
	if (a.status != 0)
		fail_msg("go %s: %s%s", of, a.out, a.err);
	answer_free(&a);
}

/* The step of the one run that goes on; "" for none. */
static inline const char *step_now(struct stand *s)
{
	static char step[40];
	struct answer a = tally_run(s, (const char *const[]){"--json", "status", NULL});
	const char *at = strstr(a.out, "\"step\":\"");
	if (a.status > 1) /* 1: there is danger */
		fail_msg("status: %s%s", a.out, a.err);
	snprintf(step, sizeof step, "%.*s", at ? (int)strcspn(at + 8, "\"") : 0, at ? at + 8 : "");
	answer_free(&a);
	return step;
}

/* What the meters of an amplifier read at a step of bringing it up. */
static inline void amplifier(struct stand *s, const char *step, int stage)
{
	static const char *const raised[] = {"94.8 V DC", "189.5 V DC", "284.3 V DC", "379.1 V DC"};
	static const struct {
		const char *step, *red, *blue;
	} reads[] = {
	    {"transformer", "0.1 V DC", NULL}, {"heaters", NULL, "6.52 V AC"}, {"bias", NULL, "-36.0 V DC"},
	    {"glow", "150.0 V DC", NULL}, {"on", "286.0 V DC", NULL}, {"heated", NULL, "6.28 V AC"},
	    {"sense", NULL, "0.3500 V DC"}, {"sense-after", NULL, "0.3510 V DC"},
	    {"response", NULL, "2.830 V AC"}, {"power", NULL, "8.940 V AC"}, {"off", "0.1 V DC", NULL}};
	if (strcmp(step, "raise") == 0)
		meter_says(s, red, raised[stage]);
	for (size_t i = 0; i < sizeof reads / sizeof *reads; i++) {
		if (strcmp(reads[i].step, step) != 0)
			continue;
		if (reads[i].red)
			meter_says(s, red, reads[i].red);
		if (reads[i].blue)
			meter_says(s, blue, reads[i].blue);
	}
}

static inline void begin_power(struct stand *s)
{
	begin(s);
	file_write(in_dir(s, "power.csv"), power_csv);
	musttally(s, 0, "job", "start", "power");
	musttally(s, 0, "sheet", "load", in_dir(s, "power.csv"));
}

#endif
