/* SPDX-License-Identifier: MIT */
/*
 * What guided runs say in between, both languages: no sentence without its German twin.
 *
 * The sentences are read out of the sources: each text that a run can say, be stopped or refuse
 * with.  A number stands for each of its numbers, the name of a position for each of its words.
 * What is put together on the way is played, for every kind.
 */
#include "tests/check.h"

#include "client/guide_words.h"
#include "client/report_guide.h"
#include "client/turn.h"
#include "protocol/guide/guide_parts.h"

#include <dirent.h>
#include <jansson.h>
#include <stdlib.h>

static const char *const sources[] = {
    "protocol/guide/guide.c",      "protocol/guide/guide_leak.c",          "protocol/guide/guide_reform.c",
    "protocol/guide/guide_rise.c", "protocol/guide/guide_reform_course.c", "protocol/guide/guide_tune.c",
    "protocol/guide/guide_lot.c",  "protocol/guide/guide_rise_watch.c",    "daemon/bench_guide.c",
    "daemon/bench_guide_hand.c",   "daemon/bench_guide_kept.c",
};

/* A call whose texts reach the ear, and the function that only the one who types hears. */
static const char *const calls[] = {"snprintf(out->text,", "snprintf(text, sizeof text,", "ABORT(",
                                    "guide_give_up(", "hosted_tell(", "fault_set(why,",
                                    "guard_alarm(b, \"guide\",", "snprintf(gd.alarm,"};
static const char *const typed[] = {
    "static bool begin(", "static bool state_suits(", "static bool kind_named(", "bool bench_guide_start(",
    "bool bench_guide_resume(", "static bool put_first("};

/* ---- sources ---- */

static char *slurp(const char *path)
{
	FILE *f = fopen(path, "r");
	if (!f)
		fail_msg("%s is not there", path);
	char *text = calloc(1, 1 << 20);
	assert_non_null(text);
	assert_true(fread(text, 1, (1 << 20) - 1, f) > 0);
	fclose(f);
	return text;
}

/* The function in which `at` stands: from the last line before that is not indented and ends in ). */
static bool for_the_typist(const char *text, const char *at)
{
	const char *head = at;
	while (head > text && !(head[-1] == '\n' && *head == '{'))
		head--;
	for (int lines = 0; head > text && lines < 3; lines++) {
		head--;
		while (head > text && head[-1] != '\n')
			head--;
		for (size_t i = 0; i < sizeof typed / sizeof *typed; i++)
			if (strncmp(head, typed[i], strlen(typed[i])) == 0)
				return true;
	}
	return false;
}

/* Formats, with something for each %. */
static void sample(const char *format, size_t n, char *out, size_t size)
{
	size_t len = 0;
	for (size_t i = 0; i < n && len + 8 < size; i++) {
		if (format[i] == '\\') { /* \" */
			out[len++] = format[++i];
		} else if (format[i] != '%') {
			out[len++] = format[i];
		} else if (format[i + 1] == '%') {
			out[len++] = '%';
			i++;
		} else {
			i += 1 + strspn(format + i + 1, "0123456789.*+-hlz");
			/* The value of its unit, where none stands behind it. */
			const char *some = format[i] == 's' ? "4.7 V" : "12";
			if (format[i] == 's' && (strncmp(format + i + 1, "=NAME", 5) == 0 || i + 1 - 2 < 3))
				some = "C1";
			len += (size_t)snprintf(out + len, size - len, "%s", some);
		}
	}
	out[len] = '\0';
}

static int letters(const char *text)
{
	int n = 0;
	for (; *text; text++)
		n += (*text >= 'a' && *text <= 'z') || (*text >= 'A' && *text <= 'Z');
	return n;
}

static bool has_twin(const char *said)
{
	char en[GUIDE_WORDS_SIZE], de[GUIDE_WORDS_SIZE];
	return guide_words(LANGUAGE_EN, GUIDE_SPOKEN, said, en, sizeof en) &&
	       guide_words(LANGUAGE_DE, GUIDE_SPOKEN, said, de, sizeof de) && strcmp(en, de) != 0;
}

