/* SPDX-License-Identifier: MIT */
/* See uncertainty.h. */
#include "protocol/trade/uncertainty.h"

#include <math.h>
#include <string.h>

static const double percent_max = 100;
static const double counts_max = 100000;

/* Spaces and the signs that data sheets put around a statement. */
static void trim(const char *text, size_t *from, size_t *to)
{
	while (*from < *to && (text[*from] == ' ' || text[*from] == '\t'))
		++*from;
	while (*to > *from && (text[*to - 1] == ' ' || text[*to - 1] == '\t'))
		--*to;
}

static bool word_is_counts(const char *text, size_t len)
{
	static const char *const words[] = {"counts", "count", "digits", "digit", "dgt", "d"};
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (strlen(words[i]) == len && memcmp(words[i], text, len) == 0)
			return true;
	return len == 0;
}

/* One part, `0.5%` or `2` or `2 counts`, in text[from, to). */
static bool parse_part(const char *text, size_t from, size_t to, double *percent, double *counts,
                       struct fault *why)
{
	trim(text, &from, &to);
	int column = (int)from + 1;
	struct decimal d;
	size_t n = from < to && text[from] != '+' ? decimal_read(text + from, to - from, &d) : 0;
	if (n == 0) {
		fault_at(why, NULL, 0, column, "an accuracy was expected, such as 0.5%% + 2");
		return false;
	}
	size_t unit = from + n;
	trim(text, &unit, &to);
	bool is_percent = to - unit == 1 && text[unit] == '%';
	if (!is_percent && !word_is_counts(text + unit, to - unit)) {
		fault_at(why, NULL, 0, (int)unit + 1,
		         "%% or counts was expected here, as in 0.5%% + 2");
		return false;
	}
	double *slot = is_percent ? percent : counts, value = decimal_double(d);
	if (*slot >= 0) {
		fault_at(why, NULL, 0, column, "%s given twice: the form is 0.5%% + 2",
		         is_percent ? "percent" : "counts");
		return false;
	}
	if (d.n < 0 || value > (is_percent ? percent_max : counts_max)) {
		fault_at(why, NULL, 0, column, "%s must lie between 0 and %g",
		         is_percent ? "percent" : "counts", is_percent ? percent_max : counts_max);
		return false;
	}
	*slot = value;
	return true;
}

bool accuracy_parse(const char *text, size_t len, double *percent, double *counts,
                    struct fault *why)
{
	size_t from = 0, to = len;
	trim(text, &from, &to);
	/* Data sheets print +-(0.5% + 2). */
	if (to - from >= 2 && (memcmp(text + from, "+-", 2) == 0 ||
	                       memcmp(text + from, "\xC2\xB1", 2) == 0)) {
		from += 2;
		trim(text, &from, &to);
	}
	if (to - from >= 2 && text[from] == '(' && text[to - 1] == ')') {
		from++;
		to--;
	}
	double p = -1, c = -1;
	size_t plus = from;
	/* A plus behind an e belongs to the number. */
	while (plus < to && !(text[plus] == '+' && plus > from && text[plus - 1] != 'e' &&
	                      text[plus - 1] != 'E'))
		plus++;
	if (!parse_part(text, from, plus, &p, &c, why))
		return false;
	if (plus < to && !parse_part(text, plus + 1, to, &p, &c, why))
		return false;
	*percent = p < 0 ? 0 : p;
	*counts = c < 0 ? 0 : c;
	return true;
}

/* Of two bounds, where none is farther than any. */
static int bound_order(bool has_a, struct decimal a, bool has_b, struct decimal b)
{
	if (has_a && has_b)
		return decimal_compare(a, b);
	return has_a ? -1 : has_b ? 1 : 0;
}

/* Is line i the better of two that both apply? */
static bool line_closer(const struct accuracy *a, int i, int best, bool widest)
{
	const struct accuracy_line *l = &a->line[i], *m = &a->line[best];
	int value = bound_order(l->has_below, l->below, m->has_below, m->below);
	int hertz = bound_order(a->hertz[i].n > 0, a->hertz[i], a->hertz[best].n > 0, a->hertz[best]);
	return value ? value < 0 : widest ? hertz > 0 : hertz < 0;
}

const struct accuracy_line *accuracy_find(const struct accuracy *a, enum function f, double value)
{
	return accuracy_find_at(a, f, value, 0);
}

const struct accuracy_line *accuracy_find_at(const struct accuracy *a, enum function f,
                                             double value, double hertz)
{
	int best = -1;
	for (int widest = 0; widest <= 1 && best < 0; widest++)
		for (int i = 0; i < a->count && i < ACCURACY_LINES_MAX; i++) {
			const struct accuracy_line *l = &a->line[i];
			bool bounded = a->hertz[i].n > 0;
			if (l->function != f || (l->has_below && !(fabs(value) < decimal_double(l->below))))
				continue;
			if (bounded && (hertz > 0 ? !(hertz < decimal_double(a->hertz[i])) : !widest))
				continue;
			if (best < 0 || line_closer(a, i, best, widest))
				best = i;
		}
	return best >= 0 ? &a->line[best] : NULL;
}

struct accuracy_line accuracy_assumed_of(enum meter_class kind, enum function f)
{
	struct accuracy_line line = {.function = (unsigned)f < FUNCTION_COUNT ? f : FUNCTION_NONE};
	meter_class_accuracy(kind, line.function, &line.percent, &line.counts);
	return line;
}

struct accuracy_line accuracy_assumed(enum function f)
{
	return accuracy_assumed_of(METER_CLASS_UNKNOWN, f);
}

struct accuracy_line accuracy_assumed_second(enum function f)
{
	return (struct accuracy_line){.function = f, .percent = 10, .counts = 1};
}

double uncertainty_accuracy(const struct accuracy_line *line, double value, double digit)
{
	double half_width = line->percent / 100 * fabs(value) + line->counts * fabs(digit);
	return half_width / sqrt(3);
}

double uncertainty_repeatability(double s, int n, double digit)
{
	double step = fabs(digit) / sqrt(12);
	double u = n > 0 ? fabs(s) / sqrt((double)n) : 0;
	return u > step ? u : step;
}

double uncertainty_combine(double a, double b, double c)
{
	return hypot(hypot(a, b), c);
}

void statistics(const double *x, size_t n, double *mean, double *s)
{
	*mean = 0;
	*s = 0;
	if (n == 0)
		return;
	double sum = 0;
	for (size_t i = 0; i < n; i++)
		sum += x[i];
	double m = sum / (double)n, rest = 0;
	/* What rounding lost in the first pass comes back here. */
	for (size_t i = 0; i < n; i++)
		rest += x[i] - m;
	m += rest / (double)n;
	double squares = 0, left = 0;
	for (size_t i = 0; i < n; i++) {
		double d = x[i] - m;
		squares += d * d;
		left += d;
	}
	*mean = m;
	if (n > 1) {
		double v = (squares - left * left / (double)n) / (double)(n - 1);
		*s = v > 0 ? sqrt(v) : 0;
	}
}
