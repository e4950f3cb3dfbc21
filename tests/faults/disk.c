/*
 * A file layer for tests, loaded into the real `baywrightd` and `bay` with
 * LD_PRELOAD: it writes down what a process does to the files under one folder,
 * and lets calls fail where a control file says so.
 *
 * BAYWRIGHT_DISK_ROOT   the folder that is watched; an absolute path
 * BAYWRIGHT_DISK_TRACE  where calls are written down (optional)
 * BAYWRIGHT_DISK_RULES  which calls fail (optional); replaced by rename to change it
 *
 * One lock is held over a call and its line in the trace, so that their order
 * is one. C, because the workspace forbids unsafe Rust, and a preloaded library
 * has to be some other language's.
 *
 * A rule is a line `OP SUFFIX SKIP TIMES WHAT`: calls of kind OP (write, grow,
 * sync, truncate, open, create, rename, unlink) on paths that end in SUFFIX
 * (`*`: any), after the first SKIP of them, TIMES of them (-1: all), fail with
 * WHAT (ENOSPC, EIO, or SHORT: half of a write is done and said). Of several
 * rules the first that applies is followed.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#define FDS_MAX 4096
#define RULES_MAX 32
#define TRACE_FD 900

enum op {
    OP_CREATE = 1,
    OP_WRITE = 2,
    OP_TRUNCATE = 3,
    OP_SYNC = 4,
    OP_SYNC_FOLDER = 5,
    OP_RENAME = 6,
    OP_UNLINK = 7,
    OP_LINK = 8,
    OP_MKDIR = 9,
    OP_SYNC_FAILED = 10,
};

struct line {
    uint32_t magic;
    uint32_t op;
    uint64_t ino;
    uint64_t offset;
    uint64_t length;
    uint32_t path_length;
    uint32_t other_length;
};

struct rule {
    char op[16];
    char suffix[128];
    long skip;
    long times;
    char what[16];
};

static pthread_mutex_t one_at_a_time = PTHREAD_MUTEX_INITIALIZER;
static char root[PATH_MAX];
static size_t root_length;
static char rules_path[PATH_MAX];
static int trace_fd = -1;
static char *paths[FDS_MAX];
static struct rule rules[RULES_MAX];
static int rules_count;
static ino_t rules_ino;

static int (*real_open)(const char *, int, ...);
static int (*real_openat)(int, const char *, int, ...);
static int (*real_close)(int);
static ssize_t (*real_write)(int, const void *, size_t);
static ssize_t (*real_writev)(int, const struct iovec *, int);
static ssize_t (*real_pwrite)(int, const void *, size_t, off64_t);
static int (*real_ftruncate)(int, off64_t);
static int (*real_fsync)(int);
static int (*real_fdatasync)(int);
static int (*real_rename)(const char *, const char *);
static int (*real_unlink)(const char *);
static int (*real_unlinkat)(int, const char *, int);
static int (*real_linkat)(int, const char *, int, const char *, int);
static int (*real_mkdir)(const char *, mode_t);
static ssize_t (*real_copy_file_range)(int, off64_t *, int, off64_t *, size_t, unsigned);
static ssize_t (*real_sendfile)(int, int, off64_t *, size_t);

static void find_all(void)
{
    real_open = dlsym(RTLD_NEXT, "open64");
    real_openat = dlsym(RTLD_NEXT, "openat64");
    real_close = dlsym(RTLD_NEXT, "close");
    real_write = dlsym(RTLD_NEXT, "write");
    real_writev = dlsym(RTLD_NEXT, "writev");
    real_pwrite = dlsym(RTLD_NEXT, "pwrite64");
    real_ftruncate = dlsym(RTLD_NEXT, "ftruncate64");
    real_fsync = dlsym(RTLD_NEXT, "fsync");
    real_fdatasync = dlsym(RTLD_NEXT, "fdatasync");
    real_rename = dlsym(RTLD_NEXT, "rename");
    real_unlink = dlsym(RTLD_NEXT, "unlink");
    real_unlinkat = dlsym(RTLD_NEXT, "unlinkat");
    real_linkat = dlsym(RTLD_NEXT, "linkat");
    real_mkdir = dlsym(RTLD_NEXT, "mkdir");
    real_copy_file_range = dlsym(RTLD_NEXT, "copy_file_range");
    real_sendfile = dlsym(RTLD_NEXT, "sendfile64");
}

__attribute__((constructor)) static void begin(void)
{
    const char *given;
    find_all();
    given = getenv("BAYWRIGHT_DISK_ROOT");
    if (!given || strlen(given) >= sizeof root)
        return;
    strcpy(root, given);
    root_length = strlen(root);
    given = getenv("BAYWRIGHT_DISK_RULES");
    if (given && strlen(given) < sizeof rules_path)
        strcpy(rules_path, given);
    given = getenv("BAYWRIGHT_DISK_TRACE");
    if (given) {
        int fd = real_open(given, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
        if (fd >= 0) {
            trace_fd = fcntl(fd, F_DUPFD_CLOEXEC, TRACE_FD);
            real_close(fd);
        }
    }
}

/* A file of ours: under the folder, and no shared memory, which no cut survives. */
static int ours(const char *path)
{
    size_t length;
    if (!root_length || !path)
        return 0;
    length = strlen(path);
    if (strncmp(path, root, root_length) || (path[root_length] != '/' && path[root_length]))
        return 0;
    return length < 4 || strcmp(path + length - 4, "-shm");
}

