/* SPDX-License-Identifier: MIT */
/* See meter_class.h. */
#include "protocol/trade/meter_class.h"

#include <string.h>

static const struct {
	const char *word, *name;
} names[METER_CLASS_COUNT] = {
#define X(id, word, name) {word, name},
	METER_CLASS_LIST(X)
#undef X
};

/* A display of 2000 counts ends at 1999, some at 2199; one of 6000 at 3999 to 9999; what
 * shows more is no handheld of 6000.  Common practice, no source. */
static const int64_t end_of_2000 = 2200, end_of_6000 = 10000;

struct half_width {
	double percent, counts;
};

/* Common practice, no source: see meter_class.h. */
static const struct half_width assumed[METER_CLASS_COUNT][FUNCTION_COUNT] = {
	[METER_CLASS_HANDHELD_2000] = {
	    [FUNCTION_NONE] = {5, 10},     [FUNCTION_VOLT_DC] = {1, 5},  [FUNCTION_VOLT_AC] = {2.5, 10},
	    [FUNCTION_AMP_DC] = {2, 5},    [FUNCTION_AMP_AC] = {3, 10},  [FUNCTION_OHM] = {1.5, 5},
	    [FUNCTION_FARAD] = {5, 10},    [FUNCTION_HENRY] = {5, 10},   [FUNCTION_HERTZ] = {0.5, 5},
	    [FUNCTION_CELSIUS] = {3, 3},   [FUNCTION_DIODE] = {3, 5},    [FUNCTION_PERCENT] = {5, 10},
	    [FUNCTION_NUMBER] = {5, 10},
	},
	[METER_CLASS_HANDHELD_6000] = {
	    [FUNCTION_NONE] = {5, 10},     [FUNCTION_VOLT_DC] = {0.8, 5}, [FUNCTION_VOLT_AC] = {1.5, 10},
	    [FUNCTION_AMP_DC] = {1.5, 5},  [FUNCTION_AMP_AC] = {2.5, 10}, [FUNCTION_OHM] = {1.2, 5},
	    [FUNCTION_FARAD] = {4, 10},    [FUNCTION_HENRY] = {4, 10},    [FUNCTION_HERTZ] = {0.2, 5},
	    [FUNCTION_CELSIUS] = {2, 10},  [FUNCTION_DIODE] = {2, 5},     [FUNCTION_PERCENT] = {3, 10},
	    [FUNCTION_NUMBER] = {5, 10},
	},
	[METER_CLASS_BENCH_50000] = {
	    [FUNCTION_NONE] = {5, 10},     [FUNCTION_VOLT_DC] = {0.1, 10}, [FUNCTION_VOLT_AC] = {1, 50},
	    [FUNCTION_AMP_DC] = {0.3, 20}, [FUNCTION_AMP_AC] = {1.5, 50},  [FUNCTION_OHM] = {0.2, 10},
	    [FUNCTION_FARAD] = {2, 10},    [FUNCTION_HENRY] = {3, 10},     [FUNCTION_HERTZ] = {0.05, 5},
	    [FUNCTION_CELSIUS] = {1, 10},  [FUNCTION_DIODE] = {0.5, 10},   [FUNCTION_PERCENT] = {2, 10},
	    [FUNCTION_NUMBER] = {5, 10},
	},
	/* A bridge that reads volts at all reads them as a cheap handheld does. */
	[METER_CLASS_LCR] = {
	    [FUNCTION_NONE] = {5, 10},     [FUNCTION_VOLT_DC] = {1, 5},  [FUNCTION_VOLT_AC] = {2.5, 10},
	    [FUNCTION_AMP_DC] = {2, 5},    [FUNCTION_AMP_AC] = {3, 10},  [FUNCTION_OHM] = {1, 5},
	    [FUNCTION_FARAD] = {1, 5},     [FUNCTION_HENRY] = {1.5, 5},  [FUNCTION_HERTZ] = {0.2, 5},
	    [FUNCTION_CELSIUS] = {3, 3},   [FUNCTION_DIODE] = {3, 5},    [FUNCTION_PERCENT] = {5, 10},
	    [FUNCTION_NUMBER] = {5, 10},
	},
};

const char *meter_class_word(enum meter_class c)
{
	return (unsigned)c < METER_CLASS_COUNT ? names[c].word : "";
}

const char *meter_class_name(enum meter_class c)
{
	return names[(unsigned)c < METER_CLASS_COUNT ? c : METER_CLASS_UNKNOWN].name;
}

bool meter_class_from_word(const char *word, size_t len, enum meter_class *out)
{
	for (int c = METER_CLASS_UNKNOWN + 1; c < METER_CLASS_COUNT; c++)
		if (strlen(names[c].word) == len && memcmp(names[c].word, word, len) == 0) {
			*out = (enum meter_class)c;
			return true;
		}
	return false;
}

void meter_class_accuracy(enum meter_class c, enum function f, double *percent, double *counts)
{
	if ((unsigned)c >= METER_CLASS_COUNT || c == METER_CLASS_UNKNOWN)
		c = METER_CLASS_HANDHELD_2000;
	if ((unsigned)f >= FUNCTION_COUNT)
		f = FUNCTION_NONE;
	*percent = assumed[c][f].percent;
	*counts = assumed[c][f].counts;
}

enum meter_class meter_class_of_counts(int64_t counts)
{
	uint64_t seen = counts < 0 ? -(uint64_t)counts : (uint64_t)counts;
	return seen >= (uint64_t)end_of_6000 ? METER_CLASS_BENCH_50000
	     : seen >= (uint64_t)end_of_2000 ? METER_CLASS_HANDHELD_6000
	                                     : METER_CLASS_HANDHELD_2000;
}
