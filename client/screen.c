/* SPDX-License-Identifier: MIT */
/* The terminal: see screen.h. */
#include "client/screen.h"

#include "client/keys.h"

#include <curses.h>
#include <locale.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <term.h>
#include <termios.h>
#include <unistd.h>

/* One terminal, one state: signals and exit have to find it. */
static struct termios before;
static volatile sig_atomic_t on; /* the screen is ours: it has to be given back */
static char leaving[256];        /* what the terminal is sent then */
static size_t leaving_len;
static bool bare; /* the terminal has one page: what was there is gone */
static bool ascii; /* it shows bytes: of what is beyond ASCII curses would make three or four columns */
static SCREEN *terminal;
static attr_t looks[LOOK_COUNT];

/* ---- giving it back ---- */

/* What curses would write at its end, kept ready: a handler may call write and
 * tcsetattr, but nothing of curses. */
static int keep_byte(int byte)
{
	if (leaving_len + 1 < sizeof leaving)
		leaving[leaving_len++] = (char)byte;
	return byte;
}

static void keep_leaving(void)
{
	const char *const names[] = {"sgr0", "cnorm", "rmkx", "rmcup"};
	leaving_len = 0;
	/* Where there is no other page to go back to, the prompt gets a row of its own. */
	char *page = tigetstr("rmcup");
	bare = !page || page == (char *)-1;
	if (bare)
		snprintf(leaving, sizeof leaving, "\r\n");
	leaving_len = strlen(leaving);
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		char *text = tigetstr(names[i]);
		if (text && text != (char *)-1)
			tputs(text, 1, keep_byte);
	}
}

static void give_back(void)
{
	if (!on)
		return;
	on = 0;
	ssize_t ignored = write(STDOUT_FILENO, leaving, leaving_len);
	(void)ignored;
	tcsetattr(STDIN_FILENO, TCSANOW, &before);
}

static void on_death(int number)
{
	give_back();
	/* SA_RESETHAND: the second time is what it would have been. */
	raise(number);
}

static void watch_deaths(void)
{
	static const int deaths[] = {SIGSEGV, SIGBUS,  SIGFPE,  SIGILL,  SIGABRT,   SIGSYS, SIGXCPU,
	                             SIGXFSZ, SIGUSR1, SIGUSR2, SIGALRM, SIGVTALRM, SIGPROF};
	struct sigaction action = {.sa_handler = on_death, .sa_flags = (int)SA_RESETHAND};
	for (size_t i = 0; i < sizeof deaths / sizeof deaths[0]; i++)
		sigaction(deaths[i], &action, NULL);
	static bool registered;
	if (!registered)
		registered = atexit(give_back) == 0;
}

/* ---- taking it over ---- */

/* The characters alone: numbers go on being written with a point. */
static bool utf8_locale(void)
{
	static const char *const names[] = {"", "C.UTF-8", "C.utf8", "en_US.UTF-8"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
		if (setlocale(LC_CTYPE, names[i]) && MB_CUR_MAX > 1)
			return true;
	return false;
}

static void choose_looks(bool colour)
{
	static const struct { enum look look; short pair, colour; attr_t with, without; } table[] = {
		{LOOK_ORDINARY, 0, 0, A_NORMAL, A_NORMAL}, {LOOK_FAINT, 0, 0, A_DIM, A_NORMAL},
		{LOOK_STRONG, 0, 0, A_BOLD, A_BOLD},       {LOOK_GOOD, 1, COLOR_GREEN, A_BOLD, A_BOLD},
		{LOOK_WARNING, 2, COLOR_YELLOW, A_BOLD, A_BOLD},
		{LOOK_BAD, 3, COLOR_RED, A_BOLD, A_BOLD},
		{LOOK_LIVE, 4, COLOR_RED, A_BOLD | A_REVERSE, A_BOLD | A_REVERSE},
		{LOOK_KEY, 0, 0, A_BOLD | A_UNDERLINE, A_BOLD | A_UNDERLINE},
	};
	for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
		looks[table[i].look] = colour ? table[i].with : table[i].without;
		if (!colour || !table[i].pair)
			continue;
		init_pair(table[i].pair, table[i].colour, -1);
		looks[table[i].look] |= (attr_t)COLOR_PAIR(table[i].pair);
	}
}

static void settings(void)
{
	cbreak();
	noecho();
	nonl();
	keypad(stdscr, TRUE);
	nodelay(stdscr, TRUE);
	curs_set(0);
}

