/* SPDX-License-Identifier: MIT */
/* Sheets: RFC 4180 cases, what cells mean, every refusal with its place. */
#include "protocol/record/sheet.h"

#include "tests/check.h"

#include <stdlib.h>

struct rows {
	int count;
	struct sheet_row row[8];
};

static bool keep(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)why;
	struct rows *r = arg;
	if (r->count < 8)
		r->row[r->count] = *row;
	r->count++;
	return true;
}

static struct rows *parse(const char *text, size_t len)
{
	static struct rows r;
	struct fault why = {.line = 0};
	char said[512];
	memset(&r, 0, sizeof r);
	if (!sheet_parse("s.csv", text, len, keep, &r, &why)) {
		fault_text(&why, said, sizeof said);
		print_message("%s\n", said);
		return NULL;
	}
	return &r;
}

#define PARSE(text) parse(text, sizeof(text) - 1)

/* A column `marking` counts where no nominal is written and it means one value. */
static void marking_column(void **state)
{
	(void)state;
	struct rows *r = PARSE("position,kind,marking,nominal,tolerance\n"
	                       "C1,film,104K,,\nC2,,brown black yellow,,\nR1,,yellow violet red gold,,10%\n"
	                       "C3,film,104K,47n,\nC4,film,330,,\nV1,valve,104K,,\nC5,film,as found,,\n");
	assert_non_null(r);
	static const struct {
		bool nominal;
		struct decimal value;
		int percent; /* 0: none */
	} rows[] = {{true, {100, -9}, 10}, {true, {100, -9}, 0}, {true, {4700, 0}, 10},
	            {true, {47, -9}, 0}, {false, {0, 0}, 0}, {false, {0, 0}, 0}, {false, {0, 0}, 0}};
	assert_int_equal(r->count, sizeof rows / sizeof *rows);
	for (int i = 0; i < r->count; i++) {
		const struct position *p = &r->row[i].position;
		assert_int_equal(p->has_nominal, rows[i].nominal);
		assert_true(!p->has_nominal || decimal_compare(p->nominal, rows[i].value) == 0);
		assert_int_equal(p->tolerance.form != TOLERANCE_NONE, rows[i].percent != 0);
		assert_string_equal(r->row[i].extra_name[0], "marking");
	}
}

/* RFC 4180 section 2, rules 1 to 7, and what real spreadsheets write. */
static void rfc_4180(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text;
		int rows;
		const char *note; /* of the first row */
	} rows[] = {
	    {"1: CR LF", "position,note\r\nR1,a\r\nR2,b\r\n", 2, "a"},
	    {"2: no line break at the end", "position,note\r\nR1,a\r\nR2,b", 2, "a"},
	    {"LF alone", "position,note\nR1,a\n", 1, "a"},
	    {"both mixed", "position,note\r\nR1,a\nR2,b\r\n", 2, "a"},
	    {"4: an empty last cell", "position,note\nR1,\n", 1, ""},
	    {"4: an empty last cell, no end", "position,note\nR1,", 1, ""},
	    {"5: cells in quotes", "\"position\",\"note\"\n\"R1\",\"a\"\n", 1, "a"},
	    {"5: empty quotes", "position,note\nR1,\"\"\n", 1, ""},
	    {"6: comma in quotes", "position,note\nR1,\"a,b\"\n", 1, "a,b"},
	    {"6: line break in quotes", "position,note\nR1,\"a\r\nb\nc\"\nR2,\n", 2, "a\r\nb\nc"},
	    {"7: quote in quotes", "position,note\nR1,\"a \"\"b\"\" c\"\n", 1, "a \"b\" c"},
	    {"7: nothing but quotes", "position,note\nR1,\"\"\"\"\"\"\n", 1, "\"\""},
	    {"byte order mark", "\xef\xbb\xbfposition,note\nR1,a\n", 1, "a"},
	    {"byte order mark and quote", "\xef\xbb\xbf\"position\",note\nR1,a\n", 1, "a"},
	    {"spaces around", " position , note \n R1 ,  a b \t\n", 1, "a b"},
	    {"spaces around quotes", "position,note\nR1 , \"a\" \n", 1, "a"},
	    {"spaces inside quotes", "position,note\n\" R1 \",\" a \"\n", 1, "a"},
	    {"empty lines", "\n\nposition,note\n\nR1,a\n  \n\r\nR2,b\n\n", 2, "a"},
	    {"rows of empty cells", "position,note\n,\nR1,a\n , \"\"\n,,,,\n", 1, "a"},
	    {"semicolons are text", "position,note\nR1,a;b\n", 1, "a;b"},
	    {"any case of the names", "Position,NOTE\nR1,a\n", 1, "a"},
	    {"another order", "note,position\na,R1\n", 1, "a"},
	    {"only the names", "position,note\n", 0, ""},
	    {"column without a name, empty", "position,note,,\nR1,a,,\n", 1, "a"},
	    {"micro sign", "position,note\nR1,\xc2\xb5\xce\xbc\xe2\x84\xa6\n", 1, "\xc2\xb5\xce\xbc\xe2\x84\xa6"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].legend);
		struct rows *r = parse(rows[i].text, strlen(rows[i].text));
		assert_non_null(r);
		assert_int_equal(r->count, rows[i].rows);
		if (r->count) {
			assert_string_equal(r->row[0].position.name, "R1");
			assert_string_equal(r->row[0].position.note, rows[i].note);
			assert_string_equal(r->row[0].written[SHEET_NOTE], rows[i].note);
		}
	}
}

