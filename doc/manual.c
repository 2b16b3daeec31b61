/* SPDX-License-Identifier: MIT */
/* The manual pages from their sources: see manual.h. */
#include "doc/manual.h"

#include "daemon/config.h"
#include "protocol/meter/dialect.h"
#include "protocol/record/sheet.h"
#include "protocol/trade/caution.h"
#include "protocol/trade/position.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

char *manual_read(const char *path)
{
	FILE *f = fopen(path, "re");
	if (!f) {
		perror(path);
		exit(2);
	}
	struct lines all = {0};
	char piece[4096];
	for (size_t n; (n = fread(piece, 1, sizeof piece, f)) > 0;)
		lines_add(&all, piece, n);
	fclose(f);
	if (all.failed || !all.bytes) {
		fprintf(stderr, "%s: cannot be read, or is empty\n", path);
		exit(2);
	}
	return all.bytes;
}

/* ---- what comes from the programs ---- */

/* The comment that stands below a threshold in daemon/settle.h. */
static void threshold_meaning(struct lines *out, const char *header, const char *name)
{
	char quoted[80];
	snprintf(quoted, sizeof quoted, "\"%s\"", name);
	const char *at = strstr(header, quoted);
	at = at ? strstr(at, "/*") : NULL;
	const char *end = at ? strstr(at, "*/") : NULL;
	if (!end) {
		fprintf(stderr, "daemon/settle.h: no comment below %s\n", quoted);
		exit(2);
	}
	struct lines text = {0};
	lines_add(&text, at + 2, (size_t)(end - at - 2));
	while (text.len && text.bytes[text.len - 1] == ' ')
		text.bytes[--text.len] = '\0';
	lines_puts(&text, ".");
	roff_fill(out, lines_text(&text));
	lines_free(&text);
}

static void thresholds(struct lines *out)
{
	static const struct {
		const char *name;
		double standard, low, high;
	} limit[] = {
#define X(field, name, standard, low, high) {name, standard, low, high},
	    SETTLE_LIMIT_LIST(X)
#undef X
	};
	char *header = manual_read("daemon/settle.h");
	lines_puts(out, ".Bl -tag -width Ds\n");
	for (size_t i = 0; i < sizeof limit / sizeof limit[0]; i++) {
		lines_printf(out, ".It Ic %s No = Li %g\n", limit[i].name, limit[i].standard);
		threshold_meaning(out, header, limit[i].name);
		lines_printf(out, "From %g to %g.\n", limit[i].low, limit[i].high);
	}
	lines_puts(out, ".El\n");
	free(header);
}

static void columns(struct lines *out)
{
	struct lines text = {0};
	for (int i = 0; i < SHEET_COLUMNS; i++)
		lines_printf(&text, "%s%s", i ? ", " : "", sheet_column_name[i]);
	lines_puts(&text, ".");
	roff_fill(out, lines_text(&text));
	lines_free(&text);
}

static void kinds(struct lines *out)
{
	struct lines text = {0};
	for (int k = 0; k < KIND_COUNT; k++)
		lines_printf(&text, "%s%s", k ? ", " : "", kind_name((enum kind)k));
	lines_puts(&text, ".");
	roff_fill(out, lines_text(&text));
	lines_free(&text);
}

static void shipped(struct lines *out)
{
	lines_puts(out, ".Bl -tag -width Ds\n");
	for (int i = 0; dialects[i]; i++) {
		lines_printf(out, ".It Cm %s\n", dialects[i]->name);
		roff_fill(out, dialects[i]->summary);
		lines_printf(out, ".Pq %s\n",
		             dialects[i]->asked ? "asked" : "listened to: nothing is ever sent");
	}
	lines_puts(out, ".El\n");
}

static void cautions(struct lines *out)
{
	lines_puts(out, ".Bl -bullet -compact\n");
	for (int i = 0; caution_rise[i]; i++) {
		lines_puts(out, ".It\n");
		roff_fill(out, caution_rise[i]);
	}
	lines_puts(out, ".El\n");
}

