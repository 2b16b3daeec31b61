/* SPDX-License-Identifier: MIT */
/*
 * Guided runs: the cautions, a yes to them, and then one step after the other.
 *
 * At a terminal the verb stays with the run: what to do now, and Enter when it is done.  Elsewhere
 * it begins the run (with --yes, for nobody can be asked) and leaves the going on to `tally go`,
 * the pedal, or the full-screen client; they may be mixed.
 */
#include "client/command_calls.h"

#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define WORDS_MAX 200

/* WORD... after what the run is of. */
static bool words_after(struct client *c, int first, char out[WORDS_MAX])
{
	size_t n = 0;
	out[0] = '\0';
	for (int i = first; i < c->args.count; i++) {
		const char *word = client_word(c, i);
		if (!strchr(word, '=')) {
			client_wrong(c, "%.60s: words are such as grid=red (which meter has which role) and leak=1M",
			             word);
			return false;
		}
		n += (size_t)snprintf(out + n, n < WORDS_MAX ? WORDS_MAX - n : 0, "%s%s", n ? " " : "", word);
		if (n >= WORDS_MAX) {
			client_wrong(c, "too many words: they have room for %d bytes", WORDS_MAX - 1);
			return false;
		}
	}
	return true;
}

static json_t *guide_params(const char *kind, const char *of, const char *words)
{
	return client_params("name", kind, "position", of && of[0] ? of : NULL, "text",
	                     words[0] ? words : NULL, NULL);
}

/* ---- what it will do ---- */

/* The steps, or of them the cautions alone. */
static enum outcome show_steps(struct client *c, json_t *params, bool cautions)
{
	struct message m;
	struct lines out = {0};
	enum outcome outcome = client_ask(c, "guide.dry", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON) && !cautions) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		char *text = malloc(m.result.len + 1), *save, *line;
		if (text && json_text(json_member(m.result.at, m.result.len, "steps"), text, m.result.len + 1))
			for (line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save))
				if (!cautions || strncmp(line, "caution: ", 9) == 0)
					lines_printf(&out, "%s\n", line);
		free(text);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

/* ---- with the run ---- */

struct run {
	struct client *c;
	const char *kind, *of;
	char said[WORDS_SIZE]; /* what was printed last */
	bool hand;             /* it waits for the person */
};

/* At which step it is; false where it is over, or the daemon is gone. */
static bool step_now(struct run *r, char *step, size_t size, enum outcome *outcome)
{
	struct message m;
	bool there = false;
	size_t cursor = 0;
	struct slice one;
	*outcome = client_ask(r->c, "status", NULL, &m);
	struct slice guides = {0};
	if (*outcome == OUTCOME_DONE)
		guides = json_member(m.result.at, m.result.len, "guides");
	while (!there && json_next(guides, &cursor, &one)) {
		there = words_member_is(one, "guide", r->kind) && words_member_is(one, "of", r->of);
		if (there)
			words_member(one, "step", step, size);
	}
	message_free(&m);
	return there;
}

/* What the run says now; false where it is over, or the daemon is gone. */
static bool look(struct run *r, enum outcome *outcome)
{
	struct message m;
	bool there = false;
	size_t cursor = 0;
	struct slice one;
	*outcome = client_ask(r->c, "status", NULL, &m);
	if (*outcome == OUTCOME_DONE) {
		struct slice guides = json_member(m.result.at, m.result.len, "guides");
		while (json_next(guides, &cursor, &one)) {
			char text[WORDS_SIZE];
			if (!words_member_is(one, "guide", r->kind) || !words_member_is(one, "of", r->of))
				continue;
			there = true;
			r->hand = json_bool(json_member(one.at, one.len, "hand"), true);
			words_member(one, "text", text, sizeof text);
			if (strcmp(text, r->said) != 0)
				fprintf(r->c->out, "%s\n", text);
			snprintf(r->said, sizeof r->said, "%s", text);
		}
	}
	message_free(&m);
	fflush(r->c->out);
	return there;
}

static bool stopped(const struct client *c)
{
	return c->stop && *c->stop;
}

/* One key of the person: what is refused is said, and the run goes on. */
static enum outcome press(struct run *r, const char *line)
{
	const char *method = line[0] == 'b' ? "guide.back" : line[0] == 'l' ? "guide.leave" : "guide.go";
	struct message m;
	enum outcome outcome = client_ask(r->c, method, client_params("name", r->of[0] ? r->of : r->kind, NULL), &m);
	message_free(&m);
	if (outcome == OUTCOME_NO || outcome == OUTCOME_WRONG)
		outcome = OUTCOME_DONE;
	r->said[0] = '\0';
	return outcome;
}

static enum outcome stay(struct client *c, const char *kind, const char *of)
{
	struct run r = {.c = c, .kind = kind, .of = of};
	enum outcome outcome = OUTCOME_DONE;
	char line[80];
	fprintf(c->out, "Enter: done, go on.  b: the step before.  l: leave it.  Ctrl-C: the run goes on without this.\n");
	while (!stopped(c) && outcome == OUTCOME_DONE && look(&r, &outcome)) {
		struct pollfd in = {.fd = STDIN_FILENO, .events = POLLIN};
		if (poll(&in, 1, 500) <= 0)
			continue;
		if (!fgets(line, sizeof line, stdin))
			break;
		outcome = press(&r, line);
	}
	return outcome;
}

/* The run stands at its cautions and waits for a yes: typed here, or by pedal or key at the full
 * screen.  False: no, and it is left. */
