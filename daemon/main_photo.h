/* SPDX-License-Identifier: MIT */
/*
 * Photos that a client sends, piece by piece: photo.begin, photo.data, photo.end of
 * protocol/WIRE.md.  Every piece is written on another thread, for a disk may stall; a call
 * is answered when its piece is there.
 *
 * At most PHOTO_UPLOADS come in at a time; one that nothing was heard of for
 * PHOTO_IDLE_S makes way for a new one, else the new one is refused.
 */
#ifndef TALLY_MAIN_PHOTO_H
#define TALLY_MAIN_PHOTO_H

#include "daemon/server.h"

#include <jansson.h>
#include <stdbool.h>
#include <uv.h>

#define PHOTO_UPLOADS 4
#define PHOTO_IDLE_S 60

struct photos;

/* `log` is kept.  NULL: out of memory. */
struct photos *photos_open(uv_loop_t *loop, const char *log);
/* When no work is on its way any more: the loop has ended. */
void photos_close(struct photos *p);
/* False where the method is none of these; else the call is or will be answered. */
bool photos_call(struct photos *p, struct server_call *call, const char *method, json_t *params);

#endif
