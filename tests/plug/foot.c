/* SPDX-License-Identifier: MIT */
/*
 * Foot switches for the virtual machine of `make check-pedal`, with feet on them: keyboards
 * of the kernel's own HID drivers (/dev/uhid), to the microsecond, as no QEMU can press.
 *
 *     foot FIFO
 *
 * reads its orders from there, one a line:
 *
 *     plug 1 1209:0002 A1 usb-test-1/input0 Foot Switch   N VENDOR:PRODUCT UNIQ PHYS NAME; "-": none
 *     unplug 1
 *     play 1 +b 2 -b 1 +b 60 -b       keys go down and up; a number waits so many ms (0.5 too)
 *
 * and says on standard output what it has done, with the time (CLOCK_MONOTONIC, seconds):
 *
 *     12.345678 foot 1 there | 1 gone | 1 +b | 1 played
 */
#include <ctype.h>
#include <fcntl.h>
#include <linux/input.h>
#include <linux/uhid.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define FEET 8

/* A keyboard as the boot protocol has it: eight modifiers, one spare byte, six keys (USB HID
 * 1.11, appendix B.1). */
static const unsigned char descriptor[] = {
	0x05, 0x01, 0x09, 0x06, 0xa1, 0x01, 0x05, 0x07, 0x19, 0xe0, 0x29, 0xe7, 0x15, 0x00, 0x25, 0x01,
	0x75, 0x01, 0x95, 0x08, 0x81, 0x02, 0x95, 0x01, 0x75, 0x08, 0x81, 0x01, 0x95, 0x06, 0x75, 0x08,
	0x15, 0x00, 0x25, 0x65, 0x05, 0x07, 0x19, 0x00, 0x29, 0x65, 0x81, 0x00, 0xc0};

static struct foot {
	int fd;
	unsigned char keys[6];
} feet[FEET];

static void say(int n, const char *what, const char *more)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	printf("%lld.%06ld foot %d %s%s\n", (long long)t.tv_sec, t.tv_nsec / 1000, n, what, more);
	fflush(stdout);
}

static void give(const struct foot *f, struct uhid_event *e)
{
	if (f->fd > 0 && write(f->fd, e, sizeof *e) < 0)
		perror("foot: uhid");
}

/* What the kernel asks of the keyboard: its lamps are ours to ignore, its report to refuse. */
static void answer(const struct foot *f)
{
	struct uhid_event e, reply;
	while (f->fd > 0 && read(f->fd, &e, sizeof e) > 0) {
		memset(&reply, 0, sizeof reply);
		if (e.type == UHID_GET_REPORT) {
			reply.type = UHID_GET_REPORT_REPLY;
			reply.u.get_report_reply.id = e.u.get_report.id;
			reply.u.get_report_reply.err = 5;
			give(f, &reply);
		} else if (e.type == UHID_SET_REPORT) {
			reply.type = UHID_SET_REPORT_REPLY;
			reply.u.set_report_reply.id = e.u.set_report.id;
			give(f, &reply);
		}
	}
}

static void plug(int n, char *words)
{
	struct uhid_event e = {.type = UHID_CREATE2};
	struct uhid_create2_req *c = &e.u.create2;
	char uniq[64], phys[64], name[128];
	unsigned vendor, product;
	if (sscanf(words, "%x:%x %63s %63s %127[^\n]", &vendor, &product, uniq, phys, name) != 5)
		return;
	snprintf((char *)c->name, sizeof c->name, "%s", name);
	snprintf((char *)c->uniq, sizeof c->uniq, "%s", strcmp(uniq, "-") ? uniq : "");
	snprintf((char *)c->phys, sizeof c->phys, "%s", strcmp(phys, "-") ? phys : "");
	c->bus = BUS_USB;
	c->vendor = vendor;
	c->product = product;
	c->rd_size = sizeof descriptor;
	memcpy(c->rd_data, descriptor, sizeof descriptor);
	feet[n] = (struct foot){.fd = open("/dev/uhid", O_RDWR | O_CLOEXEC | O_NONBLOCK)};
	if (feet[n].fd < 0)
		perror("foot: /dev/uhid");
	give(&feet[n], &e);
	say(n, "there", "");
}

static void unplug(int n)
{
	if (feet[n].fd > 0)
		close(feet[n].fd);
	feet[n].fd = 0;
	say(n, "gone", "");
}

/* Letters are 4 to 29, figures 30 to 39 (USB HID usage tables, page 7). */
static unsigned char usage(char key)
{
	if (isalpha((unsigned char)key))
		return (unsigned char)(tolower((unsigned char)key) - 'a' + 4);
	return key == '0' ? 39 : (unsigned char)(key - '1' + 30);
}

static void key(int n, bool down, char which)
{
	struct uhid_event e = {.type = UHID_INPUT2};
	struct foot *f = &feet[n];
	unsigned char code = usage(which);
	for (int i = 0; i < 6; i++)
		if (f->keys[i] == (down ? 0 : code)) {
			f->keys[i] = down ? code : 0;
			break;
		}
	e.u.input2.size = 8;
	memcpy(e.u.input2.data + 2, f->keys, sizeof f->keys);
	give(f, &e);
}

static void wait_us(struct timespec *at, long us)
{
	at->tv_nsec += us % 1000000 * 1000;
	at->tv_sec += us / 1000000 + at->tv_nsec / 1000000000;
	at->tv_nsec %= 1000000000;
	clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, at, NULL);
}

static void play(int n, char *words)
{
	struct timespec at;
	clock_gettime(CLOCK_MONOTONIC, &at);
	for (char *word = strtok(words, " \n"); word; word = strtok(NULL, " \n")) {
		answer(&feet[n]);
		if (word[0] == '+' || word[0] == '-') {
			key(n, word[0] == '+', word[1]);
			say(n, word, "");
		} else {
			wait_us(&at, (long)(strtod(word, NULL) * 1000));
		}
	}
	say(n, "played", "");
}

int main(int argc, char **argv)
{
	char line[4096], verb[16];
	/* Both ends, so that it does not end with who orders. */
	int fd = argc == 2 ? open(argv[1], O_RDWR) : -1;
	FILE *orders = fd < 0 ? NULL : fdopen(fd, "r");
	if (!orders) {
		fputs("foot FIFO\n", stderr);
		return 2;
	}
	while (fgets(line, sizeof line, orders)) {
		int n = 0, at = 0;
		if (sscanf(line, "%15s %d %n", verb, &n, &at) != 2 || n < 0 || n >= FEET)
			continue;
		if (strcmp(verb, "plug") == 0)
			plug(n, line + at);
		else if (strcmp(verb, "unplug") == 0)
			unplug(n);
		else if (strcmp(verb, "play") == 0)
			play(n, line + at);
	}
	return 0;
}
