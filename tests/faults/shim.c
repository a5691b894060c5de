/* Between a process and the disk (LD_PRELOAD): what it does to the files below one folder, and what
 * it says on standard output, goes into a trace, in order; and calls can be made to fail.
 * The records are read by trace.py. Linux, 64 bit. */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

enum { WRITES = 1, SYNCS = 2 };
enum { MOST_FILES = 4096 };

struct record {
    char what; /* o c w t s r u m and ! for what was said */
    char failed;
    uint16_t name_bytes;
    int32_t file;
    int64_t offset;
    int64_t length; /* of the data that follows the name; of `t` the new length of the file */
};

static pthread_mutex_t one_at_a_time = PTHREAD_MUTEX_INITIALIZER;
static char folder[4096];
static size_t folder_length;
static int trace = -1;
static char is_watched[MOST_FILES];
static int kinds_that_fail, error_of_failure;
static long calls, fails_from, fails_before, failed_calls;

/* Watch the files below `path` from now on; the trace goes to the file descriptor. */
void shim_watch(const char *path, int trace_file) {
    pthread_mutex_lock(&one_at_a_time);
    memset(is_watched, 0, sizeof is_watched);
    folder_length = (size_t)snprintf(folder, sizeof folder, "%s", path);
    trace = trace_file;
    pthread_mutex_unlock(&one_at_a_time);
}

/* Calls of these kinds fail, from the `from`-th (0 is the next) until before the `before`-th. */
void shim_fail(int kinds, long from, long before, int error) {
    pthread_mutex_lock(&one_at_a_time);
    kinds_that_fail = kinds;
    fails_from = from;
    fails_before = before;
    error_of_failure = error;
    if (kinds) calls = failed_calls = 0; /* healed: how many had failed is still known */
    pthread_mutex_unlock(&one_at_a_time);
}

/* How many calls have failed since they were made to. */
long shim_failed(void) {
    return failed_calls;
}

static int is_below(const char *path) {
    return folder_length > 0 && strncmp(path, folder, folder_length) == 0 &&
           (path[folder_length] == '/' || path[folder_length] == 0);
}

static int watched(int file) {
    return file >= 0 && file < MOST_FILES && is_watched[file];
}

static int must_fail(int kind) {
    if (!(kinds_that_fail & kind)) return 0;
    long call = calls++;
    if (call < fails_from || call >= fails_before) return 0;
    failed_calls++;
    return 1;
}

static void tell(char what, int failed, int file, const char *name, off_t offset, int64_t length,
                 const void *data) {
    struct record head = {what, (char)failed, (uint16_t)strlen(name), file, offset, length};
    struct iovec parts[3] = {{&head, sizeof head},
                             {(void *)name, head.name_bytes},
                             {(void *)data, data ? (size_t)length : 0}};
    if (trace >= 0) syscall(SYS_writev, trace, parts, 3);
}

static int opened(int at, const char *path, int flags, mode_t mode) {
    pthread_mutex_lock(&one_at_a_time);
    int file = (int)syscall(SYS_openat, at, path, flags, mode);
    int error = errno;
    if (file >= 0 && file < MOST_FILES && (is_watched[file] = (char)is_below(path)))
        tell('o', 0, file, path, flags & O_TRUNC ? 1 : 0, 0, NULL);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return file;
}

#define MODE(flags)                                  \
    mode_t mode = 0;                                 \
    if ((flags) & (O_CREAT | __O_TMPFILE)) {         \
        va_list rest;                                \
        va_start(rest, flags);                       \
        mode = va_arg(rest, mode_t);                 \
        va_end(rest);                                \
    }

