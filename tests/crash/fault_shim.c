/* Makes one system call of a process fail: the n-th that opens, writes, flushes, renames, links, makes or removes
 * something under one folder. Loaded with LD_PRELOAD, armed through ctypes. It stands between programs and the C
 * library, so it catches Python, SQLite, GDAL and every other library alike; only writes inside the C library's own
 * buffered streams (fwrite) pass it by, and their fopen does not.
 *
 * Build: gcc -shared -fPIC -O1 -o fault_shim.so fault_shim.c -ldl
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static char folder[PATH_MAX];    /* the project's folder; the output is <folder>/results */
static long calls, fault_at = 0; /* 0: count only */
static int fault_errno, armed, again; /* again: flushes of the path whose flush failed, after it failed */
static char fired[PATH_MAX + 64], failed_flush[PATH_MAX], last[PATH_MAX + 64];

void fault_arm(const char *under, long at, int error) {
    snprintf(folder, sizeof folder, "%s", under);
    calls = 0;
    fault_at = at;
    fault_errno = error;
    again = 0;
    fired[0] = failed_flush[0] = 0;
    armed = 1;
}
void fault_disarm(void) { armed = 0; }
long fault_calls(void) { return calls; }
int fault_flushed_again(void) { return again; }
const char *fault_fired(void) { return fired; }
const char *fault_last(void) { return last; }

static int ours(const char *path) {
    size_t n = strlen(folder);
    if (!path || strncmp(path, folder, n)) return 0;
    if (!path[n]) return 1;
    return !strncmp(path + n, "/results", 8) || !strncmp(path + n, "/.results-runs", 14);
}

static int fails(const char *what, const char *path) {
    if (!armed || !ours(path)) return 0;
    int flush = !strcmp(what, "fsync");
    if (flush && failed_flush[0] && !strcmp(path, failed_flush)) again++;
    calls++;
    snprintf(last, sizeof last, "%s %s", what, path);
    if (calls != fault_at) return 0;
    snprintf(fired, sizeof fired, "%s %s", what, path);
    if (flush) snprintf(failed_flush, sizeof failed_flush, "%s", path);
    errno = fault_errno;
    return 1;
}

static const char *of_fd(int fd, char *into) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, into, PATH_MAX - 1);
    into[n < 0 ? 0 : n] = 0;
    return into;
}

static int fails_fd(const char *what, int fd) {
    char path[PATH_MAX];
    if (!armed) return 0;
    int before = errno;
    of_fd(fd, path);
    errno = before;
    return fails(what, path);
}

static int fails_at(const char *what, int dir, const char *path) {
    char whole[2 * PATH_MAX];
    if (!armed) return 0;
    if (dir == AT_FDCWD || path[0] == '/') return fails(what, path);
    int before = errno;
    of_fd(dir, whole);
    errno = before;
    strncat(whole, "/", sizeof whole - strlen(whole) - 1);
    strncat(whole, path, sizeof whole - strlen(whole) - 1);
    return fails(what, whole);
}

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type (*)(__VA_ARGS__))dlsym(RTLD_NEXT, #name)

#define OPEN(name) \
    int name(const char *path, int flags, ...) { \
        REAL(int, name, const char *, int, ...); \
        mode_t mode = 0; \
        if (flags & (O_CREAT | __O_TMPFILE)) { va_list a; va_start(a, flags); mode = va_arg(a, mode_t); va_end(a); } \
        return fails("open", path) ? -1 : real(path, flags, mode); \
    }
OPEN(open)
OPEN(open64)

#define OPENAT(name) \
    int name(int dir, const char *path, int flags, ...) { \
        REAL(int, name, int, const char *, int, ...); \
        mode_t mode = 0; \
        if (flags & (O_CREAT | __O_TMPFILE)) { va_list a; va_start(a, flags); mode = va_arg(a, mode_t); va_end(a); } \
        return fails_at("open", dir, path) ? -1 : real(dir, path, flags, mode); \
    }
OPENAT(openat)
OPENAT(openat64)

#define FOPEN(name) \
    FILE *name(const char *path, const char *mode) { \
        REAL(FILE *, name, const char *, const char *); \
        return fails("open", path) ? NULL : real(path, mode); \
    }
FOPEN(fopen)
FOPEN(fopen64)

ssize_t write(int fd, const void *data, size_t n) {
    REAL(ssize_t, write, int, const void *, size_t);
    return fails_fd("write", fd) ? -1 : real(fd, data, n);
}
#define PWRITE(name, offset) \
    ssize_t name(int fd, const void *data, size_t n, offset at) { \
        REAL(ssize_t, name, int, const void *, size_t, offset); \
        return fails_fd("write", fd) ? -1 : real(fd, data, n, at); \
    }
PWRITE(pwrite, off_t)
PWRITE(pwrite64, off64_t)
ssize_t writev(int fd, const struct iovec *data, int n) {
    REAL(ssize_t, writev, int, const struct iovec *, int);
    return fails_fd("write", fd) ? -1 : real(fd, data, n);
}

#define ON_FD(name, what) \
    int name(int fd) { \
        REAL(int, name, int); \
        return fails_fd(what, fd) ? -1 : real(fd); \
    }
ON_FD(fsync, "fsync")
ON_FD(fdatasync, "fsync")

#define TRUNCATE(name, offset) \
    int name(int fd, offset length) { \
        REAL(int, name, int, offset); \
        return fails_fd("truncate", fd) ? -1 : real(fd, length); \
    }
TRUNCATE(ftruncate, off_t)
TRUNCATE(ftruncate64, off64_t)

#define ON_PATH(name) \
    int name(const char *path) { \
        REAL(int, name, const char *); \
        return fails(#name, path) ? -1 : real(path); \
    }
ON_PATH(unlink)
ON_PATH(rmdir)

int mkdir(const char *path, mode_t mode) {
    REAL(int, mkdir, const char *, mode_t);
    return fails("mkdir", path) ? -1 : real(path, mode);
}
int mkdirat(int dir, const char *path, mode_t mode) {
    REAL(int, mkdirat, int, const char *, mode_t);
    return fails_at("mkdir", dir, path) ? -1 : real(dir, path, mode);
}
int unlinkat(int dir, const char *path, int flags) {
    REAL(int, unlinkat, int, const char *, int);
    return fails_at("unlink", dir, path) ? -1 : real(dir, path, flags);
}
int rename(const char *from, const char *to) {
    REAL(int, rename, const char *, const char *);
    return fails("rename", to) ? -1 : real(from, to);
}
int renameat(int a, const char *from, int b, const char *to) {
    REAL(int, renameat, int, const char *, int, const char *);
    return fails_at("rename", b, to) ? -1 : real(a, from, b, to);
}
int renameat2(int a, const char *from, int b, const char *to, unsigned flags) {
    REAL(int, renameat2, int, const char *, int, const char *, unsigned);
    return fails_at("rename", b, to) ? -1 : real(a, from, b, to, flags);
}
int symlink(const char *to, const char *path) {
    REAL(int, symlink, const char *, const char *);
    return fails("symlink", path) ? -1 : real(to, path);
}
int symlinkat(const char *to, int dir, const char *path) {
    REAL(int, symlinkat, const char *, int, const char *);
    return fails_at("symlink", dir, path) ? -1 : real(to, dir, path);
}
