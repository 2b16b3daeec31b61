/* SPDX-License-Identifier: MIT */
/* See draw_access.h. */
#include "client/draw_access.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ALT_MAX 900      /* bytes of the words of one picture */
#define OBJECT_MAX 4096  /* an object that is written once more is smaller by far */

/* ---- what was drawn ---- */

static bool grow(struct draw_access *a, void *array, int count, int *room, size_t each)
{
	void **at = array;
	if (count < *room)
		return true;
	int more = *room ? 2 * *room : 64;
	void *grown = realloc(*at, (size_t)more * each);
	if (!grown) {
		a->failed = true;
		return false;
	}
	*at = grown;
	*room = more;
	return true;
}

/* The text of an element, with its entities read. */
static size_t element_text(const char *svg, const char *element, char *out, size_t size)
{
	static const struct {
		const char *entity;
		char c;
	} entities[] = {{"&amp;", '&'}, {"&lt;", '<'}, {"&gt;", '>'}, {"&quot;", '"'}, {"&#39;", '\''}};
	const char *p = strstr(svg, element);
	size_t n = 0;
	out[0] = '\0';
	if (!p || !(p = strchr(p, '>')))
		return 0;
	for (p++; *p && *p != '<' && n + 1 < size;) {
		size_t e = 0, count = sizeof entities / sizeof entities[0];
		while (e < count && strncmp(p, entities[e].entity, strlen(entities[e].entity)) != 0)
			e++;
		out[n++] = e < count ? entities[e].c : *p;
		p += e < count ? strlen(entities[e].entity) : 1;
	}
	/* Not in the middle of a character. */
	if (*p && *p != '<')
		while (n && ((unsigned char)out[n - 1] & 0x80)) {
			bool head = ((unsigned char)out[--n] & 0xc0) == 0xc0;
			if (head)
				break;
		}
	out[n] = '\0';
	return n;
}

void draw_access_figure(struct draw_access *a, const char *svg)
{
	char text[ALT_MAX];
	size_t n = element_text(svg, "<title", text, sizeof text / 2);
	if (n) {
		memcpy(text + n, ". ", 3);
		n += 2;
	}
	element_text(svg, "<desc", text + n, sizeof text - n);
	if (!grow(a, &a->alt, a->alts, &a->alt_room, sizeof *a->alt))
		return;
	a->alt[a->alts] = strdup(text);
	a->failed = a->failed || !a->alt[a->alts];
	a->alts += a->alt[a->alts] != NULL;
}

void draw_access_head(struct draw_access *a, bool column)
{
	if (grow(a, &a->scope, a->scopes, &a->scope_room, 1))
		a->scope[a->scopes++] = column ? 'c' : 'r';
}

void draw_access_free(struct draw_access *a)
{
	for (int i = 0; i < a->alts; i++)
		free(a->alt[i]);
	free(a->alt);
	free(a->scope);
	*a = (struct draw_access){.language = NULL};
}

/* ---- the file as it is ---- */

struct pdf {
	char *bytes;
	size_t len;
	size_t *offset; /* of each object, 0 for none */
	unsigned size, root, info;
	size_t xref;
};

static bool read_file(const char *file, struct pdf *p)
{
	FILE *f = fopen(file, "rb");
	long end = f && fseek(f, 0, SEEK_END) == 0 ? ftell(f) : -1;
	bool good = false;
	if (end > 0 && fseek(f, 0, SEEK_SET) == 0 && (p->bytes = malloc((size_t)end + 1))) {
		p->len = fread(p->bytes, 1, (size_t)end, f);
		p->bytes[p->len] = '\0';
		good = p->len == (size_t)end;
	}
	if (f)
		fclose(f);
	return good;
}

static const char *last(const struct pdf *p, const char *word)
{
	size_t n = strlen(word);
	for (size_t i = p->len >= n ? p->len - n + 1 : 0; i-- > 0;)
		if (memcmp(p->bytes + i, word, n) == 0)
			return p->bytes + i;
	return NULL;
}

/* The table of cairo: one part, from object 0 on, entries of 20 bytes. */
static bool read_table(struct pdf *p)
{
	const char *trailer = last(p, "trailer"), *start = last(p, "startxref");
	const char *root = trailer ? strstr(trailer, "/Root ") : NULL;
	const char *info = trailer ? strstr(trailer, "/Info ") : NULL;
	unsigned long long at;
	unsigned first;
	int used = 0;
	if (!root || !start || sscanf(start, "startxref %llu", &at) != 1 || at >= p->len ||
	    sscanf(root, "/Root %u", &p->root) != 1 || (info && sscanf(info, "/Info %u", &p->info) != 1))
		return false;
	p->xref = (size_t)at;
	if (sscanf(p->bytes + at, "xref %u %u%n", &first, &p->size, &used) != 2 || first != 0 ||
	    p->size < 2 || p->size > 1000000)
		return false;
	p->offset = calloc(p->size, sizeof *p->offset);
	const char *entry = p->bytes + at + used;
	while (*entry == '\r' || *entry == '\n' || *entry == ' ')
		entry++;
	if (!p->offset || (size_t)(p->bytes + p->len - entry) < 20 * (size_t)p->size)
		return false;
	for (unsigned i = 0; i < p->size; i++, entry += 20)
		if (entry[17] == 'n')
			p->offset[i] = (size_t)strtoull(entry, NULL, 10);
	return p->root < p->size;
}

