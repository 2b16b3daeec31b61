/* SPDX-License-Identifier: MIT */
/*
 * A bench without a daemon: struct bench over a log in memory (or a file), in
 * virtual time, with meters that are lines of text.
 *
 * A scene is what the meters say and what the person does, one thing a line:
 *
 *     red OL MOhm *8           red sends "OL MOhm" 8 times, at its pace
 *     red ~100.2 kOhm *10      the last digit is now and then one more
 *     red glide 285.0 0.0 1.5 V *20   toward 0.0 with a time constant of 1.5 s
 *     red wait 2               red is silent for 2 s
 *     red every 0.001          its pace from here on, s (0.25 at first)
 *     red twice                sends each conversion two times from here on
 *     @2.5 at R1               an act at 2.5 s, with the words of recordings
 *
 * Each meter has its own time, from 0; the scene is played in order of time.
 * Afterwards stand.made says which entries came (and gaps, strikes, rejudges),
 * stand.says what people were told, stand.up what came up; the seal's numbers are
 * checked, and that every entry names its readings.
 */
#ifndef TALLY_TESTS_BENCH_STAND_H
#define TALLY_TESTS_BENCH_STAND_H

#include "daemon/bench.h"
#include "tests/trail_check.h"

#include <inttypes.h>

#define STAND_UTC INT64_C(946684800000000)
#define STAND_METERS 64

struct stand_step {
	int64_t t;
	int order, meter; /* meter -1: an act */
	char text[96];
};

struct stand {
	struct config *config;
	struct log *log;
	struct bench *bench;
	struct fault why;
	char **record; /* as they became durable */
	int records, records_size;
	char made[16384], says[16384], up[4096], refused[4096];
	char missing[4096]; /* what was said of parts that a walk left, and at its end */
	char silent[4096]; /* who was stale or fresh again, and when */
	int64_t t; /* where the last scene ended */
	unsigned dice;
	struct stand_step *step;
	int steps, steps_size;
	int64_t clock[STAND_METERS], every[STAND_METERS];
	bool twice[STAND_METERS];
	bool deaf; /* what the log answers is not collected */
};

/* ---- what comes out ---- */

static inline void stand_append(char *list, size_t size, const char *text)
{
	size_t n = strlen(list);
	snprintf(list + n, size - n, "%s%s", n ? "; " : "", text);
}

/* The string member `key` of a JSON text; "" where there is none. */
static inline const char *stand_member(const char *json, const char *key)
{
	static char out[4][256];
	static int turn;
	char wanted[64], *o = out[turn++ % 4];
	snprintf(wanted, sizeof wanted, "\"%s\":\"", key);
	const char *p = strstr(json, wanted);
	size_t n = p ? strcspn(p + strlen(wanted), "\"") : 0;
	snprintf(o, 256, "%.*s", (int)(n < 255 ? n : 255), p ? p + strlen(wanted) : "");
	return o;
}

static inline void stand_tell_entry(struct stand *s, const char *text)
{
	char line[400];
	struct entry e;
	assert_true(entry_read(text, strlen(text), &e));
	snprintf(line, sizeof line, "%s %s %s%s%s%s%s%s%s%s", e.position, e.meter,
	         stand_member(text, "shown"), e.quantity == QUANTITY_VALUE ? "" : " ",
	         e.quantity == QUANTITY_VALUE ? "" : quantity_name(e.quantity),
	         e.condition == CONDITION_FOUND ? "" : " ",
	         e.condition == CONDITION_FOUND ? "" : condition_name(e.condition),
	         e.reach == REACH_IN_CIRCUIT ? "" : " ",
	         e.reach == REACH_IN_CIRCUIT ? "" : reach_name(e.reach), e.settled ? "" : " moving");
	stand_append(s->made, sizeof s->made, line);
}

