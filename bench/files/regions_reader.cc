#include <fmt/format.h>

#include <map>

#include "bench/files/readers.h"
#include "bench/files/regions.h"
#include "bench/files/yaml_text.h"

namespace tachproof {
namespace {

constexpr Range pixels{0, 20'000};
constexpr Range light_range{-1, 1};
constexpr std::size_t most_patches = 32;

bool read_light(Mapping& m, const std::string& key, Light& into, ErrorList& errors) {
  const YamlNode* list = m.list(key, Need::must, 3);
  if (list == nullptr) return false;
  if (list->items.size() != 3) {
    errors.add(list->at, "'" + key + "' has " + std::to_string(list->items.size()) + " numbers",
               "three: red, green and blue");
    return false;
  }
  double* parts[] = {&into.r, &into.g, &into.b};
  for (std::size_t i = 0; i < 3; ++i) read_number(*list->items[i], key, *parts[i], light_range, errors);
  return true;
}

void read_colours(const YamlNode& node, LampRegion& region, ErrorList& errors) {
  Mapping all(node, errors, "colours");
  if (!all.sound()) return;
  if (node.entries.empty()) errors.add(node.at, "no colours", "at least one colour");
  for (const YamlNode::Entry& e : node.entries) {
    const YamlNode* value = all.any(e.key->text, Need::must);
    if (value != e.value) continue;  // repeated: finish says so
    Mapping m(*value, errors, "a colour");
    if (!m.sound()) continue;
    ColourReference colour;
    read_light(m, "core", colour.core, errors);
    read_light(m, "halo", colour.halo, errors);
    m.number("rim", colour.rim, Range{-1, 1}, Need::must);
    m.finish();
    region.looks.colours.push_back(colour);
    region.colours.push_back(e.key->text);
  }
  all.finish();
}

LampRegion read_region(const std::string& name, const YamlNode& node, ErrorList& errors) {
  LampRegion region;
  region.lamp = name;
  region.line = node.at.line;
  region.column = node.at.column;
  Mapping m(node, errors, "a region");
  if (!m.sound()) return region;
  if (const YamlNode* at = m.any("at", Need::must)) {
    Mapping disc(*at, errors, "a place");
    if (disc.sound()) {
      disc.number("x", region.x, pixels, Need::must);
      disc.number("y", region.y, pixels, Need::must);
      disc.number("radius", region.radius, Range{2, 500}, Need::must);
      disc.finish();
    }
  }
  if (const YamlNode* dark = m.any("dark", Need::must)) {
    Mapping lights(*dark, errors, "dark");
    if (lights.sound()) {
      read_light(lights, "core", region.looks.core_dark, errors);
      read_light(lights, "rim", region.looks.rim_dark, errors);
      lights.finish();
    }
  }
  if (const YamlNode* colours = m.any("colours", Need::must)) read_colours(*colours, region, errors);
  m.finish();
  return region;
}

void read_dial(const YamlNode& node, const std::filesystem::path& folder, Regions& regions,
               ErrorList& errors) {
  Mapping m(node, errors, "a dial");
  if (!m.sound()) return;
  std::string picture;
  if (m.text("reference", picture, Need::must)) regions.dial_picture = (folder / picture).string();
  m.number("within", regions.within_px, Range{0.5, 200}, Need::must);
  if (const YamlNode* patches = m.list("patches", Need::must, most_patches)) {
    if (patches->items.size() < 3) errors.add(patches->at, "fewer than three patches", "3 to 32");
    for (const YamlNode* patch : patches->items) {
      if (!is_list(*patch, "a patch", errors, 2)) continue;
      double at[2] = {0, 0};
      if (patch->items.size() != 2)
        errors.add(patch->at, "a patch of one number", "two: its left and its top edge");
      else if (read_number(*patch->items[0], "left", at[0], pixels, errors) &&
               read_number(*patch->items[1], "top", at[1], pixels, errors))
        regions.patches.push_back({static_cast<int>(at[0]), static_cast<int>(at[1])});
    }
  }
  m.finish();
}

std::string text(const Light& l) { return fmt::format("[{:.5f}, {:.5f}, {:.5f}]", l.r, l.g, l.b); }

std::string body(const LampRegion& region, const std::string& indent) {
  std::string out = fmt::format("{}at: {{x: {:.1f}, y: {:.1f}, radius: {:.1f}}}\n", indent, region.x,
                                region.y, region.radius);
  out += fmt::format("{}dark: {{core: {}, rim: {}}}\n{}colours:\n", indent, text(region.looks.core_dark),
                     text(region.looks.rim_dark), indent);
  for (std::size_t c = 0; c < region.colours.size(); ++c) {
    const ColourReference& colour = region.looks.colours[c];
    out += fmt::format("{}  {}: {{core: {}, halo: {}, rim: {:.4f}}}\n", indent,
                       yaml_quoted(region.colours[c]), text(colour.core), text(colour.halo), colour.rim);
  }
  return out;
}

}  // namespace

std::vector<LampRegion> Regions::all() const {
  std::vector<LampRegion> regions = lamps;
  if (sync) regions.push_back(*sync);
  return regions;
}

Regions read_regions(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  Regions regions;
  regions.file = errors.file();
  Mapping file(root, errors, "regions");
  if (!read_header(file, "regions", errors)) return regions;
  if (const YamlNode* frame = file.any("frame", Need::must)) {
    Mapping m(*frame, errors, "a frame");
    double width = 0, height = 0;
    if (m.sound()) {
      m.number("width", width, Range{16, 20'000}, Need::must);
      m.number("height", height, Range{16, 20'000}, Need::must);
      m.finish();
    }
    regions.width = static_cast<int>(width);
    regions.height = static_cast<int>(height);
  }
  if (const YamlNode* dial = file.any("dial", Need::must)) read_dial(*dial, folder, regions, errors);
  if (const YamlNode* lamps = file.any("lamps", Need::must)) {
    Mapping all(*lamps, errors, "lamps");
    if (all.sound()) {
      if (lamps->entries.empty()) errors.add(lamps->at, "no lamps", "at least one lamp");
      for (const YamlNode::Entry& e : lamps->entries)
        if (all.any(e.key->text, Need::must) == e.value)
          regions.lamps.push_back(read_region(e.key->text, *e.value, errors));
      all.finish();
    }
  }
  if (const YamlNode* sync = file.any("sync", Need::may)) regions.sync = read_region("sync", *sync, errors);
  file.finish();
  return regions;
}

std::string regions_text(const Regions& regions) {
  std::string out = fmt::format(
      "format: 1\nkind: regions\nframe: {{width: {}, height: {}}}\ndial:\n  reference: {}\n  within: "
      "{:.1f}\n"
      "  patches: [",
      regions.width, regions.height,
      yaml_quoted(std::filesystem::path(regions.dial_picture).filename().string()), regions.within_px);
  for (std::size_t i = 0; i < regions.patches.size(); ++i)
    out += fmt::format("{}[{}, {}]", i == 0 ? "" : ", ", regions.patches[i][0], regions.patches[i][1]);
  out += "]\nlamps:\n";
  for (const LampRegion& region : regions.lamps)
    out += fmt::format("  {}:\n{}", yaml_quoted(region.lamp), body(region, "    "));
  if (regions.sync) out += "sync:\n" + body(*regions.sync, "  ");
  return out;
}

std::vector<std::vector<Channels>> resolve(const Regions& regions, const Gauge& gauge) {
  ErrorList errors(regions.file);
  std::vector<std::vector<Channels>> channels;
  std::vector<std::string> ids;
  for (const Lamp& lamp : gauge.lamps) ids.push_back(lamp.id);
  for (const LampRegion& region : regions.lamps) {
    channels.emplace_back();
    const Lamp* lamp = nullptr;
    for (const Lamp& l : gauge.lamps)
      if (l.id == region.lamp) lamp = &l;
    if (lamp == nullptr) {
      unknown_word({region.line, region.column}, "lamp", region.lamp, ids, errors);
      continue;
    }
    for (const std::string& colour : region.colours) {
      channels.back().push_back(gauge.channel(region.lamp, colour));
      if (channels.back().back() == 0)
        unknown_word({region.line, region.column}, "colour", colour, lamp->colours, errors);
    }
  }
  errors.throw_if_any();
  return channels;
}

}  // namespace tachproof
