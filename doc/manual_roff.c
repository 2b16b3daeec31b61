/* SPDX-License-Identifier: MIT */
/* Text as roff: see manual.h. */
#include "doc/manual.h"

#include <stdlib.h>
#include <string.h>

#define FILL 78

static void roff_byte(struct lines *out, const char *p, bool first)
{
	if (*p == '\\')
		lines_puts(out, "\\e");
	else if (*p == '-')
		lines_puts(out, "\\-"); /* what is shown can be copied into a shell */
	else if (first && (*p == '.' || *p == '\''))
		lines_printf(out, "\\&%c", *p);
	else
		lines_add(out, p, 1);
}

void roff_text(struct lines *out, const char *text)
{
	for (const char *p = text; *p; p++)
		roff_byte(out, p, p == text);
}

/* Does mdoc take the word for something of its own: punctuation, or a macro's name? */
static bool special(const char *text)
{
	size_t n = strlen(text);
	return (n == 1 && strchr(".,:;()[]?!|", *text)) || (n >= 2 && n <= 3 && *text >= 'A' && *text <= 'Z');
}

void roff_word(struct lines *out, const char *text)
{
	bool quoted = strpbrk(text, " \"\t") || !*text;
	if (special(text))
		lines_puts(out, "\\&");
	if (quoted)
		lines_puts(out, "\"");
	for (const char *p = text; *p; p++) {
		if (*p == '"')
			lines_puts(out, "\\(dq");
		else if (*p == '|' && !special(text))
			lines_puts(out, "\\(ba");
		else
			roff_byte(out, p, p == text);
	}
	if (quoted)
		lines_puts(out, "\"");
}

/* Is the word that ends here the end of a sentence? */
static bool sentence_ends(const char *word, size_t n)
{
	while (n > 1 && strchr(")\"`", word[n - 1]))
		n--;
	return n > 1 && strchr(".?!", word[n - 1]) && !(n >= 3 && memcmp(word + n - 3, "...", 3) == 0);
}

void roff_fill(struct lines *out, const char *text)
{
	size_t column = 0;
	for (;;) {
		text += strspn(text, " \n\t");
		size_t n = strcspn(text, " \n\t");
		if (!n)
			break;
		size_t wide = n; /* as it is written: some bytes become two */
		for (size_t i = 0; i < n; i++)
			wide += text[i] == '-' || text[i] == '\\';
		bool wraps = column && column + wide + 1 > FILL, first = wraps || !column;
		if (wraps)
			lines_puts(out, "\n");
		else if (column)
			lines_puts(out, " ");
		column = first ? wide : column + wide + 1;
		for (size_t i = 0; i < n; i++)
			roff_byte(out, text + i, i == 0 && first);
		if (sentence_ends(text, n)) {
			lines_puts(out, "\n");
			column = 0;
		}
		text += n;
	}
	if (column)
		lines_puts(out, "\n");
}
