/* SPDX-License-Identifier: MIT */
/*
 * The budget of an entry, worked out again from its record alone: JCGM 100:2008 4.2, 4.3.7,
 * F.2.2.1, G.4.1.
 */
#include "protocol/record/record.h"
#include "protocol/trade/budget.h"
#include "tests/check.h"

/* An entry through its record and back: nothing else is known afterwards. */
static struct entry through_record(const struct entry *e, bool assumed)
{
	char body[8192], text[9000];
	struct text t;
	struct entry_beside beside = {.job = "j", .shown = "1 ohm", .accuracy_assumed = assumed};
	struct entry got;
	text_begin(&t, body, sizeof body);
	entry_write(&t, e, &beside);
	assert_false(t.failed);
	int n = snprintf(text, sizeof text,
	                 "{\"seq\":7,\"t\":\"2000-01-01T00:00:01.000000Z\",\"kind\":\"entry\"%.*s}",
	                 (int)t.len, t.bytes);
	assert_true(entry_read(text, (size_t)n, &got));
	return got;
}

static struct entry entry_of(struct decimal value, struct basis basis, int n)
{
	struct entry e = {.quantity = QUANTITY_VALUE, .condition = CONDITION_FOUND,
	                  .reach = REACH_LIFTED, .source = SOURCE_METER, .function = FUNCTION_OHM,
	                  .has_value = true, .value = value, .basis = basis, .n = n, .settled = true};
	strcpy(e.position, "R1");
	strcpy(e.meter, "red");
	double digit = decimal_double((struct decimal){1, value.e});
	struct accuracy_line line = {.percent = basis.percent, .counts = basis.counts};
	e.u = uncertainty_combine(uncertainty_accuracy(&line, decimal_double(value), digit),
	                          uncertainty_repeatability(basis.s, n, digit), basis.offset_u);
	return e;
}

static void components(void **state)
{
	(void)state;
	static const struct {
		struct decimal value;
		struct basis basis;
		int n, parts;
		const char *second;
		bool finite; /* degrees of freedom */
	} rows[] = {
	    {{4700, 1}, {.known = true, .percent = 0.5, .counts = 2}, 4, 2, "digit", false},
	    {{4700, 1}, {.known = true, .percent = 0.5, .counts = 2, .s = 40}, 4, 2, "repeatability", true},
	    {{4700, 1}, {.known = true, .percent = 0.5, .counts = 2, .s = 40, .offset_u = 3}, 9, 3, "repeatability", true},
	    {{4700, 1}, {.known = true, .percent = 0, .counts = 0, .s = 40}, 5, 2, "repeatability", true},
	    {{4700, 1}, {.known = true, .percent = 1.5, .counts = 5, .assumed = true, .has_below = true, .below = {10, 3}}, 1, 2, "digit", false},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct entry e = entry_of(rows[i].value, rows[i].basis, rows[i].n);
		struct entry got = through_record(&e, rows[i].basis.assumed);
		struct budget b;
		assert_true(budget_of(&got, &b));
		assert_int_equal(b.parts, rows[i].parts);
		assert_string_equal(b.part[0].name, "accuracy");
		assert_string_equal(b.part[1].name, rows[i].second);
		assert_true(b.agrees);
		assert_string_equal(b.unknown, "");
		assert_near_relative(b.u, e.u, 6e-6);
		assert_near_relative(b.U, 2 * b.u, 1e-15);
		double share = 0, u = 0;
		for (int k = 0; k < b.parts; k++) {
			share += b.part[k].share;
			u = hypot(u, b.part[k].u * b.part[k].sensitivity);
			assert_near_relative(b.part[k].u, b.part[k].spread / b.part[k].divisor, 1e-14);
		}
		assert_near(share, 1, 1e-12);
		assert_near_relative(u, b.u, 1e-14);
		assert_int_equal(isfinite(b.nu) != 0, rows[i].finite);
		if (rows[i].finite) {
			double p = b.part[1].u, nu = rows[i].n - 1;
			assert_near_relative(b.nu, pow(b.u, 4) / (pow(p, 4) / nu), 1e-9);
			assert_true(b.k95 > 2);
		} else {
			assert_near(b.k95, 2, 1e-6);
		}
		if (rows[i].basis.assumed)
			assert_non_null(strstr(b.part[0].statement, "assumed"));
		if (rows[i].basis.has_below)
			assert_non_null(strstr(b.part[0].statement, "below 10 kohm"));
	}
}

/* The accuracy is of what the meter gave, not of what is left without the leads. */
static void offset(void **state)
{
	(void)state;
	struct entry e = entry_of((struct decimal){105, -1}, (struct basis){.known = true, .percent = 1, .counts = 3, .offset_u = 0.05}, 4);
	struct budget b;
	e.has_raw = true;
	e.raw = e.value;
	e.value = (struct decimal){102, -1};
	e.offset = 5;
	struct entry got = through_record(&e, false);
	assert_true(budget_of(&got, &b));
	assert_true(b.agrees);
	assert_near_relative(b.part[0].spread, 0.105 + 0.3, 1e-9);
	assert_string_equal(b.part[2].name, "lead offset");
	assert_string_equal(b.part[2].statement, "record 5");
	assert_near(b.part[2].sensitivity, -1, 0);
}

static void what_cannot_be_told(void **state)
{
	(void)state;
	struct budget b;
	/* a record from before */
	struct entry e = entry_of((struct decimal){4700, 1}, (struct basis){.percent = 0.5, .counts = 2}, 4);
	struct entry got = through_record(&e, false);
	assert_false(got.basis.known);
	assert_true(budget_of(&got, &b));
	assert_int_equal(b.parts, 1);
	assert_string_equal(b.part[0].name, "sealed");
	assert_non_null(strstr(b.unknown, "before records said"));
	assert_near_relative(b.u, e.u, 6e-6);
	/* a record whose u is more than its parts */
	e = entry_of((struct decimal){4700, 1}, (struct basis){.known = true, .percent = 0.5, .counts = 2}, 4);
	e.u *= 1.01;
	got = through_record(&e, false);
	assert_true(budget_of(&got, &b));
	assert_false(b.agrees);
	assert_non_null(strstr(b.unknown, "more went into it"));
	/* a person said it */
	e = entry_of((struct decimal){4700, 1}, (struct basis){.known = true, .stated = true}, 1);
	e.source = SOURCE_TYPED;
	e.u = 12;
	got = through_record(&e, false);
	assert_true(budget_of(&got, &b));
	assert_string_equal(b.part[0].name, "stated");
	assert_true(b.agrees && b.U == 24);
	/* an overload has none */
	e.has_value = false;
	e.state = READING_OVERLOAD;
	got = through_record(&e, false);
	assert_false(budget_of(&got, &b));
}

/* GUM G.4.1 says what few readings mean for k. */
static void more_readings_more_sure(void **state)
{
	(void)state;
	double before = INFINITY;
	for (int n = 2; n < 60; n++) {
		struct entry e = entry_of((struct decimal){4700, 1}, (struct basis){.known = true, .s = 400}, n);
		struct budget b;
		assert_true(budget_of(&e, &b));
		assert_true(b.k95 < before);
		before = b.k95;
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(components), cmocka_unit_test(offset),
	    cmocka_unit_test(what_cannot_be_told), cmocka_unit_test(more_readings_more_sure),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
