/* SPDX-License-Identifier: MIT */
/*
 * Parts lists that others made: headings and maps, delimiters and decimal commas, many
 * positions in a cell, counts that disagree; every refusal with its place.
 */
#include "protocol/record/sheet_map.h"
#include "tests/check.h"

struct got {
	int rows;
	char text[4096];
};

/* "R1 nominal=1k; ..." */
static bool keep(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct got *g = arg;
	size_t len = strlen(g->text);
	(void)why;
	len += (size_t)snprintf(g->text + len, sizeof g->text - len, "%s%s", len ? "; " : "",
	                        row->position.name);
	for (int i = SHEET_KIND; i < SHEET_COLUMNS && len < sizeof g->text; i++)
		if (row->written[i][0])
			len += (size_t)snprintf(g->text + len, sizeof g->text - len, " %s=%s",
			                        sheet_column_name[i], row->written[i]);
	for (int i = 0; i < row->extras && len < sizeof g->text; i++)
		len += (size_t)snprintf(g->text + len, sizeof g->text - len, " [%s]%s", row->extra_name[i],
		                        row->extra_cell[i]);
	g->rows++;
	return true;
}

/* "Ref:position Value:nominal Case:kept" */
static void columns(const struct sheet_taken *t, char *out, size_t size)
{
	size_t len = 0;
	out[0] = '\0';
	for (int i = 0; i < t->columns && len < size; i++)
		if (t->use[i] != SHEET_UNNAMED)
			len += (size_t)snprintf(out + len, size - len, "%s%s:%s", len ? " " : "", t->heading[i],
			                        sheet_use_name(t->use[i]));
}

