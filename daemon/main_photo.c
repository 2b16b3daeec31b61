/* SPDX-License-Identifier: MIT */
/* See main_photo.h. */
#include "daemon/main_photo.h"

#include "daemon/photo.h"
#include "daemon/query_params.h"
#include "protocol/file/base64.h"
#include "protocol/record/text.h"
#include "protocol/record/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct upload {
	int64_t id; /* 0: free */
	struct photo *photo;
	bool busy;      /* a piece of it is being written */
	uint64_t heard; /* ms of the loop */
};

struct photos {
	uv_loop_t *loop;
	const char *log;
	struct upload upload[PHOTO_UPLOADS];
	int64_t ids;
};

enum step { STEP_BEGIN, STEP_DATA, STEP_END };

struct work {
	uv_work_t work;
	struct photos *photos;
	struct upload *upload;
	struct server_call *call;
	enum step step;
	int64_t size, at;
	void *bytes;
	size_t len;
	bool good;
	struct photo_kept kept;
	struct fault why;
};

struct photos *photos_open(uv_loop_t *loop, const char *log)
{
	struct photos *p = calloc(1, sizeof *p);
	if (!p)
		return NULL;
	p->loop = loop;
	p->log = log;
	photo_sweep(log);
	return p;
}

void photos_close(struct photos *p)
{
	for (int i = 0; p && i < PHOTO_UPLOADS; i++)
		photo_free(p->upload[i].photo);
	free(p);
}

/* ---- the work, on another thread ---- */

static void work_do(uv_work_t *work)
{
	struct work *w = work->data;
	struct upload *u = w->upload;
	if (w->step == STEP_BEGIN) {
		photo_free(u->photo); /* one that made way */
		u->photo = photo_begin(w->photos->log, w->size, &w->why);
		w->good = u->photo != NULL;
	} else if (w->step == STEP_DATA) {
		w->good = photo_add(u->photo, w->at, w->bytes, w->len, &w->why);
	} else {
		w->good = photo_keep(u->photo, &w->kept, &w->why);
	}
	if (w->step == STEP_END || !w->good) {
		photo_free(u->photo);
		u->photo = NULL;
	}
}

static void work_done(uv_work_t *work, int status)
{
	struct work *w = work->data;
	struct upload *u = w->upload;
	char answer[256];
	u->busy = false;
	u->heard = uv_now(w->photos->loop);
	if (status != 0) {
		w->good = false;
		fault_set(&w->why, "the daemon ends");
	}
	if (w->step == STEP_BEGIN)
		snprintf(answer, sizeof answer, "{\"photo\":%lld}", (long long)u->id);
	else if (w->step == STEP_DATA)
		snprintf(answer, sizeof answer, "{\"at\":%lld}", (long long)(w->at + (int64_t)w->len));
	else
		snprintf(answer, sizeof answer, "{\"hash\":\"%s\",\"size\":%lld,\"type\":\"%s\"}", w->kept.hash,
		         (long long)w->kept.size, w->kept.type);
	if (!w->good || w->step == STEP_END)
		u->id = 0;
	if (w->good)
		server_answer(w->call, answer);
	else
		server_refuse(w->call, WIRE_BAD_INPUT, &w->why);
	free(w->bytes);
	free(w);
}

/* Takes bytes over. */
static void start(struct photos *p, struct work w)
{
	struct work *own = malloc(sizeof *own);
	if (own) {
		*own = w;
		own->photos = p;
		own->work.data = own;
		w.upload->busy = true;
		if (uv_queue_work(p->loop, &own->work, work_do, work_done) == 0)
			return;
		w.upload->busy = false;
	}
	fault_set(&w.why, "out of memory: send it again");
	server_refuse(w.call, WIRE_REFUSED, &w.why);
	free(own);
	free(w.bytes);
}

/* ---- the methods ---- */

static void begin(struct photos *p, struct server_call *call, json_t *params)
{
	struct work w = {.call = call, .step = STEP_BEGIN};
	const struct param list[] = {{"size", PARAM_WHOLE, true, &w.size}};
	uint64_t now = uv_now(p->loop);
	if (!params_read("photo.begin", params, list, 1, &w.why)) {
		server_refuse(call, WIRE_BAD_PARAMS, &w.why);
		return;
	}
	for (int i = 0; i < PHOTO_UPLOADS && !w.upload; i++)
		if (!p->upload[i].id && !p->upload[i].busy)
			w.upload = &p->upload[i];
	for (int i = 0; i < PHOTO_UPLOADS && !w.upload; i++)
		if (!p->upload[i].busy && now - p->upload[i].heard > PHOTO_IDLE_S * 1000)
			w.upload = &p->upload[i];
	if (!w.upload) {
		fault_set(&w.why, "%d photos are coming in already: send it in a minute", PHOTO_UPLOADS);
		server_refuse(call, WIRE_REFUSED, &w.why);
		return;
	}
	w.upload->id = ++p->ids;
	w.upload->heard = now;
	start(p, w);
}

static struct upload *find(struct photos *p, int64_t id, struct fault *why)
{
	for (int i = 0; id && i < PHOTO_UPLOADS; i++)
		if (p->upload[i].id == id && !p->upload[i].busy)
			return &p->upload[i];
	fault_set(why, "no photo %lld is coming in: begin it again (photo.begin)", (long long)id);
	return NULL;
}

static void data(struct photos *p, struct server_call *call, json_t *params)
{
	struct work w = {.call = call, .step = STEP_DATA};
	const char *text = "";
	int64_t id = 0;
	const struct param list[] = {{"photo", PARAM_WHOLE, true, &id}, {"at", PARAM_WHOLE, true, &w.at},
	                             {"data", PARAM_TEXT, true, &text}};
	int code = WIRE_BAD_PARAMS;
	bool good = params_read("photo.data", params, list, 3, &w.why);
	if (good) {
		code = WIRE_BAD_INPUT;
		w.upload = find(p, id, &w.why);
		w.bytes = w.upload ? malloc(strlen(text) / 4 * 3 + 1) : NULL;
		good = w.bytes != NULL;
	}
	if (good && !base64_read(text, strlen(text), w.bytes, &w.len)) {
		fault_set(&w.why, "data is no base64 text");
		good = false;
	}
	if (good) {
		start(p, w);
		return;
	}
	free(w.bytes);
	server_refuse(call, code, &w.why);
}

static void end(struct photos *p, struct server_call *call, json_t *params)
{
	struct work w = {.call = call, .step = STEP_END};
	int64_t id = 0;
	const struct param list[] = {{"photo", PARAM_WHOLE, true, &id}};
	if (!params_read("photo.end", params, list, 1, &w.why))
		server_refuse(call, WIRE_BAD_PARAMS, &w.why);
	else if (!(w.upload = find(p, id, &w.why)))
		server_refuse(call, WIRE_BAD_INPUT, &w.why);
	else
		start(p, w);
}

bool photos_call(struct photos *p, struct server_call *call, const char *method, json_t *params)
{
	static const struct {
		const char *name;
		void (*run)(struct photos *p, struct server_call *call, json_t *params);
	} methods[] = {{"photo.begin", begin}, {"photo.data", data}, {"photo.end", end}};
	for (size_t i = 0; p && i < sizeof methods / sizeof methods[0]; i++)
		if (strcmp(methods[i].name, method) == 0) {
			methods[i].run(p, call, params);
			return true;
		}
	return false;
}
