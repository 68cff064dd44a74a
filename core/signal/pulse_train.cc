#include "core/signal/pulse_train.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <stdexcept>

#include "core/base/portable_math.h"
#include "core/base/random.h"
#include "core/signal/edges.h"
#include "core/signal/phase.h"

namespace tachproof {
namespace {

// Each kind of noise draws from its own stream, so that switching one on does
// not change the others.
enum Stream : std::uint64_t { jitter_stream = 1, wander_stream, missing_stream, doubled_stream };

void check(bool holds, const char* otherwise) {
  if (!holds) throw std::invalid_argument(otherwise);
}

void check_noise(const Noise& noise) {
  constexpr double most = 1e9;
  const auto amount = [](double x) { return x >= 0 && x <= most; };
  const auto shift = [](double x) { return std::abs(x) <= most; };
  check(amount(noise.jitter_us), "noise: jitter_us must be 0 or more");
  check(amount(noise.wander_rpm), "noise: wander_rpm must be 0 or more");
  check(noise.wander_rpm == 0 || (noise.wander_s > 0 && noise.wander_s <= most),
        "noise: wander_s must be above 0");
  check(noise.missing >= 0 && noise.missing <= 1, "noise: missing must be within 0..1");
  check(noise.doubled >= 0 && noise.doubled <= 1, "noise: doubled must be within 0..1");
  check(amount(noise.doubled_after_us), "noise: doubled_after_us must be 0 or more");
  check(std::ranges::all_of(noise.firing, shift), "noise: firing must be finite");
  check(std::ranges::all_of(noise.replay, shift), "noise: replay must be finite");
}

// Due instants while the engine's speed wanders. Between two pulses the speed
// is the profile's times (1 + wander / rpm), wander and rpm taken at the first
// of the two: so the next pulse comes when the profile's phase has advanced by
// 1 / (1 + wander / rpm), and the speed stays the profile's plus the wander
// however far the phase has strayed.
class WanderingPulses {
 public:
  WanderingPulses(const Profile& profile, double pulses_per_rev, const Noise& noise, std::uint64_t seed)
      : pieces_(profile, pulses_per_rev),
        random_(seed, wander_stream),
        sd_rpm_(noise.wander_rpm),
        tau_s_(noise.wander_s) {
    wander_rpm_ = sd_rpm_ * random_.normal();
    plan();
  }

  std::optional<Nanos> next() {
    while (to_go_ > 0 && (!in_piece_ || piece_.pulses() < phase_ + to_go_)) {
      if (in_piece_) to_go_ = (to_go_ - (piece_.pulses() - phase_)).hi;
      in_piece_ = pieces_.next(piece_);
      if (!in_piece_) return std::nullopt;
      phase_ = 0;
      near_s_ = 0;
    }
    phase_ = phase_ + std::max(to_go_, 0.0);
    const Piece::Reached edge = piece_.at(phase_, near_s_);
    const Nanos due = edge.at.whole + (edge.at.frac_ns >= 0.5 ? 1 : 0);
    near_s_ = edge.s;
    rpm_ = piece_.rpm(edge.s);
    step(to_seconds(due - last_));
    last_ = due;
    plan();
    return due;
  }

 private:
  // The Ornstein-Uhlenbeck process, exactly: D. T. Gillespie, Phys. Rev. E 54
  // (1996) 2084, eq. 1.9 (from memory).
  void step(double dt_s) {
    const double kept = dt_s < 700 * tau_s_ ? portable::exp(-dt_s / tau_s_) : 0;
    wander_rpm_ = kept * wander_rpm_ + sd_rpm_ * std::sqrt(1 - kept * kept) * random_.normal();
  }

  // An engine that stands or hardly turns neither runs backwards nor bolts.
  void plan() {
    const double share = rpm_ > 0 ? std::clamp(wander_rpm_ / rpm_, -0.5, 0.5) : 0;
    to_go_ = 1 / (1 + share);
  }

  Pieces pieces_;
  Piece piece_;
  bool in_piece_ = false;
  Wide phase_;        // the profile's, within the piece, at the last pulse
  double to_go_ = 0;  // from there to the next pulse
  double near_s_ = 0;
  double rpm_ = 0;
  Nanos last_ = 0;
  Random random_;
  double sd_rpm_;
  double tau_s_;
  double wander_rpm_ = 0;
};

// Due pulses one at a time, from either generator.
class DueOneByOne {
 public:
  DueOneByOne(const Profile& profile, double pulses_per_rev, const Noise& noise, std::uint64_t seed)
      : even_(profile, pulses_per_rev) {
    if (noise.wander_rpm > 0 && noise.replay.empty())
      wandering_.emplace(profile, pulses_per_rev, noise, seed);
  }

  std::optional<Nanos> next() {
    if (wandering_) return wandering_->next();
    if (at_ == count_) {
      count_ = even_.next_block(block_);
      at_ = 0;
      if (count_ == 0) return std::nullopt;
    }
    return block_[at_++];
  }

 private:
  DuePulses even_;
  std::optional<WanderingPulses> wandering_;
  std::array<Nanos, edges_block> block_{};
  std::size_t at_ = 0;
  std::size_t count_ = 0;
};

}  // namespace

// The due pulses, moved, dropped and doubled.
class PulseTrain::Impl {
 public:
  Impl(const Profile& profile, double pulses_per_rev, const Noise& noise, std::uint64_t seed)
      : noise_(noise),
        quiet_(noise.quiet()),
        even_(profile, pulses_per_rev),
        due_(profile, pulses_per_rev, noise, seed),
        jitter_(seed, jitter_stream),
        missing_(seed, missing_stream),
        doubled_(seed, doubled_stream) {
    if (!quiet_) after_ = due_.next();
  }

