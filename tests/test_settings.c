/* SPDX-License-Identifier: MIT */
/*
 * The person's settings: what may stand in the file, what is refused and where, and that
 * setting one value changes nothing else.
 */
#include "tests/check.h"

#include "client/settings.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64], file[128];
static struct settings s, other;
static struct fault why;

static int begin(void **state)
{
	(void)state;
	snprintf(folder, sizeof folder, "/tmp/tally-settings-XXXXXX");
	assert_non_null(mkdtemp(folder));
	snprintf(file, sizeof file, "%s/tally.ini", folder);
	setenv("TALLY_SETTINGS", file, 1);
	memset(&s, 0, sizeof s);
	memset(&why, 0, sizeof why);
	return 0;
}

static int end(void **state)
{
	char command[256];
	(void)state;
	snprintf(command, sizeof command, "chmod -R u+w %s; rm -rf %s", folder, folder);
	return system(command);
}

static void put(const char *path, const char *text)
{
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

static const char *got(const char *path)
{
	static char text[8192];
	FILE *f = fopen(path, "r");
	size_t n = f ? fread(text, 1, sizeof text - 1, f) : 0;
	if (f)
		fclose(f);
	text[n] = '\0';
	return text;
}

static bool set(const char *section, const char *key, const char *value)
{
	memset(&why, 0, sizeof why);
	bool good = settings_set(&s, section, key, value, &why);
	if (!good)
		print_message("  %s: %s\n", why.file, why.text);
	return good;
}

/* ---- the table ---- */

/* What holds without a file must be allowed in one. */
static void test_table_holds_itself(void **state)
{
	char text[2048];
	(void)state;
	for (int i = 0; i < settings_count; i++) {
		const struct setting *row = &settings_table[i];
		note_row("[%s] %s", row->section, row->key);
		assert_true(strlen(row->help) > 5);
		if (!row->without[0])
			continue;
		int n = snprintf(text, sizeof text, "[%s]\n%s = %s\n", row->section, row->key,
		                 row->without);
		assert_true(settings_parse(&s, "t", text, (size_t)n, &why));
		assert_string_equal(settings_get(&s, row->section, row->key), row->without);
		for (int k = 0; k < i; k++)
			assert_false(strcmp(row->section, settings_table[k].section) == 0 &&
			             strcmp(row->key, settings_table[k].key) == 0);
	}
}

static void test_without_a_file(void **state)
{
	(void)state;
	assert_true(settings_load(&s, &why));
	assert_string_equal(s.path, file);
	assert_string_equal(settings_get(&s, "sound", "volume"), "70");
	assert_int_equal(settings_number(&s, "sound", "volume"), 70);
	assert_false(settings_yes(&s, "sound", "mute"));
	assert_null(settings_get(&s, "sound", "colour"));
	assert_null(settings_get(&s, "nothing", "volume"));
	assert_int_equal(access(file, F_OK), -1); /* reading makes none */
}

/* ---- reading ---- */

static const struct row {
	const char *text;
	int line, column;   /* of the fault; 0: the text is good */
	const char *says;   /* stands in the fault; for a good one: what volume is */
} rows[] = {
    {"", 0, 0, "70"},
    {"[sound]\nvolume = 0\n", 0, 0, "0"},
    {"[sound]\nvolume = 100", 0, 0, "100"},
    {"\xef\xbb\xbf[sound]\r\n  volume=\"33\" ; soft\r\n", 0, 0, "33"},
    {"; a comment\n\n[speech]\nlanguage = de\n[sound]\nvolume = 5 ; low\n", 0, 0, "5"},
    {"[sound]\nvolume = 101\n", 2, 10, "from 0 to 100"},
    {"[sound]\nvolume = -1\n", 2, 10, "from 0 to 100"},
    {"[sound]\nvolume = 7.5\n", 2, 10, "whole number"},
    {"[sound]\nvolume = 99999999999\n", 2, 10, "whole number"},
    {"[sound]\nvolume =\n", 2, 9, "whole number"},
    {"[sound]\nvolume = loud\n", 2, 10, "whole number"},
    {"[sound]\nmute = on\n", 2, 8, "yes, no"},
    {"[sound]\nmute = Yes\n", 2, 8, "yes, no"},
    {"[sound]\nmute = y\n", 2, 8, "yes, no"},
    {"[sound]\nmute = yes|no\n", 2, 8, "yes, no"},
    {"[speech]\nlanguage = fr\n", 2, 12, "en, de"},
    {"[speech]\nuse = festival\n", 2, 7, "auto, none"},
    {"[speech]\nrate = 101\n", 2, 8, "-100 to 100"},
    {"[sounds]\nvolume = 5\n", 1, 2, "known are [sound]"},
    {"[sound]\n  loudness = 5\n", 2, 3, "known are volume, mute"},
    {"[Sound]\n", 1, 2, "no section"},
    {"volume = 5\n", 1, 1, "before any section"},
    {"[sound]\nvolume 5\n", 2, 1, "key = value"},
    {"[sound]\nvolume = 5\nvolume = 6\n", 3, 1, "already in line 2"},
    {"[sound]\n[speech]\n[sound]\n", 3, 2, "already in line 1"},
    {"[sound\nvolume = 5\n", 1, 7, "does not end"},
    {"[sound]\nvolume = \"5\n", 2, 10, "not closed"},
    {"[sound]\nvol\001ume = 5\n", 2, 4, "control character"},
    {"[sound]\nvolume = \xff\n", 2, 10, "UTF-8"},
};

static void test_what_may_stand_there(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		const struct row *r = &rows[i];
		memset(&why, 0, sizeof why);
		put(file, r->text);
		bool good = settings_load(&s, &why);
		note_row("%zu: %s:%d:%d %s", i, why.file, why.line, why.column, why.text);
		assert_int_equal(good, r->line == 0);
		if (good) {
			assert_string_equal(settings_get(&s, "sound", "volume"), r->says);
			continue;
		}
		assert_string_equal(why.file, file);
		assert_int_equal(why.line, r->line);
		assert_int_equal(why.column, r->column);
		assert_non_null(strstr(why.text, r->says));
		/* Half of a file is nothing. */
		assert_string_equal(settings_get(&s, "sound", "volume"), "70");
		/* And it is not written to: the fault would be hidden, or lines lost. */
		assert_false(set("sound", "volume", "50"));
		assert_string_equal(got(file), r->text);
	}
}