static const char *path_of(int fd)
{
    return fd >= 0 && fd < FDS_MAX ? paths[fd] : NULL;
}

static void tell(enum op op, uint64_t ino, uint64_t offset, const void *data, uint64_t length,
                 const char *path, const char *other)
{
    struct line line = {0x64697362u, (uint32_t)op, ino, offset, length, 0, 0};
    struct iovec parts[4];
    if (trace_fd < 0)
        return;
    line.path_length = path ? strlen(path) : 0;
    line.other_length = other ? strlen(other) : 0;
    parts[0] = (struct iovec){&line, sizeof line};
    parts[1] = (struct iovec){(void *)path, line.path_length};
    parts[2] = (struct iovec){(void *)other, line.other_length};
    parts[3] = (struct iovec){(void *)data, data ? length : 0};
    if (!data && op == OP_WRITE)
        abort();
    if (real_writev(trace_fd, parts, 4) < 0) {
        static const char why[] = "the trace of the disk cannot be written\n";
        real_write(2, why, sizeof why - 1);
        abort();
    }
}

static void read_rules(void)
{
    static char text[8192];
    struct stat there;
    char *at;
    ssize_t length;
    int fd;
    if (!*rules_path)
        return;
    if (stat(rules_path, &there)) {
        rules_count = 0;
        rules_ino = 0;
        return;
    }
    if (there.st_ino == rules_ino)
        return;
    fd = real_open(rules_path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return;
    length = read(fd, text, sizeof text - 1);
    real_close(fd);
    if (length < 0)
        return;
    text[length] = 0;
    rules_ino = there.st_ino;
    rules_count = 0;
    for (at = text; at && *at && rules_count < RULES_MAX; at = strchr(at, '\n')) {
        struct rule *rule = &rules[rules_count];
        if (*at == '\n')
            at++;
        if (sscanf(at, "%15s %127s %ld %ld %15s", rule->op, rule->suffix, &rule->skip, &rule->times,
                   rule->what) == 5)
            rules_count++;
        else if (!*at)
            break;
    }
}

/* Tells the test that its rule was met, in a file beside the rules. */
static void tell_felt(int i)
{
    char path[PATH_MAX + 8];
    char line[16];
    int fd;
    snprintf(path, sizeof path, "%s.felt", rules_path);
    fd = real_open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
    if (fd < 0)
        return;
    if (real_write(fd, line, snprintf(line, sizeof line, "%d\n", i)) < 0)
        abort();
    real_close(fd);
}

/* What becomes of a call: 0 it goes on, -1 a short write, else an errno. */
static int fate(const char *op, const char *path)
{
    size_t length = strlen(path);
    int i;
    read_rules();
    for (i = 0; i < rules_count; i++) {
        struct rule *rule = &rules[i];
        size_t suffix = strlen(rule->suffix);
        if (strcmp(rule->op, op))
            continue;
        if (strcmp(rule->suffix, "*") &&
            (suffix > length || strcmp(path + length - suffix, rule->suffix)))
            continue;
        if (rule->skip > 0) {
            rule->skip--;
            continue;
        }
        if (!rule->times)
            continue;
        if (rule->times > 0)
            rule->times--;
        tell_felt(i);
        if (!strcmp(rule->what, "ENOSPC"))
            return ENOSPC;
        if (!strcmp(rule->what, "SHORT"))
            return -1;
        return EIO;
    }
    return 0;
}

static uint64_t ino_of(int fd)
{
    struct stat there;
    return fstat(fd, &there) ? 0 : there.st_ino;
}

static int opened(int folder, const char *path, int flags, mode_t mode)
{
    struct stat there;
    int fd, was, error = 0;
    if (!real_open)
        find_all();
    if (!ours(path))
        return real_openat(folder, path, flags, mode);
    pthread_mutex_lock(&one_at_a_time);
    was = !stat(path, &there);
    if (!was && (flags & O_CREAT))
        error = fate("create", path);
    if (!error)
        error = fate("open", path);
    if (error) {
        errno = error < 0 ? EIO : error;
        pthread_mutex_unlock(&one_at_a_time);
        return -1;
    }
    fd = real_openat(folder, path, flags, mode);
    error = errno;
    if (fd >= 0 && fd < FDS_MAX) {
        free(paths[fd]);
        paths[fd] = strdup(path);
        if (!was)
            tell(OP_CREATE, ino_of(fd), 0, NULL, 0, path, NULL);
        else if ((flags & O_TRUNC) && there.st_size)
            tell(OP_TRUNCATE, ino_of(fd), 0, NULL, 0, path, NULL);
    }
    errno = error;
    pthread_mutex_unlock(&one_at_a_time);
    return fd;
}

static mode_t mode_given(int flags, va_list list)
{
    return flags & (O_CREAT | __O_TMPFILE) ? va_arg(list, mode_t) : 0;
}

#define OPEN(NAME)                                                                                 \
    int NAME(const char *path, int flags, ...)                                                     \
    {                                                                                              \
        va_list list;                                                                              \
        mode_t mode;                                                                               \
        va_start(list, flags);                                                                     \
        mode = mode_given(flags, list);                                                            \
        va_end(list);                                                                              \
        return opened(AT_FDCWD, path, flags, mode);                                                \
    }
#define OPENAT(NAME)                                                                               \
    int NAME(int folder, const char *path, int flags, ...)                                         \
    {                                                                                              \
        va_list list;                                                                              \
        mode_t mode;                                                                               \
        va_start(list, flags);                                                                     \
        mode = mode_given(flags, list);                                                            \
        va_end(list);                                                                              \
        return opened(folder, path, flags, mode);                                                  \
    }
OPEN(open)
OPEN(open64)
OPENAT(openat)
OPENAT(openat64)

int close(int fd)
{
    if (!real_close)
        find_all();
    if (path_of(fd)) {
        pthread_mutex_lock(&one_at_a_time);
        free(paths[fd]);
        paths[fd] = NULL;
        pthread_mutex_unlock(&one_at_a_time);
    }
    return real_close(fd);
}

/* `offset` below 0: where the file is. */
static ssize_t written(int fd, const void *data, size_t length, off64_t offset)
{
    const char *path = path_of(fd);
    struct stat there;
    off64_t at;
    ssize_t done;
    int error;
    if (!real_write)
        find_all();
    if (!path)
        return offset < 0 ? real_write(fd, data, length) : real_pwrite(fd, data, length, offset);
    pthread_mutex_lock(&one_at_a_time);
    at = offset < 0 ? lseek(fd, 0, SEEK_CUR) : offset;
    error = fate("write", path);
    if (!error && !fstat(fd, &there) && at + (off64_t)length > there.st_size)
        error = fate("grow", path);
    if (error > 0) {
        pthread_mutex_unlock(&one_at_a_time);
        errno = error;
        return -1;
    }
    if (error < 0)
        length = (length + 1) / 2;
    done = offset < 0 ? real_write(fd, data, length) : real_pwrite(fd, data, length, offset);
    error = errno;
    if (done > 0) {
        /* Also where the file was opened for appending. */
        if (offset < 0)
            at = lseek(fd, 0, SEEK_CUR) - done;
        tell(OP_WRITE, ino_of(fd), at, data, done, path, NULL);
    }
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

ssize_t write(int fd, const void *data, size_t length)
{
    return written(fd, data, length, -1);
}

ssize_t pwrite(int fd, const void *data, size_t length, off_t offset)
{
    return written(fd, data, length, offset);
}

ssize_t pwrite64(int fd, const void *data, size_t length, off64_t offset)
{
    return written(fd, data, length, offset);
}

/* Short, which every caller has to expect. */
ssize_t writev(int fd, const struct iovec *parts, int count)
{
    int i;
    if (!real_writev)
        find_all();
    if (!path_of(fd))
        return real_writev(fd, parts, count);
    for (i = 0; i < count; i++)
        if (parts[i].iov_len)
            return written(fd, parts[i].iov_base, parts[i].iov_len, -1);
    return 0;
}

static int truncated(int fd, off64_t length)
{
    const char *path = path_of(fd);
    int error, done;
    if (!real_ftruncate)
        find_all();
    if (!path)
        return real_ftruncate(fd, length);
    pthread_mutex_lock(&one_at_a_time);
    error = fate("truncate", path);
    if (error) {
        pthread_mutex_unlock(&one_at_a_time);
        errno = error < 0 ? EIO : error;
        return -1;
    }
    done = real_ftruncate(fd, length);
    error = errno;
    if (!done)
        tell(OP_TRUNCATE, ino_of(fd), length, NULL, 0, path, NULL);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

int ftruncate(int fd, off_t length)
{
    return truncated(fd, length);
}

int ftruncate64(int fd, off64_t length)
{
    return truncated(fd, length);
}

static int synced(int fd, int (*real)(int))
{
    const char *path = path_of(fd);
    struct stat there;
    int error, done;
    if (!path)
        return real(fd);
    pthread_mutex_lock(&one_at_a_time);
    error = fate("sync", path);
    if (error) {
        tell(OP_SYNC_FAILED, ino_of(fd), 0, NULL, 0, path, NULL);
        pthread_mutex_unlock(&one_at_a_time);
        errno = error < 0 ? EIO : error;
        return -1;
    }
    /* The test decides what survives, so the real disk need not be waited for. */
    done = getenv("BAYWRIGHT_DISK_TRACE") ? 0 : real(fd);
    error = errno;
    if (!done && !fstat(fd, &there))
        tell(S_ISDIR(there.st_mode) ? OP_SYNC_FOLDER : OP_SYNC, there.st_ino, 0, NULL, 0, path, NULL);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

int fsync(int fd)
{
    if (!real_fsync)
        find_all();
    return synced(fd, real_fsync);
}

int fdatasync(int fd)
{
    if (!real_fdatasync)
        find_all();
    return synced(fd, real_fdatasync);
}

int rename(const char *from, const char *to)
{
    int error, done;
    if (!real_rename)
        find_all();
    if (!ours(from) && !ours(to))
        return real_rename(from, to);
    pthread_mutex_lock(&one_at_a_time);
    error = fate("rename", to);
    if (error) {
        pthread_mutex_unlock(&one_at_a_time);
        errno = error < 0 ? EIO : error;
        return -1;
    }
    done = real_rename(from, to);
    error = errno;
    if (!done)
        tell(OP_RENAME, 0, 0, NULL, 0, from, to);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

static int unlinked(int folder, const char *path, int flags)
{
    int error, done;
    if (!real_unlinkat)
        find_all();
    if (!ours(path))
        return real_unlinkat(folder, path, flags);
    pthread_mutex_lock(&one_at_a_time);
    error = fate("unlink", path);
    if (error) {
        pthread_mutex_unlock(&one_at_a_time);
        errno = error < 0 ? EIO : error;
        return -1;
    }
    done = real_unlinkat(folder, path, flags);
    error = errno;
    if (!done)
        tell(OP_UNLINK, 0, 0, NULL, 0, path, NULL);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

int unlink(const char *path)
{
    return unlinked(AT_FDCWD, path, 0);
}

int unlinkat(int folder, const char *path, int flags)
{
    return unlinked(folder, path, flags);
}

static int linked(int from_folder, const char *from, int to_folder, const char *to, int flags)
{
    int error, done;
    if (!real_linkat)
        find_all();
    if (!ours(to))
        return real_linkat(from_folder, from, to_folder, to, flags);
    pthread_mutex_lock(&one_at_a_time);
    error = fate("create", to);
    if (error) {
        pthread_mutex_unlock(&one_at_a_time);
        errno = error < 0 ? EIO : error;
        return -1;
    }
    done = real_linkat(from_folder, from, to_folder, to, flags);
    error = errno;
    if (!done)
        tell(OP_LINK, 0, 0, NULL, 0, from, to);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

int link(const char *from, const char *to)
{
    return linked(AT_FDCWD, from, AT_FDCWD, to, 0);
}

int linkat(int from_folder, const char *from, int to_folder, const char *to, int flags)
{
    return linked(from_folder, from, to_folder, to, flags);
}

int mkdir(const char *path, mode_t mode)
{
    int error, done;
    if (!real_mkdir)
        find_all();
    if (!ours(path))
        return real_mkdir(path, mode);
    pthread_mutex_lock(&one_at_a_time);
    error = fate("create", path);
    if (error) {
        pthread_mutex_unlock(&one_at_a_time);
        errno = error < 0 ? EIO : error;
        return -1;
    }
    done = real_mkdir(path, mode);
    error = errno;
    if (!done)
        tell(OP_MKDIR, 0, 0, NULL, 0, path, NULL);
    pthread_mutex_unlock(&one_at_a_time);
    errno = error;
    return done;
}

/* Callers then write with the calls above. */
ssize_t copy_file_range(int from, off64_t *from_at, int to, off64_t *to_at, size_t length,
                        unsigned flags)
{
    if (path_of(to)) {
        errno = ENOSYS;
        return -1;
    }
    return real_copy_file_range(from, from_at, to, to_at, length, flags);
}

ssize_t sendfile64(int to, int from, off64_t *offset, size_t length)
{
    if (path_of(to)) {
        errno = EINVAL;
        return -1;
    }
    return real_sendfile(to, from, offset, length);
}

ssize_t sendfile(int to, int from, off_t *offset, size_t length)
{
    return sendfile64(to, from, (off64_t *)offset, length);
}

int posix_fallocate64(int fd, off64_t offset, off64_t length)
{
    (void)fd;
    (void)offset;
    (void)length;
    return EINVAL;
}

int posix_fallocate(int fd, off_t offset, off_t length)
{
    return posix_fallocate64(fd, offset, length);
}
