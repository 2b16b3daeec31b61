/* SPDX-License-Identifier: MIT */
/*
 * Whoever asks stands in the record: every verb that makes one, as two people who are neither the
 * owner of the daemon nor each other.  Takes root, to be other people.
 *
 * Each row waits for a record of its kind and looks whose it is.  At the end of all, every record
 * of the log but those that nobody asks for must name one of the two.
 */
#include "tests/daemon_stand.h"

#define OHM "accuracy ohm = 0.5% + 2\n"
#define WORDS_MAX 8

static const unsigned people[] = { 65534, 12345 };

static const struct row {
	const char *words[WORDS_MAX];
	const char *sees; /* in the record that it makes; NULL: it makes none of its own */
	/* What red shows from half a second after the call on; NULL: open leads.  With < in front:
	 * before the call, until it is held. */
	const char *says;
} rows[] = {
	{ { "job", "start", "%u" }, "\"state\":\"started\"", NULL },
	{ { "job", "set", "maker=x" }, "\"kind\":\"identity\"", NULL },
	{ { "sheet", "load", "%s/sheet.csv" }, "\"kind\":\"sheet\"", NULL },
	{ { "sheet", "add", "R4-R6 10k" }, "\"change\":\"added\"", NULL },
	{ { "sheet", "mirror", "R4-R6", "+100" }, "\"change\":\"mirrored\"", NULL },
	{ { "enter", "R1", "103k", "--from", "t" }, "\"kind\":\"entry\"", NULL },
	{ { "sheet", "set", "R1", "tolerance=1%" }, "\"kind\":\"rejudge\"", NULL },
	{ { "sheet", "fit", "R2", "nominal=110k" }, "\"kind\":\"fit\"", NULL },
	{ { "sheet", "rename", "R6", "R16" }, "\"kind\":\"rename\"", NULL },
	{ { "enter", "R7", "32.95k", "--from", "t" }, "\"kind\":\"entry\"", NULL },
	{ { "enter", "R8", "32.96k", "--from", "t" }, "\"kind\":\"entry\"", NULL },
	{ { "sheet", "twins", "accept", "R7" }, "\"twin\":\"R8", NULL },
	{ { "at", "R1" }, NULL, NULL },
	{ { "take", "--meter", "red" }, "\"state\":\"overload\"", NULL },
	{ { "undo" }, "\"kind\":\"strike\"", NULL },
	{ { "enter", "R3", "109k", "--from", "t", "--because", "x" }, "\"kind\":\"entry\"", NULL },
	{ { "move", "%n", "R4" }, "\"kind\":\"move\"", NULL },
	{ { "undo" }, "\"kind\":\"move\"", NULL },
	{ { "note", "R1", "a note" }, "\"text\":\"a note\"", NULL },
	{ { "note", "R1", "seen", "--photo", "%s/p.jpg" }, "\"photo\":", NULL },
	{ { "reach", "lifted" }, "\"reach\":\"lifted\"", NULL },
	{ { "condition", "done" }, "\"condition\":\"done\"", NULL },
	{ { "condition", "found" }, "\"condition\":\"found\"", NULL },
	{ { "reach", "in-circuit" }, "\"reach\":\"in-circuit\"", NULL },
	{ { "job", "fitted", "R1" }, "\"kind\":\"fitted\"", NULL },
	{ { "at", "R1", "--meter", "blue" }, "\"kind\":\"bind\"", NULL },
	{ { "at", "new", "R" }, "\"change\":\"new\"", NULL },
	{ { "at", "R2" }, NULL, NULL },
	{ { "there" }, "\"kind\":\"entry\"", "<+1.000 MOhm" },
	{ { "walk", "new", "--prefix", "C" }, "\"change\":\"new\"", NULL },
	{ { "walk", "off" }, NULL, NULL },
	{ { "offset", "short", "--meter", "red" }, "\"kind\":\"offset\"", "+0.20 Ohm" },
	{ { "meters", "check", "red", "REF" }, "\"kind\":\"check\"", "+100.1 kOhm" },
	{ { "lot", "100k", "part=red", "--yes" }, "\"event\":\"begun\"", NULL },
	{ { "leave" }, "\"event\":\"left\"", NULL },
	{ { "leak", "C1", "grid=blue", "--yes" }, "\"event\":\"begun\"", NULL },
	{ { "go" }, "\"event\":\"step\"", NULL },
	{ { "leave" }, "\"event\":\"left\"", NULL },
	{ { "leak", "C1", "grid=blue", "--yes", "--resume" }, "\"event\":\"resumed\"", NULL },
	{ { "leave" }, "\"event\":\"left\"", NULL },
	{ { "sheet", "set", "C9", "rated=200V" }, "\"rated\"", NULL },
	{ { "reform", "C9", "drop=blue", "part=green", "resistor=100k", "to=100V", "--yes" },
	  "\"event\":\"begun\"", NULL },
	{ { "leave" }, "\"event\":\"left\"", NULL },
	{ { "rise", "rail=blue", "because=x", "--yes" }, "\"event\":\"begun\"", NULL },
	{ { "leave" }, "\"event\":\"left\"", NULL },
	{ { "job", "live" }, "\"state\":\"live\"", NULL },
	{ { "tune", "RP1", "here=blue", "--yes" }, "\"event\":\"begun\"", NULL },
	{ { "leave" }, "\"event\":\"left\"", NULL },
	{ { "job", "cold" }, "\"state\":\"discharging\"", NULL },
	{ { "job", "close" }, "\"state\":\"closed\"", NULL },
};

static long last; /* number of the record that the row before made */

