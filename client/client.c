/* SPDX-License-Identifier: MIT */
/* See client.h. */
#include "client/client.h"
#include "protocol/trade/ascii.h"

#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

bool client_has(const struct client *c, enum option_id id)
{
	return c->args.option[id] != NULL;
}

const char *client_option(const struct client *c, enum option_id id)
{
	return c->args.option[id];
}

const char *client_word(const struct client *c, int place)
{
	return place < c->args.count ? c->args.words[place] : NULL;
}

/* ---- what is wrong ---- */

enum outcome client_fault(struct client *c, enum outcome outcome, const struct fault *why)
{
	char text[1024], clean[2048];
	size_t n = fault_text(why, text, sizeof text);
	words_clean(text, n, clean, sizeof clean);
	const char *verb = c->args.command ? c->args.command->verb : "";
	/* Said already, by tallyd over a file. */
	if (!clean[0])
		return outcome;
	/* A place in a file stands first, as editors want it. */
	if (why->file[0])
		fprintf(c->err, "%s\n", clean);
	else
		fprintf(c->err, "tally%s%s: %s\n", verb[0] ? " " : "", verb, clean);
	return outcome;
}

enum outcome client_wrong(struct client *c, const char *format, ...)
{
	char text[1024];
	struct fault why;
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	fault_set(&why, "%s", text);
	return client_fault(c, OUTCOME_WRONG, &why);
}

enum outcome client_wrong_word(struct client *c, const char *name, const char *word,
                               const struct fault *why)
{
	if (why->column > 0)
		return client_wrong(c, "%s \"%s\", character %d: %s", name, word, why->column, why->text);
	return client_wrong(c, "%s \"%s\": %s", name, word, why->text);
}

bool client_seq(struct client *c, const char *text, const char *what, int64_t *seq)
{
	int64_t n = 0;
	size_t len = strlen(text);
	bool good = len > 0 && len <= 18;
	for (size_t i = 0; good && i < len; i++) {
		good = ascii_digit(text[i]);
		n = n * 10 + (text[i] - '0');
	}
	if (!good)
		client_wrong(c, "%s is the number of a record, a whole number, not \"%s\"", what, text);
	*seq = n;
	return good;
}

/* ---- asking ---- */

const char *client_socket(const struct client *c)
{
	const char *given = client_option(c, OPTION_SOCKET);
	if (given)
		return given;
	return c->socket && c->socket[0] ? c->socket : LINK_SOCKET;
}

/* A log away from its bench is looked at for what it proves: its seal is checked before anything of it
 * is shown.  What does not hold is shown all the same, for somebody must see what is wrong with it, but
 * it is said, and the answer is no.  `verify` and `report` check for themselves. */
static void check_file(struct client *c)
{
	struct message m;
	char verdict[WORDS_SIZE], what[WORDS_SIZE], text[WORDS_SIZE * 3];
	const char *file = client_option(c, OPTION_FILE), *verb = c->args.command ? c->args.command->verb : "";
	if (!file || !strcmp(verb, "verify") || !strcmp(verb, "report"))
		return;
	/* One that cannot be read at all says so when it is asked for what is wanted. */
	if (link_call(c->link, "verify", NULL, LINK_FOREVER, &m) == OUTCOME_DONE &&
	    !json_bool(json_member(m.result.at, m.result.len, "ok"), true)) {
		words_member(m.result, "verdict", verdict, sizeof verdict);
		words_member(m.result, "what", what, sizeof what);
		snprintf(text, sizeof text, "%.200s: the seal does not hold (%.80s%s%.300s): nothing that is "
		         "shown here is proved; tally verify says more", file, verdict, what[0] ? ": " : "", what);
		fflush(c->out);
		client_wrong(c, "%s", text);
		c->seal_broken = true;
	}
	message_free(&m);
}

bool client_open(struct client *c, const char *file, enum outcome *outcome)
{
	struct fault why;
	if (c->link)
		return true;
	struct link_target target = {
		.socket = client_socket(c),
		.file = file ? file : client_option(c, OPTION_FILE),
		.program = c->program,
		.timeout_ms = c->timeout_ms,
	};
	c->link = link_open(&target, outcome, &why);
	if (!c->link)
		client_fault(c, *outcome, &why);
	else if (!file)
		check_file(c);
	return c->link != NULL;
}