static bool is_value(struct decimal d, int64_t n, int e)
{
	return decimal_compare(d, (struct decimal){n, e}) == 0;
}

/* The columns and examples of the sheet's format. */
static void meanings(void **state)
{
	(void)state;
	struct rows *r = PARSE(
	    "position,kind,nominal,tolerance,service,rated,role,with,channel,twin,part,source,max,price,"
	    "note,Colour\n"
	    "R12,,4k7,5%,20%,1/2W,anode load,V3,left,R112,,,,0.20,\"one, two\",brown\n"
	    "C7,paper,0.47 uF,-20/+80%,<=0.1,400 V,coupling,R12,left,,can-1,1M,,,,\n"
	    "V3,valve,-35 V,+-2 V,,,,,,,,,12 W,,,\n"
	    "HT1,rail,285 V,K,>=200,,,,,,,47k,,,,\n"
	    "X1,rail,6.3 V AC,10%,,,,,,,,,,,,\n"
	    "R112,,,,,,,,,,,,,,,\n"
	    "F1,,,,,,,,,,,,500 mA,,,\n"
	    "G,other,0 V,+-2 V,,,,,,,,,,,,\n");
	assert_non_null(r);
	assert_int_equal(r->count, 8);
	const struct position *p = &r->row[0].position;
	assert_int_equal(p->kind, KIND_RESISTOR);
	assert_int_equal(p->function, FUNCTION_OHM);
	assert_true(p->has_nominal && is_value(p->nominal, 4700, 0));
	assert_int_equal(p->tolerance.form, TOLERANCE_PERCENT);
	assert_true(is_value(p->tolerance.low, -5, 0) && is_value(p->tolerance.high, 5, 0));
	assert_true(is_value(p->service.high, 20, 0));
	assert_true(!p->has_rated && p->has_max && is_value(p->max, 5, -1));
	assert_string_equal(p->role, "anode load");
	assert_string_equal(p->with, "V3");
	assert_string_equal(p->channel, "left");
	assert_string_equal(p->twin, "R112");
	assert_string_equal(p->price, "0.20");
	assert_string_equal(p->note, "one, two");
	assert_int_equal(r->row[0].extras, 1);
	assert_string_equal(r->row[0].extra_name[0], "Colour");
	assert_string_equal(r->row[0].extra_cell[0], "brown");
	assert_string_equal(r->row[1].extra_cell[0], "");

	p = &r->row[1].position;
	assert_int_equal(p->kind, KIND_PAPER);
	assert_int_equal(p->function, FUNCTION_FARAD);
	assert_true(is_value(p->nominal, 47, -8));
	assert_true(is_value(p->tolerance.low, -20, 0) && is_value(p->tolerance.high, 80, 0));
	assert_int_equal(p->service.form, TOLERANCE_AT_MOST);
	assert_true(p->has_rated && is_value(p->rated, 400, 0) && !p->has_max);
	assert_true(p->has_source && is_value(p->source, 1000000, 0));
	assert_string_equal(p->part, "can-1");

	p = &r->row[2].position;
	assert_int_equal(p->function, FUNCTION_VOLT_DC);
	assert_true(is_value(p->nominal, -35, 0) && is_value(p->max, 12, 0));
	assert_int_equal(p->tolerance.form, TOLERANCE_ABSOLUTE);
	p = &r->row[3].position;
	assert_true(is_value(p->nominal, 285, 0));
	assert_true(is_value(p->tolerance.high, 10, 0));
	assert_int_equal(p->service.form, TOLERANCE_AT_LEAST);
	assert_int_equal(r->row[4].position.function, FUNCTION_VOLT_AC);
	p = &r->row[5].position;
	assert_false(p->has_nominal);
	assert_string_equal(p->twin, "R12"); /* made mutual */
	assert_string_equal(r->row[5].written[SHEET_TWIN], "");
	assert_true(is_value(r->row[6].position.max, 5, -1));
	p = &r->row[7].position;
	assert_true(p->has_nominal && p->nominal.n == 0);
	assert_int_equal(p->function, FUNCTION_VOLT_DC);
}

