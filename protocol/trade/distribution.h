/* SPDX-License-Identifier: MIT */
/*
 * The distributions that judgement needs: how likely is so much, by chance alone?
 *
 * Normal: by the complementary error function.  Chi-squared: the incomplete gamma
 * function, by its series below x = a + 1 and its continued fraction above.  Student's
 * t: the incomplete beta function, by its continued fraction (all as in any handbook
 * of functions: Abramowitz and Stegun 6.5.29, 6.5.31, 26.5.8).  The tests hold them
 * against an independent library.
 */
#ifndef TALLY_TRADE_DISTRIBUTION_H
#define TALLY_TRADE_DISTRIBUTION_H

/* P(Z > z) of the standard normal distribution. */
double normal_tail(double z);
/* z with P(Z <= z) = p, 0 < p < 1; NaN elsewhere. */
double normal_quantile(double p);

/* P(X > x) of chi-squared with nu > 0 degrees of freedom; 1 for x <= 0. */
double chi_squared_tail(double x, double nu);

/* P(|T| > t) of Student's t with nu > 0 degrees of freedom (they need not be whole);
 * nu infinite is the normal distribution. */
double student_tail(double t, double nu);
/* The coverage factor k with P(|T| <= k) = p (JCGM 100:2008 Table G.2). */
double student_factor(double p, double nu);

/* Effective degrees of freedom of u = sqrt(sum u_i^2), by Welch and Satterthwaite
 * (JCGM 100:2008 G.4.1): u^4 / sum(u_i^4 / nu_i).  Infinite where every part is. */
double welch_satterthwaite(const double *u, const double *nu, int n);

/* Probability that a value lies within low .. high where it lies anywhere in y - a ..
 * y + a equally likely (JCGM 100:2008 4.3.7): a ratio of lengths. */
double rectangle_within(double y, double a, double low, double high);

#endif
