/* SPDX-License-Identifier: MIT */
/* The chain of hashes, anchors, and the rules for the text of a record. */
#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#include "tests/check.h"

#include <stdlib.h>

/* FIPS 180-4, the example set published with it. */
static void fips_180_4(void **state)
{
	(void)state;
	char *million = malloc(1000000);
	memset(million, 'a', 1000000);
	const struct {
		const char *message;
		size_t len;
		const char *hash;
	} rows[] = {
	    {"", 0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
	    {"abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
	    {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56,
	     "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
	    {"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqr"
	     "lmnopqrsmnopqrstnopqrstu", 112,
	     "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1"},
	    {million, 1000000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		uint8_t hash[SEAL_SIZE];
		char hex[SEAL_HEX_SIZE];
		seal_sha256(rows[i].message, rows[i].len, hash);
		seal_hex(hash, SEAL_SIZE, hex);
		assert_string_equal(hex, rows[i].hash);
	}
	print_message("  %d messages of FIPS 180-4\n", (int)(sizeof rows / sizeof *rows));
	free(million);
}

/* The rule of seal.h spelt out: prefix, hash before, text, in one buffer. */
static void by_the_rule(const uint8_t before[SEAL_SIZE], const char *text, size_t len,
                        uint8_t out[SEAL_SIZE])
{
	char *all = malloc(15 + SEAL_SIZE + len);
	memcpy(all, "tally-record-1\n", 15);
	memcpy(all + 15, before, SEAL_SIZE);
	memcpy(all + 15 + SEAL_SIZE, text, len);
	seal_sha256(all, 15 + SEAL_SIZE + len, out);
	free(all);
}

static void chain(void **state)
{
	(void)state;
	struct sealer *s = sealer_open();
	assert_non_null(s);
	uint8_t rule[SEAL_SIZE] = {0}, once[SEAL_SIZE] = {0}, kept[SEAL_SIZE] = {0};
	char text[3000];
	for (int seq = 1; seq <= 300; seq++) {
		/* Lengths on both sides of the 64 bytes of a block. */
		int len = snprintf(text, sizeof text, "{\"seq\":%d,\"x\":\"%0*d\"}", seq, seq * 7, 1);
		uint8_t before[SEAL_SIZE];
		memcpy(before, rule, SEAL_SIZE);
		by_the_rule(before, text, (size_t)len, rule);
		seal_next(once, text, (size_t)len, once);
		assert_true(sealer_next(s, kept, text, (size_t)len, kept));
		assert_memory_equal(rule, once, SEAL_SIZE);
		assert_memory_equal(rule, kept, SEAL_SIZE);
	}
	/* One bit of the text, or of the hash before, changes the hash. */
	uint8_t other[SEAL_SIZE];
	text[5] ^= 1;
	assert_true(sealer_next(s, kept, text, strlen(text), other));
	text[5] ^= 1;
	uint8_t whole[SEAL_SIZE];
	assert_true(sealer_next(s, kept, text, strlen(text), whole));
	assert_memory_not_equal(whole, other, SEAL_SIZE);
	kept[31] ^= 1;
	assert_true(sealer_next(s, kept, text, strlen(text), other));
	assert_memory_not_equal(whole, other, SEAL_SIZE);
	sealer_close(s);
	sealer_close(NULL);
}

/* Computed once with python3 hashlib from protocol/SEAL.md, example. */
static void known_answer(void **state)
{
	(void)state;
	static const char one[] = "{\"seq\":1,\"t\":\"2026-11-25T10:00:00.000000Z\",\"kind\":\"log\","
	                          "\"format\":\"tally-record-1\",\"identity\":"
	                          "\"000102030405060708090a0b0c0d0e0f\",\"bench\":\"north\","
	                          "\"version\":\"0.1\",\"key\":null}";
	static const char two[] = "{\"seq\":2,\"t\":\"2026-11-25T10:00:01.000000Z\",\"kind\":\"note\","
	                          "\"position\":\"C7\",\"text\":\"0.47 \xc2\xb5" "F, leaky\"}";
	uint8_t hash[SEAL_SIZE] = {0};
	char hex[SEAL_HEX_SIZE];
	seal_next(hash, one, strlen(one), hash);
	seal_hex(hash, SEAL_SIZE, hex);
	assert_string_equal(hex, "a11789ff21884923b559f749bd2bd29942c320c30306941b3beada417a87ebaa");
	seal_next(hash, two, strlen(two), hash);
	seal_hex(hash, SEAL_SIZE, hex);
	assert_string_equal(hex, "cffc19ab2ad3a8e577eb9c0945adb16b55b208caee1176fc828e5734e4ffb22d");
}

static void places(void **state)
{
	(void)state;
	static const struct {
		int64_t seq;
		const char *text;
		bool fits;
	} rows[] = {
	    {1, "{\"seq\":1,\"t\":\"2026", true},
	    {12, "{\"seq\":12,\"t\":\"", true},
	    {1, "{\"seq\":12,\"t\":\"", false},
	    {12, "{\"seq\":1,\"t\":\"2", false},
	    {1, "{\"seq\": 1,\"t\":\"", false},
	    {1, "{ \"seq\":1,\"t\":\"", false},
	    {1, "{\"seq\":01,\"t\":\"", false},
	    {1, "{\"seq\":1.0,\"t\":\"", false},
	    {1, "{\"seq\":1,\"t\":", false},
	    {0, "{\"seq\":0,\"t\":\"", false},
	    {-1, "{\"seq\":-1,\"t\":\"", false},
	    {INT64_MAX, "{\"seq\":9223372036854775807,\"t\":\"", true},
	    {1, "", false},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		assert_int_equal(seal_place_fits(rows[i].seq, rows[i].text, strlen(rows[i].text)),
		                 rows[i].fits);
}

#define H32 "0123456789abcdef0123456789abcdef"

static void anchors(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int64_t seq; /* 0: refused */
	} rows[] = {
	    {"1:" H32 H32, 1},
	    {"9223372036854775807:" H32 H32, INT64_MAX},
	    {"17:0123456789ABCDEF0123456789abcdef" H32, 17},
	    {"9223372036854775808:" H32 H32, 0},
	    {"0:" H32 H32, 0},
	    {"01:" H32 H32, 0},
	    {"-1:" H32 H32, 0},
	    {"+1:" H32 H32, 0},
	    {":" H32 H32, 0},
	    {"1" H32 H32, 0},
	    {"1 :" H32 H32, 0},
	    {"1:" H32 "0123456789abcdef0123456789abcde", 0},
	    {"1:" H32 H32 "0", 0},
	    {"1:" H32 H32 " ", 0},
	    {" 1:" H32 H32, 0},
	    {"1:" H32 "0123456789abcdef0123456789abcdeg", 0},
	    {"", 0},
	    {"1", 0},
	    {"1:", 0},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int64_t seq = 0;
		uint8_t hash[SEAL_SIZE];
		bool good = anchor_parse(rows[i].text, strlen(rows[i].text), &seq, hash);
		note_row("%s", rows[i].text);
		assert_int_equal(good, rows[i].seq != 0);
		assert_true(seq == rows[i].seq);
		if (!good)
			continue;
		char out[ANCHOR_SIZE];
		size_t n = anchor_text(seq, hash, out);
		assert_int_equal(n, strlen(rows[i].text));
		if (i != 2) /* written in lower case */
			assert_string_equal(out, rows[i].text);
		assert_int_equal(hash[0], 0x01);
		assert_int_equal(hash[31], 0xef);
	}
	uint8_t bytes[2] = {7, 7};
	assert_false(seal_unhex("0g12", 4, bytes, 2));
	assert_int_equal(bytes[0], 7);
	assert_true(seal_unhex("fF0a", 4, bytes, 2));
	assert_int_equal(bytes[0], 255);
	assert_int_equal(bytes[1], 10);
}

/* Rules 3 to 6 of protocol/SEAL.md; the column is the first byte that breaks one. */
static void record_rules(void **state)
{
	(void)state;
#define HEAD "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"note\""
	static const struct {
		const char *legend;
		int64_t seq;
		const char *text;
		int column; /* 0: valid */
	} rows[] = {
	    {"shortest", 2, HEAD "}", 0},
	    {"more", 2, HEAD ",\"text\":\"x\",\"n\":[1,{}]}", 0},
	    {"record 1", 1, "{\"seq\":1,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"log\"}", 0},
	    {"number of another", 3, HEAD "}", 1},
	    {"no such day", 2, "{\"seq\":2,\"t\":\"2026-11-31T10:00:00.123456Z\",\"kind\":\"note\"}", 15},
	    {"cut in the time", 2, "{\"seq\":2,\"t\":\"2026", 15},
	    {"kind not third", 2,
	     "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"x\":1,\"kind\":\"note\"}", 42},
	    {"no word", 2, "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"No te\"}", 52},
	    {"empty kind", 2, "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"\"}", 52},
	    {"kind not a string", 2, "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":1}", 42},
	    {"log in the middle", 2, "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"log\"}", 52},
	    {"record 1 of another kind", 1,
	     "{\"seq\":1,\"t\":\"2026-11-25T10:00:00.123456Z\",\"kind\":\"note\"}", 52},
	    {"key given twice", 2, HEAD ",\"seq\":2}", 58},
	    {"not closed", 2, HEAD ",\"text\":1", 66},
	    {"two texts", 2, HEAD "}{}", 58},
	    {"space after it", 2, HEAD "} ", 58},
	    {"line break between tokens", 2, HEAD ",\n\"text\":1}", 58},
	    {"NaN", 2, HEAD ",\"u\":NaN}", 62},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why = {.column = 0};
		bool good = record_valid(rows[i].seq, rows[i].text, strlen(rows[i].text), &why);
		note_row("%s: %s", rows[i].legend, good ? "valid" : why.text);
		assert_int_equal(good, rows[i].column == 0);
		assert_int_equal(why.column, rows[i].column);
	}
	/* Every prefix is refused and harmless. */
	static const char whole[] = HEAD ",\"text\":\"x\"}";
	for (size_t n = 0; n + 1 < sizeof whole; n++) {
		char *cut = malloc(n ? n : 1);
		struct fault why;
		memcpy(cut, whole, n);
		assert_false(record_valid(2, cut, n, &why));
		free(cut);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(fips_180_4), cmocka_unit_test(chain),   cmocka_unit_test(known_answer),
	    cmocka_unit_test(places),     cmocka_unit_test(anchors), cmocka_unit_test(record_rules),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
