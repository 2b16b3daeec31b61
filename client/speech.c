/* SPDX-License-Identifier: MIT */
/*
 * See speech.h.  One thread owns the speaker: it takes what is next (turn.h), gives it to
 * the speaker, and waits for its end, for something that cuts it off, or for its time to
 * run out.
 */
#include "client/speech.h"

#include "client/clock.h"
#include "client/spawn.h"

#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

/* How often a child is looked at while it speaks. */
#define LOOK_MS 20
/* The slowest voice says seven letters a second; twice that time, and some to begin. */
#define LETTER_MS 300
#define BEGIN_MS 3000

#define ANNOUNCED_MAX 16

enum speaker_kind {
	SPEAKER_NOBODY,
	SPEAKER_SSIP,
	SPEAKER_ESPEAK,
};

struct announced {
	char position[40];
	int64_t seq;
};

struct speech {
	pthread_mutex_t mutex;
	pthread_cond_t quiet;
	pthread_t thread;
	struct speech_setting setting;
	int wake, news; /* eventfds: for the thread, and from it */
	struct turn turn;
	bool mute, stop, busy;
	int64_t quiet_until; /* tones sound until then */
	bool ready;     /* it is known whether there is a speaker */
	bool nobody;    /* there is none, or it failed */
	enum speaker_kind kind;
	int users;
	unsigned said;
	struct announced announced[ANNOUNCED_MAX];
	int announces;
	char note[320];

	/* The thread's own. */
	struct ssip ssip;
	struct espeak espeak;
	int64_t ssip_failed, failed; /* when; 0: it did not */
	struct turn_item now;
	bool held;            /* now waits for the end of its tone */
	bool speaking, again; /* again: it is the second try of this one */
	int64_t until;
};

static void ring(int fd)
{
	uint64_t one = 1;
	ssize_t done = write(fd, &one, sizeof one);
	(void)done; /* full: it is rung already */
}

static void hush(int fd)
{
	uint64_t count;
	ssize_t done = read(fd, &count, sizeof count);
	(void)done;
}

static void speech_free(struct speech *s)
{
	close(s->wake);
	close(s->news);
	pthread_cond_destroy(&s->quiet);
	pthread_mutex_destroy(&s->mutex);
	free(s);
}

/* ---- who speaks, on the thread ---- */

/* Who was given an utterance. */
static void speaker_is(struct speech *s, enum speaker_kind kind)
{
	pthread_mutex_lock(&s->mutex);
	s->kind = kind;
	pthread_mutex_unlock(&s->mutex);
}

/* Was one said to its end, or could nobody say it?  What changed is told, once. */
static void speaker_works(struct speech *s, bool works, const char *why)
{
	pthread_mutex_lock(&s->mutex);
	if (s->nobody == works || !s->ready)
		ring(s->news);
	s->ready = true;
	if (!works && !s->nobody)
		snprintf(s->note, sizeof s->note, "no speech: %.200s; all that is said is on the screen, "
		         "too", why);
	if (works && s->nobody)
		snprintf(s->note, sizeof s->note, "speech is there again");
	if (!works)
		s->kind = SPEAKER_NOBODY;
	s->nobody = !works;
	pthread_mutex_unlock(&s->mutex);
}

static bool lately(int64_t failed)
{
	return failed && clock_us() - failed < SPEECH_RETRY_MS * INT64_C(1000);
}

/* Begin to say s->now with whoever can. */
static bool begin_ssip(struct speech *s, struct fault *why)
{
	if (s->ssip.fd < 0 && lately(s->ssip_failed)) {
		fault_set(why, "speech-dispatcher does not answer");
		return false;
	}
	bool good = false;
	/* A connection that was closed is opened once more; a server that hangs is left. */
	int64_t from = clock_us();
	for (int try = 0; try < 2 && !good && clock_us() - from < 1000000; try++) {
		good = (s->ssip.fd >= 0 || ssip_open(&s->ssip, &s->setting.speaker, why)) &&
		       ssip_say(&s->ssip, s->now.text, s->now.rank == TURN_ALARM, why);
		if (!good)
			ssip_close(&s->ssip);
	}
	s->ssip_failed = good ? 0 : clock_us();
	return good;
}

