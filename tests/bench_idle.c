/* SPDX-License-Identifier: MIT */
/*
 * What a bench costs on which nobody measures: three meters that talk at 4 readings a second,
 * to the whole daemon.  CPU of the process, its memory, and how often it asks the disk to
 * keep something (counted by tests/count_syncs.c, preloaded).
 *
 *     build/tests/bench_idle [SECONDS]      (30)
 */
#include "tests/bench_goal.h"
#include "tests/daemon_stand.h"

#include <sys/mman.h>

static double cpu_of(pid_t pid)
{
	clockid_t clock;
	struct timespec t;
	if (clock_getcpuclockid(pid, &clock) || clock_gettime(clock, &t))
		fail_msg("the daemon has ended");
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static volatile long *counter_open(struct stand *s)
{
	const char *path = in_dir(s, "syncs");
	char library[PATH_MAX], preload[PATH_MAX + 32];
	snprintf(library, sizeof library, "%s/tests/libsyncs.so", build_dir());
	if (!realpath(library, preload))
		fail_msg("%s is not there: run make first", library);
	int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
	if (fd < 0 || ftruncate(fd, 8) < 0)
		fail_msg("no counter");
	void *page = mmap(NULL, 8, PROT_READ, MAP_SHARED, fd, 0);
	close(fd);
	setenv("TALLY_SYNCS", path, 1);
	setenv("LD_PRELOAD", preload, 1);
	return page == MAP_FAILED ? NULL : page;
}

static void row(const char *what, double value, double goal, const char *unit)
{
	printf("%-44s %8.2f %-18s goal %5.1f: %s\n", what, value, unit, goal, goal_word(value <= goal));
}

int main(int argc, char **argv)
{
	static const char *const names[] = {"red", "blue", "bench"};
	int seconds = argc > 1 ? atoi(argv[1]) : 30;
	void *state = NULL;
	if (seconds < 1 || stand_up(&state) != 0)
		return 2;
	struct stand *s = state;
	volatile long *syncs = counter_open(s);
	for (int i = 0; i < 3; i++) {
		int m = meter_new(s, names[i], 4, "accuracy ohm = 0.5% + 2");
		meter_plug(s, m);
		meter_says(s, m, "wander");
	}
	daemon_start(s);
	unsetenv("LD_PRELOAD");
	nap_ms(3000); /* open, heard, and past what a start writes */
	long before = syncs ? *syncs : 0;
	double cpu = cpu_of(s->daemon), t = now_s();
	nap_ms(seconds * 1000);
	t = now_s() - t;
	cpu = cpu_of(s->daemon) - cpu;
	long after = syncs ? *syncs : 0;
	printf("three meters that talk at 4 readings a second, for %.0f s\n", t);
	row("CPU", cpu / t * 100, 0.3, "% of a core");
	row("memory of its own (RssAnon)", (double)status_kib(s->daemon, "RssAnon:") / 1024, 12, "MiB");
	row("  with the libraries it shares (VmRSS)", (double)status_kib(s->daemon, "VmRSS:") / 1024, 12,
	    "MiB");
	row("syncs", (double)(after - before) / t, 1, "a second");
	return stand_down(&state);
}
