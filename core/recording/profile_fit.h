// Fits a profile that was played to the rpm that a recording shows.
//
//     ProfileFit fit(profile, gauge.pulses_per_rev);
//     fit.add(...); fit.unknown(...);          // all of the recording
//     const ProfileFit::Found found = fit.find(end, track.standard_uncertainty_rpm(), 0);
//
// The recording's clock may begin at any instant of the profile, and go faster or
// slower than the source's: the profile's t is the recording's
// offset + t (1 + stretch), and its rpm reads rpm / (1 + stretch) there. The offset
// is searched for on a grid, by the sum of the differences, each counted up to a
// limit; then offset and stretch by least squares over what is straight for longer
// than the track's spans, and over the jumps.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

// Where a profile lies in a recording.
struct ProfilePlace {
  double offset_ns = 0;      // the profile's start; may be before the recording
  double stretch = 0;        // of its time
  double uncertainty_s = 0;  // standard, of any instant of it

  double to_recording_ns(double profile_ns) const { return offset_ns + profile_ns * (1 + stretch); }
  double to_profile_ns(double recording_ns) const { return (recording_ns - offset_ns) / (1 + stretch); }
  // The profile as the recording's clock has it, rpm as they were played. Begins at
  // 0, with the first rpm until the profile does; what came before 0 is cut off.
  std::vector<Segment> segments(const Profile& profile) const;
};

class ProfileFit {
 public:
  // The profile must outlive it.
  ProfileFit(const Profile& profile, double pulses_per_rev);

  void add(const Segment& recovered);  // adjoining, from 0 on
  void unknown(Nanos from, Nanos to);  // the recovered rpm says nothing there

  struct Found {
    std::optional<ProfilePlace> place;  // nothing: it does not fit
    std::string why_not;                // then a sentence
    // Moments at which the recovered rpm is not the profile's all the same, as where a
    // pulse too many could not be recognised: short ones, and few.
    std::vector<std::pair<Nanos, Nanos>> odd;
  };
  static constexpr Nanos longest_odd = 80 * ns_per_ms;  // two of the track's spans
  static constexpr double most_odd = 0.05;              // share of the recording
  // `rpm_uncertainty`: standard, of the recovered rpm. `noise_rpm`: bound, what was
  // played may differ from the profile by.
  Found find(Nanos end, double rpm_uncertainty, double noise_rpm) const;

  static constexpr double most_stretch = 200e-6;  // two crystals and then some
  // Of neighbouring samples; twice that when there are more than most_samples, and so on.
  static constexpr Nanos first_spacing = 10 * ns_per_ms;
  static constexpr std::size_t most_samples = 500'000;

 private:
  struct Sample {
    double at = 0;  // ns
    double rpm = 0;
  };
  struct Jump {
    double at = 0;
    double from_rpm = 0, to_rpm = 0;
  };
  struct Search;

  const Profile& profile_;
  double pulses_per_rev_;
  std::vector<Sample> samples_;
  std::vector<Jump> jumps_;
  std::vector<std::pair<Nanos, Nanos>> unknown_;
  Nanos spacing_ = first_spacing;
  Nanos next_at_ = 0;
  std::optional<double> last_rpm_;
};

}  // namespace tachproof