/* As it stands on the part: IEC 60062, and old print (common practice, no source). */
static void markings(void **state)
{
	(void)state;
	struct rows *r = PARSE("position,kind,nominal,tolerance,rated\n"
	                       "R1,,brown black yellow gold,,\n"
	                       "C1,,104K,,\n"
	                       "C2,paper,.047/400,20%,400 V\n"
	                       "C3,,brown black yellow,,\n"
	                       "C4,electrolytic,8/450,,\n"
	                       "C5,,4.7e-8,,\n"
	                       "C6,,0.1 MF,,\n"
	                       "R3,,104,,\n");
	assert_non_null(r);
	static const struct {
		int64_t n;
		int e;
		int percent; /* 0: none */
	} want[] = {{1, 5, 5}, {1, -7, 10}, {47, -9, 20}, {1, -7, 0}, {8, -6, 0},
	            {47, -9, 0}, {1, -7, 0}, {104, 0, 0}};
	assert_int_equal(r->count, 8);
	for (int i = 0; i < 8; i++) {
		const struct position *p = &r->row[i].position;
		note_row("%s", p->name);
		assert_true(p->has_nominal && is_value(p->nominal, want[i].n, want[i].e));
		assert_int_equal(p->tolerance.form, want[i].percent ? TOLERANCE_PERCENT : TOLERANCE_NONE);
		assert_true(!want[i].percent || is_value(p->tolerance.high, want[i].percent, 0));
	}
	/* A rating that a marking proposes is not the sheet's. */
	assert_false(r->row[4].position.has_rated);
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text;
		int line, column;
		const char *says;
	} rows[] = {
	    {"nothing", "", 1, 1, "empty"},
	    {"only empty lines", "\n , \n", 1, 1, "empty"},
	    {"no position column", "kind,nominal\nresistor,4k7\n", 1, 1, "position"},
	    {"column twice", "position,note,Note\n", 1, 15, "twice"},
	    {"unknown column twice", "position,x,X\n", 1, 12, "twice"},
	    {"column name too long", "position, abcdefghijklmnopqrstuvwxyz0123456\n", 1, 42, "too long"},
	    {"cell under no name", "position,,note\nR1,x,\n", 2, 4, "no name"},
	    {"too few cells", "position,note\nR1\n", 2, 3, "fewer"},
	    {"too few at the end", "position,note\nR1", 2, 3, "fewer"},
	    {"too many cells", "position,note\nR1,a,b\n", 2, 6, "more cells"},
	    {"one empty cell too many", "position,note\nR1,a,\n", 2, 6, "more cells"},
	    {"quote not closed", "position,note\nR1, \"a\nR2,b\n", 2, 5, "not closed"},
	    {"quote in a cell", "position,note\nR1,5\" x\n", 2, 5, "quote inside"},
	    {"after the quote", "position,note\nR1,\"a\"b\n", 2, 7, "closing quote"},
	    {"after the quote and a space", "position,note\nR1,\"a\" b\n", 2, 8, "closing quote"},
	    {"CR alone", "position,note\rR1,a\r", 1, 14, "carriage return"},
	    {"CR alone at the end", "position,note\nR1,a\r", 2, 5, "carriage return"},
	    {"NUL", "position,note\nR1,a@b\n", 2, 5, "control"},
	    {"not UTF-8", "position,note\nR1,\xb5" "F\n", 2, 4, "UTF-8"},
	    {"UTF-16", "\xff\xfep\1o\1", 1, 1, "UTF-8"},
	    {"no position in a row", "position,note\n,a\n", 2, 1, "position"},
	    {"no position, note first", "note,position\na,\n", 2, 3, "position"},
	    {"bad name", "position\nR 1\n", 2, 1, "name"},
	    {"bad name in quotes", "position\n \"R,1\"\n", 2, 2, "name"},
	    {"name too long", "position\nabcdefghijklmnopqrstuvwxyz0123456\n", 2, 1, "name"},
	    {"position twice", "position\nR1\nR2\nR1\n", 4, 1, "already"},
	    {"unknown kind", "position,kind\nR1,resister\n", 2, 4, "kind"},
	    {"bad nominal, the byte", "position,nominal\nR1,4k7x\n", 2, 7, "nominal"},
	    {"bad nominal behind spaces", "position,nominal\nR1,  47q\n", 2, 8, "nominal"},
	    {"bad nominal in quotes", "position,nominal\nR1,\"47q\"\n", 2, 7, "nominal"},
	    {"bad nominal, spaces in quotes", "position,nominal\nR1, \" 47q\"\n", 2, 9, "nominal"},
	    {"bad nominal behind a multi-line note", "note,position,nominal\n\"a\r\nb\",R1,47q\n", 3, 9,
	     "nominal"},
	    {"10 or 100 pF", "position,nominal\nC1,100\n", 2, 4, "may mean 10 pF or 100 pF"},
	    {"comma for a point", "position,nominal\nR1,\"4,7k\"\n", 2, 6, "comma"},
	    {"farads for a resistor", "position,nominal\nR1,10 uF\n", 2, 6, "ohms"},
	    {"ohms for a capacitor", "position,nominal\nC1,10 kohm\n", 2, 6, "farads"},
	    {"no unit", "position,kind,nominal\nX1,other,47\n", 2, 12, "unit"},
	    {"bad tolerance", "position,nominal,tolerance\nR1,4k7,5q\n", 2, 9, "tolerance"},
	    {"bad tolerance, second side", "position,nominal,tolerance\nC1,1u,-20/+x\n", 2, 12,
	     "tolerance"},
	    {"bad service", "position,service\nR1,>=\n", 2, 6, "service"},
	    {"bad rated", "position,rated\nC1,400 F\n", 2, 7, "rated"},
	    {"rated zero", "position,rated\nC1,0 V\n", 2, 4, "above zero"},
	    {"rated watts", "position,rated\nR1,x W\n", 2, 4, "rated"},
	    {"bad max", "position,max\nV1,12 V\n", 2, 6, "max"},
	    {"bad source", "position,source\nV1,-1\n", 2, 4, "below zero"},
	    {"channel too long", "position,channel\nR1,abcdefghijklmnopq\n", 2, 19, "too long"},
	    {"line break in a role", "position,role\nR1,\"a\nb\"\n", 2, 6, "line break"},
	    {"line break after a doubled quote", "position,role\nR1,\"a\"\"\nb\"\n", 2, 8, "line break"},
	    {"with itself", "position,with\nR1,R1\n", 2, 4, "itself"},
	    {"twin of itself", "position,twin\nR1,R1\n", 2, 4, "itself"},
	    {"with nobody", "position,with\nR1,\nR2,R3\n", 3, 4, "with"},
	    {"twin of nobody", "position,twin\nR1,R3\n", 2, 4, "twin"},
	    {"twin names a third", "position,twin\nR1,R2\nR2,R3\nR3,\n", 2, 4, "another"},
	    {"two want one twin", "position,twin\nR1,R2\nR2,\nR3,R2\n", 4, 4, "another"},
	    {"byte order mark counts for no column", "\xef\xbb\xbfposition,posi\"tion\n", 1, 14, "quote"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char copy[256], text[512];
		size_t len = strlen(rows[i].text);
		memcpy(copy, rows[i].text, len + 1);
		if (strcmp(rows[i].legend, "NUL") == 0)
			*strchr(copy, '@') = '\0';
		struct rows r = {0};
		struct fault why = {.line = 0};
		bool good = sheet_parse("s.csv", copy, len, keep, &r, &why);
		fault_text(&why, text, sizeof text);
		note_row("%s: %s", rows[i].legend, good ? "taken" : text);
		assert_false(good);
		assert_int_equal(r.count, 0); /* refused whole */
		assert_string_equal(why.file, "s.csv");
		assert_int_equal(why.line, rows[i].line);
		assert_int_equal(why.column, rows[i].column);
		assert_non_null(strstr(why.text, rows[i].says));
	}
}

