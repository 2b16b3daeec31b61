/* SPDX-License-Identifier: MIT */
/* What is said and asked at the foot of the screen: messages, what is typed, the line of
 * keys; and what stands over the lists for a while: all keys, the cautions. */
#include "client/view_bench.h"

#include <stdio.h>
#include <string.h>

/* How long a message stands. */
#define NOTE_MS 10000
#define NOTE_BAD_MS 60000

static enum look note_look(enum scene_weight weight)
{
	return weight == SCENE_BAD ? LOOK_BAD : weight == SCENE_WARNING ? LOOK_WARNING
	     : weight == SCENE_GOOD ? LOOK_GOOD : LOOK_ORDINARY;
}

/* What was said before a guided run came to its step would hide what is to be done now. */
static bool before_step(const struct scene *s, const struct scene_note *n)
{
	return s->guide.text[0] && n->weight != SCENE_BAD && n->at <= s->guide.at;
}

/* The newest, unless a bad one still stands; NULL where none does. */
static const struct scene_note *note_now(const struct bench_view *v)
{
	const struct scene_note *shown = NULL;
	for (int i = 0; ; i++) {
		const struct scene_note *n = scene_note(v->scene, i);
		if (!n)
			return shown || !v->scene->guide.text[0] ? shown : &v->scene->guide; /* it stands */
		int64_t age = v->now - n->at;
		if (age > (n->weight == SCENE_BAD ? NOTE_BAD_MS : NOTE_MS) ||
		    before_step(v->scene, n))
			continue;
		if (!shown || (n->weight == SCENE_BAD && v->now - shown->at > NOTE_MS))
			shown = n;
	}
}

size_t view_bench_fold(const char *text, int room)
{
	size_t len = strlen(text), fits = len;
	while (fits && (int)words_width(text, fits) > room)
		fits = words_cut(text, len, fits - 1);
	size_t blank = fits;
	while (fits < len && blank && text[blank] != ' ')
		blank--;
	return blank ? blank : fits;
}

bool view_bench_note_is_long(const struct bench_view *v, int width)
{
	const struct scene_note *n = note_now(v);
	int room = width - (n && n->time[0] ? (int)strlen(n->time) + 2 : 0);
	return n && v->keys->mode != KEYS_TYPE && n->weight >= SCENE_WARNING &&
	       (int)words_width(n->text, strlen(n->text)) > room;
}

void view_bench_note(const struct bench_view *v, struct picture *p, int row, int width)
{
	if (v->keys->mode == KEYS_TYPE) {
		view_bench_prompt(v, p, row, width);
		return;
	}
	const struct scene_note *n = note_now(v);
	if (!n)
		return;
	int column = picture_put(p, row, 0, LOOK_FAINT, n->time);
	column += column ? 2 : 0;
	picture_put_most(p, row, column, width - column, note_look(n->weight), n->text);
}

void view_bench_note_long(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene_note *n = note_now(v);
	char first[SCENE_TEXT];
	int column = picture_put(p, row, 0, LOOK_FAINT, n->time);
	column += column ? 2 : 0;
	size_t cut = view_bench_fold(n->text, width - column);
	snprintf(first, sizeof first, "%.*s", (int)cut, n->text);
	picture_put_most(p, row, column, width - column, note_look(n->weight), first);
	const char *rest = n->text + cut + strspn(n->text + cut, " ");
	picture_put_most(p, row + 1, column, width - column, note_look(n->weight), rest);
}

/* ---- the line of keys ---- */

static int key_width(const struct action_row *a)
{
	return (int)(strlen(a->shown) + 1 + strlen(a->label) + 2);
}

/* What is wanted now stands first: the answers to what is held, what begins a job, the way
 * through a guided run. */
static bool of_guide(enum action action)
{
	return action == ACTION_GO || action == ACTION_GO_BACK || action == ACTION_LEAVE;
}

static bool wanted(const struct bench_view *v, enum action action)
{
	if (of_guide(action))
		return v->scene->guide.text[0] != '\0';
	switch (scene_state(v->scene, v->now)) {
	case SCENE_HELD:
		return action == ACTION_TAKE || action == ACTION_OTHER || action == ACTION_AGAIN;
	case SCENE_DOUBT:
	case SCENE_MOVING:
		return action == ACTION_TAKE || action == ACTION_AGAIN;
	case SCENE_NO_POSITION:
		if (!v->scene->job[0] || !v->scene->sheet_count) /* it has to be made first */
			return action == ACTION_AT || action == ACTION_LINE;
		/* fall through */
	case SCENE_DONE:
		return action == ACTION_AT || action == ACTION_NEXT || action == ACTION_WALK ||
		       action == ACTION_SHEET;
	case SCENE_LOGGED:
		return action == ACTION_UNDO || action == ACTION_AGAIN;
	default:
		return false;
	}
}

