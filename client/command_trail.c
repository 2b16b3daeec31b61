/* SPDX-License-Identifier: MIT */
/*
 * `tally trail`: what the meters read, as a quick look, as a picture, as CSV, as records.
 *
 * What is shown where nothing is said: with --at the last touch that made an entry there,
 * with what was seen before and after it; else all of the trail.
 */
#include "client/command_calls.h"
#include "client/command_trail.h"
#include "client/moment.h"
#include "client/spawn.h"

#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#define PICTURE_COLUMNS 1720 /* two for each unit of the picture */

/* ---- which lines, and when ---- */

static struct line *line_of(struct gathering *g, const char *meter, const char *function)
{
	for (int i = 0; i < g->lines; i++)
		if (!strcmp(g->line[i].meter, meter) && !strcmp(g->line[i].function, function))
			return &g->line[i];
	if (g->lines == (int)(sizeof g->line / sizeof *g->line))
		return NULL;
	struct line *l = &g->line[g->lines];
	snprintf(l->meter, sizeof l->meter, "%s", meter);
	snprintf(l->function, sizeof l->function, "%s", function);
	l->readings = 0;
	return l;
}

static void lines_take(struct gathering *g, struct slice list)
{
	struct slice one;
	size_t cursor = 0;
	while (json_next(list, &cursor, &one)) {
		char meter[40], function[24];
		int64_t from, to, readings = 0;
		words_member(one, "meter", meter, sizeof meter);
		words_member(one, "function", function, sizeof function);
		json_int(json_member(one.at, one.len, "readings"), &readings);
		struct line *l = line_of(g, meter, function);
		if (!l || !json_time(json_member(one.at, one.len, "from"), &from) ||
		    !json_time(json_member(one.at, one.len, "to"), &to))
			continue;
		g->t = !g->lines || from < g->t ? from : g->t;
		g->until = !g->lines || to > g->until ? to : g->until;
		l->readings += readings;
		g->lines += l == &g->line[g->lines];
	}
}

static enum outcome read_lines(struct gathering *g)
{
	struct message m;
	/* Of a position the meters are asked for, not the stretches: what was seen before and
	 * after a touch is not for the position. */
	json_t *params = client_params("meter", g->meter, "position", g->position, NULL);
	json_object_set_new(params, "unsealed", json_true());
	enum outcome outcome = client_ask(g->c, "trail.lines", params, &m);
	if (outcome == OUTCOME_DONE) {
		lines_take(g, json_member(m.result.at, m.result.len, "lines"));
		lines_take(g, json_member(m.result.at, m.result.len, "unsealed"));
	}
	message_free(&m);
	return outcome;
}

/* The newest entry there that was made from a trail. */
static void each_touch(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct gathering *g = arg;
	(void)c, (void)result;
	struct slice record = json_member(element.at, element.len, "record");
	struct slice struck = json_member(element.at, element.len, "struck");
	struct slice trail = json_member(record.at, record.len, "trail"), part, last = {NULL, 0};
	size_t cursor = 0;
	int64_t t, seq = 0;
	if (!record.at || (struck.at && *struck.at == '{' && !g->entry) ||
	    !json_time(json_member(record.at, record.len, "t"), &t))
		return;
	if (g->meter && !words_member_is(record, "meter", g->meter))
		return;
	if (g->entry && (!json_int(json_member(record.at, record.len, "seq"), &seq) || seq != g->entry))
		return;
	struct slice first = json_element(trail, 0);
	while (json_next(trail, &cursor, &part))
		last = part;
	if (!first.at)
		return;
	json_int(json_element(first, 0), &g->trail_first);
	json_int(json_element(first, 1), &g->from_index);
	json_int(json_element(last, 0), &g->trail_last);
	json_int(json_element(last, 2), &g->to_index);
	json_int(json_member(record.at, record.len, "seq"), &g->touch_seq);
	g->touch_t = t;
	words_member(record, "meter", g->touch_meter, sizeof g->touch_meter);
}

static enum outcome choose_stretch(struct gathering *g)
{
	const char *from = client_option(g->c, OPTION_FROM), *to = client_option(g->c, OPTION_TO);
	struct chart *c = &g->chart;
	struct fault why;
	c->from = g->t;
	c->to = g->until + 1;
	if (g->position && !from && !to) {
		json_t *params = client_params("position", g->position, "job", "*", NULL);
		enum outcome outcome = client_pages(g->c, "entries", params, "entries", each_touch, g);
		if (outcome != OUTCOME_DONE)
			return outcome;
		int64_t a, b;
		if (g->touch_seq && trail_reading_time(g->c, g->trail_first, g->from_index, &a) &&
		    trail_reading_time(g->c, g->trail_last, g->to_index, &b)) {
			c->from = a - TRAIL_BEFORE_US;
			c->to = (b > g->touch_t ? b : g->touch_t) + TRAIL_AFTER_US;
		}
	}
	if (to && !moment_parse(to, g->until, &g->c->style, &c->to, &why))
		return client_wrong(g->c, "--to: %s", why.text);
	if (from && !moment_parse(from, to ? c->to : g->until, &g->c->style, &c->from, &why))
		return client_wrong(g->c, "--from: %s", why.text);
	if (c->to <= c->from)
		return client_wrong(g->c, "--from must be before --to");
	return OUTCOME_DONE;
}

/* ---- all of it ---- */

static int by_readings(const void *a, const void *b)
{
	int64_t x = ((const struct line *)a)->readings, y = ((const struct line *)b)->readings;
	return (y > x) - (y < x);
}