static inline void stand_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct stand *s = arg;
	struct record_head head;
	char line[400];
	if (s->records == s->records_size) {
		s->records_size = s->records_size ? 2 * s->records_size : 256;
		s->record = realloc(s->record, (size_t)s->records_size * sizeof *s->record);
		assert_non_null(s->record);
	}
	/* What the log wrote as it was opened stands before the first one heard of. */
	while (s->records + 1 < seq)
		s->record[s->records++] = strdup("");
	assert_int_equal(seq, s->records + 1);
	assert_true(record_head_read(text, len, &head));
	s->record[s->records++] = strdup(text);
	if (strcmp(head.kind, "entry") == 0) {
		stand_tell_entry(s, text);
	} else if (strcmp(head.kind, "strike") == 0 || strcmp(head.kind, "rejudge") == 0) {
		snprintf(line, sizeof line, "%s %s", head.kind, stand_member(text, "position"));
		stand_append(s->made, sizeof s->made, line);
	} else if (strcmp(head.kind, "gap") == 0) {
		snprintf(line, sizeof line, "gap %s", stand_member(text, "meter"));
		stand_append(s->made, sizeof s->made, line);
	}
}

static inline void stand_event(void *arg, const char *json)
{
	struct stand *s = arg;
	static const char *const quiet[] = {"logged", "reach", "walk", "condition", "freed", "bound",
	                                    "stale", "fresh", "moved", "errand", "offset", "check",
	                                    "caution", "missing"};
	const char *event = stand_member(json, "event"), *position = stand_member(json, "position");
	char line[400];
	if (strcmp(event, "up") == 0) {
		snprintf(line, sizeof line, "%s%s", position,
		         strstr(json, "\"armed\":\"no\"") ? "-" : "");
		stand_append(s->up, sizeof s->up, line);
		return;
	}
	if (strcmp(event, "stale") == 0 || strcmp(event, "fresh") == 0) {
		snprintf(line, sizeof line, "%s %s %.6s", event, stand_member(json, "meter"),
		         stand_member(json, "t") + 17);
		stand_append(s->silent, sizeof s->silent, line);
	}
	if (strcmp(event, "missing") == 0 || strcmp(event, "done") == 0) {
		snprintf(line, sizeof line, "%.390s", stand_member(json, "text"));
		stand_append(s->missing, sizeof s->missing, line);
	}
	for (size_t i = 0; i < sizeof quiet / sizeof *quiet; i++)
		if (strcmp(event, quiet[i]) == 0)
			return;
	const char *looks = stand_member(json, "looks");
	snprintf(line, sizeof line, "%s%s%s%s%s", event, position[0] ? " " : "", position,
	         looks[0] ? " like " : "", looks);
	stand_append(s->says, sizeof s->says, line);
}

/* ---- beginning and end ---- */

static const char stand_config[] =
    "[bench]\nname = tests\n"
    "[meter red]\ndialect = ascii-unit\naccuracy ohm = 0.5% + 2\naccuracy farad = 1% + 3\n"
    "[meter blue]\ndialect = ascii-unit\naccuracy ohm = 0.5% + 2\n"
    "[meter dup]\ndialect = ascii-unit\nconversion = 2\n"
    "[meter bench]\ndialect = scpi\nsetup = CONF:RES\nquery = READ?\naccuracy ohm = 0.02% + 3\n";

static const char stand_sheet[] = "position,kind,nominal,tolerance,role,twin\n"
                                  "R1,carbon-composition,100k,10%,anode load,R2\n"
                                  "R2,carbon-composition,100k,10%,anode load,R1\n"
                                  "R3,metal-film,47k,1%,grid leak,\n"
                                  "R4,metal-film,1k,1%,cathode,R5\n"
                                  "C1,paper,0.1 uF,10%,coupling,\n"
                                  "C2,film,0.33 uF,10%,coupling,\n"
                                  "HT1,rail,285 V,5%,,\n"
                                  "BIAS,rail,-35 V,+-2 V,,\n"
                                  "R5,metal-film,2.2k,1%,cathode,R4\n";

/* send NULL: a replay, in which nobody is asked. */
static inline void stand_bench(struct stand *s,
                               void (*send)(void *arg, const char *meter, const char *bytes,
                                            size_t len))
{
	struct bench_options bo = {.config = s->config, .log = s->log,
	                           .hooks = {.send = send, .record = stand_record,
	                                     .event = stand_event, .arg = s},
	                           .replay = !send, .utc = STAND_UTC, .boot = "test",
	                           .version = "test"};
	bench_free(s->bench);
	s->bench = bench_open(&bo, &s->why);
	assert_non_null(s->bench);
}

