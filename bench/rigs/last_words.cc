#include "bench/rigs/last_words.h"

#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cerrno>
#include <stdexcept>

namespace tachproof {
namespace {

constexpr std::size_t places = 8;
constexpr std::size_t longest = 62;

struct LastWord {
  std::atomic<bool> used{false};
  std::atomic<int> fd{-1};
  std::array<char, longest + 2> words{};  // between newlines: the line before may be cut short
  std::size_t size = 0;
};

std::array<LastWord, places> all;
std::atomic<bool> hurried{false};

static_assert(std::atomic<bool>::is_always_lock_free && std::atomic<int>::is_always_lock_free);

}  // namespace

SwitchedOffFirst::SwitchedOffFirst(std::string_view words) : place_(0) {
  while (place_ < places && all[place_].used) ++place_;
  if (place_ == places || words.size() > longest)
    throw std::logic_error("more devices, or longer words, than a signal can see to");
  LastWord& place = all[place_];
  place.fd = -1;
  place.words[0] = '\n';
  std::copy(words.begin(), words.end(), place.words.begin() + 1);
  place.words[words.size() + 1] = '\n';
  place.size = words.size() + 2;
  place.used = true;
}

SwitchedOffFirst::~SwitchedOffFirst() { all[place_].used = false; }

void SwitchedOffFirst::way(int fd) noexcept { all[place_].fd = fd; }

bool some_are_switched_off_first() noexcept {
  for (const LastWord& place : all)
    if (place.used) return true;
  return false;
}

bool send_last_words() noexcept {
  bool sent = false;
  for (const LastWord& place : all) {
    const int fd = place.used ? place.fd.load() : -1;
    if (fd < 0) continue;
    ssize_t n = send(fd, place.words.data(), place.size, MSG_NOSIGNAL | MSG_DONTWAIT);
    if (n < 0 && errno == ENOTSOCK) n = write(fd, place.words.data(), place.size);
    sent = sent || n == static_cast<ssize_t>(place.size);
  }
  return sent;
}

void hurry() noexcept { hurried = true; }
bool in_a_hurry() noexcept { return hurried; }
void no_hurry() noexcept { hurried = false; }

}  // namespace tachproof
