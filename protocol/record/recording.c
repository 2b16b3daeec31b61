/* SPDX-License-Identifier: MIT */
/*
 * Reading and writing recordings, a line at a time: see recording.h.
 */
#include "protocol/record/recording.h"

#include "protocol/file/escape.h"
#include "protocol/file/utf8.h"
#include "protocol/trade/ascii.h"
#include "protocol/trade/position.h"

#include <stdio.h>
#include <string.h>

#define SECONDS_DIGITS_MAX 9
#define TIME_MAX (INT64_C(1000000000) * 1000000 - 1)

/* A line at work. */
struct walk {
	struct recording_reader *r;
	const char *line;
	size_t len, at;
	struct fault *why;
};

static bool refuse(struct walk *w, size_t at, const char *what)
{
	fault_at(w->why, w->r->file, w->r->line, (int)at + 1, "%s", what);
	return false;
}

static void skip_blank(struct walk *w)
{
	while (w->at < w->len && ascii_blank(w->line[w->at]))
		w->at++;
}

void recording_begin(struct recording_reader *r, const char *file)
{
	*r = (struct recording_reader){.file = file};
}

static bool read_header(struct walk *w)
{
	static const char header[] = RECORDING_HEADER;
	if (w->len >= 3 && memcmp(w->line, "\xef\xbb\xbf", 3) == 0) {
		w->line += 3;
		w->len -= 3;
	}
	size_t end = w->len, same = 0;
	while (end && ascii_blank(w->line[end - 1]))
		end--;
	while (same < end && same < sizeof header - 1 && w->line[same] == header[same])
		same++;
	if (same == end && same == sizeof header - 1)
		return true;
	return refuse(w, same, "not a recording of this format: the first line must be "
	                       "\"" RECORDING_HEADER "\"");
}

static bool read_time(struct walk *w, int64_t *t)
{
	size_t from = w->at;
	int64_t seconds = 0, micro = 0;
	while (w->at < w->len && ascii_digit(w->line[w->at])) {
		if (w->at - from == SECONDS_DIGITS_MAX)
			return refuse(w, from, "the time is too large: at most 999999999 seconds");
		seconds = seconds * 10 + (w->line[w->at++] - '0');
	}
	if (w->at == from)
		return refuse(w, from, "expected the time in seconds, such as 12.250000");
	if (w->at < w->len && w->line[w->at] == '.') {
		size_t first = ++w->at;
		int64_t weight = 100000;
		for (; w->at < w->len && ascii_digit(w->line[w->at]); w->at++, weight /= 10) {
			if (w->at - first == 6)
				return refuse(w, w->at, "a time has at most six decimals");
			micro += (w->line[w->at] - '0') * weight;
		}
		if (w->at == first)
			return refuse(w, w->at, "expected decimals after the point of the time");
	}
	if (w->at == w->len || !ascii_blank(w->line[w->at]))
		return refuse(w, w->at, "expected a space after the time, then a meter or an @act");
	*t = seconds * 1000000 + micro;
	if (*t < w->r->t)
		return refuse(w, from, "the time lies before that of an earlier line: lines are in "
		                       "order of time");
	return true;
}

/* One byte between the quotes. */
static bool read_byte(struct walk *w, char *out)
{
	unsigned char c = (unsigned char)w->line[w->at];
	size_t step = escape_read(w->line + w->at, w->len - w->at, out);
	if (!step && (c < 0x20 || c > 0x7e))
		return refuse(w, w->at, "a byte outside 20-7E: write it as \\xHH");
	if (!step)
		return refuse(w, w->at, "expected " ESCAPE_EXPECTED);
	w->at += step;
	return true;
}

static bool read_bytes(struct walk *w, struct recording_line *out)
{
	size_t from = w->at;
	while (w->at < w->len && !ascii_blank(w->line[w->at]) && w->line[w->at] != '"')
		w->at++;
	if (!name_valid(w->line + from, w->at - from))
		return refuse(w, from, "expected the name of a meter (letters, digits, . _ / -, at most "
		                       "32) or an @act");
	memcpy(out->meter, w->line + from, w->at - from);
	out->meter[w->at - from] = '\0';
	skip_blank(w);
	if (w->at == w->len || w->line[w->at] != '"')
		return refuse(w, w->at, "expected the bytes of the meter in double quotes");
	size_t open = w->at++;
	while (w->at < w->len && w->line[w->at] != '"') {
		if (out->len == RECORDING_BYTES_MAX)
			return refuse(w, w->at, "more than 4096 bytes in one line: part them into several");
		if (!read_byte(w, &out->bytes[out->len++]))
			return false;
	}
	if (w->at == w->len)
		return refuse(w, open, "this quote is not closed");
	w->at++;
	skip_blank(w);
	if (w->at < w->len)
		return refuse(w, w->at, "something stands after the closing quote");
	out->what = RECORDING_BYTES;
	return true;
}

static bool read_act(struct walk *w, struct recording_line *out)
{
	size_t at = w->at++, n = 0;
	while (w->at < w->len && !ascii_blank(w->line[w->at])) {
		char c = w->line[w->at];
		if (!((c >= 'a' && c <= 'z') || (c == '-' && n)) || n == sizeof out->act - 1)
			return refuse(w, w->at, "expected the word of an act in small letters, such as @at");
		out->act[n++] = c;
		w->at++;
	}
	out->act[n] = '\0';
	if (!n)
		return refuse(w, at, "expected the word of an act after the @, such as @at");
	skip_blank(w);
	size_t end = w->len;
	while (end > w->at && ascii_blank(w->line[end - 1]))
		end--;
	out->rest_column = (int)w->at + 1;
	for (size_t i = w->at, step; i < end; i += step) {
		unsigned char c = (unsigned char)w->line[i];
		step = utf8_length(w->line + i, end - i);
		if (!step || (c < 0x20 && c != '\t') || c == 0x7f)
			return refuse(w, i, step ? "a control character: expected text"
			                         : "not UTF-8: save the file as UTF-8");
		if (i + step - w->at >= sizeof out->rest)
			return refuse(w, i, "too long: at most 511 bytes follow an act");
	}
	memcpy(out->rest, w->line + w->at, end - w->at);
	out->rest[end - w->at] = '\0';
	out->what = RECORDING_ACT;
	return true;
}

