// A lamp that was lit in no colour that it was taught: is that the unit's doing?
//
// Fail when it is clearly another colour than any that was taught. White balance that
// drifts moves all colours, so that a small distance counts only while another lamp looks as
// it was taught. A taught colour with some of the room's white in it may be that colour with a
// reflection on it; what is white alone counts from the second time on, after the lamp was dark or
// right. Else undecided.
#pragma once

#include <string>

#include "core/camera/lamp_colour.h"
#include "core/camera/lamp_frames.h"

namespace tachproof {

struct OtherColourSeen {
  bool is_certain = false;
  std::string what;    // "was lit in a colour that it was not taught, from frame 12 (0.400 s) ..."
  std::string remedy;  // a sentence: why it is not certain, and what to do; empty when it is
};

// `colours`: of `lamp.colours`, by name. `untaught`: what the gauge lists and no window shows; may be empty.
// `others_look_right`: another lamp did about then.
OtherColourSeen judge_other_colour(const OtherColour& seen, const LampReference& lamp,
                                   const std::vector<std::string>& colours, const std::string& untaught,
                                   bool others_look_right);

}  // namespace tachproof
