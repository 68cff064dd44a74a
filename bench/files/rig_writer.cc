#include "bench/files/rig_writer.h"

#include <fmt/format.h>

#include "bench/files/yaml_text.h"

namespace tachproof {
namespace {

std::string line(const std::string& key, const std::string& value, const std::string& comment = "") {
  return "  " + key + ": " + value + (comment.empty() ? "" : " # " + comment) + "\n";
}

std::string number(double value) { return fmt::format("{}", value); }
std::string ms(Nanos value) { return number(to_ms(value)); }

std::string scpi_text(const ScpiSetting& scpi) {
  const ScpiSetting usual;
  std::string text = line("address", yaml_word(scpi.address));
  if (scpi.baud != usual.baud) text += line("baud", std::to_string(scpi.baud));
  if (scpi.channel != usual.channel) text += line("channel", std::to_string(scpi.channel));
  text += line("amplitude_v", number(scpi.amplitude_v),
               fmt::format("peak to peak; with the offset, from {:g} V to {:g} V",
                           scpi.offset_v - scpi.amplitude_v / 2, scpi.offset_v + scpi.amplitude_v / 2));
  text += line("offset_v", number(scpi.offset_v));
  if (scpi.load_ohm)
    text += line("load_ohm", number(*scpi.load_ohm),
                 *scpi.load_ohm == 0 ? "a high impedance" : "what the voltages are meant into");
  else
    text += "  # load_ohm: 0 # a high impedance; not said: left as the generator has it\n";
  text += line("answer_ms", ms(scpi.answer), "within which a change is read back");
  text +=
      line("settle_ms", ms(scpi.settle), "from then until the output follows; see the generator's manual");
  if (scpi.within_rpm != usual.within_rpm) text += line("within_rpm", number(scpi.within_rpm));
  if (scpi.resolution_hz != usual.resolution_hz) text += line("resolution_hz", number(scpi.resolution_hz));
  if (scpi.clock_ppm != usual.clock_ppm) text += line("clock_ppm", number(scpi.clock_ppm));
  if (!scpi.reset) text += line("reset", "false");
  return text;
}

std::string board_text(const RigFile::SourcePart& board) {
  std::string text, buttons;
  if (!board.port.empty()) text += line("port", yaml_word(board.port));
  for (const auto& [action, output] : board.buttons)
    buttons += (buttons.empty() ? "" : ", ") + yaml_word(action) + ": " + output;
  return text + (buttons.empty() ? "  # buttons: {capture: press-1} # which output presses what\n"
                                 : line("buttons", "{" + buttons + "}"));
}

std::string source_text(const RigFile::SourcePart& source) {
  std::string text = "source:\n" + line("kind", source.kind);
  if (source.kind == "board") text += board_text(source);
  if (source.scpi) text += scpi_text(*source.scpi);
  return text;
}

std::string wiring_text(const Wiring& wiring) {
  std::string lamps, open_lamp;
  for (const Wiring::Wire& wire : wiring.wires) {
    if (lamps.empty() || wire.lamp != open_lamp)
      lamps += (lamps.empty() ? "      " : "}\n      ") + yaml_word(wire.lamp) + ": {";
    else
      lamps += ", ";
    lamps += yaml_word(wire.colour) + ": " + yaml_word(wire.channel);
    open_lamp = wire.lamp;
  }
  return "  wiring:\n    lamps:\n" + lamps + "}\n    active: " + (wiring.active_high ? "high" : "low") + "\n";
}

std::string camera_text(const CameraSettings& camera) {
  std::string text =
      line(camera.live ? "device" : "clip", yaml_word(camera.from)) +
      line("regions", yaml_word(camera.regions), "where the lamps are: from `tachproof teach`") +
      line("sync", yaml_word(camera.sync), "the action that flashes the sync lamp");
  if (camera.fps > 0) text += line("fps", number(camera.fps));
  if (camera.exposure_ms > 0)
    text += line("exposure_ms", number(camera.exposure_ms));
  else
    text +=
        "  # exposure_ms: 5 # known, it makes instants more certain; short enough that lamps keep colour\n";
  if (camera.readout_ms >= 0)
    text += line("readout_ms", number(camera.readout_ms));
  else
    text += "  # readout_ms: 12 # from the first row of a frame to the last\n";
  if (camera.gain >= 0) text += line("gain", number(camera.gain));
  return text;
}

std::string watch_text(const RigFile::WatchPart& watch) {
  std::string text = "watch:\n" + line("kind", watch.kind);
  if (watch.kind == "simulated")
    return text +
           line("unit", watch.unit_path.empty() ? "gauge-under-test" : yaml_word(watch.unit_path),
                "the gauge file that it really runs") +
           "  # behaviour: {response_ms: 25, faults: []} # how it differs from a sound unit\n";
  if (watch.kind == "camera") return text + camera_text(watch.camera);
  if (watch.kind == "gpio") {
    if (!watch.chip.empty()) text += line("chip", yaml_word(watch.chip));
    text += line("bias", watch.bias, "as-is, off, pull-up or pull-down");
  }
  return watch.wiring ? text + wiring_text(*watch.wiring) : text;
}

}  // namespace

std::string rig_yaml(const RigFile& rig, const std::string& heading) {
  return "# " + heading + "\nformat: 1\nkind: rig\n" + source_text(rig.source) + watch_text(rig.watch);
}

}  // namespace tachproof
