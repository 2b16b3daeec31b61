/* SPDX-License-Identifier: MIT */
/*
 * `tally sheet add` at a terminal: a line is confirmed or refused as it is entered, with
 * completion by Tab; what is pasted goes in line by line, or as a table where its first
 * line has headings.  `mirror R1-R40 +100` makes the other channel without leaving.
 *
 * A line that was refused comes back with the arrow up, the cursor at its fault; not by
 * itself, for who types on without looking would type into it.  An empty line or Ctrl-D
 * ends it.  With --plain, and where the terminal is dumb, lines are read as the
 * terminal gives them.
 */
#include "client/command_calls.h"

#include "client/known.h"
#include "client/typed.h"
#include "client/typist.h"
#include "protocol/record/sheet_map.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#define PROMPT "sheet> "
#define OFFERED_MAX 60 /* completions that are shown at once */

struct typing {
	struct client *c;
	struct typist typist;
	struct known known;
	int added, mirrored; /* positions */
	bool terminal;       /* set up by us: to be given back */
	bool spaced;         /* a completion has put the space that a hand may type, too */
	struct termios before;
	enum outcome outcome; /* of the last call: a daemon that is gone ends it */
};

static void put(struct typing *t, struct lines *out)
{
	fputs(lines_text(out), t->c->out);
	fflush(t->c->out);
	lines_free(out);
}

static int width(void)
{
	struct winsize size;
	return ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col : 80;
}

static void draw(struct typing *t)
{
	struct lines out = {0};
	typist_draw(&t->typist, PROMPT, width(), &out);
	put(t, &out);
}

/* ---- what is asked of the daemon ---- */

static bool remember(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct typing *t = arg;
	(void)why;
	known_add(&t->known, row);
	return true;
}

static void learn_row(struct typing *t, struct slice row)
{
	struct sheet_row read;
	struct fault why;
	if (sheet_row_read(row, &read, &why))
		known_add(&t->known, &read);
}

/* The positions that are there already; a bench without a job has none. */
static void learn_sheet(struct typing *t)
{
	enum outcome outcome = OUTCOME_DONE;
	struct message m;
	if (!client_open(t->c, NULL, &outcome)) {
		t->outcome = outcome;
		return;
	}
	known_free(&t->known);
	int64_t after = 0;
	bool more = true;
	while (more && link_call(t->c->link, "sheet.show",
	                         json_pack("{s:I}", "after", (json_int_t)after), LINK_CALL_MS,
	                         &m) == OUTCOME_DONE) {
		struct slice rows = json_member(m.result.at, m.result.len, "rows"), row;
		size_t cursor = 0;
		int64_t next = 0;
		while (json_next(rows, &cursor, &row))
			learn_row(t, row);
		json_int(json_member(m.result.at, m.result.len, "next"), &next);
		more = json_bool(json_member(m.result.at, m.result.len, "more"), false) && next > after;
		after = next;
		message_free(&m);
	}
	if (more)
		message_free(&m);
}

/* Ask for a change.  True where it was done; *column of the fault, 0 where there is none. */
static bool change(struct typing *t, const char *method, json_t *params, struct lines *said,
                   int *column)
{
	struct message m;
	enum outcome outcome = OUTCOME_UNREACHABLE;
	*column = 0;
	if (!client_open(t->c, NULL, &outcome)) {
		json_decref(params);
		t->outcome = outcome;
		return false;
	}
	outcome = link_call(t->c->link, method, params, LINK_CALL_MS, &m);
	if (outcome != OUTCOME_DONE) {
		char clean[WORDS_SIZE];
		words_clean(m.why.text, strlen(m.why.text), clean, sizeof clean);
		lines_printf(said, "%s\n", clean);
		*column = m.why.column;
	}
	/* What is wrong with a line is no reason to end. */
	t->outcome = outcome == OUTCOME_UNREACHABLE || outcome == OUTCOME_NOT_LOGGED ? outcome
	                                                                            : OUTCOME_DONE;
	message_free(&m);
	return outcome == OUTCOME_DONE;
}

struct saying {
	struct typing *typing;
	struct typed_rows rows;
};

static bool say_row(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct saying *s = arg;
	typed_row(&s->rows, row);
	return remember(s->typing, row, why);
}

static void say_line(struct typing *t, const char *line, bool table, struct lines *out)
{
	struct saying s = {.typing = t, .rows = {.style = &t->c->style, .out = out}};
	struct fault why;
	if (table)
		sheet_parse("(typed)", line, strlen(line), say_row, &s, &why);
	else
		sheet_entry_parse(line, strlen(line), say_row, &s, &why);
	typed_rows_end(&s.rows);
	t->added += s.rows.rows;
	typed_rows_free(&s.rows);
}

/* ---- a line ---- */

