/* SPDX-License-Identifier: MIT */
/*
 * Questions to a log, on records made by hand.
 *
 * The bodies are written out as text, not by the writers of protocol/record, so
 * that both sides of the format are held against each other.
 */
#ifndef TALLY_TESTS_QUERY_STAND_H
#define TALLY_TESTS_QUERY_STAND_H

#include "tests/store_stand.h"

#include "protocol/record/text.h"
#include "protocol/record/wire.h"

static inline int64_t add(struct store *s, const char *kind, const char *body)
{
	return store_add(s, kind, body, strlen(body));
}

static inline int64_t add_job(struct store *s, const char *job, const char *state, bool open, bool live)
{
	char body[300];
	snprintf(body, sizeof body, ",\"job\":\"%s\",\"state\":\"%s\",\"open\":%s,\"unit\":\"%s\","
	         "\"condition\":\"found\",\"reach\":\"in-circuit\",\"uid\":1000", job, state,
	         open ? "true" : "false", live ? "live" : "cold");
	return add(s, "job", body);
}

static inline int64_t add_position(struct store *s, const char *job, const char *position,
                            const char *nominal, const char *tolerance, const char *twin)
{
	char body[700], limits[64] = "[null,null]";
	if (strchr(tolerance, '%'))
		snprintf(limits, sizeof limits, "[%g,%g]",
		         atof(nominal) * (1 - atof(tolerance) / 100),
		         atof(nominal) * (1 + atof(tolerance) / 100));
	snprintf(body, sizeof body, ",\"job\":\"%s\",\"position\":\"%s\",\"change\":\"loaded\",\"sheet\":{"
	         "\"written\":{\"position\":\"%s\",\"nominal\":\"%s\",\"tolerance\":\"%s\","
	         "\"twin\":\"%s\"},"
	         "\"kind\":\"metal-film\",\"function\":\"ohm\",\"nominal\":%s,\"limits\":%s,"
	         "\"service\":[null,null]%s%s%s}", job, position, position, nominal, tolerance, twin,
	         nominal, limits, twin[0] ? ",\"twin\":\"" : "", twin, twin[0] ? "\"" : "");
	return add(s, "position", body);
}

struct touch {
	const char *job, *position, *meter, *reach;
	const char *value; /* null: overload */
	double u;
	const char *more; /* further members */
};

static inline int64_t add_entry(struct store *s, const struct touch *t)
{
	char body[900];
	bool has = strcmp(t->value, "null") != 0;
	snprintf(body, sizeof body, ",\"job\":\"%s\",\"position\":\"%s\",\"quantity\":\"value\","
	         "\"condition\":\"found\",\"reach\":\"%s\",\"meter\":\"%s\",\"function\":\"ohm\","
	         "\"value\":%s,\"digit\":%s%s,\"prefix\":0,\"u\":%g,\"n\":8,\"settled\":%s,"
	         "\"source\":\"%s\",\"verdict\":\"none\",\"side\":null,\"reason\":null,"
	         "\"deviation\":null,\"limits\":[null,null],\"service\":null,\"shown\":\"%s ohm\","
	         "\"frames\":[],\"trail\":[]", t->job, t->position, t->reach, t->meter,
	         t->value, has ? "0.01" : "null", has ? "" : ",\"state\":\"overload\",\"above\":1e7", t->u,
	         t->more && !strcmp(t->more, "moving") ? "false" : "true",
	         t->more && !strcmp(t->more, "typed") ? "typed" : "meter", has ? t->value : "overload");
	return add(s, "entry", body);
}

static inline int64_t add_said(struct store *s, const char *kind, int64_t of, const char *more)
{
	char body[300];
	snprintf(body, sizeof body, ",\"of\":%lld%s", (long long)of, more);
	return add(s, kind, body);
}

/* ---- asking ---- */

static inline char *ask_code(struct store *s, const char *method, const char *params, int *code)
{
	struct fault why;
	json_error_t error;
	json_t *p = json_loads(params, 0, &error);
	if (!p)
		fail_msg("params of the test: %s", error.text);
	*code = 0;
	char *text = query_run(s->reader, method, p, code, &why);
	json_decref(p);
	if (!text) {
		text = strdup(why.text);
	} else {
		size_t where;
		if (!json_valid(text, strlen(text), &where))
			fail_msg("no JSON at byte %zu: %s", where, text);
		assert_null(strchr(text, '\n'));
		assert_int_equal(*code, 0);
	}
	return text;
}

static inline char *ask(struct store *s, const char *method, const char *params)
{
	int code;
	char *text = ask_code(s, method, params, &code);
	if (code)
		fail_msg("%s refused, %d: %s", method, code, text);
	return text;
}

static inline void ask_refused(struct store *s, const char *method, const char *params, int expected,
                        const char *has)
{
	int code;
	char *text = ask_code(s, method, params, &code);
	if (code != expected || !strstr(text, has))
		fail_msg("%s: got %d, %s; expected %d with %s", method, code, text, expected, has);
	free(text);
}

static inline void answer_is(struct store *s, const char *method, const char *params, const char *expected)
{
	char *text = ask(s, method, params);
	assert_string_equal(text, expected);
	free(text);
}

/* A member of the answer, as it stands. */
static inline void member_is(const char *text, const char *path, const char *expected)
{
	struct slice m = json_member(text, strlen(text), path);
	if (m.len != strlen(expected) || memcmp(m.at, expected, m.len))
		fail_msg("%s is %.*s, expected %s\nin %s", path, (int)m.len, m.at ? m.at : "", expected, text);
}

static inline struct slice element(const char *text, const char *list, size_t i)
{
	struct slice e = json_element(json_member(text, strlen(text), list), i);
	if (!e.at)
		fail_msg("no element %zu of %s in %s", i, list, text);
	return e;
}

static inline void element_is(const char *text, const char *list, size_t i, const char *path,
                       const char *expected)
{
	struct slice e = element(text, list, i), m = json_member(e.at, e.len, path);
	if (m.len != strlen(expected) || memcmp(m.at, expected, m.len))
		fail_msg("%s[%zu].%s is %.*s, expected %s\nin %s", list, i, path, (int)m.len,
		         m.at ? m.at : "", expected, text);
}

static inline void element_near(const char *text, const char *list, size_t i, const char *path,
                         double expected)
{
	double x = NAN;
	struct slice e = element(text, list, i);
	assert_true(json_number(json_member(e.at, e.len, path), &x));
	assert_near(x, expected, 1e-5 * fabs(expected) + 1e-12); /* six digits */
}

static inline size_t count(const char *text, const char *list)
{
	struct slice array = json_member(text, strlen(text), list), e;
	size_t cursor = 0, n = 0;
	while (json_next(array, &cursor, &e))
		n++;
	return n;
}

#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, store_up, store_down)

#endif