static bool begin_any(struct speech *s, struct fault *why)
{
	enum speech_use use = s->setting.use;
	struct fault first;
	fault_set(&first, "speech is switched off in the settings");
	*why = first;
	if ((use == SPEECH_AUTO || use == SPEECH_DISPATCHER) && begin_ssip(s, &first)) {
		speaker_is(s, SPEAKER_SSIP);
		return true;
	}
	bool espeak = use == SPEECH_AUTO || use == SPEECH_ESPEAK;
	if (espeak && espeak_say(&s->espeak, &s->setting.speaker, s->now.text, why)) {
		speaker_is(s, SPEAKER_ESPEAK);
		return true;
	}
	if (use == SPEECH_DISPATCHER)
		*why = first;
	if (use == SPEECH_AUTO)
		fault_set(why, "%.120s, and %.100s", first.text, why->text);
	return false;
}

/* Before anything is to be said: is there somebody?  So that the first name is not late,
 * and speech_speaks has its answer. */
static void probe(struct speech *s)
{
	enum speech_use use = s->setting.use;
	struct fault first, why;
	char program[PATH_MAX];
	bool good = false;
	fault_set(&why, "espeak-ng is not on PATH");
	if (use == SPEECH_NONE)
		return;
	if (use == SPEECH_AUTO || use == SPEECH_DISPATCHER) {
		good = ssip_open(&s->ssip, &s->setting.speaker, &first);
		s->ssip_failed = good ? 0 : clock_us();
		if (!good && use == SPEECH_AUTO)
			fault_set(&why, "%.160s, and espeak-ng is not on PATH", first.text);
		else if (!good)
			why = first;
	}
	if (!good && use != SPEECH_DISPATCHER)
		good = spawn_find("espeak-ng", program);
	speaker_works(s, good, good ? "" : why.text);
}

static void begin(struct speech *s)
{
	struct fault why;
	s->held = false;
	if (lately(s->failed) && s->now.rank != TURN_ALARM) {
		s->speaking = false;
		return;
	}
	s->speaking = begin_any(s, &why);
	s->failed = s->speaking ? 0 : clock_us();
	if (!s->speaking)
		speaker_works(s, false, why.text);
	int64_t letters = (int64_t)strlen(s->now.text);
	s->until = clock_us() + (BEGIN_MS + letters * LETTER_MS) * 1000;
}

static enum spoken look(struct speech *s)
{
	if (clock_us() > s->until)
		return SPOKEN_LOST;
	return s->kind == SPEAKER_SSIP ? ssip_poll(&s->ssip) : espeak_poll(&s->espeak);
}

static void silence(struct speech *s)
{
	if (s->speaking && s->kind == SPEAKER_SSIP && !ssip_stop(&s->ssip)) {
		ssip_close(&s->ssip);
		s->ssip_failed = clock_us();
	}
	espeak_stop(&s->espeak);
	s->speaking = s->held = false;
}

/* ---- the turns, on the thread ---- */

static void was_said(struct speech *s)
{
	pthread_mutex_lock(&s->mutex);
	s->said++;
	if (s->now.position[0]) {
		if (s->announces == ANNOUNCED_MAX)
			memmove(&s->announced[0], &s->announced[1],
			        (size_t)--s->announces * sizeof s->announced[0]);
		struct announced *a = &s->announced[s->announces++];
		memcpy(a->position, s->now.position, sizeof a->position);
		a->seq = s->now.seq;
		ring(s->news);
	}
	pthread_mutex_unlock(&s->mutex);
}

/* What is spoken has come to its end, or is lost. */
static void after_look(struct speech *s, enum spoken how)
{
	if (how == SPOKEN_GOING)
		return;
	s->speaking = false;
	if (how == SPOKEN_ENDED) {
		speaker_works(s, true, "");
		was_said(s);
		return;
	}
	/* The speaker failed: once more, with another connection or the other speaker. */
	struct fault why;
	fault_set(&why, "%s failed (has it an audio device?)",
	          s->kind == SPEAKER_SSIP ? "speech-dispatcher" : "espeak-ng");
	if (s->kind == SPEAKER_SSIP) {
		/* Hung rather than gone: the other speaker has its turn for a while. */
		if (s->ssip.fd >= 0 && clock_us() > s->until)
			s->ssip_failed = clock_us();
		ssip_close(&s->ssip);
	}
	espeak_stop(&s->espeak);
	if (!s->again) {
		s->again = true;
		begin(s);
		return;
	}
	s->failed = clock_us();
	speaker_works(s, false, why.text);
}

