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
    facts.description = "played when the clip was made; the clock of that source is not known here";
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
        "; without a sync lamp the clip's time is told by the first and last change";
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
  std::optional<Nanos> attend() override { return source_ ? source_->attend() : std::nullopt; }
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
                          PlayedMarks& marks) {
  if (!marks.ends) return "the profile is not known, so that nothing says when the clip begins";
  if (changes.size() < 2)
    return "fewer than two changes are seen, which is too few to say when the clip begins";
  const auto [first, last, duration] = *marks.ends;
  const ChangeSpan &from = changes.front(), &to = changes.back();
  if (!any_moves(from, moves, first.moves) || !any_moves(to, moves, last.moves))
    return "the first or last change of the clip is not that of the run: it misses an end, or the unit does "
           "not show what it should there";
  const auto middle = [](const RunEnd& end) { return end.earliest + (end.latest - end.earliest) / 2; };
  const auto within = [&](const RunEnd& end) { return (end.latest - end.earliest + 1) / 2; };
  marks.clock.flashed(middle(first), middle(last));
  marks.clock.seen(from.after - within(first), from.before + within(first), true);
  marks.clock.seen(to.after - within(last), to.before + within(last), false);
  if (marks.clock.consistent()) return {};
  return fmt::format(
      "from the first to the last change the clip takes {}, and the run {}: it is another run's, misses an "
      "end, or gives the wrong number of frames a second",
      say_span(to.middle() - from.middle()), say_span(middle(last) - middle(first)));
}

}  // namespace tachproof