static void test_what_is_no_file(void **state)
{
	char long_file[300000];
	(void)state;
	assert_int_equal(mkdir(file, 0700), 0);
	assert_false(settings_load(&s, &why));
	assert_string_equal(why.file, file);
	assert_false(set("sound", "volume", "50"));
	assert_int_equal(rmdir(file), 0);
	/* A pipe in its place must not stop the program. */
	assert_int_equal(mkfifo(file, 0600), 0);
	assert_false(settings_load(&s, &why));
	assert_non_null(strstr(why.text, "no ordinary file"));
	assert_int_equal(unlink(file), 0);
	memset(long_file, '\n', sizeof long_file - 1);
	long_file[sizeof long_file - 1] = '\0';
	put(file, long_file);
	assert_false(settings_load(&s, &why));
	assert_non_null(strstr(why.text, "256 KiB"));
	/* A file where a folder should be: nothing is there. */
	char below[160];
	snprintf(below, sizeof below, "%s/tally.ini", file);
	setenv("TALLY_SETTINGS", below, 1);
	assert_true(settings_load(&s, &why));
	assert_false(set("sound", "volume", "50"));
}

/* Cut at every byte, and every byte changed to some others: never more than a fault, and
 * what is taken is in its range. */
static void test_damaged(void **state)
{
	static const char whole[] = "[sound]\nvolume = 40 ; x\nmute = yes\n[speech]\nrate = -5\n";
	static const char spoil[] = {'\0', '\n', '"', ';', '=', '[', ' ', '\x80', '9'};
	char text[sizeof whole];
	int refused = 0;
	(void)state;
	for (size_t i = 0; i < sizeof whole; i++) {
		refused += !settings_parse(&s, "t", whole, i, &why);
		for (size_t k = 0; i + 1 < sizeof whole && k < sizeof spoil; k++) {
			memcpy(text, whole, sizeof whole);
			text[i] = spoil[k];
			refused += !settings_parse(&s, "t", text, sizeof whole - 1, &why);
			int volume = settings_number(&s, "sound", "volume");
			assert_true(volume >= 0 && volume <= 100);
		}
	}
	assert_true(refused > 100);
}

