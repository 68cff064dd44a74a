#include "bench/page/rig_picture.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/page/rig_state.h"
#include "bench/record/text.h"
#include "bench/reports/hatch.h"
#include "bench/reports/svg.h"
#include "bench/rigs/factory.h"

namespace tachproof {
namespace {

constexpr double picture_width = 760, box_width = 190, row_height = 30, box_top = 12, head_room = 66;
constexpr double source_left = 10, unit_left = 285, watcher_left = 560;

struct Outlet {
  std::string at_source, at_unit;  // "press-1", "capture button"
};

// What goes from the source to the unit, or to the camera.
std::vector<Outlet> outlets(const RigFile& rig) {
  std::vector<Outlet> all{{"tach signal", "tach input"}};
  const bool films = kind_of(rig.watch).films();
  for (const auto& [action, output] : rig.source.buttons)
    all.push_back({output, films && action == rig.watch.camera.sync ? "sync lamp, for the camera"
                                                                    : "button: " + action});
  return all;
}

struct Inlet {
  std::string lamp, channel, colour;
};

std::vector<Inlet> inlets(const RigFile& rig) {
  std::vector<Inlet> all;
  if (rig.watch.wiring)
    for (const Wiring::Wire& wire : rig.watch.wiring->wires)
      all.push_back({wire.lamp + " " + wire.colour, wire.channel, wire.colour});
  return all;
}

std::string box(double left, double height, const std::string& title, const std::string& about) {
  std::string text = svg_rect({left, box_top}, box_width, height, "part") +
                     svg_text({left + box_width / 2, box_top + 22}, title, "strong", Anchor::middle);
  double y = box_top + 40;
  for (const std::string& line : wrapped(printable(about), 30)) {
    if (y > box_top + head_room - 8) break;
    text += svg_text({left + box_width / 2, y}, line, "small", Anchor::middle);
    y += 14;
  }
  return text;
}

double row_y(std::size_t row) { return box_top + head_room + row_height * (static_cast<double>(row) + 0.5); }

std::string short_name(const std::string& text) { return shortened(printable(text), 20); }

std::string watcher_about(const RigFile& rig) {
  const WatchKind& kind = kind_of(rig.watch);
  const std::string device = watch_device(rig);
  return kind.about() + (device.empty() ? "" : ": " + device);
}

}  // namespace

std::string rig_picture(const RigFile& rig) {
  const SourceKind& source = kind_of(rig.source);
  const std::vector<Outlet> left = outlets(rig);
  const std::vector<Inlet> right = inlets(rig);
  const double height =
      head_room +
      row_height * static_cast<double>(std::max<std::size_t>({left.size(), right.size(), std::size_t{2}})) +
      8;
  const std::string device = source_device(rig);
  std::string inside =
      box(source_left, height, "plays", source.about() + (device.empty() ? "" : ": " + device)) +
      box(unit_left, height, "the unit", "") + box(watcher_left, height, "watches", watcher_about(rig));
  for (std::size_t i = 0; i < left.size(); ++i) {
    const double y = row_y(i);
    inside +=
        svg_text({source_left + box_width - 10, y + 5}, short_name(left[i].at_source), "name", Anchor::end) +
        svg_line({source_left + box_width, y}, {unit_left, y}, "wire") +
        svg_text({unit_left - 6, y - 6}, short_name(left[i].at_unit), "small", Anchor::end);
  }
  for (std::size_t i = 0; i < right.size(); ++i) {
    const double y = row_y(i), lamp = unit_left + box_width - 18;
    // A colour's word is CSS's own or not drawn.
    inside += fmt::format("<circle cx=\"{:.0f}\" cy=\"{:.0f}\" r=\"8\" class=\"bulb\"{}/>\n", lamp, y,
                          is_css_colour(right[i].colour) ? " fill=\"" + escaped(right[i].colour) + "\"" : "");
    inside += svg_text({lamp - 14, y + 5}, short_name(right[i].lamp), "name", Anchor::end) +
              svg_line({unit_left + box_width, y}, {watcher_left, y}, "wire") +
              svg_text({watcher_left + 10, y + 5}, short_name(right[i].channel), "name");
  }
  if (right.empty())
    inside += svg_line({unit_left + box_width, row_y(0)}, {watcher_left, row_y(0)}, "seen") +
              svg_text({(unit_left + box_width + watcher_left) / 2, row_y(0) - 8}, "sees all", "small",
                       Anchor::middle);
  return fmt::format(
      "<div class=\"scroll wiring\" tabindex=\"0\" role=\"region\" aria-label=\"How the rig is "
      "wired\">\n<svg "
      "viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"{}\">\n{}</svg>\n</div>\n",
      picture_width, height + 2 * box_top,
      escaped(fmt::format("{} plays to the unit; {} lamp colours are wired to what watches: {}",
                          source.about(), right.size(), kind_of(rig.watch).about())),
      inside);
}

}  // namespace tachproof