  std::size_t next(std::span<Nanos> out) { return quiet_ ? next_quiet(out) : next_noisy(out); }

  std::vector<Disturbance> take_disturbances() {
    std::vector<Disturbance> taken = std::move(disturbances_);
    disturbances_.clear();
    std::ranges::stable_sort(taken, {}, &Disturbance::at);
    return taken;
  }

 private:
  std::size_t next_quiet(std::span<Nanos> out) {
    std::size_t filled = 0;
    while (filled < out.size()) {
      const std::span<Nanos> room = out.subspan(filled);
      if (ready_at_ == ready_ && room.size() >= edges_block) {
        const std::size_t n = even_.next_block(room);
        if (n == 0) break;
        filled += n;
        continue;
      }
      if (ready_at_ == ready_) {
        ready_ = even_.next_block(block_);
        ready_at_ = 0;
        if (ready_ == 0) break;
      }
      const std::size_t n = std::min(room.size(), ready_ - ready_at_);
      std::copy_n(block_.begin() + static_cast<std::ptrdiff_t>(ready_at_), n, room.begin());
      ready_at_ += n;
      filled += n;
    }
    return filled;
  }

  std::size_t next_noisy(std::span<Nanos> out) {
    std::size_t filled = 0;
    while (filled < out.size()) {
      if (ready_at_ == ready_ && !produce()) break;
      out[filled++] = block_[ready_at_++];
    }
    return filled;
  }

  // One more pulse into the block, behind the extra one of the pulse before.
  bool produce() {
    ready_ = ready_at_ = 0;
    std::optional<Nanos> at = next_surviving();
    if (at && last_) at = std::max(*at, *last_ + min_gap);
    if (extra_after_last_) {
      Nanos extra = *last_ + std::max<Nanos>(min_gap, std::llround(noise_.doubled_after_us * 1e3));
      if (at) extra = std::min(extra, *at - min_gap);
      if (extra >= *last_ + min_gap) {
        block_[ready_++] = extra;
        disturbances_.push_back({Disturbance::Kind::doubled, extra});
      }
      extra_after_last_ = false;
    }
    if (at) {
      block_[ready_++] = *at;
      last_ = at;
      extra_after_last_ = noise_.doubled > 0 && doubled_.uniform() < noise_.doubled;
    }
    return ready_ > 0;
  }

  std::optional<Nanos> next_surviving() {
    while (const std::optional<Nanos> at = next_moved()) {
      if (noise_.missing == 0 || missing_.uniform() >= noise_.missing) return at;
      disturbances_.push_back({Disturbance::Kind::missing, *at});
    }
    return std::nullopt;
  }

  // The next due pulse, moved by jitter and firing pattern, or as recorded.
  std::optional<Nanos> next_moved() {
    if (!after_) return std::nullopt;
    const std::optional<Nanos> before = now_;
    now_ = after_;
    after_ = due_.next();
    // The shorter neighbour: a gap where the engine stood is not a period.
    Nanos period = 0;
    if (before) period = *now_ - *before;
    if (after_) period = before ? std::min(period, *after_ - *now_) : *after_ - *now_;
    double moved_ns = 0;
    if (!noise_.replay.empty()) {
      moved_ns = noise_.replay[number_ % noise_.replay.size()] * static_cast<double>(period);
    } else {
      if (!noise_.firing.empty())
        moved_ns = noise_.firing[number_ % noise_.firing.size()] / 100 * static_cast<double>(period);
      if (noise_.jitter_us > 0) moved_ns += noise_.jitter_us * 1e3 * jitter_.normal();
    }
    ++number_;
    return std::max<Nanos>(0, *now_ + std::llround(moved_ns));
  }

  Noise noise_;
  bool quiet_;
  DuePulses even_;   // quiet
  DueOneByOne due_;  // noisy
  std::optional<Nanos> now_;
  std::optional<Nanos> after_;
  std::optional<Nanos> last_;
  std::uint64_t number_ = 0;
  bool extra_after_last_ = false;
  Random jitter_;
  Random missing_;
  Random doubled_;
  std::vector<Disturbance> disturbances_;
  std::array<Nanos, edges_block> block_{};  // handed out up to ready_at_
  std::size_t ready_at_ = 0;
  std::size_t ready_ = 0;
};

PulseTrain::PulseTrain(const Profile& profile, double pulses_per_rev, const Noise& noise,
                       std::uint64_t seed) {
  check(pulses_per_rev > 0 && pulses_per_rev <= 60,
        "pulse train: pulses per revolution must be above 0, up to 60");
  check_noise(noise);
  impl_ = std::make_unique<Impl>(profile, pulses_per_rev, noise, seed);
}
PulseTrain::~PulseTrain() = default;
PulseTrain::PulseTrain(PulseTrain&&) noexcept = default;
PulseTrain& PulseTrain::operator=(PulseTrain&&) noexcept = default;

std::size_t PulseTrain::next(std::span<Nanos> out) { return impl_->next(out); }
std::vector<Disturbance> PulseTrain::take_disturbances() { return impl_->take_disturbances(); }

}  // namespace tachproof
