// The form of a gauge out of what a browser sends, and its rows added and taken away.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "bench/page/gauge_form.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

// More than any gauge file may have; what a hostile form has beyond is not looked at.
constexpr std::size_t most_rows = 300;

class FieldReader {
 public:
  explicit FieldReader(const Fields& fields) {
    for (const auto& [name, value] : fields.all()) values_.try_emplace(name, value);
  }

  bool has(const std::string& name) const { return values_.contains(name); }
  // Without blanks around it.
  std::string get(const std::string& name) const {
    const std::string text = as_sent(name);
    const std::size_t first = text.find_first_not_of(" \t\r\n");
    if (first == text.npos) return {};
    return text.substr(first, text.find_last_not_of(" \t\r\n") - first + 1);
  }
  // Lines of a file, each with its end.
  std::string lines(const std::string& name) const {
    std::string text = as_sent(name);
    text.erase(std::remove(text.begin(), text.end(), '\r'), text.end());
    const std::size_t last = text.find_last_not_of(" \n");
    if (last == text.npos) return {};
    return text.substr(0, last + 1) + "\n";
  }
  GaugeForm::Show show(const std::string& row, std::size_t lamps) const {
    GaugeForm::Show show;
    for (std::size_t lamp = 0; lamp < lamps; ++lamp)
      show.push_back(get(fmt::format("{}-lamp-{}", row, lamp)));
    return show;
  }

 private:
  std::string as_sent(const std::string& name) const {
    const auto found = values_.find(name);
    return found == values_.end() ? std::string() : found->second;
  }

  std::map<std::string, std::string> values_;
};

GaugeForm::Window window_in(const FieldReader& sent, const std::string& row, std::size_t lamps) {
  GaugeForm::Window window;
  window.count_in = sent.get(row + "-kind") == "count-in";
  if (!window.count_in) {
    window.name = sent.get(row + "-name");
    window.anchor = sent.get(row + "-anchor");
    window.from = sent.get(row + "-from");
    window.show = sent.show(row, lamps);
    return window;
  }
  window.ends_at = sent.get(row + "-ends_at");
  window.span_rpm = sent.get(row + "-span_rpm");
  window.at = sent.get(row + "-at");
  for (std::size_t i = 0; i < most_rows; ++i) {
    const std::string step = fmt::format("{}-step-{}", row, i);
    if (!sent.has(step + "-lamp-0")) break;
    window.steps.push_back(sent.show(step, lamps));
  }
  return window;
}

// An anchor that has another name now keeps what hangs from it.
void rename_anchor(GaugeForm& form, const std::string& was, const std::string& now) {
  if (was.empty() || was == now) return;
  for (GaugeForm::Window& window : form.windows) {
    if (window.anchor == was) window.anchor = now;
    if (window.ends_at == was) window.ends_at = now;
  }
}

void read_numbers(GaugeForm& form, const FieldReader& sent) {
  for (const auto& [name, into] : std::initializer_list<std::pair<const char*, std::string*>>{
           {"name", &form.name},
           {"pulses_per_rev", &form.pulses_per_rev},
           {"resolution_rpm", &form.resolution_rpm},
           {"gear", &form.gear},
           {"final_drive", &form.final_drive},
           {"tyre", &form.tyre},
           {"tyre_length", &form.tyre_length},
           {"rolling_factor", &form.rolling_factor},
           {"tyre_uncertainty", &form.tyre_uncertainty},
           {"deadband_rpm", &form.deadband_rpm},
           {"sits", &form.sits},
           {"blink_hz", &form.blink_hz},
           {"blink_duty", &form.blink_duty},
           {"tolerance_rpm", &form.tolerance_rpm},
           {"response_from", &form.response_from},
           {"response_to", &form.response_to},
           {"settle_ms", &form.settle_ms},
           {"tolerance_hz", &form.tolerance_hz},
           {"tolerance_duty", &form.tolerance_duty},
           {"signal_lost_ms", &form.signal_lost_ms}})
    *into = sent.get(name);
  form.buttons = sent.lines("buttons");
  form.power_up = sent.lines("power_up");
  form.supply = sent.lines("supply");
  // Which tyre is no tyre, where no drive is said.
  if ((form.gear + form.final_drive + form.tyre_length + form.rolling_factor + form.tyre_uncertainty).empty())
    form.tyre.clear();
}