bool recording_read(struct recording_reader *r, const char *line, size_t len,
                    struct recording_line *out, struct fault *why)
{
	r->line++;
	if (len && line[len - 1] == '\r')
		len--;
	struct walk w = {.r = r, .line = line, .len = len, .why = why};
	out->what = RECORDING_NOTHING;
	out->t = r->t;
	out->len = 0;
	out->column = out->rest_column = 0;
	out->meter[0] = out->act[0] = out->rest[0] = '\0';
	if (len > RECORDING_LINE_MAX)
		return refuse(&w, RECORDING_LINE_MAX, "the line is too long");
	if (r->line == 1)
		return read_header(&w);
	skip_blank(&w);
	if (w.at == len || line[w.at] == '#')
		return true;
	if (!read_time(&w, &out->t))
		return false;
	skip_blank(&w);
	if (w.at == len)
		return refuse(&w, w.at, "expected a meter with its bytes, or an @act, after the time");
	out->column = (int)w.at + 1;
	if (line[w.at] == '@' ? !read_act(&w, out) : !read_bytes(&w, out))
		return false;
	r->t = out->t;
	return true;
}

bool recording_check(const char *file, const char *text, size_t len,
                     bool (*each)(void *arg, const struct recording_line *line, struct fault *why),
                     void *arg, struct fault *why)
{
	struct recording_reader r;
	struct recording_line line;
	recording_begin(&r, file);
	size_t at = 0;
	do {
		const char *lf = len > at ? memchr(text + at, '\n', len - at) : NULL;
		size_t end = lf ? (size_t)(lf - text) : len;
		if (!recording_read(&r, text + at, end - at, &line, why))
			return false;
		struct fault said = {0};
		if (each && !each(arg, &line, &said)) {
			int column = said.column ? line.rest_column + said.column - 1 : line.column;
			fault_at(why, said.file[0] ? said.file : file, said.line ? said.line : r.line,
			         said.line ? said.column : column, "%s", said.text);
			return false;
		}
		at = end + 1;
	} while (at < len);
	return true;
}

size_t recording_escape(const char *bytes, size_t len, char *out, size_t size)
{
	static const char hex[] = "0123456789ABCDEF";
	size_t n = 0;
	if (!size)
		return 0;
	for (size_t i = 0; i < len; i++) {
		unsigned char c = (unsigned char)bytes[i];
		char escaped[4] = {'\\', 'x', hex[c >> 4], hex[c & 15]};
		size_t step = 2;
		if (c == '\r' || c == '\n' || c == '\t')
			escaped[1] = c == '\r' ? 'r' : c == '\n' ? 'n' : 't';
		else if (c == '\\' || c == '"')
			escaped[1] = (char)c;
		else if (c < 0x20 || c > 0x7e)
			step = 4;
		else
			escaped[0] = (char)c, step = 1;
		if (n + step >= size)
			break;
		memcpy(out + n, escaped, step);
		n += step;
	}
	out[n] = '\0';
	return n;
}

size_t recording_write_bytes(int64_t t, const char *meter, const char *bytes, size_t len, char *out,
                             size_t size)
{
	if (t < 0 || t > TIME_MAX || len > RECORDING_BYTES_MAX || !name_valid(meter, strlen(meter)))
		return 0;
	int head = snprintf(out, size, "%lld.%06lld %s \"", (long long)(t / 1000000),
	                    (long long)(t % 1000000), meter);
	if (head < 0 || (size_t)head >= size)
		return 0;
	size_t n = (size_t)head;
	/* One byte at a time, so that a cut is noticed. */
	for (size_t i = 0; i < len; i++) {
		size_t step = recording_escape(bytes + i, 1, out + n, size - n);
		if (!step)
			return 0;
		n += step;
	}
	if (size - n < sizeof "\"\n")
		return 0;
	memcpy(out + n, "\"\n", sizeof "\"\n");
	return n + 2;
}

static bool act_valid(const char *act)
{
	size_t n = strlen(act);
	if (!n || n >= sizeof ((struct recording_line *)0)->act || act[0] == '-')
		return false;
	return strspn(act, "abcdefghijklmnopqrstuvwxyz-") == n;
}

static bool rest_valid(const char *rest)
{
	size_t len = strlen(rest);
	if (len >= sizeof ((struct recording_line *)0)->rest)
		return false;
	for (size_t i = 0, step; i < len; i += step) {
		step = utf8_length(rest + i, len - i);
		if (!step || ((unsigned char)rest[i] < 0x20 && rest[i] != '\t') || rest[i] == 0x7f)
			return false;
	}
	return true;
}

size_t recording_write_act(int64_t t, const char *act, const char *rest, char *out, size_t size)
{
	if (!rest)
		rest = "";
	if (t < 0 || t > TIME_MAX || !act_valid(act) || !rest_valid(rest))
		return 0;
	int n = snprintf(out, size, "%lld.%06lld @%s%s%s\n", (long long)(t / 1000000),
	                 (long long)(t % 1000000), act, rest[0] ? " " : "", rest);
	return n < 0 || (size_t)n >= size ? 0 : (size_t)n;
}
