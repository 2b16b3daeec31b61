/* SPDX-License-Identifier: MIT */
/*
 * The second value that a meter sends beside the first: with a capacitance its dissipation,
 * its series resistance or Q, with a voltage its frequency.
 */
#ifndef TALLY_TRADE_SECOND_H
#define TALLY_TRADE_SECOND_H

#include "protocol/trade/position.h"
#include "protocol/trade/uncertainty.h"

/* id, word, the function that it is in, the quantity that it shows (QUANTITY_COUNT: none) */
#define SECOND_LIST(X)                                              \
	X(NONE, "none", FUNCTION_NONE, QUANTITY_COUNT)                  \
	X(DISSIPATION, "dissipation", FUNCTION_NUMBER, QUANTITY_DISSIPATION) \
	X(ESR, "esr", FUNCTION_OHM, QUANTITY_ESR)                       \
	X(Q, "q", FUNCTION_NUMBER, QUANTITY_COUNT)                      \
	X(HERTZ, "hertz", FUNCTION_HERTZ, QUANTITY_COUNT)

enum second_kind {
#define X(id, word, function, quantity) SECOND_##id,
	SECOND_LIST(X)
#undef X
	    SECOND_COUNT
};

struct second {
	enum second_kind kind; /* SECOND_NONE: there is none */
	struct decimal value;  /* its e is the weight of the last digit */
	double u;              /* standard uncertainty; 0: of a record that does not say */
	int n;                 /* readings used */
	struct basis basis;    /* what u was made of */
};

const char *second_word(enum second_kind k);
bool second_from_word(const char *word, size_t len, enum second_kind *out);
enum function second_function(enum second_kind k);
/* QUANTITY_COUNT where it shows none of a part. */
enum quantity second_quantity(enum second_kind k);

/* u and its basis from n readings that scatter by s, by the meter's statement for the function
 * of that value; NULL: by a class that is assumed, and marked so. */
void second_uncertainty(struct second *second, const struct accuracy *accuracy, double s, int n);

/*
 * The frequency and the way of measuring that `test farad = 1 kHz, series` names, for the
 * members `frequency` and `mode` of an entry.  False, and 0, where no frequency stands
 * there; mode is "" where neither series nor parallel does.
 */
bool test_frequency(const char *test, struct decimal *hertz, char mode[12]);

#endif
