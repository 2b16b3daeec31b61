/* SPDX-License-Identifier: MIT */
/* Names and ranges of positions: see sheet_names.h. */
#include "protocol/record/sheet_names.h"

#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_plain.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

#define NO_NAME                                                                               \
	"no name of a position: letters, digits, . _ / -, first a letter or digit, at most 32"

/* The last run of digits of a name: where it begins; its length is the result. */
static size_t last_number(const char *name, size_t len, size_t *at)
{
	size_t end = len;
	while (end > 0 && !ascii_digit(name[end - 1]))
		end--;
	size_t begin = end;
	while (begin > 0 && ascii_digit(name[begin - 1]))
		begin--;
	*at = begin;
	return end - begin;
}

/* At most nine digits: it fits an int. */
static int number_of(const char *digits, size_t len)
{
	int n = 0;
	for (size_t i = 0; i < len; i++)
		n = n * 10 + (digits[i] - '0');
	return n;
}

bool name_numbered(const char *text, size_t len)
{
	for (size_t i = 1; i < len; i++)
		if (ascii_digit(text[i]) && ascii_letter(text[i - 1]))
			return name_valid(text, len) && ascii_letter(text[0]);
	return false;
}

/* ---- ranges ---- */

struct range {
	const char *prefix;
	size_t prefix_len;
	int first, last, digits;
	bool repeated; /* the letters stand on both sides */
};

/* The length of what may part the two sides of a range, 0 where none stands there. */
static size_t range_sign(const char *text, size_t len)
{
	if (text[0] == '-')
		return 1;
	if (len < 2 || text[0] != '.' || text[1] != '.')
		return 0;
	return len > 2 && text[2] == '.' ? 3 : 2;
}

/* R1-R6 or R1-6: on both sides a number ends it, and the letters are the same. */
static bool range_parse(const char *text, size_t len, struct range *r)
{
	for (size_t left = 1, sign; left < len; left++) {
		if ((sign = range_sign(text + left, len - left)) == 0)
			continue;
		const char *other = text + left + sign;
		size_t right = len - left - sign, a, b;
		size_t an = last_number(text, left, &a), bn = last_number(other, right, &b);
		if (!an || !bn || an > 9 || bn > 9 || a + an != left || b + bn != right)
			continue;
		if (b != 0 && (b != a || memcmp(other, text, a) != 0))
			continue;
		if (a == 0)
			continue; /* 1-6 alone is no range of names that anyone has */
		*r = (struct range){text, a, number_of(text + a, an), number_of(other + b, bn), (int)an,
		                    b != 0};
		return true;
	}
	return false;
}

/* C9A-C9C: the sections of one part, by a last letter behind its number. */
static bool letters_parse(const char *text, size_t len, size_t *stem)
{
	size_t side = len / 2;
	if (len % 2 == 0 || text[side] != '-' || side < 3 || memcmp(text, text + side + 1, side - 1) != 0)
		return false;
	char first = text[side - 1], last = text[len - 1];
	bool same_case = (first >= 'A' && last <= 'Z') || (first >= 'a' && last <= 'z');
	*stem = side - 1;
	return ascii_letter(first) && ascii_letter(last) && same_case &&
	       ascii_digit(text[side - 2]) && name_numbered(text, side);
}

/* ---- lists ---- */

struct list {
	const char *text;
	size_t len, at;
	char prefix[NAME_SIZE]; /* the letters of the last name that had a number */
	int items;
	bool parted_by_space;
	bool placed; /* each() said where: that is no place of ours */
	bool (*each)(void *arg, const char *name, size_t at, struct fault *why);
	void *arg;
	struct fault *why;
};

static void skip_blanks(struct list *l)
{
	while (l->at < l->len && ascii_blank(l->text[l->at]))
		l->at++;
}

static size_t token_length(const struct list *l, size_t at)
{
	size_t n = 0;
	while (at + n < l->len && !ascii_blank(l->text[at + n]) && l->text[at + n] != ',' &&
	       l->text[at + n] != ';')
		n++;
	return n;
}

static bool token_follows(const struct list *l, size_t at)
{
	while (at < l->len && ascii_blank(l->text[at]))
		at++;
	return token_length(l, at) > 0;
}

/* One of these words between two names, the next of which has a number. */
static bool is_between(const struct list *l, size_t at, size_t len, const char *const words[4])
{
	size_t next = at + len;
	while (next < l->len && ascii_blank(l->text[next]))
		next++;
	if (!name_numbered(l->text + next, token_length(l, next)))
		return false;
	for (size_t i = 0; i < 4; i++)
		if (strlen(words[i]) == len && memcmp(l->text + at, words[i], len) == 0)
			return true;
	return false;
}

/* `to` between two names: R1 to R6. */
static bool is_to(const struct list *l, size_t at, size_t len)
{
	static const char *const words[4] = {"to", "thru", "bis", "through"};
	return is_between(l, at, len, words);
}

