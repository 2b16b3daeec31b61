/* SPDX-License-Identifier: MIT */
/*
 * The manual pages, made at build time.
 *
 *     manual PAGE VERSION DATE > OUT
 *
 * PAGE is doc/man/NAME.SECTION: mdoc, with lines that begin with `@` where something comes
 * from the place that the programs themselves read, so that it cannot differ:
 *
 *     @VERSION@ @DATE@ @CONFIG@ @SOCKET@ @DIALECTS@ @LOGS@   anywhere
 *     @verbs                  every verb of tally, from client/command_table.c
 *     @options                the options that every verb takes
 *     @thresholds             those of daemon/settle.h, each with its comment
 *     @columns                the columns of a sheet      @kinds    the kinds of parts
 *     @dialects               the shipped dialects        @caution  the cautions
 *     @comment FILE           the first comment of a header, verbatim
 *     @markdown FILE [N]      the text of FILE from its Nth line on (1), as sections
 *
 * Status 2 with FILE:LINE where a directive is unknown.  tests/check_manual.py holds the
 * pages against what the programs say of themselves, and against two linters.
 */
#ifndef TALLY_DOC_MANUAL_H
#define TALLY_DOC_MANUAL_H

#include "client/lines.h"

/* Text as roff: what would be a request, an escape or a typographic minus is none. */
void roff_text(struct lines *out, const char *text);
/* An argument of a macro, in quotes where it has to be. */
void roff_word(struct lines *out, const char *text);
/* A paragraph as input lines: a new sentence on a new line, none above 78 bytes. */
void roff_fill(struct lines *out, const char *text);

void manual_verbs(struct lines *out);
void manual_options(struct lines *out);

/* Markdown as README.md, WIRE.md and SEAL.md are written: headings, paragraphs, lists,
 * tables, indented blocks, `code`, **strong**, links. */
void manual_markdown(struct lines *out, const char *text);

/* A whole file; ends the program where it cannot be read.  Free it. */
char *manual_read(const char *path);

#endif
