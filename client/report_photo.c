/* SPDX-License-Identifier: MIT */
/*
 * Photos of the job, in the report itself: whoever has the file has the pictures.
 *
 * What is shown was read through by the daemon and is what its hash in the sealed note says.  JPEG and
 * PNG up to PHOTO_MOST bytes each, PHOTOS_MOST in all, stand in the page as they are; of the others,
 * and of one that is missing or altered, the name and the hash are told.  How large a picture is and
 * which way up stands in its first bytes: PNG's IHDR (ISO/IEC 15948, 11.2.2), JPEG's frame header
 * (ITU-T T.81, B.2.2) and Exif's orientation (CIPA DC-008, 4.6.4, tag 0x0112).
 */
#include "client/array.h"
#include "client/command_calls.h"
#include "client/report_photo.h"
#include "protocol/file/base64.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PHOTO_MOST ((int64_t)6 << 20)
#define PHOTOS_MOST ((int64_t)24 << 20)
#define WIDTH_MOST 340.0 /* units of 1/96 inch: two beside each other on paper */
#define HEIGHT_MOST 300.0

/* ---- what its first bytes say ---- */

static unsigned two(const unsigned char *p, bool little)
{
	return little ? (unsigned)(p[0] | p[1] << 8) : (unsigned)(p[0] << 8 | p[1]);
}

static unsigned long four(const unsigned char *p, bool little)
{
	return little ? two(p, true) | (unsigned long)two(p + 2, true) << 16
	              : (unsigned long)two(p, false) << 16 | two(p + 2, false);
}

/* The orientation of an Exif segment, 1 to 8; 1 where it says none. */
static int orientation(const unsigned char *p, size_t len)
{
	if (len < 14 || memcmp(p, "Exif\0\0", 6) != 0)
		return 1;
	p += 6;
	len -= 6;
	bool little = p[0] == 'I';
	unsigned long at = four(p + 4, little);
	if (at > len || len - at < 2)
		return 1;
	unsigned n = two(p + at, little);
	for (size_t e = at + 2; n-- && len - e >= 12 && e <= len; e += 12)
		if (two(p + e, little) == 0x0112) {
			unsigned value = two(p + e + 8, little);
			return value >= 1 && value <= 8 ? (int)value : 1;
		}
	return 1;
}

bool report_photo_size(const unsigned char *p, size_t len, int *width, int *height, int *turn)
{
	*turn = 1;
	if (len >= 24 && memcmp(p, "\x89PNG\r\n\x1a\n", 8) == 0 && memcmp(p + 12, "IHDR", 4) == 0) {
		unsigned long w = four(p + 16, false), h = four(p + 20, false);
		*width = (int)(w < 65536 ? w : 0);
		*height = (int)(h < 65536 ? h : 0);
		return *width > 0 && *height > 0;
	}
	if (len < 4 || p[0] != 0xff || p[1] != 0xd8)
		return false;
	for (size_t at = 2; len - at >= 9 && at <= len && p[at] == 0xff;) {
		unsigned char marker = p[at + 1];
		size_t segment = two(p + at + 2, false);
		bool frame = marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc;
		if (marker == 0xff) { /* filling */
			at++;
			continue;
		}
		if (frame) {
			*height = (int)two(p + at + 5, false);
			*width = (int)two(p + at + 7, false);
			return *width > 0 && *height > 0;
		}
		if (segment < 2 || segment > len - at - 2)
			return false;
		if (marker == 0xe1 && *turn == 1)
			*turn = orientation(p + at + 4, segment - 2);
		at += 2 + segment;
	}
	return false;
}

/* ---- asking ---- */

