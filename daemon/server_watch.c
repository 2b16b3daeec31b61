/* SPDX-License-Identifier: MIT */
/*
 * What a client follows: the log from a cursor, events, live values, frames, tapes.
 *
 * The cursor.  Each watcher has the seq of the last record that it was given.
 * A record that has just become durable goes straight to those whose cursor
 * stands at the one before it and who have room; everyone else reads on from the
 * log, a page at a time, as their output empties.  Both ways move the same cursor
 * by the same rule (only the seq above it), so that at the hand-over nothing is
 * missed and nothing comes twice.  A slow watcher lags, and holds no memory but
 * its page.
 *
 * Everything else is news: worth nothing tomorrow, so the oldest makes way where
 * a client is slow, and the number lost is told.
 */
#include "daemon/query_params.h"
#include "daemon/server_private.h"

#include <stdlib.h>
#include <string.h>

/* A notification up to its parameters. */
#define NEWS(method) "{\"jsonrpc\":\"2.0\",\"method\":\"" method "\",\"params\":"

/* ---- records ---- */

/* A page holds its records as lines to be sent, in order; an index says where
 * each begins. */
struct page {
	struct answer lines;
	struct page_line {
		int64_t seq;
		size_t end;
	} line[PAGE_RECORDS];
	int n;
};

static void record_compose(struct answer *out, int64_t seq, const char *text, size_t len)
{
	answer_printf(out, NEWS("record") "{\"seq\":%lld,\"record\":", (long long)seq);
	answer_add(out, text, len);
	answer_puts(out, "}}\n");
}

static bool page_add(void *arg, int64_t seq, const char *text, size_t len)
{
	struct page *page = arg;
	record_compose(&page->lines, seq, text, len);
	if (page->lines.failed)
		return false;
	page->line[page->n++] = (struct page_line){ seq, page->lines.len };
	return page->n < PAGE_RECORDS && page->lines.len < PAGE_BYTES;
}

static void page_run(struct job *job, struct log_reader *reader)
{
	struct page *page = calloc(1, sizeof *page);
	job->text = (char *)page;
	if (!page || !reader)
		return;
	/* One record beyond the bound may be as long as the log lets it be. */
	answer_begin(&page->lines, PAGE_BYTES + WIRE_LINE_MAX);
	struct log_query q = { .after = job->after, .limit = PAGE_RECORDS };
	if (log_reader_records(reader, &q, page_add, page, &job->why) < 0)
		page->n = 0;
	else if (!page->n)
		fault_set(&job->why, "record %lld cannot be read", (long long)job->after + 1);
}

static void page_send(struct caller *c, const struct page *page)
{
	size_t from = 0;
	for (int i = 0; i < page->n; i++) {
		const struct page_line *l = &page->line[i];
		if (l->seq > c->watch.cursor) {
			if (!caller_send(c, CHUNK_RECORD, page->lines.bytes + from, l->end - from, 0))
				return; /* no room: read again from the cursor */
			c->watch.cursor = l->seq;
		}
		from = l->end;
	}
}

static void page_done(struct job *job)
{
	struct caller *c = job->caller;
	struct page *page = (struct page *)job->text;
	if (c) {
		c->watch.page = NULL;
		if (page && page->n) {
			/* The reader may be ahead of what the server was told. */
			if (page->line[page->n - 1].seq > job->server->last)
				job->server->last = page->line[page->n - 1].seq;
			page_send(c, page);
			watch_pump(c);
		} else {
			server_say(job->server, "the log cannot be read for a watcher: %s; trying again",
			           job->why.text);
			c->watch.stuck = uv_now(job->server->loop) + 1;
			server_need_sweep(job->server);
		}
	}
	if (page)
		answer_free(&page->lines);
}

void watch_pump(struct caller *c)
{
	struct watch *w = &c->watch;
	struct server *s = c->server;
	if (!w->on || w->page || w->stuck || w->cursor >= s->last || c->state != CALLER_OPEN ||
	    c->solid_bytes >= RECORDS_LOW)
		return;
	struct job *job = job_new(s);
	if (!job) {
		w->stuck = uv_now(s->loop) + 1;
		server_need_sweep(s);
		return;
	}
	job->caller = c;
	job->after = w->cursor;
	job->run = page_run;
	job->done = page_done;
	w->page = job;
	lane_add(&s->lane[LANE_PROMPT], job);
}

