/* SPDX-License-Identifier: MIT */
/* Between the files of a sitting (sitting.c, _do.c, _typed.c, _guide.c): see sitting.h. */
#ifndef TALLY_CLIENT_SITTING_INSIDE_H
#define TALLY_CLIENT_SITTING_INSIDE_H

#include "client/sitting.h"

void sitting_ask(struct sitting *s, unsigned what); /* SCENE_ASK_*, soon */
/* What was asked of the daemon: refused, not logged, or done; what is done shows itself. */
void sitting_answered(void *sitting, int code, struct slice result, const char *why);
/* Refused here, without asking. */
void sitting_refuse(struct sitting *s, const char *why);
/* The name as the sheet has it, where it has it in other letters. */
void sitting_sheet_name(const struct scene *s, char *name, size_t size);
/* What was typed is not even sent: it comes back with its key. */
void sitting_not_done(struct sitting *s, const char *why);
/* Call for what was typed last (sitting_typed); params is a whole object. */
void sitting_ask_typed(struct sitting *s, const char *method, const struct text *params);
/* sitting_line.c: lines of the sheet and the unit, what is in its place, a photo, and what
 * stands before the power. */
void sitting_line(struct sitting *s, const struct deed *deed);
void sitting_fitted(struct sitting *s, const struct deed *deed);
void sitting_photo(struct sitting *s, const struct deed *deed);
void sitting_photo_end(struct sitting *s);
void sitting_ready(struct sitting *s);
/* sitting_again.c: a job with the sheet of the job `old`; again: it is the same unit. */
void sitting_again(struct sitting *s, const char *name, const char *old, bool again);
void sitting_again_end(struct sitting *s);
/* sitting_list.c: the notes of the job, the twins that are proposed. */
void sitting_notes(struct sitting *s);
void sitting_twins(struct sitting *s);
/* A deed whose words were typed. */
void sitting_typed(struct sitting *s, const struct deed *deed);

#endif