static void understood(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text, *map, *taken, *want;
	} rows[] = {
	    {"a sheet of ours, as ever", "position,nominal,Value,Qty\nR1,1k,x,3\n", NULL,
	     "position:position nominal:nominal Value:kept Qty:kept", "R1 nominal=1k [Value]x [Qty]3"},
	    {"headings of a parts list", "Reference,Value,Qty,Footprint\n\"R1,R2,R5-R7\",4k7,5,axial\n",
	     NULL, "Reference:position Value:nominal Qty:count Footprint:kept",
	     "R1 nominal=4k7 [Footprint]axial; R2 nominal=4k7 [Footprint]axial; "
	     "R5 nominal=4k7 [Footprint]axial; R6 nominal=4k7 [Footprint]axial; "
	     "R7 nominal=4k7 [Footprint]axial"},
	    {"volts and amps may be below zero, and nothing may be nothing",
	     "position,kind,nominal\nB1,,-35 V\nB2,,0 V\nV1,valve,-12 mA\nR1,,0\n", NULL,
	     "position:position kind:kind nominal:nominal",
	     "B1 nominal=-35 V; B2 nominal=0 V; V1 kind=valve nominal=-12 mA; R1 nominal=0"},
	    {"any case, a point, other words", "REF.,VAL,TOLERANCE,VOLTAGE,DESCRIPTION\n"
	     "C1 C2,0.1u,10%,400V,paper in oil\n", NULL,
	     "REF.:position VAL:nominal TOLERANCE:tolerance VOLTAGE:rated DESCRIPTION:note",
	     "C1 nominal=0.1u tolerance=10% rated=400V note=paper in oil; "
	     "C2 nominal=0.1u tolerance=10% rated=400V note=paper in oil"},
	    {"our own names among them", "Designator,Value,role\nR1,1k,anode\n", NULL,
	     "Designator:position Value:nominal role:role", "R1 nominal=1k role=anode"},
	    {"semicolons and decimal commas", "Ref;Value;Qty\r\nR1, R3;4,7k;2\r\nC1;0,047 \xc2\xb5" "F;1\r\n",
	     NULL, "Ref:position Value:nominal Qty:count",
	     "R1 nominal=4.7k; R3 nominal=4.7k; C1 nominal=0.047 \xc2\xb5" "F"},
	    {"ten, where commas are decimal", "position;nominal\nR1;10,000k\n", NULL,
	     "position:position nominal:nominal", "R1 nominal=10.000k"},
	    {"semicolons, a sheet of ours", "position;nominal;tolerance;note\nR1;4,7k;2,5%;a, b\n", NULL,
	     "position:position nominal:nominal tolerance:tolerance note:note",
	     "R1 nominal=4.7k tolerance=2.5% note=a, b"},
	    {"tabs", "Ref\tValue\nR1 R2\t4,7k\nR3\t\n", NULL, "Ref:position Value:nominal",
	     "R1 nominal=4.7k; R2 nominal=4.7k; R3"},
	    {"tabs, empty cells at the end", "position\tnominal\tnote\nR1\t1k\t\nR2\t\ta\n", NULL,
	     "position:position nominal:nominal note:note", "R1 nominal=1k; R2 note=a"},
	    {"sep= of a spreadsheet", "sep=;\r\nposition;nominal\r\nR1;4,7k\r\n", NULL,
	     "position:position nominal:nominal", "R1 nominal=4.7k"},
	    {"byte order mark and semicolons", "\xef\xbb\xbfRef;Value\nR1;1k\n", NULL,
	     "Ref:position Value:nominal", "R1 nominal=1k"},
	    {"a comma in a quoted heading", "\"Ref\";\"Value, as drawn\";x\nR1;1k;2\n", NULL,
	     "Ref:position Value, as drawn:kept x:kept", "R1 [Value, as drawn]1k [x]2"},
	    {"a value with all it says", "Ref,Value\nC9,47u/450V\nR1,100k 1W 5%\nC1,0.1uF 400V\n"
	     "R2,1k carbon-film\nC2,8/450\n", NULL, "Ref:position Value:nominal",
	     "C9 nominal=47u rated=450V; R1 nominal=100k tolerance=5% rated=1W; "
	     "C1 nominal=0.1uF rated=400V; R2 kind=carbon-film nominal=1k; C2 nominal=8/450 rated=450"},
	    {"a rating of its own goes first", "Ref,Value,Voltage\nC9,47u 5%,400V\n", NULL,
	     "Ref:position Value:nominal Voltage:rated", "C9 nominal=47u tolerance=5% rated=400V"},
	    {"types are no values", "Ref,Value,Description\nV1-2,double triode,preamplifier\nT1,5k:8,\n"
	     "SW1,two way,\nD1,600 V 1 A,\n", NULL, "Ref:position Value:nominal Description:note",
	     "V1 note=double triode; preamplifier; V2 note=double triode; preamplifier; T1 note=5k:8; "
	     "SW1 note=two way; D1 note=600 V 1 A"},
	    {"in a list R1-6 is a range", "Ref,Value\nR1-3,1k\n", NULL, "Ref:position Value:nominal",
	     "R1 nominal=1k; R2 nominal=1k; R3 nominal=1k"},
	    {"in a sheet V1-2 is a name", "position,kind\nV1-2,valve\nR1-R2,resistor\n", NULL,
	     "position:position kind:kind", "V1-2 kind=valve; R1 kind=resistor; R2 kind=resistor"},
	    {"dashes and spaces of a spreadsheet",
	     "position,nominal,note\nR1\xc2\xa0\xe2\x80\x93\xc2\xa0R2,470\xc2\xa0k,a\xe2\x80\x93" "b\n", NULL,
	     "position:position nominal:nominal note:note",
	     "R1 nominal=470 k note=a\xe2\x80\x93" "b; R2 nominal=470 k note=a\xe2\x80\x93" "b"},
	    {"a map", "Teil,Wert,Anzahl,Bemerkung,Preis\nR1,1k,1,alt,2\n",
	     "teil=position,Wert=nominal,Anzahl=count,Bemerkung=note,Preis=-",
	     "Teil:position Wert:nominal Anzahl:count Bemerkung:note Preis:-",
	     "R1 nominal=1k note=alt"},
	    {"a map goes first", "Ref,Designator,Value\nx,R1,1k\n", "Ref=kept",
	     "Ref:kept Designator:position Value:nominal", "R1 nominal=1k [Ref]x"},
	    {"a map in a sheet of ours", "position,nominal,Colour\nR1,1k,red\n", "Colour=note",
	     "position:position nominal:nominal Colour:note", "R1 nominal=1k note=red"},
	    {"the rest left out", "Ref,Value,a name of a column that is longer than thirty-one bytes\n"
	     "R1,1k,x\n", "*=-", "Ref:position Value:nominal "
	     "a name of a column that is longer than thirty-one bytes:-", "R1 nominal=1k"},
	    {"two for one thing are kept, both", "Ref,Value,Voltage,Rating\nR1,1k,a,b\n", NULL,
	     "Ref:position Value:nominal Voltage:kept Rating:kept", "R1 nominal=1k [Voltage]a [Rating]b"},
	    {"our own word goes before a known one", "Ref,Value,nominal\nR1,x,1k\n", NULL,
	     "Ref:position Value:kept nominal:nominal", "R1 nominal=1k [Value]x"},
	    {"a heading with = and a comma that is not mapped", "Ref,a=b\nR1,2\n", NULL,
	     "Ref:position a=b:kept", "R1 [a=b]2"},
	    {"a heading with =, mapped", "Ref,a=b\nR1,2\n", "a=b=note", "Ref:position a=b:note",
	     "R1 note=2"},
	    {"no count is none to compare", "Ref,Qty\nR1-R3,\n", NULL, "Ref:position Qty:count",
	     "R1; R2; R3"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct got g = {.rows = 0};
		struct sheet_map map = {.pairs = 0};
		static struct sheet_taken taken;
		struct fault why = {.text = ""};
		char as[512] = "", said[512];
		memset(&taken, 0, sizeof taken);
		bool good = !rows[i].map || sheet_map_parse(&map, rows[i].map, &why);
		good = good && sheet_parse_mapped("l.csv", rows[i].text, strlen(rows[i].text), &map, &taken,
		                                  keep, &g, &why);
		columns(&taken, as, sizeof as);
		if (!good || strcmp(as, rows[i].taken) != 0 || strcmp(g.text, rows[i].want) != 0) {
			fault_text(&why, said, sizeof said);
			note_row("%s\n  %s\n  %s\n  %s", rows[i].legend, as, g.text, said);
			fail();
		}
	}
}

