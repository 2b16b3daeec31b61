/* SPDX-License-Identifier: MIT */
/*
 * `tally sheet add`: lines from the command line or a pipe, all of them or none.  Every
 * fault is shown with its line and a mark below its byte; --dry shows what would be.  At a
 * terminal command_typed.c takes them one by one.
 */
#include "client/command_calls.h"

#include "client/typed.h"
#include "protocol/record/sheet_map.h"
#include "protocol/record/wire.h"
#include "protocol/trade/ascii.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- what the shell made of lines ---- */

/* The shell took the quotes of note="a b". */
static bool is_pair(const char *word)
{
	const char *equals = strchr(word, '=');
	size_t key = equals ? (size_t)(equals - word) : 0;
	return key > 0 && strcspn(word, " \t") > key && word[0] != '>' && word[0] != '<';
}

static bool has_blank(const char *word)
{
	return word[strcspn(word, " \t\n")] != '\0';
}

/* R1 or R1-R6,R9: letters first, and a number. */
static bool is_position(const char *word)
{
	bool letter = ascii_letter(word[0]);
	return letter && !strchr(word, '=') && strpbrk(word, "0123456789");
}

/* `sheet add "R1 1k" "R2 2k"` gives lines; `sheet add R1 1k cc` is one, in words;
 * `sheet add R1 R2 R3` is three again. */
static bool words_are_lines(const struct client *c)
{
	bool all_positions = true;
	for (int i = 0; i < c->args.count; i++) {
		const char *word = client_word(c, i);
		if (has_blank(word) && !is_pair(word))
			return true;
		all_positions = all_positions && is_position(word);
	}
	return all_positions;
}

static char *join_words(const struct client *c)
{
	bool lines = words_are_lines(c);
	size_t size = 1, len = 0;
	for (int i = 0; i < c->args.count; i++)
		size += strlen(client_word(c, i)) + 3;
	char *text = malloc(size);
	for (int i = 0; text && i < c->args.count; i++) {
		const char *word = client_word(c, i), *equals = strchr(word, '=');
		if (i)
			text[len++] = lines ? '\n' : ' ';
		int n = !lines && has_blank(word) && equals
		            ? snprintf(text + len, size - len, "%.*s=\"%s\"", (int)(equals - word), word,
		                       equals + 1)
		            : snprintf(text + len, size - len, "%s", word);
		len += n > 0 ? (size_t)n : 0;
	}
	if (text)
		text[len] = '\0';
	return text;
}

/* ---- faults ---- */

/* The line of that number, 1 the first. */
static struct slice line_of(const char *text, int number)
{
	while (number-- > 1 && text)
		text = strchr(text, '\n') ? strchr(text, '\n') + 1 : NULL;
	if (!text)
		return (struct slice){NULL, 0};
	return (struct slice){text, strcspn(text, "\r\n")};
}

void typed_mark(struct slice line, int column, const char *before, struct lines *out)
{
	char shown[3 * 1024];
	struct lines text = {0};
	/* A long line is shown around its fault. */
	size_t at = column > 0 ? (size_t)column - 1 : 0, from = 0, len;
	at = at < line.len ? at : line.len;
	if (at > 60)
		for (from = at - 40; from < at && ((unsigned char)line.at[from] & 0xc0) == 0x80;)
			from++;
	len = line.len - from < 200 ? line.len - from : 200;
	for (size_t i = 0; i < len; i++)
		lines_add(&text, line.at[from + i] == '\t' ? " " : line.at + from + i, 1);
	words_clean(lines_text(&text), text.len, shown, sizeof shown);
	lines_printf(out, "%s%s\n%*s^\n", before, shown,
	             (int)(strlen(before) + words_width(lines_text(&text), at - from)), "");
	lines_free(&text);
}

struct said_fault {
	int64_t line, column;
	struct slice object;
};

static int by_place(const void *a, const void *b)
{
	const struct said_fault *x = a, *y = b;
	if (x->line != y->line)
		return x->line < y->line ? -1 : 1;
	return x->column < y->column ? -1 : x->column > y->column;
}

static void say_fault(struct client *c, const char *text, const struct said_fault *f)
{
	struct lines out = {0};
	char message[WORDS_SIZE];
	words_member(f->object, "message", message, sizeof message);
	struct slice typed = line_of(text, f->line ? (int)f->line : 1);
	if (f->line)
		lines_printf(&out, "(typed):%lld:%lld: ", (long long)f->line, (long long)f->column);
	lines_printf(&out, "%s\n", message);
	if (f->line && typed.at)
		typed_mark(typed, (int)f->column, "    ", &out);
	fputs(lines_text(&out), c->err);
	lines_free(&out);
}

