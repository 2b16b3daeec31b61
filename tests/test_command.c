/* SPDX-License-Identifier: MIT */
/*
 * The table of verbs itself, and the command lines that it understands.
 */
#include "tests/check.h"

#include "client/args.h"
#include "client/command.h"

/* ---- the table ---- */

static void test_verbs_unique(void **state)
{
	(void)state;
	for (int i = 0; i < command_count; i++)
		for (int j = 0; j < i; j++)
			if (strcmp(command_table[i].verb, command_table[j].verb) == 0)
				fail_msg("%s stands there twice", command_table[i].verb);
}

/* Those that scripts rely on. */
static void test_verbs_there(void **state)
{
	static const char *const names[] = {
		"meters", "meters raw", "meters tape", "job start", "job list", "job show", "job close",
		"sheet load", "sheet set", "sheet show", "at", "reach", "condition", "walk", "take", "undo",
		"enter", "entries", "strike", "note", "compare", "watch", "verify", "judge", "status", "reload",
	};
	(void)state;
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		int found = 0;
		for (int j = 0; j < command_count; j++)
			found += strcmp(command_table[j].verb, names[i]) == 0;
		note_row("%s", names[i]);
		assert_int_equal(found, 1);
	}
}

static int spaces(const char *text)
{
	int n = 0;
	for (; *text; text++)
		n += *text == ' ';
	return n;
}

static void test_every_verb_whole(void **state)
{
	(void)state;
	for (int i = 0; i < command_count; i++) {
		const struct command *c = &command_table[i];
		note_row("%s", c->verb);
		assert_true(spaces(c->verb) <= 1);
		assert_non_null(c->call);
		assert_true(strlen(c->group) > 0);
		assert_true(strlen(c->brief) > 5 && strlen(c->help) > 20);
		/* One line, no full stop: it stands in a list. */
		assert_null(strchr(c->brief, '\n'));
		assert_int_not_equal(c->brief[strlen(c->brief) - 1], '.');
		assert_int_equal(c->help[strlen(c->help) - 1], '.');
		/* What must be given may be given; the common ones are not listed again. */
		assert_int_equal(c->required & ~c->options, 0);
		assert_int_equal(c->options & OPTIONS_COMMON, 0);
		/* What changes the log needs a daemon that writes it. */
		assert_true(!c->changes || c->need == NEED_BENCH);
	}
}

/* The groups stand together, so that each heading comes once. */
static void test_groups_together(void **state)
{
	(void)state;
	for (int i = 2; i < command_count; i++)
		if (strcmp(command_table[i].group, command_table[i - 1].group) != 0)
			for (int j = 0; j < i - 1; j++)
				assert_string_not_equal(command_table[j].group, command_table[i].group);
}

static void test_help_names_everything(void **state)
{
	(void)state;
	struct lines all = {0};
	command_overview(&all);
	assert_non_null(strstr(lines_text(&all), "Valve equipment kills"));
	assert_non_null(strstr(lines_text(&all), "Exit status: 0"));
	for (int i = 0; i < command_count; i++) {
		const struct command *c = &command_table[i];
		struct lines help = {0};
		char option[64];
		command_help(c, &help);
		note_row("%s", c->verb);
		assert_non_null(strstr(lines_text(&all), c->verb));
		assert_non_null(strstr(lines_text(&help), c->verb));
		for (int o = 0; o < OPTION_COUNT; o++) {
			snprintf(option, sizeof option, "--%s", option_table[o].name);
			if (c->options & UINT64_C(1) << o)
				assert_non_null(strstr(lines_text(&help), option));
		}
		/* A verb that reads no log does not offer --file. */
		assert_int_equal(strstr(lines_text(&help), "--file FILE") != NULL, c->need == NEED_LOG);
		/* No line is wider than a terminal of 80 columns. */
		for (const char *at = lines_text(&help); *at;) {
			size_t n = strcspn(at, "\n");
			assert_true(n < 80);
			at += n + (at[n] == '\n');
		}
		lines_free(&help);
	}
	lines_free(&all);
}