/* Each literal of a call that has words of its own; how many, and how many of them lack a twin. */
static void call_texts(const char *path, const char *at, int *texts, int *lack)
{
	char format[1000] = "", said[1200];
	size_t n = 0;
	for (; *at && *at != ';'; at++) {
		if (*at == '"') {
			const char *end = at + 1;
			while (*end != '"' || end[-1] == '\\')
				end++;
			n += (size_t)snprintf(format + n, sizeof format - n, "%.*s", (int)(end - at - 1), at + 1);
			at = end;
			const char *next = end + 1 + strspn(end + 1, " \t\n");
			if (*next == '"')
				continue;
			sample(format, n, said, sizeof said);
			n = 0;
			/* Pieces, names of states and events have no blank between words. */
			if (letters(format) < 8 || !strchr(format, ' ') || format[0] == ',' || format[0] == ';')
				continue;
			++*texts;
			if (!has_twin(said)) {
				print_error("%s: %s\n", path, said);
				++*lack;
			}
		}
	}
}

static void every_text_has_its_twin(void **state)
{
	int texts = 0, lack = 0;
	(void)state;
	for (size_t i = 0; i < sizeof sources / sizeof *sources; i++) {
		char *text = slurp(sources[i]);
		int before = texts;
		for (size_t c = 0; c < sizeof calls / sizeof *calls; c++)
			for (const char *at = text; (at = strstr(at, calls[c])); at += strlen(calls[c])) {
				const char *line = at;
				while (line > text && line[-1] != '\n')
					line--;
				if (*line != '#' && !for_the_typist(text, at))
					call_texts(sources[i], at + strlen(calls[c]) - 1, &texts, &lack);
			}
		note_row("%s: %d", sources[i], texts - before);
		free(text);
	}
	for (int k = 0; k < GUIDE_KINDS; k++)
		for (int i = 0; i < guide_roles((enum guide_kind)k); i++) {
			const char *where = guide_role((enum guide_kind)k, i)->where;
			bool good = has_twin(where);
			texts++;
			lack += !good;
			if (!good)
				print_error("%s: %s\n", guide_name((enum guide_kind)k), where);
		}
	for (int k = 0; k < GUIDE_KINDS; k++)
		for (const char *const *c = guide_cautions((enum guide_kind)k); *c; c++, texts++)
			if (!has_twin(*c)) {
				print_error("caution: %s\n", *c);
				lack++;
			}
	assert_true(texts > 85); /* and they were found */
	assert_int_equal(lack, 0);
}

/* ---- what is put together on the way ---- */

static struct guide begun(enum guide_kind k, double nominal, enum function f, const char *twin)
{
	struct guide g;
	struct guide_plan p;
	struct fault why;
	guide_plan_empty(&p);
	strcpy(p.of, k == GUIDE_LOT ? "4k7" : "R21");
	snprintf(p.twin, sizeof p.twin, "%s", twin);
	p.function = f;
	p.nominal = nominal;
	for (int i = 0; i < GUIDE_ROLES; i++)
		p.there[i] = true;
	if (!guide_begin(&g, k, &p, &why))
		fail_msg("%s", why.text);
	return g;
}

static void heard(const char *text)
{
	if (text[0] && !has_twin(text))
		fail_msg("nobody has words for: %s", text);
	note_row("%s", text);
}

static void input(struct guide *g, struct guide_input in, int64_t *t)
{
	struct guide_out out;
	in.t = *t += 3000000;
	guide_input(g, &in, &out);
	heard(out.text);
}

static void words_by_ear(void **state)
{
	static const struct { double target; enum function f; const char *twin; double reads[6]; } modes[] = {
	    {0.42, FUNCTION_VOLT_DC, "", {0.30, 0.419, 0.42, 0.421, 0.60}},
	    {-35, FUNCTION_VOLT_DC, "", {-50, -35.1, -35, -34.9, -20}},
	    {NAN, FUNCTION_VOLT_DC, "R22", {0.30, 0.41, 0.42, 0.43, 0.60}},
	    {NAN, FUNCTION_VOLT_AC, "", {0.030, 0.020, 0.0021, 0.0022, 0.09}}};
	(void)state;
	for (size_t m = 0; m < sizeof modes / sizeof *modes; m++) {
		struct guide g = begun(GUIDE_TUNE, modes[m].target, modes[m].f, modes[m].twin);
		int64_t t = 0;
		input(&g, (struct guide_input){.act = GUIDE_GO}, &t);
		input(&g, (struct guide_input){.act = GUIDE_GO}, &t);
		for (int i = 0; i < 5; i++) {
			input(&g, (struct guide_input){.act = GUIDE_READING, .role = 1, .x = {0.42, 0.001},
			                               .function = modes[m].f}, &t);
			input(&g, (struct guide_input){.act = GUIDE_READING, .x = {modes[m].reads[i], 0.001},
			                               .function = modes[m].f}, &t);
		}
	}
}

