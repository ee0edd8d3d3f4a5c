/* Storage that fails when told: stands before the C library (LD_PRELOAD) and lets the n-th matching call go wrong.
 *
 * A call matches if it is of the armed sort and its file lies below the armed folder, with the armed text in its path.
 * Only the process that armed it, and what it forks, is concerned. The clock of the wall can be set as well.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

enum sort { NOTHING, WRITE, SHORT, SYNC, SLOW, RENAME, READ, MAKE, COUNT };

/* With COUNT nothing goes wrong: the calls of each sort are counted for each of these texts in a path. */
static const char *const parts[] = {"", "journal.db", "archive", "personal.db"};
#define PARTS ((int)(sizeof parts / sizeof parts[0]))
static atomic_long tally[COUNT][PARTS];

static struct {
    enum sort sort;
    char under[PATH_MAX];
    char part[256];
    long nth;     /* which matching call goes wrong, counted from 1 */
    int lasting;  /* it and all that follow, or it alone */
    int error;
} armed;
static atomic_long seen;
static atomic_long failed;

void storage_arm(int sort, const char *under, const char *part, long nth, int lasting, int error)
{
    armed.sort = NOTHING;
    snprintf(armed.under, sizeof armed.under, "%s", under);
    snprintf(armed.part, sizeof armed.part, "%s", part);
    armed.nth = nth;
    armed.lasting = lasting;
    armed.error = error;
    atomic_store(&seen, 0);
    atomic_store(&failed, 0);
    armed.sort = (enum sort)sort;
}

long storage_failed(void) { return atomic_load(&failed); }

long storage_tally(int sort, const char *part)
{
    for (int i = 0; i < PARTS; i++)
        if (strcmp(parts[i], part) == 0) return atomic_load(&tally[sort][i]);
    return 0;
}

/* STORAGE_FAULT=sort:nth:lasting:error:part:under arms a program from its first moment on. */
__attribute__((constructor)) static void arm_from_environment(void)
{
    const char *told = getenv("STORAGE_FAULT");
    int sort, lasting, error;
    long nth;
    char part[256], under[PATH_MAX];
    if (told && sscanf(told, "%d:%ld:%d:%d:%255[^:]:%4095s", &sort, &nth, &lasting, &error, part, under) == 6)
        storage_arm(sort, under, strcmp(part, "*") ? part : "", nth, lasting, error);
}

#define REAL(name) \
    static __typeof__(&name) real; \
    if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

static int goes_wrong(enum sort sort, const char *path)
{
    if (strncmp(path, armed.under, strlen(armed.under)) != 0)
        return 0;
    const char *inside = path + strlen(armed.under);
    if (armed.sort == COUNT) {
        for (int i = 0; i < PARTS; i++)
            if (strstr(inside, parts[i])) atomic_fetch_add(&tally[sort][i], 1);
        return 0;
    }
    if (armed.sort != sort || !strstr(inside, armed.part))
        return 0;
    long number = atomic_fetch_add(&seen, 1) + 1;
    if (number < armed.nth || (number > armed.nth && !armed.lasting))
        return 0;
    atomic_fetch_add(&failed, 1);
    return 1;
}

static int file_goes_wrong(enum sort sort, int fd)
{
    if (armed.sort != sort && armed.sort != COUNT)
        return 0;
    char link[64], path[PATH_MAX];
    int before = errno;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    errno = before;
    if (length < 0)
        return 0;
    path[length] = 0;
    return goes_wrong(sort, path);
}

#define FAIL(result) \
    do { \
        errno = armed.error; \
        return (result); \
    } while (0)

static int write_goes_wrong(int fd, size_t *count)
{
    if (file_goes_wrong(WRITE, fd))
        return 1;
    if (armed.sort == SHORT && *count > 1 && file_goes_wrong(SHORT, fd))
        *count /= 2;
    return 0;
}

ssize_t write(int fd, const void *data, size_t count)
{
    REAL(write);
    if (write_goes_wrong(fd, &count)) FAIL(-1);
    return real(fd, data, count);
}

ssize_t pwrite(int fd, const void *data, size_t count, off_t at)
{
    REAL(pwrite);
    if (write_goes_wrong(fd, &count)) FAIL(-1);
    return real(fd, data, count, at);
}

ssize_t pwrite64(int fd, const void *data, size_t count, off64_t at)
{
    REAL(pwrite64);
    if (write_goes_wrong(fd, &count)) FAIL(-1);
    return real(fd, data, count, at);
}

ssize_t read(int fd, void *data, size_t count)
{
    REAL(read);
    if (file_goes_wrong(READ, fd)) FAIL(-1);
    return real(fd, data, count);
}

ssize_t pread(int fd, void *data, size_t count, off_t at)
{
    REAL(pread);
    if (file_goes_wrong(READ, fd)) FAIL(-1);
    return real(fd, data, count, at);
}

ssize_t pread64(int fd, void *data, size_t count, off64_t at)
{
    REAL(pread64);
    if (file_goes_wrong(READ, fd)) FAIL(-1);
    return real(fd, data, count, at);
}

static int sync_goes_wrong(int fd)
{
    if (armed.sort == SLOW && file_goes_wrong(SLOW, fd)) {
        struct timespec pause = {0, 150 * 1000 * 1000};
        nanosleep(&pause, NULL);
    }
    return file_goes_wrong(SYNC, fd);
}

int fsync(int fd)
{
    REAL(fsync);
    if (sync_goes_wrong(fd)) FAIL(-1);
    return real(fd);
}

int fdatasync(int fd)
{
    REAL(fdatasync);
    if (sync_goes_wrong(fd)) FAIL(-1);
    return real(fd);
}

int rename(const char *from, const char *to)
{
    REAL(rename);
    if (armed.sort && goes_wrong(RENAME, to)) FAIL(-1);
    return real(from, to);
}

static int making_goes_wrong(const char *path, int flags)
{
    return armed.sort && (flags & (O_CREAT | O_WRONLY | O_RDWR)) && goes_wrong(MAKE, path);
}

static mode_t mode_of(int flags, va_list more) { return flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0; }

int open(const char *path, int flags, ...)
{
    REAL(open);
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    if (making_goes_wrong(path, flags)) FAIL(-1);
    return real(path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
    REAL(open64);
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    if (making_goes_wrong(path, flags)) FAIL(-1);
    return real(path, flags, mode);
}

int mkdir(const char *path, mode_t mode)
{
    REAL(mkdir);
    if (armed.sort && goes_wrong(MAKE, path)) FAIL(-1);
    return real(path, mode);
}

/* STORAGE_CLOCK names a file with the seconds by which the clock of the wall is off, as text. */
int clock_gettime(clockid_t which, struct timespec *now)
{
    REAL(clock_gettime);
    int result = real(which, now);
    const char *path = which == CLOCK_REALTIME ? getenv("STORAGE_CLOCK") : NULL;
    if (path && result == 0) {
        FILE *file = fopen(path, "r");
        long seconds = 0;
        if (file && fscanf(file, "%ld", &seconds) == 1) now->tv_sec += seconds;
        if (file) fclose(file);
    }
    return result;
}