static void bounds(void **state)
{
	(void)state;
	struct fault why;
	struct rows r = {0};
	char *text = malloc(1 << 20);
	/* Cells of 159 and 160 bytes. */
	for (int over = 0; over < 2; over++) {
		int len = snprintf(text, 1000, "position,note\nR1,\"%0*d\"\n", 159 + over, 7);
		assert_int_equal(sheet_parse("s", text, (size_t)len, keep, &r, &why), !over);
		if (over)
			assert_int_equal(why.column, 4 + 1 + 159);
	}
	/* 4096 and 4097 rows; and every position found as a twin. */
	for (int n = SHEET_ROWS_MAX; n <= SHEET_ROWS_MAX + 1; n++) {
		size_t len = (size_t)sprintf(text, "position\n");
		for (int i = 0; i < n; i++)
			len += (size_t)sprintf(text + len, "R%d\n", i);
		r.count = 0;
		assert_int_equal(sheet_parse("s", text, len, keep, &r, &why), n == SHEET_ROWS_MAX);
		assert_int_equal(r.count, n == SHEET_ROWS_MAX ? n : 0);
		if (n > SHEET_ROWS_MAX)
			assert_int_equal(why.line, SHEET_ROWS_MAX + 2);
	}
	/* 16 and 17 unknown columns; 65 columns. */
	for (int n = SHEET_EXTRA_MAX; n <= SHEET_EXTRA_MAX + 1; n++) {
		size_t len = (size_t)sprintf(text, "position");
		for (int i = 0; i < n; i++)
			len += (size_t)sprintf(text + len, ",x%d", i);
		assert_int_equal(sheet_parse("s", text, len, keep, &r, &why), n == SHEET_EXTRA_MAX);
	}
	memset(text, ',', 64);
	memcpy(text + 64, "position", 9);
	assert_false(sheet_parse("s", text, 72, keep, &r, &why));
	assert_int_equal(why.column, 65);
	assert_true(sheet_parse("s", text + 1, 71, keep, &r, &why));
	/* A cell of half a megabyte does no harm. */
	memcpy(text, "position,note\nR1,", 17);
	memset(text + 17, 'x', 500000);
	assert_false(sheet_parse("s", text, 500017, keep, &r, &why));
	free(text);
}

