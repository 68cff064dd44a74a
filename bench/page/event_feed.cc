#include "bench/page/event_feed.h"

#include <algorithm>
#include <utility>
#include <vector>

namespace tachproof {

void EventFeed::say(const std::string& event, std::string json) {
  if (all_) all_->say(name_ + "/" + event, json);
  const std::lock_guard lock(mutex_);
  words_[event] = {++said_, std::move(json)};
  for (const auto& [number, heard] : listeners_) heard();
}

EventFeed::News EventFeed::since(std::uint64_t after) const {
  const std::lock_guard lock(mutex_);
  std::vector<std::pair<std::uint64_t, const std::string*>> newest;
  std::map<std::uint64_t, const std::string*> names;
  for (const auto& [event, word] : words_)
    if (word.number > after) {
      newest.emplace_back(word.number, &word.json);
      names[word.number] = &event;
    }
  std::sort(newest.begin(), newest.end());
  News news{said_, {}};
  for (const auto& [number, json] : newest)
    news.text += "event: " + *names[number] + "\ndata: " + *json + "\n\n";
  return news;
}

std::uint64_t EventFeed::listen(std::function<void()> heard) {
  const std::lock_guard lock(mutex_);
  listeners_[++joined_] = std::move(heard);
  return joined_;
}

void EventFeed::leave(std::uint64_t listener) {
  const std::lock_guard lock(mutex_);
  listeners_.erase(listener);
}

std::size_t EventFeed::listeners() const {
  const std::lock_guard lock(mutex_);
  return listeners_.size();
}

}  // namespace tachproof
