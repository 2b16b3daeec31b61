/* SPDX-License-Identifier: MIT */
/*
 * A log in the making, and the key that signs for it.
 *
 * A new log is made as LOG.new in one transaction, its key as LOG.key.new, and then they get their
 * names, the log first: so there is never a log without its first record, and with a log and
 * LOG.key.new the next start can finish the work.
 */
#include "daemon/log_inside.h"

#include "protocol/record/checkpoint.h"
#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#include <errno.h>
#include <fcntl.h>
#include <openssl/crypto.h>
#include <openssl/rand.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- the key ---- */

static bool write_private(const char *name, const char *bytes, size_t len)
{
	int fd = open(name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
	if (fd < 0)
		return false;
	bool done = write(fd, bytes, len) == (ssize_t)len && fsync(fd) == 0;
	int error = errno;
	close(fd);
	if (!done)
		unlink(name);
	errno = error;
	return done;
}

bool beside_key_make(const char *path, uint8_t public[32], struct fault *why)
{
	char pem[512];
	char *name = beside_name(path, ".key.new");
	struct signer *key = signer_new();
	size_t len = name && key ? signer_pem(key, pem, sizeof pem) : 0;
	bool made = len > 0;
	if (!made) {
		fault_at(why, path, 0, 0, "no key can be made for the log: libcrypto gives no Ed25519");
	} else {
		signer_key(key, public);
		made = write_private(name, pem, len);
		if (!made)
			fault_at(why, name, 0, 0, "the key of the log cannot be written: %s",
			         strerror(errno));
	}
	OPENSSL_cleanse(pem, sizeof pem);
	signer_free(key);
	free(name);
	return made;
}

struct signer *beside_key_read(const char *path, const char *suffix, struct fault *why)
{
	char pem[4096];
	struct signer *key = NULL;
	char *name = beside_name(path, suffix);
	int fd = name ? open(name, O_RDONLY | O_CLOEXEC | O_NONBLOCK) : -1;
	ssize_t len = fd >= 0 ? read(fd, pem, sizeof pem) : -1;
	if (!name)
		fault_set(why, "no memory for the key of the log");
	else if (fd < 0 && errno == ENOENT)
		fault_at(why, name, 0, 0, "%.200s is not there", name);
	else if (len < 0)
		fault_at(why, name, 0, 0, "%.200s cannot be read: %s", name, strerror(errno));
	else if (!(key = signer_read(pem, (size_t)len)))
		fault_at(why, name, 0, 0, "%.200s %s", name, len ? "holds no key that is whole (Ed25519, PEM)"
		         : "is empty");
	if (fd >= 0)
		close(fd);
	OPENSSL_cleanse(pem, sizeof pem);
	free(name);
	return key;
}

bool beside_key_mode(const char *path, unsigned *mode)
{
	char *name = beside_name(path, ".key");
	struct stat st;
	bool there = name && stat(name, &st) == 0;
	if (there)
		*mode = (unsigned)st.st_mode & 0777;
	free(name);
	return there;
}

/* ---- names ---- */

/* Never over a log: only an empty file may be in the way. */
static int rename_new(const char *from, const char *to)
{
	struct stat st;
	if (stat(to, &st) == 0)
		return st.st_size == 0 ? rename(from, to) : (errno = EEXIST, -1);
	if (renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0)
		return 0;
	/* Not every file system can do that; we hold the lock. */
	return errno == EINVAL || errno == ENOSYS ? rename(from, to) : -1;
}

static bool settle_name(const char *path, const char *from, const char *to, struct fault *why)
{
	char *source = beside_name(path, from), *target = beside_name(path, to);
	bool done = source && target && rename_new(source, target) == 0 && beside_folder_sync(path);
	if (!done)
		fault_at(why, target, 0, 0, "the new file cannot be put in its place: %s",
		         strerror(errno));
	free(source);
	free(target);
	return done;
}

/* LOG.new (and LOG.key.new, with a key) become LOG and LOG.key; the log first: with a log and
 * LOG.key.new the next start can finish the work. */
static bool beside_new_settle(const char *path, bool key, struct fault *why)
{
	return settle_name(path, ".new", "", why) && (!key || beside_key_settle(path, why));
}

bool beside_key_settle(const char *path, struct fault *why)
{
	if (!beside_exists(path, ".key.new", NULL) || beside_exists(path, ".key", NULL))
		return true;
	return settle_name(path, ".key.new", ".key", why);
}

/* Either the old name or the new one is there at every moment, never half a key. */
bool beside_key_replace(const char *path, struct fault *why)
{
	char *from = beside_name(path, ".key.new"), *to = beside_name(path, ".key");
	bool done = from && to && rename(from, to) == 0 && beside_folder_sync(path);
	if (!done)
		fault_at(why, to, 0, 0, "the new key cannot be put in its place: %s", strerror(errno));
	free(from);
	free(to);
	return done;
}

bool beside_put(const char *path, const char *suffix, struct fault *why)
{
	return settle_name(path, suffix, "", why);
}

void beside_key_drop(const char *path)
{
	beside_remove(path, ".key.new");
}

static void beside_new_drop(const char *path)
{
	beside_remove(path, ".new");
	beside_remove(path, ".new-journal");
	beside_remove(path, ".new-wal");
	beside_remove(path, ".new-shm");
	beside_remove(path, ".key.new");
}

/* ---- the log ---- */

static bool first_record(struct sqlite3 *db, const struct log_options *o, const uint8_t *key,
                         struct fault *why)
{
	struct log_body body = { .bench = o->bench, .version = o->version, .key = key };
	const uint8_t before[SEAL_SIZE] = { 0 };
	uint8_t hash[SEAL_SIZE];
	char buffer[2048];
	struct text text;
	if (o->identity) {
		memcpy(body.identity, o->identity, sizeof body.identity);
	} else if (RAND_bytes(body.identity, sizeof body.identity) != 1) {
		fault_set(why, "no random bytes for the identity of the log");
		return false;
	}
	text_begin(&text, buffer, sizeof buffer);
	text_puts(&text, "{\"seq\":1,\"t\":");
	text_time(&text, o->now);
	text_puts(&text, ",\"kind\":\"log\"");
	log_body_write(&text, &body);
	text_puts(&text, "}");
	if (text.failed || !record_valid(1, text.bytes, text.len, why)) {
		fault_set(why, "the name of the bench or the version does not fit into record 1");
		return false;
	}
	seal_next(before, text.bytes, text.len, hash);
	sqlite3_stmt *st = NULL;
	sqlite3_prepare_v2(db, "INSERT INTO record (seq, text, hash) VALUES (1, ?, ?)", -1, &st, NULL);
	sqlite3_bind_text(st, 1, text.bytes, (int)text.len, SQLITE_STATIC);
	sqlite3_bind_blob(st, 2, hash, sizeof hash, SQLITE_STATIC);
	if (sqlite3_step(st) != SQLITE_DONE)
		fault_set(why, "record 1: %s", sqlite3_errmsg(db));
	return sqlite3_finalize(st) == SQLITE_OK;
}

bool store_fill(struct sqlite3 *db, const struct log_options *o, const uint8_t *key,
                struct fault *why)
{
	if (sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL) == SQLITE_OK &&
	    schema_create(db, why) && first_record(db, o, key, why)) {
		if (sqlite3_exec(db, "COMMIT", NULL, NULL, NULL) == SQLITE_OK)
			return true;
	}
	if (!why->text[0])
		fault_set(why, "%s", sqlite3_errmsg(db));
	return false;
}

