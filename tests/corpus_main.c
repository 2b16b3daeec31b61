/* SPDX-License-Identifier: MIT */
/*
 * Replays a kept corpus through one fuzz entry point, under the normal compiler, so
 * that what a fuzzer found once is looked at by every `make check`.  Linked with
 * one tests/fuzz_NAME.c into build/tests/corpus_NAME, which takes the files of
 * tests/corpus/NAME and, besides, a few hundred damaged copies of each -- fewer where
 * the entry point says that one input of its costs milliseconds.
 */
#include "tests/fuzz.h"

#include <dirent.h>

#define INPUT_MAX 65536
#define DAMAGED 200

/* Defined by a slow entry point: damaged copies of each kind for one file. */
__attribute__((weak)) int fuzz_damaged(void);

static long inputs;

static void feed(const uint8_t *data, size_t size)
{
	/* Exactly as long as it is, so that a read past the end is seen. */
	uint8_t *copy = malloc(size ? size : 1);
	if (!copy)
		exit(2);
	memcpy(copy, data, size);
	LLVMFuzzerTestOneInput(copy, size);
	free(copy);
	inputs++;
}

static void feed_damaged(uint8_t *data, size_t size)
{
	uint32_t seed = 1;
	int copies = fuzz_damaged ? fuzz_damaged() : DAMAGED;
	/* The first prefixes, each; of longer files from a slow one spread over all. */
	size_t step = copies < DAMAGED ? size / (size_t)copies + 1 : 1;
	for (size_t i = 0; i < size && i < step * (size_t)copies; i += step)
		feed(data, i);
	for (int i = 0; i < copies && size; i++) {
		seed = seed * 1664525u + 1013904223u;
		size_t at = seed % size;
		uint8_t kept = data[at];
		data[at] = (uint8_t)(seed >> 24);
		feed(data, size);
		data[at] = kept;
	}
}

int main(int argc, char **argv)
{
	static uint8_t data[INPUT_MAX];
	char folder[512];
	const char *name = strrchr(argv[0], '/');
	name = name ? name + 1 : argv[0];
	if (strncmp(name, "corpus_", 7) == 0)
		name += 7;
	snprintf(folder, sizeof folder, "%s", argc > 1 ? argv[1] : "");
	if (argc < 2)
		snprintf(folder, sizeof folder, "tests/corpus/%s", name);
	DIR *d = opendir(folder);
	if (!d) {
		fprintf(stderr, "%s: no such folder\n", folder);
		return 2;
	}
	int files = 0;
	for (struct dirent *e; (e = readdir(d));) {
		char path[1024];
		if (e->d_name[0] == '.')
			continue;
		snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
		FILE *f = fopen(path, "rb");
		if (!f)
			continue;
		size_t n = fread(data, 1, sizeof data, f);
		fclose(f);
		feed(data, n);
		feed_damaged(data, n);
		files++;
	}
	closedir(d);
	printf("%s: %d files, %ld inputs\n", name, files, inputs);
	return files ? 0 : 2;
}