static void words_of_a_lot(void **state)
{
	static const double parts[] = {4712, 4655, 8000, 2000, 4713, 4690, 4.7e6};
	(void)state;
	struct guide g = begun(GUIDE_LOT, 4700, FUNCTION_OHM, "");
	struct guide_input open = {.act = GUIDE_READING, .over = true, .function = FUNCTION_OHM};
	int64_t t = 0;
	strcpy(g.plan.fit[0], "R1");
	strcpy(g.plan.fit[1], "R2");
	strcpy(g.plan.fit[2], "R3");
	strcpy(g.plan.fit[3], "R4");
	input(&g, (struct guide_input){.act = GUIDE_GO}, &t);
	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
		input(&g, open, &t);
		input(&g, (struct guide_input){.act = GUIDE_SETTLED, .x = {parts[i], 5}, .function = FUNCTION_OHM}, &t);
	}
	input(&g, open, &t);
	input(&g, (struct guide_input){.act = GUIDE_READING, .x = {8100, 5}, .function = FUNCTION_OHM}, &t);
	input(&g, (struct guide_input){.act = GUIDE_GO}, &t); /* as it stood */
	input(&g, open, &t);
	for (int i = 0; i < 8; i++)
		input(&g, (struct guide_input){.act = GUIDE_BACK}, &t);
	input(&g, (struct guide_input){.act = GUIDE_BACK, .number = 30}, &t);
	input(&g, (struct guide_input){.act = GUIDE_GO}, &t); /* stays */
	for (int fits = 0; fits <= 4; fits += 2) {
		struct guide at = g;
		at.plan.fits = fits;
		input(&at, (struct guide_input){.act = GUIDE_GO}, &t); /* the pairs */
		assert_string_equal(guide_step_word(&at), "pairs");
	}
}

/* ---- in the report ---- */

static int lacks(const struct report *english, enum report_guide_words of, const char *name)
{
	struct report german = *english;
	char en[200];
	german.german = true;
	snprintf(en, sizeof en, "%s", report_guide_word(english, of, name));
	const char *de = report_guide_word(&german, of, name);
	/* Where none is known it is the name, in both. */
	bool good = de[0] && (strcmp(de, name) != 0 || strcmp(en, name) != 0);
	if (!good)
		print_error("no word in the report for %s\n", name);
	return !good;
}

/* Names of members, and the words that stand as values, in the results of the kept runs. */
static int members_lack(const struct report *english, json_t *value)
{
	/* What has a column or a sentence of its own, or no words at all. */
	static const char *const own[] = {"calculated", "assumed", "unit", "value", "u", "apart", "what", "position",
	                                  "stations", "watts-u", "watts-verdict", "for"};
	const char *key;
	json_t *one;
	size_t i;
	int lack = 0;
	json_object_foreach(value, key, one) {
		bool told = false;
		for (size_t k = 0; k < sizeof own / sizeof *own; k++)
			told = told || strcmp(key, own[k]) == 0;
		if (!told)
			lack += lacks(english, REPORT_GUIDE_MEMBER, key);
		if (strcmp(key, "what") == 0 || strcmp(key, "sets") == 0 || strcmp(key, "by") == 0)
			lack += lacks(english, REPORT_GUIDE_VALUE, json_string_value(one));
		if (json_is_object(one) || json_is_array(one))
			lack += members_lack(english, one);
	}
	json_array_foreach(value, i, one)
		if (json_is_object(one))
			lack += members_lack(english, one);
	return lack;
}

static int results_lack(const struct report *english, const char *name, int *results)
{
	char path[300];
	int lack = 0;
	snprintf(path, sizeof path, "tests/recordings/guided/%s", name);
	char *text = slurp(path), *save, *line;
	for (line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save)) {
		json_t *record = json_loads(line, 0, NULL), *result = json_object_get(record, "result");
		*results += result != NULL;
		lack += members_lack(english, result);
		json_decref(record);
	}
	free(text);
	return lack;
}

