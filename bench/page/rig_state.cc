#include "bench/page/rig_state.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/record/text.h"
#include "bench/rigs/camera/cameras.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/gpio/gpio_lines.h"
#include "bench/rigs/port_holder.h"
#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

bool at_work(const TileView& tile) {
  return tile.state != TileView::State::waiting && tile.state != TileView::State::result;
}

// Two names may lead to one device.
std::string one_name(const std::string& device) {
  std::error_code error;
  const fs::path whole = fs::canonical(device, error);
  return error ? device : whole.string();
}

RigState not_ready(std::string words, bool taken = false) { return {false, taken, std::move(words)}; }

RigState port_state(const std::string& device) {
  std::error_code error;
  if (!fs::exists(device, error))
    return not_ready(device + " is not there: is it plugged in and switched on?");
  const std::string whole = one_name(device);
  if (const std::optional<PortHolder> holder = holder_of(whole))
    return not_ready(fmt::format("in use by {}, process {}", holder->program, holder->pid), true);
  const std::string closed = why_closed(whole);
  return closed.empty() ? RigState{true, false, "connected"} : not_ready(device + ": " + closed);
}

// Of a device that the file does not name by its path.
RigState named_state(const std::string& device) {
  for (const GpioChipFound& chip : gpio_chips(*linux_gpio()))
    if (chip.label == device || chip.name == device)
      return chip.closed_because.empty() ? RigState{true, false, "connected"}
                                         : not_ready(device + ": " + chip.closed_because);
  if (device.find(':') != device.npos)
    return {true, false, device + " is in the network: whether it answers shows when it is opened"};
  return not_ready(device + " is not there");
}

RigState unnamed_board() {
  const std::vector<PortFound> ports = ports_present();
  if (ports.empty()) return not_ready("no serial port is present: is the board plugged in?");
  if (ports.size() > 1)
    return not_ready("several serial ports are present: name the board's as 'port:' in the rig file");
  return port_state(ports.front().device);
}

std::string lines_html(const std::vector<std::pair<std::string, std::string>>& facts) {
  std::string html;
  for (const auto& [name, value] : facts)
    if (!value.empty()) html += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>\n", name, escaped(value));
  return "<dl class=\"facts\">\n" + html + "</dl>\n";
}

std::string open_words(const std::string& closed_because) {
  return closed_because.empty() ? "yes" : "no: " + closed_because;
}

std::string port_html(const PortFound& port) {
  return fmt::format("<h3>{}</h3>\n", escaped(port.name)) +
         lines_html({{"device", port.device == port.name ? "" : port.device},
                     {"description", port.description},
                     {"USB", port.usb},
                     {"maker", port.manufacturer},
                     {"serial", port.serial},
                     {"can be opened", open_words(port.closed_because)}});
}

std::string chip_html(const GpioChipFound& chip) {
  std::string used;
  for (std::size_t i = 0; i < chip.lines.size(); ++i)
    if (chip.lines[i].used)
      used += fmt::format("{}line {}{}", used.empty() ? "" : ", ", i,
                          chip.lines[i].consumer.empty() ? "" : " by " + chip.lines[i].consumer);
  return fmt::format("<h3>{}</h3>\n", escaped(chip.device)) +
         lines_html({{"label", chip.label},
                     {"lines", std::to_string(chip.lines.size())},
                     {"in use", used},
                     {"can be opened", open_words(chip.closed_because)}});
}

}  // namespace

std::string source_device(const RigFile& rig) {
  return rig.source.scpi ? rig.source.scpi->address : rig.source.port;
}

std::string watch_device(const RigFile& rig) {
  return rig.watch.camera.live ? rig.watch.camera.from : rig.watch.chip;
}

ShopRig shop_rig(const Shop& shop, const std::string& file) {
  ShopRig rig;
  rig.file = file;
  try {
    rig.rig = load_rig(shop.folder() / file);
  } catch (const FileErrors& e) {
    rig.trouble = e.what();
  }
  return rig;
}

std::vector<std::string> devices_of(const RigFile& rig) {
  std::vector<std::string> devices{source_device(rig), watch_device(rig)};
  std::erase(devices, "");
  return devices;
}

std::optional<TileView> at_work_with(const ShopRig& rig, const Shop& shop,
                                     const std::vector<TileView>& tiles) {
  std::vector<std::string> own;
  if (rig.trouble.empty())
    for (const std::string& device : devices_of(rig.rig)) own.push_back(one_name(device));
  for (const TileView& tile : tiles) {
    if (!at_work(tile)) continue;
    if (tile.rig == rig.file) return tile;
    const ShopRig other = shop_rig(shop, tile.rig);
    if (!rig.trouble.empty() || !other.trouble.empty()) continue;
    for (const std::string& device : devices_of(other.rig))
      if (std::find(own.begin(), own.end(), one_name(device)) != own.end()) return tile;
    // Both take whichever board is there.
    const bool any_board = kind_of(rig.rig.source).clock() == SourceClock::device &&
                           kind_of(other.rig.source).clock() == SourceClock::device &&
                           (source_device(rig.rig).empty() || source_device(other.rig).empty());
    if (any_board) return tile;
  }
  return std::nullopt;
}

RigState rig_state(const ShopRig& rig, const Shop& shop, const std::vector<TileView>& tiles) {
  if (const std::optional<TileView> tile = at_work_with(rig, shop, tiles))
    return not_ready(fmt::format("in use at this page: {}{}", tile->rig == rig.file ? "" : tile->rig + " ",
                                 tile->serial.empty() ? "at work" : "tests " + tile->serial),
                     true);
  if (!rig.trouble.empty()) return not_ready("the file cannot be read");
  const SourceKind& source = kind_of(rig.rig.source);
  const std::vector<std::string> devices = devices_of(rig.rig);
  if (source.clock() == SourceClock::device && source_device(rig.rig).empty())
    if (RigState state = unnamed_board(); !state.ready) return state;
  RigState said{true, false,
                source.is_software() && devices.empty() ? "in software: always there" : "connected"};
  for (const std::string& device : devices) {
    RigState state = device.starts_with('/') ? port_state(device) : named_state(device);
    if (!state.ready) return state;
    if (said.words == "connected") said = std::move(state);
  }
  return said;
}

std::string connected_html() {
  std::string html;
  for (const PortFound& port : ports_present()) html += port_html(port);
  for (const PortFound& port : instruments_present()) html += port_html(port);
  for (const GpioChipFound& chip : gpio_chips(*linux_gpio())) html += chip_html(chip);
  for (const CameraFound& camera : cameras_present(*linux_video()))
    html += fmt::format("<h3>{}</h3>\n", escaped(camera.name)) +
            lines_html({{"device", camera.device == camera.name ? "" : camera.device},
                        {"camera", camera.card},
                        {"bus", camera.bus},
                        {"can be opened", open_words(camera.closed_because)}});
  return html.empty()
             ? "<p>No board, signal generator, GPIO chip or camera is connected to this computer.</p>\n"
             : html;
}

}  // namespace tachproof