static const char help[] =
    "R1-R6,R9 100k              positions, nominal\n"
    "R12 470k cc 10% anode V3   kind, tolerance, role in words\n"
    "C7 0.1u paper 400V with=R14    rating, key=value for any column\n"
    "C9A,C9B 8+8u 450V          the sections of a can\n"
    "mirror all +100            the other channel (or mirror R1-R40,C1-C20 +100)\n"
    "Tab completes; an empty line or Ctrl-D ends.\n";

static bool begins_with(const char *line, const char *word)
{
	size_t n = strlen(word);
	return strncmp(line, word, n) == 0 && (line[n] == ' ' || line[n] == '\0');
}

/* `mirror RANGE +N`: the number is the last word. */
static bool mirror(struct typing *t, const char *line, struct lines *out, int *column)
{
	char range[TYPIST_LINE_MAX + 1], done[80];
	const char *last = line + strlen(line), *end;
	while (last > line && last[-1] == ' ')
		last--;
	end = last;
	while (last > line && last[-1] != ' ')
		last--;
	size_t from = 7;
	int by;
	while (line[from] == ' ')
		from++;
	if (!raise_read(last, (size_t)(end - last), &by) || line + from >= last) {
		lines_puts(out, "expected mirror RANGE +N, such as mirror all +100\n");
		*column = 0;
		return false;
	}
	snprintf(range, sizeof range, "%.*s", (int)(last - line - (long)from), line + from);
	while (range[0] && range[strlen(range) - 1] == ' ')
		range[strlen(range) - 1] = '\0';
	json_t *params = client_params("range", range, NULL);
	json_object_set_new(params, "by", json_integer(by));
	if (!change(t, "sheet.mirror", params, out, column)) {
		*column += *column ? (int)from : 0;
		return false;
	}
	int count = t->known.count;
	learn_sheet(t);
	t->mirrored += t->known.count - count;
	snprintf(done, sizeof done, "mirrored: %d more positions\n", t->known.count - count);
	lines_puts(out, done);
	return true;
}

/* A line, or a table: what was understood, or what is wrong and where. */
static bool enter(struct typing *t, const char *line, struct lines *out, int *column)
{
	bool table = strchr(line, '\n') != NULL;
	*column = 0;
	line += table ? 0 : strspn(line, " \t") == strlen(line) ? strlen(line) : 0;
	if (strcmp(line, "?") == 0 || strcmp(line, "help") == 0) {
		lines_puts(out, help);
		return true;
	}
	if (begins_with(line, "mirror"))
		return mirror(t, line, out, column);
	if (!line[0] || line[strspn(line, " \t")] == '#')
		return true;
	if (!change(t, "sheet.add", client_params("text", line, NULL), out, column))
		return false;
	say_line(t, line, table, out);
	return true;
}

/* ---- the terminal ---- */

static bool pending(void)
{
	struct pollfd p = {STDIN_FILENO, POLLIN, 0};
	return poll(&p, 1, 0) > 0;
}

/* Keys one by one, and pastes with their marks. */
static bool terminal_begin(struct typing *t)
{
	const char *term = getenv("TERM");
	if (client_has(t->c, OPTION_PLAIN) || !term || strcmp(term, "dumb") == 0 ||
	    !t->c->out_terminal || tcgetattr(STDIN_FILENO, &t->before) != 0)
		return false;
	struct termios keys = t->before;
	keys.c_lflag &= ~(tcflag_t)(ICANON | ECHO | ISIG | IEXTEN);
	keys.c_iflag &= ~(tcflag_t)(ICRNL | INLCR | IXON);
	keys.c_cc[VMIN] = 1;
	keys.c_cc[VTIME] = 0;
	if (tcsetattr(STDIN_FILENO, TCSADRAIN, &keys) != 0)
		return false;
	t->terminal = true;
	fputs("\x1b[?2004h", t->c->out);
	return true;
}

static void terminal_end(struct typing *t)
{
	if (!t->terminal)
		return;
	fputs("\x1b[?2004l", t->c->out);
	fflush(t->c->out);
	tcsetattr(STDIN_FILENO, TCSADRAIN, &t->before);
	t->terminal = false;
}

/* One line that was entered; `typed`: by hand, so that it may come back. */
static void take_line(struct typing *t, const char *line, bool typed)
{
	struct lines out = {0};
	int column;
	char copy[TYPIST_LINE_MAX + 1];
	snprintf(copy, sizeof copy, "%s", line);
	bool good = enter(t, line, &out, &column);
	if (typed)
		typist_next(&t->typist);
	if (!good) {
		struct lines marked = {0};
		if (column && typed)
			lines_printf(&marked, "%*s^ ",
			             (int)(strlen(PROMPT) + words_width(copy, (size_t)column - 1)), "");
		else if (column)
			typed_mark((struct slice){line, strcspn(line, "\n")}, column, "    ", &marked);
		lines_puts(&marked, lines_text(&out));
		lines_free(&out);
		out = marked;
		if (typed && column)
			t->typist.fault_at = (size_t)column - 1;
	}
	put(t, &out);
}

