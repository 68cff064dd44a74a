// Loaded before the C library (LD_PRELOAD): one system call of a run fails, as
// on a full or broken disk.
//
//   FAIL_CALL   open, write, sync, rename or mkdir: which kind
//   FAIL_AT     the how manieth of them fails, from 1; 0: none
//   FAIL_ON     "once", or "on": all after it as well
//   FAIL_ERRNO  with which errno
//   FAIL_UNDER  only files of this folder count, an absolute path
//   FAIL_MARK   a file that is made when a call has failed
//   FAIL_COUNT  a file that gets the number of the calls of the kind, at the end; may be left out
#include <dlfcn.h>
#include <fcntl.h>
#include <stdio.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstdarg>
#include <cstdlib>
#include <cstring>

namespace {

std::atomic<long> counted{0};

const char* setting(const char* name) {
  const char* const text = getenv(name);
  return text != nullptr ? text : "";
}

bool under(const char* path) {
  const char* const folder = setting("FAIL_UNDER");
  // The program runs in the folder.
  return *folder != '\0' && (path[0] != '/' || strncmp(path, folder, strlen(folder)) == 0);
}

bool under(int fd) {
  struct stat about = {};
  if (fd <= STDERR_FILENO || fstat(fd, &about) != 0 || !(S_ISREG(about.st_mode) || S_ISDIR(about.st_mode)))
    return false;
  char link[64], path[4096];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  const ssize_t n = readlink(link, path, sizeof path - 1);
  if (n <= 0) return false;
  path[n] = '\0';
  return under(path);
}

// Counts the call, and says whether it is one that fails.
bool fails(const char* kind) {
  if (strcmp(setting("FAIL_CALL"), kind) != 0) return false;
  const long number = ++counted, at = atol(setting("FAIL_AT"));
  const bool now = number == at || (at > 0 && number > at && strcmp(setting("FAIL_ON"), "on") == 0);
  if (!now) return false;
  const long mark = syscall(SYS_openat, AT_FDCWD, setting("FAIL_MARK"), O_WRONLY | O_CREAT, 0600);
  if (mark >= 0) syscall(SYS_close, mark);
  errno = atoi(setting("FAIL_ERRNO"));
  return true;
}

__attribute__((destructor)) void tell_count() {
  const char* const file = setting("FAIL_COUNT");
  if (*file == '\0') return;
  const long to = syscall(SYS_openat, AT_FDCWD, file, O_WRONLY | O_CREAT | O_TRUNC, 0600);
  if (to < 0) return;
  char text[32];
  syscall(SYS_write, to, text, static_cast<size_t>(snprintf(text, sizeof text, "%ld\n", counted.load())));
  syscall(SYS_close, to);
}

template <class Function>
Function* next(Function*, const char* name) {
  return reinterpret_cast<Function*>(dlsym(RTLD_NEXT, name));
}

}  // namespace

#define NEXT(name) next(static_cast<decltype(&name)>(nullptr), #name)

extern "C" {

int open(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const mode_t mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(more, mode_t) : 0;
  va_end(more);
  if (under(path) && fails("open")) return -1;
  return static_cast<int>(syscall(SYS_openat, AT_FDCWD, path, flags, mode));
}
int open64(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const mode_t mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(more, mode_t) : 0;
  va_end(more);
  return open(path, flags, mode);
}
FILE* fopen(const char* path, const char* mode) {
  if (under(path) && fails("open")) return nullptr;
  return NEXT(fopen)(path, mode);
}
FILE* fopen64(const char* path, const char* mode) {
  if (under(path) && fails("open")) return nullptr;
  return NEXT(fopen64)(path, mode);
}

ssize_t write(int fd, const void* bytes, size_t size) {
  if (under(fd) && fails("write")) return -1;
  return syscall(SYS_write, fd, bytes, size);
}
ssize_t writev(int fd, const iovec* parts, int count) {
  if (under(fd) && fails("write")) return -1;
  return syscall(SYS_writev, fd, parts, count);
}
ssize_t pwrite(int fd, const void* bytes, size_t size, off_t at) {
  if (under(fd) && fails("write")) return -1;
  return syscall(SYS_pwrite64, fd, bytes, size, at);
}
ssize_t pwrite64(int fd, const void* bytes, size_t size, off64_t at) { return pwrite(fd, bytes, size, at); }
ssize_t sendfile(int to, int from, off_t* at, size_t size) {
  if (under(to) && fails("write")) return -1;
  return NEXT(sendfile)(to, from, at, size);
}
ssize_t sendfile64(int to, int from, off64_t* at, size_t size) { return sendfile(to, from, at, size); }
ssize_t copy_file_range(int from, off64_t* from_at, int to, off64_t* to_at, size_t size, unsigned flags) {
  if (under(to) && fails("write")) return -1;
  return NEXT(copy_file_range)(from, from_at, to, to_at, size, flags);
}

int fsync(int fd) {
  if (under(fd) && fails("sync")) return -1;
  return static_cast<int>(syscall(SYS_fsync, fd));
}
int fdatasync(int fd) {
  if (under(fd) && fails("sync")) return -1;
  return static_cast<int>(syscall(SYS_fdatasync, fd));
}

int rename(const char* from, const char* to) noexcept {
  if (under(to) && fails("rename")) return -1;
  return NEXT(rename)(from, to);
}
int mkdir(const char* path, mode_t mode) noexcept {
  if (under(path) && fails("mkdir")) return -1;
  return NEXT(mkdir)(path, mode);
}

}  // extern "C"
