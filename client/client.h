/* SPDX-License-Identifier: MIT */
/*
 * One run of `tally`: what was asked, where answers go, and the link to the daemon.
 * The verbs (command_*.c) take it and return the outcome.
 */
#ifndef TALLY_CLIENT_CLIENT_H
#define TALLY_CLIENT_CLIENT_H

#include "client/args.h"
#include "client/link.h"
#include "client/view.h"

#include <signal.h>
#include <stdio.h>

struct client {
	/* Set by the caller. */
	FILE *out, *err;
	int out_fd;             /* of out, to notice that nobody reads it; -1: unknown */
	bool out_terminal, err_terminal;
	struct style style;     /* of the terminal; `plain` may be set by --plain, too */
	const char *socket;     /* TALLY_SOCKET; NULL or "" for none */
	const char *program;    /* tallyd for --file; NULL: looked for */
	int timeout_ms;         /* see link.h; 0: the usual ones */
	const volatile sig_atomic_t *stop; /* becomes true on SIGINT and SIGTERM */

	/* The run's own. */
	struct args args;
	struct link *link;      /* opened with the first question */
	bool seal_broken; /* of the file that is read: what is shown of it is no proof */
};

/* Run the command line (without the program's name); returns the exit status.
 * Everything is closed and flushed at the end. */
int client_run(struct client *c, int argc, const char *const *argv);

/* ---- for the verbs ---- */

/* Was the switch given? */
bool client_has(const struct client *c, enum option_id id);
/* The value of an option; NULL where it was not given. */
const char *client_option(const struct client *c, enum option_id id);
/* The word at a place, NULL where there is none. */
const char *client_word(const struct client *c, int place);

/* Say on standard error what is wrong: "file:line:column: text" where there is a
 * file, else "tally VERB: text".  Returns the outcome, for `return client_fault(...)`. */
enum outcome client_fault(struct client *c, enum outcome outcome, const struct fault *why);
enum outcome client_wrong(struct client *c, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* The same of one word that was typed (what it stands for is `name`), with the place in it. */
enum outcome client_wrong_word(struct client *c, const char *name, const char *word,
                               const struct fault *why);

/* The socket to be used: --socket, TALLY_SOCKET, the usual one. */
const char *client_socket(const struct client *c);

/* A log to ask instead of a daemon, beside --file: for `verify FILE`. */
bool client_open(struct client *c, const char *file, enum outcome *outcome);

/*
 * Ask the daemon; `params` is taken over.  On OUTCOME_DONE m->result is there; else
 * it was said what is wrong.  message_free(m) either way.
 */
enum outcome client_ask(struct client *c, const char *method, json_t *params,
                        struct message *m);
enum outcome client_ask_for(struct client *c, const char *method, json_t *params,
                            int timeout_ms, struct message *m);

/* Ask, and show the answer: as it stands with --json, else as `view` puts it. */
enum outcome client_show(struct client *c, const char *method, json_t *params,
                         void (*view)(const struct style *style, struct slice result,
                                      struct lines *out));

/*
 * Ask for a list page by page: `params` (taken over) with `after` moved on while
 * the answer says `more`.  each() is called with every element of the member `list`,
 * and once a page with an absent slice and the whole result.
 */
enum outcome client_pages(struct client *c, const char *method, json_t *params, const char *list,
                          void (*each)(struct client *c, struct slice element,
                                       struct slice result, void *arg),
                          void *arg);

/*
 * Ask for an answer that comes in pages, and have it as one text in `whole` (freed by the
 * caller, whatever comes): `lists` (at most four members that are arrays, NULL at the end) go
 * on from page to page, all other members are those of the last.  `params` is taken over.
 */
enum outcome client_whole(struct client *c, const char *method, json_t *params,
                          const char *const *lists, struct lines *whole);

/* Ask for a change that answers with the seq of its record, and say it: "done:
 * record 14", with the entry that was struck, where the answer names one. */
enum outcome client_change(struct client *c, const char *method, json_t *params,
                           const char *done);

/* The two halves of these, for who calls by link_call: what is said of a change that was
 * made, and of a call that failed. */
void client_done(struct client *c, struct slice result, const char *done);
void client_failed(struct client *c, enum outcome outcome, const struct fault *why);

/* A parameter object from pairs of name and text, ended by NULL; pairs whose text
 * is NULL are left out. */
json_t *client_params(const char *name, ...) __attribute__((sentinel));

/* A JSON text as one line of standard output, byte for byte. */
void client_json(struct client *c, struct slice text);
/* Lines to standard output; frees them. */
void client_lines(struct client *c, struct lines *l);
/* Everything written reached its reader?  Said on standard error where not; false
 * then.  A reader that went away (a closed pipe) is no fault: *gone. */
bool client_flush(struct client *c, bool *gone);

/* Read a positive whole number of a word or an option. */
bool client_seq(struct client *c, const char *text, const char *what, int64_t *seq);

#endif