/* Should what is spoken end now?  What an alarm cuts off comes back after it. */
static bool cut_off(struct speech *s)
{
	pthread_mutex_lock(&s->mutex);
	bool cut = s->stop || s->mute || turn_cuts(&s->turn, s->now.rank);
	if (cut && !s->stop && !s->mute && s->turn.alarms)
		turn_return(&s->turn, &s->now);
	pthread_mutex_unlock(&s->mutex);
	return cut;
}

/* The next one into s->now; false where nothing waits. */
static bool next(struct speech *s)
{
	pthread_mutex_lock(&s->mutex);
	bool got = !s->stop && turn_next(&s->turn, clock_us(), SPEECH_LATE_MS * INT64_C(1000), &s->now);
	s->busy = got;
	if (!got)
		pthread_cond_broadcast(&s->quiet);
	pthread_mutex_unlock(&s->mutex);
	return got;
}

static bool stopped(struct speech *s)
{
	pthread_mutex_lock(&s->mutex);
	bool stop = s->stop;
	pthread_mutex_unlock(&s->mutex);
	return stop;
}

/* When the tone of what is held has ended, and every other. */
static int64_t due(struct speech *s)
{
	pthread_mutex_lock(&s->mutex);
	int64_t own = s->now.at + s->now.wait_ms * INT64_C(1000);
	int64_t when = own > s->quiet_until ? own : s->quiet_until;
	pthread_mutex_unlock(&s->mutex);
	return when;
}

static int ms_until(int64_t us)
{
	int64_t left = us - clock_us();
	return left <= 0 ? 0 : (int)(left / 1000) + 1;
}

/* Until something was pushed, something came from the server, or a child may have
 * ended. */
static void wait_news(struct speech *s)
{
	struct pollfd p[2] = {{.fd = s->wake, .events = POLLIN}, {.fd = -1, .events = POLLIN}};
	int ms = -1;
	if (s->held) {
		ms = ms_until(due(s));
	} else if (s->speaking && s->kind == SPEAKER_SSIP) {
		p[1].fd = s->ssip.fd;
		ms = ms_until(s->until);
	} else if (s->speaking) {
		ms = LOOK_MS;
	}
	poll(p, 2, ms);
	if (p[0].revents)
		hush(s->wake);
}

static void *run(void *arg)
{
	struct speech *s = arg;
	sigset_t pipe;
	sigemptyset(&pipe);
	sigaddset(&pipe, SIGPIPE);
	pthread_sigmask(SIG_BLOCK, &pipe, NULL);
	probe(s);
	while (!stopped(s)) {
		if ((s->speaking || s->held) && cut_off(s))
			silence(s);
		else if (s->speaking)
			after_look(s, look(s));
		if (s->held && clock_us() >= due(s))
			begin(s);
		if (!s->speaking && !s->held && next(s)) {
			s->again = false;
			s->held = true;
			continue;
		}
		wait_news(s);
	}
	silence(s);
	ssip_close(&s->ssip);
	pthread_mutex_lock(&s->mutex);
	bool last = --s->users == 0;
	s->busy = false;
	pthread_cond_broadcast(&s->quiet);
	pthread_mutex_unlock(&s->mutex);
	if (last)
		speech_free(s);
	return NULL;
}

/* ---- for the client ---- */

bool speech_use_from_name(const char *name, enum speech_use *out)
{
	static const char *const names[] = {"auto", "none", "speech-dispatcher", "espeak-ng"};
	for (int i = 0; i < 4; i++)
		if (name && strcmp(name, names[i]) == 0) {
			*out = (enum speech_use)i;
			return true;
		}
	return false;
}

struct speech *speech_open(const struct speech_setting *setting)
{
	struct speech *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	s->setting = *setting;
	s->mute = setting->mute;
	s->ssip.fd = -1;
	s->wake = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	s->news = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	s->users = 2;
	pthread_mutex_init(&s->mutex, NULL);
	clock_condition(&s->quiet);
	if (s->wake >= 0 && s->news >= 0 && pthread_create(&s->thread, NULL, run, s) == 0)
		return s;
	speech_free(s);
	return NULL;
}

