/* SPDX-License-Identifier: MIT */
/*
 * `tally bench`: the loop of the screen, and of its plain sister.
 *
 * One loop, one thread: the connection, the keys, the signals and the clock all come in
 * as callbacks; the picture is drawn at most 20 times a second, and only where
 * something changed.  Sound, speech and foot switch join here (senses.h): they listen to
 * happenings and ask for deeds.
 */
#include "client/command_calls.h"

#include "client/screen.h"
#include "client/senses.h"
#include "client/sitting.h"
#include "client/view_bench.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define DRAW_MS 50
/* Without news the clock alone changes the picture: messages and values grow old. */
#define TICK_MS 500
#define VOLUME_STEP 10
#define SIGNALS 7
#define LINE_MAX_BYTES 1024

struct bench_loop {
	struct client *client;
	uv_loop_t loop;
	struct sitting sitting;
	struct senses senses;
	struct keys keys;
	struct style style;
	bool plain, dirty, ending, read_ended;
	uv_poll_t input;
	uv_timer_t draw, tick, escape;
	uv_signal_t signals[SIGNALS];
	int signals_on;
	int ended_by; /* the signal that ended it, 0 */
	int64_t noted; /* of the scene's notes: printed so far */
	int ready;     /* --plain: what stands before the power, as it was printed last */
	char line[LINE_MAX_BYTES]; /* what is typed in --plain */
	size_t line_len;
	bool line_long;
	enum action to_confirm; /* --plain: live or cold, until the next line says yes */
};

/* ---- ending ---- */

static void close_one(uv_handle_t *handle, void *arg)
{
	(void)arg;
	if (!uv_is_closing(handle))
		uv_close(handle, NULL);
}

static void end(struct bench_loop *b)
{
	b->ending = true;
	uv_stop(&b->loop);
}

static void on_quit(void *arg)
{
	end(arg);
}

/* ---- the picture ---- */

static void show(struct bench_loop *b)
{
	struct bench_view view = {.scene = b->sitting.scene, .keys = &b->keys, .style = &b->style,
	                          .now = sitting_now(&b->sitting)};
	struct picture picture;
	int width, height;
	b->dirty = false;
	screen_size(&width, &height);
	if (!picture_begin(&picture, width, height))
		return;
	view_bench_screen(&view, &picture);
	screen_draw(&picture);
	picture_end(&picture);
}

static void on_draw(uv_timer_t *timer)
{
	struct bench_loop *b = timer->data;
	if (b->dirty && !b->ending)
		show(b);
}

static void draw_soon(struct bench_loop *b)
{
	b->dirty = true;
	if (!b->plain && !uv_is_active((uv_handle_t *)&b->draw))
		uv_timer_start(&b->draw, on_draw, DRAW_MS, 0);
}

static void on_tick(uv_timer_t *timer)
{
	draw_soon(timer->data);
}

/* ---- lines ---- */

static void print(struct bench_loop *b, struct lines *out)
{
	bool gone;
	client_lines(b->client, out);
	if (!client_flush(b->client, &gone))
		end(b);
}

/* What is said and was not told besides, a line each. */
static void print_notes(struct bench_loop *b)
{
	const struct scene *s = b->sitting.scene;
	int64_t fresh = s->noted - b->noted;
	struct lines out = {0};
	b->noted = s->noted;
	if (fresh > s->note_count)
		fresh = s->note_count;
	for (int64_t i = fresh; i > 0; i--) {
		const struct scene_note *n = scene_note(s, (int)i - 1);
		if (n && !n->told)
			lines_printf(&out, "%s\n", n->text);
	}
	if (b->ready != s->ready_asked)
		lines_puts(&out, s->ready);
	b->ready = s->ready_asked;
	if (out.len)
		print(b, &out);
	lines_free(&out);
}

static void print_told(void *arg, const struct happening_told *told)
{
	struct bench_loop *b = arg;
	struct lines out = {0};
	view_bench_told(&b->style, told, &out);
	print(b, &out);
}

static void on_changed(void *arg)
{
	struct bench_loop *b = arg;
	senses_ear(&b->senses);
	if (b->plain)
		print_notes(b);
	else
		draw_soon(b);
}

/* ---- deeds, by key, word or foot ---- */

static void do_deed(void *arg, const struct deed *deed)
{
	struct bench_loop *b = arg;
	if (b->ending)
		return;
	if (deed->action == ACTION_MUTE)
		senses_mute(&b->senses);
	else if (deed->action == ACTION_LOUDER || deed->action == ACTION_QUIETER)
		senses_volume(&b->senses, deed->action == ACTION_LOUDER ? VOLUME_STEP : -VOLUME_STEP);
	else if (deed->action == ACTION_SOUNDS)
		senses_check(&b->senses);
	else if (deed->action != ACTION_SAY || !senses_say_again(&b->senses))
		sitting_do(&b->sitting, deed);
}

