/* SPDX-License-Identifier: MIT */
/* See sentence.h. */
#include "client/sentence.h"

#include <string.h>

struct sentence sentence_begin(char *out, size_t size)
{
	if (size)
		out[0] = '\0';
	return (struct sentence){out, size, 0, false};
}

void sentence_bytes(struct sentence *s, const char *text, size_t n)
{
	size_t room = s->size ? s->size - 1 - s->len : 0;
	if (s->full)
		return;
	if (n > room) {
		s->full = true;
		n = room;
		while (n && ((unsigned char)text[n] & 0xC0) == 0x80)
			n--;
	}
	if (!n)
		return;
	memcpy(s->out + s->len, text, n);
	s->len += n;
	s->out[s->len] = '\0';
}

void sentence_text(struct sentence *s, const char *text)
{
	sentence_bytes(s, text, strlen(text));
}

void sentence_word(struct sentence *s, const char *word)
{
	if (s->len && word[0])
		sentence_text(s, " ");
	sentence_text(s, word);
}

void sentence_part(struct sentence *s, const char *part)
{
	if (!part || !part[0])
		return;
	if (s->len)
		sentence_text(s, ", ");
	sentence_text(s, part);
}

void sentence_phrase(struct sentence *s, const char *phrase, const char *what)
{
	char part[256];
	struct sentence p = sentence_begin(part, sizeof part);
	const char *mark = strchr(phrase, '$');
	if (mark) {
		sentence_bytes(&p, phrase, (size_t)(mark - phrase));
		sentence_text(&p, what);
	}
	sentence_text(&p, mark ? mark + 1 : phrase);
	sentence_part(s, part);
}
