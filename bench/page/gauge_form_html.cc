#include "bench/page/gauge_form_html.h"

#include <fmt/format.h>

#include "bench/page/form_html.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

using Options = FormHtml::Options;

std::string form_part(std::string_view title, const std::string& inside) {
  return fmt::format("<fieldset><legend>{}</legend>\n{}</fieldset>\n", title, inside);
}
std::string field_row(const std::string& inside) { return "<div class=\"row\">" + inside + "</div>\n"; }
std::string or_number(const std::string& name, std::size_t i) {
  return name.empty() ? fmt::format("{}", i + 1) : name;
}

class Parts {
 public:
  Parts(const GaugeForm& form, const std::string& deadband,
        const std::map<std::string, std::vector<std::string>>& wrong)
      : form_(form), deadband_(deadband), html_(wrong) {}

  std::string all() const {
    return form_part("Gauge", field_row(html_.text("name", "Name", form_.name, "wide") +
                                        html_.text("pulses_per_rev", "Pulses per revolution",
                                                   form_.pulses_per_rev, "short") +
                                        html_.text("resolution_rpm", "Set in steps of, rpm",
                                                   form_.resolution_rpm, "short"))) +
           anchors() + lamps() + windows() + numbers() + drive() + lines();
  }

 private:
  std::string anchors() const {
    std::string rows;
    for (std::size_t i = 0; i < form_.anchors.size(); ++i) {
      const auto& [name, rpm] = form_.anchors[i];
      const std::string id = fmt::format("anchor-{}", i);
      rows += field_row(html_.text(id + "-name", "Anchor", name) +
                        html_.text(id + "-rpm", "rpm or speed", rpm, "short") +
                        FormHtml::hidden(id + "-was", name) +
                        FormHtml::button(fmt::format("remove-anchor-{}", i), "Remove", "small",
                                         "Remove anchor " + or_number(name, i)));
    }
    return form_part("Anchors", rows + FormHtml::button("add-anchor", "Add an anchor", "small"));
  }

  std::string lamps() const {
    std::string rows;
    for (std::size_t i = 0; i < form_.lamps.size(); ++i) {
      const GaugeForm::Lamp& lamp = form_.lamps[i];
      const std::string id = fmt::format("lamp-{}", i);
      rows += field_row(html_.text(id + "-id", "Lamp", lamp.id) +
                        html_.text(id + "-colours", "Its colours", lamp.colours) +
                        FormHtml::button(fmt::format("remove-lamp-{}", i), "Remove", "small",
                                         "Remove lamp " + or_number(lamp.id, i)));
    }
    return form_part("Lamps, left to right", rows + FormHtml::button("add-lamp", "Add a lamp", "small"));
  }

  std::string show(const std::string& id, const GaugeForm::Show& shown, std::string_view nothing) const {
    std::string fields;
    for (std::size_t lamp = 0; lamp < form_.lamps.size(); ++lamp) {
      Options options{{"", std::string(nothing)}};
      for (const std::string& one : shown_by(form_.lamps[lamp])) options.emplace_back(one, one);
      fields += html_.choice(fmt::format("{}-lamp-{}", id, lamp), or_number(form_.lamps[lamp].id, lamp),
                             lamp < shown.size() ? shown[lamp] : "", options, "lamp");
    }
    return "<div class=\"row lamps\">" + fields + "</div>\n";
  }

  Options anchor_options(bool none) const {
    Options options;
    if (none) options.emplace_back("", "rpm");
    for (const auto& [name, rpm] : form_.anchors) options.emplace_back(name, none ? name + " +" : name);
    return options;
  }

  std::string add_buttons(std::size_t w, const std::string& name) const {
    return "<div class=\"row ends\">" +
           FormHtml::button(fmt::format("add-window-{}", w), "Window above", "small",
                            "Add a window above " + name) +
           FormHtml::button(fmt::format("add-count-in-{}", w), "Count-in above", "small",
                            "Add a count-in above " + name) +
           FormHtml::button(fmt::format("remove-window-{}", w), "Remove", "small", "Remove " + name) +
           "</div>\n";
  }

  std::string count_in(const GaugeForm::Window& window, std::size_t w) const {
    const std::string id = fmt::format("window-{}", w);
    std::string rows =
        field_row(FormHtml::hidden(id + "-kind", "count-in") +
                  html_.choice(id + "-ends_at", "Ends at", window.ends_at, anchor_options(false)) +
                  html_.text(id + "-span_rpm", "Over, rpm", window.span_rpm, "short") +
                  html_.text(id + "-at", "Each at, rpm (empty: evenly)", window.at));
    for (std::size_t i = 0; i < window.steps.size(); ++i)
      rows += fmt::format("<fieldset class=\"step\"><legend>Step {}</legend>{}{}</fieldset>\n", i + 1,
                          show(fmt::format("{}-step-{}", id, i), window.steps[i], "as before"),
                          FormHtml::button(fmt::format("remove-step-{}-{}", w, i), "Remove", "small",
                                           fmt::format("Remove step {}", i + 1)));
    rows += FormHtml::button(fmt::format("add-step-{}", w), "Add a step", "small");
    return fmt::format("<fieldset class=\"window\"><legend>{}. Count-in</legend>{}{}</fieldset>\n", w + 1,
                       rows, add_buttons(w, "count-in"));
  }

