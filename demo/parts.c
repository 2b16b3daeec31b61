/* SPDX-License-Identifier: MIT */
/* See parts.h. */
#include "parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define INPUT 10e6 /* ohm: of each meter that is clipped on */

struct part {
	char name[24];
	double C, rated, R;    /* farad, volts, ohm in series */
	double leak, left, tau; /* amps at the rated volts; s */
	double from, flee;     /* volts, 0: it never runs away; s */
	double bleeder;        /* ohm across it, 0: none */
	double supply, V, t;
};

static struct part parts[PARTS_MAX];
static int count;

int part_find(const char *name)
{
	for (int i = 0; i < count; i++)
		if (strcmp(parts[i].name, name) == 0)
			return i;
	return -1;
}

/* As it is at time t. */
static void run(struct part *p, double t)
{
	double R = p->bleeder > 0 ? fmin(p->bleeder, p->R) : p->R;
	double step = fmin(R * p->C / 20, 0.5);
	while (p->t < t) {
		double dt = fmin(step, t - p->t), x = p->V / p->rated;
		double in = p->bleeder > 0 ? -p->V / p->bleeder : (p->supply - p->V) * (1 / p->R + 1 / INPUT);
		p->V += dt * (in - p->V / INPUT - p->leak * x * fabs(x)) / p->C;
		if (p->from > 0 && p->V > p->from)
			p->leak += dt * p->leak / p->flee;
		else if (p->V > 1)
			p->leak += dt * (p->left - p->leak) / p->tau;
		p->t = t - p->t > dt ? p->t + dt : t;
	}
}

double part_volts(int part, enum part_where where, double t)
{
	struct part *p = &parts[part];
	run(p, t);
	return where == PART_AT ? p->V : p->bleeder > 0 ? 0 : p->supply - p->V;
}

static const char *define(const struct part_step *s, double t)
{
	static const char usage[] = "electrolytic NAME FARAD VOLTS series OHM leak AMP left AMP tau S "
	                            "[from VOLTS flee S]";
	struct part p = {.t = t};
	if (s->words < 4 || count == PARTS_MAX || strlen(s->word[1]) >= sizeof p.name)
		return usage;
	snprintf(p.name, sizeof p.name, "%s", s->word[1]);
	p.C = s->number(s->step, 2);
	p.rated = s->number(s->step, 3);
	const struct { const char *word; double *to; } words[] = {
	    {"series", &p.R}, {"leak", &p.leak}, {"left", &p.left}, {"tau", &p.tau},
	    {"from", &p.from}, {"flee", &p.flee}};
	for (int i = 4; i < s->words; i += 2) {
		double *to = NULL;
		for (size_t k = 0; k < sizeof words / sizeof *words; k++)
			if (strcmp(s->word[i], words[k].word) == 0)
				to = words[k].to;
		if (!to)
			return usage;
		*to = s->number(s->step, i + 1);
	}
	if (!(p.C > 0 && p.rated > 0 && p.R > 0 && p.tau > 0) || (p.from > 0 && !(p.flee > 0)))
		return usage;
	parts[count++] = p;
	return NULL;
}

bool part_do(const struct part_step *s, double t, const char **expected)
{
	*expected = NULL;
	if (strcmp(s->word[0], "electrolytic") == 0) {
		*expected = define(s, t);
		return true;
	}
	bool supply = strcmp(s->word[0], "supply") == 0;
	if (!supply && strcmp(s->word[0], "discharge") != 0)
		return false;
	int i = s->words == 3 ? part_find(s->word[1]) : -1;
	if (i < 0) {
		*expected = supply ? "supply NAME VOLTS, of a part that the scene has"
		                   : "discharge NAME OHM, of a part that the scene has";
		return true;
	}
	run(&parts[i], t); /* until now it was as before */
	parts[i].supply = supply ? s->number(s->step, 2) : 0;
	parts[i].bleeder = supply ? 0 : s->number(s->step, 2);
	return true;
}
