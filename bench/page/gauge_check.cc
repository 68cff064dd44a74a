#include "bench/page/gauge_check.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/files/readers.h"
#include "bench/files/yaml_edit.h"
#include "bench/files/yaml_places.h"

namespace tachproof {
namespace {

// Which field each place of the file belongs to.
class FieldPlaces {
 public:
  FieldPlaces(const YamlNode& root, const GaugeForm& form) : form_(form) {
    note(root, "name");
    for (const YamlNode::Entry& entry : root.entries) top(entry);
  }

  // The field at this place, or at the last one before it on its line.
  std::string field(int line, int column) const {
    const auto after = places_.upper_bound({line, column});
    if (after == places_.begin()) return {};
    const auto found = std::prev(after);
    return found->first.first == line ? found->second : std::string();
  }

 private:
  void note(const YamlNode& node, const std::string& field) {
    places_.insert_or_assign({node.at.line, node.at.column}, field);
  }
  void note_all(const YamlNode& node, const std::string& field) {
    note(node, field);
    for (const YamlNode* item : node.items) note_all(*item, field);
    for (const YamlNode::Entry& entry : node.entries) {
      note(*entry.key, field);
      note_all(*entry.value, field);
    }
  }

  void top(const YamlNode::Entry& entry) {
    const std::string& key = entry.key->text;
    if (key == "anchors")
      anchors(entry);
    else if (key == "lamps")
      rows(
          entry, [this](const YamlNode& item, std::size_t i) { lamp(item, fmt::format("lamp-{}", i)); },
          "lamp-0-id");
    else if (key == "windows")
      rows(
          entry, [this](const YamlNode& item, std::size_t i) { window(item, fmt::format("window-{}", i)); },
          "window-0-name");
    else if (key == "drive")
      keyed(entry, "gear",
            {{"tyre_circumference", "tyre_length"},
             {"tyre_diameter", "tyre_length"},
             {"rollout", "tyre_length"}});
    else if (key == "deadband")
      keyed(entry, "deadband_rpm", {{"rpm", "deadband_rpm"}});
    else if (key == "blink")
      keyed(entry, "blink_hz", {{"hz", "blink_hz"}, {"duty", "blink_duty"}});
    else if (key == "tolerance")
      tolerance(entry);
    else {
      note(*entry.key, key);
      note_all(*entry.value, key);
    }
  }

  // A mapping of numbers; `names`: keys whose fields have other names.
  void keyed(const YamlNode::Entry& entry, const std::string& whole,
             const std::map<std::string, std::string>& names) {
    note(*entry.key, whole);
    note(*entry.value, whole);
    for (const YamlNode::Entry& one : entry.value->entries) {
      const auto found = names.find(one.key->text);
      const std::string field = found == names.end() ? one.key->text : found->second;
      note(*one.key, field);
      note_all(*one.value, field);
    }
  }

  void tolerance(const YamlNode::Entry& entry) {
    keyed(entry, "tolerance_rpm",
          {{"rpm", "tolerance_rpm"},
           {"response_ms", "response_to"},
           {"blink_hz", "tolerance_hz"},
           {"blink_duty", "tolerance_duty"}});
    for (const YamlNode::Entry& one : entry.value->entries)
      if (one.key->text == "response_ms")
        keyed(one, "response_from", {{"from", "response_from"}, {"to", "response_to"}});
  }

  void anchors(const YamlNode::Entry& entry) {
    note(*entry.key, "anchor-0-name");
    note(*entry.value, "anchor-0-name");
    std::vector<bool> used(form_.anchors.size(), false);
    for (const YamlNode::Entry& one : entry.value->entries)
      for (std::size_t i = 0; i < form_.anchors.size(); ++i) {
        if (used[i] || form_.anchors[i].first != one.key->text) continue;
        used[i] = true;
        note(*one.key, fmt::format("anchor-{}-name", i));
        note(*one.value, fmt::format("anchor-{}-rpm", i));
        // A value that is not there stands where its key does.
        if (one.value->kind == YamlNode::Kind::nothing) note(*one.key, fmt::format("anchor-{}-rpm", i));
        break;
      }
  }

  template <typename Each>
  void rows(const YamlNode::Entry& entry, Each each, const std::string& whole) {
    note(*entry.key, whole);
    note(*entry.value, whole);
    for (std::size_t i = 0; i < entry.value->items.size(); ++i) each(*entry.value->items[i], i);
  }