/* What parts two names at l->at: a comma, a semicolon, `R1 and R2`; its length. */
static size_t parts_here(const struct list *l)
{
	static const char *const words[4] = {"and", "und", "&", "+"};
	if (l->at < l->len && (l->text[l->at] == ',' || l->text[l->at] == ';'))
		return 1;
	size_t len = token_length(l, l->at);
	return is_between(l, l->at, len, words) ? len : 0;
}

/* One name or range, its parts joined where spaces stand around the sign: at most
 * `size` bytes, of a longer one (no name) the beginning.  Returns its length. */
static size_t take_item(struct list *l, char *item, size_t size)
{
	size_t n = token_length(l, l->at), kept = n < size ? n : size;
	memcpy(item, l->text + l->at, kept);
	l->at += n;
	while (kept < size) {
		size_t mark = l->at;
		skip_blanks(l);
		const char *next = l->text + l->at;
		size_t len = token_length(l, l->at);
		bool to = is_to(l, l->at, len);
		bool open = kept > 1 && (item[kept - 1] == '-' ||
		                         (item[kept - 1] == '.' && item[kept - 2] == '.'));
		bool sign = len > 0 && range_sign(next, len) > 0 &&
		            (len > range_sign(next, len) || token_follows(l, l->at + len));
		if (mark == l->at || len == 0 || !(open || sign || to)) {
			l->at = mark;
			break;
		}
		size_t more = to ? 1 : len;
		if (kept + more > size)
			more = size - kept;
		memcpy(item + kept, to ? "-" : next, more);
		kept += more;
		l->at += len;
	}
	return kept;
}

static bool give(struct list *l, const char *name, size_t at)
{
	struct fault said = {.text = ""};
	if (l->each(l->arg, name, at, &said))
		return true;
	*l->why = said;
	l->placed = said.column > 0;
	if (!said.column)
		l->why->column = (int)at + 1;
	return false;
}

static bool give_range(struct list *l, const struct range *r, size_t at)
{
	char name[2 * NAME_SIZE];
	if (r->last < r->first)
		return cell_refuse(l->why, at, "the range runs backwards");
	if (r->last - r->first >= ENTRY_RANGE_MAX)
		return cell_refuse(l->why, at, "a range of more than 500 positions");
	for (int i = r->first; i <= r->last; i++) {
		int n = r->prefix_len < NAME_SIZE
		            ? snprintf(name, sizeof name, "%.*s%0*d", (int)r->prefix_len, r->prefix,
		                       r->digits, i)
		            : NAME_SIZE;
		if (n >= NAME_SIZE || !name_valid(name, (size_t)n))
			return cell_refuse(l->why, at, NO_NAME);
		if (!give(l, name, at))
			return false;
	}
	return true;
}

static void keep_prefix(struct list *l, const char *name, size_t len)
{
	size_t at, n = last_number(name, len, &at);
	bool whole = n && at + n == len && at > 0 && at < NAME_SIZE;
	snprintf(l->prefix, sizeof l->prefix, "%.*s", whole ? (int)at : 0, name);
}

static bool give_item(struct list *l, const char *item, size_t len, size_t at)
{
	char whole[4 * NAME_SIZE], name[NAME_SIZE];
	struct range r;
	/* R1,2,5-7: what has no letters has those of the name before. */
	if (l->items > 0 && ascii_digit(item[0]) && item[strspn(item, "0123456789-.")] == '\0') {
		if (!l->prefix[0])
			return cell_refuse(l->why, at, NO_NAME);
		len = (size_t)snprintf(whole, sizeof whole, "%s%s", l->prefix, item);
		item = whole;
	}
	l->items++;
	if (range_parse(item, len, &r)) {
		snprintf(l->prefix, sizeof l->prefix, "%.*s",
		         r.prefix_len < NAME_SIZE ? (int)r.prefix_len : 0, r.prefix);
		return give_range(l, &r, at);
	}
	size_t stem;
	if (letters_parse(item, len, &stem) && stem + 1 < NAME_SIZE) {
		if (item[len - 1] < item[stem])
			return cell_refuse(l->why, at, "the range runs backwards");
		memcpy(name, item, stem);
		name[stem + 1] = '\0';
		for (char c = item[stem]; c <= item[len - 1]; c++) {
			name[stem] = c;
			if (!give(l, name, at))
				return false;
		}
		keep_prefix(l, name, stem + 1);
		return true;
	}
	if (!name_valid(item, len) || (l->parted_by_space && !name_numbered(item, len)))
		return cell_refuse(l->why, at, NO_NAME);
	memcpy(name, item, len);
	name[len] = '\0';
	keep_prefix(l, name, len);
	return give(l, name, at);
}

