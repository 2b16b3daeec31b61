/* SPDX-License-Identifier: MIT */
/*
 * One place in the circuit, as the sheet says it should be.
 *
 * Only the name is compulsory; everything else may be absent.  A nominal, a
 * tolerance and a service limit are kept exactly as decimals; the text that the
 * technician wrote stays in the sheet record beside them.
 */
#ifndef TALLY_TRADE_POSITION_H
#define TALLY_TRADE_POSITION_H

#include "protocol/trade/quantity.h"

/* Names of meters and positions: [A-Za-z0-9][A-Za-z0-9._/-]{0,31}. */
#define NAME_SIZE 33

#define KIND_LIST(X)                              \
	X(RESISTOR, "resistor", OHM)                  \
	X(CARBON_COMPOSITION, "carbon-composition", OHM) \
	X(CARBON_FILM, "carbon-film", OHM)            \
	X(METAL_FILM, "metal-film", OHM)              \
	X(WIREWOUND, "wirewound", OHM)                \
	X(POT, "pot", OHM)                            \
	X(ELECTROLYTIC, "electrolytic", FARAD)        \
	X(PAPER, "paper", FARAD)                      \
	X(FILM, "film", FARAD)                        \
	X(CERAMIC, "ceramic", FARAD)                  \
	X(MICA, "mica", FARAD)                        \
	X(CAPACITOR, "capacitor", FARAD)              \
	X(WINDING, "winding", OHM)                    \
	X(RECTIFIER, "rectifier", DIODE)              \
	X(VALVE, "valve", VOLT_DC)                    \
	X(HEATER, "heater", OHM)                      \
	X(SWITCH, "switch", OHM)                      \
	X(FUSE, "fuse", OHM)                          \
	X(RAIL, "rail", VOLT_DC)                      \
	X(REFERENCE, "reference", NONE)               \
	X(OTHER, "other", NONE)

enum kind {
#define X(id, name, function) KIND_##id,
	KIND_LIST(X)
#undef X
	    KIND_COUNT
};

/* How far from nominal a part may lie, exactly as written.  Deviations are in
 * percent of the nominal, or absolute in the nominal's unit; bounds are values
 * in that unit.  Percent scale the nominal, so that +20 % of -35 V is -42 V;
 * absolute deviations are added, so that +2 V from -35 V is -33 V. */
enum tolerance_form {
	TOLERANCE_NONE,     /* nothing was said */
	TOLERANCE_PERCENT,  /* low and high: percent of the nominal, e.g. -20, +80 */
	TOLERANCE_ABSOLUTE, /* low and high: added to the nominal, e.g. -2, +2 */
	TOLERANCE_AT_LEAST, /* low: the smallest allowed value; open above */
	TOLERANCE_AT_MOST,  /* high: the largest allowed value; open below */
};

struct tolerance {
	enum tolerance_form form;
	struct decimal low, high;
};

struct position {
	char name[NAME_SIZE];
	enum kind kind;
	bool has_nominal;
	struct decimal nominal;  /* SI */
	enum function function;  /* of the nominal; by kind where there is none */
	struct tolerance tolerance;
	struct tolerance service;
	/* Limits of the other quantities, one-sided (`<=3 ohm`); TOLERANCE_NONE for most. */
	struct tolerance beside[QUANTITY_COUNT];
	bool has_rated;
	struct decimal rated;    /* volts */
	char role[48];
	char with[NAME_SIZE];
	char channel[16];
	char twin[NAME_SIZE];
	char part[NAME_SIZE];
	bool has_source, has_max;
	struct decimal source;   /* ohms of the place, for loading */
	struct decimal max;      /* limit of dissipation (W) or current (A) */
	char price[24];
	char note[160];
};

bool name_valid(const char *name, size_t len);

/* Does `word` (in lower case) stand in a role, in either case?  `-` and `_` of the role are
 * spaces.  The beginning of a word is enough: "anode" stands in "anodes", "coupling" not in
 * "decoupling". */
bool role_says(const char *role, const char *word);

const char *kind_name(enum kind k);
bool kind_from_name(const char *name, size_t len, enum kind *out);
/* What a kind is measured with; FUNCTION_NONE where it may be anything. */
enum function kind_function(enum kind k);
/* The kind that a position's letters propose: R resistor, C capacitor, VR or P
 * or RV pot, L and T winding, V valve, D rectifier, F fuse, S or SW switch, ...;
 * KIND_OTHER where the letters say nothing.  Channel prefixes such as "L/" or
 * "B-" before the last '/' are passed over. */
enum kind kind_from_position(const char *name);

/*
 * Read a tolerance as written: `5%`, `+-5 %`, `-20/+80%`, `-10 +10 %`, a letter
 * of IEC 60062 (`J`, `K`, `M`, `Z`, `S` ...), `+-2 V`, `>=20M`, `<=0.1`, `5`
 * (percent).  Absolute forms and bounds are read with `f` as the unit's hint; a
 * prefix alone is enough for absolute (`+-2k`).  An empty text is
 * TOLERANCE_NONE.  Refused: a deviation to one side only, a zero tolerance, more
 * than 1000 %, letters for capacitors (Q T S Z) with a function that is not
 * farad.  B C D F G are percent here: see tolerance_parse_for.  The fault's column counts from 1.
 */
bool tolerance_parse(const char *text, size_t len, enum function f, struct tolerance *out,
                     struct fault *why);
/* The same where the nominal is known (SI): a letter alone on a capacitor below 10 pF counts
 * picofarads, see tolerance_small_letter. */
bool tolerance_parse_for(const char *text, size_t len, enum function f, bool has_nominal,
                         struct decimal nominal, struct tolerance *out, struct fault *why);
/* IEC 60062 4.3: below 10 pF the letters B C D F G are +-0.1, 0.25, 0.5, 1 and 2 pF (F and G
 * from memory).  False, and *out left as it is, for other letters and capacitors. */
bool tolerance_small_letter(char letter, struct decimal farad, struct tolerance *out);
/* For people and sheets: "5%", "-20/+80%", "+-2 V", ">=20 Mohm"; "" for none. */
size_t tolerance_shown(const struct tolerance *t, enum function f, char *out, size_t size);

/*
 * The limits that a tolerance puts around a nominal, in exact decimals.
 * has_low / has_high say which side is bounded; low <= high always, also for a
 * negative nominal.  Returns false where the form needs a nominal and
 * has_nominal is false, where nothing is said (percent of a nominal of zero says
 * nothing), or where it does not fit.
 */
struct limits {
	bool has_low, has_high;
	struct decimal low, high;
};
bool limits_from(const struct tolerance *t, bool has_nominal, struct decimal nominal,
                 struct limits *out);

#endif
