/* SPDX-License-Identifier: MIT */
/*
 * What the report is made of, asked over the client protocol (methods marked *file* alone),
 * so that a running bench and a copied log give the same report.
 */
#include "client/array.h"
#include "client/command_calls.h"
#include "client/report.h"
#include "client/report_guide.h"
#include "client/report_photo.h"

#include <stdlib.h>
#include <stdio.h>
#include <string.h>

/* Kinds of records that are told; those that no program writes yet cost nothing. */
#define KINDS \
	"job,note,guide,strike,move,check,offset,alarm,fit,rename,meter,identity,photo,fitted,valve," \
	"checkpoint"

void report_free(struct report *r)
{
	for (int i = 0; i < r->entries; i++)
		free(r->entry[i].text);
	for (int i = 0; i < r->positions; i++)
		free(r->position[i].text);
	for (int i = 0; i < r->records; i++)
		free(r->record[i].text);
	report_guide_free(r);
	report_photo_free(r);
	free(r->entry);
	free(r->position);
	free(r->record);
	free(r->line);
	free(r->job_text);
	free(r->seal_text);
	free(r->compare_text);
	free(r->plan_text);
	free(r->places_text);
}

static char *keep(struct report *r, struct slice s, struct slice *out)
{
	char *text = s.at ? strndup(s.at, s.len) : NULL;
	if (!text)
		r->no_memory = true;
	*out = (struct slice){text, text ? s.len : 0};
	return text;
}

/* An object that is there. */
static struct slice object(struct slice parent, const char *name)
{
	struct slice s = json_member(parent.at, parent.len, name);
	return s.at && *s.at == '{' ? s : (struct slice){NULL, 0};
}

static enum report_word word_of(struct slice judged, const char *path)
{
	char word[24];
	words_member(judged, path, word, sizeof word);
	return !strcmp(word, "within") ? REPORT_WITHIN : !strcmp(word, "unsure") ? REPORT_UNSURE
	     : !strcmp(word, "outside") ? REPORT_OUTSIDE : REPORT_NONE;
}

static enum report_condition condition_of(struct slice record)
{
	return words_member_is(record, "condition", "done") ? REPORT_DONE
	     : words_member_is(record, "condition", "new") ? REPORT_NEW : REPORT_FOUND;
}

static void read_entry(struct report_entry *e, struct slice element)
{
	char word[48];
	e->record = object(element, "record");
	e->struck = object(element, "struck");
	e->moved = object(element, "moved");
	e->judged = object(element, "rejudged");
	if (!e->judged.at)
		e->judged = e->record;
	json_int(json_member(e->record.at, e->record.len, "seq"), &e->seq);
	json_time(json_member(e->record.at, e->record.len, "t"), &e->t);
	words_member(element, "position", e->position, sizeof e->position);
	if (!e->position[0])
		words_member(e->record, "position", e->position, sizeof e->position);
	words_member(e->record, "quantity", word, sizeof word);
	if (!quantity_from_name(word, strlen(word), &e->quantity))
		e->quantity = QUANTITY_VALUE;
	words_member(e->record, "function", word, sizeof word);
	if (!function_from_name(word, strlen(word), &e->function))
		e->function = FUNCTION_NONE;
	words_member(e->record, "state", word, sizeof word);
	e->overload = strstr(word, "overload") != NULL;
	e->condition = condition_of(e->record);
	e->in_circuit = words_member_is(e->record, "reach", "in-circuit");
	e->typed = words_member_is(e->record, "source", "typed");
	e->has_value = json_number(json_member(e->record.at, e->record.len, "value"), &e->value);
	if (!json_number(json_member(e->record.at, e->record.len, "u"), &e->u))
		e->u = 0;
	e->hertz = report_hertz(e);
	e->word = word_of(e->judged, "verdict");
	e->service = word_of(e->judged, "service.verdict");
	e->second = word_of(e->judged, "second.verdict");
	words_member(e->record, "shown", e->shown, sizeof e->shown);
}

static void each_entry(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct report *r = arg;
	struct slice kept;
	(void)c, (void)result;
	if (!element.at || !array_grow(&r->no_memory, &r->entry, r->entries, sizeof *r->entry))
		return;
	struct report_entry *e = &r->entry[r->entries];
	memset(e, 0, sizeof *e);
	e->text = keep(r, element, &kept);
	if (!e->text)
		return;
	read_entry(e, kept);
	r->entries++;
}