struct told {
	int count;
	struct fault first;
	char places[8192]; /* "2:4 3:1 " */
};

static void keep_told(void *arg, const struct fault *why)
{
	struct told *t = arg;
	size_t len = strlen(t->places);
	if (!t->count++)
		t->first = *why;
	assert_string_equal(why->file, "l.csv");
	assert_true(why->text[0]);
	if (len + 32 < sizeof t->places)
		snprintf(t->places + len, sizeof t->places - len, "%d:%d ", why->line, why->column);
}

static void all_faults(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text, *places;
	} rows[] = {
	    {"none", "position,nominal\nR1,1k\n", ""},
	    {"a good sheet with twins", "position,twin\nR1,R2\nR2,\n", ""},
	    {"two rows", "position,nominal\nR1,4x7\nR2,1k\nR3,1y\n", "2:5 4:5 "},
	    {"two cells of a row", "position,kind,nominal,tolerance\nR1,resistr,4k7,5x\n", "2:4 2:17 "},
	    {"said once for many alike", "position,nominal\nR1-R6,4x7\nR7,2x\n", "2:8 3:5 "},
	    {"given twice, and more", "position,nominal\nR1,1k\nR1,1k\nR1,2k\nR2,x\n", "3:1 4:1 5:4 "},
	    {"a faulty row is there for its twin", "position,nominal,twin\nR1,4x7,R2\nR2,1k,\n", "2:5 "},
	    {"twins that nobody has", "position,twin,with\nR1,R8,\nR2,,R9\nR3,R7,R6\n",
	     "2:4 3:5 4:7 4:4 "},
	    {"a lost name may be that twin", "position,nominal,twin\nR1,1k,R2\nR 2$,1k,\nR3,x,\n",
	     "3:1 4:4 "},
	    {"too few and too many cells", "position,nominal\nR1\nR2,1k,5%\nR3,x\n", "2:3 3:7 4:4 "},
	    {"the first row ends it", "position,position\nR1,R1\nR2,x\n", "1:10 "},
	    {"a quote that is open ends it", "position,nominal\nR1,x\nR2,\"1k\nR3,y\n", "2:4 3:4 "},
	    {"too long a cell and another", "position,nominal,role\nR1,x,"
	     "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
	     "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\n",
	     "2:165 2:4 "},
	    {"less than nothing", "position,nominal\nR1,-5\nC1,-1u\nB1,-35 V\nR2,1k\n", "2:4 3:4 "},
	    {"behind a byte order mark", "\xef\xbb\xbfposition,nominal\nR1,4x7\nR3,1y\n", "2:5 3:5 "},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct told t = {.count = 0};
		struct got g = {.rows = 0};
		struct fault why;
		int n = sheet_faults("l.csv", rows[i].text, strlen(rows[i].text), NULL, keep_told, &t);
		if (n != t.count || strcmp(t.places, rows[i].places) != 0) {
			note_row("%s: %d, %s", rows[i].legend, n, t.places);
			fail();
		}
		/* Taken where there is none, and only there. */
		assert_int_equal(n == 0, sheet_parse("l.csv", rows[i].text, strlen(rows[i].text), keep, &g,
		                                     &why));
	}
	/* More than anybody reads: it ends. */
	static char many[40000];
	struct told t = {.count = 0};
	strcpy(many, "position,nominal\n");
	for (int i = 0; i < 2000; i++)
		snprintf(many + strlen(many), 20, "R%d,1x\n", i);
	assert_int_equal(sheet_faults("l.csv", many, strlen(many), NULL, keep_told, &t),
	                 SHEET_FAULTS_MAX);
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *text, *map;
		int line, column;
		const char *says;
	} rows[] = {
	    {"two columns for the positions", "Ref,Designator,Value\nR1,R1,1k\n", NULL, 1, 1,
	     "say which with a map"},
	    {"none", "a,b\n1,2\n", NULL, 1, 1, "--map Ref=position"},
	    {"a map of what is not there", "Ref,Value\nR1,1k\n", "Val=note", 1, 1, "a column Val"},
	    {"fewer than are counted", "Ref,Qty\nR1-R3,4\n", NULL, 2, 7,
	     "4 stand here, but the row names 3 positions"},
	    {"more than are counted", "Ref;Qty\nR1,R2;1\n", NULL, 2, 7,
	     "1 stands here, but the row names 2 positions"},
	    {"one that is two", "Ref,Qty\nR1,2\n", NULL, 2, 4, "names 1 position"},
	    {"no number", "Ref,Qty\nR1,1x\n", NULL, 2, 5, "how many"},
	    {"a position twice in a cell", "Ref,Value\n\"R1,R2,R1\",1k\n", NULL, 2, 8,
	     "R1 was given already, at line 2, column 2"},
	    {"a position of a range again", "Ref,Value\nR1-R9,1k\nC1,1u\nR5,2k\n", NULL, 4, 1,
	     "R5 was given already, at line 2, column 1"},
	    {"a bad name in a list", "Ref,Value\n\"R1, R$\",1k\n", NULL, 2, 6, "no name"},
	    {"backwards", "Ref,Value\nR9-R1,1k\n", NULL, 2, 1, "backwards"},
	    {"too long a range", "Ref,Value\n\"C1,R1-R600\",1k\n", NULL, 2, 5, "more than 500"},
	    {"one twin of many", "position,twin\n\"R1,R2\",R3\nR3,\n", NULL, 2, 9, "one twin for several"},
	    {"no value", "Ref,Value\nR1,none\n", NULL, 2, 4, "nominal"},
	    {"less than nothing, of a sheet", "position,nominal\nB1,-35 V\nR1,-5\n", NULL, 3, 4,
	     "less than nothing"},
	    {"the same with its unit", "position,kind,nominal\nX1,other,-5 ohm\n", NULL, 2, 10,
	     "less than nothing"},
	    {"of a list, behind another", "Ref;Value\nC1,C2;-4,7u\n", NULL, 2, 7, "less than nothing"},
	    {"of a winding", "position,nominal\nL1,-2 H\n", NULL, 2, 4, "less than nothing"},
	    {"no value behind a list", "Ref;Value\nR1, R2;47q\n", NULL, 2, 10, "nominal"},
	    {"thousands of a comma", "position;nominal\nR1;1.234,5\n", NULL, 2, 5, "parts the thousands"},
	    {"thousands, it may be", "position;nominal\nR1;10.000\n", NULL, 2, 6, "decimal point or part"},
	    {"ten or ten thousand, tabs", "Ref\tValue\nR1\t10,000\n", NULL, 2, 6, "10 or 10k"},
	    {"the byte behind a wide space", "position,nominal\nR1,4\xc2\xa0kx\n", NULL, 2, 8, "nominal"},
	    {"Latin-1 micro", "Ref;Value\nC1;1\xb5" "F\n", NULL, 2, 5, "byte 0xB5: a sheet is UTF-8 text, this is the micro"},
	    {"a dash of Windows", "Ref;Value\nR1\x96R2;1k\n", NULL, 2, 3, "a dash of a Windows code page"},
	    {"another letter", "Ref;Bezeichnung\nR1;gr\xfcn\n", NULL, 2, 6, "byte 0xFC"},
	    {"UTF-16", "\xff\xfeR\1", NULL, 1, 1, "UTF-16"},
	    {"too few cells, semicolons", "Ref;Value;Note\nR1;1k\n", NULL, 2, 6, "fewer"},
	    {"too few cells, tabs", "Ref\tValue\tNote\nR1\t1k\n", NULL, 2, 6, "fewer"},
	    {"a cell too many, tabs", "Ref\tValue\nR1\t1k\tx\n", NULL, 2, 7, "more cells"},
	    {"a column twice by map and name", "position,Ref\nR1,R1\n", "Ref=position", 1, 1, "leave it out"},
	    {"a column of ours kept as unknown", "position,role\nR1,x\n", "role=kept", 1, 10, "leave it out"},
	    {"an unknown heading too long", "Ref,a name of a column that is longer than it\nR1,x\n", NULL,
	     1, 36, "a map can leave it out"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct got g = {.rows = 0};
		struct sheet_map map = {.pairs = 0};
		struct fault why = {.text = ""};
		char said[512];
		assert_true(!rows[i].map || sheet_map_parse(&map, rows[i].map, &why));
		bool good = sheet_parse_mapped("l.csv", rows[i].text, strlen(rows[i].text), &map, NULL, keep,
		                               &g, &why);
		fault_text(&why, said, sizeof said);
		/* Where all are told, the first of them is this one. */
		struct told told = {.count = 0};
		assert_true(sheet_faults("l.csv", rows[i].text, strlen(rows[i].text), &map, keep_told,
		                         &told) > 0);
		assert_string_equal(told.first.text, why.text);
		assert_int_equal(told.first.column, why.column);
		if (good || g.rows || why.line != rows[i].line || why.column != rows[i].column ||
		    !strstr(why.text, rows[i].says)) {
			note_row("%s: %s %s", rows[i].legend, good ? "taken" : said, g.text);
			fail();
		}
	}
}

