#include "bench/page/gauge_form.h"

#include <algorithm>
#include <optional>

#include "bench/files/yaml_edit.h"

namespace tachproof {
namespace {

const YamlNode* under(const YamlNode* mapping, std::string_view key) {
  if (mapping != nullptr)
    for (const YamlNode::Entry& entry : mapping->entries)
      if (entry.key->text == key) return entry.value;
  return nullptr;
}

std::string text_under(const YamlNode* mapping, std::string_view key) {
  const YamlNode* const value = under(mapping, key);
  return value == nullptr ? std::string() : value->text;
}

std::string listed(const YamlNode* list) {
  std::string text;
  if (list != nullptr)
    for (const YamlNode* item : list->items) text += (text.empty() ? "" : ", ") + item->text;
  return text;
}

constexpr const char* tyre_keys[] = {"tyre_circumference", "tyre_diameter", "rollout"};

class FormOfTree {
 public:
  explicit FormOfTree(const YamlNode& root) : root_(root) {}

  GaugeForm form() {
    form_.format = top("format");
    form_.name = top("name");
    form_.pulses_per_rev = top("pulses_per_rev");
    form_.resolution_rpm = top("resolution_rpm");
    drive(under(&root_, "drive"));
    if (const YamlNode* anchors = under(&root_, "anchors"))
      for (const YamlNode::Entry& entry : anchors->entries)
        form_.anchors.emplace_back(entry.key->text, entry.value->text);
    if (const YamlNode* lamps = under(&root_, "lamps"))
      for (const YamlNode* lamp : lamps->items)
        form_.lamps.push_back({text_under(lamp, "id"), listed(under(lamp, "colours"))});
    if (const YamlNode* windows = under(&root_, "windows"))
      for (const YamlNode* window : windows->items) form_.windows.push_back(this->window(*window));
    numbers();
    return std::move(form_);
  }

 private:
  std::string top(std::string_view key) const { return text_under(&root_, key); }

  void drive(const YamlNode* drive) {
    form_.gear = text_under(drive, "gear");
    form_.final_drive = text_under(drive, "final_drive");
    for (const char* key : tyre_keys)
      if (under(drive, key) != nullptr) {
        form_.tyre = key;
        form_.tyre_length = text_under(drive, key);
      }
    form_.rolling_factor = text_under(drive, "rolling_factor");
    form_.tyre_uncertainty = text_under(drive, "tyre_uncertainty");
  }

  GaugeForm::Show show(const YamlNode* show) const {
    GaugeForm::Show shown;
    for (const GaugeForm::Lamp& lamp : form_.lamps) shown.push_back(text_under(show, lamp.id));
    return shown;
  }

  GaugeForm::Window window(const YamlNode& node) const {
    GaugeForm::Window window;
    if (const YamlNode* block = under(&node, "count_in")) {
      window.count_in = true;
      window.ends_at = text_under(block, "ends_at");
      window.span_rpm = text_under(block, "span_rpm");
      window.at = listed(under(block, "at"));
      if (const YamlNode* steps = under(block, "show"))
        for (const YamlNode* step : steps->items) window.steps.push_back(show(step));
      return window;
    }
    window.name = text_under(&node, "name");
    window.show = show(under(&node, "show"));
    const YamlNode* const from = under(&node, "from");
    if (from != nullptr && from->kind == YamlNode::Kind::mapping && !from->entries.empty()) {
      window.anchor = from->entries[0].key->text;
      window.from = from->entries[0].value->text;
    } else if (from != nullptr) {
      window.from = from->text;
    }
    return window;
  }

  void numbers() {
    const YamlNode* const deadband = under(&root_, "deadband");
    form_.deadband_rpm = text_under(deadband, "rpm");
    form_.sits = text_under(deadband, "sits");
    const YamlNode* const blink = under(&root_, "blink");
    form_.blink_hz = text_under(blink, "hz");
    form_.blink_duty = text_under(blink, "duty");
    const YamlNode* const tolerance = under(&root_, "tolerance");
    form_.tolerance_rpm = text_under(tolerance, "rpm");
    const YamlNode* const response = under(tolerance, "response_ms");
    form_.response_from = text_under(response, "from");
    form_.response_to = text_under(response, "to");
    form_.settle_ms = text_under(tolerance, "settle_ms");
    form_.tolerance_hz = text_under(tolerance, "blink_hz");
    form_.tolerance_duty = text_under(tolerance, "blink_duty");
    form_.signal_lost_ms = text_under(tolerance, "signal_lost_ms");
  }

