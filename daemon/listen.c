/* SPDX-License-Identifier: MIT */
/* See listen.h. */
#include "daemon/listen.h"

#include "daemon/port.h"
#include "protocol/record/recording.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

struct listening {
	uv_loop_t loop;
	uv_timer_t end;
	uv_signal_t term, interrupt;
	struct port *port;
	uint64_t began; /* uv_hrtime of the opening */
	int status;
};

static int refuse(const struct fault *why)
{
	char text[700];
	fault_text(why, text, sizeof text);
	fprintf(stderr, "tallyd --listen: %s\n", text);
	return 2;
}

/* The words after speed and frame. */
static bool read_word(const char *word, struct line_settings *out)
{
	static const struct {
		const char *word;
		enum flow flow;
		enum wire_state dtr, rts;
	} words[] = {
	    {"hardware", FLOW_HARDWARE, WIRE_LEAVE, WIRE_LEAVE},
	    {"software", FLOW_SOFTWARE, WIRE_LEAVE, WIRE_LEAVE},
	    {"dtr=on", FLOW_NONE, WIRE_ON, WIRE_LEAVE},   {"dtr=off", FLOW_NONE, WIRE_OFF, WIRE_LEAVE},
	    {"rts=on", FLOW_NONE, WIRE_LEAVE, WIRE_ON},   {"rts=off", FLOW_NONE, WIRE_LEAVE, WIRE_OFF},
	};
	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		if (strcmp(word, words[i].word) != 0)
			continue;
		if (words[i].flow != FLOW_NONE)
			out->flow = words[i].flow;
		if (words[i].dtr != WIRE_LEAVE)
			out->dtr = words[i].dtr;
		if (words[i].rts != WIRE_LEAVE)
			out->rts = words[i].rts;
		return true;
	}
	return false;
}

static bool read_settings(const char *text, struct line_settings *out, struct fault *why)
{
	char speed[32] = "", frame[32] = "", word[4][16] = {"", "", "", ""}, both[80];
	sscanf(text, "%31s %31s %15s %15s %15s %15s", speed, frame, word[0], word[1], word[2], word[3]);
	snprintf(both, sizeof both, "%s %s", speed, frame);
	memset(out, 0, sizeof *out);
	if (!line_settings_parse(both, strlen(both), out, why))
		return false;
	for (int i = 0; i < 4 && word[i][0]; i++)
		if (!read_word(word[i], out)) {
			fault_set(why, "what is \"%s\"? hardware, software, dtr=on, dtr=off, rts=on or rts=off "
			          "may follow the speed", word[i]);
			return false;
		}
	return true;
}

static void finish(struct listening *l, int status)
{
	if (!l->port)
		return;
	l->status = status;
	port_close(l->port, NULL, NULL);
	l->port = NULL;
	uv_close((uv_handle_t *)&l->end, NULL);
	uv_close((uv_handle_t *)&l->term, NULL);
	uv_close((uv_handle_t *)&l->interrupt, NULL);
}

static void put(struct listening *l, const char *bytes, size_t len)
{
	static char line[RECORDING_LINE_MAX];
	int64_t t = (int64_t)((uv_hrtime() - l->began) / 1000);
	size_t n = recording_write_bytes(t, "line", bytes, len, line, sizeof line);
	if (fwrite(line, 1, n, stdout) != n || fflush(stdout) != 0)
		finish(l, 0); /* whoever read it has seen enough */
}

static void on_opened(void *arg)
{
	struct listening *l = arg;
	l->began = uv_hrtime();
}

static void on_bytes(void *arg, const char *bytes, size_t len)
{
	put(arg, bytes, len);
}

static void on_bad_byte(void *arg)
{
	put(arg, "\xff", 1);
}

static void on_gone(void *arg, const char *cause)
{
	struct listening *l = arg;
	fprintf(stderr, "tallyd --listen: the line went away: %s\n", cause);
	finish(l, 0);
}

static void on_failed(void *arg, const struct fault *why)
{
	finish(arg, refuse(why));
}

static void on_end(uv_timer_t *timer)
{
	finish(timer->data, 0);
}

static void on_signal(uv_signal_t *handle, int number)
{
	(void)number;
	finish(handle->data, 0);
}

int listen_run(const char *port, const char *settings)
{
	struct fault why = {.text = ""};
	struct listening l = {.status = 2};
	struct port_options options = {.opened = on_opened, .bytes = on_bytes, .bad_byte = on_bad_byte,
	                               .gone = on_gone, .failed = on_failed, .arg = &l};
	if (!place_parse(port, strlen(port), &options.place, &why) ||
	    !read_settings(settings ? settings : "9600 8N1", &options.line, &why))
		return refuse(&why);
	signal(SIGPIPE, SIG_IGN);
	uv_loop_init(&l.loop);
	l.end.data = l.term.data = l.interrupt.data = &l;
	l.began = uv_hrtime();
	printf("%s\n", RECORDING_HEADER);
	fflush(stdout);
	l.port = port_open(&l.loop, &options, &why);
	if (!l.port) {
		uv_loop_close(&l.loop);
		return refuse(&why);
	}
	uv_timer_init(&l.loop, &l.end);
	uv_timer_start(&l.end, on_end, LISTEN_SECONDS * 1000, 0);
	uv_signal_init(&l.loop, &l.term);
	uv_signal_init(&l.loop, &l.interrupt);
	uv_signal_start(&l.term, on_signal, SIGTERM);
	uv_signal_start(&l.interrupt, on_signal, SIGINT);
	uv_run(&l.loop, UV_RUN_DEFAULT);
	uv_loop_close(&l.loop);
	return l.status;
}