static enum outcome read_photo(struct client *c, struct report_photo *p, int64_t size)
{
	char hash[80];
	struct lines data = {0};
	enum outcome outcome = OUTCOME_DONE;
	int64_t at = 0;
	bool more = true;
	words_member(p->record, "photo.hash", hash, sizeof hash);
	while (more && outcome == OUTCOME_DONE) {
		struct message m;
		json_t *params = client_params("hash", hash, NULL);
		json_object_set_new(params, "at", json_integer(at));
		outcome = client_ask(c, "photo.read", params, &m);
		struct slice text = json_member(m.result.at, m.result.len, "data");
		int64_t next = 0;
		more = outcome == OUTCOME_DONE && text.len > 2 && json_bool(json_member(m.result.at, m.result.len, "more"), false);
		json_int(json_member(m.result.at, m.result.len, "at"), &next);
		/* Base64 has no sign that JSON would escape. */
		if (outcome == OUTCOME_DONE && text.len > 2)
			lines_add(&data, text.at + 1, text.len - 2);
		more = more && next > at && next < size;
		at = next;
		message_free(&m);
	}
	size_t len = data.len, known = 0;
	unsigned char *head = outcome == OUTCOME_DONE && !data.failed && len ? malloc(len) : NULL;
	if (head && base64_read(data.bytes, len, head, &known) &&
	    report_photo_size(head, known, &p->width, &p->height, &p->turn))
		p->data = strndup(data.bytes, len);
	free(head);
	lines_free(&data);
	return outcome;
}

static void each_photo(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct report *r = arg;
	(void)c, (void)result;
	if (!element.at || !array_grow(&r->no_memory, &r->photo, r->photos, sizeof *r->photo))
		return;
	struct report_photo *p = &r->photo[r->photos];
	*p = (struct report_photo){.text = strndup(element.at, element.len)};
	if (!p->text) {
		r->no_memory = true;
		return;
	}
	struct slice all = {p->text, element.len};
	p->record = json_member(all.at, all.len, "record");
	words_member(all, "position", p->position, sizeof p->position);
	words_member(all, "state", p->state, sizeof p->state);
	r->photos++;
}

enum outcome report_photo_gather(struct client *c, struct report *r)
{
	int64_t all = 0;
	enum outcome outcome = client_pages(c, "photos", client_params("job", r->job, NULL), "photos",
	                                    each_photo, r);
	for (int i = 0; i < r->photos && outcome == OUTCOME_DONE; i++) {
		struct report_photo *p = &r->photo[i];
		int64_t size = 0;
		char type[16];
		words_member(p->record, "photo.type", type, sizeof type);
		json_int(json_member(p->record.at, p->record.len, "photo.size"), &size);
		if (strcmp(p->state, "good") || size > PHOTO_MOST || all + size > PHOTOS_MOST ||
		    (strcmp(type, "jpeg") && strcmp(type, "png")))
			continue;
		all += size;
		outcome = read_photo(c, p, size);
	}
	return outcome;
}

void report_photo_free(struct report *r)
{
	for (int i = 0; i < r->photos; i++) {
		free(r->photo[i].text);
		free(r->photo[i].data);
	}
	free(r->photo);
}

/* ---- showing ---- */

/* "bulged.jpg, 2,1 MB, unchanged since" */
void report_photo_text(const struct report *r, struct slice record, char *out, size_t size)
{
	char name[200], hash[80], number[40], state[16] = "";
	int64_t bytes = 0, seq = 0, of = 0;
	words_member(record, "photo.name", name, sizeof name);
	words_member(record, "photo.hash", hash, sizeof hash);
	json_int(json_member(record.at, record.len, "photo.size"), &bytes);
	json_int(json_member(record.at, record.len, "seq"), &seq);
	for (int i = 0; i < r->photos; i++)
		if (json_int(json_member(r->photo[i].record.at, r->photo[i].record.len, "seq"), &of) && of == seq)
			snprintf(state, sizeof state, "%s", r->photo[i].state);
	out[0] = '\0';
	if (!hash[0])
		return;
	const char *unit = bytes < 1000 ? "B" : bytes < 1000000 ? "kB" : "MB";
	report_number(r, (double)bytes / (bytes < 1000 ? 1 : bytes < 1000000 ? 1000 : 1000000),
	              bytes < 1000000 ? 0 : 1, number, sizeof number);
	/* All of the hash stands in report.json. */
	snprintf(out, size, "%s %s, %s\xc2\xa0%s, SHA-256 %.16s…: %s", SAY(r, "photo", "Foto"), name, number, unit,
	         hash,
	         !strcmp(state, "good") ? SAY(r, "✓ as it was sealed", "✓ wie versiegelt")
	         : !strcmp(state, "missing") ? SAY(r, "✗ MISSING beside the log", "✗ FEHLT neben dem Protokoll")
	         : !strcmp(state, "altered") ? SAY(r, "✗ ALTERED since", "✗ seither VERÄNDERT")
	                                     : SAY(r, "not looked at", "nicht geprüft"));
}