void watch_end(struct caller *c)
{
	if (c->watch.page)
		c->watch.page->caller = NULL;
	memset(&c->watch, 0, sizeof c->watch);
	c->frame_count = c->tape_count = 0;
	c->tape_on = c->tape_all = false;
}

void server_record(struct server *s, int64_t seq, const char *text, size_t len)
{
	struct answer line = { 0 };
	if (seq > s->last)
		s->last = seq;
	for (struct caller *c = s->callers, *next; c; c = next) {
		next = c->next;
		struct watch *w = &c->watch;
		if (!w->on || seq <= w->cursor)
			continue;
		if (seq == w->cursor + 1 && !w->page && !w->stuck && c->solid_bytes < RECORDS_LOW) {
			if (!line.len && !line.failed) {
				answer_begin(&line, WIRE_LINE_MAX);
				record_compose(&line, seq, text, len);
			}
			if (!line.failed && caller_send(c, CHUNK_RECORD, line.bytes, line.len, 0)) {
				w->cursor = seq;
				continue;
			}
		}
		watch_pump(c);
	}
	answer_free(&line);
}

/* ---- news ---- */

static void news_compose(struct answer *out, const char *head, const char *params)
{
	answer_begin(out, OUT_MAX);
	answer_puts(out, head);
	answer_json(out, params, strlen(params));
	answer_puts(out, "}\n");
}

void server_event(struct server *s, const char *params)
{
	struct answer news;
	news_compose(&news, NEWS("event"), params);
	for (struct caller *c = s->callers; c && !news.failed; c = c->next)
		if (c->watch.on)
			caller_send(c, CHUNK_LOSSY, news.bytes, news.len, sizeof NEWS("event"));
	answer_free(&news);
}

static void live_send(struct server *s)
{
	struct answer news;
	news_compose(&news, NEWS("live"), s->live);
	for (struct caller *c = s->callers; c && !news.failed; c = c->next)
		if (c->watch.live)
			caller_send(c, CHUNK_LIVE, news.bytes, news.len, sizeof NEWS("live"));
	answer_free(&news);
	free(s->live);
	s->live = NULL;
	s->live_sent = uv_now(s->loop);
}

static void live_due(uv_timer_t *timer)
{
	struct server *s = timer->data;
	if (s->live)
		live_send(s);
}

void server_live(struct server *s, const char *params)
{
	if (s->closing || !server_wants_live(s))
		return;
	char *copy = strdup(params);
	if (!copy)
		return;
	free(s->live);
	s->live = copy;
	uint64_t since = uv_now(s->loop) - s->live_sent;
	if (since >= LIVE_MS)
		live_send(s);
	else if (!uv_is_active((uv_handle_t *)&s->live_timer))
		uv_timer_start(&s->live_timer, live_due, LIVE_MS - since, 0);
}

static bool among(char (*names)[NAME_SIZE], size_t n, const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (!strcmp(names[i], name))
			return true;
	return false;
}

static bool follows_tape(const struct caller *c, const char *meter)
{
	return c->tape_on && (!meter || c->tape_all || among(c->tape, c->tape_count, meter));
}

void server_frame(struct server *s, const char *meter, const char *params)
{
	if (!server_wants_frames(s, meter))
		return;
	struct answer news;
	news_compose(&news, NEWS("frame"), params);
	for (struct caller *c = s->callers; c && !news.failed; c = c->next)
		if (among(c->frames, c->frame_count, meter))
			caller_send(c, CHUNK_LOSSY, news.bytes, news.len, sizeof NEWS("frame"));
	answer_free(&news);
}

void server_tape(struct server *s, const char *meter, const char *line, size_t len)
{
	if (!server_wants_tape(s, meter))
		return;
	while (len && (line[len - 1] == '\n' || line[len - 1] == '\r'))
		len--;
	struct answer news;
	answer_begin(&news, OUT_MAX);
	answer_puts(&news, NEWS("tape") "{\"line\":");
	answer_text(&news, line, len);
	answer_puts(&news, "}}\n");
	for (struct caller *c = s->callers; c && !news.failed; c = c->next)
		if (follows_tape(c, meter) && (!s->taping || s->taping == c))
			caller_send(c, CHUNK_LOSSY, news.bytes, news.len, sizeof NEWS("tape"));
	answer_free(&news);
}

bool server_wants_live(const struct server *s)
{
	for (const struct caller *c = s->callers; c; c = c->next)
		if (c->watch.live)
			return true;
	return false;
}

bool server_wants_frames(const struct server *s, const char *meter)
{
	for (const struct caller *c = s->callers; c; c = c->next)
		if (among(c->frames, c->frame_count, meter))
			return true;
	return false;
}

