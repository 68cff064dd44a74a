// When a lamp changed, from how much of each exposure it was lit.
//
// A frame is the mean over its exposure. One that shows the lamp dark was exposed
// before it came on, but for what is too little to see; one that shows it fully lit
// was exposed after; one in between holds the change, and says at which share of
// the exposure it came. With x that share, dark 0 and fully lit 1, a lamp's light
// in a picture keeps within
//   x <= light(x) <= 1 - open * (1 - x),
// `open` being the share of a lit lamp's light from pixels that are not clipped
// (core/camera/blink_aliases.h). So each frame bounds the instant, and all of them
// together leave a span: every instant in it is as likely as any other.
#pragma once

#include <span>

#include "core/base/time.h"

namespace tachproof {

// The least and the most that an exposure may last.
struct ExposureBounds {
  Nanos from = 0, to = 0;
};

// One frame's view of one lamp.
struct LampSight {
  Nanos at = 0;      // the middle of the exposure
  double light = 0;  // as LampLook has it
  double open = 0;
  bool is_dark = false;  // clearly
  bool is_lit = false;   // clearly, or weakly
};

struct DatedSpan {
  Nanos after = 0, before = 0;
};

// `sights`: from the last one before the change on, in time order. `comes_on`: else it
// goes off. `full`: the light of the lamp fully lit. What comes out lies within `widest`; where frames
// contradict one another, it is that.
DatedSpan date_change(bool comes_on, std::span<const LampSight> sights, double full, double open,
                      const ExposureBounds& exposure, const DatedSpan& widest);

}  // namespace tachproof
