/* SPDX-License-Identifier: MIT */
/* See measure.h. */
#include "protocol/trade/measure.h"

#include <math.h>

struct measure measure_of(double (*f)(const double *x), const struct measure *x, int n)
{
	double at[MEASURE_INPUTS_MAX] = {0};
	if (n < 0 || n > MEASURE_INPUTS_MAX)
		return (struct measure){NAN, INFINITY};
	for (int i = 0; i < n; i++)
		at[i] = x[i].value;
	struct measure out = {f(at), 0};
	if (!isfinite(out.value))
		return (struct measure){NAN, INFINITY};
	for (int i = 0; i < n; i++) {
		if (x[i].u == 0)
			continue;
		at[i] = x[i].value + x[i].u;
		double up = f(at);
		at[i] = x[i].value - x[i].u;
		double half = (up - f(at)) / 2;
		at[i] = x[i].value;
		out.u = isfinite(half) ? hypot(out.u, half) : INFINITY;
	}
	return out;
}

double measure_percent(struct measure m)
{
	return m.value != 0 ? 100 * m.u / fabs(m.value) : INFINITY;
}
