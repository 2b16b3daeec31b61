/* SPDX-License-Identifier: MIT */
/* See guide.h: what is the same in every guided run. */
#include "protocol/guide/guide_parts.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const struct guide_procedure *const procedure[GUIDE_KINDS] = {
    [GUIDE_LEAK] = &guide_leak, [GUIDE_REFORM] = &guide_reform, [GUIDE_RISE] = &guide_rise,
    [GUIDE_TUNE] = &guide_tune, [GUIDE_LOT] = &guide_lot,
};

static const struct guide_procedure *of(const struct guide *g)
{
	return procedure[g->kind];
}

static const struct guide_step *step(const struct guide *g)
{
	return &of(g)->step[g->step];
}

/* ---- kinds ---- */

const char *guide_name(enum guide_kind k)
{
	return procedure[k]->name;
}

bool guide_from_name(const char *name, enum guide_kind *out)
{
	for (int k = 0; k < GUIDE_KINDS; k++) {
		if (!procedure[k] || strcmp(procedure[k]->name, name) != 0)
			continue;
		*out = (enum guide_kind)k;
		return true;
	}
	return false;
}

int guide_roles(enum guide_kind k)
{
	return procedure[k]->roles;
}

const struct guide_role *guide_role(enum guide_kind k, int role)
{
	return &procedure[k]->role[role];
}

enum guide_needs guide_needs(enum guide_kind k)
{
	return procedure[k]->needs;
}

const char *const *guide_cautions(enum guide_kind k)
{
	return procedure[k]->cautions;
}

void guide_plan_empty(struct guide_plan *p)
{
	memset(p, 0, sizeof *p);
	p->function = FUNCTION_NONE;
	p->limit = LEAKAGE_001CV;
	p->nominal = p->low = p->high = p->rated = p->ceiling = p->to = p->heat = NAN;
	p->mains = p->tap = p->load = p->load2 = p->most = p->soak = NAN;
	p->R = (struct measure){NAN, NAN};
	for (int i = 0; i < GUIDE_ROLES; i++)
		p->input[i] = NAN;
}

/* ---- slots ---- */

void guide_slot_set(struct guide *g, int slot, double value)
{
	g->slot[slot] = (struct guide_slot){.has = true, .value = value};
}

double guide_slot_value(const struct guide *g, int slot)
{
	return g->slot[slot].has ? g->slot[slot].value : 0;
}

struct measure guide_slot_measure(const struct guide *g, int slot)
{
	if (!g->slot[slot].has)
		return (struct measure){NAN, NAN};
	return (struct measure){g->slot[slot].value, g->slot[slot].u};
}

static void slot_name(const struct guide *g, int slot, char out[24])
{
	if (slot < of(g)->slots && of(g)->slot[slot])
		snprintf(out, 24, "%s", of(g)->slot[slot]);
	else
		snprintf(out, 24, "%d", slot);
}

/* ---- steps ---- */

bool guide_begin(struct guide *g, enum guide_kind kind, const struct guide_plan *plan,
                 struct fault *why)
{
	memset(g, 0, sizeof *g);
	g->kind = kind;
	g->plan = *plan;
	for (int i = 0; i < GUIDE_ROLES; i++)
		g->read_at[i] = INT64_MIN;
	g->said_at = g->kept_at = INT64_MIN / 2;
	return !of(g)->begin || of(g)->begin(g, why);
}

void guide_again(struct guide *g, const struct guide *left)
{
	if (of(g)->again && left->kind == g->kind)
		of(g)->again(g, left);
}

void guide_to(struct guide *g, int to, struct guide_out *out)
{
	out->news = out->keep = true;
	if (to < of(g)->steps)
		g->step = to;
	else
		out->ended = true;
}

void guide_give_up(struct guide *g, int to, struct guide_out *out, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	vsnprintf(g->because, sizeof g->because, format, args);
	va_end(args);
	g->failed = true;
	snprintf(out->text, sizeof out->text, "given up: %s", g->because);
	guide_to(g, to, out);
}

static void forward(struct guide *g, struct guide_out *out)
{
	guide_to(g, of(g)->next ? of(g)->next(g) : g->step + 1, out);
}

