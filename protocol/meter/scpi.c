/* SPDX-License-Identifier: MIT */
/*
 * The dialect `scpi`: what an answer is, and how many of its digits count.
 * The forms of answers and the rule of the last digit stand in scpi.h.
 */
#include "protocol/meter/scpi.h"

#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

/* So many figures fit any range of any meter: a value that needs no more at the
 * known digit says nothing about a change of range. */
#define FIGURES_ALWAYS 3

static void nothing(struct understood *out, const char *why)
{
	out->count = 0;
	out->said = SAID_NOTHING;
	snprintf(out->why, sizeof out->why, "%s", why);
}

/* Text of others goes to people: ASCII, cut to what there is room for. */
static void keep_text(struct understood *out, const char *text, size_t len)
{
	size_t n = len < sizeof out->text - 1 ? len : sizeof out->text - 1;
	for (size_t i = 0; i < n; i++)
		out->text[i] = (unsigned char)text[i] < 0x80 ? text[i] : '?';
	out->text[n] = '\0';
}

const struct scpi_error_kind *scpi_error_kind(int number)
{
	static const struct {
		int from, to;
		struct scpi_error_kind kind;
	} kinds[] = {
	    {-199, -100, {5, "CME command error", "it does not know this, or not in this form"}},
	    {-299, -200, {4, "EXE execution error", "it knows this, and cannot do it so"}},
	    {-399, -300, {3, "DDE device dependent error", "something is wrong in the meter itself"}},
	    {-499, -400, {2, "QYE query error", "question and answer went past each other"}},
	    {-599, -500, {7, "PON power on", "it was switched on just now"}},
	    {-699, -600, {6, "URQ user request", "somebody pressed a key on it"}},
	    {-799, -700, {1, "RQC request control", "it wants to lead the bus"}},
	    {-899, -800, {0, "OPC operation complete", "it has done what it was told"}},
	    {1, 32767, {3, "DDE device dependent error", "its own handbook says what this is"}},
	};
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (number >= kinds[i].from && number <= kinds[i].to)
			return &kinds[i].kind;
	return NULL;
}

/* The last byte of a string that opens at `text`, NULL where it never closes.  A
 * doubled quote inside it is one quote (IEEE 488.2 8.7.8). */
static const char *string_end(const char *text, const char *end)
{
	char quote = *text;
	for (const char *p = text + 1; p < end; p++) {
		if (*p != quote)
			continue;
		if (p + 1 < end && p[1] == quote)
			p++;
		else
			return p;
	}
	return NULL;
}

static bool is_string(const char *text, const char *end)
{
	return text < end && (*text == '"' || *text == '\'') && string_end(text, end) == end - 1;
}

/* <NR1>,"text": an entry of the error queue (SCPI-99 volume 2, 21.8). */
static bool read_error(const char *text, const char *end, int *number)
{
	const char *p = text;
	bool minus = p < end && *p == '-';
	int n = 0;
	if (p < end && (*p == '+' || *p == '-'))
		p++;
	const char *first = p;
	for (; p < end && ascii_digit(*p) && p - first < 6; p++)
		n = n * 10 + (*p - '0');
	if (p == first)
		return false;
	while (p < end && ascii_blank(*p))
		p++;
	if (p == end || *p++ != ',')
		return false;
	while (p < end && ascii_blank(*p))
		p++;
	if (!is_string(p, end))
		return false;
	*number = minus ? -n : n;
	return true;
}

/* `values` of the list, up to the first that is none; -1 and `why` on a fault. */
static int read_values(const char *text, const char *end, struct scpi_value *values, char *why,
                       size_t size)
{
	int count = 0;
	for (const char *p = text;; p++) {
		const char *comma = memchr(p, ',', (size_t)(end - p));
		const char *stop = comma ? comma : end;
		if (count == READINGS_IN_FRAME_MAX) {
			snprintf(why, size, "at most %d values were expected", READINGS_IN_FRAME_MAX);
			return -1;
		}
		if (!scpi_value_parse(p, (size_t)(stop - p), &values[count], why, size))
			return -1;
		count++;
		if (!comma)
			return count;
		p = comma;
	}
}

