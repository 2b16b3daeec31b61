/* SPDX-License-Identifier: MIT */
/* See second.h. */
#include "protocol/trade/second.h"

#include <string.h>
#include <strings.h>

static const struct {
	const char *word;
	enum function function;
	enum quantity quantity;
} table[SECOND_COUNT] = {
#define X(id, word, function, quantity) {word, function, quantity},
	SECOND_LIST(X)
#undef X
};

const char *second_word(enum second_kind k)
{
	return (unsigned)k < SECOND_COUNT ? table[k].word : "";
}

bool second_from_word(const char *word, size_t len, enum second_kind *out)
{
	for (int k = 0; k < SECOND_COUNT; k++)
		if (strlen(table[k].word) == len && memcmp(table[k].word, word, len) == 0) {
			*out = (enum second_kind)k;
			return true;
		}
	return false;
}

enum function second_function(enum second_kind k)
{
	return (unsigned)k < SECOND_COUNT ? table[k].function : FUNCTION_NONE;
}

enum quantity second_quantity(enum second_kind k)
{
	return (unsigned)k < SECOND_COUNT ? table[k].quantity : QUANTITY_COUNT;
}

void second_uncertainty(struct second *second, const struct accuracy *accuracy, double s, int n)
{
	double value = decimal_double(second->value);
	double digit = decimal_double((struct decimal){1, second->value.e});
	enum function f = second_function(second->kind);
	const struct accuracy_line *line = accuracy ? accuracy_find(accuracy, f, value) : NULL;
	struct accuracy_line assumed = accuracy_assumed_second(f);
	bool none = !line;
	if (none)
		line = &assumed;
	second->n = n > 0 ? n : 1;
	second->basis = (struct basis){.known = true, .assumed = none, .percent = line->percent,
	                               .counts = line->counts, .has_below = line->has_below,
	                               .below = line->below, .s = s};
	second->u = uncertainty_combine(uncertainty_accuracy(line, value, digit),
	                                uncertainty_repeatability(s, second->n, digit), 0);
}

/* The parts of the text are parted by commas. */
bool test_frequency(const char *test, struct decimal *hertz, char mode[12])
{
	bool found = false;
	mode[0] = '\0';
	*hertz = (struct decimal){0, 0};
	while (*test) {
		struct fault ignored;
		enum function f;
		size_t len = strcspn(test, ",");
		const char *p = test;
		size_t n = len;
		while (n && *p == ' ')
			p++, n--;
		while (n && p[n - 1] == ' ')
			n--;
		if (n == 6 && strncasecmp(p, "series", 6) == 0)
			strcpy(mode, "series");
		else if (n == 8 && strncasecmp(p, "parallel", 8) == 0)
			strcpy(mode, "parallel");
		else if (!found && n > 2 && strncasecmp(p + n - 2, "hz", 2) == 0)
			found = quantity_parse(p, n, FUNCTION_HERTZ, hertz, &f, &ignored) &&
			        f == FUNCTION_HERTZ;
		test += len + (test[len] == ',');
	}
	return found;
}
