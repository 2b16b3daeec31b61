/* SPDX-License-Identifier: MIT */
/* The verbs and options of tally as mdoc, from the table that tally itself reads. */
#include "doc/manual.h"

#include "client/command.h"

#include <stdlib.h>
#include <string.h>

/* The paragraphs of a verb's help; the one that is a caution stands out. */
static void paragraphs(const char *text, struct lines *out)
{
	bool first = true;
	while (*text) {
		size_t n = strcspn(text, "\n");
		struct lines one = {0};
		lines_add(&one, text, n);
		if (!first)
			lines_puts(out, ".Pp\n");
		const char *at = lines_text(&one);
		if (strncmp(at, "Caution:", 8) == 0) {
			lines_puts(out, ".Sy Caution\\&:\n");
			at += 8;
		}
		roff_fill(out, at);
		lines_free(&one);
		first = false;
		text += n + (text[n] == '\n');
	}
}

/* " Fl -meter Ar NAME", in Oo ... Oc where it may be left out. */
static void option_use(const struct verb_option *o, bool needed, struct lines *out)
{
	if (!needed)
		lines_puts(out, "Oo\n.");
	lines_puts(out, "Fl ");
	lines_printf(out, "\\-%s", o->name);
	if (o->value) {
		lines_puts(out, " Ar ");
		roff_word(out, o->value);
	}
	lines_puts(out, needed ? "\n" : "\n.Oc\n");
}

/* The words of a pattern: those in capitals are places, all others stand as they are. */
static void words_use(const char *words, struct lines *out)
{
	while (*words) {
		char word[64] = "";
		size_t n = strcspn(words, " ");
		bool optional = *words == '[';
		size_t from = optional, len = n - 2 * (size_t)optional;
		memcpy(word, words + from, len < sizeof word ? len : sizeof word - 1);
		bool place = word[0] >= 'A' && word[0] <= 'Z';
		lines_printf(out, ".%s%s ", optional ? "Op " : "", place ? "Ar" : "Cm");
		roff_word(out, word);
		lines_puts(out, "\n");
		words += n + (words[n] == ' ');
	}
}

static void verb(const struct command *c, struct lines *out)
{
	lines_printf(out, ".It Xo\n.Nm\n.Cm %s\n", c->verb);
	words_use(c->words, out);
	for (int i = 0; i < OPTION_COUNT; i++) {
		uint64_t bit = UINT64_C(1) << i;
		if (c->options & bit) {
			lines_puts(out, ".");
			option_use(&option_table[i], c->required & bit, out);
		}
	}
	lines_puts(out, ".Xc\n.Sy ");
	roff_word(out, c->brief);
	lines_puts(out, "\n.Pp\n");
	paragraphs(c->help, out);
	for (int i = 0; i < OPTION_COUNT; i++) {
		if (!(c->options & UINT64_C(1) << i))
			continue;
		lines_printf(out, ".Pp\n.Fl \\-%s", option_table[i].name);
		if (option_table[i].value) {
			lines_puts(out, " Ar ");
			roff_word(out, option_table[i].value);
		}
		lines_puts(out, "\n\\(em\n");
		roff_fill(out, option_table[i].help);
	}
	if (c->need != NEED_BENCH)
		lines_printf(out, ".Pp\n%s\n", c->need == NEED_NOTHING ? "Needs no daemon."
		             : "Works on a log file, too:\n.Fl \\-file .");
}

void manual_verbs(struct lines *out)
{
	const char *group = "";
	for (int i = 0; i < command_count; i++) {
		if (strcmp(group, command_table[i].group) != 0) {
			if (*group)
				lines_puts(out, ".El\n");
			group = command_table[i].group;
			lines_puts(out, ".Ss ");
			roff_text(out, group);
			lines_puts(out, "\n.Bl -tag -width Ds\n");
		}
		verb(&command_table[i], out);
	}
	lines_puts(out, ".El\n");
}

void manual_options(struct lines *out)
{
	lines_puts(out, ".Bl -tag -width Ds\n");
	for (int i = 0; i < OPTION_COUNT; i++) {
		if (!(OPTIONS_COMMON & UINT64_C(1) << i))
			continue;
		lines_printf(out, ".It Fl \\-%s", option_table[i].name);
		if (option_table[i].value) {
			lines_puts(out, " Ar ");
			roff_word(out, option_table[i].value);
		}
		lines_puts(out, "\n");
		roff_fill(out, option_table[i].help);
	}
	lines_puts(out, ".El\n");
}