void speech_say(struct speech *s, const struct turn_item *item)
{
	if (!s || !item->text[0])
		return;
	pthread_mutex_lock(&s->mutex);
	if (!s->mute && s->setting.use != SPEECH_NONE) {
		struct turn_item mine = *item;
		mine.at = clock_us();
		turn_push(&s->turn, &mine);
		ring(s->wake);
	}
	pthread_mutex_unlock(&s->mutex);
}

void speech_hold(struct speech *s, int64_t until)
{
	if (!s)
		return;
	pthread_mutex_lock(&s->mutex);
	if (until > s->quiet_until)
		s->quiet_until = until;
	pthread_mutex_unlock(&s->mutex);
}

void speech_mute(struct speech *s, bool mute)
{
	if (!s)
		return;
	pthread_mutex_lock(&s->mutex);
	if (s->mute != mute)
		ring(s->news);
	s->mute = mute;
	if (mute)
		turn_clear(&s->turn);
	ring(s->wake);
	pthread_mutex_unlock(&s->mutex);
}

bool speech_idle(struct speech *s, int ms)
{
	if (!s)
		return true;
	struct timespec until = clock_after(ms);
	pthread_mutex_lock(&s->mutex);
	while (s->busy || !turn_empty(&s->turn))
		if (pthread_cond_timedwait(&s->quiet, &s->mutex, &until) != 0)
			break;
	bool idle = !s->busy && turn_empty(&s->turn);
	pthread_mutex_unlock(&s->mutex);
	return idle;
}

bool speech_speaks(struct speech *s)
{
	if (!s)
		return false;
	pthread_mutex_lock(&s->mutex);
	bool speaks = s->ready && !s->mute && !s->nobody && s->setting.use != SPEECH_NONE;
	pthread_mutex_unlock(&s->mutex);
	return speaks;
}

const char *speech_who(struct speech *s)
{
	static const char *const who[] = {"", "speech-dispatcher", "espeak-ng"};
	if (!s)
		return "";
	pthread_mutex_lock(&s->mutex);
	enum speaker_kind kind = s->kind;
	pthread_mutex_unlock(&s->mutex);
	return who[kind];
}

unsigned speech_said(struct speech *s)
{
	if (!s)
		return 0;
	pthread_mutex_lock(&s->mutex);
	unsigned said = s->said;
	pthread_mutex_unlock(&s->mutex);
	return said;
}

int speech_fd(const struct speech *s)
{
	return s ? s->news : -1;
}

/* The bell is hushed when there is nothing left to fetch. */
static void fetched(struct speech *s)
{
	if (!s->announces && !s->note[0])
		hush(s->news);
}

bool speech_announced(struct speech *s, char position[40], int64_t *seq)
{
	if (!s)
		return false;
	pthread_mutex_lock(&s->mutex);
	bool got = s->announces > 0;
	if (got) {
		memcpy(position, s->announced[0].position, sizeof s->announced[0].position);
		*seq = s->announced[0].seq;
		memmove(&s->announced[0], &s->announced[1],
		        (size_t)--s->announces * sizeof s->announced[0]);
	}
	fetched(s);
	pthread_mutex_unlock(&s->mutex);
	return got;
}

bool speech_note(struct speech *s, char *out, size_t size)
{
	if (!s)
		return false;
	pthread_mutex_lock(&s->mutex);
	bool got = s->note[0] != '\0';
	if (got)
		snprintf(out, size, "%s", s->note);
	s->note[0] = '\0';
	fetched(s);
	pthread_mutex_unlock(&s->mutex);
	return got;
}

void speech_close(struct speech *s)
{
	if (!s)
		return;
	pthread_t thread = s->thread;
	pthread_mutex_lock(&s->mutex);
	s->stop = true;
	ring(s->wake);
	struct timespec until = clock_after(1000);
	while (s->users > 1)
		if (pthread_cond_timedwait(&s->quiet, &s->mutex, &until) != 0)
			break;
	bool last = --s->users == 0;
	pthread_mutex_unlock(&s->mutex);
	if (!last) {
		pthread_detach(thread);
		return;
	}
	pthread_join(thread, NULL);
	speech_free(s);
}
