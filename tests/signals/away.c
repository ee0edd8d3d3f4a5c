/* Stands before clock_gettime(2): lets a computer have slept, and others have lived through that time.

   The file that AWAY_FILE names holds three numbers: the process that slept, its seconds, those of others. For that one
   CLOCK_BOOTTIME and CLOCK_REALTIME went on, as in a suspend; for every other process CLOCK_MONOTONIC did too. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static long slept_s(int *mine)
{
    static const char *path;
    char text[64] = {0};
    long process = 0, others_s = 0, seconds = 0;
    int fd;
    if (!path && !(path = getenv("AWAY_FILE")))
        return 0;
    if ((fd = open(path, O_RDONLY | O_CLOEXEC)) < 0)
        return 0;
    if (read(fd, text, sizeof text - 1) > 0)
        sscanf(text, "%ld %ld %ld", &process, &seconds, &others_s);
    close(fd);
    *mine = process == getpid();
    return *mine ? seconds : others_s;
}

int clock_gettime(clockid_t clock, struct timespec *at)
{
    static int (*real)(clockid_t, struct timespec *);
    int mine = 0, got;
    if (!real)
        real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    got = real(clock, at);
    if (got == 0) {
        long seconds = slept_s(&mine);
        if (clock == CLOCK_BOOTTIME || clock == CLOCK_REALTIME || (clock == CLOCK_MONOTONIC && !mine))
            at->tv_sec += seconds;
    }
    return got;
}