  const YamlNode& root_;
  GaugeForm form_;
};

// A value that must be there says nothing where it is empty: that is told at its place.
void must(YamlValue& mapping, const char* key, const std::string& text) {
  mapping.add(key, text.empty() ? YamlValue() : YamlValue::scalar(text));
}
void may(YamlValue& mapping, const char* key, const std::string& text) {
  if (!text.empty()) mapping.add(key, YamlValue::scalar(text));
}

YamlValue list_of_words(const std::string& text) {
  YamlValue list = YamlValue::list();
  for (std::string& word : split_at_commas(text)) list.items.push_back(YamlValue::scalar(std::move(word)));
  return list;
}

YamlValue show_of(const GaugeForm& form, const GaugeForm::Show& show) {
  YamlValue value = YamlValue::mapping();
  for (std::size_t lamp = 0; lamp < std::min(form.lamps.size(), show.size()); ++lamp)
    may(value, form.lamps[lamp].id.c_str(), show[lamp]);
  return value;
}

YamlValue window_of(const GaugeForm& form, const GaugeForm::Window& window) {
  YamlValue value = YamlValue::mapping();
  if (window.count_in) {
    YamlValue block = YamlValue::mapping();
    must(block, "ends_at", window.ends_at);
    must(block, "span_rpm", window.span_rpm);
    YamlValue steps = YamlValue::list();
    for (const GaugeForm::Show& step : window.steps) steps.items.push_back(show_of(form, step));
    block.add("show", std::move(steps));
    if (!window.at.empty()) block.add("at", list_of_words(window.at));
    value.add("count_in", std::move(block));
    return value;
  }
  must(value, "name", window.name);
  if (window.anchor.empty()) {
    must(value, "from", window.from);
  } else {
    YamlValue from = YamlValue::mapping();
    must(from, window.anchor.c_str(), window.from);
    value.add("from", std::move(from));
  }
  value.add("show", show_of(form, window.show));
  return value;
}

void add_drive(YamlValue& file, const GaugeForm& form) {
  if ((form.gear + form.final_drive + form.tyre + form.tyre_length + form.rolling_factor +
       form.tyre_uncertainty)
          .empty())
    return;
  YamlValue drive = YamlValue::mapping();
  must(drive, "gear", form.gear);
  must(drive, "final_drive", form.final_drive);
  must(drive, form.tyre.empty() ? tyre_keys[0] : form.tyre.c_str(), form.tyre_length);
  may(drive, "rolling_factor", form.rolling_factor);
  may(drive, "tyre_uncertainty", form.tyre_uncertainty);
  file.add("drive", std::move(drive));
}

void add_numbers(YamlValue& file, const GaugeForm& form) {
  YamlValue deadband = YamlValue::mapping();
  must(deadband, "rpm", form.deadband_rpm);
  may(deadband, "sits", form.sits);
  file.add("deadband", std::move(deadband));
  if (!(form.blink_hz + form.blink_duty).empty()) {
    YamlValue blink = YamlValue::mapping();
    must(blink, "hz", form.blink_hz);
    must(blink, "duty", form.blink_duty);
    file.add("blink", std::move(blink));
  }
  YamlValue tolerance = YamlValue::mapping(), response = YamlValue::mapping();
  must(tolerance, "rpm", form.tolerance_rpm);
  must(response, "from", form.response_from);
  must(response, "to", form.response_to);
  tolerance.add("response_ms", std::move(response));
  may(tolerance, "settle_ms", form.settle_ms);
  may(tolerance, "blink_hz", form.tolerance_hz);
  may(tolerance, "blink_duty", form.tolerance_duty);
  may(tolerance, "signal_lost_ms", form.signal_lost_ms);
  file.add("tolerance", std::move(tolerance));
}

}  // namespace

std::vector<std::string> split_at_commas(std::string_view text) {
  std::vector<std::string> words;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find(','), text.size());
    std::string_view word = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    while (!word.empty() && word.front() == ' ') word.remove_prefix(1);
    while (!word.empty() && word.back() == ' ') word.remove_suffix(1);
    if (!word.empty()) words.emplace_back(word);
  }
  return words;
}

std::vector<std::string> shown_by(const GaugeForm::Lamp& lamp) {
  std::vector<std::string> shown;
  for (const std::string& colour : split_at_commas(lamp.colours)) {
    shown.push_back(colour);
    shown.push_back(colour + " blinking");
  }
  return shown;
}

GaugeForm form_of_text(std::string_view text) {
  ErrorList errors("");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  if (!tree) return {};
  GaugeForm form = FormOfTree(*tree->root).form();
  form.buttons = entry_lines(text, "buttons");
  form.power_up = entry_lines(text, "power_up");
  form.supply = entry_lines(text, "supply");
  return form;
}

bool is_whole(std::string_view text) {
  ErrorList errors("");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  return tree && says(*tree->root, values_of(form_of_text(text)));
}

YamlValue values_of(const GaugeForm& form) {
  YamlValue file = YamlValue::mapping();
  must(file, "format", form.format);
  file.add("kind", YamlValue::scalar("gauge"));
  must(file, "name", form.name);
  must(file, "pulses_per_rev", form.pulses_per_rev);
  add_drive(file, form);
  may(file, "resolution_rpm", form.resolution_rpm);
  if (!form.anchors.empty()) {
    YamlValue anchors = YamlValue::mapping();
    for (const auto& [name, rpm] : form.anchors) must(anchors, name.c_str(), rpm);
    file.add("anchors", std::move(anchors));
  }
  YamlValue lamps = YamlValue::list(), windows = YamlValue::list();
  for (const GaugeForm::Lamp& lamp : form.lamps) {
    YamlValue value = YamlValue::mapping();
    must(value, "id", lamp.id);
    value.add("colours", list_of_words(lamp.colours));
    lamps.items.push_back(std::move(value));
  }
  for (const GaugeForm::Window& window : form.windows) windows.items.push_back(window_of(form, window));
  file.add("lamps", std::move(lamps));
  file.add("windows", std::move(windows));
  add_numbers(file, form);
  if (!form.buttons.empty()) file.add("buttons", YamlValue::raw(form.buttons));
  if (!form.power_up.empty()) file.add("power_up", YamlValue::raw(form.power_up));
  if (!form.supply.empty()) file.add("supply", YamlValue::raw(form.supply));
  return file;
}

}  // namespace tachproof
