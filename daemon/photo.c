/* SPDX-License-Identifier: MIT */
/* See photo.h. */
#include "daemon/photo.h"

#include <errno.h>
#include <dirent.h>
#include <fcntl.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PART_PREFIX ".part-"

struct photo {
	char folder[PATH_MAX], part[PATH_MAX];
	int fd;
	int64_t size, got;
	unsigned char head[12]; /* by which a picture is known */
	EVP_MD_CTX *sha;
};

/* What its first bytes say (ITU-T T.81 annex B; PNG, W3C, 5.2; WebP container, RFC 9649). */
static const char *type_of(const unsigned char *head, int64_t size)
{
	if (size >= 4 && memcmp(head, "\xff\xd8\xff", 3) == 0)
		return "jpeg";
	if (size >= 8 && memcmp(head, "\x89PNG\r\n\x1a\n", 8) == 0)
		return "png";
	if (size >= 12 && memcmp(head, "RIFF", 4) == 0 && memcmp(head + 8, "WEBP", 4) == 0)
		return "webp";
	return NULL;
}

static const char *const types[][2] = {{"jpeg", "jpg"}, {"png", "png"}, {"webp", "webp"}};

static const char *ending(const char *type)
{
	for (size_t i = 0; i < 3; i++)
		if (strcmp(types[i][0], type) == 0)
			return types[i][1];
	return "";
}

/* False for a log that is not a file. */
static bool photo_folder(const char *log, char *out, size_t size, struct fault *why)
{
	if (log[0] != '/' && strncmp(log, "file:", 5) == 0) {
		fault_set(why, "a log that is no file keeps no photos");
		return false;
	}
	int n = snprintf(out, size, "%s.photos", log);
	if (n > 0 && (size_t)n + 96 < size)
		return true;
	fault_set(why, "the path of the log is too long for photos beside it");
	return false;
}

bool photo_hash_valid(const char *hash)
{
	return strlen(hash) == PHOTO_HEX_SIZE - 1 && strspn(hash, "0123456789abcdef") == strlen(hash);
}

static bool path_of(const char *log, const struct photo_kept *k, char *out, size_t size,
                    struct fault *why)
{
	char folder[PATH_MAX];
	if (!photo_folder(log, folder, sizeof folder, why))
		return false;
	int n = snprintf(out, size, "%s/%s.%s", folder, k->hash, ending(k->type));
	return n > 0 && (size_t)n < size;
}

/* ---- coming in ---- */

void photo_sweep(const char *log)
{
	char folder[PATH_MAX];
	struct fault ignored;
	DIR *d = photo_folder(log, folder, sizeof folder, &ignored) ? opendir(folder) : NULL;
	for (struct dirent *e; d && (e = readdir(d));)
		if (strncmp(e->d_name, PART_PREFIX, strlen(PART_PREFIX)) == 0)
			unlinkat(dirfd(d), e->d_name, 0);
	if (d)
		closedir(d);
}

void photo_free(struct photo *p)
{
	if (!p)
		return;
	if (p->fd >= 0) {
		close(p->fd);
		unlink(p->part);
	}
	EVP_MD_CTX_free(p->sha);
	free(p);
}

struct photo *photo_begin(const char *log, int64_t size, struct fault *why)
{
	struct photo *p = calloc(1, sizeof *p);
	if (!p) {
		fault_set(why, "out of memory");
		return NULL;
	}
	p->fd = -1;
	p->size = size;
	if (size < 1 || size > PHOTO_SIZE_MAX)
		fault_set(why, "a photo has 1 byte to 64 MiB, not %lld bytes", (long long)size);
	else if (!photo_folder(log, p->folder, sizeof p->folder, why))
		;
	else if (mkdir(p->folder, 0770) != 0 && errno != EEXIST)
		fault_at(why, p->folder, 0, 0, "the folder of photos cannot be made: %s", strerror(errno));
	else if (snprintf(p->part, sizeof p->part, "%.*s/" PART_PREFIX "XXXXXX", PATH_MAX - 32,
	                  p->folder) < 0 || (p->fd = mkostemp(p->part, O_CLOEXEC)) < 0)
		fault_at(why, p->folder, 0, 0, "no photo can be written there: %s", strerror(errno));
	else if (!(p->sha = EVP_MD_CTX_new()) || EVP_DigestInit_ex(p->sha, EVP_sha256(), NULL) != 1)
		fault_set(why, "out of memory");
	else
		return p;
	photo_free(p);
	return NULL;
}

