// What takes longer than a page may: done in a thread of its own, while a page looks again.
//
// An errand belongs to no browser, as a run does. All calls are safe for all threads.
#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "bench/page/event_feed.h"
#include "bench/page/request.h"

namespace tachproof {

// One errand, for the thread that does it and for who looks.
class Errand {
 public:
  // For the thread: what it is at, a sentence; why it must stop, a sentence, or nothing.
  void phase(const std::string& text);
  std::optional<std::string> why_stop() const;
  // Asks a person, and waits for nobody: called again and again with the same question until there is an
  // answer.
  std::optional<std::string> ask(const std::string& question);
  void asks_no_more();

  struct View {
    std::uint64_t id = 0, number = 0;  // `number`: a greater one whenever a page must draw anew
    bool running = false;
    std::string phase;
    std::optional<std::string> question;
    std::string html;     // what came of it
    bool failed = false;  // nothing came of it: the HTML says why
  };
  View view() const;
  // False: it still goes on.
  bool is_over_within(std::chrono::milliseconds patience) const;
  void answer(const std::string& text);
  void stop();

 private:
  friend class Errands;
  void changed();  // with the lock

  std::uint64_t id_ = 0;
  std::string key_, page_;
  std::shared_ptr<EventFeed> feed_ = std::make_shared<EventFeed>();
  mutable std::mutex mutex_;
  mutable std::condition_variable over_;
  View now_;
  std::optional<std::string> given_;
  std::atomic<bool> stop_{false};
  std::thread worker_;
};

class Errands {
 public:
  ~Errands();  // stops all, and waits until they have

  // What it gives is the errand's HTML; what it throws becomes a sentence of it, and the errors of a file its
  // lines. `key`: one at a time. `page`: where a browser goes that stops it by /errands/NUMBER/stop. False:
  // that one is going on already, or too many others are.
  bool start(const std::string& key, std::function<std::string(Errand&)> does, std::string page = "/");
  // The newest of this key; null where there was none.
  std::shared_ptr<Errand> find(const std::string& key) const;
  // /errands/NUMBER/events: "state" {"number": 3} and "phase" {"text": "..."}; /errands/NUMBER/stop.
  void add_routes(Router& router);

  static constexpr std::size_t most_at_once = 4, most_kept = 32;

 private:
  mutable std::mutex mutex_;
  std::vector<std::shared_ptr<Errand>> all_;  // oldest first
  std::uint64_t started_ = 0;
};

// Where an errand stands: what it is at, its question, or what came of it. `address`: of its page; a form
// posts to address/stop and address/answer.
std::string errand_html(const Errand::View& errand, const std::string& address);

}  // namespace tachproof