static void take_paste(struct typing *t)
{
	struct lines whole = {0}, out = {0};
	typist_paste(&t->typist, &whole);
	const char *text = lines_text(&whole), *end = strchr(text, '\n');
	if (end) {
		lines_puts(&out, "\n");
		put(t, &out);
	}
	if (end && end[1] && sheet_is_header(text, (size_t)(end - text))) {
		take_line(t, text, false);
	} else {
		char *copy = strdup(text), *rest = copy;
		for (char *line; copy && (line = strsep(&rest, "\n")) && t->outcome == OUTCOME_DONE;)
			if (line[strspn(line, " \t")])
				take_line(t, line, false);
		free(copy);
	}
	lines_free(&whole);
}

static void complete(struct typing *t)
{
	struct lines list = {0}, out = {0};
	size_t from;
	int count = known_complete(&t->known, t->typist.text, t->typist.at, &from, &list);
	size_t typed = t->typist.at - from, common = known_common(lines_text(&list));
	if (count && (common > typed || count == 1)) {
		/* In the case of what is offered. */
		for (size_t i = 0; i < typed; i++)
			typist_byte(&t->typist, 0x7f);
		typist_put(&t->typist, lines_text(&list), common);
		t->spaced = common > 0 && lines_text(&list)[common - 1] == ' ';
	} else if (count > 1) {
		lines_puts(&out, "\n");
		const char *line = lines_text(&list);
		for (int i = 0; i < count && i < OFFERED_MAX; i++) {
			size_t n = strcspn(line, "\n");
			size_t shown = n && line[n - 1] == ' ' ? n - 1 : n;
			lines_printf(&out, "%s%.*s", i ? "  " : "", (int)shown, line);
			line += n + 1;
		}
		lines_puts(&out, count > OFFERED_MAX ? "  ...\n" : "\n");
		put(t, &out);
	}
	lines_free(&list);
}

/* False: it has ended. */
static bool take_byte(struct typing *t, unsigned char byte)
{
	struct lines out = {0};
	bool spaced = t->spaced;
	t->spaced = false;
	if (spaced && byte == ' ' && t->typist.at == t->typist.len)
		return true;
	switch (typist_byte(&t->typist, byte)) {
	case TYPED_NOTHING:
		return true;
	case TYPED_CHANGED:
		break;
	case TYPED_TAB:
		complete(t);
		break;
	case TYPED_PASTE:
		take_paste(t);
		break;
	case TYPED_LINE:
		lines_puts(&out, "\n");
		put(t, &out);
		if (!t->typist.text[strspn(t->typist.text, " \t")])
			return false;
		take_line(t, t->typist.text, true);
		break;
	case TYPED_BREAK:
	case TYPED_END:
		lines_puts(&out, "\n");
		put(t, &out);
		return false;
	}
	if (!pending())
		draw(t);
	return t->outcome == OUTCOME_DONE;
}

static bool stopped(const struct typing *t)
{
	return t->c->stop && *t->c->stop;
}

static void type_keys(struct typing *t)
{
	unsigned char bytes[4096];
	bool more = t->outcome == OUTCOME_DONE;
	if (more)
		draw(t);
	while (more && !stopped(t)) {
		ssize_t n = read(STDIN_FILENO, bytes, sizeof bytes);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			break;
		for (ssize_t i = 0; more && i < n; i++)
			more = take_byte(t, bytes[i]);
	}
}

static void type_lines(struct typing *t)
{
	char *line = NULL;
	size_t size = 0;
	while (t->outcome == OUTCOME_DONE && !stopped(t)) {
		fputs(PROMPT, t->c->out);
		fflush(t->c->out);
		ssize_t n = getline(&line, &size, stdin);
		if (n > 0 && line[n - 1] == '\n')
			line[--n] = '\0';
		if (n <= 0 || !line[strspn(line, " \t")])
			break;
		take_line(t, line, false);
	}
	free(line);
}

enum outcome sheet_add_typed(struct client *c)
{
	struct typing t = {.c = c, .outcome = OUTCOME_DONE};
	learn_sheet(&t);
	if (t.outcome != OUTCOME_DONE)
		return t.outcome;
	fprintf(c->out, "A line a position, or many that are alike: R1-R6,R9 100k. ? helps, Tab "
	        "completes, "
	        "an empty line ends.\n");
	if (terminal_begin(&t))
		type_keys(&t);
	else
		type_lines(&t);
	terminal_end(&t);
	fprintf(c->out, "%d position%s added", t.added, t.added == 1 ? "" : "s");
	if (t.mirrored)
		fprintf(c->out, ", %d mirrored", t.mirrored);
	fprintf(c->out, "\n");
	typist_free(&t.typist);
	known_free(&t.known);
	return t.outcome;
}