static void maps(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int column; /* 0: good */
		const char *says;
	} rows[] = {
	    {"ref=position,val=nominal", 0, NULL},
	    {"Part No.=part", 0, NULL},
	    {"x=-,*=-", 0, NULL},
	    {"x=KEPT", 0, NULL},
	    {"", 1, "HEADING=COLUMN"},
	    {"ref", 1, "HEADING=COLUMN"},
	    {"=position", 1, "HEADING=COLUMN"},
	    {"ref=position,", 14, "HEADING=COLUMN"},
	    {"ref=position,val=nominl", 14, "no column of a sheet"},
	    {"ref=position,Ref=note", 14, "mapped twice"},
	    {"ref=position,x=position", 14, "mapped twice"},
	    {"*=note,*=note", 8, "mapped twice"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct sheet_map map = {.pairs = 0};
		struct fault why = {.text = ""};
		bool good = sheet_map_parse(&map, rows[i].text, &why);
		if (good != (rows[i].column == 0) ||
		    (!good && (why.column != rows[i].column || !strstr(why.text, rows[i].says)))) {
			note_row("%s: column %d: %s", rows[i].text, why.column, why.text);
			fail();
		}
	}
	/* As many as fit, and one more. */
	struct sheet_map map = {.pairs = 0};
	struct fault why;
	for (int i = 0; i <= SHEET_MAP_MAX; i++) {
		char heading[16];
		snprintf(heading, sizeof heading, "x%d", i);
		assert_int_equal(sheet_map_add(&map, heading, "kept", &why), i < SHEET_MAP_MAX);
	}
}