/* The power of ten of the first digit; `v` is not 0. */
static int decade_of(struct decimal v)
{
	int decade = v.e;
	for (int64_t n = v.n / 10; n != 0; n /= 10)
		decade++;
	return decade;
}

/* What a value says about the digit of the range that the meter is in. */
static void learn(struct dialect_memory *memory, struct decimal stripped)
{
	int decade = decade_of(stripped);
	if (!memory->has_finest || stripped.e < memory->finest) {
		/* The first, or a finer range: what was seen before is of another range. */
		memory->finest = stripped.e;
		memory->decade = decade;
		memory->has_finest = true;
		return;
	}
	int rise = decade - memory->decade;
	if (rise <= 0)
		return;
	memory->decade = decade;
	if (decade - memory->finest + 1 <= FIGURES_ALWAYS)
		return;
	int same_figures = memory->finest + rise;
	memory->finest = stripped.e < same_figures ? stripped.e : same_figures;
}

/* Write the value with the digit that the meter has. */
static struct decimal weigh(const struct dialect_setting *setting,
                            struct dialect_memory *memory, struct decimal v)
{
	struct decimal stripped = decimal_strip(v), out;
	if (v.n != 0)
		learn(memory, stripped);
	if (setting->has_digit &&
	    decimal_rescale(stripped, decimal_strip(setting->digit).e, &out))
		return out;
	/* None configured, or the value has finer digits than that: none is dropped. */
	if (decimal_rescale(stripped, memory->has_finest ? memory->finest : v.e, &out))
		return out;
	return stripped; /* more figures than a decimal holds */
}

/* The unit says what it is; where it leaves a choice (V: DC, AC or diode), or where
 * there is none, the configuration does. */
static enum function function_of(const struct dialect_setting *setting,
                                 const struct scpi_value *v)
{
	enum function configured = setting->function;
	if (v->function == FUNCTION_NONE)
		return configured == FUNCTION_NONE ? FUNCTION_NUMBER : configured;
	bool same_unit = strcmp(function_unit(configured), function_unit(v->function)) == 0;
	return same_unit && !v->coupled ? configured : v->function;
}

static struct reading reading_of(const struct dialect_setting *setting,
                                 struct dialect_memory *memory, const struct scpi_value *v)
{
	struct reading r = {.function = function_of(setting, v)};
	if (memory->function != r.function)
		memory->has_finest = false;
	memory->function = r.function;
	switch (v->kind) {
	case SCPI_INFINITE:
		r.state = READING_OVERLOAD;
		r.negative = v->negative;
		memory->has_finest = false; /* the next may be of another range */
		break;
	case SCPI_NOT_A_NUMBER:
		r.state = READING_INVALID;
		break;
	case SCPI_NUMBER:
		r.has_value = true;
		r.value = weigh(setting, memory, v->value);
		r.prefix = quantity_prefix(r.value, r.function);
		break;
	}
	return r;
}

/* The second of a pair: its digits are its own. */
static void read_second(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct scpi_value *v, struct reading *first)
{
	struct dialect_setting its = {.function = setting->second};
	struct dialect_memory own = {.function = setting->second, .has_finest = memory->second_has_finest,
	                             .finest = memory->second_finest, .decade = memory->second_decade};
	struct reading r = reading_of(&its, &own, v);
	memory->second_has_finest = own.has_finest;
	memory->second_finest = own.finest;
	memory->second_decade = own.decade;
	/* Without a first value it says nothing, and where it is none, the first stands alone. */
	first->has_second = first->has_value && r.has_value;
	first->second = r.value;
}

/* Is this text, and no number that came garbled?  It begins with no sign, digit or
 * point, and has more letters than digits, a word of two letters among them. */
static bool is_wordy(const char *text, const char *end)
{
	int letters = 0, digits = 0, run = 0, longest = 0;
	if (text < end && (*text == '+' || *text == '-' || *text == '.' || *text == '#'))
		return false;
	for (const char *p = text; p < end; p++) {
		run = ascii_letter(*p) || (unsigned char)*p >= 0x80 ? run + 1 : 0;
		letters += run > 0;
		digits += ascii_digit(*p);
		longest = run > longest ? run : longest;
	}
	return letters > digits && longest >= 2;
}

