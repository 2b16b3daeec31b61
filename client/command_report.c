/* SPDX-License-Identifier: MIT */
/*
 * `tally report --out DIR`: the hand-back report.
 *
 * The seal is checked before anything is asked, and no report is made of a log where it does not
 * hold.  Of a running bench it is checked again at the end, so that the anchor on the report lies
 * behind everything that stands in it.
 */
#include "client/command_calls.h"
#include "client/report.h"
#include "client/spawn.h"

#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* ---- the seal ---- */

static enum outcome check_seal(struct client *c, struct report *r)
{
	struct message m;
	char text[WORDS_SIZE], what[WORDS_SIZE];
	enum outcome outcome = client_ask_for(c, "verify", NULL, LINK_FOREVER, &m);
	if (outcome == OUTCOME_DONE && !json_bool(json_member(m.result.at, m.result.len, "ok"),
	                                          false)) {
		words_member(m.result, "verdict", text, sizeof text);
		words_member(m.result, "what", what, sizeof what);
		client_wrong(c, "the seal does not hold (%.80s%s%.200s): no report is made of this log; "
		                "tally verify says more", text, what[0] ? ": " : "", what);
		outcome = OUTCOME_NO;
	}
	if (outcome == OUTCOME_DONE) {
		free(r->seal_text);
		r->seal_text = strndup(m.result.at, m.result.len);
		r->seal = (struct slice){r->seal_text, r->seal_text ? m.result.len : 0};
		if (!r->seal_text)
			outcome = client_wrong(c, "no memory");
	}
	message_free(&m);
	return outcome;
}

/* ---- files ---- */

/* DIR and what is missing above it. */
static enum outcome make_folder(struct client *c, const char *folder)
{
	char path[PATH_MAX];
	size_t len = strlen(folder);
	struct stat st;
	if (!len || len >= sizeof path - 32)
		return client_wrong(c, "--out: the name of a folder was expected");
	memcpy(path, folder, len + 1);
	for (size_t i = 1; i <= len; i++) {
		if (path[i] != '/' && path[i] != '\0')
			continue;
		char was = path[i];
		path[i] = '\0';
		int error = mkdir(path, 0777) == 0 ? 0 : errno;
		path[i] = was;
		if (error && error != EEXIST)
			return client_wrong(c, "%s: cannot be made: %s; name a folder where you may write", folder,
			                    strerror(error));
	}
	if (stat(folder, &st) != 0 || !S_ISDIR(st.st_mode))
		return client_wrong(c, "%s: is no folder", folder);
	return OUTCOME_DONE;
}

/* Never half of a file under its name. */
static enum outcome write_file(struct client *c, const char *folder, const char *name,
                               const struct lines *l)
{
	char path[PATH_MAX], partial[PATH_MAX + 8];
	if (l->failed)
		return client_wrong(c, "%s: no memory for it, or it is larger than 256 MiB", name);
	snprintf(path, sizeof path, "%s/%s", folder, name);
	snprintf(partial, sizeof partial, "%s.part", path);
	FILE *f = fopen(partial, "w");
	bool good = f && fwrite(l->bytes, 1, l->len, f) == l->len;
	int error = errno;
	if (f && fclose(f) != 0) {
		good = false;
		error = errno;
	}
	if (good && rename(partial, path) != 0) {
		good = false;
		error = errno;
	}
	if (!good) {
		unlink(partial);
		return client_wrong(c, "%s: cannot be written: %s", path, strerror(error));
	}
	if (!client_has(c, OPTION_JSON))
		fprintf(c->out, "%s\n", path);
	return OUTCOME_DONE;
}

static enum outcome write_pdf(struct client *c, const char *folder, const struct lines *pages)
{
	struct fault why;
	struct spawn s;
	char program[PATH_MAX], path[PATH_MAX];
	if (pages->failed)
		return client_wrong(c, "report.pdf: no memory for it");
	snprintf(path, sizeof path, "%s/report.pdf", folder);
	if (!spawn_find_ours("tally-draw", program)) {
		unlink(path); /* one of an earlier report would be taken for this one's */
		fprintf(c->err, "tally report: tally-draw is not installed, so there is no report.pdf; "
		                "print report.html from a browser instead\n");
		return OUTCOME_DONE;
	}
	if (!spawn_run(program, (const char *const[]){path, NULL}, &s, &why))
		return client_wrong(c, "%s", why.text);
	spawn_give(&s, pages->bytes, pages->len, c->stop);
	int status = spawn_close(&s);
	if (status > 2)
		return client_wrong(c, "%s: tally-draw ended with status %d", path, status);
	if (status)
		return OUTCOME_WRONG; /* it has said why */
	if (!client_has(c, OPTION_JSON))
		fprintf(c->out, "%s\n", path);
	return OUTCOME_DONE;
}

static enum outcome write_paper(struct client *c, const struct report *r, const char *folder)
{
	struct paper p;
	char title[300], foot[500], head[120], day[40];
	words_member(r->seal, "head", head, sizeof head);
	report_time(r, r->made, true, day, sizeof day);
	snprintf(title, sizeof title, "%s: %.100s", SAY(r, "Hand-back report", "Übergabebericht"),
	         r->item ? r->item : r->job);
	snprintf(foot, sizeof foot, "%.120s · %s · %s %.30s…", r->job, day, SAY(r, "anchor", "Anker"),
	         head);
	const struct paper_head as = {title, SAY(r, "en", "de"), r->letter ? "letter" : "a4", foot,
	                              SAY(r, "Page %1 of %2", "Seite %1 von %2"), r->by, foot};
	paper_begin(&p, &as);
	report_owner(r, &p);
	report_tables(r, &p);
	report_history(r, &p);
	report_closing(r, &p);
	paper_end(&p, &as);
	enum outcome outcome = write_file(c, folder, "report.html", &p.html);
	if (outcome == OUTCOME_DONE)
		outcome = write_pdf(c, folder, &p.pages);
	paper_free(&p);
	return outcome;
}

