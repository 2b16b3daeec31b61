/* SPDX-License-Identifier: MIT */
/*
 * Slips of the hand in a typed line: what has a meaning letter by letter, and surely another
 * in the mind of who typed it.  A list of another program may say most such things, for nobody
 * is there to be asked, but not what cannot be; a sealed row keeps what it says.  See
 * sheet_words.h.
 */
#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_names.h"
#include "protocol/record/sheet_words.h"
#include "protocol/trade/ascii.h"

#include <string.h>

bool slip_of_range(const char *name, struct fault *why)
{
	for (size_t i = 1; name[i]; i++) {
		size_t sign = name[i] == '-' ? 1 : name[i] == '.' && name[i + 1] == '.' ? 2 : 0;
		const char *other = name + i + sign;
		/* B-R12 has a channel, V1-A a half: only where both sides are whole names. */
		if (!sign || !ascii_letter(other[0]) || !name_numbered(other, strlen(other)) ||
		    !name_numbered(name, i))
			continue;
		fault_set(why, "%s is no range: it has two ends, and the same letters at both, such as R1-R6",
		          name);
		return true;
	}
	return false;
}

/* `1m` of a resistor is a thousandth of an ohm, and nearly always a megohm. */
static bool is_slip_of_milli(const struct sheet_row *row)
{
	static const struct decimal least = {1, -1};
	const struct position *p = &row->position;
	bool resistor = p->kind <= KIND_POT && kind_function(p->kind) == FUNCTION_OHM;
	return resistor && p->has_nominal && strchr(row->written[SHEET_NOMINAL], 'm') &&
	       p->nominal.n > 0 && decimal_compare(p->nominal, least) < 0;
}

bool slip_below_nothing(const struct sheet_row *row, struct fault *why)
{
	const struct position *p = &row->position;
	bool below = p->function == FUNCTION_OHM || p->function == FUNCTION_FARAD ||
	             p->function == FUNCTION_HENRY;
	if (!p->has_nominal || p->nominal.n >= 0 || !below)
		return false;
	fault_set(why, "no part has less than nothing: only volts and amps may be negative; a "
	               "tolerance to one side is -0/+5%%");
	return true;
}

bool slip_of_value(const struct sheet_row *row, enum sheet_column *bad, struct fault *why)
{
	*bad = SHEET_NOMINAL;
	if (is_slip_of_milli(row)) {
		fault_set(why, "m is a thousandth of an ohm: write M for megohms, or 0.001 if it is meant");
		return true;
	}
	return slip_below_nothing(row, why);
}

bool slip_of_cell(const struct sheet_row *row, enum sheet_column column, enum sheet_column *bad,
                  struct fault *why)
{
	if (column != SHEET_NOMINAL || !slip_of_value(row, bad, why))
		return false;
	why->column = 1;
	return true;
}