/* ---- keys ---- */

static void act(struct bench_loop *b, int key)
{
	struct deed deed;
	struct scene *s = b->sitting.scene;
	/* What stands over the lists goes with the first key, which does nothing else;
	 * but nobody is kept from taking a reading. */
	if (s->caution && b->keys.mode == KEYS_ACT) {
		s->caution = false;
		if (key != action_table[ACTION_TAKE].key)
			return;
	}
	s->not_logged = false; /* seen */
	struct keys_guide guide = sitting_guide(&b->sitting);
	if (keys_press(&b->keys, key, &guide, &deed))
		do_deed(b, &deed);
}

static void on_keys(uv_poll_t *poll, int status, int events)
{
	struct bench_loop *b = poll->data;
	int key, count = 0;
	(void)events;
	if (status < 0) { /* the terminal is gone */
		end(b);
		return;
	}
	while (!b->ending && (key = screen_key()) != SCREEN_NO_KEY) {
		count++;
		if (key == SCREEN_REDRAW)
			screen_refresh();
		else
			act(b, key);
	}
	/* Readable, and nothing to read: its other end is closed. */
	char byte;
	if (!count && read(STDIN_FILENO, &byte, 0) < 0 && errno != EAGAIN && errno != EINTR)
		end(b);
	draw_soon(b);
}

/* ---- words ---- */

/* Cold and live are asked for twice, with the cautions between. */
static void caution(struct bench_loop *b, enum action action, struct lines *out)
{
	b->to_confirm = action;
	if (action == ACTION_LIVE)
		lines_puts(out, "live valve equipment kills: mains isolated, reservoirs discharged and measured "
		           "before touching; one hand, rated probes, never alone. yes makes it LIVE\n");
	else
		lines_puts(out, "only when it is isolated from the mains and discharged: every reservoir is "
		           "measured dead then, and again after a minute, and only after that it is cold; one "
		           "hand, rated probes, never alone. yes begins that\n");
}

static void do_line(struct bench_loop *b)
{
	enum action confirmed = b->to_confirm;
	b->to_confirm = ACTION_NONE;
	struct deed deed = {.action = ACTION_NONE};
	struct lines out = {0};
	char why[200];
	b->line[b->line_len] = '\0';
	if (b->line_long)
		lines_printf(&out, "a line has at most %d bytes: not done\n", LINE_MAX_BYTES - 1);
	else if (confirmed && strcmp(b->line, "yes") == 0)
		do_deed(b, &(struct deed){.action = confirmed});
	else if (!keys_line(b->line, &deed, why, sizeof why))
		lines_printf(&out, "%s\n", why);
	else if (deed.action == ACTION_HELP)
		view_bench_words(&out);
	else if (deed.action == ACTION_SHEET)
		view_bench_sheet_lines(&b->style, b->sitting.scene, &out);
	else if (deed.action == ACTION_STATUS)
		view_bench_status(&b->style, b->sitting.scene, sitting_now(&b->sitting), &out);
	else if (deed.action == ACTION_LIVE || deed.action == ACTION_COLD)
		caution(b, deed.action, &out);
	else
		do_deed(b, &deed);
	b->line_len = 0;
	b->line_long = false;
	if (out.len)
		print(b, &out);
	lines_free(&out);
}

static void read_bytes(struct bench_loop *b, const char *bytes, size_t len)
{
	for (size_t i = 0; i < len && !b->ending; i++) {
		if (bytes[i] == '\n')
			do_line(b);
		else if (b->line_len + 1 < sizeof b->line)
			b->line[b->line_len++] = bytes[i] ? bytes[i] : ' ';
		else
			b->line_long = true;
	}
}

static void on_words(uv_poll_t *poll, int status, int events)
{
	struct bench_loop *b = poll->data;
	char bytes[4096];
	(void)events;
	ssize_t n = status < 0 ? 0 : read(STDIN_FILENO, bytes, sizeof bytes);
	if (n < 0 && (errno == EAGAIN || errno == EINTR))
		return;
	if (n > 0) {
		read_bytes(b, bytes, (size_t)n);
		return;
	}
	/* Ctrl-D of a person is the wish to leave; a pipe that ended has no more words. */
	uv_poll_stop(poll);
	if (isatty(STDIN_FILENO))
		end(b);
}

/* A file cannot be waited for: it is read at once, when the connection is there. */
static void read_file(struct bench_loop *b)
{
	char bytes[4096];
	ssize_t n;
	b->read_ended = true;
	while (!b->ending && (n = read(STDIN_FILENO, bytes, sizeof bytes)) > 0)
		read_bytes(b, bytes, (size_t)n);
}

static void on_file(uv_timer_t *timer)
{
	struct bench_loop *b = timer->data;
	if (b->sitting.scene->connected)
		read_file(b);
	else
		uv_timer_start(timer, on_file, DRAW_MS, 0);
}