static void each_row(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct report *r = arg;
	char word[48];
	(void)c, (void)result;
	if (!element.at || !array_grow(&r->no_memory, &r->position, r->positions, sizeof *r->position))
		return;
	struct report_position *p = &r->position[r->positions];
	memset(p, 0, sizeof *p);
	p->text = keep(r, element, &p->row);
	if (!p->text)
		return;
	words_member(p->row, "position", p->name, sizeof p->name);
	words_member(p->row, "channel", p->channel, sizeof p->channel);
	words_member(p->row, "role", p->role, sizeof p->role);
	words_member(p->row, "twin", p->twin, sizeof p->twin);
	words_member(p->row, "kind", word, sizeof word);
	if (!kind_from_name(word, strlen(word), &p->kind))
		p->kind = KIND_OTHER;
	words_member(p->row, "function", word, sizeof word);
	if (!function_from_name(word, strlen(word), &p->function))
		p->function = kind_function(p->kind);
	p->fit = object(p->row, "fit");
	r->positions++;
}

static void each_record(struct client *c, struct slice record, struct slice result, void *arg)
{
	struct report *r = arg;
	char job[128];
	(void)c, (void)result;
	if (!record.at)
		return;
	/* Meters and checkpoints belong to no job. */
	words_member(record, "job", job, sizeof job);
	if (job[0] && strcmp(job, r->job) != 0)
		return;
	if (!array_grow(&r->no_memory, &r->record, r->records, sizeof *r->record))
		return;
	struct report_record *one = &r->record[r->records];
	memset(one, 0, sizeof *one);
	one->text = keep(r, record, &one->record);
	if (!one->text)
		return;
	words_member(one->record, "kind", one->kind, sizeof one->kind);
	words_member(one->record, "position", one->position, sizeof one->position);
	json_int(json_member(one->record.at, one->record.len, "seq"), &one->seq);
	json_time(json_member(one->record.at, one->record.len, "t"), &one->t);
	r->records++;
}

/* Positions of records go by the name that they had: follow what came after. */
static void follow_names(struct report *r)
{
	char from[NAME_SIZE];
	for (int i = 0; i < r->records; i++) {
		struct report_record *one = &r->record[i];
		for (int k = i + 1; k < r->records && one->position[0] && strcmp(one->kind, "rename");
		     k++) {
			words_member(r->record[k].record, "from", from, sizeof from);
			if (!strcmp(r->record[k].kind, "rename") && !strcmp(from, one->position))
				snprintf(one->position, sizeof one->position, "%s", r->record[k].position);
		}
	}
}

static enum outcome ask(struct client *c, struct report *r, const char *method, char **text,
                        struct slice *into)
{
	struct message m;
	enum outcome outcome = client_ask(c, method, client_params("job", r->job, NULL), &m);
	if (outcome == OUTCOME_DONE)
		*text = keep(r, m.result, into);
	message_free(&m);
	return outcome;
}

static enum outcome ask_job(struct client *c, struct report *r)
{
	struct message m;
	enum outcome outcome = client_ask(c, "job.show", client_params("job", r->job_asked, NULL), &m);
	if (outcome == OUTCOME_DONE) {
		r->job_text = keep(r, m.result, &r->job_show);
		words_member(m.result, "job", r->job, sizeof r->job);
	}
	message_free(&m);
	return outcome;
}

static enum outcome ask_plan(struct client *c, struct report *r)
{
	struct lines whole = {0};
	enum outcome outcome = plan_ask(c, client_params("job", r->job, NULL), &whole);
	if (outcome == OUTCOME_DONE)
		r->plan_text = keep(r, (struct slice){lines_text(&whole), whole.len}, &r->plan);
	lines_free(&whole);
	return outcome;
}

enum outcome report_gather(struct client *c, struct report *r)
{
	const struct link_hello *hello;
	enum outcome outcome = ask_job(c, r);
	if (outcome != OUTCOME_DONE)
		return outcome;
	hello = link_hello(c->link);
	snprintf(r->bench, sizeof r->bench, "%s", hello->bench);
	snprintf(r->identity, sizeof r->identity, "%s", hello->identity);
	snprintf(r->version, sizeof r->version, "%s", hello->version);
	outcome = client_pages(c, "sheet.show", client_params("job", r->job, NULL), "rows", each_row,
	                       r);
	if (outcome == OUTCOME_DONE)
		outcome = client_pages(c, "entries", client_params("job", r->job, NULL), "entries",
		                       each_entry, r);
	if (outcome == OUTCOME_DONE)
		outcome = client_pages(c, "records", client_params("kind", KINDS, NULL), "records",
		                       each_record, r);
	if (outcome == OUTCOME_DONE)
		outcome = ask(c, r, "compare", &r->compare_text, &r->compare);
	if (outcome == OUTCOME_DONE)
		outcome = ask_plan(c, r);
	if (outcome == OUTCOME_DONE)
		outcome = ask(c, r, "places", &r->places_text, &r->places);
	if (outcome == OUTCOME_DONE && r->no_memory)
		return client_wrong(c, "no memory for a report of so many records");
	follow_names(r);
	if (outcome == OUTCOME_DONE)
		outcome = report_guide_gather(c, r);
	if (outcome == OUTCOME_DONE)
		outcome = report_photo_gather(c, r);
	return outcome == OUTCOME_DONE && r->no_memory ? client_wrong(c, "no memory for the report")
	                                               : outcome;
}