void guide_input(struct guide *g, const struct guide_input *in, struct guide_out *out)
{
	memset(out, 0, sizeof *out);
	bool hand = in->act == GUIDE_GO || in->act == GUIDE_BACK || in->act == GUIDE_TAKEN;
	if (hand && of(g)->input && of(g)->input(g, in, out))
		return;
	switch (in->act) {
	case GUIDE_GO:
		forward(g, out);
		break;
	case GUIDE_BACK:
		if (g->step > 1) /* not before the cautions */
			guide_to(g, g->step - 1, out);
		break;
	case GUIDE_TAKEN:
		if (step(g)->slot >= 0)
			g->slot[step(g)->slot] = (struct guide_slot){true, in->x.value, in->x.u, {in->seq, 0}};
		forward(g, out);
		break;
	case GUIDE_READING:
	case GUIDE_SETTLED:
		if (of(g)->reading)
			of(g)->reading(g, in, out);
		g->live[in->role] = in->x;
		g->is_over[in->role] = in->over;
		g->reads[in->role] = in->function;
		g->is_live[in->role] = true;
		g->read_at[in->role] = in->t;
		break;
	case GUIDE_AWAY:
		g->is_live[in->role] = false;
		g->read_at[in->role] = INT64_MIN;
		break;
	}
}

bool guide_may_go(const struct guide *g, struct fault *why)
{
	if (of(g)->may_go && !of(g)->may_go(g, why))
		return false;
	if (!step(g)->waits)
		return true;
	fault_set(why, "this step ends by itself: there is nothing to do but to wait, or to leave it");
	return false;
}

bool guide_by_hand(const struct guide *g)
{
	return !step(g)->waits && !step(g)->by_name;
}

int guide_takes(const struct guide *g, enum quantity *quantity, const char **at)
{
	*quantity = step(g)->quantity;
	*at = of(g)->at ? of(g)->at(g) : "";
	return of(g)->role_now ? of(g)->role_now(g) : step(g)->role;
}

double guide_hertz(const struct guide *g)
{
	return of(g)->hertz ? of(g)->hertz(g) : 0;
}

enum guide_unit guide_unit(const struct guide *g)
{
	return step(g)->unit;
}

const char *guide_step_word(const struct guide *g)
{
	return step(g)->word;
}

void guide_say(const struct guide *g, char *out, size_t size)
{
	out[0] = '\0';
	of(g)->say(g, out, size);
}

bool guide_value(const struct guide *g, char out[32], const char **verdict)
{
	*verdict = NULL;
	out[0] = '\0';
	return of(g)->value && of(g)->value(g, out, verdict);
}

bool guide_limit(const struct guide *g, char out[32])
{
	out[0] = '\0';
	return of(g)->limit && of(g)->limit(g, out);
}

/* What is read at a step whose meter may have any function. */
static const char *read_there(const struct guide *g, const struct guide_step *s)
{
	enum function f = of(g)->role[s->role].function;
	const char *words = function_words(f == FUNCTION_NONE ? g->plan.function : f);
	return words[0] ? words : "the value";
}

void guide_dry_cautions(enum guide_kind k, struct text *out)
{
	for (const char *const *c = guide_cautions(k); *c; c++)
		text_printf(out, "caution: %s\n", *c);
}

void guide_dry(const struct guide *g, struct text *out)
{
	guide_dry_cautions(g->kind, out);
	guide_dry_road(g, out);
}

void guide_dry_road(const struct guide *g, struct text *out)
{
	const struct guide_procedure *p = of(g);
	int n = 0;
	for (int i = 0; i < p->steps; i++) {
		text_printf(out, "%d  %s: ", ++n, p->step[i].word);
		text_printf(out, p->step[i].what, g->plan.of);
		if (p->step[i].role >= 0)
			text_printf(out, " [%s of the meter `%s`, logged by `go`]", read_there(g, &p->step[i]),
			            p->role[p->step[i].role].name);
		text_puts(out, "\n");
	}
	if (p->figures)
		p->figures(g, out);
}

/* ---- what the kinds share ---- */

