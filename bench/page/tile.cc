#include "bench/page/tile.h"

#include <fmt/format.h>

#include <chrono>
#include <ctime>
#include <nlohmann/json.hpp>

#include "bench/commands/run_output.h"
#include "bench/history/history.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/rigs/factory.h"
#include "bench/run/stop_request.h"

namespace tachproof {
namespace {

std::string hour_now() {
  const std::time_t now = std::time(nullptr);
  std::tm local = {};
  localtime_r(&now, &local);
  return fmt::format("{:02}:{:02}", local.tm_hour, local.tm_min);
}

// Until a person has answered, or the run was stopped.
constexpr auto look_again = std::chrono::milliseconds(100);

}  // namespace

std::string_view word(TileView::State state) {
  switch (state) {
    case TileView::State::waiting: return "waiting";
    case TileView::State::preparing: return "preparing";
    case TileView::State::running: return "running";
    case TileView::State::asking: return "asking";
    case TileView::State::result: return "result";
  }
  return "";
}

std::string tile_id(const std::string& rig) {
  std::string id = fit_for_a_file_name(rig.ends_with(".yaml") ? rig.substr(0, rig.size() - 5) : rig);
  return id;
}

Tile::Tile(const Shop& shop, std::string rig, TileSettings settings, std::shared_ptr<EventFeed> bench)
    : shop_(shop),
      id_(tile_id(rig)),
      rig_(std::move(rig)),
      settings_(std::move(settings)),
      feed_(std::make_shared<EventFeed>(std::move(bench), id_)) {
  now_.id = id_;
  now_.rig = rig_;
}

Tile::~Tile() {
  stop_ = true;
  answered_.notify_all();
  if (worker_.joinable()) worker_.join();
}

TileView Tile::view() const {
  const std::lock_guard lock(mutex_);
  return now_;
}

bool Tile::busy() const {
  const std::lock_guard lock(mutex_);
  return now_.state != TileView::State::waiting && now_.state != TileView::State::result;
}

void Tile::changed() {
  ++now_.number;
  feed_->say("state", fmt::format("{{\"number\":{}}}", now_.number));
}

void Tile::choose(const std::string& job_file) {
  const std::lock_guard lock(mutex_);
  if (now_.state != TileView::State::waiting && now_.state != TileView::State::result) return;
  now_.job_file = job_file;
  now_.job.reset();
  now_.trouble.clear();
  now_.passed_before.clear();
  now_.state = TileView::State::waiting;
  try {
    const std::optional<std::filesystem::path> path = shop_.path_of(job_file);
    if (!path) throw std::runtime_error("there is no job " + job_file);
    now_.job = std::make_shared<JobInput>(load_job_input(path->string()));
  } catch (const std::exception& e) {
    now_.trouble = e.what();
  }
  changed();
}

std::string Tile::passed_before(const JobInput& job, const std::string& serial) const {
  if (serial.empty() || settings_.no_history) return {};
  try {
    const HistoryPlace place = history_place(settings_.history);
    if (!place.may_be_there()) return {};
    const History history(place, History::Open::existing);
    HistoryFilter filter;
    filter.unit = serial;
    std::string last;
    for (const HistoryRun& run : history.runs(filter))
      if (run.verdict == Verdict::pass && run.complete && run.gauge == job.gauge.gauge.name)
        last = run.started;
    if (last.size() < 16) return {};
    return last.substr(0, 10) + " at " + last.substr(11, 5);
  } catch (const std::exception&) {
    return {};  // it is only asked for politeness' sake
  }
}

void Tile::start(const std::string& serial, bool again) {
  std::unique_lock lock(mutex_);
  if (now_.state != TileView::State::waiting && now_.state != TileView::State::result) return;
  const std::string job_file = now_.job_file;
  lock.unlock();
  std::shared_ptr<JobInput> job;
  std::string trouble, before;
  try {
    const std::optional<std::filesystem::path> path = shop_.path_of(job_file);
    if (!path)
      throw std::runtime_error(job_file.empty() ? "Choose a job first." : "There is no job " + job_file);
    job = std::make_shared<JobInput>(load_job_input(path->string()));
    if (const std::optional<std::string> wrong = wrong_serial(job->job, serial)) trouble = *wrong;
    if (trouble.empty() && !again) before = passed_before(*job, serial);
  } catch (const std::exception& e) {
    trouble = e.what();
  }
  lock.lock();
  if (now_.state != TileView::State::waiting && now_.state != TileView::State::result) return;
  now_.trouble = trouble;
  now_.passed_before = before;
  now_.serial = serial;
  if (job) now_.job = job;
  if (!trouble.empty() || !before.empty()) {
    if (now_.state == TileView::State::result) now_.state = TileView::State::waiting;
    return changed();
  }
  if (worker_.joinable()) worker_.join();  // it has said its last word
  stop_ = false;
  given_.reset();
  now_.state = TileView::State::preparing;
  now_.part.clear();
  changed();
  worker_ = std::thread([this, serial] { work(serial); });
}

void Tile::stop() {
  stop_ = true;
  answered_.notify_all();
}

void Tile::answer(const std::string& text) {
  const std::lock_guard lock(mutex_);
  if (now_.state != TileView::State::asking) return;
  given_ = text;
  now_.question.reset();
  now_.state = TileView::State::running;
  answered_.notify_all();
  changed();
}

void Tile::next() {
  const std::lock_guard lock(mutex_);
  if (now_.state == TileView::State::waiting) {
    now_.passed_before.clear();
    now_.trouble.clear();
    now_.serial.clear();
    return changed();
  }
  if (now_.state != TileView::State::result) return;
  now_.state = TileView::State::waiting;
  changed();
}

std::optional<std::string> Tile::why_stop() const {
  if (stop_) return "the run was stopped at the bench page";
  return stop_requested();
}

// Called again and again until there is a reply; waits no longer than `patience`.
std::optional<Reply> Tile::ask(const Ask& ask, Nanos patience) {
  std::unique_lock lock(mutex_);
  if (given_) {
    Reply reply{std::exchange(given_, std::nullopt)};
    return reply;
  }
  if (now_.state != TileView::State::asking) {
    now_.state = TileView::State::asking;
    now_.question = ask;
    changed();
  }
  if (patience > 0)
    answered_.wait_for(lock,
                       std::min<std::chrono::nanoseconds>(std::chrono::nanoseconds(patience), look_again),
                       [this] { return given_.has_value() || stop_; });
  if (!given_) return std::nullopt;
  return Reply{std::exchange(given_, std::nullopt)};
}

SurveyHooks Tile::hooks(LiveRun& live, std::size_t part, const std::string& name, const Profile* profile) {
  live.begins(name, profile);
  {
    const std::lock_guard lock(mutex_);
    now_.state = TileView::State::running;
    now_.announced.clear();
    now_.part = now_.job->job.play.size() > 1
                    ? fmt::format("{} ({} of {})", name, part + 1, now_.job->job.play.size())
                    : name;
    changed();
  }
  SurveyHooks hooks;
  hooks.stop = [this] { return why_stop(); };
  hooks.progress = [&live](const RunProgress& progress) { live.progress(progress); };
  hooks.boundaries = [&live](const RunProgress& progress, std::size_t known, std::size_t of) {
    live.progress(progress, boundaries_known(known, of));
  };
  hooks.announce = [this](const std::string& sentence) {
    const std::lock_guard lock(mutex_);
    now_.announced = as_sentence(sentence);
    changed();
  };
  hooks.lamps = [&live](const LampEvent& event) { live.lamps(event); };
  hooks.finding = [&live](const Finding& finding) { live.found(finding); };
  hooks.ask_person = [this](const Ask& question, Nanos patience) { return ask(question, patience); };
  hooks.in_real_time = settings_.simulated_in_real_time;
  return hooks;
}

// Why nothing could be played, or "".
std::string Tile::play_all(const std::string& serial) {
  std::shared_ptr<const JobInput> job;
  {
    const std::lock_guard lock(mutex_);
    job = now_.job;
  }
  std::vector<PlayedRun> played;
  std::string trouble;
  try {
    const auto with_plan = std::make_shared<JobInput>(*job);
    make_plan_of(*with_plan, shop_.folder() / ".plans");
    {
      const std::lock_guard lock(mutex_);
      now_.job = with_plan;
    }
    ReportOptions options;
    options.set(job->job.certificate, settings_.history, settings_.no_history);
    options.load();
    LiveRun live(job->gauge.gauge, feed_);
    JobWatch watch;
    watch.begins = [&](std::size_t part, const std::string& name, const Profile* profile) {
      return hooks(live, part, name, profile);
    };
    watch.ended = [&](const PlayedRun& run) {
      options.add_to_history(run.folder);
      const std::lock_guard lock(mutex_);
      now_.played.push_back({std::make_shared<RunRecord>(run.record),
                             run.folder.path().lexically_relative(shop_.runs()).string()});
    };
    const std::string out = unused_run_folder(shop_.runs(), job->job.name, serial).string();
    played = play_job(*with_plan, serial, options, out, watch);
  } catch (const std::exception& e) {
    trouble = e.what();
  }
  const std::lock_guard lock(mutex_);
  now_.verdict = verdict_of(*job, played);
  return trouble;
}

void Tile::work(std::string serial) {
  {
    const std::lock_guard lock(mutex_);
    now_.played.clear();
  }
  const std::string trouble = play_all(serial);
  const std::lock_guard lock(mutex_);
  now_.question.reset();
  now_.trouble = trouble;
  now_.ended = hour_now();
  // Nothing was played: the rig is missing, or somebody has it. That is no word on the unit.
  now_.state = now_.played.empty() ? TileView::State::waiting : TileView::State::result;
  if (!trouble.empty()) now_.verdict = worst(now_.verdict, Verdict::undecided);
  changed();
}

}  // namespace tachproof
