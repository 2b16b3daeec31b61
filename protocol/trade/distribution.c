/* SPDX-License-Identifier: MIT */
/* See distribution.h. */
#include "protocol/trade/distribution.h"

#include <math.h>

/* Terms until nothing changes; more than any case here takes. */
enum { TERMS = 2000 };
static const double tiny = 1e-300;
static const double rounding = 1e-16;

double normal_tail(double z)
{
	return 0.5 * erfc(z / sqrt(2));
}

/* The root of a falling function between two ends, by halving: 200 halvings leave
 * nothing between them. */
static double falling_root(double (*f)(double x, double nu), double nu, double want, double low,
                           double high)
{
	for (int i = 0; i < 200; i++) {
		double middle = low + (high - low) / 2;
		if (f(middle, nu) > want)
			low = middle;
		else
			high = middle;
	}
	return low + (high - low) / 2;
}

static double tail_of(double z, double nu)
{
	(void)nu;
	return normal_tail(z);
}

double normal_quantile(double p)
{
	if (!(p > 0) || !(p < 1))
		return NAN;
	/* In the tail where small numbers keep their digits. */
	return p > 0.5 ? falling_root(tail_of, 0, 1 - p, 0, 40) : -falling_root(tail_of, 0, p, 0, 40);
}

/* ---- chi-squared ---- */

/* Lower incomplete gamma P(a, x) by its series. */
static double gamma_series(double a, double x)
{
	double term = 1 / a, sum = term;
	for (int n = 1; n < TERMS; n++) {
		term *= x / (a + n);
		sum += term;
		if (term < sum * rounding)
			break;
	}
	return sum * exp(a * log(x) - x - lgamma(a));
}

/* Upper incomplete gamma Q(a, x) by its continued fraction, from the top. */
static double gamma_fraction(double a, double x)
{
	double b = x + 1 - a, c = 1 / tiny, d = 1 / b, h = d;
	for (int i = 1; i < TERMS; i++) {
		double an = -i * (i - a);
		b += 2;
		d = an * d + b;
		d = 1 / (fabs(d) < tiny ? tiny : d);
		c = b + an / c;
		c = fabs(c) < tiny ? tiny : c;
		h *= d * c;
		if (fabs(d * c - 1) < rounding * 10)
			break;
	}
	return h * exp(a * log(x) - x - lgamma(a));
}

double chi_squared_tail(double x, double nu)
{
	if (isnan(x) || !(nu > 0))
		return NAN;
	if (x <= 0)
		return 1;
	if (isinf(x))
		return 0;
	double a = nu / 2, half = x / 2;
	double p = half < a + 1 ? 1 - gamma_series(a, half) : gamma_fraction(a, half);
	return p < 0 ? 0 : p > 1 ? 1 : p;
}

/* ---- Student ---- */

/* The continued fraction of the incomplete beta function. */
static double beta_fraction(double a, double b, double x)
{
	double c = 1, d = 1 - (a + b) * x / (a + 1);
	d = 1 / (fabs(d) < tiny ? tiny : d);
	double h = d;
	for (int m = 1; m < TERMS; m++) {
		for (int odd = 0; odd <= 1; odd++) {
			double term = odd ? -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
			                  : m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
			d = 1 + term * d;
			d = 1 / (fabs(d) < tiny ? tiny : d);
			c = 1 + term / c;
			c = fabs(c) < tiny ? tiny : c;
			h *= d * c;
			if (odd && fabs(d * c - 1) < rounding * 10)
				return h;
		}
	}
	return h;
}

static double beta(double a, double b, double x)
{
	if (x <= 0 || x >= 1)
		return x <= 0 ? 0 : 1;
	double front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x));
	if (x < (a + 1) / (a + b + 2))
		return front * beta_fraction(a, b, x) / a;
	return 1 - front * beta_fraction(b, a, 1 - x) / b;
}

double student_tail(double t, double nu)
{
	if (isnan(t) || !(nu > 0))
		return NAN;
	t = fabs(t);
	/* Beyond this the two agree to more figures than anybody reads. */
	if (nu > 1e8)
		return 2 * normal_tail(t);
	return beta(nu / 2, 0.5, nu / (nu + t * t));
}

double student_factor(double p, double nu)
{
	if (!(p > 0) || !(p < 1) || !(nu > 0))
		return NAN;
	double high = 40;
	while (student_tail(high, nu) > 1 - p && high < 1e12)
		high *= 10;
	return falling_root(student_tail, nu, 1 - p, 0, high);
}

double welch_satterthwaite(const double *u, const double *nu, int n)
{
	double all = 0, below = 0;
	for (int i = 0; i < n; i++)
		all = hypot(all, u[i]);
	if (!(all > 0))
		return INFINITY;
	for (int i = 0; i < n; i++)
		below += isinf(nu[i]) ? 0 : pow(u[i] / all, 4) / nu[i];
	return below > 0 ? 1 / below : INFINITY;
}

double rectangle_within(double y, double a, double low, double high)
{
	if (!(a > 0))
		return y >= low && y <= high ? 1 : 0;
	double from = fmax(low, y - a), to = fmin(high, y + a);
	return to > from ? (to - from) / (2 * a) : 0;
}
