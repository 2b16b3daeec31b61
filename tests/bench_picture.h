/* SPDX-License-Identifier: MIT */
/*
 * Pictures of scenes for the tests of `tally bench`: drawn, kept as text in
 * tests/screens, searched.
 */
#ifndef TALLY_TESTS_BENCH_PICTURE_H
#define TALLY_TESTS_BENCH_PICTURE_H

#include "tests/bench_scene.h"

#include "client/block.h"

static bool rebuild;
static struct keys keys;

static inline void draw(struct picture *p, int width, int height)
{
	struct bench_view view = {.scene = scene, .keys = &keys, .style = &scene->style, .now = now};
	assert_true(picture_begin(p, width, height));
	view_bench_screen(&view, p);
}

static inline void compare(const char *name, int width, int height, const struct lines *got)
{
	char path[160];
	static char kept[1 << 18];
	snprintf(path, sizeof path, "tests/screens/%s-%dx%d.txt", name, width, height);
	FILE *f = fopen(path, rebuild ? "w" : "r");
	if (!f) {
		print_error("%s is not there: --rebuild makes it\n", path);
		fail();
		return;
	}
	if (rebuild) {
		fputs(lines_text(got), f);
		fclose(f);
		return;
	}
	size_t n = fread(kept, 1, sizeof kept - 1, f);
	kept[n] = '\0';
	fclose(f);
	if (strcmp(kept, lines_text(got)) != 0) {
		print_error("%s is kept as\n%s\nand now it is\n%s\n", path, kept, lines_text(got));
		fail();
	}
}

static inline bool shows(const struct picture *p, const char *text)
{
	struct lines out = {0};
	picture_text(p, false, &out);
	bool there = strstr(lines_text(&out), text) != NULL;
	lines_free(&out);
	return there;
}

/* The letters of a text, as they are drawn, somewhere in the picture? */
static inline bool shows_block(const struct picture *p, enum block size, const char *text)
{
	struct picture want;
	int width = block_width(size, text), rows = block_rows(size);
	assert_true(picture_begin(&want, width, rows));
	block_put(&want, 0, 0, size, true, LOOK_ORDINARY, text);
	bool found = false;
	for (int row = 0; row + rows <= p->height && !found; row++)
		for (int column = 0; column + width <= p->width && !found; column++) {
			found = true;
			for (int i = 0; i < width * rows && found; i++)
				found = strcmp(want.cells[i].text,
				               p->cells[(row + i / width) * p->width + column + i % width].text) == 0;
		}
	picture_end(&want);
	return found;
}

#endif
