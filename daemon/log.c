/* SPDX-License-Identifier: MIT */
/*
 * The queue before the disk and the results after it.  Items go in at one end on
 * the caller's thread, are written on the log thread, and wait in a second queue
 * until the caller collects them.  In inline mode there is no thread, and the
 * same functions are called one after the other.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"

#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct item_queue {
	struct log_item *first, **end;
};

struct log {
	struct log_store store; /* the log thread's, while it runs */
	bool threaded;
	pthread_t thread;
	void (*notify)(void *arg);
	void *arg;

	pthread_mutex_t mutex; /* guards the following */
	pthread_cond_t work;   /* something waits, or stop */
	pthread_cond_t rest;   /* nothing waits any more */
	struct item_queue waiting, back;
	struct log_item *save; /* the newest save in `waiting` */
	size_t held;           /* bytes in both queues and with the log thread */
	bool busy, stop;
	bool pulse_asked, pulse_given; /* a sign of life */

	uint64_t next_ticket; /* the caller's */
	atomic_int health;
	atomic_int_fast64_t last_seq, wal_bytes, signed_seq, entries_after;
	atomic_bool signs;
	char trouble[160]; /* guarded by the mutex */
};

/* ---- queues ---- */

static void queue_clear(struct item_queue *q)
{
	q->first = NULL;
	q->end = &q->first;
}

static void queue_add(struct item_queue *q, struct log_item *item)
{
	item->next = NULL;
	*q->end = item;
	q->end = &item->next;
}

static struct log_item *queue_take(struct item_queue *q)
{
	struct log_item *first = q->first;
	queue_clear(q);
	return first;
}

static void item_free(struct log_item *item)
{
	for (size_t i = 0; i < item->n; i++)
		free(item->piece[i].text);
	free(item->vouch.text);
	free(item);
}

static void items_free(struct log_item *item)
{
	while (item) {
		struct log_item *next = item->next;
		item_free(item);
		item = next;
	}
}

/* One block: the item, its pieces, then the strings, filled from *room on. */
static struct log_item *item_new(size_t n, size_t strings, char **room)
{
	size_t size = sizeof(struct log_item) + n * sizeof(struct log_piece);
	struct log_item *item = calloc(1, size + strings);
	if (!item)
		return NULL;
	item->n = n;
	item->bytes = size + strings;
	*room = (char *)item + size;
	return item;
}

static const char *keep(char **room, const char *bytes, size_t len)
{
	char *copy = *room;
	if (len)
		memcpy(copy, bytes, len);
	copy[len] = '\0';
	*room += len + 1;
	return copy;
}

/* ---- the log thread ---- */

/* What other threads may ask; true where the health is another. */
static bool publish(struct log *log)
{
	const struct log_store *s = &log->store;
	int64_t wal = s->wal_frames ? 32 + (int64_t)s->wal_frames * (24 + 4096) : 0;
	atomic_store(&log->last_seq, s->seq);
	atomic_store(&log->wal_bytes, wal);
	atomic_store(&log->signed_seq, s->signed_seq);
	atomic_store(&log->entries_after, s->entries_after);
	atomic_store(&log->signs, s->signer || s->keyless);
	return atomic_exchange(&log->health, (int)s->health) != (int)s->health;
}

static void trouble_keep(struct log *log)
{
	bool good = log->store.health == LOG_GOOD;
	snprintf(log->trouble, sizeof log->trouble, "%s", good ? "" : log->store.trouble);
}

/* Put a written group among the results; saves have none. */
static bool hand_back(struct log *log, struct log_item *items)
{
	bool any = false;
	while (items) {
		struct log_item *next = items->next;
		if (items->save) {
			log->held -= items->bytes;
			item_free(items);
		} else {
			queue_add(&log->back, items);
			any = true;
		}
		items = next;
	}
	return any;
}