static enum outcome write_data(struct client *c, const struct report *r, const char *folder)
{
	const struct report_csv rfc = {',', '.', false};
	struct report_csv how;
	struct lines out = {0};
	const char *locale = client_option(c, OPTION_CSV_FOR);
	report_csv(r, &rfc, &out);
	enum outcome outcome = write_file(c, folder, "entries.csv", &out);
	lines_free(&out);
	if (outcome == OUTCOME_DONE && locale && report_csv_locale(locale, &how)) {
		char name[48];
		snprintf(name, sizeof name, "entries-%.20s.csv", locale);
		report_csv(r, &how, &out);
		outcome = write_file(c, folder, name, &out);
		lines_free(&out);
	}
	if (outcome == OUTCOME_DONE) {
		report_json(r, &out);
		outcome = write_file(c, folder, "report.json", &out);
		lines_free(&out);
	}
	return outcome;
}

/* ---- the verb ---- */

static bool option_among(struct client *c, enum option_id id, const char *a, const char *b,
                         const char **out)
{
	const char *said = client_option(c, id);
	if (said && strcmp(said, a) && strcmp(said, b)) {
		client_wrong(c, "--%s \"%.40s\": %s or %s was expected", option_table[id].name, said, a, b);
		return false;
	}
	*out = said ? said : "";
	return true;
}

/* A locale becomes part of a file's name. */
static bool locale_good(struct client *c)
{
	struct report_csv how;
	const char *locale = client_option(c, OPTION_CSV_FOR);
	if (!locale || (report_csv_locale(locale, &how) &&
	                locale[strspn(locale,
	                              "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ_-")] == '\0'))
		return true;
	client_wrong(c, "--csv-for \"%.40s\": a locale was expected, such as de, de_CH, en or fr",
	             locale);
	return false;
}

/* The answer for scripts. */
static void say_json(struct client *c, const struct report *r, const char *folder, json_t *lacks)
{
	char head[120];
	words_member(r->seal, "head", head, sizeof head);
	json_t *answer = json_pack("{s:s, s:s, s:s, s:b, s:O}", "out", folder, "job", r->job, "head",
	                           head, "complete", report_complete(r), "lacks", lacks);
	char *text = answer ? json_dumps(answer, JSON_COMPACT) : NULL;
	if (text)
		client_json(c, (struct slice){text, strlen(text)});
	free(text);
	json_decref(answer);
}

/* What is lacking, for people. */
static enum outcome say(struct client *c, const struct report *r, const char *folder)
{
	static const char *const names[] = {"earth bond", "insulation", "touch current"};
	struct lines text = {0};
	json_t *lacks = json_array();
	for (int t = 0; t < REPORT_TESTS; t++) {
		if (report_test_passed(r->test[t]))
			continue;
		lines_printf(&text, "%s%s", text.len ? ", " : "", names[t]);
		json_array_append_new(lacks, json_string(names[t]));
	}
	if (client_has(c, OPTION_JSON))
		say_json(c, r, folder, lacks);
	bool no = text.len && !r->incomplete;
	if (no)
		fprintf(c->err, "tally report: the report says NOT COMPLETE: no passed test of %s, in "
		        "condition done (tally report --help says how it is found); --incomplete TEXT "
		        "states a reason\n", lines_text(&text));
	json_decref(lacks);
	lines_free(&text);
	return no ? OUTCOME_NO : OUTCOME_DONE;
}

enum outcome call_report(struct client *c)
{
	const char *language, *paper, *folder = client_option(c, OPTION_OUT);
	struct report r = {.job_asked = client_option(c, OPTION_JOB),
		.incomplete = client_option(c, OPTION_INCOMPLETE),
		.by = client_option(c, OPTION_BY), .item = client_option(c, OPTION_ITEM),
		.style = &c->style, .made = (int64_t)time(NULL) * 1000000};
	if (!option_among(c, OPTION_LANGUAGE, "en", "de", &language) ||
	    !option_among(c, OPTION_PAPER, "a4", "letter", &paper) || !locale_good(c))
		return OUTCOME_WRONG;
	r.german = !strcmp(language, "de");
	r.letter = !strcmp(paper, "letter");
	enum outcome outcome = check_seal(c, &r);
	if (outcome == OUTCOME_DONE)
		outcome = report_gather(c, &r);
	if (outcome == OUTCOME_DONE && link_hello(c->link)->live)
		outcome = check_seal(c, &r);
	if (outcome == OUTCOME_DONE) {
		report_facts(&r);
		outcome = r.no_memory ? client_wrong(c, "no memory for the report")
		    : make_folder(c, folder);
	}
	if (outcome == OUTCOME_DONE)
		outcome = write_paper(c, &r, folder);
	if (outcome == OUTCOME_DONE)
		outcome = write_data(c, &r, folder);
	if (outcome == OUTCOME_DONE)
		outcome = say(c, &r, folder);
	report_free(&r);
	return outcome;
}