/* All of them on standard error, as the lines stand; how many there were. */
static int say_faults(struct client *c, const char *text, struct slice result)
{
	enum { MOST = 1000 };
	struct said_fault *fault = calloc(MOST, sizeof *fault);
	struct slice faults = json_member(result.at, result.len, "faults"), one;
	size_t cursor = 0;
	int count = 0;
	while (fault && count < MOST && json_next(faults, &cursor, &one)) {
		json_int(json_member(one.at, one.len, "line"), &fault[count].line);
		json_int(json_member(one.at, one.len, "column"), &fault[count].column);
		fault[count++].object = one;
	}
	if (fault)
		qsort(fault, (size_t)count, sizeof *fault, by_place);
	for (int i = 0; i < count; i++)
		say_fault(c, text, &fault[i]);
	if (json_bool(json_member(result.at, result.len, "more"), false))
		fprintf(c->err, "... and more faults\n");
	/* Without memory to say them they are faults all the same. */
	count = fault ? count : 1;
	free(fault);
	return count;
}

/* ---- what would be ---- */

static bool describe(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)why;
	typed_row(arg, row);
	return true;
}

static void describe_lines(struct client *c, const char *text, struct lines *out)
{
	struct typed_rows rows = {.style = &c->style, .out = out};
	struct fault why;
	size_t len = strlen(text), first = strspn(text, " \t\r\n");
	if (sheet_is_header(text + first, strcspn(text + first, "\n"))) {
		sheet_parse("(typed)", text, len, describe, &rows, &why);
	} else {
		for (size_t at = 0; at < len;) {
			size_t n = strcspn(text + at, "\n");
			size_t kept = n && text[at + n - 1] == '\r' ? n - 1 : n;
			sheet_entry_parse(text + at, kept, describe, &rows, &why);
			typed_rows_end(&rows);
			at += n + (text[at + n] == '\n');
		}
	}
	typed_rows_end(&rows);
	typed_rows_free(&rows);
}

/* What would become of them: every fault, and with --dry the rest. */
static enum outcome try_lines(struct client *c, const char *text)
{
	struct message m;
	struct lines out = {0};
	int64_t positions = 0;
	int faults = 0;
	bool dry = client_has(c, OPTION_DRY);
	json_t *params = client_params("text", text, NULL);
	json_object_set_new(params, "dry", json_true());
	enum outcome outcome = client_ask(c, "sheet.add", params, &m);
	if (outcome == OUTCOME_DONE) {
		faults = say_faults(c, text, m.result);
		json_int(json_member(m.result.at, m.result.len, "positions"), &positions);
	}
	if (outcome == OUTCOME_DONE && dry && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE && dry && !faults) {
		describe_lines(c, text, &out);
		lines_printf(&out, "%lld position%s would be added; nothing was done\n",
		             (long long)positions, positions == 1 ? "" : "s");
		client_lines(c, &out);
	}
	message_free(&m);
	if (faults)
		fprintf(c->err, "%d fault%s: nothing %s added\n", faults, faults == 1 ? "" : "s",
		        dry ? "would be" : "was");
	return faults ? OUTCOME_WRONG : outcome;
}

/* Where a line is at fault, all faults are asked for.  A fault that is of none of them (no
 * job is open, say) is said as it came. */
static enum outcome add_lines(struct client *c, const char *text)
{
	struct message m;
	enum outcome outcome = OUTCOME_UNREACHABLE;
	if (!client_open(c, NULL, &outcome))
		return outcome;
	outcome = link_call(c->link, "sheet.add", client_params("text", text, NULL), LINK_CALL_MS, &m);
	struct fault why = m.why;
	if (outcome == OUTCOME_DONE)
		client_done(c, m.result, "added to the sheet");
	message_free(&m);
	if (outcome == OUTCOME_DONE)
		return outcome;
	if (outcome == OUTCOME_WRONG && why.line && try_lines(c, text) == OUTCOME_WRONG)
		return OUTCOME_WRONG;
	client_failed(c, outcome, &why);
	return outcome;
}

enum outcome call_sheet_add(struct client *c)
{
	struct fault why;
	size_t len = 0;
	bool none = c->args.count == 0;
	bool standard = none || (c->args.count == 1 && strcmp(client_word(c, 0), "-") == 0);
	if (none && isatty(STDIN_FILENO) && !client_has(c, OPTION_JSON) && !client_has(c, OPTION_DRY))
		return sheet_add_typed(c);
	char *text = standard ? sheet_text_read("-", &len, &why) : join_words(c);
	if (!text) {
		if (!standard)
			fault_set(&why, "out of memory");
		return client_fault(c, OUTCOME_WRONG, &why);
	}
	if (standard && !sheet_bytes_check("(typed)", text, len, &why)) {
		free(text);
		return client_fault(c, OUTCOME_WRONG, &why);
	}
	if (standard)
		text[len] = '\0';
	enum outcome outcome = client_has(c, OPTION_DRY) ? try_lines(c, text) : add_lines(c, text);
	free(text);
	return outcome;
}