static void *log_thread(void *arg)
{
	struct log *log = arg;
	int64_t again = 0;
	pthread_mutex_lock(&log->mutex);
	for (;;) {
		log->pulse_given = log->pulse_asked;
		while (!log->waiting.first && !log->stop && store_clock() < again) {
			struct timespec until = { .tv_sec = again / 1000000,
				                      .tv_nsec = again % 1000000 * 1000 };
			if (again == INT64_MAX)
				pthread_cond_wait(&log->work, &log->mutex);
			else
				pthread_cond_timedwait(&log->work, &log->mutex, &until);
			log->pulse_given = log->pulse_asked;
		}
		struct log_item *items = queue_take(&log->waiting);
		bool last = log->stop;
		log->save = NULL;
		log->busy = true;
		pthread_mutex_unlock(&log->mutex);

		if (items)
			store_write(&log->store, items, last);
		bool changed = publish(log);

		pthread_mutex_lock(&log->mutex);
		trouble_keep(log);
		bool back = hand_back(log, items);
		bool quiet = !log->waiting.first;
		if (quiet)
			log->busy = false;
		pthread_cond_broadcast(&log->rest);
		pthread_mutex_unlock(&log->mutex);
		if ((back || changed) && log->notify)
			log->notify(log->arg);
		if (last && quiet)
			return NULL;

		/* Everybody has been told: now there is time to tidy up. */
		again = store_tend(&log->store, quiet);
		if (publish(log) && log->notify)
			log->notify(log->arg);
		pthread_mutex_lock(&log->mutex);
	}
}

static bool thread_start(struct log *log, struct fault *why)
{
	sigset_t all, before;
	pthread_condattr_t monotonic;
	pthread_condattr_init(&monotonic);
	pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
	pthread_cond_init(&log->work, &monotonic);
	pthread_cond_init(&log->rest, &monotonic);
	pthread_condattr_destroy(&monotonic);
	if (!log->threaded)
		return true;
	/* Signals are the main thread's. */
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	int error = pthread_create(&log->thread, NULL, log_thread, log);
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	if (!error) /* for whoever looks at the process */
		pthread_setname_np(log->thread, "tally-log");
	if (error)
		fault_set(why, "no thread for the log: %s", strerror(error));
	return error == 0;
}

/* Inline: write at once. */
static void work_inline(struct log *log)
{
	struct log_item *items = queue_take(&log->waiting);
	log->save = NULL;
	store_write(&log->store, items, log->stop);
	bool back = hand_back(log, items);
	bool changed = publish(log);
	store_tend(&log->store, true);
	changed = publish(log) || changed;
	if ((back || changed) && log->notify)
		log->notify(log->arg);
}

/* ---- the interface ---- */

struct log *log_open(const struct log_options *options, struct fault *why)
{
	struct log *log = calloc(1, sizeof *log);
	if (!log) {
		fault_set(why, "no memory for the log");
		return NULL;
	}
	log->threaded = !options->inline_mode;
	log->notify = options->notify;
	log->arg = options->arg;
	log->next_ticket = 1;
	queue_clear(&log->waiting);
	queue_clear(&log->back);
	if (!store_open(&log->store, options, why)) {
		free(log);
		return NULL;
	}
	publish(log);
	pthread_mutex_init(&log->mutex, NULL);
	if (!thread_start(log, why)) {
		log->threaded = false;
		log_close(log);
		return NULL;
	}
	return log;
}

void log_close(struct log *log)
{
	if (!log)
		return;
	pthread_mutex_lock(&log->mutex);
	log->stop = true;
	pthread_cond_signal(&log->work);
	pthread_mutex_unlock(&log->mutex);
	if (log->threaded)
		pthread_join(log->thread, NULL);
	store_close(&log->store);
	items_free(queue_take(&log->waiting));
	items_free(queue_take(&log->back));
	pthread_cond_destroy(&log->work);
	pthread_cond_destroy(&log->rest);
	pthread_mutex_destroy(&log->mutex);
	free(log);
}

void log_flush(struct log *log)
{
	pthread_mutex_lock(&log->mutex);
	while (log->threaded && (log->waiting.first || log->busy))
		pthread_cond_wait(&log->rest, &log->mutex);
	pthread_mutex_unlock(&log->mutex);
}

