#include "core/cause/seldom_read.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>

#include "core/gauge/window_ladder.h"

namespace tachproof {
namespace {

// For each sample: lamps that are wrong cost 1. Of ways that are as right, the one that reads as often as it
// can, and what was read at the response that is usual, come first.
// Another window is read when the lamps change: they may look alike in both before.
constexpr float cost_of_wrong = 1, cost_of_waiting = 0.001F, cost_of_other_response = 0.002F,
                cost_of_unseen = 0.05F;

// Segments that adjoin, cut where wanted.
class Cut {
 public:
  explicit Cut(const std::vector<Segment>& played)
      : played_(played), out_(std::make_shared<std::vector<Segment>>()) {}

  double rpm(Nanos at) {
    const Segment& s = segment(at);
    return s.rpm(std::clamp(to_seconds(at - s.start.whole), 0.0, s.lasts_s));
  }
  void hold(Nanos from, Nanos to, double rpm) { line(from, to, rpm, rpm); }
  void as_played(Nanos from, Nanos to) {
    while (from < to) {
      const Segment& s = segment(from);
      Nanos end = next_ + 1 < played_.size() ? std::min(to, played_[next_ + 1].start.whole) : to;
      if (s.shape == Segment::Shape::sine) end = std::min(end, from + 10 * ns_per_ms);
      end = std::max(end, from + 1);
      const auto in = [&](Nanos at) {
        return s.rpm(std::clamp(to_seconds(at - s.start.whole), 0.0, s.lasts_s));
      };
      line(from, end, in(from), in(end));
      from = end;
    }
  }
  std::shared_ptr<const std::vector<Segment>> taken() { return std::move(out_); }

 private:
  const Segment& segment(Nanos at) {
    while (next_ + 1 < played_.size() && played_[next_ + 1].start.whole <= at) ++next_;
    while (next_ > 0 && played_[next_].start.whole > at) --next_;
    return played_[next_];
  }
  void line(Nanos from, Nanos to, double rpm0, double rpm1) {
    if (to <= from) return;
    Segment piece;
    piece.shape = rpm0 == rpm1 ? Segment::Shape::constant : Segment::Shape::linear;
    piece.start.whole = from;
    piece.lasts_s = to_seconds(to - from);
    piece.rpm0 = rpm0;
    if (rpm0 != rpm1) piece.slope_rpm_per_s = (rpm1 - rpm0) / piece.lasts_s;
    out_->push_back(piece);
  }

  const std::vector<Segment>& played_;
  std::size_t next_ = 0;
  std::shared_ptr<std::vector<Segment>> out_;
};

class Reader {
 public:
  Reader(const Road& road, const Gauge& gauge)
      : road_(road), samples_(road.samples()), gauge_(gauge), ladder_(gauge), n_(gauge.windows.size()) {
    find_ranges();
    find_still();
  }

  SeldomRead read(const std::vector<Segment>& played) {
    SeldomRead found;
    if (samples_.empty() || played.empty() || n_ == 0 || n_ > 250 || road_.pressed()) return found;
    forward();
    backward();
    for (std::size_t i = 0; i < samples_.size(); ++i)
      if (wrong(path_[i], i)) found.wrong_s += to_seconds(road_.step());
    count_gaps(found);
    found.believed = believed(played);
    return found;
  }

 private:
  // What may have been read: the rpm of every response that is allowed, a tolerance to either side.
  void find_ranges() {
    const Tolerance& t = gauge_.tolerance;
    const auto half = static_cast<std::size_t>((t.response_to - t.response_from) / 2 / road_.step()) + 1;
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const std::size_t from = i - std::min(i, half), to = std::min(samples_.size(), i + half + 1);
      double low = samples_[i].rpm, high = low;
      for (std::size_t k = from; k < to; ++k) {
        low = std::min(low, samples_[k].rpm);
        high = std::max(high, samples_[k].rpm);
      }
      low_.push_back(low - t.rpm);
      high_.push_back(high + t.rpm);
    }
  }

  // Channels that stay as they are for longer than a blink lets them.
  void find_still() {
    still_.assign(samples_.size(), 0);
    if (!gauge_.blink || gauge_.blink->hz <= 0) return;
    const std::vector<LampEvent>& lamps = road_.lamps();
    const Nanos longest = from_seconds(1.15 / gauge_.blink->hz);
    for (std::size_t c = 0; c < gauge_.channels(); ++c) {
      const auto lit = [&](std::size_t e) { return (lamps[e].lit >> c) & 1; };
      std::size_t i = 0;
      for (std::size_t e = 0; e < lamps.size();) {
        std::size_t end = e + 1;
        while (end < lamps.size() && lit(end) == lit(e)) ++end;
        const Nanos until = end < lamps.size() ? lamps[end].at : road_.until();
        // Its first phase may belong to the window before, its last one to the window after.
        while (i < samples_.size() && samples_[i].at < lamps[e].at + longest) ++i;
        for (; i < samples_.size() && samples_[i].at < until - longest; ++i) still_[i] |= Channels{1} << c;
        e = end;
      }
    }
  }

