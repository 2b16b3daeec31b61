/* SPDX-License-Identifier: MIT */
/*
 * The score of settling as a table of `make bench`: tests/score_settle.c on a
 * corpus that takes under a minute.
 */
int score_main(int argc, char **argv);
#define main score_main
#include "tests/score_settle.c"
#undef main

int main(void)
{
	char name[] = "score_settle", traces[] = "20";
	char *argv[] = {name, traces, NULL};
	return score_main(2, argv);
}