bool store_create(const char *path, const struct log_options *o, struct fault *why)
{
	uint8_t key[32];
	bool keyed = !o->inline_mode, done = false;
	int code;
	struct fault what = { .text = "" };
	if (beside_exists(path, ".key", NULL)) {
		fault_at(why, path, 0, 0, "the log is missing, but its key %s.key is there: put the log "
		         "back, or move the key away to begin a new log", path);
		return false;
	}
	if (beside_exists(path, "-wal", NULL)) {
		fault_at(why, path, 0, 0, "the log is missing or empty, but %s-wal, a part of it, is there: "
		         "put the log back, or move that away to begin a new log", path);
		return false;
	}
	if (beside_exists(path, ".restored", NULL)) {
		fault_at(why, path, 0, 0, "the log is missing, and %s.restored says that a restore was broken "
		         "off: run it again, or move that away to begin a new log", path);
		return false;
	}
	beside_new_drop(path);
	char *name = beside_name(path, ".new");
	char *uri = name ? sqlite_uri(name, "mode=rwc") : NULL;
	if (uri && (!keyed || beside_key_make(path, key, &what))) {
		struct sqlite3 *db = store_connect(uri, o->vfs, "delete", &code, &what);
		done = db && store_fill(db, o, keyed ? key : NULL, &what);
		if (done)
			done = store_settle(db, path, ".new", &what);
		else
			sqlite3_close(db);
		done = done && beside_new_settle(path, keyed, &what);
	}
	if (!done) {
		beside_new_drop(path);
		fault_at(why, path, 0, 0, "the log cannot be made: %s", what.text);
	}
	free(name);
	sqlite3_free(uri);
	return done;
}
