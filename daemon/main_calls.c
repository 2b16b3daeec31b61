/* SPDX-License-Identifier: MIT */
/*
 * See main_calls.h.
 *
 * One row a method: its parameters are read strictly into a `struct asked`, then
 * its function calls the bench.  A call that makes a record is answered when the
 * record is durable (main_answer.c), every other at once.
 */
#include "daemon/main_calls_inside.h"

#include "daemon/query_params.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ANSWER_SIZE (256 * 1024)

static bool call_status(struct answering *a, struct fault *why)
{
	(void)why;
	bench_seen(a->calls->bench, a->t);
	bench_status(a->calls->bench, &a->out);
	if (!a->asked.service || !a->calls->health || a->out.failed)
		return true;
	a->out.len--; /* its closing brace */
	text_member(&a->out, "service");
	a->calls->health(a->calls->arg, &a->out);
	text_puts(&a->out, "}");
	return true;
}

static bool call_meters(struct answering *a, struct fault *why)
{
	(void)why;
	bench_meters(a->calls->bench, a->t, &a->out);
	return true;
}

static bool call_doctor(struct answering *a, struct fault *why)
{
	if (!a->calls->doctor) {
		fault_set(why, "there are no lines here to look at");
		return false;
	}
	a->calls->doctor(a->calls->arg, a->call);
	return true;
}

static bool call_reload(struct answering *a, struct fault *why)
{
	if (a->calls->reload)
		return a->calls->reload(a->calls->arg, &a->out, why);
	fault_set(why, "there is no configuration here to read anew");
	return false;
}

/* ---- the table ---- */

/* Parameters by name; `out` is set from the offsets when a call comes. */
static const struct {
	const char *name;
	size_t at;
	enum param_type type;
} members[] = {
#define M(member) {#member, offsetof(struct asked, member), PARAM_TEXT}
    M(position), M(quantity), M(meter), M(name),  M(text),      M(job),  M(because),
    M(value),    M(from),     M(u),     M(reach), M(condition), M(walk), M(state),
    M(range),    M(order),    M(leads), M(to),    M(prefix),    M(positions), M(again),
    M(photo),    M(frequency), M(seen),
#undef M
    {"seq", offsetof(struct asked, seq), PARAM_WHOLE},
    {"by", offsetof(struct asked, by), PARAM_WHOLE},
    {"meters", offsetof(struct asked, meters), PARAM_WHOLE},
    {"up", offsetof(struct asked, up), PARAM_WHOLE},
    {"service", offsetof(struct asked, service), PARAM_FLAG},
    {"speaks", offsetof(struct asked, speaks), PARAM_FLAG},
    {"wait", offsetof(struct asked, wait), PARAM_FLAG},
    {"swapped", offsetof(struct asked, swapped), PARAM_FLAG},
    {"accept", offsetof(struct asked, accept), PARAM_FLAG},
    {"none", offsetof(struct asked, none), PARAM_FLAG},
    {"dry", offsetof(struct asked, dry), PARAM_FLAG},
};

/* `takes`: names with spaces between; an ending ! marks a compulsory one. */
static const struct method {
	const char *name;
	method_function *call;
	const char *takes;
	bool at_once;
} methods[] = {
    {"status", call_status, "service", true},
    {"meters", call_meters, "", true},
    {"doctor", call_doctor, "", false},
    {"reload", call_reload, "", true},
    {"job.start", call_job_start, "name! again", false},
    {"job.set", call_job_set, "fields!", false},
    {"job.fitted", call_job_fitted, "positions!", false},
    {"job.close", call_job_close, "", false},
    {"job.state", call_job_state, "state! because", false},
    {"sheet.load", call_sheet_load, "name! text! job map", false},
    {"sheet.set", call_sheet_set, "position! fields!", false},
    {"sheet.fit", call_sheet_fit, "position! fields none", false},
    {"sheet.rename", call_sheet_rename, "position! to!", false},
    {"sheet.twins", call_sheet_twins, "accept positions", false},
    {"sheet.add", call_sheet_add, "text! dry", false},
    {"sheet.mirror", call_sheet_mirror, "range! by!", false},
    {"at", call_at, "position quantity meter", false},
    {"at.new", call_at_new, "prefix", false},
    {"reach", call_reach, "reach!", false},
    {"condition", call_condition, "condition!", false},
    {"walk", call_walk, "walk! order meters prefix", false},
    {"next", call_next, "", false},
    {"back", call_back, "", false},
    {"again", call_again, "swapped", false},
    {"there", call_there, "", false},
    {"speaks", call_speaks, "speaks!", false},
    {"announced", call_announced, "up", false},
    {"move", call_move, "seqs! position! because", false},
    {"offset", call_offset, "leads! meter wait", false},
    {"meters.check", call_check, "meter! position! wait", false},
    {"take", call_take, "meter frequency seen", false},
    {"undo", call_undo, "", false},
    {"enter", call_enter, "position! value! from! quantity u because frequency", false},
    {"strike", call_strike, "seq! because!", false},
    {"guide.start", call_guide_start, "name! position text", false},
    {"guide.go", call_guide_go, "name", false},
    {"guide.back", call_guide_back, "name", false},
    {"guide.leave", call_guide_leave, "name because", false},
    {"guide.resume", call_guide_resume, "name", false},
    {"guide.dry", call_guide_dry, "name! position text", false},
    {"note", call_note, "position! text! photo name", false},
};