template <typename Row>
bool remove_at(std::vector<Row>& rows, std::size_t i) {
  if (i >= rows.size()) return false;
  rows.erase(rows.begin() + static_cast<std::ptrdiff_t>(i));
  return true;
}

// "remove-step-5-1" is "remove-step", 5 and 1.
std::string words_and_numbers(std::string what, std::vector<std::size_t>& numbers) {
  for (std::size_t dash = what.rfind('-'); dash != what.npos; dash = what.rfind('-')) {
    const std::optional<std::size_t> number =
        parse_number<std::size_t>(std::string_view(what).substr(dash + 1));
    if (!number) break;
    numbers.insert(numbers.begin(), *number);
    what.resize(dash);
  }
  return what;
}

bool remove_row(GaugeForm& form, const std::string& what, std::size_t i, std::size_t j) {
  if (what == "remove-anchor") return remove_at(form.anchors, i);
  if (what == "remove-window") return remove_at(form.windows, i);
  if (what == "remove-step") return i < form.windows.size() && remove_at(form.windows[i].steps, j);
  if (what != "remove-lamp" || !remove_at(form.lamps, i)) return false;
  for (GaugeForm::Window& window : form.windows) {
    remove_at(window.show, i);
    for (GaugeForm::Show& step : window.steps) remove_at(step, i);
  }
  return true;
}

}  // namespace

GaugeForm form_of_fields(const Fields& fields) {
  const FieldReader sent(fields);
  GaugeForm form;
  read_numbers(form, sent);
  std::vector<std::string> were;
  for (std::size_t i = 0; i < most_rows && sent.has(fmt::format("anchor-{}-name", i)); ++i) {
    form.anchors.emplace_back(sent.get(fmt::format("anchor-{}-name", i)),
                              sent.get(fmt::format("anchor-{}-rpm", i)));
    were.push_back(sent.get(fmt::format("anchor-{}-was", i)));
  }
  for (std::size_t i = 0; i < most_rows && sent.has(fmt::format("lamp-{}-id", i)); ++i)
    form.lamps.push_back(
        {sent.get(fmt::format("lamp-{}-id", i)), sent.get(fmt::format("lamp-{}-colours", i))});
  for (std::size_t i = 0; i < most_rows && sent.has(fmt::format("window-{}-kind", i)); ++i)
    form.windows.push_back(window_in(sent, fmt::format("window-{}", i), form.lamps.size()));
  for (std::size_t i = 0; i < were.size(); ++i) rename_anchor(form, were[i], form.anchors[i].first);
  return form;
}

bool change_rows(GaugeForm& form, const std::string& asked) {
  std::vector<std::size_t> numbers;
  const std::string what = words_and_numbers(asked, numbers);
  numbers.resize(2);
  if (what.starts_with("remove-")) return remove_row(form, what, numbers[0], numbers[1]);
  const GaugeForm::Show dark(form.lamps.size());
  const auto behind =
      form.windows.begin() + static_cast<std::ptrdiff_t>(std::min(numbers[0] + 1, form.windows.size()));
  if (what == "add-anchor") {
    form.anchors.emplace_back();
  } else if (what == "add-lamp") {
    form.lamps.push_back({"", "white"});
    for (GaugeForm::Window& window : form.windows) {
      window.show.resize(form.lamps.size());
      for (GaugeForm::Show& step : window.steps) step.resize(form.lamps.size());
    }
  } else if (what == "add-window" || what == "add-count-in") {
    GaugeForm::Window window;
    window.count_in = what == "add-count-in";
    window.show = dark;
    if (window.count_in) window.steps = {dark};
    if (window.count_in && !form.anchors.empty()) window.ends_at = form.anchors.back().first;
    form.windows.insert(behind, std::move(window));
  } else if (what == "add-step" && numbers[0] < form.windows.size()) {
    form.windows[numbers[0]].steps.push_back(dark);
  } else {
    return false;
  }
  return true;
}

}  // namespace tachproof