static bool write_all(int fd, const void *bytes, size_t len)
{
	for (const char *b = bytes; len > 0;) {
		ssize_t n = write(fd, b, len);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return false;
		b += n;
		len -= (size_t)n;
	}
	return true;
}

bool photo_add(struct photo *p, int64_t at, const void *bytes, size_t len, struct fault *why)
{
	if (at != p->got || (int64_t)len > p->size - p->got) {
		fault_set(why, "a piece of the photo stands at byte %lld and has %zu: expected at most %lld at "
		          "%lld", (long long)at, len, (long long)(p->size - p->got), (long long)p->got);
		return false;
	}
	for (size_t i = 0; i < len && p->got + (int64_t)i < (int64_t)sizeof p->head; i++)
		p->head[p->got + (int64_t)i] = ((const unsigned char *)bytes)[i];
	if (!write_all(p->fd, bytes, len)) {
		fault_at(why, p->folder, 0, 0, "the photo cannot be written: %s", strerror(errno));
		return false;
	}
	EVP_DigestUpdate(p->sha, bytes, len);
	p->got += (int64_t)len;
	return true;
}

static void hex_of(EVP_MD_CTX *sha, char out[PHOTO_HEX_SIZE])
{
	unsigned char digest[32] = {0};
	EVP_DigestFinal_ex(sha, digest, NULL);
	for (int i = 0; i < 32; i++)
		snprintf(out + 2 * i, 3, "%02x", digest[i]);
}

/* Names live in their folder: that is on the disk, too. */
static bool sync_folder(const char *folder)
{
	int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	bool good = fd >= 0 && fsync(fd) == 0;
	if (fd >= 0)
		close(fd);
	return good;
}

static bool hash_file(const char *path, char out[PHOTO_HEX_SIZE], int64_t *size)
{
	static const size_t room = 65536;
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	char *buffer = malloc(room);
	EVP_MD_CTX *sha = EVP_MD_CTX_new();
	ssize_t n = -1;
	*size = 0;
	if (fd >= 0 && buffer && sha && EVP_DigestInit_ex(sha, EVP_sha256(), NULL) == 1)
		while ((n = read(fd, buffer, room)) > 0 && *size <= PHOTO_SIZE_MAX) {
			EVP_DigestUpdate(sha, buffer, (size_t)n);
			*size += n;
		}
	if (n == 0)
		hex_of(sha, out);
	EVP_MD_CTX_free(sha);
	free(buffer);
	if (fd >= 0)
		close(fd);
	return n == 0;
}

/* The part gets its name, where nothing has it; else what has it must be the same. */
static bool name_part(struct photo *p, const char *path, const char *hash, struct fault *why)
{
	char there[PHOTO_HEX_SIZE];
	int64_t size;
	if (link(p->part, path) != 0 && errno != EEXIST) {
		fault_at(why, path, 0, 0, "the photo cannot be kept: %s", strerror(errno));
		return false;
	}
	if (!hash_file(path, there, &size) || strcmp(there, hash) != 0) {
		fault_at(why, path, 0, 0, "a file of that name is there and is another: it is not written over; "
		         "move it away");
		return false;
	}
	if (sync_folder(p->folder))
		return true;
	fault_at(why, p->folder, 0, 0, "the photo is not surely on the disk: %s", strerror(errno));
	return false;
}

/* What it is, where that is known, and what to do. */
static void not_taken(const struct photo *p, struct fault *why)
{
	static const char *const brands[] = {"heic", "heix", "hevc", "heim", "heis", "mif1", "msf1", "avif"};
	const char *head = (const char *)p->head;
	bool is_box = p->got >= 12 && memcmp(head + 4, "ftyp", 4) == 0, heif = false;
	for (size_t i = 0; is_box && i < sizeof brands / sizeof brands[0]; i++)
		heif = heif || memcmp(head + 8, brands[i], 4) == 0;
	if (heif)
		fault_set(why, "a picture of kind HEIC or AVIF, which not every reader of the report could show: "
		          "save it as JPEG, or let the camera take JPEG (on telephones: most compatible)");
	else if (is_box)
		fault_set(why, "a film, and no photo: take a picture of it, as jpeg, png or webp");
	else
		fault_set(why, "no photo: its first bytes are those of no jpeg, png or webp; save it as one "
		          "of them");
}