/* ---- signals ---- */

static void on_signal(uv_signal_t *handle, int number)
{
	struct bench_loop *b = handle->data;
	if (number == SIGWINCH) {
		draw_soon(b);
	} else if (number == SIGTSTP) {
		if (b->plain)
			screen_stop();
		else
			screen_suspend();
		draw_soon(b);
	} else if (number == SIGCONT) {
		if (!b->plain)
			screen_refresh();
		draw_soon(b);
	} else if (number == SIGINT && !b->plain && b->keys.mode != KEYS_ACT) {
		b->keys.mode = KEYS_ACT; /* Ctrl-C leaves the line, as in a shell */
		draw_soon(b);
	} else {
		b->ended_by = number;
		end(b);
	}
}

static void watch_signals(struct bench_loop *b)
{
	static const int numbers[SIGNALS] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGWINCH, SIGTSTP,
	                                     SIGCONT};
	for (int i = 0; i < SIGNALS; i++) {
		uv_signal_init(&b->loop, &b->signals[i]);
		b->signals[i].data = b;
		uv_signal_start(&b->signals[i], on_signal, numbers[i]);
	}
}

/* ---- a run ---- */

static bool bench_open(struct bench_loop *b)
{
	if (!sitting_begin(&b->sitting, client_socket(b->client), &b->style))
		return false;
	uv_timer_init(&b->loop, &b->draw);
	uv_timer_init(&b->loop, &b->tick);
	b->draw.data = b->tick.data = b;
	/* The loop makes it non-blocking, and with it the whole terminal, for the shell
	 * too.  Only what is readable is read here, so that is not needed. */
	int flags = fcntl(STDIN_FILENO, F_GETFL);
	bool waits = uv_poll_init(&b->loop, &b->input, STDIN_FILENO) == 0;
	if (flags >= 0)
		fcntl(STDIN_FILENO, F_SETFL, flags);
	b->input.data = b;
	if (waits)
		uv_poll_start(&b->input, UV_READABLE | UV_DISCONNECT, b->plain ? on_words : on_keys);
	else if (b->plain)
		uv_timer_start(&b->draw, on_file, DRAW_MS, 0);
	if (!b->plain)
		uv_timer_start(&b->tick, on_tick, 0, TICK_MS);
	senses_begin(&b->senses);
	return waits || b->plain;
}

static enum outcome run(struct bench_loop *b)
{
	bool opened, good = false;
	char why[300];
	if (uv_loop_init(&b->loop) != 0)
		return client_wrong(b->client, "out of memory");
	/* Before the screen is: curses leaves alone what somebody else listens to.  Of a
	 * SIGTSTP that it keeps itself, one in ten is lost, for it ignores them while it
	 * draws. */
	watch_signals(b);
	opened = b->plain || screen_open(&b->style, why, sizeof why);
	if (opened)
		good = bench_open(b);
	if (good)
		uv_run(&b->loop, UV_RUN_DEFAULT);
	senses_end(&b->senses);
	sitting_end(&b->sitting);
	uv_walk(&b->loop, close_one, NULL);
	uv_run(&b->loop, UV_RUN_DEFAULT);
	uv_loop_close(&b->loop);
	sitting_free(&b->sitting);
	if (!opened)
		return client_wrong(b->client, "%s", why);
	return good ? OUTCOME_DONE : OUTCOME_WRONG;
}

/* Who listens, before anything can happen. */
static void listen_all(struct bench_loop *b)
{
	b->sitting = (struct sitting){.loop = &b->loop, .changed = on_changed, .quit = on_quit,
	                              .arg = b};
	if (b->plain)
		happening_listen(&b->sitting.listeners, (struct happening_listener){print_told, b});
	b->senses = (struct senses){.sitting = &b->sitting, .words = !b->plain, .act = do_deed,
	                            .arg = b};
	senses_listen(&b->senses);
	b->style.colour = senses_colour(&b->senses, b->style.colour);
}

enum outcome call_bench(struct client *c)
{
	enum outcome outcome;
	struct bench_loop *b;
	if (client_has(c, OPTION_JSON))
		return client_wrong(c, "the screen has no JSON; `tally --json watch` is for programs");
	/* Not there at the start is not the same as gone for a while. */
	if (!client_open(c, NULL, &outcome))
		return outcome;
	link_close(c->link);
	c->link = NULL;
	b = calloc(1, sizeof *b);
	if (!b)
		return client_wrong(c, "out of memory");
	b->client = c;
	b->style = c->style;
	b->plain = c->style.plain;
	listen_all(b);
	outcome = run(b);
	if (!b->plain)
		screen_close();
	senses_free(&b->senses); /* may take a second, where a device hangs */
	free(b);
	return outcome;
}