static void headers(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		bool is;
	} rows[] = {
	    {"position\tnominal", true}, {"Ref;Value", true},      {"\"Ref\",\"Value\"", true},
	    {"R1 1k", false},            {"R1\t1k\t5%", false},    {"position", false},
	    {"R1,R2 1k note", false},    {"Ref\tFootprint", false}, {"", false},
	    {"Value;Ref\r", true},       {"note,position", true},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].line);
		assert_int_equal(sheet_is_header(rows[i].line, strlen(rows[i].line)), rows[i].is);
	}
}

/* The same sheet in every dress that a spreadsheet gives it has the same rows. */
static void one_sheet_in_many_dresses(void **state)
{
	(void)state;
	static const char *const cells[][4] = {{"position", "nominal", "tolerance", "note"},
	                                       {"R1,R2,R5-R7", "4.7k", "2.5%", "say \"no\", twice"},
	                                       {"C1", "0.047u", "10%", ""}};
	static const char delimiters[] = ",;\t";
	char first[4096] = "";
	int dresses = 0;
	for (int d = 0; d < 3; d++)
		for (int quoted = 0; quoted < 2; quoted++)
			for (int crlf = 0; crlf < 2; crlf++)
				for (int mark = 0; mark < 2; mark++) {
					char text[1024] = "";
					struct got g = {.rows = 0};
					struct fault why = {.text = ""};
					strcat(text, mark ? "\xef\xbb\xbf" : "");
					for (int r = 0; r < 3; r++)
						for (int c = 0; c < 4; c++) {
							char cell[128] = "";
							bool quotes = quoted || strchr(cells[r][c], ',') || strchr(cells[r][c], '"');
							size_t n = 0;
							for (const char *p = cells[r][c]; *p; p++) {
								if (*p == '"')
									cell[n++] = '"';
								/* Decimal commas go with semicolons. */
								cell[n++] = *p == '.' && delimiters[d] == ';' ? ',' : *p;
							}
							strcat(text, quotes ? "\"" : "");
							strcat(text, cell);
							strcat(text, quotes ? "\"" : "");
							char end[3] = {c < 3 ? delimiters[d] : crlf ? '\r' : '\n',
							               c == 3 && crlf ? '\n' : '\0', '\0'};
							strcat(text, end);
						}
					if (!sheet_parse("d.csv", text, strlen(text), keep, &g, &why))
						fail_msg("%s\n%d:%d %s", text, why.line, why.column, why.text);
					if (!dresses++)
						strcpy(first, g.text);
					assert_string_equal(g.text, first);
					assert_int_equal(g.rows, 6);
				}
	assert_int_equal(dresses, 24);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(understood), cmocka_unit_test(refused), cmocka_unit_test(maps),
	    cmocka_unit_test(all_faults),
	    cmocka_unit_test(headers),    cmocka_unit_test(one_sheet_in_many_dresses),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