size_t log_reference(uint64_t ticket, char out[LOG_REFERENCE_SIZE])
{
	int n = snprintf(out, LOG_REFERENCE_SIZE, "\x01%llu\x01", (unsigned long long)ticket);
	return (size_t)n;
}

static bool draft_fits(const struct log_draft *d, struct fault *why)
{
	size_t kind = d->kind ? strspn(d->kind, "abcdefghijklmnopqrstuvwxyz-") : 0;
	if (kind == 0 || kind >= RECORD_KIND_SIZE || d->kind[kind]) {
		fault_set(why, "a record needs a kind of small letters");
		return false;
	}
	if (d->body_len > LOG_TEXT_MAX - 128) {
		fault_set(why, "the %s record is too long: %zu bytes, at most %u", d->kind, d->body_len,
		          LOG_TEXT_MAX - 128);
		return false;
	}
	/* 0001-01-01 to the end of 9999. */
	if (d->t < -62135596800000000 || d->t > 253402300799999999) {
		fault_set(why, "the %s record has a time outside the years 1 to 9999", d->kind);
		return false;
	}
	return true;
}

/* Queue an item, or refuse it. */
static bool item_queue(struct log *log, struct log_item *item, struct fault *why)
{
	pthread_mutex_lock(&log->mutex);
	bool room = log->held + item->bytes <= LOG_QUEUE_MAX;
	if (room) {
		if (item->save && log->save)
			log->save->overtaken = true;
		if (item->save)
			log->save = item;
		log->held += item->bytes;
		queue_add(&log->waiting, item);
		pthread_cond_signal(&log->work);
	}
	pthread_mutex_unlock(&log->mutex);
	if (!room) {
		fault_set(why, "the disk of the log does not keep up: %u MiB wait for it",
		          LOG_QUEUE_MAX >> 20);
		item_free(item);
	} else if (!log->threaded) {
		work_inline(log);
	}
	return room;
}

uint64_t log_append(struct log *log, const struct log_draft *draft, size_t n, const char *run_of,
                    struct fault *why)
{
	size_t strings = run_of ? strlen(run_of) + 1 : 0;
	char *room;
	if (log_health(log) == LOG_SUSPECT) {
		fault_set(why, "the log is suspect after an error of its disk; check the disk, then restart");
		return 0;
	}
	if (n == 0 || n > LOG_DRAFTS_MAX) {
		fault_set(why, "%zu records at once; 1 to %d can be appended", n, LOG_DRAFTS_MAX);
		return 0;
	}
	for (size_t i = 0; i < n; i++) {
		if (!draft_fits(&draft[i], why))
			return 0;
		strings += strlen(draft[i].kind) + draft[i].body_len + 2;
	}
	struct log_item *item = item_new(n, strings, &room);
	if (!item) {
		fault_set(why, "no memory for the record");
		return 0;
	}
	for (size_t i = 0; i < n; i++) {
		struct log_piece *p = &item->piece[i];
		p->t = draft[i].t;
		p->kind = keep(&room, draft[i].kind, strlen(draft[i].kind));
		p->body = keep(&room, draft[i].body, draft[i].body_len);
		p->body_len = draft[i].body_len;
	}
	if (run_of)
		item->run_of = keep(&room, run_of, strlen(run_of));
	item->ticket = log->next_ticket;
	uint64_t first = item->ticket;
	log->next_ticket += n;
	if (item_queue(log, item, why))
		return first;
	log->next_ticket = first;
	return 0;
}

uint64_t log_next_ticket(const struct log *log)
{
	return log->next_ticket;
}

void log_save_open(struct log *log, const struct log_open_run *run, size_t n)
{
	log_save_desk(log, run, n, NULL);
}

void log_save_desk(struct log *log, const struct log_open_run *run, size_t n, const char *desk)
{
	size_t strings = desk ? strlen(desk) + 1 : 0;
	struct fault why;
	char *room;
	if (log_health(log) == LOG_SUSPECT)
		return;
	for (size_t i = 0; i < n; i++)
		strings += strlen(run[i].meter) + run[i].body_len + 2;
	struct log_item *item = item_new(n, strings, &room);
	if (!item)
		return;
	item->save = true;
	if (desk)
		item->desk = keep(&room, desk, strlen(desk));
	for (size_t i = 0; i < n; i++) {
		struct log_piece *p = &item->piece[i];
		p->t = run[i].t;
		p->kind = keep(&room, run[i].meter, strlen(run[i].meter));
		p->body = keep(&room, run[i].body, run[i].body_len);
		p->body_len = run[i].body_len;
	}
	item_queue(log, item, &why);
}

