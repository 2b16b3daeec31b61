/* SPDX-License-Identifier: MIT */
/*
 * Notes with photos, the unit, its way back to power, a bound meter and a second visit, through
 * the whole program, with a daemon that is killed.
 *
 * The first bytes of pictures are those of ITU-T T.81 (annex B), PNG (W3C, 5.2) and RFC 9649; what
 * follows them here is no picture.  Else the project's own promises; no outside source.
 */
#include "tests/daemon_stand.h"

static const char sheet_csv[] = "position,kind,nominal,tolerance,role\n"
                                "C7,paper,0.1 uF,20%,coupling\n"
                                "V3,,,,\n"
                                "R12,carbon-composition,470k,10%,anode load\n";

static void begin(struct stand *s)
{
	int red = meter_new(s, "red", 20, "accuracy ohm = 0.5% + 2\naccuracy farad = 1% + 3\n");
	meter_says(s, red, "470.2 kOhm");
	meter_plug(s, red);
	daemon_start(s);
	file_write(in_dir(s, "sheet.csv"), sheet_csv);
	musttally(s, 0, "job", "start", "first");
	musttally(s, 0, "sheet", "load", in_dir(s, "sheet.csv"));
	musttally(s, 0, "reach", "lifted");
}

/* A file that begins so and is so long. */
static const char *picture(struct stand *s, const char *name, const char *head, size_t n, size_t len)
{
	static char path[4][512];
	static int turn;
	char *p = path[turn++ % 4];
	snprintf(p, sizeof path[0], "%s", in_dir(s, name));
	FILE *f = fopen(p, "wb");
	assert_non_null(f);
	fwrite(head, 1, n, f);
	for (size_t i = n; i < len; i++)
		fputc((int)(i * 7 % 251), f);
	assert_int_equal(fclose(f), 0);
	return p;
}

#define JPEG "\xff\xd8\xff\xe0\0\x10JFIF\0"
#define PNG "\x89PNG\r\n\x1a\n"
#define WEBP "RIFF\x24\0\0\0WEBPVP8 "

static void derived(struct stand *s, char *all, size_t size)
{
	static const char *const verbs[][4] = {
		{"--json", "notes", NULL}, {"--json", "photos", NULL}, {"--json", "job", "show", NULL},
		{"--json", "job", "ready"}, {"--json", "entries", "--valve", "A17"}, {"--json", "at", NULL},
		{"--json", "entries", "--beside", "first"}};
	all[0] = '\0';
	for (size_t i = 0; i < sizeof verbs / sizeof verbs[0]; i++) {
		const char *words[] = {verbs[i][0], verbs[i][1], verbs[i][2], verbs[i][2] ? verbs[i][3] : NULL,
		                       NULL};
		struct answer a = tally_run(s, words);
		assert_true(a.status >= 0 && a.status <= 2);
		assert_true(strlen(all) + strlen(a.out) < size);
		strcat(all, a.out);
		answer_free(&a);
	}
}