static bool refuse_second(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)arg;
	if (strcmp(row->position.name, "R2") != 0)
		return true;
	fault_set(why, "not in a live unit");
	return false;
}

static void refused_by_each(void **state)
{
	(void)state;
	struct fault why;
	static const char text[] = "note,position\n,R1\n\"a\nb\", R2\n";
	assert_false(sheet_parse("s.csv", text, sizeof text - 1, refuse_second, NULL, &why));
	assert_string_equal(why.text, "not in a live unit");
	assert_string_equal(why.file, "s.csv");
	assert_int_equal(why.line, 4);
	assert_int_equal(why.column, 5);
}

static const char whole[] = "\xef\xbb\xbfposition,kind,nominal,tolerance,twin,note,Colour\r\n"
                            "R1,,4k7,5%,R2,\"a \"\"b\"\"\r\nc\",red\r\n"
                            "R2,metal-film,\"4.7 kohm\",+-100 ohm,,,\r\n"
                            "C1,,0.47 uF,-20/+80%,,\xc2\xb5,\r\n";

/* Every prefix, and every byte damaged: good or refused with a place inside it. */
static void prefixes_and_damage(void **state)
{
	(void)state;
	for (size_t n = 0; n < sizeof whole; n++) {
		char *cut = malloc(n ? n : 1);
		memcpy(cut, whole, n);
		struct rows r = {0};
		struct fault why = {.line = 0};
		if (!sheet_parse("s", cut, n, keep, &r, &why)) {
			assert_in_range(why.line, 1, 6);
			assert_in_range(why.column, 1, 60);
			assert_int_equal(r.count, 0);
		}
		free(cut);
	}
	static const char bytes[] = "\"\",;\n\r\t \x01\xff" "0R%/";
	for (size_t i = 0; i < sizeof whole - 1; i++)
		for (size_t k = 0; k < sizeof bytes; k++) {
			char copy[sizeof whole];
			memcpy(copy, whole, sizeof whole);
			copy[i] = bytes[k];
			struct rows r = {0};
			struct fault why = {.line = 0};
			if (!sheet_parse("s", copy, sizeof whole - 1, keep, &r, &why))
				assert_true(why.line >= 1 && why.line <= 7 && why.column >= 1 && why.text[0]);
		}
}

