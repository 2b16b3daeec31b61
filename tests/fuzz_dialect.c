/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: a dialect file, and behind the line `----` a frame for it.  A
 * refused file has a sentence and a place; a loaded one reads any frame in bounded
 * time, and what it reads is well formed.
 */
#include "protocol/meter/dialect_file.h"
#include "protocol/trade/position.h"
#include "tests/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct dialect_file d;
	static const char mark[] = "\n----\n";
	struct fault why;
	const uint8_t *cut = memmem(data, size, mark, sizeof mark - 1);
	size_t len = cut ? (size_t)(cut - data) : size;
	const char *frame = cut ? (const char *)cut + sizeof mark - 1 : "";
	size_t frame_len = cut ? size - len - (sizeof mark - 1) : 0;
	memset(&why, 0, sizeof why);
	if (!dialect_file_load(&d, "f", (const char *)data, len, &why)) {
		must_be_placed(&why, data, len);
		return 0;
	}
	must(d.samples >= 1 && d.row.understand && name_valid(d.name, strlen(d.name)));
	must(!d.row.asked || d.row.query[0]);
	struct frame_splitter splitter;
	dialect_split(&d.row, &splitter, 0); /* any sync is taken or not, and never a trap */
	if (frame_len <= FRAME_MAX) {
		struct dialect_setting setting = {.function = d.function, .rules = d.row.rules};
		struct dialect_memory memory = {0};
		struct frame f = {.bytes = frame, .len = frame_len, .fault = FRAME_GOOD};
		struct understood u;
		d.row.understand(&setting, &memory, &f, &u);
		must(u.said != SAID_NOTHING || u.why[0]);
		must(u.count >= 0 && u.count <= READINGS_IN_FRAME_MAX);
		for (int i = 0; i < u.count; i++) {
			const struct reading *r = &u.reading[i];
			must(r->function > FUNCTION_NONE && r->function < FUNCTION_COUNT);
			must(!(r->has_value && (r->state & READING_OVERLOAD)));
			must(r->value.e >= DECIMAL_EXP_MIN && r->value.e <= DECIMAL_EXP_MAX);
		}
	}
	dialect_file_free(&d);
	return 0;
}