void guide_ceiling(struct guide *g, int role, struct guide_out *out, const char *what)
{
	double most = g->plan.ceiling;
	bool above = g->is_live[role] && (g->is_over[role] || fabs(g->live[role].value) > most);
	if (isnan(most) || above == g->alarm)
		return;
	/* It is over well below: a rail that sits on the limit would come and go. */
	if (!above && g->is_live[role] && fabs(g->live[role].value) > 0.95 * most)
		return;
	g->alarm = above;
	out->alarm = above;
	out->alarm_over = !above;
	out->keep = true;
	if (above && g->is_over[role])
		snprintf(out->text, sizeof out->text, "%s is beyond the meter's range: SWITCH OFF", what);
	else if (above)
		snprintf(out->text, sizeof out->text, "%s is at %.0f V, above %.0f V: SWITCH OFF", what,
		         g->live[role].value, most);
	else
		snprintf(out->text, sizeof out->text, "%s is below %.0f V again", what, most);
}

const char *guide_shown(double value, const char *unit, char out[32])
{
	static const struct { double from, by; const char *prefix; } scale[] = {
	    {1e9, 1e-9, "G"}, {1e6, 1e-6, "M"}, {1e3, 1e-3, "k"}, {1, 1, ""},
	    {1e-3, 1e3, "m"}, {1e-6, 1e6, "u"}, {1e-9, 1e9, "n"}, {0, 1e12, "p"}};
	double size = fabs(value);
	size_t i = 0;
	if (!isfinite(value)) {
		snprintf(out, 32, "? %s", unit);
		return out;
	}
	while (size < scale[i].from * 0.9995)
		i++;
	if (size == 0)
		i = 3;
	snprintf(out, 32, "%.3g %s%s", value * scale[i].by, scale[i].prefix, unit);
	return out;
}

void guide_value_write(struct text *out, const char *key, struct measure x, enum function f)
{
	text_member(out, key);
	if (!isfinite(x.value)) {
		text_puts(out, "null");
		return;
	}
	text_puts(out, "{\"value\":");
	text_real(out, x.value);
	if (isfinite(x.u))
		text_member_real(out, "u", x.u);
	text_member_string(out, "unit", function_unit(f));
	text_puts(out, "}");
}

const char *guide_verdict_most(struct measure x, double high)
{
	double U = 2 * x.u;
	if (isnan(high) || !isfinite(x.value) || !isfinite(U))
		return isnan(high) ? "none" : "unsure";
	return x.value + U <= high ? "within" : x.value - U > high ? "outside" : "unsure";
}

/* ---- what is kept ---- */

void guide_state_write(const struct guide *g, struct text *out)
{
	bool first = true;
	text_member_string(out, "step", step(g)->word);
	text_member_bool(out, "alarm", g->alarm);
	if (g->failed)
		text_member_string(out, "failed", g->because);
	text_member(out, "values");
	text_puts(out, "{");
	for (int i = 0; i < GUIDE_SLOTS; i++) {
		const struct guide_slot *s = &g->slot[i];
		char name[24];
		if (!s->has)
			continue;
		slot_name(g, i, name);
		text_printf(out, "%s\"%s\":{\"value\":", first ? "" : ",", name);
		text_real(out, s->value);
		if (s->u > 0)
			text_member_real(out, "u", s->u);
		text_member_ref(out, "seq", s->of);
		text_puts(out, "}");
		first = false;
	}
	text_puts(out, "}");
}

bool guide_state_read(struct guide *g, const char *text, size_t len)
{
	struct slice values = json_member(text, len, "values"), word = json_member(text, len, "step");
	int at = -1;
	for (int i = 0; i < of(g)->steps; i++)
		if (json_is(word, of(g)->step[i].word))
			at = i;
	if (at < 0)
		return false;
	g->step = at;
	g->alarm = json_bool(json_member(text, len, "alarm"), false);
	g->failed = json_text(json_member(text, len, "failed"), g->because, sizeof g->because);
	for (int i = 0; i < GUIDE_SLOTS; i++) {
		char name[24];
		struct guide_slot s = {.has = true};
		slot_name(g, i, name);
		struct slice one = json_member(values.at, values.len, name);
		if (json_absent(one) || !json_number(json_member(one.at, one.len, "value"), &s.value))
			continue;
		(void)json_number(json_member(one.at, one.len, "u"), &s.u);
		(void)json_int(json_member(one.at, one.len, "seq"), &s.of.seq);
		g->slot[i] = s;
	}
	return true;
}

void guide_result_write(const struct guide *g, struct text *out)
{
	if (of(g)->result)
		of(g)->result(g, out);
}

void guide_look(const struct guide *g, struct text *out)
{
	if (of(g)->look)
		of(g)->look(g, out);
}