static bool same_tolerance(const struct tolerance *a, const struct tolerance *b)
{
	return a->form == b->form && decimal_compare(a->low, b->low) == 0 &&
	       decimal_compare(a->high, b->high) == 0;
}

static bool same_position(const struct position *a, const struct position *b)
{
	return strcmp(a->name, b->name) == 0 && a->kind == b->kind &&
	       a->has_nominal == b->has_nominal && decimal_compare(a->nominal, b->nominal) == 0 &&
	       a->function == b->function && same_tolerance(&a->tolerance, &b->tolerance) &&
	       same_tolerance(&a->service, &b->service) && a->has_rated == b->has_rated &&
	       decimal_compare(a->rated, b->rated) == 0 && strcmp(a->role, b->role) == 0 &&
	       strcmp(a->with, b->with) == 0 && strcmp(a->channel, b->channel) == 0 &&
	       strcmp(a->twin, b->twin) == 0 && strcmp(a->part, b->part) == 0 &&
	       a->has_source == b->has_source && decimal_compare(a->source, b->source) == 0 &&
	       a->has_max == b->has_max && decimal_compare(a->max, b->max) == 0 &&
	       strcmp(a->price, b->price) == 0 && strcmp(a->note, b->note) == 0;
}

static bool same_row(const struct sheet_row *a, const struct sheet_row *b)
{
	bool same = same_position(&a->position, &b->position) && a->extras == b->extras;
	for (int i = 0; i < SHEET_COLUMNS; i++)
		same &= strcmp(a->written[i], b->written[i]) == 0;
	for (int i = 0; i < a->extras && same; i++)
		same &= strcmp(a->extra_name[i], b->extra_name[i]) == 0 &&
		        strcmp(a->extra_cell[i], b->extra_cell[i]) == 0;
	return same;
}