static bool give_list(struct list *l)
{
	for (;;) {
		char item[2 * NAME_SIZE + 4];
		skip_blanks(l);
		size_t at = l->at, len = take_item(l, item, sizeof item - 1);
		item[len] = '\0';
		if (len == 0)
			return cell_refuse(l->why, at, "a name of a position is missing here");
		skip_blanks(l);
		bool end = l->at == l->len;
		size_t sign = end ? 0 : parts_here(l);
		l->parted_by_space = l->parted_by_space || (!end && !sign);
		if (!give_item(l, item, len, at))
			return false;
		if (end)
			return true;
		l->at += sign;
	}
}

bool names_each(const char *text, size_t len,
                bool (*each)(void *arg, const char *name, size_t at, struct fault *why), void *arg,
                struct fault *why)
{
	char plain[NAMES_TEXT_MAX + 1];
	struct list l = {.text = plain, .each = each, .arg = arg, .why = why};
	l.len = plain_text(text, len, plain, sizeof plain);
	if (l.len == sizeof plain)
		return cell_refuse(why, NAMES_TEXT_MAX, "more than 4096 bytes of names");
	if (give_list(&l))
		return true;
	if (!l.placed)
		why->column = (int)plain_origin(text, len, (size_t)why->column - 1) + 1;
	return false;
}

struct without_place {
	bool (*each)(void *arg, const char *name, struct fault *why);
	void *arg;
};

static bool pass_on(void *arg, const char *name, size_t at, struct fault *why)
{
	struct without_place *w = arg;
	(void)at;
	return w->each(w->arg, name, why);
}

bool names_expand(const char *text, size_t len,
                  bool (*each)(void *arg, const char *name, struct fault *why), void *arg,
                  struct fault *why)
{
	struct without_place w = {each, arg};
	return names_each(text, len, pass_on, &w, why);
}

bool names_many(const char *cell, bool lists)
{
	char plain[NAMES_TEXT_MAX + 1];
	struct range r;
	size_t len = plain_text(cell, strlen(cell), plain, sizeof plain);
	if (len == sizeof plain)
		return false;
	size_t first = strcspn(plain, ",; \t");
	size_t stem;
	if (first == len)
		return (range_parse(plain, len, &r) && (lists || r.repeated)) ||
		       letters_parse(plain, len, &stem);
	return name_numbered(plain, first) || range_parse(plain, first, &r);
}

/* ---- back to a text ---- */

/* Does `name` follow `before` as a range counts on? */
static bool follows(const char *before, const char *name, int digits)
{
	char expected[2 * NAME_SIZE];
	size_t at, len = strlen(before), n = last_number(before, len, &at);
	if (!n || n > 9 || at == 0 || at + n != len)
		return false;
	snprintf(expected, sizeof expected, "%.*s%0*d", (int)at, before, digits,
	         number_of(before + at, n) + 1);
	return strcmp(expected, name) == 0;
}

size_t names_print(const char (*names)[NAME_SIZE], size_t n, char *out, size_t size)
{
	size_t len = 0, i = 0;
	while (i < n) {
		const char *name = names[i];
		struct range r;
		size_t at, stem, more = 1, digits = last_number(name, strlen(name), &at);
		if (!name_valid(name, strlen(name)) || range_parse(name, strlen(name), &r) ||
		    letters_parse(name, strlen(name), &stem) ||
		    (i > 0 && ascii_digit(name[0]) && name[strspn(name, "0123456789-.")] == '\0'))
			return 0;
		while (i + more < n && more < ENTRY_RANGE_MAX &&
		       follows(names[i + more - 1], names[i + more], (int)digits))
			more++;
		if (more < 3)
			more = 1;
		int made = snprintf(out + len, size - len, more > 1 ? "%s%s-%s" : "%s%s", len ? "," : "",
		                    name, names[i + more - 1]);
		if (made < 0 || (size_t)made >= size - len)
			return 0;
		len += (size_t)made;
		i += more;
	}
	return len;
}

/* ---- one name ---- */

void name_raise(const char *name, char out[NAME_SIZE])
{
	size_t letters = 0;
	snprintf(out, NAME_SIZE, "%s", name);
	while (out[letters] >= 'a' && out[letters] <= 'z')
		letters++;
	if (letters < 1 || letters > 2 || !ascii_digit(out[letters]) ||
	    kind_from_position(out) == KIND_OTHER)
		return;
	for (size_t i = 0; i < letters; i++)
		out[i] = (char)(out[i] - 'a' + 'A');
}

bool name_shift(const char *name, int by, char out[NAME_SIZE])
{
	size_t at, len = strlen(name), n = last_number(name, len, &at);
	char text[2 * NAME_SIZE];
	if (n == 0 || n > 9 || len >= NAME_SIZE)
		return false;
	long long to = (long long)number_of(name + at, n) + by;
	if (to < 0 || to > 999999999)
		return false;
	int made = snprintf(text, sizeof text, "%.*s%0*lld%s", (int)at, name, (int)n, to, name + at + n);
	if (made < 0 || made >= NAME_SIZE)
		return false;
	memcpy(out, text, (size_t)made + 1);
	return true;
}
