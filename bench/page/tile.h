// One rig of the shop and what goes on at it: it waits for a serial number, plays a job, asks, shows a
// result.
//
// A run belongs to no browser: it goes on in a thread of its own, whoever looks. All calls are safe for all
// threads and return at once.
#pragma once

#include <atomic>
#include <condition_variable>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "bench/page/event_feed.h"
#include "bench/page/live.h"
#include "bench/page/shop.h"

namespace tachproof {

struct TileSettings {
  bool simulated_in_real_time = true;  // what has no clock of its own
  std::string history;                 // a file or a server; "" for the user's own
  bool no_history = false;
};

// One part of a job that was played.
struct TileRun {
  std::shared_ptr<const RunRecord> record;
  std::string name;  // of the run folder beneath runs/: "20310314-142501-plan"
};

// A tile as it is at one moment.
struct TileView {
  enum class State { waiting, preparing, running, asking, result } state = State::waiting;
  std::uint64_t number = 0;             // a greater one after every change that a page must draw anew
  std::string id, rig;                  // the rig's file
  std::string job_file;                 // "" where none is chosen
  std::shared_ptr<const JobInput> job;  // null: none, or it cannot be read
  std::string serial;                   // of the unit that is tested, or was
  std::string trouble;                  // a sentence at the field
  std::string passed_before;  // "14:25 today": the serial number has passed, and nobody said "again"
  std::string part;           // what is played
  std::string announced;      // what the run says of itself: how long it will take, what it gives up
  std::optional<Ask> question;
  std::vector<TileRun> played;  // of the last result
  Verdict verdict = Verdict::undecided;
  std::string ended;  // the hour at which the last result came, "14:25"
};

std::string_view word(TileView::State state);  // "waiting", ...

class Tile {
 public:
  // `bench`: the feed of all tiles, which hears what this one says as "ID/EVENT".
  Tile(const Shop& shop, std::string rig, TileSettings settings, std::shared_ptr<EventFeed> bench = nullptr);
  ~Tile();  // stops what goes on, and waits until it has

  // The job for the units to come. Says in `trouble` why it cannot be.
  void choose(const std::string& job_file);
  // Begins with this unit. `again`: although it has passed before.
  void start(const std::string& serial, bool again);
  void stop();                           // keeps what was measured
  void answer(const std::string& text);  // to the question that is asked
  void next();                           // from a result to the next unit

  const std::string& id() const { return id_; }
  const std::string& rig() const { return rig_; }
  TileView view() const;
  std::shared_ptr<EventFeed> feed() const { return feed_; }
  bool busy() const;

 private:
  void work(std::string serial);
  std::string play_all(const std::string& serial);
  SurveyHooks hooks(LiveRun& live, std::size_t part, const std::string& name, const Profile* profile);
  std::optional<Reply> ask(const Ask& ask, Nanos patience);
  std::optional<std::string> why_stop() const;
  std::string passed_before(const JobInput& job, const std::string& serial) const;
  void changed();  // with the lock

  const Shop& shop_;
  const std::string id_, rig_;
  const TileSettings settings_;
  const std::shared_ptr<EventFeed> feed_;

  mutable std::mutex mutex_;
  std::condition_variable answered_;
  TileView now_;
  std::optional<std::string> given_;  // the answer
  std::atomic<bool> stop_{false};
  std::thread worker_;
};

// "drumlin-simulated" of "rigs/drumlin-simulated.yaml": for addresses.
std::string tile_id(const std::string& rig);

}  // namespace tachproof