/* ---- setting ---- */

static const struct edit {
	const char *before, *section, *key, *value, *after;
} edits[] = {
    /* nothing there yet */
    {"", "sound", "volume", "5", "[sound]\nvolume = 5\n"},
    /* the line keeps its spaces and its comment; all else is as it was */
    {"# mine\n[sound]\n  volume  =\t40   ; soft\n\nmute = no\n", "sound", "volume", "5",
     "# mine\n[sound]\n  volume  =\t5   ; soft\n\nmute = no\n"},
    {"[sound]\nvolume = \"40\" ; soft\n", "sound", "volume", "5", "[sound]\nvolume = 5 ; soft\n"},
    {"[sound]\nvolume=40", "sound", "volume", "5", "[sound]\nvolume= 5"},
    /* a new key behind the last of its section, not behind the comment of the next */
    {"[sound]\nvolume = 40\n\n# voice\n[speech]\nrate = 1\n", "sound", "mute", "yes",
     "[sound]\nvolume = 40\nmute = yes\n\n# voice\n[speech]\nrate = 1\n"},
    {"[sound]\n[speech]\n", "sound", "mute", "yes", "[sound]\nmute = yes\n[speech]\n"},
    /* a new section at the end; line ends as the file has them, one that lacked is made */
    {"[speech]\r\nrate = 1", "sound", "volume", "5",
     "[speech]\r\nrate = 1\r\n\r\n[sound]\r\nvolume = 5\r\n"},
    {"\xef\xbb\xbf[sound]\r\nvolume = 4\r\n", "sound", "volume", "5",
     "\xef\xbb\xbf[sound]\r\nvolume = 5\r\n"},
    /* values that need quotes */
    {"[sound]\ndevice = hw ; x\n", "sound", "device", "a ; b", "[sound]\ndevice = \"a ; b\" ; x\n"},
    {"[sound]\ndevice = \"a ; \\\" b\"\n", "sound", "device", "say \"x\" \\",
     "[sound]\ndevice = \"say \\\"x\\\" \\\\\"\n"},
    {"[sound]\n", "sound", "device", " x ", "[sound]\ndevice = \" x \"\n"},
    {"[sound]\n", "sound", "device", "#x=[y]\\", "[sound]\ndevice = #x=[y]\\\n"},
    {"[sound]\ndevice =\n", "sound", "device", "x", "[sound]\ndevice = x\n"},
    {"[sound]\ndevice = x\n", "sound", "device", "", "[sound]\ndevice = \"\"\n"},
    /* taken out again */
    {"[sound]\nvolume = 4 ; x\nmute = no\n", "sound", "volume", NULL, "[sound]\nmute = no\n"},
    {"[speech]\nrate = 1\n", "sound", "volume", NULL, "[speech]\nrate = 1\n"},
};

static void test_set_keeps_the_rest(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof edits / sizeof edits[0]; i++) {
		const struct edit *e = &edits[i];
		note_row("%zu", i);
		put(file, e->before);
		assert_true(set(e->section, e->key, e->value));
		assert_string_equal(got(file), e->after);
		assert_true(settings_load(&other, &why));
		if (e->value)
			assert_string_equal(settings_get(&other, e->section, e->key), e->value);
		assert_string_equal(settings_get(&s, e->section, e->key),
		                    settings_get(&other, e->section, e->key));
		/* The same once more changes nothing. */
		assert_true(set(e->section, e->key, e->value));
		assert_string_equal(got(file), e->after);
	}
}