/* The i-th key of the line; ACTION_NONE for one that has no place there. */
static enum action key_at(const struct bench_view *v, int i)
{
	enum action order[ACTION_COUNT];
	int count = 0;
	for (int pass = 0; pass < 2; pass++)
		for (int k = 1; k < ACTION_COUNT; k++)
			if (wanted(v, (enum action)k) == (pass == 0))
				order[count++] = (enum action)k;
	enum action a = i < count ? order[i] : ACTION_NONE;
	bool other = (a == ACTION_OTHER && scene_state(v->scene, v->now) != SCENE_HELD) ||
	             (of_guide(a) && !v->scene->guide.text[0]);
	return other || a == ACTION_HELP || a == (v->scene->live ? ACTION_LIVE : ACTION_COLD)
	           ? ACTION_NONE : a;
}

void view_bench_keys(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct action_row *help = &action_table[ACTION_HELP];
	int column = 0;
	if (v->keys->mode == KEYS_CONFIRM) {
		picture_printf(p, row, 0, LOOK_STRONG, "y: yes, %s.  Any other key: it stays as it is.",
		               v->keys->asked == ACTION_LIVE    ? "the unit is LIVE"
		               : v->keys->asked == ACTION_LEAVE ? "leave the guided run"
		                                                : "to be measured dead");
		return;
	}
	if (v->keys->mode == KEYS_TYPE) {
		view_bench_hint(v, p, row, width);
		return;
	}
	if (v->keys->mode == KEYS_LOOK || v->scene->caution) {
		/* The list may stand over the large word. */
		bool live = v->scene->live;
		column = picture_put(p, row, 0, live ? LOOK_LIVE : LOOK_STRONG, live ? "LIVE" : "COLD") + 2;
		column = picture_put(p, row, column, LOOK_STRONG, "any key ends it") + 2;
		if (!v->scene->caution && v->keys->asked == ACTION_HELP)
			picture_put(p, row, column, LOOK_FAINT, "+ within  X outside  ? unsure  - no limits  "
			            ". none");
		return;
	}
	for (int i = 0; i < ACTION_COUNT; i++) {
		enum action action = key_at(v, i);
		const struct action_row *a = &action_table[action];
		if (!action || column + key_width(a) + key_width(help) > width)
			continue;
		column = picture_put(p, row, column, LOOK_KEY, a->shown) + 1;
		column = picture_put(p, row, column, LOOK_FAINT, a->label) + 2;
	}
	column = picture_put(p, row, column, LOOK_KEY, help->shown) + 1;
	picture_put(p, row, column, LOOK_FAINT, help->label);
}

/* ---- panels ---- */

/* Five lines of 78: at 80x24 LIVE itself must stay in sight below them. */
static const char *const cautions[] = {
	"LIVE VALVE EQUIPMENT KILLS.  To work on it: isolate it from the mains,",
	"discharge the reservoirs, measure them dead, and again after a minute.",
	"To measure it live: one hand; rated probes and meters; current limited in",
	"series; never alone.  Local codes and licensed practice come first.",
	"While it is live nothing is logged from a meter on ohm or farad.",
};

static const char *const before_cold[] = {
	"IS IT ISOLATED FROM THE MAINS, the plug in your sight, and discharged?",
	"Then every reservoir is measured dead, and again after a minute, for the",
	"volts come back; only after that it is cold.  An old bleeder may be open:",
	"trust the meter, not the sheet.  Until the screen says COLD it is live: one",
	"hand, rated probes, never alone.",
};

static const char *const before_leave[] = {
	"LEAVE THE GUIDED RUN?  What was logged stays; nothing is switched off by it.",
	"The unit stays as it is: switch off, isolate it from the mains, discharge the",
	"reservoirs and measure them dead before you touch anything; one hand, never",
	"alone.  tally NAME --resume takes the run up again, from its cautions on.",
};

static void lines_put(struct picture *p, int row, int rows, enum look first, const char *const *text,
                      int count)
{
	for (int i = 0; i < count && i < rows; i++)
		picture_put(p, row + i, 2, i ? LOOK_ORDINARY : first, text[i]);
}

/* Cold and live are one key or the other; what has to do with the tones is one line, and so
 * are order and meters of a walk, and the steps of a guided run; and this is the list. */
static bool listed(const struct bench_view *v, int action)
{
	return action != (v->scene->live ? ACTION_LIVE : ACTION_COLD) && action != ACTION_HELP &&
	       action != ACTION_QUIETER && action != ACTION_SOUNDS && action != ACTION_METERS &&
	       action != ACTION_TWINS && action != ACTION_NOTES &&
	       action != ACTION_GO_BACK && action != ACTION_LEAVE;
}

#define HELP_WIDTH 40

static int help_columns(int width)
{
	return width / HELP_WIDTH < 1 ? 1 : width / HELP_WIDTH > 3 ? 3 : width / HELP_WIDTH;
}

int view_bench_help_rows(const struct bench_view *v, int width)
{
	int count = 0, columns = help_columns(width);
	for (int i = 1; i < ACTION_COUNT; i++)
		count += listed(v, i);
	return (count + columns - 1) / columns;
}

/* Longer lines are hard to follow. */
#define NEAR_LINE 112

/* A small window: keys and their labels alone, as far as they go. */
#define HELP_NARROW 16