bool screen_open(struct style *style, char *why, size_t size)
{
	if (!isatty(STDIN_FILENO) || !isatty(STDOUT_FILENO) ||
	    tcgetattr(STDIN_FILENO, &before) != 0) {
		snprintf(why, size, "the screen needs a terminal for input and output; "
		         "`tally bench --plain` does without");
		return false;
	}
	style->utf8 = style->utf8 && utf8_locale();
	ascii = !style->utf8;
	if (ascii)
		setlocale(LC_CTYPE, "C");
	/* The Linux console shows what its font has not as the same mark, all of it. */
	const char *name = getenv("TERM");
	style->few = name && strncmp(name, "linux", 5) == 0;
	set_escdelay(25);
	terminal = newterm(NULL, stdout, stdin);
	if (!terminal) {
		snprintf(why, size, "the terminal \"%.60s\" is not known here, or cannot move its cursor: "
		         "set TERM, or use `tally bench --plain`", name ? name : "");
		return false;
	}
	on = 1;
	keep_leaving();
	watch_deaths();
	settings();
	style->colour = style->colour && has_colors() && start_color() == OK &&
	                use_default_colors() == OK;
	choose_looks(style->colour);
	return true;
}

static void leave(void)
{
	if (bare) {
		move(LINES - 1, 0);
		clrtoeol();
		refresh();
	}
	endwin();
	on = 0;
}

void screen_close(void)
{
	if (!terminal)
		return;
	if (on)
		leave();
	tcsetattr(STDIN_FILENO, TCSADRAIN, &before);
	delscreen(terminal);
	terminal = NULL;
}

/* As the kernel would have done it: where no shell could ever say "go on" (a window that
 * runs this alone), it does not stop. */
void screen_stop(void)
{
	struct sigaction usual = {.sa_handler = SIG_DFL}, ours;
	sigaction(SIGTSTP, &usual, &ours);
	raise(SIGTSTP);
	/* Someone said: go on. */
	sigaction(SIGTSTP, &ours, NULL);
}

void screen_suspend(void)
{
	leave();
	tcsetattr(STDIN_FILENO, TCSADRAIN, &before);
	screen_stop();
	on = 1;
	settings();
	screen_refresh();
}

/* ---- drawing ---- */

void screen_size(int *width, int *height)
{
	struct winsize size = {0};
	*width = COLS;
	*height = LINES;
	if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) != 0 || !size.ws_col || !size.ws_row)
		return;
	if (size.ws_col != COLS || size.ws_row != LINES)
		resizeterm(size.ws_row, size.ws_col);
	*width = COLS;
	*height = LINES;
}

void screen_refresh(void)
{
	clearok(stdscr, TRUE);
	refresh();
}

void screen_draw(const struct picture *p)
{
	erase();
	for (int row = 0; row < p->height; row++)
		for (int column = 0; column < p->width; column++) {
			const struct cell *c = &p->cells[row * p->width + column];
			if (!c->text[0] || (strcmp(c->text, " ") == 0 && c->look != LOOK_LIVE))
				continue;
			attrset((int)looks[c->look < LOOK_COUNT ? c->look : LOOK_ORDINARY]);
			mvaddstr(row, column, ascii && (c->text[0] & 0x80) ? "?" : c->text);
		}
	attrset(A_NORMAL);
	if (p->cursor_row >= 0) {
		curs_set(1);
		move(p->cursor_row, p->cursor_column);
	} else {
		curs_set(0);
		move(p->height - 1, 0);
	}
	refresh();
}

/* ---- keys ---- */

int screen_key(void)
{
	for (;;) {
		int key = getch();
		switch (key) {
		case ERR:
			return SCREEN_NO_KEY;
		case KEY_ENTER:
			return KEY_IS_ENTER;
		case KEY_BACKSPACE:
		case '\b':
			return KEY_IS_RUBOUT;
		case KEY_DC:
			return KEY_IS_DELETE;
		case KEY_LEFT:
			return KEY_IS_LEFT;
		case KEY_RIGHT:
			return KEY_IS_RIGHT;
		case KEY_HOME:
			return KEY_IS_HOME;
		case KEY_END:
			return KEY_IS_END;
		case KEY_DOWN:
		case KEY_NPAGE:
			return KEY_IS_DOWN;
		case KEY_UP:
		case KEY_PPAGE:
			return KEY_IS_UP;
		case 'L' - '@':
		case KEY_RESIZE:
			return SCREEN_REDRAW;
		default:
			if (key >= 0 && key <= 255)
				return key;
		}
	}
}
