// What is live on a page: the newest word of each kind of event, for any number of listeners.
//
// Every event is complete in itself, so that who comes late, or again, needs only the newest of each.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <utility>

namespace tachproof {

// Safe for all threads.
class EventFeed {
 public:
  EventFeed() = default;
  // What is said here is said in `all` too, as "NAME/EVENT".
  EventFeed(std::shared_ptr<EventFeed> all, std::string name)
      : all_(std::move(all)), name_(std::move(name)) {}

  // `json`: one line.
  void say(const std::string& event, std::string json);

  // The newest of each event that was said after `after`, as text/event-stream, in the order in which they
  // were said; `upto` is for the next call.
  struct News {
    std::uint64_t upto = 0;
    std::string text;
  };
  News since(std::uint64_t after) const;

  // Calls `heard` after each word, from the thread that says it, until leave(). It must not call the feed.
  std::uint64_t listen(std::function<void()> heard);
  void leave(std::uint64_t listener);
  std::size_t listeners() const;

 private:
  struct Word {
    std::uint64_t number = 0;
    std::string json;
  };
  const std::shared_ptr<EventFeed> all_;
  const std::string name_;
  mutable std::mutex mutex_;
  std::map<std::string, Word> words_;
  std::map<std::uint64_t, std::function<void()>> listeners_;
  std::uint64_t said_ = 0, joined_ = 0;
};

}  // namespace tachproof
