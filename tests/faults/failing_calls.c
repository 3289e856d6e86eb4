/* A library to be preloaded that makes one system call of a program go wrong:
 * the N-th that changes a file, or the reading of one file from a place on.
 *
 * Counted   write pwrite writev ftruncate truncate fsync fdatasync rename unlink
 *           rmdir mkdir, and open that may make or write a file; not what goes
 *           to the standard streams.
 * Input     the environment:
 *             FAULT_AT=N        the N-th counted call (from 1); 0: only count
 *             FAULT_HOW         kill   SIGKILL before the call
 *                               part   SIGKILL after half of its bytes (a call
 *                                      without bytes: after it)
 *                               power  as kill, and files lose what was written
 *                                      behind their last sync
 *                               once   the call fails with FAULT_ERRNO
 *                               on     it and all later ones fail
 *             FAULT_ERRNO=NUMBER
 *             FAULT_COUNT=FILE  gets the number of calls at a normal end
 *             FAULT_TRACE=FILE  gets a line for each call
 *             FAULT_READ=PATH   reading this file fails with EIO from byte
 *             FAULT_READ_FROM=N on
 * Bounded   "power" forgets growth only, which is how the archive is written; it
 *           leaves the ledger's own files, which SQLite answers for, as they are.
 * C, so that the program under test brings no second C++ library in.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

enum how { HOW_NONE, HOW_KILL, HOW_PART, HOW_POWER, HOW_ONCE, HOW_ON };

static long fault_at, calls, read_from;
static int fault_errno = EIO;
static enum how how;
static int count_fd = -1, trace_fd = -1;
static dev_t read_dev;
static ino_t read_ino;
static int read_fails;

/* Files that grew since their last sync, for "power". */
struct growing {
  char path[PATH_MAX];
  off_t safe_bytes;
};
static struct growing growing[64];
static int growing_used;

/* Through the number of the call, past every wrapper, ours among them. */
static int raw_open(const char* path, int flags, mode_t mode) {
  return (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}

static int file_for(const char* name) {
  const char* path = getenv(name);
  return path && *path ? raw_open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666) : -1;
}

__attribute__((constructor)) static void begin(void) {
  const char* text = getenv("FAULT_AT");
  fault_at = text ? atol(text) : 0;
  text = getenv("FAULT_HOW");
  how = !text                    ? HOW_NONE
        : !strcmp(text, "kill")  ? HOW_KILL
        : !strcmp(text, "part")  ? HOW_PART
        : !strcmp(text, "power") ? HOW_POWER
        : !strcmp(text, "once")  ? HOW_ONCE
        : !strcmp(text, "on")    ? HOW_ON
                                 : HOW_NONE;
  text = getenv("FAULT_ERRNO");
  if (text) fault_errno = atoi(text);
  count_fd = file_for("FAULT_COUNT");
  trace_fd = file_for("FAULT_TRACE");
  text = getenv("FAULT_READ");
  struct stat info;
  if (text && stat(text, &info) == 0) {
    read_fails = 1;
    read_dev = info.st_dev;
    read_ino = info.st_ino;
    text = getenv("FAULT_READ_FROM");
    read_from = text ? atol(text) : 0;
  }
}

__attribute__((destructor)) static void end(void) {
  char text[32];
  const int length = snprintf(text, sizeof text, "%ld\n", calls);
  if (count_fd >= 0) (void)!syscall(SYS_write, count_fd, text, (size_t)length);
}

static void trace(const char* name, const char* path, int fd) {
  if (trace_fd < 0) return;
  char link[64], target[PATH_MAX] = "", line[PATH_MAX + 64];
  if (!path) {
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    const ssize_t n = readlink(link, target, sizeof target - 1);
    target[n > 0 ? n : 0] = '\0';
    path = target;
  }
  const int length = snprintf(line, sizeof line, "%ld %s %.4000s\n", calls, name, path);
  (void)!syscall(SYS_write, trace_fd, line, (size_t)length);
}

static void die(void) {
  if (how == HOW_POWER)
    for (int i = 0; i < growing_used; ++i)
      (void)!syscall(SYS_truncate, growing[i].path, growing[i].safe_bytes);
  syscall(SYS_kill, syscall(SYS_getpid), SIGKILL);
  for (;;) pause();
}

enum verdict { PASS, FAIL, HALF };

/* Counts one call, and says what is to become of it. */
static enum verdict judge(const char* name, const char* path, int fd) {
  ++calls;
  trace(name, path, fd);
  if (fault_at <= 0 || calls < fault_at) return PASS;
  if (how == HOW_ON || (how == HOW_ONCE && calls == fault_at)) {
    errno = fault_errno;
    return FAIL;
  }
  if (calls == fault_at && (how == HOW_KILL || how == HOW_POWER)) die();
  return calls == fault_at && how == HOW_PART ? HALF : PASS;
}

static int path_of(int fd, char* out) {
  char link[64];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  const ssize_t n = readlink(link, out, PATH_MAX - 1);
  if (n <= 0) return 0;
  out[n] = '\0';
  return strstr(out, ".db") == NULL;
}

/* Before a write: how long the file is on the disk for sure. */
static void will_grow(int fd) {
  if (how != HOW_POWER) return;
  char path[PATH_MAX];
  struct stat info;
  if (!path_of(fd, path) || fstat(fd, &info) != 0) return;
  for (int i = 0; i < growing_used; ++i)
    if (!strcmp(growing[i].path, path)) return;
  if (growing_used == (int)(sizeof growing / sizeof growing[0])) {
    fprintf(stderr, "failing_calls: more files than it can follow\n");
    abort();
  }
  strcpy(growing[growing_used].path, path);
  growing[growing_used++].safe_bytes = info.st_size;
}