/* "%u" is the job's name, "%s" the stand's folder, "%n" the record of the row before. */
static const char *filled(struct stand *s, const char *word, unsigned uid, char out[160])
{
	if (!strcmp(word, "%u"))
		snprintf(out, 160, "of-%u", uid);
	else if (!strncmp(word, "%s", 2))
		snprintf(out, 160, "%s%s", s->dir, word + 2);
	else if (!strcmp(word, "%n"))
		snprintf(out, 160, "%ld", last);
	else
		return word;
	return out;
}

static pid_t start_as(struct stand *s, const struct row *r, unsigned uid, const char *out)
{
	char user[40], group[40], program[PATH_MAX], room[WORDS_MAX][160];
	const char *words[WORDS_MAX + 6] = { "setpriv", user, group, "--clear-groups", program };
	snprintf(user, sizeof user, "--reuid=%u", uid);
	snprintf(group, sizeof group, "--regid=%u", uid);
	snprintf(program, sizeof program, "%s/tally", build_dir());
	for (int i = 0; i < WORDS_MAX && r->words[i]; i++)
		words[5 + i] = filled(s, r->words[i], uid, room[i]);
	return child_start(s, words, out, out);
}

static void ckrow(struct stand *s, int red, struct peer *watch, const struct row *r, unsigned uid)
{
	char want[40], text[100] = "";
	const char *out = in_dir(s, "call.out");
	for (int i = 0; i < WORDS_MAX && r->words[i]; i++)
		snprintf(text + strlen(text), sizeof text - strlen(text), "%.30s ", r->words[i]);
	bool held = r->says && r->says[0] == '<', touches = r->says && !held;
	if (held) {
		nap_ms(1600); /* armed: its name was said, and the leads were open */
		meter_says(s, red, r->says + 1);
		mustsee(watch, "\"event\":\"held\"");
		meter_says(s, red, "OL MOhm");
	}
	unlink(out);
	pid_t pid = start_as(s, r, uid, out);
	if (touches) {
		nap_ms(500);
		meter_says(s, red, r->says);
	}
	int status = child_wait(s, pid);
	meter_says(s, red, "OL MOhm");
	if (r->says)
		nap_ms(1500); /* the leads are open again */
	/* 1: `job cold` waits for what is measured. */
	if (status > (r->words[1] && !strcmp(r->words[1], "cold")))
		fail_msg("%s: status %d: %s", text, status, file_text(out));
	if (!r->sees)
		return;
	snprintf(want, sizeof want, "\"uid\":%u", uid);
	for (;;) {
		const char *line = mustsee(watch, r->sees);
		if (!strstr(line, "\"method\":\"record\""))
			continue;
		if (!strstr(line, want))
			fail_msg("%sof %u: %s", text, uid, line);
		last = strtol(strstr(line, "\"seq\":") + 6, NULL, 10);
		return;
	}
}

/* Nobody asks for these; the steps of a guided run come by themselves, too. */
static bool nobodys(const char *text)
{
	static const char *const kinds[] = { "log", "clock", "meter", "trail", "gap", "bad", "checkpoint" };
	char want[40];
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		snprintf(want, sizeof want, "\"kind\":\"%s\"", kinds[i]);
		if (strstr(text, want))
			return true;
	}
	return strstr(text, "\"event\":\"step\"") != NULL;
}

static void test_everybody(void **state)
{
	struct stand *s = *state;
	if (getuid() != 0) {
		print_message("   skipped: it takes root to be somebody else\n");
		skip();
	}
	chmod(s->dir, 0755);
	file_write(in_dir(s, "sheet.csv"), "position,kind,nominal,tolerance,role,with\n"
	           "R1,resistor,100k,5%,,\nR2,resistor,100k,5%,,\nR3,resistor,100k,5%,,\n"
	           "R9,resistor,1M,5%,grid leak,\nC1,film,100n,10%,coupling,R9\n"
	           "C9,electrolytic,47u,20%,reservoir,\nREF,reference,100 kohm,1%,,\n"
	           "B1,rail,-35 V,5%,,\nHT1,rail,285 V,5%,,\nRP1,pot,10k,20%,,B1\nR7,resistor,33k,5%,,\nR8,resistor,33k,5%,,\n");
	file_write(in_dir(s, "p.jpg"), "\xff\xd8\xff\xe0 no picture, but it begins as one\n");
	int red = meter_new(s, "red", 20, OHM),
	    blue = meter_new(s, "blue", 10, "isolated = yes\nrated = 600 V\ninput volt-dc = 10M\n"),
	    green = meter_new(s, "green", 10, "isolated = yes\nrated = 600 V\ninput volt-dc = 10M\n");
	meter_says(s, red, "OL MOhm");
	meter_says(s, blue, "+0.001 V DC");
	meter_says(s, green, "+0.001 V DC");
	meter_plug(s, red);
	meter_plug(s, blue);
	meter_plug(s, green);
	daemon_start(s);
	assert_int_equal(chmod(s->socket, 0666), 0);
	wait_until(s, meter_said(s, red) > 20 && meter_said(s, blue) > 5 && meter_said(s, green) > 5);
	struct peer *watch = peer_watching(s, 0);
	for (size_t p = 0; p < sizeof people / sizeof *people; p++)
		for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
			ckrow(s, red, watch, &rows[i], people[p]);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	char *all = log_texts(s, s->log);
	int named = 0;
	for (char *line = strtok(all, "\n"); line; line = strtok(NULL, "\n")) {
		bool whose = strstr(line, "\"uid\":65534") || strstr(line, "\"uid\":12345");
		if (!whose && !nobodys(line))
			fail_msg("nobody asked for %s", line);
		named += whose;
	}
	print_message("  %d records name who asked\n", named);
	free(all);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_everybody),
	};
	return run_on_stand(tests);
}