  void lamp(const YamlNode& node, const std::string& row) {
    note(node, row + "-id");
    for (const YamlNode::Entry& entry : node.entries) {
      note(*entry.key, row + "-" + entry.key->text);
      note_all(*entry.value, row + "-" + entry.key->text);
    }
  }

  void window(const YamlNode& node, const std::string& row) {
    note(node, row + "-name");
    for (const YamlNode::Entry& entry : node.entries) {
      const std::string& key = entry.key->text;
      if (key == "count_in") {
        note(*entry.key, row + "-ends_at");
        count_in(*entry.value, row);
      } else if (key == "show") {
        show(entry, row);
      } else {
        note(*entry.key, row + "-" + key);
        note_all(*entry.value, row + "-" + key);
        for (const YamlNode::Entry& one : entry.value->entries) {  // {anchor: offset}
          const bool nothing = one.value->kind == YamlNode::Kind::nothing;
          note(*one.key, row + (nothing ? "-from" : "-anchor"));
        }
      }
    }
  }

  void show(const YamlNode::Entry& entry, const std::string& row) {
    note(*entry.key, row + "-lamp-0");
    lamps_of(*entry.value, row);
  }

  void lamps_of(const YamlNode& show, const std::string& row) {
    note(show, row + "-lamp-0");
    for (const YamlNode::Entry& one : show.entries)
      for (std::size_t i = 0; i < form_.lamps.size(); ++i) {
        if (form_.lamps[i].id != one.key->text) continue;
        note(*one.key, fmt::format("{}-lamp-{}", row, i));
        note_all(*one.value, fmt::format("{}-lamp-{}", row, i));
      }
  }

  void count_in(const YamlNode& block, const std::string& row) {
    note(block, row + "-ends_at");
    for (const YamlNode::Entry& entry : block.entries) {
      const std::string& key = entry.key->text;
      note(*entry.key, row + "-" + (key == "show" ? "step-0-lamp-0" : key));
      if (key != "show") {
        note_all(*entry.value, row + "-" + key);
        continue;
      }
      note(*entry.value, row + "-step-0-lamp-0");
      for (std::size_t i = 0; i < entry.value->items.size(); ++i)
        lamps_of(*entry.value->items[i], fmt::format("{}-step-{}", row, i));
    }
  }

  const GaugeForm& form_;
  std::map<std::pair<int, int>, std::string> places_;
};

// Of lines that a person typed: the field whose lines hold this one.
std::string typed_lines_at(const GaugeForm& form, const std::string& text, int line) {
  for (const auto& [field, lines] :
       {std::pair("buttons", &form.buttons), std::pair("power_up", &form.power_up),
        std::pair("supply", &form.supply)}) {
    const std::size_t at = lines->empty() ? text.npos : text.find(*lines);
    if (at == text.npos) continue;
    const auto first = std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n') + 1;
    const auto last = first + std::count(lines->begin(), lines->end(), '\n');
    if (line >= first && line <= last) return field;
  }
  return {};
}

std::vector<std::string> lost(std::vector<std::string> before, const std::vector<std::string>& after) {
  for (const std::string& comment : after)
    if (const auto found = std::find(before.begin(), before.end(), comment); found != before.end())
      before.erase(found);
  return before;
}

}  // namespace

CheckedForm checked(const GaugeForm& form, const std::string& file, std::string_view saved) {
  CheckedForm result;
  const YamlValue values = values_of(form);
  result.text = saved.empty() ? file_text(values) : yaml_edited(saved, values);
  result.lost_comments = lost(yaml_comments(saved), yaml_comments(result.text));
  ErrorList errors(file);
  const std::optional<YamlTree> tree = parse_yaml(result.text, errors);
  if (tree) {
    Gauge gauge = read_gauge(*tree->root, errors);
    if (errors.empty()) result.gauge = std::move(gauge);
  }
  result.errors = errors.sorted();
  std::optional<FieldPlaces> places;
  if (tree) places.emplace(*tree->root, form);
  for (const FileError& error : result.errors) {
    std::string field = typed_lines_at(form, result.text, error.line);
    if (field.empty() && places) field = places->field(error.line, error.column);
    if (field.empty())
      result.elsewhere.push_back(to_line(error));
    else
      result.at_field[field].push_back(error.message);
  }
  return result;
}

}  // namespace tachproof
