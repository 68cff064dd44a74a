// A gauge file as a form: every value as it is written, sound or not.
//
// It comes from a file's text or from what a browser sends, and becomes the values that the file is to have.
// A field has the name under which a browser sends it: "anchor-0-rpm", "window-3-lamp-1".
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "bench/files/yaml_value.h"
#include "bench/page/request.h"

namespace tachproof {

struct GaugeForm {
  struct Lamp {
    std::string id, colours;  // "white, blue"
    bool operator==(const Lamp&) const = default;
  };
  // What each lamp shows, in the order of the lamps: "", "white", "white blinking".
  using Show = std::vector<std::string>;
  struct Window {
    bool count_in = false;
    std::string name, anchor, from;  // without an anchor `from` is where it begins, else the offset
    Show show;
    std::string ends_at, span_rpm, at;  // of a count-in
    std::vector<Show> steps;
    bool operator==(const Window&) const = default;
  };

  std::string format = "1";
  std::string name, pulses_per_rev, resolution_rpm;
  std::string gear, final_drive, tyre, tyre_length, rolling_factor, tyre_uncertainty;  // tyre: which key
  std::vector<std::pair<std::string, std::string>> anchors;
  std::vector<Lamp> lamps;
  std::vector<Window> windows;
  std::string deadband_rpm, sits;
  std::string blink_hz, blink_duty;
  std::string tolerance_rpm, response_from, response_to, settle_ms, tolerance_hz, tolerance_duty,
      signal_lost_ms;
  std::string buttons, power_up, supply;  // the lines of the file

  bool operator==(const GaugeForm&) const = default;
};

// Of a sound gauge file. What a form has no field for is not in it: of a sound file, nothing.
GaugeForm form_of_text(std::string_view text);
GaugeForm form_of_fields(const Fields& fields);

// Whether the form holds all that the file says: else saving it would lose something.
bool is_whole(std::string_view text);

// In the order of the reference, in its short forms.
YamlValue values_of(const GaugeForm& form);

// "add-anchor", "remove-lamp-2", "add-window-3" (behind that one), "add-count-in-3", "add-step-5",
// "remove-step-5-1" ...; false for what is no such word.
bool change_rows(GaugeForm& form, const std::string& what);

// "white", "white blinking" ...: what a lamp of these colours can show.
std::vector<std::string> shown_by(const GaugeForm::Lamp& lamp);
std::vector<std::string> split_at_commas(std::string_view text);

}  // namespace tachproof
