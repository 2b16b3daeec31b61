/* SPDX-License-Identifier: MIT */
/* See entry.h. */
#include "protocol/trade/entry.h"

#include <string.h>

static const char *const conditions[CONDITION_COUNT] = {
#define X(id, name) name,
    CONDITION_LIST(X)
#undef X
};

static const char *const reaches[REACH_COUNT] = {
#define X(id, name) name,
    REACH_LIST(X)
#undef X
};

static int find(const char *const *names, int count, const char *name, size_t len)
{
	for (int i = 0; i < count; i++)
		if (strlen(names[i]) == len && memcmp(names[i], name, len) == 0)
			return i;
	return -1;
}

const char *condition_name(enum condition c)
{
	return (unsigned)c < CONDITION_COUNT ? conditions[c] : "";
}

bool condition_from_name(const char *name, size_t len, enum condition *out)
{
	int i = find(conditions, CONDITION_COUNT, name, len);
	if (i < 0)
		return false;
	*out = (enum condition)i;
	return true;
}

const char *reach_name(enum reach r)
{
	return (unsigned)r < REACH_COUNT ? reaches[r] : "";
}

bool reach_from_name(const char *name, size_t len, enum reach *out)
{
	int i = find(reaches, REACH_COUNT, name, len);
	if (i < 0)
		return false;
	*out = (enum reach)i;
	return true;
}

const char *source_name(enum source s)
{
	return s == SOURCE_METER ? "meter" : s == SOURCE_TYPED ? "typed" : "";
}

const char *against_name(enum against a)
{
	return a == AGAINST_FIT ? "fit" : a == AGAINST_SHEET ? "sheet" : "";
}

bool entry_second(const struct entry *e, struct entry *out)
{
	const struct second *s = &e->second;
	enum quantity q = second_quantity(s->kind);
	if (s->kind == SECOND_NONE || !s->basis.known)
		return false;
	*out = *e;
	out->quantity = q == QUANTITY_COUNT ? e->quantity : q;
	out->function = second_function(s->kind);
	out->value = s->value;
	out->prefix = out->function == FUNCTION_NUMBER ? 0 : quantity_prefix(s->value, out->function);
	out->has_raw = false;
	out->offset = 0;
	out->u = s->u;
	out->n = s->n;
	out->basis = s->basis;
	out->verdict = e->second_verdict;
	out->service = (struct verdict){.word = VERDICT_NONE};
	out->second = (struct second){.kind = SECOND_NONE};
	return true;
}