static void test_photos(void **state)
{
	struct stand *s = *state;
	char path[600], before[32768], after[32768], hash[80];
	begin(s);
	/* Larger than one piece, and each type. */
	const char *jpeg = picture(s, "front.jpg", JPEG, sizeof JPEG - 1, 1200000);
	mustanswer(s, 0, "noted, with the photo", "note", "C7", "leaks at one end", "--photo", jpeg);
	mustanswer(s, 0, "noted, with", "note", "C7", "its print", "--photo",
	         picture(s, "print.png", PNG, sizeof PNG - 1, 64));
	mustanswer(s, 0, "noted, with", "note", "R12", "dark", "--photo",
	         picture(s, "dark.webp", WEBP, sizeof WEBP - 1, 64));
	musttally(s, 0, "note", "R12", "no photo of this");
	musttally(s, 0, "sheet", "rename", "C7", "C8");
	mustanswer(s, 0, "leaks at one end  [photo front.jpg]", "notes", "C8");
	mustanswer(s, 0, "C8", "photos");
	/* The same photo again is the same file. */
	mustanswer(s, 0, "noted, with", "note", "C8", "once more", "--photo", jpeg);
	mustanswer(s, 2, "first bytes are those of no jpeg", "note", "C8", "x", "--photo",
	         picture(s, "text.jpg", "no picture at all", 17, 64));
	mustanswer(s, 2, "first bytes are those of no jpeg", "note", "C8", "x", "--photo",
	         picture(s, "short.jpg", JPEG, 3, 3));
	mustanswer(s, 2, "1 byte to 64 MiB", "note", "C8", "x", "--photo", picture(s, "none.jpg", "", 0, 0));
	mustanswer(s, 2, "1 byte to 64 MiB", "note", "C8", "x", "--photo",
	         picture(s, "huge.jpg", JPEG, sizeof JPEG - 1, ((size_t)64 << 20) + 1));
	mustanswer(s, 2, "No such file", "note", "C8", "x", "--photo", "/nowhere/at/all.jpg");
	derived(s, before, sizeof before);
	daemon_stop(s, SIGKILL);
	daemon_start(s);
	derived(s, after, sizeof after);
	assert_string_equal(before, after);
	/* A backup has them, too. */
	snprintf(path, sizeof path, "%s", in_dir(s, "copy.db"));
	mustanswer(s, 0, "photos of notes copied", "backup", path);
	mustanswer(s, 0, "good", "--file", path, "photos");
	/* Altered beside the copy: named, and the seal still holds. */
	const char *at = strstr(before, "\"hash\":\"");
	assert_non_null(at);
	snprintf(hash, sizeof hash, "%.64s", at + 8);
	char photo[800];
	snprintf(photo, sizeof photo, "%s.photos/%s.jpg", path, hash);
	assert_int_equal(chmod(photo, 0600), 0);
	FILE *f = fopen(photo, "r+b");
	assert_non_null(f);
	fseek(f, 600000, SEEK_SET);
	fputc('!', f);
	fclose(f);
	mustanswer(s, 1, hash, "--file", path, "photos");
	mustanswer(s, 1, "altered", "--file", path, "photos");
	musttally(s, 0, "verify", path);
	assert_int_equal(unlink(photo), 0);
	mustanswer(s, 1, "missing", "--file", path, "photos");
	musttally(s, 0, "photos");
	daemon_stop(s, SIGTERM);
}

/* The calls themselves: each refusal, and how many come in at a time. */
static void test_photo_calls(void **state)
{
	static const struct {
		const char *method, *params, *says;
	} rows[] = {
		{"photo.begin", "{}", "size"},
		{"photo.begin", "{\"size\":0}", "1 byte to 64 MiB"},
		{"photo.begin", "{\"size\":67108865}", "1 byte to 64 MiB"},
		{"photo.data", "{\"photo\":7,\"at\":0,\"data\":\"\"}", "no photo 7 is coming in"},
		{"photo.end", "{\"photo\":7}", "no photo 7 is coming in"},
		{"note", "{\"position\":\"C7\",\"text\":\"x\",\"photo\":\"../x\"}", "no hash of a photo"},
		{"note", "{\"position\":\"C7\",\"text\":\"x\",\"photo\":"
		         "\"0000000000000000000000000000000000000000000000000000000000000000\"}", "no photo 0000"},
		/* From here on one after the other: the third photo is number 3. */
		{"photo.begin", "{\"size\":14}", "\"photo\":3"},
		{"photo.data", "{\"photo\":3,\"at\":0,\"data\":\"no base64\"}", "no base64 text"},
		{"photo.data", "{\"photo\":3,\"at\":0,\"data\":\"/9j/4AAQSkZJRgAB\"}", "\"at\":12"},
		{"photo.data", "{\"photo\":3,\"at\":0,\"data\":\"AA==\"}", "expected at most 2 at 12"},
		{"photo.end", "{\"photo\":3}", "no photo 3 is coming in"}, /* it was dropped */
		{"photo.begin", "{\"size\":14}", "\"photo\":4"},
		{"photo.data", "{\"photo\":4,\"at\":0,\"data\":\"/9j/4AAQSkZJRgAB\"}", "\"at\":12"},
		{"photo.end", "{\"photo\":4}", "not whole: 12 of 14"},
		{"photo.begin", "{\"size\":12}", "\"photo\":5"},
		{"photo.data", "{\"photo\":5,\"at\":0,\"data\":\"/9j/4AAQSkZJRgAB\"}", "\"at\":12"},
		{"photo.end", "{\"photo\":5}", "\"size\":12,\"type\":\"jpeg\""},
		{"photo.begin", "{\"size\":9}", "\"photo\":6"},
		{"photo.begin", "{\"size\":9}", "\"photo\":7"},
		{"photo.begin", "{\"size\":9}", "\"photo\":8"},
		{"photo.begin", "{\"size\":9}", "\"photo\":9"},
		{"photo.begin", "{\"size\":9}", "4 photos are coming in already"},
	};
	struct stand *s = *state;
	char line[512];
	begin(s);
	struct peer *p = peer_new(s);
	mustsend(p, "{\"jsonrpc\":\"2.0\",\"id\":0,\"method\":\"hello\",\"params\":{\"protocol\":1,"
	            "\"client\":\"test\"}}");
	mustsee(p, "\"id\":0");
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"id\":%zu,\"method\":\"%s\",\"params\":%s}",
		         i + 1, rows[i].method, rows[i].params);
		mustsend(p, line);
		snprintf(line, sizeof line, "\"id\":%zu", i + 1);
		const char *answer = mustsee(p, line);
		if (!strstr(answer, rows[i].says))
			fail_msg("%zu %s: %s", i, rows[i].method, answer);
	}
	peer_free(p);
	daemon_stop(s, SIGTERM);
}