static void words_of_the_report(void **state)
{
	struct report english = {.german = false}, german = {.german = true};
	int lack = 0, results = 0;
	(void)state;
	for (int k = 0; k < GUIDE_KINDS; k++) {
		const char *kind = guide_name((enum guide_kind)k);
		struct guide g = {.kind = (enum guide_kind)k};
		static char road[16384];
		struct text t;
		lack += lacks(&english, REPORT_GUIDE_KIND, kind);
		for (int i = 0; i < guide_roles(g.kind); i++)
			lack += lacks(&english, REPORT_GUIDE_ROLE, guide_role(g.kind, i)->name);
		/* "4  zero: ..." */
		text_begin(&t, road, sizeof road);
		guide_plan_empty(&g.plan);
		guide_dry(&g, &t);
		assert_false(t.failed);
		for (const char *at = road; at && *at; at = strchr(at, '\n') ? strchr(at, '\n') + 1 : NULL) {
			char step[40];
			if (*at < '0' || *at > '9' || sscanf(at, "%*d %39[^:]:", step) != 1)
				continue;
			const char *en = report_guide_step(&english, kind, step);
			const char *de = report_guide_step(&german, kind, step);
			if (strcmp(en, de) == 0 || strcmp(de, step) == 0) {
				print_error("no word in the report for the step %s of %s\n", step, kind);
				lack++;
			}
		}
	}
	static const char *const ends[] = {"done", "stopped", "left"};
	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
		lack += lacks(&english, REPORT_GUIDE_END, ends[i]);
	DIR *folder = opendir("tests/recordings/guided");
	assert_non_null(folder);
	for (struct dirent *e; (e = readdir(folder));)
		if (strstr(e->d_name, ".want"))
			lack += results_lack(&english, e->d_name, &results);
	closedir(folder);
	assert_true(results > 30);
	assert_int_equal(lack, 0);
}

/* Before the yes each caution is spoken, whole, and then what to do. */
static void cautions_are_spoken(void **state)
{
	static const enum language languages[] = {LANGUAGE_EN, LANGUAGE_DE};
	(void)state;
	for (int k = 0; k < GUIDE_KINDS; k++) {
		const char *const *c = guide_cautions((enum guide_kind)k);
		char key[40];
		snprintf(key, sizeof key, "%s.caution", guide_name((enum guide_kind)k));
		struct happening_told told = {.what = HAPPENED_GUIDE, .guide = key, .position = "C20"};
		for (int l = 0; l < 2; l++) {
			char said[TURN_TEXT], words[GUIDE_WORDS_SIZE];
			const char *at = said, *end = l ? "weiter, wenn sie eingehalten sind" : "go on when they hold";
			speech_happening(languages[l], &told, false, said, sizeof said);
			note_row("%s", said);
			for (int i = 0; c[i]; i++) {
				assert_true(guide_words(languages[l], GUIDE_SPOKEN, c[i], words, sizeof words));
				at = strstr(at, words);
				assert_non_null(at);
			}
			assert_string_equal(said + strlen(said) - strlen(end), end);
		}
	}
}

/* ---- rows: what is said, spoken in both languages, written in German ---- */