bool photo_keep(struct photo *p, struct photo_kept *out, struct fault *why)
{
	char path[PATH_MAX];
	const char *type = type_of(p->head, p->got);
	if (p->got != p->size) {
		fault_set(why, "the photo is not whole: %lld of %lld bytes came", (long long)p->got,
		          (long long)p->size);
		return false;
	}
	if (!type) {
		not_taken(p, why);
		return false;
	}
	if (fchmod(p->fd, 0440) != 0 || fsync(p->fd) != 0) {
		fault_at(why, p->folder, 0, 0, "the photo cannot be written: %s", strerror(errno));
		return false;
	}
	out->size = p->size;
	hex_of(p->sha, out->hash);
	snprintf(out->type, sizeof out->type, "%s", type);
	int n = snprintf(path, sizeof path, "%.*s/%s.%s", PATH_MAX - 96, p->folder, out->hash,
	                 ending(type));
	return n > 0 && name_part(p, path, out->hash, why);
}

/* ---- kept ---- */

bool photo_find(const char *log, const char *hash, struct photo_kept *out, struct fault *why)
{
	char path[PATH_MAX];
	struct stat st;
	if (!photo_hash_valid(hash)) {
		fault_set(why, "\"%.70s\" is no hash of a photo: 64 hex digits", hash);
		return false;
	}
	memcpy(out->hash, hash, sizeof out->hash);
	for (size_t i = 0; i < 3; i++) {
		snprintf(out->type, sizeof out->type, "%s", types[i][0]);
		if (!path_of(log, out, path, sizeof path, why))
			return false;
		out->size = stat(path, &st) == 0 && S_ISREG(st.st_mode) ? (int64_t)st.st_size : 0;
		if (out->size)
			return true;
	}
	fault_set(why, "no photo %.64s is kept beside the log", hash);
	return false;
}

const char *photo_state_name(enum photo_state s)
{
	return s == PHOTO_GOOD ? "good" : s == PHOTO_MISSING ? "missing" : "altered";
}

enum photo_state photo_check(const char *log, const struct photo_kept *k)
{
	char path[PATH_MAX], hash[PHOTO_HEX_SIZE];
	struct fault ignored;
	int64_t size;
	if (!path_of(log, k, path, sizeof path, &ignored) || access(path, F_OK) != 0)
		return PHOTO_MISSING;
	return hash_file(path, hash, &size) && size == k->size && strcmp(hash, k->hash) == 0
	           ? PHOTO_GOOD
	           : PHOTO_ALTERED;
}

bool photo_read(const char *log, const struct photo_kept *k, int64_t at, void *bytes, size_t room,
                size_t *len, struct fault *why)
{
	char path[PATH_MAX];
	*len = 0;
	if (!path_of(log, k, path, sizeof path, why))
		return false;
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	ssize_t n = 1;
	while (fd >= 0 && n > 0 && *len < room) {
		n = pread(fd, (char *)bytes + *len, room - *len, (off_t)(at + (int64_t)*len));
		*len += n > 0 ? (size_t)n : 0;
	}
	if (fd < 0 || n < 0)
		fault_set(why, "the photo %.64s: %s", k->hash, strerror(errno));
	if (fd >= 0)
		close(fd);
	return fd >= 0 && n >= 0;
}

enum photo_state photo_copy(const char *log, const char *to, const struct photo_kept *k,
                            struct fault *why)
{
	char path[PATH_MAX], buffer[65536];
	enum photo_state state = photo_check(log, k);
	struct photo_kept copied;
	if (state != PHOTO_GOOD || !path_of(log, k, path, sizeof path, why))
		return state;
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	struct photo *p = fd >= 0 ? photo_begin(to, k->size, why) : NULL;
	int64_t at = 0;
	ssize_t n = -1;
	while (p && (n = read(fd, buffer, sizeof buffer)) > 0 && photo_add(p, at, buffer, (size_t)n, why))
		at += n;
	bool good = p && n == 0 && photo_keep(p, &copied, why) && strcmp(copied.hash, k->hash) == 0;
	photo_free(p);
	if (fd >= 0)
		close(fd);
	return good ? PHOTO_GOOD : PHOTO_ALTERED;
}