static void is_safe(int fd) {
  char path[PATH_MAX];
  if (how != HOW_POWER || !path_of(fd, path)) return;
  for (int i = 0; i < growing_used; ++i)
    if (!strcmp(growing[i].path, path)) growing[i--] = growing[--growing_used];
}

#define REAL(type, name, ...)       \
  static type (*real)(__VA_ARGS__); \
  if (!real) *(void**)&real = dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void* bytes, size_t n) {
  REAL(ssize_t, write, int, const void*, size_t);
  if (fd <= 2) return real(fd, bytes, n);
  will_grow(fd);
  switch (judge("write", NULL, fd)) {
    case FAIL:
      return -1;
    case HALF:
      real(fd, bytes, n / 2);
      die();
    case PASS:
      break;
  }
  return real(fd, bytes, n);
}

static ssize_t do_pwrite(int fd, const void* bytes, size_t n, off_t at) {
  REAL(ssize_t, pwrite64, int, const void*, size_t, off_t);
  will_grow(fd);
  switch (judge("pwrite", NULL, fd)) {
    case FAIL:
      return -1;
    case HALF:
      real(fd, bytes, n / 2, at);
      die();
    case PASS:
      break;
  }
  return real(fd, bytes, n, at);
}
ssize_t pwrite(int fd, const void* bytes, size_t n, off_t at) {
  return do_pwrite(fd, bytes, n, at);
}
ssize_t pwrite64(int fd, const void* bytes, size_t n, off_t at) {
  return do_pwrite(fd, bytes, n, at);
}

ssize_t writev(int fd, const struct iovec* parts, int count) {
  REAL(ssize_t, writev, int, const struct iovec*, int);
  if (fd <= 2) return real(fd, parts, count);
  will_grow(fd);
  switch (judge("writev", NULL, fd)) {
    case FAIL:
      return -1;
    case HALF:
      real(fd, parts, count / 2);
      die();
    case PASS:
      break;
  }
  return real(fd, parts, count);
}

/* Calls without bytes: half of one is all of it. */
#define COUNTED(name, path, fd, call) \
  do {                                \
    switch (judge(name, path, fd)) {  \
      case FAIL:                      \
        return -1;                    \
      case HALF:                      \
        (void)!(call);                \
        die();                        \
      case PASS:                      \
        break;                        \
    }                                 \
    return call;                      \
  } while (0)

static int do_ftruncate(int fd, off_t n) {
  REAL(int, ftruncate64, int, off_t);
  COUNTED("ftruncate", NULL, fd, real(fd, n));
}
int ftruncate(int fd, off_t n) { return do_ftruncate(fd, n); }
int ftruncate64(int fd, off_t n) { return do_ftruncate(fd, n); }

static int do_truncate(const char* path, off_t n) {
  REAL(int, truncate64, const char*, off_t);
  COUNTED("truncate", path, -1, real(path, n));
}
int truncate(const char* path, off_t n) { return do_truncate(path, n); }
int truncate64(const char* path, off_t n) { return do_truncate(path, n); }

static int do_sync(const char* name, int fd, int data_only) {
  switch (judge(name, NULL, fd)) {
    case FAIL:
      return -1;
    case HALF:
      (void)!syscall(data_only ? SYS_fdatasync : SYS_fsync, fd);
      die();
    case PASS:
      break;
  }
  const int done = (int)syscall(data_only ? SYS_fdatasync : SYS_fsync, fd);
  if (done == 0) is_safe(fd);
  return done;
}
int fsync(int fd) { return do_sync("fsync", fd, 0); }
int fdatasync(int fd) { return do_sync("fdatasync", fd, 1); }

int rename(const char* from, const char* to) {
  REAL(int, rename, const char*, const char*);
  COUNTED("rename", to, -1, real(from, to));
}
int unlink(const char* path) {
  REAL(int, unlink, const char*);
  COUNTED("unlink", path, -1, real(path));
}
int rmdir(const char* path) {
  REAL(int, rmdir, const char*);
  COUNTED("rmdir", path, -1, real(path));
}
int mkdir(const char* path, mode_t mode) {
  REAL(int, mkdir, const char*, mode_t);
  COUNTED("mkdir", path, -1, real(path, mode));
}

static int do_open(const char* path, int flags, mode_t mode) {
  const int changes = (flags & (O_CREAT | O_TRUNC)) != 0 || (flags & O_ACCMODE) != O_RDONLY;
  if (!changes || !strncmp(path, "/dev/", 5)) return raw_open(path, flags, mode);
  COUNTED("open", path, -1, raw_open(path, flags, mode));
}
#define OPEN_MODE                \
  mode_t mode = 0;               \
  if (flags & O_CREAT) {         \
    va_list more;                \
    va_start(more, flags);       \
    mode = va_arg(more, mode_t); \
    va_end(more);                \
  }
int open(const char* path, int flags, ...) {
  OPEN_MODE
  return do_open(path, flags, mode);
}
int open64(const char* path, int flags, ...) {
  OPEN_MODE
  return do_open(path, flags, mode);
}

static ssize_t do_pread(int fd, void* bytes, size_t n, off_t at) {
  REAL(ssize_t, pread64, int, void*, size_t, off_t);
  struct stat info;
  if (read_fails && fstat(fd, &info) == 0 && info.st_dev == read_dev && info.st_ino == read_ino) {
    if (at >= read_from) {
      errno = EIO;
      return -1;
    }
    if (at + (off_t)n > read_from) n = (size_t)(read_from - at);
  }
  return real(fd, bytes, n, at);
}
ssize_t pread(int fd, void* bytes, size_t n, off_t at) { return do_pread(fd, bytes, n, at); }
ssize_t pread64(int fd, void* bytes, size_t n, off_t at) { return do_pread(fd, bytes, n, at); }