int open(const char *path, int flags, ...) { MODE(flags) return opened(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE(flags) return opened(AT_FDCWD, path, flags, mode); }
int openat(int at, const char *path, int flags, ...) { MODE(flags) return opened(at, path, flags, mode); }
int openat64(int at, const char *path, int flags, ...) { MODE(flags) return opened(at, path, flags, mode); }

int close(int file) {
    pthread_mutex_lock(&one_at_a_time);
    if (watched(file)) {
        is_watched[file] = 0;
        tell('c', 0, file, "", 0, 0, NULL);
    }
    int result = (int)syscall(SYS_close, file);
    pthread_mutex_unlock(&one_at_a_time);
    return result;
}

static ssize_t written(int file, const void *data, size_t count, off_t offset, int is_placed) {
    pthread_mutex_lock(&one_at_a_time);
    ssize_t result;
    int error = 0;
    if (watched(file) && must_fail(WRITES)) {
        /* A full disk takes what still fits; the next call fails. */
        size_t fits = error_of_failure == ENOSPC && failed_calls == 1 ? count / 2 : 0;
        error = error_of_failure;
        count = fits;
    }
    if (error && count == 0) {
        result = -1;
    } else {
        if (!is_placed && watched(file)) offset = lseek(file, 0, SEEK_CUR);
        result = is_placed ? syscall(SYS_pwrite64, file, data, count, offset)
                           : syscall(SYS_write, file, data, count);
        error = errno;
        if (result > 0 && watched(file)) tell('w', 0, file, "", offset, result, data);
        if (result > 0 && file == STDOUT_FILENO) tell('!', 0, file, "", 0, result, data);
    }
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return result;
}

ssize_t write(int file, const void *data, size_t count) { return written(file, data, count, 0, 0); }
ssize_t pwrite(int file, const void *data, size_t count, off_t offset) { return written(file, data, count, offset, 1); }
ssize_t pwrite64(int file, const void *data, size_t count, off_t offset) { return written(file, data, count, offset, 1); }

static int cut(int file, off_t length) {
    pthread_mutex_lock(&one_at_a_time);
    int result = -1, error = error_of_failure;
    if (!watched(file) || !must_fail(WRITES)) {
        result = (int)syscall(SYS_ftruncate, file, length);
        error = errno;
        if (result == 0 && watched(file)) tell('t', 0, file, "", 0, length, NULL);
    }
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return result;
}

int ftruncate(int file, off_t length) { return cut(file, length); }
int ftruncate64(int file, off_t length) { return cut(file, length); }

/* A sync that fails has not reached the disk. */
static int synced(long call, int file) {
    pthread_mutex_lock(&one_at_a_time);
    int result = -1, error = error_of_failure;
    if (!watched(file) || !must_fail(SYNCS)) {
        result = watched(file) ? 0 : (int)syscall(call, file); /* the trace is the disk */
        error = errno;
    }
    if (watched(file)) tell('s', result != 0, file, "", 0, 0, NULL);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return result;
}

int fsync(int file) { return synced(SYS_fsync, file); }
int fdatasync(int file) { return synced(SYS_fdatasync, file); }

static int named(char what, const char *path, const char *other, long result) {
    int error = errno;
    if (result == 0 && is_below(path))
        tell(what, 0, -1, path, 0, other ? (int64_t)strlen(other) : 0, other);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return (int)result;
}

int unlink(const char *path) {
    pthread_mutex_lock(&one_at_a_time);
    return named('u', path, NULL, syscall(SYS_unlinkat, AT_FDCWD, path, 0));
}

int unlinkat(int at, const char *path, int flags) {
    pthread_mutex_lock(&one_at_a_time);
    return named('u', path, NULL, syscall(SYS_unlinkat, at, path, flags));
}

int rename(const char *path, const char *other) {
    pthread_mutex_lock(&one_at_a_time);
    return named('r', path, other, syscall(SYS_renameat2, AT_FDCWD, path, AT_FDCWD, other, 0));
}

int mkdir(const char *path, mode_t mode) {
    pthread_mutex_lock(&one_at_a_time);
    return named('m', path, NULL, syscall(SYS_mkdirat, AT_FDCWD, path, mode));
}
