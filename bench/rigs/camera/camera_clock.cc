#include "bench/rigs/camera/camera_clock.h"

#include <fmt/format.h>

#include <set>
#include <utility>
#include <variant>

#include "core/base/text.h"

namespace tachproof {
namespace {

class MarkingSource : public Source {
 public:
  MarkingSource(std::unique_ptr<Source> source, std::string sync, std::optional<WithoutSync> without_sync,
                std::shared_ptr<PlayedMarks> marks)
      : source_(std::move(source)),
        sync_(std::move(sync)),
        without_sync_(std::move(without_sync)),
        marks_(std::move(marks)) {}
  SourceFacts facts() const override {
    if (source_) return source_->facts();
    SourceFacts facts;
    facts.kind = "simulated";
    facts.description = "played when the clip was filmed; that source's clock is not known";
    facts.virtual_time = true;
    return facts;
  }
  std::optional<std::string> cannot_play(const PlayRequest& request) override {
    if (source_)
      if (std::optional<std::string> why = source_->cannot_play(request)) return why;
    if (request.dwell)
      return "it dwells, and a dwell presses nothing: the sync lamp never flashes, so no lamp change can be "
             "timed. Watch the lamps by wires for a dwell";
    if (const std::string why = never_flashed(request.profile); !why.empty() && !without_sync_) return why;
    marks_->duration = request.profile.duration();
    if (!without_sync_) return std::nullopt;
    constexpr const char* needs =
        ". Without a sync lamp the first and the last lamp change set the clip's time: film with the sync "
        "lamp "
        "in view, or choose another scenario";
    std::variant<RunEnds, std::string> ends =
        run_ends(without_sync_->gauge, request.profile, without_sync_->wired);
    if (const std::string* why = std::get_if<std::string>(&ends)) return *why + needs;
    marks_->ends = std::get<RunEnds>(ends);
    return std::nullopt;
  }
  void begin() override {
    if (source_) source_->begin();
  }
  void rpm(const Segment& segment) override {
    if (source_) source_->rpm(segment);
  }
  void play(const PulseBlock& block) override {
    if (source_) source_->play(block);
  }
  bool can_press(const std::string& action) const override { return !source_ || source_->can_press(action); }
  void press(const Press& press, Nanos at) override {
    if (press.action == sync_ && !without_sync_) marks_->clock.flashed(at, at + press.lasts);
    if (source_) source_->press(press, at);
  }
  // A clip's presses and supply are in it already.
  bool can_power() const override { return !source_ || source_->can_power(); }
  void power_off(Nanos lasts, Nanos at) override {
    if (source_) source_->power_off(lasts, at);
  }
  bool can_supply() const override { return !source_ || source_->can_supply(); }
  void supply(const Supply& supply, Nanos at) override {
    if (source_) source_->supply(supply, at);
  }
  std::optional<Nanos> attend() override { return source_ ? source_->attend() : std::nullopt; }
  void beside(SideWork& errands) override {
    if (!source_) throw std::logic_error("a clip was given errands");
    source_->beside(errands);
  }
  std::vector<PlayedChange> take_played() override {
    return source_ ? source_->take_played() : std::vector<PlayedChange>();
  }
  void end() noexcept override {
    if (source_) source_->end();
  }

 private:
  // Other actions are pressed, and not the one that flashes the sync lamp.
  std::string never_flashed(const Profile& profile) const {
    std::set<std::string> pressed;
    for (const Action& action : profile.actions())
      if (const Press* press = std::get_if<Press>(&action.what)) pressed.insert(press->action);
    if (pressed.empty() || pressed.contains(sync_)) return {};
    std::string all;
    for (const std::string& name : pressed) all += (all.empty() ? "" : ", ") + name;
    return "it never presses '" + sync_ + "', which flashes the sync lamp; it presses: " + all;
  }

  std::unique_ptr<Source> source_;
  std::string sync_;
  std::optional<WithoutSync> without_sync_;
  std::shared_ptr<PlayedMarks> marks_;
};

bool any_moves(const ChangeSpan& change, const std::vector<Channels>& channels, Channels wanted) {
  for (const LampChange& lamp : change.changes)
    if (channels.at(lamp.lamp) & wanted) return true;
  return false;
}

}  // namespace

std::unique_ptr<Source> marking_source(std::unique_ptr<Source> source, std::string sync,
                                       std::optional<WithoutSync> without_sync,
                                       std::shared_ptr<PlayedMarks> marks) {
  return std::make_unique<MarkingSource>(std::move(source), std::move(sync), std::move(without_sync),
                                         std::move(marks));
}

std::string place_by_ends(const std::vector<ChangeSpan>& changes, const std::vector<Channels>& moves,
                          Nanos period, PlayedMarks& marks) {
  if (!marks.ends) return "the profile is not known, so nothing says when in the clip the run begins";
  if (changes.size() < 2)
    return fmt::format(
        "the clip shows {} lamp changes, and 2 are needed to find the run in it: film the whole "
        "run, with all lamps in view",
        changes.size());
  const auto [first, last, duration] = *marks.ends;
  const ChangeSpan &from = changes.front(), &to = changes.back();
  const bool first_fits = any_moves(from, moves, first.moves);
  if (!first_fits || !any_moves(to, moves, last.moves))
    return fmt::format(
        "the clip's {0} change, by {1}, is not of the lamps that the run's {0} change is of: film "
        "the whole run; if this is all of it, the unit does not show there what it should",
        first_fits ? "last" : "first", say_frame((first_fits ? to : from).shown));
  const auto middle = [](const RunEnd& end) { return end.earliest + (end.latest - end.earliest) / 2; };
  const auto within = [&](const RunEnd& end) { return (end.latest - end.earliest + 1) / 2; };
  marks.clock.flashed(middle(first), middle(last));
  marks.clock.seen(from.after - within(first), from.before + within(first), true);
  marks.clock.seen(to.after - within(last), to.before + within(last), false);
  if (marks.clock.consistent()) return {};
  const Nanos filmed = to.middle() - from.middle(), played = middle(last) - middle(first);
  const double fps = 1 / to_seconds(period);
  return fmt::format(
      "from the first to the last change the clip takes {}, and the run {}. If the clip shows this run and "
      "all "
      "of it, it has {:.2f} frames a second and not {:.2f}: give the right number (--fps, or fps in the rig "
      "file). If not, film the whole run",
      say_span(filmed), say_span(played), fps * to_seconds(filmed) / to_seconds(played), fps);
}

}  // namespace tachproof