/* The words of object `number` between its << and >>; NULL where it is no plain dictionary. */
static const char *dictionary(const struct pdf *p, unsigned number, size_t *len)
{
	size_t at = p->offset[number];
	if (!at || at >= p->len)
		return NULL;
	const char *from = p->bytes + at;
	size_t room = p->len - at < OBJECT_MAX ? p->len - at : OBJECT_MAX;
	const char *end = memmem(from, room, "endobj", 6);
	const char *open = end ? memmem(from, (size_t)(end - from), "<<", 2) : NULL;
	while (end && end > from && memcmp(end, ">>", 2) != 0)
		end--;
	if (!open || end <= open + 2)
		return NULL;
	*len = (size_t)(end - open - 2);
	return open + 2;
}

static bool has(const char *dict, size_t len, const char *word)
{
	size_t n = strlen(word);
	for (const char *at = dict; (at = memmem(at, len - (size_t)(at - dict), word, n)); at += n) {
		char after = at + n < dict + len ? at[n] : ' ';
		if (after == ' ' || after == '\n' || after == '\r' || after == '/')
			return true;
	}
	return false;
}

/* ---- what is added ---- */

struct added {
	FILE *out;
	size_t at; /* where the next byte lies in the file */
	unsigned *number;
	size_t *offset;
	int count;
};

static void put(struct added *w, const char *text, size_t len)
{
	w->at += fwrite(text, 1, len, w->out);
}

/* UTF-16BE in hexadecimal digits, with its mark: what a text string of a PDF may be. */
static void put_text(struct added *w, const char *text)
{
	char digits[16];
	put(w, "<FEFF", 5);
	for (const unsigned char *p = (const unsigned char *)text; *p;) {
		unsigned c = *p++, more = c >= 0xf0 ? 3 : c >= 0xe0 ? 2 : c >= 0xc0 ? 1 : 0;
		c &= more == 3 ? 0x07 : more == 2 ? 0x0f : more == 1 ? 0x1f : 0x7f;
		for (; more && (*p & 0xc0) == 0x80; more--)
			c = c << 6 | (*p++ & 0x3f);
		int n = c >= 0x10000 ? snprintf(digits, sizeof digits, "%04X%04X",
		                                0xd800 + ((c - 0x10000) >> 10 & 0x3ff),
		                                0xdc00 + ((c - 0x10000) & 0x3ff))
		                     : snprintf(digits, sizeof digits, "%04X", c & 0xffff);
		put(w, digits, (size_t)n);
	}
	put(w, ">", 1);
}

static void object_begin(struct added *w, unsigned number, const char *dict, size_t len)
{
	char head[48];
	w->number[w->count] = number;
	w->offset[w->count++] = w->at;
	put(w, head, (size_t)snprintf(head, sizeof head, "%u 0 obj\n<<", number));
	put(w, dict, len);
}

static void object_end(struct added *w)
{
	put(w, ">>\nendobj\n", 10);
}

static void write_objects(const struct draw_access *a, const struct pdf *p, struct added *w)
{
	int figure = 0, head = 0;
	size_t len;
	for (unsigned i = 1; i < p->size; i++) {
		const char *dict = dictionary(p, i, &len);
		if (!dict || !(i == p->root || has(dict, len, "/StructElem")))
			continue;
		if (i == p->root) {
			char text[160];
			object_begin(w, i, dict, len);
			put(w, text, (size_t)snprintf(text, sizeof text, "   /Lang (%.12s)\n   /MarkInfo << /Marked "
			                              "true >>\n   /ViewerPreferences << /DisplayDocTitle true >>\n",
			                              a->language));
			object_end(w);
		} else if (has(dict, len, "/Figure") && figure < a->alts) {
			object_begin(w, i, dict, len);
			put(w, "   /Alt ", 8);
			put_text(w, a->alt[figure++]);
			object_end(w);
		} else if (has(dict, len, "/TH") && head < a->scopes) {
			const char *scope = a->scope[head++] == 'c' ? "   /A << /O /Table /Scope /Column >>\n"
			                                            : "   /A << /O /Table /Scope /Row >>\n";
			object_begin(w, i, dict, len);
			put(w, scope, strlen(scope));
			object_end(w);
		}
	}
}

static bool write_end(const struct pdf *p, struct added *w)
{
	char line[160];
	size_t xref = w->at;
	put(w, "xref\n", 5);
	for (int i = 0; i < w->count; i++)
		put(w, line, (size_t)snprintf(line, sizeof line, "%u 1\n%010zu 00000 n \n", w->number[i],
		                              w->offset[i]));
	put(w, line, (size_t)snprintf(line, sizeof line, "trailer\n<< /Size %u\n   /Root %u 0 R\n", p->size,
	                              p->root));
	if (p->info)
		put(w, line, (size_t)snprintf(line, sizeof line, "   /Info %u 0 R\n", p->info));
	put(w, line, (size_t)snprintf(line, sizeof line, "   /Prev %zu\n>>\nstartxref\n%zu\n%%%%EOF\n",
	                              p->xref, xref));
	return !ferror(w->out);
}

bool draw_access_write(const struct draw_access *a, const char *file)
{
	struct pdf p = {.bytes = NULL};
	bool good = !a->failed && read_file(file, &p) && read_table(&p);
	if (good) {
		struct added w = {.out = fopen(file, "ab"), .at = p.len,
			.number = calloc(p.size, sizeof *w.number), .offset = calloc(p.size, sizeof *w.offset)};
		good = w.out && w.number && w.offset;
		if (good) {
			write_objects(a, &p, &w);
			good = w.count && write_end(&p, &w);
		}
		good = !(w.out && fclose(w.out) != 0) && good;
		free(w.number);
		free(w.offset);
	}
	free(p.bytes);
	free(p.offset);
	return good;
}
