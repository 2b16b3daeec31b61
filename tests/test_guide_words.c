/* SPDX-License-Identifier: MIT */
/*
 * What every guided run has to have, whatever its kind: cautions, a sentence for each step on
 * the screen and one in each language to be heard, and the road that --dry prints, kept as
 * text in tests/guides/KIND.txt.
 *
 *     build/tests/test_guide_words --rebuild     writes the roads anew (read what changed
 *                                                before you commit it)
 */
#include "tests/check.h"

#include "client/speech_words.h"
#include "protocol/guide/guide_parts.h"

#include <stdlib.h>

#define ROAD_MAX 16384

static bool there(enum guide_kind k)
{
	enum guide_kind found;
	static const char *const names[GUIDE_KINDS] = {"leak", "reform", "rise", "tune", "lot"};
	return guide_from_name(names[k], &found) && found == k;
}

/* A plan with which each kind begins. */
static struct guide begun(enum guide_kind k)
{
	struct guide g;
	struct guide_plan p;
	struct fault why;
	guide_plan_empty(&p);
	if (k != GUIDE_RISE)
		strcpy(p.of, k == GUIDE_LOT ? "100k" : k == GUIDE_TUNE ? "P1" : "C1");
	p.function = k == GUIDE_LOT ? FUNCTION_OHM : FUNCTION_VOLT_DC;
	p.nominal = k == GUIDE_REFORM ? 32e-6 : k == GUIDE_LOT ? 100e3 : k == GUIDE_TUNE ? 12 : 0.1e-6;
	p.rated = 450;
	if (k == GUIDE_TUNE || k == GUIDE_LOT) {
		p.low = p.nominal * 0.95;
		p.high = p.nominal * 1.05;
	}
	p.R = (struct measure){100e3, 0};
	p.ceiling = k == GUIDE_REFORM ? NAN : 450;
	p.mains = p.tap = 230;
	p.load = 8;
	for (int i = 0; i < GUIDE_ROLES; i++)
		p.input[i] = 10e6;
	if (!guide_begin(&g, k, &p, &why))
		fail_msg("%s does not begin: %s", guide_name(k), why.text);
	return g;
}

static void cautions_come_first(void **state)
{
	(void)state;
	for (int k = 0; k < GUIDE_KINDS; k++) {
		if (!there((enum guide_kind)k))
			continue;
		struct guide g = begun((enum guide_kind)k);
		const char *const *c = guide_cautions((enum guide_kind)k);
		bool codes = false;
		note_row("%s", guide_name((enum guide_kind)k));
		assert_string_equal(guide_step_word(&g), "caution");
		assert_true(guide_by_hand(&g)); /* a yes */
		for (int i = 0; c[i]; i++)
			codes = codes || strstr(c[i], "local codes and licensed practice");
		/* Only what leads to nobody's high tension may do without. */
		assert_true(codes || k == GUIDE_LOT);
	}
}

static int steps_of(struct guide *g)
{
	char first[64];
	int n = 0;
	snprintf(first, sizeof first, "%s", guide_step_word(g));
	static char bytes[ROAD_MAX];
	struct text t;
	text_begin(&t, bytes, sizeof bytes);
	guide_dry(g, &t);
	assert_false(t.failed);
	for (const char *line = bytes; *line; line += strcspn(line, "\n") + 1)
		n += line[0] >= '0' && line[0] <= '9';
	return n;
}

/* Each step has words on the screen, and is spoken in both languages by its own words. */
static void every_step_is_seen_and_heard(void **state)
{
	int silent = 0;
	(void)state;
	for (int k = 0; k < GUIDE_KINDS; k++) {
		if (!there((enum guide_kind)k))
			continue;
		struct guide g = begun((enum guide_kind)k);
		int steps = steps_of(&g);
		note_row("%s: %d steps", guide_name((enum guide_kind)k), steps);
		assert_true(steps >= 3);
		for (g.step = 0; g.step < steps; g.step++) {
			char say[GUIDE_TEXT], key[64], words[2][512];
			guide_say(&g, say, sizeof say);
			assert_true(strlen(say) > 10);
			snprintf(key, sizeof key, "%s.%s", guide_name((enum guide_kind)k), guide_step_word(&g));
			struct happening_told told = {.what = HAPPENED_GUIDE, .guide = key};
			speech_happening(LANGUAGE_EN, &told, false, words[0], sizeof words[0]);
			speech_happening(LANGUAGE_DE, &told, false, words[1], sizeof words[1]);
			if (!words[0][0] || !words[1][0] || strcmp(words[0], words[1]) == 0) {
				print_error("%s: `%s`, `%s`\n", key, words[0], words[1]);
				silent++;
			}
		}
	}
	assert_int_equal(silent, 0);
}

/* ---- roads ---- */

static size_t road(enum guide_kind k, char out[ROAD_MAX])
{
	struct guide g = begun(k);
	struct text t;
	text_begin(&t, out, ROAD_MAX);
	guide_dry(&g, &t);
	assert_false(t.failed);
	return t.len;
}

static void roads_are_kept(void **state)
{
	(void)state;
	for (int k = 0; k < GUIDE_KINDS; k++) {
		char path[80], got[ROAD_MAX], want[ROAD_MAX];
		if (!there((enum guide_kind)k))
			continue;
		note_row("%s", guide_name((enum guide_kind)k));
		snprintf(path, sizeof path, "tests/guides/%s.txt", guide_name((enum guide_kind)k));
		FILE *f = fopen(path, "r");
		if (!f)
			fail_msg("%s is not there", path);
		want[fread(want, 1, sizeof want - 1, f)] = '\0';
		fclose(f);
		road((enum guide_kind)k, got);
		assert_string_equal(got, want);
	}
}

static int rebuild(void)
{
	for (int k = 0; k < GUIDE_KINDS; k++) {
		char path[80], text[ROAD_MAX];
		if (!there((enum guide_kind)k))
			continue;
		snprintf(path, sizeof path, "tests/guides/%s.txt", guide_name((enum guide_kind)k));
		FILE *f = fopen(path, "w");
		if (!f)
			return 1;
		fwrite(text, 1, road((enum guide_kind)k, text), f);
		fclose(f);
	}
	return 0;
}

int main(int argc, char **argv)
{
	if (argc > 1 && strcmp(argv[1], "--rebuild") == 0)
		return rebuild();
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(cautions_come_first),
	    cmocka_unit_test(every_step_is_seen_and_heard),
	    cmocka_unit_test(roads_are_kept),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