static void test_set_refuses(void **state)
{
	char long_value[SETTINGS_VALUE_MAX + 2];
	(void)state;
	put(file, "[sound]\nvolume = 40\n");
	assert_true(settings_load(&s, &why));
	memset(long_value, 'x', sizeof long_value - 1);
	long_value[sizeof long_value - 1] = '\0';
	assert_false(set("sound", "volume", "200"));
	assert_false(set("sound", "volume", ""));
	assert_false(set("sound", "loudness", "2"));
	assert_false(set("sounds", "volume", "2"));
	assert_false(set("sound", "device", "a\nmute = yes"));
	assert_false(set("sound", "device", "a\001"));
	assert_false(set("sound", "device", "\xff"));
	assert_false(set("sound", "device", long_value));
	assert_string_equal(got(file), "[sound]\nvolume = 40\n");
	assert_string_equal(settings_get(&s, "sound", "volume"), "40");
}

/* All or none. */
static void test_set_all(void **state)
{
	static const struct setting_change good[] = {
	    {"pedal", "buttons", "KEY_B take"}, {"sound", "volume", "5"}, {"sound", "mute", NULL}};
	static const struct setting_change bad[] = {{"sound", "volume", "6"},
	                                            {"sound", "device", "a\nb"}};
	(void)state;
	put(file, "[sound]\nmute = yes\n");
	assert_true(settings_set_all(&s, good, 3, &why));
	assert_string_equal(got(file), "[sound]\nvolume = 5\n\n[pedal]\nbuttons = KEY_B take\n");
	assert_false(settings_set_all(&s, bad, 2, &why));
	assert_int_equal(settings_number(&s, "sound", "volume"), 5);
	assert_string_equal(got(file), "[sound]\nvolume = 5\n\n[pedal]\nbuttons = KEY_B take\n");
}

/* What another program set meanwhile is not lost. */
static void test_set_reads_again(void **state)
{
	(void)state;
	assert_true(settings_load(&s, &why));
	assert_true(settings_load(&other, &why));
	assert_true(settings_set(&other, "speech", "language", "de", &why));
	assert_true(set("sound", "volume", "5"));
	assert_string_equal(settings_get(&s, "speech", "language"), "de");
	assert_true(settings_load(&other, &why));
	assert_string_equal(settings_get(&other, "speech", "language"), "de");
	assert_string_equal(settings_get(&other, "sound", "volume"), "5");
}

/* Two programs at once, each its own key, many times. */
static void test_set_together(void **state)
{
	(void)state;
	pid_t child = fork();
	assert_true(child >= 0);
	char n[8];
	for (int i = 0; i < 25; i++) {
		snprintf(n, sizeof n, "%d", i);
		if (!settings_set(&s, child ? "sound" : "speech", "volume", n, &why)) {
			if (!child)
				_exit(1);
			fail_msg("%s", why.text);
		}
	}
	if (!child)
		_exit(0);
	int status;
	assert_int_equal(waitpid(child, &status, 0), child);
	assert_int_equal(status, 0);
	assert_true(settings_load(&s, &why));
	assert_int_equal(settings_number(&s, "sound", "volume"), 24);
	assert_int_equal(settings_number(&s, "speech", "volume"), 24);
}

static void test_mode_is_kept(void **state)
{
	static const mode_t modes[] = {0600, 0640, 0664};
	struct stat st;
	(void)state;
	for (size_t i = 0; i < sizeof modes / sizeof modes[0]; i++) {
		put(file, "[sound]\nvolume = 40\n");
		assert_int_equal(chmod(file, modes[i]), 0);
		assert_true(set("sound", "volume", "5"));
		assert_int_equal(stat(file, &st), 0);
		assert_int_equal(st.st_mode & 07777, modes[i]);
		if (geteuid() == 0) {
			assert_int_equal(chown(file, 1234, 1235), 0);
			assert_true(set("sound", "volume", "6"));
			assert_int_equal(stat(file, &st), 0);
			assert_int_equal(st.st_uid, 1234);
			assert_int_equal(st.st_gid, 1235);
			assert_int_equal(st.st_mode & 07777, modes[i]);
		}
		unlink(file);
	}
	/* Made so on purpose. */
	put(file, "[sound]\nvolume = 40\n");
	assert_int_equal(chmod(file, 0444), 0);
	assert_false(set("sound", "volume", "5"));
	assert_string_equal(got(file), "[sound]\nvolume = 40\n");
}