void client_failed(struct client *c, enum outcome outcome, const struct fault *why)
{
	client_fault(c, outcome, why);
	/* Nothing is pretended, either way. */
	if (outcome == OUTCOME_UNREACHABLE && c->args.command->changes)
		fprintf(c->err, "it is not known whether this was done: `tally entries` and `tally watch "
		        "--after SEQ` show what the log has\n");
}

/* Questions that change nothing: where the daemon ends before it answers (it is restarted,
 * perhaps), the next one may be asked as well. */
static bool only_looks(const char *method)
{
	static const char *const list[] = {"status", "meters", "job.list", "job.show", "sheet.show",
	                                   "entries", "compare", "plan", "places", "notes"};
	for (size_t i = 0; i < sizeof list / sizeof *list; i++)
		if (strcmp(method, list[i]) == 0)
			return true;
	return false;
}

static bool ask_anew(struct client *c, enum outcome outcome, const char *method)
{
	if (outcome != OUTCOME_UNREACHABLE || !link_cut_off(c->link) || !only_looks(method))
		return false;
	link_close(c->link);
	c->link = NULL;
	return client_open(c, NULL, &outcome);
}

enum outcome client_ask_for(struct client *c, const char *method, json_t *params,
                            int timeout_ms, struct message *m)
{
	enum outcome outcome = OUTCOME_UNREACHABLE;
	*m = (struct message){0};
	if (!client_open(c, NULL, &outcome)) {
		json_decref(params);
		return outcome;
	}
	json_t *again = json_deep_copy(params);
	outcome = link_call(c->link, method, params, timeout_ms, m);
	if (outcome != OUTCOME_DONE && ask_anew(c, outcome, method)) {
		message_free(m);
		outcome = link_call(c->link, method, again, timeout_ms, m);
		again = NULL;
	}
	json_decref(again);
	if (outcome == OUTCOME_DONE)
		return outcome;
	client_failed(c, outcome, &m->why);
	return outcome;
}

enum outcome client_ask(struct client *c, const char *method, json_t *params,
                        struct message *m)
{
	return client_ask_for(c, method, params, LINK_CALL_MS, m);
}

enum outcome client_pages(struct client *c, const char *method, json_t *params, const char *list,
                          void (*each)(struct client *c, struct slice element,
                                       struct slice result, void *arg),
                          void *arg)
{
	struct message m;
	enum outcome outcome;
	int64_t after = 0;
	bool more;
	do {
		if (after && params)
			json_object_set_new(params, "after", json_integer(after));
		outcome = client_ask(c, method, params ? json_copy(params) : NULL, &m);
		more = false;
		if (outcome == OUTCOME_DONE) {
			struct slice elements = json_member(m.result.at, m.result.len, list), element;
			size_t cursor = 0;
			int64_t next = 0;
			each(c, (struct slice){NULL, 0}, m.result, arg);
			while (json_next(elements, &cursor, &element))
				each(c, element, m.result, arg);
			json_int(json_member(m.result.at, m.result.len, "next"), &next);
			more = json_bool(json_member(m.result.at, m.result.len, "more"), false);
			/* A page that does not move on would come for ever. */
			if (more && next <= after) {
				fprintf(c->err, "tally: the daemon says there is more of `%s` and does not give "
				        "it: this is not all\n", list);
				outcome = OUTCOME_UNREACHABLE;
			}
			after = next;
		}
		message_free(&m);
	} while (outcome == OUTCOME_DONE && more);
	json_decref(params);
	return outcome;
}

void client_done(struct client *c, struct slice result, const char *done)
{
	int64_t seq = 0, struck = 0;
	char clean[WORDS_SIZE];
	if (client_has(c, OPTION_JSON)) {
		client_json(c, result);
		return;
	}
	struct slice of = json_member(result.at, result.len, "struck");
	if (!json_int(of, &struck) && of.at && *of.at == '{')
		json_int(json_member(of.at, of.len, "seq"), &struck);
	json_int(json_member(result.at, result.len, "seq"), &seq);
	words_clean(done, strlen(done), clean, sizeof clean);
	fprintf(c->out, "%s", clean);
	if (struck)
		fprintf(c->out, " %lld", (long long)struck);
	fprintf(c->out, ": record %lld\n", (long long)seq);
}