/* The row as a record holds it, and back. */
static void as_json(void **state)
{
	(void)state;
	struct rows *r = PARSE(whole);
	assert_non_null(r);
	char json[8192];
	struct text t;
	struct fault why;
	for (int i = 0; i < r->count; i++) {
		struct sheet_row back;
		text_begin(&t, json, sizeof json);
		sheet_row_write(&t, &r->row[i]);
		assert_false(t.failed);
		assert_true(json_valid(json, t.len, NULL));
		assert_null(strpbrk(json, "\r\n"));
		memset(&back, 0xee, sizeof back);
		assert_true(sheet_row_read((struct slice){json, t.len}, &back, &why));
		assert_true(same_row(&r->row[i], &back));
	}
	text_begin(&t, json, sizeof json);
	sheet_row_write(&t, &r->row[0]);
	assert_string_equal(
	    json, "{\"written\":{\"position\":\"R1\",\"nominal\":\"4k7\",\"tolerance\":\"5%\",\"twin\":\"R2\","
	          "\"note\":\"a \\\"b\\\"\\r\\nc\"},\"extra\":{\"Colour\":\"red\"},\"kind\":\"resistor\","
	          "\"function\":\"ohm\",\"nominal\":4700,\"limits\":[4465,4935],\"service\":null,"
	          "\"twin\":\"R2\"}");
	text_begin(&t, json, sizeof json);
	sheet_row_write(&t, &r->row[2]);
	assert_string_equal(
	    json, "{\"written\":{\"position\":\"C1\",\"nominal\":\"0.47 uF\",\"tolerance\":\"-20/+80%\","
	          "\"note\":\"\xc2\xb5\"},\"extra\":{\"Colour\":\"\"},\"kind\":\"capacitor\",\"function\":"
	          "\"farad\",\"nominal\":4.7e-07,\"limits\":[3.76e-07,8.46e-07],\"service\":null}");

	/* A record that today's rules understand otherwise. */
	static const struct {
		const char *json, *says;
	} rows[] = {
	    {"{\"written\":{\"position\":\"R1\",\"nominal\":\"4k7\"},\"kind\":\"resistor\",\"function\":"
	     "\"ohm\",\"nominal\":4800,\"limits\":null,\"service\":null}", "nominal"},
	    {"{\"written\":{\"position\":\"R1\"},\"kind\":\"pot\",\"function\":\"ohm\",\"nominal\":null,"
	     "\"limits\":null,\"service\":null}", "kind"},
	    {"{\"written\":{\"position\":\"R1\",\"nominal\":\"4k7\",\"tolerance\":\"5%\"},\"kind\":"
	     "\"resistor\",\"function\":\"ohm\",\"nominal\":4700,\"limits\":[4465,4936],\"service\":null}",
	     "limits"},
	    {"{\"written\":{\"position\":\"R1\",\"nominal\":\"4k7x\"}}", "nominal"},
	    {"{\"written\":{}}", "position"},
	    {"[]", "sheet"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct sheet_row row;
		assert_false(sheet_row_read((struct slice){rows[i].json, strlen(rows[i].json)}, &row, &why));
		assert_non_null(strstr(why.text, rows[i].says));
	}
	struct sheet_row row;
	assert_false(sheet_row_read((struct slice){NULL, 0}, &row, &why));
	/* Letters that meant no kind when it was written: it stays what it was. */
	static const char other[] = "{\"written\":{\"position\":\"RAIL1\",\"nominal\":\"-35V\"},\"kind\":"
	                            "\"other\",\"function\":\"volt-dc\",\"nominal\":-35,\"limits\":null,"
	                            "\"service\":null}";
	assert_true(sheet_row_read((struct slice){other, sizeof other - 1}, &row, &why));
	assert_int_equal(row.position.kind, KIND_OTHER);
}

static void by_hand(void **state)
{
	(void)state;
	struct sheet_row row, before;
	struct fault why;
	memset(&row, 0, sizeof row);
	assert_true(sheet_bare(&row, "C7", &why));
	assert_int_equal(row.position.kind, KIND_CAPACITOR);
	assert_int_equal(row.position.function, FUNCTION_FARAD);
	assert_false(sheet_bare(&row, "C 7", &why));
	assert_false(sheet_bare(&row, "", &why));
	assert_string_equal(row.position.name, "C7");

	assert_true(sheet_set(&row, "nominal", " 0.47 uF ", &why));
	assert_string_equal(row.written[SHEET_NOMINAL], "0.47 uF");
	assert_true(is_value(row.position.nominal, 47, -8));
	assert_true(sheet_set(&row, "Tolerance", "K", &why));
	assert_true(is_value(row.position.tolerance.high, 10, 0));
	assert_true(sheet_set(&row, "note", "one\ntwo", &why));

	/* Refused: the row stays as it was, the column counts in the value. */
	static const struct {
		const char *key, *value;
		int column;
		const char *says;
	} rows[] = {
	    {"nominal", "47q", 3, "nominal"},
	    {"nominal", "  47q", 5, "nominal"},
	    {"nominal", "10 kohm", 3, "farads"},
	    {"kind", "resistor", 0, "nominal"}, /* 0.47 uF no longer makes sense */
	    {"kind", "resister", 0, "kind"},
	    {"tolerance", "5q", 2, "tolerance"},
	    {"role", "a\nb", 2, "line break"},
	    {"role", "a\x01", 2, "control"},
	    {"role", "\xff", 1, "UTF-8"},
	    {"channel", "abcdefghijklmnopq", 16, "too long"},
	    {"twin", "C7", 0, "itself"},
	    {"twin", "C 8", 0, "name"},
	    {"position", "C8", 0, "renamed"},
	    {"nominl", "1u", 0, "`nominl` is no column"},
	    {"", "1u", 0, "no column"},
	    {"colour", "red", 0, "no column"},
	};
	before = row;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		why.column = -1;
		bool good = sheet_set(&row, rows[i].key, rows[i].value, &why);
		note_row("%s=%s: %s", rows[i].key, rows[i].value, good ? "taken" : why.text);
		assert_false(good);
		assert_int_equal(why.column, rows[i].column);
		assert_non_null(strstr(why.text, rows[i].says));
		assert_true(same_row(&row, &before));
	}
	char longest[200];
	memset(longest, 'x', sizeof longest);
	longest[160] = '\0';
	assert_false(sheet_set(&row, "note", longest, &why));
	assert_int_equal(why.column, 160);
	longest[159] = '\0';
	assert_true(sheet_set(&row, "note", longest, &why));

	assert_true(sheet_set(&row, "tolerance", "", &why));
	assert_int_equal(row.position.tolerance.form, TOLERANCE_NONE);
	assert_true(sheet_set(&row, "nominal", "", &why));
	assert_false(row.position.has_nominal);
	assert_true(sheet_set(&row, "kind", "paper", &why));
	assert_int_equal(row.position.kind, KIND_PAPER);
	assert_true(sheet_set(&row, "kind", "", &why));
	assert_int_equal(row.position.kind, KIND_CAPACITOR);

	/* A twin that the other row named outlives a set of something else. */
	struct rows *r = PARSE(whole);
	row = r->row[1];
	assert_true(sheet_set(&row, "note", "x", &why));
	assert_string_equal(row.position.twin, "R1");
	assert_true(sheet_set(&row, "colour", "blue", &why));
	assert_string_equal(row.extra_cell[0], "blue");
	assert_true(sheet_set(&row, "twin", "", &why));
	assert_string_equal(row.position.twin, "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(rfc_4180), cmocka_unit_test(meanings), cmocka_unit_test(markings),
	    cmocka_unit_test(marking_column),
	    cmocka_unit_test(refused),  cmocka_unit_test(bounds),
	    cmocka_unit_test(refused_by_each), cmocka_unit_test(prefixes_and_damage),
	    cmocka_unit_test(as_json),  cmocka_unit_test(by_hand),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
