#include <fmt/format.h>

#include <algorithm>

#include "bench/record/text.h"
#include "bench/reports/settings_sheet.h"
#include "core/base/rpm.h"
#include "core/base/words.h"
#include "core/gauge/button_words.h"
#include "core/gauge/settings_sheet.h"

namespace tachproof {
namespace {

constexpr std::size_t sheet_columns = 80;
constexpr std::size_t name_columns = 15, set_columns = 19;

// "lane -211", "lane +0", "3020".
std::string set_as(const SheetWindow& row) {
  if (row.anchor.empty()) return number_text(row.from.rpm);
  return fmt::format("{} {}{}", row.anchor, row.offset_rpm < 0 ? "" : "+", number_text(row.offset_rpm));
}

class SheetText {
 public:
  explicit SheetText(const SheetOf& of) : of_(of), gauge_(of.gauge), sheet_(settings_sheet(of.gauge)) {}

  // A section for each kind of setting, in the order in which a unit is set up.
  std::string text() {
    head();
    input();
    anchors();
    windows();
    count_ins();
    lamps_and_blink();
    buttons();
    foot();
    return std::move(out_);
  }

 private:
  void line(const std::string& text = "") { out_ += text + "\n"; }
  void heading(const std::string& text) { line("\n" + text); }
  void say(const std::string& first, const std::string& text) {
    out_ += as_paragraph(first, text, sheet_columns);
  }
  void fact(const std::string& name, const std::string& value) { say("  " + padded(name, 23), value); }

  std::string means(const SheetRpm& at) const {
    return at.speed ? "  " + say_speed(*at.speed, gauge_.drive->said_in) : "";
  }

  void head() {
    say("", gauge_.name + ": what is set");
    say("", fmt::format("from {}, SHA-256 {}", of_.file, of_.sha256.substr(0, 16)));
  }

  void input() {
    heading("Signal");
    fact("pulses per revolution", number_text(gauge_.pulses_per_rev));
    if (gauge_.resolution_rpm > 0) fact("set in steps of", number_text(gauge_.resolution_rpm) + " rpm");
    if (gauge_.drive) fact("drive", in_words(*gauge_.drive));
  }

  void anchors() {
    if (sheet_.anchors.empty()) return;
    heading("Anchors");
    line("  " + padded("anchor", name_columns) + padded("written as", 13) + fmt::format("{:>9}", "set rpm") +
         (gauge_.drive ? "  which means" : ""));
    for (const SheetAnchor& a : sheet_.anchors)
      line("  " + padded(a.name, name_columns) + padded(a.at.written, 13) +
           fmt::format("{:>9}", number_text(a.at.rpm)) + means(a.at));
  }

  void windows() {
    heading("Windows, lowest first");
    line("  " + padded("window", name_columns) + padded("set as, rpm", set_columns) +
         fmt::format("{:>9}{:>8}", "from rpm", "width") + (gauge_.drive ? "  which means" : ""));
    for (const SheetWindow& w : sheet_.windows) {
      line("  " + padded(w.name, name_columns) + padded(set_as(w), set_columns) +
           fmt::format("{:>9}{:>8}", number_text(w.from.rpm), w.width_rpm ? number_text(*w.width_rpm) : "-") +
           means(w.from));
      const std::string written = w.anchor.empty() ? w.from.written : w.offset_written;
      say("      ", (written.empty() ? "" : "written as " + written + "; ") + "shows " + w.cue);
    }
  }

  void count_ins() {
    if (sheet_.count_ins.empty()) return;
    heading("Count-ins");
    for (const SheetCountIn& c : sheet_.count_ins) {
      std::string offsets;
      for (const double offset : c.offsets_rpm)
        offsets += (offsets.empty() ? "" : ", ") + number_text(hundredths(offset));
      fact("ends at " + c.ends_at,
           fmt::format("span {} rpm, {} steps{}: at {} rpm from the anchor", number_text(c.span_rpm),
                       c.offsets_rpm.size(), c.evenly ? ", evenly" : "", offsets));
    }
  }

  void lamps_and_blink() {
    heading("Deadband and blink");
    fact("deadband", fmt::format("{} rpm, {}", number_text(gauge_.deadband.rpm),
                                 gauge_.deadband.rpm == 0 ? "none" : words_of(gauge_.deadband.sits)));
    if (gauge_.blink)
      fact("blink", fmt::format("{} Hz, lit {} % of the time", number_text(gauge_.blink->hz),
                                number_text(100 * gauge_.blink->duty)));
  }

  void buttons() {
    if (!gauge_.buttons.empty()) heading("Buttons");
    for (const Button& button : gauge_.buttons)
      fact(button.name,
           says_what(button, gauge_) +
               (gauge_.power_up && keeps(*gauge_.power_up, button.name) ? "; kept without supply" : ""));
    if (gauge_.power_up || gauge_.supply) heading("Supply");
    if (gauge_.power_up)
      fact("wakes within", fmt::format("{} to {} ms", number_text(to_ms(gauge_.power_up->boot_from)),
                                       number_text(to_ms(gauge_.power_up->boot_to))));
    if (gauge_.power_up && gauge_.power_up->greets)
      fact("greets with", fmt::format("{} for {} ms", gauge_.describe(gauge_.power_up->greets->cue),
                                      number_text(to_ms(gauge_.power_up->greets->lasts))));
    if (gauge_.supply)
      fact("is fed", fmt::format("{} to {} V", number_text(gauge_.supply->lowest_v),
                                 number_text(gauge_.supply->highest_v)));
  }

  void foot() {
    if (!gauge_.drive) return;
    line();
    say("", fmt::format("+- is expanded (k = 2): the tyre's roll, and the gauge's tolerance of {} rpm. "
                        "Speeds are rounded down to what the unit can be set to.",
                        number_text(gauge_.tolerance.rpm)));
  }

  const SheetOf& of_;
  const Gauge& gauge_;
  const SettingsSheet sheet_;
  std::string out_;
};

}  // namespace

std::string settings_sheet_text(const SheetOf& of) { return SheetText(of).text(); }

}  // namespace tachproof