/* Builds the table of parameters of one method. */
static bool read_asked(const struct method *m, json_t *params, struct asked *k, struct fault *why)
{
	enum { PARAMS = 8 };
	struct param list[PARAMS];
	char names[PARAMS][16];
	size_t n = 0;
	json_t *rest = json_copy(params);
	for (const char *p = m->takes; *p && n < PARAMS;) {
		size_t len = strcspn(p, " ");
		bool compulsory = p[len - 1] == '!';
		snprintf(names[n], sizeof names[n], "%.*s", (int)(len - compulsory), p);
		p += len + strspn(p + len, " ");
		/* Not of one simple type: the method looks at them itself. */
		json_t **itself = strcmp(names[n], "fields") == 0 ? &k->fields
		                  : strcmp(names[n], "seqs") == 0 ? &k->seqs
		                  : strcmp(names[n], "map") == 0  ? &k->map
		                                                  : NULL;
		if (itself) {
			*itself = json_object_get(params, names[n]);
			json_object_del(rest, names[n]);
			continue;
		}
		for (size_t i = 0; i < sizeof members / sizeof *members; i++)
			if (strcmp(members[i].name, names[n]) == 0)
				list[n] = (struct param){names[n], members[i].type, compulsory,
				                         (char *)k + members[i].at};
		n++;
	}
	bool good = params_read(m->name, rest, list, n, why);
	json_decref(rest);
	bool has_fields = json_is_object(k->fields) || (!k->fields && !strstr(m->takes, "fields!"));
	if (good && strstr(m->takes, "fields") && !has_fields) {
		fault_set(why, "%s wants fields: an object of texts", m->name);
		good = false;
	}
	if (good && strstr(m->takes, "seqs") && !json_is_array(k->seqs)) {
		fault_set(why, "%s wants seqs: a list of entries", m->name);
		good = false;
	}
	return good;
}

bool calls_call(void *arg, struct server_call *call, const char *method, json_t *params,
                unsigned uid)
{
	const struct method *m = NULL;
	struct fault why;
	for (size_t i = 0; i < sizeof methods / sizeof *methods; i++)
		if (strcmp(methods[i].name, method) == 0)
			m = &methods[i];
	if (!m)
		return photos_call(((struct calls *)arg)->photos, call, method, params);
	struct answering a = {.calls = arg, .call = call, .uid = uid, .asked = {.meters = 1, .wait = true}};
	a.t = a.calls->now(a.calls->arg);
	char *buffer = malloc(ANSWER_SIZE);
	if (!buffer) {
		fault_set(&why, "out of memory");
		server_refuse(call, WIRE_REFUSED, &why);
		return true;
	}
	text_begin(&a.out, buffer, ANSWER_SIZE);
	bench_by(a.calls->bench, a.t, uid);
	if (!read_asked(m, params, &a.asked, &why))
		server_refuse(call, WIRE_BAD_PARAMS, &why);
	else if (!m->call(&a, &why))
		server_refuse(call, WIRE_BAD_INPUT, &why);
	else if (m->at_once)
		server_answer(call, buffer);
	bench_by_nobody(a.calls->bench);
	free(buffer);
	return true;
}