enum outcome client_show(struct client *c, const char *method, json_t *params,
                         void (*view)(const struct style *style, struct slice result,
                                      struct lines *out))
{
	struct message m;
	struct lines out = {0};
	enum outcome outcome = client_ask(c, method, params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		view(&c->style, m.result, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

enum outcome client_change(struct client *c, const char *method, json_t *params,
                           const char *done)
{
	struct message m;
	enum outcome outcome = client_ask(c, method, params, &m);
	if (outcome == OUTCOME_DONE)
		client_done(c, m.result, done);
	message_free(&m);
	return outcome;
}

json_t *client_params(const char *name, ...)
{
	json_t *params = json_object();
	va_list args;
	va_start(args, name);
	while (name) {
		const char *text = va_arg(args, const char *);
		/* json_string refuses what is not UTF-8; then the whole object is NULL. */
		if (text && params && json_object_set_new(params, name, json_string_nocheck(text)) != 0) {
			json_decref(params);
			params = NULL;
		}
		name = va_arg(args, const char *);
	}
	va_end(args);
	return params;
}

/* ---- output ---- */

void client_json(struct client *c, struct slice text)
{
	fwrite(text.at, 1, text.len, c->out);
	fputc('\n', c->out);
}

void client_lines(struct client *c, struct lines *l)
{
	if (l->failed)
		fprintf(c->err, "tally: out of memory: what follows is cut\n");
	if (l->len)
		fwrite(l->bytes, 1, l->len, c->out);
	lines_free(l);
}

bool client_flush(struct client *c, bool *gone)
{
	errno = 0;
	bool good = fflush(c->out) == 0 && !ferror(c->out);
	*gone = !good && errno == EPIPE;
	if (good || *gone)
		return good;
	fprintf(c->err, "tally: standard output cannot be written%s%s\n", errno ? ": " : "",
	        errno ? strerror(errno) : "");
	return false;
}

/* ---- a run ---- */

static void usage_fault(struct client *c, const struct fault *why)
{
	struct lines usage = {0};
	client_fault(c, OUTCOME_WRONG, why);
	if (c->args.command) {
		command_usage(c->args.command, &usage);
		fprintf(c->err, "use: %s\n", lines_text(&usage));
	}
	fprintf(c->err, "`tally%s%s --help` says more\n", c->args.command ? " " : "",
	        c->args.command ? c->args.command->verb : "");
	lines_free(&usage);
}

static enum outcome say_help(struct client *c)
{
	struct lines text = {0};
	if (c->args.command)
		command_help(c->args.command, &text);
	else if (c->args.count)
		command_unknown(c->args.words, c->args.count, &text);
	else
		command_overview(&text);
	if (c->args.count && !c->args.command)
		lines_puts(&text, "\n");
	client_lines(c, &text);
	return OUTCOME_DONE;
}

static enum outcome dispatch(struct client *c)
{
	if (client_has(c, OPTION_PLAIN)) {
		c->style.plain = true;
		c->style.colour = c->style.utf8 = false;
	}
	if (client_has(c, OPTION_HELP))
		return say_help(c);
	if (client_has(c, OPTION_VERSION)) {
		fprintf(c->out, "tally %s\n", TALLY_VERSION);
		return OUTCOME_DONE;
	}
	return c->args.command->call(c);
}

int client_run(struct client *c, int argc, const char *const *argv)
{
	struct fault why;
	enum outcome outcome;
	bool gone;
	if (!args_parse(&c->args, argc, argv, &why)) {
		usage_fault(c, &why);
		return OUTCOME_WRONG;
	}
	outcome = dispatch(c);
	link_close(c->link);
	c->link = NULL;
	if (outcome == OUTCOME_DONE && c->seal_broken)
		outcome = OUTCOME_NO;
	/* A result that did not reach the disk is no result. */
	if (!client_flush(c, &gone) && !gone && outcome == OUTCOME_DONE)
		outcome = OUTCOME_NOT_LOGGED;
	fflush(c->err);
	return (int)outcome;
}
