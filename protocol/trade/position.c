/* SPDX-License-Identifier: MIT */
/* See position.h.  Tolerances are in tolerance.c. */
#include "protocol/trade/position.h"

#include "protocol/trade/ascii.h"

#include <string.h>

static const struct {
	const char *name;
	enum function function;
} kinds[KIND_COUNT] = {
#define X(id, name, function) {name, FUNCTION_##function},
    KIND_LIST(X)
#undef X
};

bool name_valid(const char *name, size_t len)
{
	if (len == 0 || len >= NAME_SIZE || !(ascii_letter(name[0]) || ascii_digit(name[0])))
		return false;
	for (size_t i = 1; i < len; i++)
		if (!ascii_letter(name[i]) && !ascii_digit(name[i]) &&
		    (name[i] == '\0' || !strchr("._/-", name[i])))
			return false;
	return true;
}

const char *kind_name(enum kind k)
{
	return (unsigned)k < KIND_COUNT ? kinds[k].name : "";
}

bool kind_from_name(const char *name, size_t len, enum kind *out)
{
	for (int i = 0; i < KIND_COUNT; i++)
		if (strlen(kinds[i].name) == len && memcmp(kinds[i].name, name, len) == 0) {
			*out = (enum kind)i;
			return true;
		}
	return false;
}

enum function kind_function(enum kind k)
{
	return (unsigned)k < KIND_COUNT ? kinds[k].function : FUNCTION_NONE;
}

/* The letters that schematics put before the number. */
static const struct {
	const char *letters;
	enum kind kind;
} letters_table[] = {
    {"R", KIND_RESISTOR},    {"C", KIND_CAPACITOR},    {"EC", KIND_ELECTROLYTIC},
    {"VR", KIND_POT},        {"P", KIND_POT},          {"RV", KIND_POT},
    {"POT", KIND_POT},       {"L", KIND_WINDING},      {"T", KIND_WINDING},
    {"TR", KIND_WINDING},    {"CH", KIND_WINDING},     {"OT", KIND_WINDING},
    {"OPT", KIND_WINDING},   {"PT", KIND_WINDING},     {"MT", KIND_WINDING},
    {"V", KIND_VALVE},       {"VT", KIND_VALVE},       {"D", KIND_RECTIFIER},
    {"CR", KIND_RECTIFIER},  {"MR", KIND_RECTIFIER},   {"BR", KIND_RECTIFIER},
    {"REC", KIND_RECTIFIER}, {"F", KIND_FUSE},         {"FS", KIND_FUSE},
    {"S", KIND_SWITCH},      {"SW", KIND_SWITCH},      {"H", KIND_HEATER},
    {"HTR", KIND_HEATER},    {"RAIL", KIND_RAIL},
    {"HT", KIND_RAIL},       {"TP", KIND_RAIL},        {"REF", KIND_REFERENCE},
};

/* Past a channel before the last '/', and past one of letters only that '-' or
 * '.' sets off ("B-R12"); not past "C7-a", which is a section of C7. */
static const char *past_channel(const char *name)
{
	const char *slash = strrchr(name, '/');
	if (slash)
		name = slash + 1;
	const char *end = name;
	while (ascii_letter(*end))
		end++;
	return end > name && (*end == '-' || *end == '.') && ascii_letter(end[1]) ? end + 1 : name;
}

enum kind kind_from_position(const char *name)
{
	name = past_channel(name);
	char letters[8];
	size_t n = 0;
	for (; n < sizeof letters - 1 && ascii_letter(name[n]); n++)
		letters[n] = name[n] >= 'a' ? (char)(name[n] - 'a' + 'A') : name[n];
	letters[n] = '\0';
	for (size_t i = 0; i < sizeof letters_table / sizeof *letters_table; i++)
		if (strcmp(letters_table[i].letters, letters) == 0)
			return letters_table[i].kind;
	/* Ra, Rg, Rk, Ck, Cc: resistors and capacitors named by their electrode. */
	if (n == 2 && letters[0] == 'R' && strchr("AGKSFBP", letters[1]))
		return KIND_RESISTOR;
	if (n == 2 && letters[0] == 'C' && strchr("AGKSFBC", letters[1]))
		return KIND_CAPACITOR;
	return KIND_OTHER;
}

static char plain(char c)
{
	return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c == '-' || c == '_' ? ' ' : c;
}

bool role_says(const char *role, const char *word)
{
	bool begins = true;
	for (; *role; role++) {
		size_t i = 0;
		while (begins && word[i] && plain(role[i]) == word[i])
			i++;
		if (begins && !word[i])
			return true;
		begins = !(plain(*role) >= 'a' && plain(*role) <= 'z');
	}
	return false;
}