static void test_unit(void **state)
{
	struct stand *s = *state;
	char before[32768], after[32768];
	begin(s);
	mustanswer(s, 0, "kept", "job", "set", "type=monitor amplifier", "serial=1204", "complaint=hum");
	mustanswer(s, 2, "is nothing that a job has", "job", "set", "colour=grey");
	mustanswer(s, 2, "is no day", "job", "set", "received=soon");
	mustanswer(s, 0, "1204", "job", "show");
	mustanswer(s, 0, "monitor amplifier, no. 1204", "job", "list");
	musttally(s, 0, "enter", "C7", "0.101 uF", "--from", "bridge", "--u", "0.1 nF");
	musttally(s, 0, "enter", "R12", "471 kohm", "--from", "bridge");
	musttally(s, 0, "sheet", "fit", "R12", "kind=metal-film", "nominal=470k");
	mustanswer(s, 1, "CAUTION: valve equipment kills", "job", "ready");
	mustanswer(s, 1, "C7: a leg is up", "job", "ready");
	mustanswer(s, 1, "R12: a new part is to be fitted", "job", "ready");
	mustanswer(s, 2, "nothing of C99 is in the sheet", "job", "fitted", "C99");
	musttally(s, 0, "job", "fitted", "C7", "R12");
	mustanswer(s, 0, "no leg is known to be up", "job", "ready");
	musttally(s, 0, "sheet", "set", "V3", "valve=A17");
	musttally(s, 0, "enter", "V3", "2.1 V", "--from", "bridge");
	mustanswer(s, 0, "V3", "entries", "--valve", "A17");
	/* Again: the sheet with what is in the unit, and the value of then. */
	mustanswer(s, 2, "--like or --again", "job", "start", "x", "--like", "first", "--again", "first");
	mustanswer(s, 2, "nowhere", "job", "start", "x", "--again", "nowhere");
	musttally(s, 0, "job", "set", "maker=a village", "serial=1204", "complaint=hums", "owner=x");
	musttally(s, 0, "job", "start", "second", "--again", "first");
	/* Which unit it is stays true; what was complained of does not. */
	mustanswer(s, 0, "serial       1204", "job", "show");
	mustanswer(s, 0, "maker        a village", "job", "show");
	struct answer show = tally(s, "job", "show");
	assert_null(strstr(show.out, "hums"));
	assert_null(strstr(show.out, "owner"));
	answer_free(&show);
	mustanswer(s, 0, "metal-film", "sheet", "show");
	mustanswer(s, 0, "valve A17", "sheet", "show");
	musttally(s, 0, "reach", "lifted");
	musttally(s, 0, "enter", "C7", "0.111 uF", "--from", "bridge", "--u", "0.1 nF");
	mustanswer(s, 0, "last time 101 nF (found, lifted); now +9.9 %", "at", "C7");
	mustanswer(s, 0, "beside job first", "compare");
	mustanswer(s, 0, "not measured yet; replaced since: metal-film", "entries", "--beside", "first");
	/* Held, and listed. */
	mustanswer(s, 0, "red is bound to R12", "at", "R12", "--meter", "red");
	mustanswer(s, 0, "red to R12", "at");
	mustanswer(s, 2, "no meter green", "at", "R12", "--meter", "green");
	derived(s, before, sizeof before);
	daemon_stop(s, SIGKILL);
	daemon_start(s);
	musttally(s, 0, "at", "C7");
	derived(s, after, sizeof after);
	assert_string_equal(before, after);
	mustanswer(s, 0, "red is free", "at", "--meter", "red");
	mustanswer(s, 2, "red is not bound", "at", "--meter", "red");
	musttally(s, 0, "verify");
	daemon_stop(s, SIGTERM);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_photos),
		on_stand(test_photo_calls),
		on_stand(test_unit),
	};
	return run_on_stand(tests);
}