static void test_options_documented(void **state)
{
	(void)state;
	uint64_t used = OPTIONS_COMMON;
	for (int i = 0; i < command_count; i++)
		used |= command_table[i].options;
	for (int o = 0; o < OPTION_COUNT; o++) {
		note_row("--%s", option_table[o].name);
		assert_true(strlen(option_table[o].help) > 5);
		assert_true(used & UINT64_C(1) << o); /* an option that nobody takes is no option */
		for (int p = 0; p < o; p++)
			assert_string_not_equal(option_table[o].name, option_table[p].name);
	}
}

/* ---- words of a verb ---- */

static void test_word_range(void **state)
{
	static const struct { const char *words; int least, most; } rows[] = {
		{"", 0, 0}, {"NAME", 1, 1}, {"[NAME]", 0, 1}, {"NAME...", 1, INT32_MAX},
		{"[NAME...]", 0, INT32_MAX}, {"POSITION VALUE", 2, 2}, {"[POSITION] [QUANTITY]", 0, 2},
		{"POSITION KEY=VALUE...", 2, INT32_MAX}, {"on|off", 1, 1}, {"[on|off]", 0, 1},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		int least, most;
		note_row("\"%s\"", rows[i].words);
		command_word_range(rows[i].words, &least, &most);
		assert_int_equal(least, rows[i].least);
		assert_int_equal(most, rows[i].most);
	}
}

static void test_word_fits(void **state)
{
	static const struct { const char *words; int place; const char *word; bool fits; } rows[] = {
		{"on|off", 0, "on", true}, {"on|off", 0, "off", true}, {"on|off", 0, "o", false},
		{"on|off", 0, "offf", false}, {"on|off", 0, "", false}, {"[on|off]", 0, "off", true},
		{"[on|off]", 0, "off]", false}, {"NAME", 0, "on", true}, {"NAME a|b", 1, "c", false},
		{"NAME a|b", 1, "b", true}, {"NAME...", 5, "x", true},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("\"%s\" %d \"%s\"", rows[i].words, rows[i].place, rows[i].word);
		assert_int_equal(command_word_fits(rows[i].words, rows[i].place, rows[i].word),
		                 rows[i].fits);
	}
}

/* ---- command lines ---- */