/* The first comment after the licence's line, without its stars. */
static void comment(struct lines *out, const char *path)
{
	char *text = manual_read(path);
	const char *at = strstr(text, "\n/*");
	const char *end = at ? strstr(at, "*/") : NULL;
	lines_puts(out, ".Bd -literal -compact\n");
	for (at = at ? strchr(at + 1, '\n') : NULL; at && end && at + 1 < end; at = strchr(at + 1, '\n')) {
		const char *line = at + 1;
		line += strncmp(line, " *", 2) == 0 ? 2 : 0;
		line += *line == ' ';
		struct lines one = {0};
		lines_add(&one, line, strcspn(line, "\n"));
		if (line < end)
			roff_text(out, lines_text(&one));
		lines_puts(out, line < end ? "\n" : "");
		lines_free(&one);
	}
	lines_puts(out, ".Ed\n");
	free(text);
}

static void markdown(struct lines *out, const char *words)
{
	char path[128] = "";
	int from = 1;
	sscanf(words, "%127s %d", path, &from);
	char *text = manual_read(path), *at = text;
	while (--from > 0 && *at)
		at = strchr(at, '\n') ? strchr(at, '\n') + 1 : at + strlen(at);
	manual_markdown(out, at);
	free(text);
}

/* ---- a page ---- */

/* 2026-11-25 as pages have it: November 25, 2026. */
static const char *date_words(const char *date, char out[32])
{
	static const char *const months[] = {"January", "February", "March",     "April",   "May",      "June",
	                                     "July",    "August",   "September", "October", "November", "December"};
	int year, month, day;
	if (sscanf(date, "%4d-%2d-%2d", &year, &month, &day) != 3 || month < 1 || month > 12) {
		fprintf(stderr, "%s is no day: CHANGELOG.md begins with `## VERSION - YYYY-MM-DD`\n", date);
		exit(2);
	}
	snprintf(out, 32, "%s %d, %d", months[month - 1], day, year);
	return out;
}

static bool directive(const char *line, struct lines *out)
{
	static const struct {
		const char *name;
		void (*call)(struct lines *out);
	} calls[] = {{"@verbs", manual_verbs},   {"@options", manual_options}, {"@thresholds", thresholds},
	             {"@columns", columns},      {"@kinds", kinds},            {"@dialects", shipped},
	             {"@caution", cautions}};
	for (size_t i = 0; i < sizeof calls / sizeof calls[0]; i++)
		if (strcmp(line, calls[i].name) == 0) {
			calls[i].call(out);
			return true;
		}
	if (strncmp(line, "@comment ", 9) == 0)
		comment(out, line + 9);
	else if (strncmp(line, "@markdown ", 10) == 0)
		markdown(out, line + 10);
	else
		return false;
	return true;
}

/* The line with its @NAMES@ put in. */
static void substitute(const char *line, char *const *argv, struct lines *out)
{
	char date[32];
	const struct {
		const char *name, *text;
	} names[] = {{"@VERSION@", argv[2]}, {"@DATE@", date_words(argv[3], date)}, {"@CONFIG@", CONFIG_FILE},
	             {"@SOCKET@", CONFIG_SOCKET}, {"@DIALECTS@", CONFIG_DIALECTS}, {"@LOGS@", CONFIG_LOG_FOLDER}};
	while (*line) {
		size_t i = 0, n = 0;
		for (; *line == '@' && i < sizeof names / sizeof names[0]; i++) {
			n = strlen(names[i].name);
			if (strncmp(line, names[i].name, n) == 0) {
				lines_puts(out, names[i].text);
				break;
			}
			n = 0;
		}
		if (n)
			line += n;
		else
			lines_add(out, line++, 1);
	}
	lines_puts(out, "\n");
}

int main(int argc, char **argv)
{
	if (argc != 4) {
		fputs("use: manual PAGE VERSION DATE\n", stderr);
		return 2;
	}
	char *page = manual_read(argv[1]);
	struct lines out = {0};
	int number = 0, status = 0;
	for (char *at = page, *next; at && *at; at = next) {
		next = strchr(at, '\n');
		if (next)
			*next++ = '\0';
		number++;
		bool known = *at != '@' || strncmp(at, "@VERSION@", 9) == 0;
		if (!known && !directive(at, &out)) {
			fprintf(stderr, "%s:%d: `%s` is not among what manual.h lists\n", argv[1], number, at);
			status = 2;
		} else if (known) {
			substitute(at, argv, &out);
		}
	}
	fputs(lines_text(&out), stdout);
	lines_free(&out);
	free(page);
	return fflush(stdout) == 0 && !ferror(stdout) ? status : 2;
}