/* Turned the right way up, as Exif says. */
static void image(const struct report_photo *p, double width, double height, const char *type,
                  struct lines *out)
{
	/* Rows of matrices: mirror, half a turn, quarter turns, in the numbers of Exif. */
	static const struct {
		int a, b, c, d, e, f; /* e, f: how many widths or heights it is moved by */
	} turns[] = {{1, 0, 0, 1, 0, 0}, {-1, 0, 0, 1, 1, 0}, {-1, 0, 0, -1, 1, 1}, {1, 0, 0, -1, 0, 1},
	             {0, 1, 1, 0, 0, 0}, {0, 1, -1, 0, 1, 0}, {0, -1, -1, 0, 1, 1}, {0, -1, 1, 0, 0, 1}};
	bool across = p->turn >= 5;
	int t = p->turn - 1;
	lines_printf(out, "<image style=\"image-orientation:none\" width=\"%.1f\" height=\"%.1f\" "
	             "preserveAspectRatio=\"none\" transform=\"matrix(%d %d %d %d %.1f %.1f)\" "
	             "href=\"data:image/%s;base64,", across ? height : width, across ? width : height,
	             turns[t].a, turns[t].b, turns[t].c, turns[t].d, turns[t].e * width, turns[t].f * height, type);
	lines_puts(out, p->data);
	lines_puts(out, "\"/>");
}

static void picture(const struct report *r, const struct report_photo *p, int number, struct paper *paper)
{
	char note[600], name[200], type[16], title[300];
	bool across = p->turn >= 5;
	double w = across ? p->height : p->width, h = across ? p->width : p->height;
	double fit = WIDTH_MOST / w < HEIGHT_MOST / h ? WIDTH_MOST / w : HEIGHT_MOST / h;
	struct lines svg = {0};
	fit = fit > 1 ? 1 : fit;
	int width = (int)(w * fit + 0.5), height = (int)(h * fit + 0.5);
	width = width < 1 ? 1 : width;
	height = height < 1 ? 1 : height;
	words_member(p->record, "text", note, sizeof note);
	words_member(p->record, "photo.name", name, sizeof name);
	words_member(p->record, "photo.type", type, sizeof type);
	snprintf(title, sizeof title, "%s%s%.200s", p->position, p->position[0] ? ", " : "", name);
	int full = width < 240 ? 240 : width;
	lines_printf(&svg, "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"%d\" height=\"%d\" "
	             "viewBox=\"0 0 %d %d\" aria-labelledby=\"ph%d-t ph%d-d\"><title id=\"ph%d-t\">", full,
	             height + 20, full, height + 20, number, number, number);
	paper_escape(&svg, title);
	lines_printf(&svg, "</title><desc id=\"ph%d-d\">%s: ", number, SAY(r, "Photo", "Foto"));
	paper_escape(&svg, note[0] ? note : SAY(r, "without a note", "ohne Notiz"));
	lines_puts(&svg, "</desc>");
	image(p, width, height, type, &svg);
	lines_printf(&svg, "<text x=\"0\" y=\"%d\" font-family=\"DejaVu Sans,Verdana,sans-serif\" "
	             "font-size=\"11\" fill=\"#111\">", height + 15);
	title[words_cut(title, strlen(title), 44)] = '\0';
	paper_escape(&svg, title);
	lines_puts(&svg, "</text></svg>");
	if (svg.failed)
		paper->html.failed = true;
	else
		paper_picture(paper, full, height + 20, lines_text(&svg));
	lines_free(&svg);
}

void report_photos(const struct report *r, struct paper *p)
{
	int shown = 0;
	for (int i = 0; i < r->photos; i++) {
		if (!r->photo[i].data)
			continue;
		if (!shown++)
			paper_heading(p, 3, "photos", SAY(r, "Photos", "Fotos"));
		picture(r, &r->photo[i], i, p);
	}
	if (r->photos > shown)
		paper_printf(p, PAPER_SMALL, SAY(r, "%d of %d photos are not shown: they are too large, of another "
		                                    "kind, missing or altered; the table above names them.",
		                                 "%d von %d Fotos sind nicht abgebildet: zu groß, von anderer Art, "
		                                 "nicht da oder verändert; die Tabelle oben nennt sie."),
		             r->photos - shown, r->photos);
}