/* Maker, model, serial, version (IEEE 488.2 10.14): the maker is a word. */
static bool is_identity(const char *text, const char *end)
{
	const char *first = memchr(text, ',', (size_t)(end - text));
	struct scpi_value value;
	char why[120];
	int commas = 0;
	for (const char *p = text; p < end; p++)
		commas += *p == ',';
	return commas >= 3 && is_wordy(text, first) &&
	       !scpi_value_parse(text, (size_t)(first - text), &value, why, sizeof why);
}

/* A line that has nothing to do with values; a word for no number in front of a
 * comma is a broken list. */
static bool is_banner(const char *text, const char *end)
{
	const char *comma = memchr(text, ',', (size_t)(end - text));
	struct scpi_value value;
	char why[120];
	if (comma && scpi_value_parse(text, (size_t)(comma - text), &value, why, sizeof why))
		return false;
	return is_string(text, end) || (!ascii_digit(*text) && *text != ',' && is_wordy(text, end));
}

static bool has_control(const char *text, const char *end)
{
	for (const char *p = text; p < end; p++)
		if (((unsigned char)*p < 0x20 && *p != '\t') || *p == 0x7f)
			return true;
	return false;
}

/* Does a definite or indefinite block begin one of the elements?  In a string # is a
 * character like others. */
static bool has_block(const char *text, const char *end)
{
	bool begins = true;
	for (const char *p = text; p < end; p++) {
		if (begins && *p == '#' && p + 1 < end && ascii_digit(p[1]))
			return true;
		if (begins && (*p == '"' || *p == '\'') && string_end(p, end))
			p = string_end(p, end);
		begins = *p == ',' || *p == ';' || (begins && ascii_blank(*p));
	}
	return false;
}

/* `why` says what kept the text from being a list of numbers. */
static void understand_text(const char *text, const char *end, const char *why,
                            struct understood *out)
{
	enum function f = scpi_function_answer(text, (size_t)(end - text));
	if (f != FUNCTION_NONE) {
		out->said = SAID_OTHER;
		out->function = f;
		keep_text(out, text, (size_t)(end - text));
	} else if (is_identity(text, end)) {
		out->said = SAID_IDENTITY;
		keep_text(out, text, (size_t)(end - text));
	} else if (is_banner(text, end)) {
		out->said = SAID_OTHER;
		keep_text(out, text, (size_t)(end - text));
	} else if (memchr(text, ';', (size_t)(end - text))) {
		nothing(out, "one answer was expected, not several with ; between them");
	} else {
		nothing(out, why);
	}
}

void scpi_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                     const struct frame *f, struct understood *out)
{
	struct scpi_value values[READINGS_IN_FRAME_MAX];
	const char *text = f->bytes, *end = f->bytes + f->len;
	char why[sizeof out->why];
	understood_clear(out, SAID_OTHER);
	while (text < end && ascii_blank(*text))
		text++;
	while (end > text && ascii_blank(end[-1]))
		end--;
	if (text == end)
		return;
	if (has_block(text, end)) { /* whose data may be any bytes */
		nothing(out, "a number was expected, not a block of data: set the format to ASCII");
		return;
	}
	if (has_control(text, end)) {
		nothing(out, "printable text was expected, without control bytes");
		return;
	}
	if (read_error(text, end, &out->error_number)) {
		out->said = SAID_ERROR;
		keep_text(out, text, (size_t)(end - text));
		return;
	}
	int count = read_values(text, end, values, why, sizeof why);
	if (count < 0) {
		understand_text(text, end, why, out);
		return;
	}
	out->said = SAID_READINGS;
	bool pairs = setting->second != FUNCTION_NONE;
	for (int i = 0; i < count; i += pairs ? 2 : 1) {
		struct reading *r = &out->reading[out->count++];
		*r = reading_of(setting, memory, &values[i]);
		r->t = f->t;
		if (pairs && i + 1 < count)
			read_second(setting, memory, &values[i + 1], r);
	}
}
