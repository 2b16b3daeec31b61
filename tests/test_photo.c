/* SPDX-License-Identifier: MIT */
/*
 * Photos beside a log: each refusal, what is never written over, what a check finds; and bytes
 * as text.  Rows of base64 are those of RFC 4648, section 10.
 */
#include "daemon/photo.h"
#include "protocol/file/base64.h"
#include "tests/check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define JPEG "\xff\xd8\xff\xe0\0\x10JFIF\0\1\1"

static char folder[64], log_file[96];

static int make_folder(void **state)
{
	(void)state;
	snprintf(folder, sizeof folder, "/tmp/tally-photo-XXXXXX");
	assert_non_null(mkdtemp(folder));
	snprintf(log_file, sizeof log_file, "%s/a.db", folder);
	return 0;
}

static int remove_folder(void **state)
{
	char command[128];
	(void)state;
	snprintf(command, sizeof command, "rm -rf '%s'", folder);
	return system(command) == 0 ? 0 : -1;
}

static struct photo_kept keep(const char *bytes, size_t len)
{
	struct fault why = {.text = ""};
	struct photo_kept kept = {.size = 0};
	struct photo *p = photo_begin(log_file, (int64_t)len, &why);
	if (!p || !photo_add(p, 0, bytes, len, &why) || !photo_keep(p, &kept, &why))
		fail_msg("%s", why.text);
	photo_free(p);
	return kept;
}

static int files(void)
{
	char command[160];
	int n = -1;
	snprintf(command, sizeof command, "ls -A '%s.photos' 2>/dev/null | wc -l", log_file);
	FILE *f = popen(command, "r");
	assert_non_null(f);
	assert_int_equal(fscanf(f, "%d", &n), 1);
	pclose(f);
	return n;
}

static void base64_rows(void **state)
{
	(void)state;
	static const char *const good[][2] = {{"", ""}, {"f", "Zg=="}, {"fo", "Zm8="}, {"foo", "Zm9v"},
	                                      {"foob", "Zm9vYg=="}, {"fooba", "Zm9vYmE="},
	                                      {"foobar", "Zm9vYmFy"}};
	static const char *const bad[] = {"Z", "Zg", "Zg=", "Zh==", "Zm9=", "====", "Z===", "Zm9v\n", "Zm-v",
	                                  "Zg==Zg=="};
	char text[32], bytes[32];
	size_t len;
	for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
		base64_write(good[i][0], strlen(good[i][0]), text);
		assert_string_equal(text, good[i][1]);
		assert_true(base64_read(text, strlen(text), bytes, &len));
		assert_int_equal(len, strlen(good[i][0]));
		assert_memory_equal(bytes, good[i][0], len);
	}
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
		if (base64_read(bad[i], strlen(bad[i]), bytes, &len))
			fail_msg("%s was taken", bad[i]);
}

