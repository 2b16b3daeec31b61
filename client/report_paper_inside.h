/* SPDX-License-Identifier: MIT */
/* What the files of the paper share: report_paper.c, report_paper_table.c. */
#ifndef TALLY_CLIENT_REPORT_PAPER_INSIDE_H
#define TALLY_CLIENT_REPORT_PAPER_INSIDE_H

#include "client/report_paper.h"

#include <stdarg.h>

/* The class in the HTML, the word in the pages; by enum paper_look. */
extern const char *const paper_looks[];
/* Escaped, with LF as a line break. */
void paper_html_lines(struct lines *out, const char *text);
/* A field of a line for the pages, with the TAB before it. */
void paper_field(struct paper *p, const char *text);

/* malloc; NULL without memory, and the paper has failed then. */
char *paper_format(struct paper *p, const char *format, va_list list)
    __attribute__((format(printf, 2, 0)));

#endif