static void test_link_stays_a_link(void **state)
{
	char real[160];
	struct stat st;
	(void)state;
	snprintf(real, sizeof real, "%s/kept", folder);
	assert_int_equal(mkdir(real, 0700), 0);
	snprintf(real, sizeof real, "%s/kept/mine.ini", folder);
	put(real, "# kept elsewhere\n[sound]\nvolume = 40\n");
	assert_int_equal(symlink("kept/mine.ini", file), 0);
	assert_true(set("sound", "volume", "5"));
	assert_int_equal(lstat(file, &st), 0);
	assert_true(S_ISLNK(st.st_mode));
	assert_string_equal(got(real), "# kept elsewhere\n[sound]\nvolume = 5\n");
	/* To nothing, and to itself. */
	unlink(real);
	assert_true(settings_load(&s, &why));
	assert_false(set("sound", "volume", "5"));
	assert_non_null(strstr(why.text, "link to nothing"));
	unlink(file);
	assert_int_equal(symlink("tally.ini", file), 0);
	assert_false(settings_load(&s, &why));
	assert_false(set("sound", "volume", "5"));
}

/* Root may write everywhere, so this is done by somebody else. */
static void test_folder_read_only(void **state)
{
	int status;
	(void)state;
	put(file, "[sound]\nvolume = 40\n");
	assert_int_equal(chmod(file, 0644), 0);
	assert_int_equal(chmod(folder, 0555), 0);
	pid_t child = fork();
	assert_true(child >= 0);
	if (!child) {
		if (geteuid() == 0 && setuid(65534) != 0)
			_exit(9);
		bool good = settings_load(&s, &why) && !settings_set(&s, "sound", "volume", "5", &why) &&
		            strstr(why.text, strerror(EACCES)) && strcmp(why.file, file) == 0 &&
		            settings_number(&s, "sound", "volume") == 40;
		_exit(good ? 0 : 1);
	}
	assert_int_equal(waitpid(child, &status, 0), child);
	assert_int_equal(status, 0);
	assert_string_equal(got(file), "[sound]\nvolume = 40\n");
}

/* No bytes are left beside the file, whatever happened before. */
static void test_nothing_is_left(void **state)
{
	char left[160];
	(void)state;
	snprintf(left, sizeof left, "%s/.tally-settings.new", folder);
	put(left, "half a fi");
	assert_true(set("sound", "volume", "5"));
	assert_int_equal(access(left, F_OK), -1);
	assert_string_equal(got(file), "[sound]\nvolume = 5\n");
}

static void test_where_it_is(void **state)
{
	char want[160], home[96];
	(void)state;
	snprintf(home, sizeof home, "%s/home", folder);
	unsetenv("TALLY_SETTINGS");
	setenv("HOME", home, 1);
	setenv("XDG_CONFIG_HOME", "relative", 1);
	assert_true(settings_load(&s, &why));
	snprintf(want, sizeof want, "%s/.config/tally/tally.ini", home);
	assert_string_equal(s.path, want);
	assert_true(set("sound", "volume", "5")); /* makes all folders */
	assert_string_equal(got(want), "[sound]\nvolume = 5\n");
	struct stat st;
	want[strlen(want) - strlen("/tally.ini")] = '\0';
	assert_int_equal(stat(want, &st), 0);
	assert_int_equal(st.st_mode & 077, 0);
	setenv("XDG_CONFIG_HOME", folder, 1);
	assert_true(settings_load(&s, &why));
	snprintf(want, sizeof want, "%s/tally/tally.ini", folder);
	assert_string_equal(s.path, want);
	unsetenv("XDG_CONFIG_HOME");
	setenv("HOME", "relative", 1);
	assert_true(settings_load(&s, &why));
	assert_string_equal(s.path, "");
	assert_false(set("sound", "volume", "5"));
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
	    TEST(test_table_holds_itself), TEST(test_without_a_file),
	    TEST(test_what_may_stand_there), TEST(test_what_is_no_file),
	    TEST(test_damaged), TEST(test_set_keeps_the_rest),
	    TEST(test_set_refuses), TEST(test_set_all), TEST(test_set_reads_again),
	    TEST(test_set_together), TEST(test_mode_is_kept),
	    TEST(test_link_stays_a_link), TEST(test_folder_read_only),
	    TEST(test_nothing_is_left), TEST(test_where_it_is),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