#define MOST 12
/* argv; the verb it must find; its words joined with '|'; or what the fault says. */
static const struct row {
	const char *argv[MOST];
	const char *verb, *words, *fault;
} rows[] = {
	/* options before, between and after */
	{{"entries"}, "entries", "", NULL},
	{{"--json", "entries", "R12"}, "entries", "R12", NULL},
	{{"entries", "--json", "R12"}, "entries", "R12", NULL},
	{{"entries", "R12", "--json", "--file", "x.db"}, "entries", "R12", NULL},
	{{"--socket", "/s", "meters", "--plain", "raw", "red"}, "meters raw", "red", NULL},
	{{"meters", "tape", "red", "bench"}, "meters tape", "red|bench", NULL},
	{{"meters", "tape"}, "meters tape", "", NULL},
	/* values that look like options are values */
	{{"enter", "B1", "-35 V", "--from", "bench"}, "enter", "B1|-35 V", NULL},
	{{"enter", "B1", "-35", "V", "--from", "bench"}, "enter", "B1|-35 V", NULL},
	{{"enter", "--from", "-x", "B1", "-.5"}, "enter", "B1|-.5", NULL},
	{{"enter", "5", "V", "--from", "a"}, "enter", "5|V", NULL}, /* a position called 5 */
	{{"enter", "B1", "100", "k", "--from", "a"}, "enter", "B1|100 k", NULL},
	{{"enter", "B1", "0.47", "\u00b5F", "--from", "a"}, "enter", "B1|0.47 \u00b5F", NULL},
	{{"enter", "B1", "12", "V", "DC", "--from", "a"}, "enter", "B1|12 V DC", NULL},
	{{"enter", "B1", "OL", "--from", "a"}, "enter", "B1|OL", NULL},
	{{"judge", "-35 V", "10%", "-40 V"}, "judge", "-35 V|10%|-40 V", NULL},
	{{"judge", "-35", "V", "10", "%", "-40", "V"}, "judge", "-35 V|10 %|-40 V", NULL},
	{{"judge", "8", "uF", "-20/+80%", "9u"}, "judge", "8 uF|-20/+80%|9u", NULL},
	{{"judge", "0V", "+-2", "V", "1V"}, "judge", "0V|+-2 V|1V", NULL},
	{{"judge", "-", ">=20", "Mohm", "OL"}, "judge", "-|>=20 Mohm|OL", NULL},
	/* a tolerance letter that is a prefix, too */
	{{"judge", "100k", "K", "105k"}, "judge", "100k|K|105k", NULL},
	{{"judge", "100", "k", "K", "105", "k"}, "judge", "100 k|K|105 k", NULL},
	{{"judge", "47", "M", "50"}, "judge", "47|M|50", NULL},
	{{"judge", "47", "M", "20%", "50", "M"}, "judge", "47 M|20%|50 M", NULL},
	{{"judge", "0.1", "uF", "C", "0.1", "uF"}, "judge", "0.1 uF|C|0.1 uF", NULL},
	{{"judge", "5", "A", "10%", "5.1", "A"}, "judge", "5 A|10%|5.1 A", NULL},
	{{"judge", "100k", "5%", "--accuracy", "2 + 0.5%", "98k"}, "judge", "100k|5%|98k", NULL},
	{{"judge", "100k", "5%", "98k", "--accuracy=-5"}, "judge", "100k|5%|98k", NULL},
	{{"note", "R12", "smells", "burnt,", "100", "V"}, "note", "R12|smells burnt, 100 V", NULL},
	{{"note", "R12", "--", "--json", "is", "a", "word"}, "note", "R12|--json is a word", NULL},
	{{"strike", "12", "--because=--help"}, "strike", "12", NULL},
	{{"strike", "12", "--because", "-3 % is wrong"}, "strike", "12", NULL},
	{{"sheet", "load", "-"}, "sheet load", "-", NULL},
	{{"sheet", "set", "R1", "nominal=", "note=a b"}, "sheet set", "R1|nominal=|note=a b", NULL},
	{{"help", "job", "start"}, "help", "job|start", NULL},
	{{"walk"}, "walk", "", NULL},
	{{"--plain"}, "bench", "", NULL}, /* alone it is the plain screen */
	{{"--plain", "--socket", "/s"}, "bench", "", NULL},
	{{"--plain", "bench"}, "bench", "", NULL},
	{{"walk", "lift", "--order", "kind", "--meters=2"}, "walk", "lift", NULL},
	{{"move", "45-48", "last", "R13"}, "move", "45-48|last|R13", NULL},
	{{"offset", "short"}, "offset", "short", NULL},
	{{"offset", "crossed"}, "offset", NULL, "short|open is expected"},
	{{"move", "R13"}, "move", NULL, "SEQ... POSITION is expected"},
	{{"meters", "check", "red", "REF1"}, "meters check", "red|REF1", NULL},
	{{"reach", "lifted"}, "reach", "lifted", NULL},
	/* --help wins over everything that is missing or too much */
	{{"enter", "--help"}, "enter", NULL, NULL},
	{{"-h", "walk", "maybe"}, "walk", NULL, NULL},
	/* what is wrong */
	{{"metres"}, NULL, NULL, "perhaps meters"},
	{{"entreis"}, NULL, NULL, "perhaps entries"},
	{{"qwertyuiop"}, NULL, NULL, "there is no verb \"qwertyuiop\""},
	{{NULL}, NULL, NULL, "which verb?"},
	{{"job"}, NULL, NULL, "job start, job list, job show, job set"},
	{{"meters", "rwa"}, NULL, NULL, "there is no verb \"meters rwa\"; there are meters, meters raw"},
	{{"walk", "uphill"}, "walk", NULL, "[on|off|lift|new] is expected, not uphill"},
	{{"walk", "on", "off"}, "walk", NULL, "[on|off|lift|new] is expected, and here are 2 words"},
	{{"job", "start"}, "job start", NULL, "NAME is expected, and here are 0 words"},
	{{"undo", "5"}, "undo", NULL, "no word is expected, and here is 5"},
	{{"judge", "100k", "5%"}, "judge", NULL, "here are 2 words"},
	{{"judge", "8u", "-10", "+10", "%", "9u"}, "judge", NULL, "in quotes"},
	{{"enter", "R1", "5"}, "enter", NULL, "--from NAME is missing"},
	{{"strike", "5"}, "strike", NULL, "--because TEXT is missing"},
	{{"take", "--because", "x"}, "take", NULL, "--because does not go with this verb"},
	{{"take", "--file", "x"}, "take", NULL, "needs the running daemon"},
	{{"entries", "--file", "x", "--socket", "y"}, "entries", NULL, "exclude each other"},
	{{"entries", "--jsn"}, "entries", NULL, "there is no option --jsn; perhaps --json is meant"},
	{{"entries", "--zzz"}, "entries", NULL, "there is no option --zzz"},
	{{"entries", "--json=1"}, "entries", NULL, "--json takes no value"},
	{{"entries", "--job", "a", "--job", "b"}, "entries", NULL, "--job is given twice"},
	{{"entries", "--job"}, "entries", NULL, "--job needs its NAME"},
	{{"entries", "--job", "--json"}, "entries", NULL, "written with ="},
	{{"entries", "-j"}, "entries", NULL, "after --"},
	{{"\x1b[31m"}, NULL, NULL, "\\x1B[31m"}, /* nothing steers the terminal */
};