static inline void stand_open(struct stand *s, const char *config, const char *path,
                              const char *vfs)
{
	static const uint8_t identity[16] = "bench stand";
	struct log_options lo = {.path = path, .bench = "tests", .version = "test",
	                         .inline_mode = true, .identity = identity, .now = STAND_UTC,
	                         .vfs = vfs};
	memset(s, 0, sizeof *s);
	s->config = calloc(1, sizeof *s->config);
	assert_non_null(s->config);
	if (!config_parse("tests.conf", config, strlen(config), true, s->config, &s->why) ||
	    !(s->log = log_open(&lo, &s->why)))
		fail_msg("%s", s->why.text);
	stand_bench(s, NULL);
	for (int i = 0; i < STAND_METERS; i++)
		s->every[i] = 250000;
}

static inline void stand_load(struct stand *s, const char *sheet)
{
	if (!bench_sheet_load(s->bench, s->t, "tests.csv", sheet, strlen(sheet), NULL,
	                      (struct bench_wait){0}, &s->why))
		fail_msg("%s", s->why.text);
	bench_collect(s->bench);
}

/* A bench with the usual meters and sheet. */
static inline void stand_begin(struct stand *s)
{
	stand_open(s, stand_config, ":memory:", NULL);
	stand_load(s, stand_sheet);
}

static inline void stand_free(struct stand *s)
{
	bench_free(s->bench);
	log_close(s->log);
	config_free(s->config);
	free(s->config);
	for (int i = 0; i < s->records; i++)
		free(s->record[i]);
	free(s->record);
	free(s->step);
}

/* ---- scenes ---- */

static inline struct stand_step *stand_step(struct stand *s, int64_t t, int meter)
{
	if (s->steps == s->steps_size) {
		s->steps_size = s->steps_size ? 2 * s->steps_size : 1024;
		s->step = realloc(s->step, (size_t)s->steps_size * sizeof *s->step);
		assert_non_null(s->step);
	}
	s->step[s->steps] = (struct stand_step){.t = t, .order = s->steps, .meter = meter};
	return &s->step[s->steps++];
}

static inline int stand_by_time(const void *a, const void *b)
{
	const struct stand_step *x = a, *y = b;
	if (x->t != y->t)
		return x->t < y->t ? -1 : 1;
	return x->order - y->order;
}

/* One more of the last digit, at every fourth. */
static inline void stand_jitter(struct stand *s, char *frame)
{
	size_t n = strcspn(frame, " ");
	if (s->dice++ % 4 == 1 && n && frame[n - 1] >= '0' && frame[n - 1] < '9')
		frame[n - 1]++;
}

static inline void stand_frame(struct stand *s, int meter, const char *frame)
{
	bool scpi = strcmp(s->config->meter[meter].dialect->name, "scpi") == 0;
	struct stand_step *step = stand_step(s, s->clock[meter], meter);
	snprintf(step->text, sizeof step->text, "%.80s%s", frame, scpi ? "\n" : "\r\n");
	s->clock[meter] += s->every[meter];
}

static inline void stand_glide(struct stand *s, int meter, const char *frame, int times)
{
	char from[32], unit[32], out[128];
	double to, tau;
	assert_int_equal(sscanf(frame, "%31s %lf %lf %31[^\n]", from, &to, &tau, unit), 4);
	int decimals = strchr(from, '.') ? (int)strlen(strchr(from, '.')) - 1 : 0;
	double start = atof(from), every = (double)s->every[meter] / 1e6;
	for (int i = 0; i < times; i++) {
		snprintf(out, sizeof out, "%.*f %s", decimals,
		         to + (start - to) * exp(-i * every / tau), unit);
		stand_frame(s, meter, out);
	}
}

static inline void stand_talk(struct stand *s, int meter, char *what)
{
	char *star = strrchr(what, '*');
	int times = star ? atoi(star + 1) : 1;
	if (star)
		for (*star-- = '\0'; star >= what && *star == ' '; star--)
			*star = '\0';
	if (strncmp(what, "wait ", 5) == 0) {
		s->clock[meter] += (int64_t)(atof(what + 5) * 1e6);
	} else if (strncmp(what, "every ", 6) == 0) {
		s->every[meter] = (int64_t)(atof(what + 6) * 1e6);
	} else if (strcmp(what, "twice") == 0) {
		s->twice[meter] = true;
	} else if (strncmp(what, "glide ", 6) == 0) {
		stand_glide(s, meter, what + 6, times);
	} else {
		for (int i = 0; i < times; i++) {
			char frame[96];
			snprintf(frame, sizeof frame, "%.80s", what + (what[0] == '~'));
			if (what[0] == '~')
				stand_jitter(s, frame);
			stand_frame(s, meter, frame);
			if (s->twice[meter])
				stand_frame(s, meter, frame);
		}
	}
}