static void refused(void **state)
{
	(void)state;
	struct fault why;
	struct photo_kept kept;
	static const struct {
		int64_t size;
		const char *log, *says;
	} begins[] = {
	    {0, NULL, "1 byte to 64 MiB"},
	    {PHOTO_SIZE_MAX + 1, NULL, "1 byte to 64 MiB"},
	    {12, "file:/tally-1?vfs=memdb", "no file keeps no photos"},
	    {12, "/nowhere/at/all.db", "cannot be made"},
	};
	for (size_t i = 0; i < sizeof begins / sizeof begins[0]; i++) {
		why = (struct fault){.text = ""};
		if (photo_begin(begins[i].log ? begins[i].log : log_file, begins[i].size, &why) ||
		    !strstr(why.text, begins[i].says))
			fail_msg("%zu: %s", i, why.text);
	}
	struct photo *p = photo_begin(log_file, 20, &why);
	assert_non_null(p);
	assert_false(photo_add(p, 1, JPEG, 12, &why)); /* not in order */
	assert_non_null(strstr(why.text, "expected at most 20 at 0"));
	assert_true(photo_add(p, 0, JPEG, 12, &why));
	assert_false(photo_add(p, 0, JPEG, 8, &why)); /* twice */
	assert_false(photo_add(p, 12, JPEG, 9, &why)); /* more than was said */
	assert_false(photo_keep(p, &kept, &why));
	assert_non_null(strstr(why.text, "not whole: 12 of 20"));
	photo_free(p);
	/* What telephones make, too: what it is, and what to do. */
	static const struct {
		const char *bytes, *says;
	} none[] = {
	    {"GIF89a......", "no jpeg, png or webp"}, {"RIFF....WAVE", "no jpeg, png or webp"},
	    {"\x89PNG\r\n\x1a\r....", "no jpeg, png or webp"}, {"\xff\xd8\xfe.........", "no jpeg, png or webp"},
	    {"....ftypheic", "HEIC or AVIF"}, {"....ftypheix", "save it as JPEG"}, {"....ftypmif1", "HEIC"},
	    {"....ftypavif", "AVIF"}, {"....ftypisom", "a film"},
	};
	for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
		p = photo_begin(log_file, 12, &why);
		assert_true(p && photo_add(p, 0, none[i].bytes, 12, &why));
		assert_false(photo_keep(p, &kept, &why));
		assert_non_null(strstr(why.text, none[i].says));
		photo_free(p);
	}
	assert_int_equal(files(), 0); /* nothing half written stays */
	assert_false(photo_find(log_file, "../../etc/passwd", &kept, &why));
	assert_non_null(strstr(why.text, "no hash of a photo"));
	char hash[65];
	memset(hash, 'a', 64);
	hash[64] = '\0';
	assert_false(photo_find(log_file, hash, &kept, &why));
	assert_non_null(strstr(why.text, "no photo aaaa"));
}

static void never_written_over(void **state)
{
	(void)state;
	struct fault why;
	struct photo_kept kept = keep(JPEG "one", 15), found, again;
	char path[300];
	assert_string_equal(kept.type, "jpeg");
	assert_true(photo_find(log_file, kept.hash, &found, &why));
	assert_int_equal(found.size, 15);
	assert_int_equal(photo_check(log_file, &kept), PHOTO_GOOD);
	again = keep(JPEG "one", 15); /* the same: the same file */
	assert_string_equal(again.hash, kept.hash);
	assert_int_equal(files(), 1);
	snprintf(path, sizeof path, "%s.photos/%s.jpg", log_file, kept.hash);
	assert_int_equal(chmod(path, 0600), 0);
	FILE *f = fopen(path, "wb");
	assert_non_null(f);
	fwrite("another thing..", 1, 15, f);
	fclose(f);
	assert_int_equal(photo_check(log_file, &kept), PHOTO_ALTERED);
	struct photo *p = photo_begin(log_file, 15, &why);
	assert_true(p && photo_add(p, 0, JPEG "one", 15, &why));
	assert_false(photo_keep(p, &again, &why));
	assert_non_null(strstr(why.text, "not written over"));
	photo_free(p);
	assert_int_equal(photo_check(log_file, &kept), PHOTO_ALTERED);
	assert_int_equal(unlink(path), 0);
	assert_int_equal(photo_check(log_file, &kept), PHOTO_MISSING);
	assert_int_equal(files(), 0);
}

/* What a kill left is swept; what is kept stays. */
static void swept(void **state)
{
	(void)state;
	struct fault why;
	struct photo_kept kept = keep(JPEG "two", 15);
	struct photo *p = photo_begin(log_file, 100, &why);
	assert_true(p && photo_add(p, 0, JPEG, 12, &why));
	assert_int_equal(files(), 2);
	photo_sweep(log_file);
	assert_int_equal(files(), 1);
	assert_int_equal(photo_check(log_file, &kept), PHOTO_GOOD);
	photo_free(p);
	photo_sweep("/nowhere/at/all.db");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(base64_rows),
	    cmocka_unit_test_setup_teardown(refused, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(never_written_over, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(swept, make_folder, remove_folder),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