static void test_command_lines(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		const struct row *r = &rows[i];
		static struct args a;
		struct fault why = {0};
		char words[512] = "";
		int argc = 0;
		while (argc < MOST && r->argv[argc])
			argc++;
		note_row("%zu: %s %s %s", i, argc ? r->argv[0] : "", argc > 1 ? r->argv[1] : "",
		         argc > 2 ? r->argv[2] : "");
		bool good = args_parse(&a, argc, r->argv, &why);
		if (r->fault && !strstr(why.text, r->fault))
			fail_msg("fault \"%s\", expected \"%s\"", why.text, r->fault);
		assert_int_equal(good, r->fault == NULL);
		if (r->verb) {
			assert_non_null(a.command);
			assert_string_equal(a.command->verb, r->verb);
		} else {
			assert_null(a.command);
		}
		if (!good || !r->words)
			continue;
		for (int w = 0; w < a.count; w++) {
			strcat(words, w ? "|" : "");
			strcat(words, a.words[w]);
		}
		assert_string_equal(words, r->words);
	}
}

static void test_option_values(void **state)
{
	(void)state;
	const char *argv[] = {"strike", "--because=--help", "12", "--json"};
	static struct args a;
	struct fault why;
	assert_true(args_parse(&a, 4, argv, &why));
	assert_string_equal(a.option[OPTION_BECAUSE], "--help");
	assert_non_null(a.option[OPTION_JSON]);
	assert_null(a.option[OPTION_HELP]);
	assert_null(a.words[1]);
}

/* More words than there is room for, and a text that is too long: said, not cut. */
static void test_too_much(void **state)
{
	(void)state;
	static const char *argv[400];
	static char longer[5000];
	static struct args a;
	struct fault why;
	for (int i = 0; i < 400; i++)
		argv[i] = "x";
	argv[0] = "note";
	assert_false(args_parse(&a, 400, argv, &why));
	assert_non_null(strstr(why.text, "more than 128 words"));
	memset(longer, 'y', sizeof longer - 1);
	argv[2] = argv[3] = longer;
	assert_false(args_parse(&a, 4, argv, &why));
	assert_non_null(strstr(why.text, "longer than"));
	assert_true(args_parse(&a, 3, argv, &why)); /* one word needs no joining */
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_verbs_unique),
		cmocka_unit_test(test_verbs_there),
		cmocka_unit_test(test_every_verb_whole),
		cmocka_unit_test(test_groups_together),
		cmocka_unit_test(test_help_names_everything),
		cmocka_unit_test(test_options_documented),
		cmocka_unit_test(test_word_range),
		cmocka_unit_test(test_word_fits),
		cmocka_unit_test(test_command_lines),
		cmocka_unit_test(test_option_values),
		cmocka_unit_test(test_too_much),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