static void help_put(const struct bench_view *v, struct picture *p, int row, int width, int rows)
{
	int each = view_bench_help_rows(v, width), wide = width / help_columns(width), at = 0;
	int columns = help_columns(width);
	bool narrow = each > rows || wide < HELP_WIDTH;
	if (narrow) {
		wide = HELP_NARROW;
		columns = width / wide < 1 ? 1 : width / wide;
		each = rows;
	}
	for (int i = 1; i < ACTION_COUNT && each > 0; i++) {
		const struct action_row *a = &action_table[i];
		if (!listed(v, i))
			continue;
		int column = at / each * wide, line = row + at % each;
		/* The last place says that there are more. */
		if (narrow && at + 1 == each * columns) {
			picture_put_most(p, line, column + 2, wide - 2, LOOK_WARNING, "more at 80x24");
			return;
		}
		at++;
		const char *shown = i == ACTION_LOUDER ? "+ - y" : i == ACTION_ORDER ? "d #"
		                    : i == ACTION_SHEET ? "a &" : i == ACTION_NOTE ? "t \""
		                    : i == ACTION_GO ? "> < *" : a->shown;
		const char *help = i == ACTION_LOUDER ? "tones; y: each of them"
		                   : i == ACTION_SHEET ? "what is done; & twins"
		                   : i == ACTION_NOTE ? "on this; \" all of them" : a->help;
		picture_put_most(p, line, column + 5 - (int)strlen(shown), wide - 5, LOOK_KEY, shown);
		picture_put_most(p, line, column + 6, wide - 6, LOOK_STRONG,
		                 i == ACTION_LOUDER ? "volume" : a->label);
		if (!narrow)
			picture_put_most(p, line, column + 16, wide - 16, LOOK_ORDINARY, help);
	}
}

/* What the daemon is asked for; NULL where another list was. */
static const char *asked_text(enum action action)
{
	return action == ACTION_RISE    ? "what stands before the power"
	       : action == ACTION_NOTES ? "for the notes"
	       : action == ACTION_TWINS ? "for twins of equal value" : NULL;
}

/* Its answer, folded at blanks; that there is more, where there is no
 * room. */
static void asked_put(const struct bench_view *v, struct picture *p, int row, int width, int rows)
{
	const char *at = v->scene->ready;
	int line = 0, most = width > NEAR_LINE ? NEAR_LINE : width;
	char text[SCENE_TEXT * 2];
	if (!*at)
		picture_printf(p, row, 0, LOOK_FAINT, "asking %s ...", asked_text(v->keys->asked));
	while (*at && line < rows) {
		size_t len = strcspn(at, "\n");
		snprintf(text, sizeof text, "%.*s", (int)(len < sizeof text ? len : sizeof text - 1), at);
		enum look look = strncmp(at, "CAUTION", 7) == 0 ? LOOK_WARNING : LOOK_ORDINARY;
		for (const char *rest = text; *rest && line < rows; line++) {
			char part[SCENE_TEXT * 2];
			size_t cut = view_bench_fold(rest, most - 2);
			snprintf(part, sizeof part, "%.*s", (int)cut, rest);
			picture_put_most(p, row + line, rest == text ? 0 : 2, most, look, part);
			rest += cut + strspn(rest + cut, " ");
		}
		at += len + (at[len] == '\n');
	}
	if (*at && rows > 0) {
		picture_clear(p, row + rows - 1, 0, width);
		picture_put_most(p, row + rows - 1, 0, width, LOOK_WARNING, v->keys->asked == ACTION_NOTES
		                 ? "and more: tally notes" : v->keys->asked == ACTION_TWINS
		                 ? "and more: tally sheet twins" : "and more: tally job ready");
	}
}

void view_bench_panel(const struct bench_view *v, struct picture *p, int row, int width,
                      int rows)
{
	const struct keys *k = v->keys;
	bool live = v->scene->caution || (k->mode == KEYS_CONFIRM && k->asked == ACTION_LIVE);
	bool cold = k->mode == KEYS_CONFIRM && k->asked == ACTION_COLD;
	bool leave = k->mode == KEYS_CONFIRM && k->asked == ACTION_LEAVE;
	if (!live && !cold && !leave && k->mode != KEYS_LOOK)
		return;
	for (int i = 0; i < rows; i++)
		picture_clear(p, row + i, 0, width);
	if (k->mode == KEYS_LOOK && k->asked == ACTION_SHEET)
		view_bench_overview(v, p, row, width, rows);
	else if (k->mode == KEYS_LOOK && asked_text(k->asked))
		asked_put(v, p, row, width, rows);
	else if (k->mode == KEYS_LOOK)
		help_put(v, p, row, width, rows);
	else if (live)
		lines_put(p, row, rows, LOOK_LIVE, cautions, (int)(sizeof cautions / sizeof cautions[0]));
	else if (leave)
		lines_put(p, row, rows, LOOK_STRONG, before_leave,
		          (int)(sizeof before_leave / sizeof before_leave[0]));
	else
		lines_put(p, row, rows, LOOK_STRONG, before_cold,
		          (int)(sizeof before_cold / sizeof before_cold[0]));
}