static void title(struct gathering *g)
{
	struct chart *c = &g->chart;
	snprintf(c->title, sizeof c->title, "%s%s%s", g->position ? g->position : "Trail",
	         g->touch_seq ? (g->entry ? ", one touch" : ", last touch") : "", g->meter ? ", one meter" : "");
}

static enum outcome gather(struct gathering *g, int width)
{
	struct chart *c = &g->chart;
	enum outcome outcome = read_lines(g);
	if (outcome == OUTCOME_DONE && !g->lines)
		return client_wrong(g->c, g->position ? "no reading was ever taken for %.60s%s%.60s"
		                    : "there is no trail%.0s%s%.60s", g->position ? g->position : "",
		                    g->meter ? " by " : "", g->meter ? g->meter : "");
	if (outcome == OUTCOME_DONE)
		outcome = choose_stretch(g);
	if (outcome != OUTCOME_DONE)
		return outcome;
	title(g);
	c->width = width;
	c->panel = calloc(CHART_PANELS_MAX, sizeof *c->panel);
	g->no_memory = !c->panel;
	qsort(g->line, (size_t)g->lines, sizeof *g->line, by_readings);
	for (int i = 0; i < g->lines && c->panel && c->panels < CHART_PANELS_MAX; i++) {
		struct chart_panel *p = &c->panel[c->panels];
		memset(p, 0, sizeof *p);
		/* A touch is of one meter; the others hang beside it. */
		if (g->touch_seq && strcmp(g->touch_meter, g->line[i].meter) != 0)
			continue;
		snprintf(p->meter, sizeof p->meter, "%s", g->line[i].meter);
		if (!function_from_name(g->line[i].function, strlen(g->line[i].function), &p->function))
			continue;
		outcome = trail_read_columns(g, p);
		if (outcome != OUTCOME_DONE)
			return outcome;
		if (!p->columns) {
			free(p->column);
			continue; /* it read nothing in that stretch */
		}
		c->panels++;
		outcome = trail_read_beside(g, p);
		if (outcome != OUTCOME_DONE)
			return outcome;
	}
	if (!c->panels)
		return client_wrong(g->c, "no meter read anything in that stretch of time");
	outcome = trail_read_entries(g);
	if (g->no_memory)
		return client_wrong(g->c, "no memory for so much: ask for a shorter stretch");
	return outcome;
}

/* ---- pictures ---- */

static enum outcome write_file(struct client *c, const char *file, const struct lines *svg)
{
	FILE *f = fopen(file, "w");
	bool good = f && fwrite(svg->bytes, 1, svg->len, f) == svg->len;
	int error = errno;
	if (f && fclose(f) != 0) {
		good = false;
		error = errno;
	}
	if (!good)
		return client_wrong(c, "%s: cannot be written: %s", file, strerror(error));
	return OUTCOME_DONE;
}

/* PNG and PDF are made by the drawing program, which reads the SVG. */
static enum outcome draw_file(struct client *c, const char *file, const struct lines *svg)
{
	struct fault why;
	struct spawn s;
	char program[PATH_MAX];
	if (!spawn_find_ours("tally-draw", program))
		return client_wrong(c, "tally-draw is not installed, which makes PNG and PDF of SVG: write FILE.svg");
	if (!spawn_run(program, (const char *const[]){file, NULL}, &s, &why))
		return client_wrong(c, "%s", why.text);
	spawn_give(&s, svg->bytes, svg->len, c->stop);
	return spawn_close(&s) == 0 ? OUTCOME_DONE : OUTCOME_WRONG; /* it has said why */
}

static enum outcome picture(struct client *c, struct gathering *g, const char *file)
{
	struct lines svg = {0};
	const char *dot = strrchr(file, '.');
	bool drawn = dot && (!strcmp(dot, ".png") || !strcmp(dot, ".pdf"));
	if (!dot || (!drawn && strcmp(dot, ".svg")))
		return client_wrong(c, "--chart %s: the name must end with .svg, .png or .pdf", file);
	enum outcome outcome = gather(g, PICTURE_COLUMNS);
	if (outcome != OUTCOME_DONE)
		return outcome;
	chart_svg(&g->chart, &c->style, &svg);
	if (svg.failed)
		outcome = client_wrong(c, "no memory for the picture");
	else
		outcome = drawn ? draw_file(c, file, &svg) : write_file(c, file, &svg);
	lines_free(&svg);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON))
		fprintf(c->out, "%s\n", file);
	return outcome;
}

static enum outcome readings(struct client *c, struct gathering *g)
{
	enum outcome outcome = read_lines(g);
	if (outcome == OUTCOME_DONE && g->lines)
		outcome = choose_stretch(g);
	if (outcome != OUTCOME_DONE)
		return outcome;
	return trail_out(c, g);
}

enum outcome trail_show(struct client *c, const char *position, int64_t entry)
{
	struct gathering g = {.c = c, .position = position, .meter = client_option(c, OPTION_METER),
		.entry = entry};
	const char *file = client_option(c, OPTION_CHART);
	enum outcome outcome;
	if (file) {
		outcome = picture(c, &g, file);
	} else if (client_has(c, OPTION_CSV) || client_has(c, OPTION_JSON)) {
		outcome = readings(c, &g);
	} else {
		struct lines out = {0};
		int width = c->style.width > 40 ? c->style.width : 80;
		outcome = gather(&g, c->style.plain ? 800 : width - 11);
		if (outcome == OUTCOME_DONE) {
			chart_text(&g.chart, &c->style, &out);
			client_lines(c, &out);
		}
	}
	chart_free(&g.chart);
	return outcome;
}

enum outcome call_trail(struct client *c)
{
	return client_option(c, OPTION_ENTRY) ? trail_touch(c)
	                                      : trail_show(c, client_option(c, OPTION_AT), 0);
}