bool server_wants_tape(const struct server *s, const char *meter)
{
	for (const struct caller *c = s->callers; c; c = c->next)
		if (follows_tape(c, meter))
			return true;
	return false;
}

/* ---- the calls ---- */

static void call_watch(struct caller *c, struct server_call *call, json_t *params)
{
	struct server *s = c->server;
	struct fault why;
	int64_t after = s->last;
	bool live = false;
	const struct param list[] = {
		{ "after", PARAM_WHOLE, false, &after },
		{ "live", PARAM_FLAG, false, &live },
	};
	if (!params_read("watch", params, list, 2, &why)) {
		server_refuse(call, WIRE_BAD_PARAMS, &why);
		return;
	}
	if (after > s->last) {
		fault_set(&why, "watch after %lld, but the log ends at %lld; is it another log than "
		          "before?", (long long)after, (long long)s->last);
		server_refuse(call, WIRE_BAD_INPUT, &why);
		return;
	}
	char result[48];
	snprintf(result, sizeof result, "{\"last\":%lld}", (long long)s->last);
	server_answer(call, result);
	if (c->state != CALLER_OPEN)
		return;
	if (c->watch.page)
		c->watch.page->caller = NULL; /* of an earlier cursor */
	c->watch = (struct watch){ .on = true, .live = live, .cursor = after };
	watch_pump(c);
}

/* Add a meter to those that are followed.  False with the refusal. */
static bool follow(struct caller *c, char (**names)[NAME_SIZE], size_t *count, const char *name,
                   struct fault *why)
{
	struct server_hooks *hooks = &c->server->hooks;
	if (!name_valid(name, strlen(name)) ||
	    !(hooks->has_meter && hooks->has_meter(hooks->arg, name))) {
		fault_set(why, "there is no meter \"%.40s\"; `tally meters` lists them", name);
		return false;
	}
	if (among(*names, *count, name))
		return true;
	if (!*names)
		*names = calloc(SUBSCRIPTIONS_MAX, sizeof **names);
	if (!*names || *count == SUBSCRIPTIONS_MAX) {
		fault_set(why, "a client can follow %d meters", SUBSCRIPTIONS_MAX);
		return false;
	}
	snprintf((*names)[(*count)++], NAME_SIZE, "%s", name);
	return true;
}

static void call_raw(struct caller *c, struct server_call *call, json_t *params)
{
	struct fault why;
	const char *meter = NULL;
	const struct param list[] = { { "meter", PARAM_TEXT, true, &meter } };
	if (!params_read("raw", params, list, 1, &why))
		server_refuse(call, WIRE_BAD_PARAMS, &why);
	else if (!follow(c, &c->frames, &c->frame_count, meter, &why))
		server_refuse(call, WIRE_BAD_INPUT, &why);
	else
		server_answer(call, "{}");
}

static void call_tape(struct caller *c, struct server_call *call, json_t *params)
{
	struct fault why;
	json_t *meters = NULL, *name;
	size_t i;
	const struct param list[] = { { "meters", PARAM_NAMES, false, &meters } };
	if (!params_read("tape", params, list, 1, &why)) {
		server_refuse(call, WIRE_BAD_PARAMS, &why);
		return;
	}
	/* A second call replaces the first. */
	c->tape_on = c->tape_all = false;
	c->tape_count = 0;
	json_array_foreach(meters, i, name) {
		if (!follow(c, &c->tape, &c->tape_count, json_string_value(name), &why)) {
			c->tape_count = 0;
			server_refuse(call, WIRE_BAD_INPUT, &why);
			return;
		}
	}
	c->tape_on = true;
	c->tape_all = json_array_size(meters) == 0;
	server_answer(call, "{}");
	/* A tape that begins in the middle of the work begins with how things stand. */
	const struct server_hooks *hooks = &c->server->hooks;
	c->server->taping = c;
	if (hooks->tape_begins)
		hooks->tape_begins(hooks->arg);
	c->server->taping = NULL;
}

bool watch_call(struct caller *c, struct server_call *call, const char *method, json_t *params)
{
	static const struct {
		const char *name;
		void (*run)(struct caller *c, struct server_call *call, json_t *params);
	} table[] = { { "watch", call_watch }, { "raw", call_raw }, { "tape", call_tape } };
	for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
		if (strcmp(table[i].name, method))
			continue;
		table[i].run(c, call, params);
		return true;
	}
	return false;
}