void log_checkpoint(struct log *log, int64_t t)
{
	struct fault why;
	char *room;
	struct log_item *item = log_health(log) == LOG_SUSPECT ? NULL : item_new(0, 0, &room);
	if (!item)
		return;
	item->checkpoint = true;
	item->t = t;
	item_queue(log, item, &why);
}

static void report(const struct log_item *item,
                   void (*each)(void *arg, const struct log_result *r), void *arg)
{
	for (size_t i = 0; i < item->n; i++) {
		const struct log_piece *p = &item->piece[i];
		struct log_result r = { .ticket = item->ticket + i, .status = LOG_NOT_LOGGED };
		if (item->durable) {
			r.status = LOG_DURABLE;
			r.seq = p->seq;
			r.text = p->text;
			r.len = p->len;
		} else {
			r.why = item->why;
		}
		each(arg, &r);
	}
	if (item->durable && item->vouch.text) {
		struct log_result r = { .status = LOG_DURABLE, .seq = item->vouch.seq,
			                    .text = item->vouch.text, .len = item->vouch.len };
		each(arg, &r);
	}
}

void log_collect(struct log *log, void (*each)(void *arg, const struct log_result *r), void *arg)
{
	for (;;) {
		pthread_mutex_lock(&log->mutex);
		struct log_item *item = log->back.first;
		if (item) {
			log->back.first = item->next;
			if (!item->next)
				queue_clear(&log->back);
		}
		pthread_mutex_unlock(&log->mutex);
		if (!item)
			return;
		report(item, each, arg);
		pthread_mutex_lock(&log->mutex);
		log->held -= item->bytes;
		pthread_mutex_unlock(&log->mutex);
		item_free(item);
	}
}

bool log_pulse(struct log *log)
{
	pthread_mutex_lock(&log->mutex);
	bool given = !log->threaded || log->pulse_given;
	log->pulse_asked = true;
	log->pulse_given = false;
	pthread_cond_signal(&log->work);
	pthread_mutex_unlock(&log->mutex);
	return given;
}

void log_signing(const struct log *log, struct log_signing *out)
{
	*out = (struct log_signing){atomic_load(&log->signed_seq), atomic_load(&log->entries_after),
	                            atomic_load(&log->signs)};
}

const char *log_key_trouble(const struct log *log)
{
	return log->store.key_trouble;
}

const char *log_aside(const struct log *log)
{
	return log->store.aside_said;
}

void log_trouble(struct log *log, char *out, size_t size)
{
	pthread_mutex_lock(&log->mutex);
	snprintf(out, size, "%s", log->trouble);
	pthread_mutex_unlock(&log->mutex);
}

size_t log_backlog(struct log *log)
{
	pthread_mutex_lock(&log->mutex);
	size_t held = log->held;
	pthread_mutex_unlock(&log->mutex);
	return held;
}

enum log_health log_health(const struct log *log)
{
	return (enum log_health)atomic_load(&log->health);
}

const char *log_health_word(enum log_health h)
{
	switch (h) {
	case LOG_GOOD:
		return "good";
	case LOG_LOW:
		return "low";
	case LOG_FULL:
		return "full";
	case LOG_SUSPECT:
		return "suspect";
	}
	return "unknown";
}

int64_t log_last_seq(const struct log *log)
{
	return atomic_load(&log->last_seq);
}

int64_t log_wal_bytes(const struct log *log)
{
	return atomic_load(&log->wal_bytes);
}

const char *log_path(const struct log *log)
{
	return log->store.path;
}

const char *log_identity(const struct log *log)
{
	return log->store.identity;
}

const char *log_opening(const struct log *log)
{
	return log->store.opening;
}