static const struct {
	const char *is, *en, *de, *written;
} rows[] = {
    {"the guided run is done", "the guided run is done", "der geführte Lauf ist beendet",
     "der geführte Lauf ist beendet"},
    {"the rail is at 463 V, above 450 V: SWITCH OFF",
     "the rail is at four hundred sixty-three volts, above four hundred fifty volts",
     "die Versorgungsspannung liegt bei vierhundertdreiundsechzig Volt, die Grenze ist vierhundertfünfzig Volt",
     "die Versorgungsspannung liegt bei 463 V, die Grenze ist 450 V"},
    {"SWITCH OFF. given up: C20 reads -9.0 V: it or its meter is the wrong way round",
     "given up: C twenty reads minus nine point zero volts: it or its meter is the wrong way round",
     "aufgegeben: C zwanzig zeigt minus neun Komma null Volt: der Elko oder sein Messgerät ist verpolt",
     "aufgegeben: C20 zeigt -9,0 V: der Elko oder sein Messgerät ist verpolt"},
    {"SWITCH OFF: the bias at R22 rose by 26 % over the soak: it runs away. Hands off, transformer to zero, "
     "mains off, discharge, measure dead",
     "the bias at R twenty-two rose by twenty-six percent over the soak: it runs away; transformer to zero, "
     "mains off, discharge, measure dead",
     "der Ruhestrom an R zweiundzwanzig ist im Warmlauf um sechsundzwanzig Prozent gestiegen: die Röhre geht "
     "durch; Stelltrafo auf null, Netz aus, entladen, Spannungsfreiheit nachmessen", NULL},
    {"3: 4.713 kohm", "three: four point seven one three kilo-ohms",
     "Teil drei: vier Komma sieben eins drei Kiloohm", "Teil 3: 4,713 kohm"},
    {"5: 5.6 kohm, outside: 19.1 % high, as it stood",
     "five: five point six kilo-ohms, outside: nineteen point one percent high, as it stood",
     "Teil fünf: fünf Komma sechs Kiloohm, außerhalb, neunzehn Komma eins Prozent zu hoch, wie es gerade stand",
     "Teil 5: 5,6 kohm, außerhalb, 19,1 % zu hoch, wie es gerade stand"},
    {"1 and 3 for R1 and R2; 4 and 7 for R3 and R4",
     "one and three for R one and R two; four and seven for R three and R four",
     "eins und drei für R eins und R zwei; vier und sieben für R drei und R vier",
     "1 und 3 für R1 und R2; 4 und 7 für R3 und R4"},
    {"410 mV, 10 mV below, inside", "four hundred ten millivolts, ten millivolts below, inside",
     "vierhundertzehn Millivolt, zehn Millivolt darunter, in den Grenzen", NULL},
    {"-36 V, 1 V more negative", "minus thirty-six volts, one volt more negative",
     "minus sechsunddreißig Volt, ein Volt zu negativ", NULL},
    {"2.1 mV", "two point one millivolts", "zwei Komma eins Millivolt", "2,1 mV"},
    {"soak: 12 minutes left, the rail at 286 V",
     "soak: twelve minutes left, the rail at two hundred eighty-six volts",
     "Warmlauf: noch zwölf Minuten, Versorgungsspannung zweihundertsechsundachtzig Volt", NULL},
    {"the meter of role probe reads volts, and volts ac are wanted at RIP1: turn its dial",
     "the meter reads volts, and volts ac are wanted at R I P one: turn its dial",
     "das Messgerät misst Gleichspannung, an R I P eins wird Wechselspannung gebraucht: umschalten", NULL},
    /* What nobody knows stands for nothing. */
    {"C5: the moon is too bright", NULL, NULL, NULL},
    {"", NULL, NULL, NULL},
    {"$", NULL, NULL, NULL},
    {"a and b", NULL, NULL, NULL},
};

static void as_it_is_said(void **state)
{
	char out[GUIDE_WORDS_SIZE];
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].is);
		assert_int_equal(guide_words(LANGUAGE_EN, GUIDE_SPOKEN, rows[i].is, out, sizeof out), rows[i].en != NULL);
		assert_string_equal(out, rows[i].en ? rows[i].en : "");
		assert_int_equal(guide_words(LANGUAGE_DE, GUIDE_SPOKEN, rows[i].is, out, sizeof out), rows[i].de != NULL);
		assert_string_equal(out, rows[i].de ? rows[i].de : "");
		(void)guide_words(LANGUAGE_DE, GUIDE_WRITTEN, rows[i].is, out, sizeof out);
		if (rows[i].written)
			assert_string_equal(out, rows[i].written);
	}
}

/* Long, and never beyond its end; a text made to be looked at for ever is given up. */
static void bounded(void **state)
{
	char text[4000] = "", small[20], out[GUIDE_WORDS_SIZE];
	(void)state;
	for (size_t n = 0; n < sizeof text - 40;)
		n += (size_t)snprintf(text + n, sizeof text - n, "1 and 3 for R1 and R2; ");
	(void)guide_words(LANGUAGE_DE, GUIDE_SPOKEN, text, out, sizeof out);
	assert_true(strlen(out) < sizeof out);
	(void)guide_words(LANGUAGE_DE, GUIDE_SPOKEN, "the guided run is done", small, sizeof small);
	assert_string_equal(small, "der geführte Lauf "); /* 19 bytes, and its end */
	memset(text, 'a', sizeof text - 1);
	assert_false(guide_words(LANGUAGE_DE, GUIDE_SPOKEN, text, out, sizeof out));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(every_text_has_its_twin), cmocka_unit_test(words_by_ear),
	    cmocka_unit_test(words_of_a_lot), cmocka_unit_test(words_of_the_report),
	    cmocka_unit_test(cautions_are_spoken), cmocka_unit_test(as_it_is_said), cmocka_unit_test(bounded),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