static inline void stand_line(struct stand *s, int64_t began, char *line)
{
	line += strspn(line, " \t");
	if (!line[0])
		return;
	if (line[0] == '@') {
		char *rest;
		double at = strtod(line + 1, &rest);
		snprintf(stand_step(s, began + (int64_t)(at * 1e6), -1)->text, 96, "%s", rest + 1);
		return;
	}
	size_t n = strcspn(line, " ");
	line[n] = '\0';
	int meter = bench_meter_index(s->bench, line);
	if (meter < 0)
		fail_msg("the scene has no meter %s", line);
	stand_talk(s, meter, line + n + 1);
}

static inline void stand_act(struct stand *s, int64_t t, const char *text)
{
	char act[32];
	size_t n = strcspn(text, " ");
	snprintf(act, sizeof act, "%.*s", (int)n, text);
	struct fault why = {0};
	if (!bench_act(s->bench, t, act, text[n] ? text + n + 1 : "", &why)) {
		stand_append(s->refused, sizeof s->refused, act);
		s->why = why; /* of the last one */
	}
}

static inline bool stand_check_trail(struct stand *s)
{
	bool good = true;
	for (int i = 0; i < s->records; i++) {
		struct entry e;
		if (!entry_read(s->record[i], strlen(s->record[i]), &e))
			continue;
		int meter = bench_meter_index(s->bench, e.meter);
		int frames = meter >= 0 && s->twice[meter] ? 2 : 1;
		if (!trail_names_right(s->record, s->records, s->record[i], frames)) {
			print_error("  its trail is wrong: %s\n", s->record[i]);
			good = false;
		}
	}
	return good;
}

/* Play a scene from where the last one ended. */
static inline void stand_play(struct stand *s, const char *scene)
{
	char *text = strdup(scene), *save = NULL;
	int64_t began = s->t;
	s->steps = 0;
	for (int i = 0; i < STAND_METERS; i++)
		s->clock[i] = began;
	for (char *line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save))
		stand_line(s, began, line);
	free(text);
	if (s->steps)
		qsort(s->step, (size_t)s->steps, sizeof *s->step, stand_by_time);
	for (int i = 0; i < s->steps; i++) {
		const struct stand_step *step = &s->step[i];
		if (step->meter < 0)
			stand_act(s, step->t, step->text);
		else
			bench_line_bytes(s->bench, step->t, step->meter, step->text, strlen(step->text));
		if (!s->deaf)
			bench_collect(s->bench);
		s->t = step->t;
	}
	for (int i = 0; i < STAND_METERS; i++)
		if (s->clock[i] > s->t)
			s->t = s->clock[i];
	bench_run_until(s->bench, s->t);
	if (!s->deaf)
		bench_collect(s->bench);
}

/* ---- tables of scenes ---- */

struct scene {
	const char *what, *scene;
	const char *made;           /* entries and the like, "; " between */
	const char *says, *up, *refused; /* NULL: does not matter */
};

static inline bool stand_same(const char *what, const char *got, const char *want)
{
	if (!want || strcmp(got, want) == 0)
		return true;
	print_error("  %s: got  \"%s\"\n  %*s  want \"%s\"\n", what, got, (int)strlen(what), "", want);
	return false;
}

static inline void stand_run_scenes(const struct scene *row, size_t rows)
{
	int wrong = 0;
	for (size_t i = 0; i < rows; i++) {
		struct stand *s = calloc(1, sizeof *s);
		assert_non_null(s);
		stand_begin(s);
		stand_play(s, row[i].scene);
		bool good = stand_same("made", s->made, row[i].made);
		good = stand_same("says", s->says, row[i].says) && good;
		good = stand_same("up", s->up, row[i].up) && good;
		good = stand_same("refused", s->refused, row[i].refused) && good;
		bench_finish(s->bench, s->t);
		bench_collect(s->bench);
		good = stand_check_trail(s) && good;
		if (!good) {
			note_row("%s", row[i].what);
			wrong++;
		}
		stand_free(s);
		free(s);
	}
	assert_int_equal(wrong, 0);
}

#endif