  std::string windows() const {
    std::string rows;
    for (std::size_t w = 0; w < form_.windows.size(); ++w) {
      const GaugeForm::Window& window = form_.windows[w];
      if (window.count_in) {
        rows += count_in(window, w);
        continue;
      }
      const std::string id = fmt::format("window-{}", w), name = "window " + or_number(window.name, w);
      rows += fmt::format(
          "<fieldset class=\"window\"><legend>{}. {}</legend>{}{}{}</fieldset>\n", w + 1,
          escaped(window.name),
          field_row(FormHtml::hidden(id + "-kind", "window") +
                    html_.text(id + "-name", "Window", window.name) +
                    html_.choice(id + "-anchor", "From", window.anchor, anchor_options(true), "from") +
                    html_.text(id + "-from", window.anchor.empty() ? "rpm or speed" : "offset, rpm or speed",
                               window.from, "short")),
          show(id, window.show, "dark"), add_buttons(w, name));
    }
    if (form_.windows.empty()) rows = FormHtml::button("add-window-0", "Add a window", "small");
    return form_part("Windows, lowest first", rows);
  }

  std::string numbers() const {
    Options sits{{"below", "below the boundary"}, {"centred", "centred on it"}, {"above", "above it"}};
    if (form_.sits.empty()) sits.insert(sits.begin(), {"", "not said"});
    return form_part("Deadband",
                     field_row(html_.text("deadband_rpm", "Width, rpm", form_.deadband_rpm, "short") +
                               html_.choice("sits", "It sits", form_.sits, sits) +
                               fmt::format("<a class=\"button small\" href=\"{}\">How wide?</a>",
                                           escaped(deadband_)))) +
           form_part("Blink",
                     field_row(html_.text("blink_hz", "Rate, Hz", form_.blink_hz, "short") +
                               html_.text("blink_duty", "Lit share, 0 to 1", form_.blink_duty, "short"))) +
           form_part(
               "Tolerance",
               field_row(
                   html_.text("tolerance_rpm", "Each threshold, rpm", form_.tolerance_rpm, "short") +
                   html_.text("response_from", "Response from, ms", form_.response_from, "short") +
                   html_.text("response_to", "to, ms", form_.response_to, "short") +
                   html_.text("settle_ms", "Settle, ms (10)", form_.settle_ms, "short") +
                   html_.text("tolerance_hz", "Blink rate, Hz (0.4)", form_.tolerance_hz, "short") +
                   html_.text("tolerance_duty", "Lit share (0.1)", form_.tolerance_duty, "short") +
                   html_.text("signal_lost_ms", "Signal lost, ms (1000)", form_.signal_lost_ms, "short")));
  }

  std::string drive() const {
    return form_part(
        "Drive, where anchors or offsets are speeds",
        field_row(html_.text("gear", "Gear ratio", form_.gear, "short") +
                  html_.text("final_drive", "Final drive", form_.final_drive, "short") +
                  html_.choice("tyre", "The tyre's", form_.tyre.empty() ? "tyre_circumference" : form_.tyre,
                               {{"tyre_circumference", "circumference"},
                                {"tyre_diameter", "diameter"},
                                {"rollout", "rollout, length/turns"}}) +
                  html_.text("tyre_length", "is (1.98m, 25in)", form_.tyre_length, "short") +
                  html_.text("rolling_factor", "Rolling factor (1)", form_.rolling_factor, "short") +
                  html_.text("tyre_uncertainty", "Uncertain by", form_.tyre_uncertainty, "short")));
  }

  std::string lines() const {
    const bool any = !(form_.buttons + form_.power_up + form_.supply).empty();
    return fmt::format(
        "<details{}><summary>Buttons, power-up and supply, as the file says "
        "them</summary>\n{}{}{}</details>\n",
        any ? " open" : "", html_.area("buttons", "buttons", form_.buttons, form_.buttons.empty() ? 2 : 6),
        html_.area("power_up", "power_up", form_.power_up, form_.power_up.empty() ? 2 : 4),
        html_.area("supply", "supply", form_.supply, 2));
  }

  const GaugeForm& form_;
  const std::string& deadband_;
  FormHtml html_;
};

}  // namespace

std::string gauge_fields_html(const GaugeForm& form, const std::string& deadband,
                              const std::map<std::string, std::vector<std::string>>& wrong) {
  return Parts(form, deadband, wrong).all();
}

}  // namespace tachproof