  bool wrong(std::size_t w, std::size_t i) const {
    if (samples_[i].disturbed) return false;
    return !road_.right(gauge_, w, samples_[i].lit) ||
           (gauge_.windows[w].cue.blinking & road_.wired() & still_[i]) != 0;
  }

  void forward() {
    constexpr float never = std::numeric_limits<float>::infinity();
    std::vector<float> cost(n_, never), next(n_);
    cost[0] = 0;
    cost[ladder_.next(0, samples_[0].rpm)] = 0;
    from_.assign(samples_.size() * n_, 0);
    how_.assign(samples_.size() * n_, waits);
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      std::fill(next.begin(), next.end(), never);
      const float unseen = i > 0 && samples_[i].lit == samples_[i - 1].lit ? cost_of_unseen : 0;
      const auto go = [&](std::size_t w, std::size_t to, How how, float by) {
        if (w != to) by += unseen;
        if (cost[w] + by >= next[to]) return;
        next[to] = cost[w] + by;
        from_[i * n_ + to] = static_cast<std::uint8_t>(w);
        how_[i * n_ + to] = how;
      };
      for (std::size_t w = 0; w < n_; ++w) {
        if (cost[w] == never) continue;
        const std::size_t usual = ladder_.next(w, samples_[i].rpm);
        go(w, usual, reads, 0);
        go(w, w, waits, cost_of_waiting);
        const std::size_t high = ladder_.next(w, high_[i]);
        for (std::size_t to = ladder_.next(w, low_[i]); to <= high; ++to)
          if (to != usual) go(w, to, reads_otherwise, cost_of_other_response);
      }
      for (std::size_t w = 0; w < n_; ++w)
        if (next[w] != never && wrong(w, i)) next[w] += cost_of_wrong;
      cost.swap(next);
    }
    last_ = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
  }

  void backward() {
    path_.assign(samples_.size(), 0);
    done_.assign(samples_.size(), waits);
    for (std::size_t i = samples_.size(), w = last_; i-- > 0;) {
      path_[i] = w;
      done_[i] = how_[i * n_ + w];
      w = from_[i * n_ + w];
    }
  }

  // A gap counts where the lamps were behind: the window would have been another. It lasts until they change.
  void count_gaps(SeldomRead& found) const {
    bool open = false;
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      if (i > 0 && path_[i] != path_[i - 1]) open = false;
      const bool behind = done_[i] == waits && ladder_.next(path_[i], samples_[i].rpm) != path_[i];
      found.gaps += behind && !open;
      if (behind) found.behind_s += to_seconds(road_.step());
      open |= behind;
    }
  }

  // Nearest to `rpm` of those that show window `w` whatever is tolerated.
  double inside(std::size_t w, double rpm) const {
    const double t = 1.5 * gauge_.tolerance.rpm + 0.5;
    const double low = w == 0 ? 0 : gauge_.rising_rpm(w) + t;
    const double high = w + 1 < n_ ? gauge_.falling_rpm(w + 1) - t : std::numeric_limits<double>::infinity();
    if (low <= high) return std::clamp(rpm, low, high);
    return w + 1 < n_ ? (gauge_.rising_rpm(w) + gauge_.rising_rpm(w + 1)) / 2 : low;
  }

  std::shared_ptr<const std::vector<Segment>> believed(const std::vector<Segment>& played) const {
    Cut cut(played);
    const Nanos half = road_.step() / 2, end = road_.until();
    const auto begins = [&](std::size_t i) {
      return i == 0 ? 0 : std::clamp<Nanos>(samples_[i].at - road_.response() - half, 0, end);
    };
    double held = 0;
    for (std::size_t i = 0; i < samples_.size();) {
      std::size_t to = i + 1;
      while (to < samples_.size() && done_[to] == done_[i] && (done_[i] == reads || path_[to] == path_[i]))
        ++to;
      const Nanos from = begins(i), until = to < samples_.size() ? begins(to) : end;
      if (from < until && done_[i] == reads) {
        cut.as_played(from, until);
        held = samples_[to - 1].rpm;
      } else if (from < until) {
        held = inside(path_[i], i == 0 ? samples_[0].rpm : held);
        cut.hold(from, until, held);
      }
      i = to;
    }
    return cut.taken();
  }

  enum How : std::uint8_t { waits, reads, reads_otherwise };

  const Road& road_;
  const std::vector<Road::Sample>& samples_;
  const Gauge& gauge_;
  const WindowLadder ladder_;
  std::size_t n_;
  std::vector<double> low_, high_;
  std::vector<Channels> still_;
  std::vector<std::uint8_t> from_;
  std::vector<How> how_;
  std::vector<std::size_t> path_;
  std::vector<How> done_;
  std::size_t last_ = 0;
};

}  // namespace

SeldomRead seldom_read(const Road& road, const Gauge& gauge, const std::vector<Segment>& played) {
  return Reader(road, gauge).read(played);
}

}  // namespace tachproof
