/* SPDX-License-Identifier: MIT */
/* Photos that notes of the job name, read through and shown: see report_photo.c. */
#ifndef TALLY_CLIENT_REPORT_PHOTO_H
#define TALLY_CLIENT_REPORT_PHOTO_H

#include "client/report.h"

struct report_photo {
	char *text;           /* the element of the answer to `photos` */
	struct slice record;  /* the note, as sealed */
	char position[NAME_SIZE], state[16]; /* good, missing, altered */
	char *data;           /* base64; NULL: it is not shown */
	int width, height;    /* as it is stored, in dots */
	int turn;             /* Exif's orientation, 1: upright */
};

/* Width, height and orientation by the first bytes of a JPEG or PNG; false for what is none. */
bool report_photo_size(const unsigned char *bytes, size_t len, int *width, int *height, int *turn);
enum outcome report_photo_gather(struct client *c, struct report *r);
void report_photo_free(struct report *r);
/* "photo c9.jpg, 812 kB, SHA-256 ...: as it was sealed"; "" for a note without one. */
void report_photo_text(const struct report *r, struct slice record, char *out, size_t size);
/* A heading and the pictures; nothing where there are none. */
void report_photos(const struct report *r, struct paper *p);

#endif