static bool yes(struct run *r, enum outcome *outcome)
{
	char line[16];
	struct message m;
	fprintf(r->c->out, "Do these hold? yes (or the pedal), or no: ");
	fflush(r->c->out);
	while (!stopped(r->c)) {
		struct pollfd in = {.fd = STDIN_FILENO, .events = POLLIN};
		if (poll(&in, 1, 500) <= 0) {
			char step[24];
			if (!step_now(r, step, sizeof step, outcome) || strcmp(step, "caution") != 0) {
				fprintf(r->c->out, "\n");
				return *outcome == OUTCOME_DONE;
			}
			continue;
		}
		bool said = fgets(line, sizeof line, stdin) && (strncmp(line, "yes", 3) == 0 || strcmp(line, "y\n") == 0);
		*outcome = client_ask(r->c, said ? "guide.go" : "guide.leave",
		                      client_params("name", r->of[0] ? r->of : r->kind, NULL), &m);
		message_free(&m);
		return said;
	}
	return false;
}

static enum outcome guided(struct client *c, const char *kind, bool has_of)
{
	char words[WORDS_MAX];
	const char *of = has_of ? client_word(c, 0) : "";
	bool terminal = isatty(STDIN_FILENO) && c->out_terminal && !client_has(c, OPTION_JSON);
	if (!words_after(c, has_of, words))
		return OUTCOME_WRONG;
	if (client_has(c, OPTION_DRY))
		return show_steps(c, guide_params(kind, of, words), false);
	enum outcome outcome = show_steps(c, guide_params(kind, of, words), true);
	if (outcome != OUTCOME_DONE)
		return outcome;
	if (!client_has(c, OPTION_YES) && !terminal)
		return client_wrong(c, "its cautions need a yes: at a terminal, or --yes where they were read");
	if (client_has(c, OPTION_RESUME))
		outcome = client_change(c, "guide.resume", client_params("name", of[0] ? of : kind, NULL),
		                        "taken up again");
	else
		outcome = client_change(c, "guide.start", guide_params(kind, of, words), "begun");
	if (outcome != OUTCOME_DONE)
		return outcome;
	struct run r = {.c = c, .kind = kind, .of = of};
	if (!client_has(c, OPTION_YES)) {
		if (yes(&r, &outcome))
			return outcome == OUTCOME_DONE ? stay(c, kind, of) : outcome;
		fprintf(c->out, "left: nothing was done\n");
		return outcome == OUTCOME_DONE ? OUTCOME_NO : outcome;
	}
	struct message m; /* the yes is the first step */
	outcome = client_ask(c, "guide.go", client_params("name", of[0] ? of : kind, NULL), &m);
	message_free(&m);
	return outcome == OUTCOME_DONE && terminal ? stay(c, kind, of) : outcome;
}

enum outcome call_leak(struct client *c)
{
	return guided(c, "leak", true);
}

enum outcome call_reform(struct client *c)
{
	return guided(c, "reform", true);
}

static bool says_because(const struct client *c)
{
	for (int i = 0; i < c->args.count; i++)
		if (strncmp(client_word(c, i), "because=", 8) == 0)
			return true;
	return false;
}

/* What `job ready` lists stands in the way, unless the person says why it does not. */
enum outcome call_rise(struct client *c)
{
	struct message m;
	struct lines out = {0};
	if (client_has(c, OPTION_DRY))
		return guided(c, "rise", false);
	enum outcome outcome = client_ask(c, "job.ready", NULL, &m);
	bool ready = outcome == OUTCOME_DONE && view_ready(&c->style, m.result,
	                                                   "then say so: tally job fitted POSITION...", &out);
	message_free(&m);
	if (ready || outcome != OUTCOME_DONE || client_has(c, OPTION_JSON))
		lines_free(&out);
	else
		client_lines(c, &out);
	if (outcome != OUTCOME_DONE)
		return outcome;
	if (!ready && !says_because(c)) {
		fprintf(c->err, "tally: the unit is not ready for power (tally job ready lists why): put it right, or "
		                "say why it may be (because=TEXT)\n");
		return OUTCOME_NO;
	}
	return guided(c, "rise", false);
}

enum outcome call_tune(struct client *c)
{
	return guided(c, "tune", true);
}

enum outcome call_lot(struct client *c)
{
	return guided(c, "lot", true);
}

/* What it asks for now, after a step by verb. */
static void say_next(struct client *c)
{
	struct message m;
	struct slice one;
	size_t cursor = 0;
	char text[WORDS_SIZE];
	if (client_has(c, OPTION_JSON) || client_ask(c, "status", NULL, &m) != OUTCOME_DONE)
		return;
	struct slice guides = json_member(m.result.at, m.result.len, "guides");
	while (json_next(guides, &cursor, &one)) {
		struct lines out = {0};
		char kind[WORDS_SIZE], of[WORDS_SIZE];
		words_member(one, "guide", kind, sizeof kind);
		words_member(one, "of", of, sizeof of);
		words_member(one, "text", text, sizeof text);
		lines_printf(&out, "%s %s: %s\n", kind, of, text);
		client_lines(c, &out);
	}
	message_free(&m);
}

enum outcome call_go(struct client *c)
{
	struct message m;
	const char *last = c->args.count ? client_word(c, c->args.count - 1) : "";
	bool back = strcmp(last, "back") == 0;
	if (c->args.count == 2 && !back)
		return client_wrong(c, "%.40s: what the run is of, and back for the step before", last);
	const char *which = c->args.count - back > 0 ? client_word(c, 0) : NULL;
	enum outcome outcome = client_ask(c, back ? "guide.back" : "guide.go",
	                                  client_params("name", which, NULL), &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON))
		client_json(c, m.result);
	message_free(&m);
	if (outcome == OUTCOME_DONE)
		say_next(c);
	return outcome;
}

enum outcome call_leave(struct client *c)
{
	return client_change(c, "guide.leave",
	                     client_params("name", client_word(c, 0), "because", client_option(c, OPTION_BECAUSE),
	                                   NULL), "left");
}
