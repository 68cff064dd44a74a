#include "bench/commands/rig_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <optional>

#include "bench/commands/terminal.h"
#include "bench/rigs/camera/cameras.h"
#include "bench/rigs/gpio/gpio_lines.h"
#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

const std::vector<std::string> board_inputs{"in0", "in1", "in2", "in3", "in4", "in5", "in6", "in7"};
constexpr std::size_t most_lines = 64;  // of one request to the kernel

struct Choice {
  std::string word, about;
};

std::string joined(const std::vector<Choice>& choices) {
  std::string text;
  for (const Choice& choice : choices) text += (text.empty() ? "" : ", ") + choice.word;
  return text;
}

// The word that was given, or what the person at the terminal says: a choice by its
// number or word; any word where `free`. Nobody there: a UsageError.
std::string word_or_asked(const std::string& option, const std::string& given, const std::string& question,
                          const std::vector<Choice>& choices, bool free) {
  const auto fits = [&](const std::string& word) {
    return !word.empty() && (free || std::any_of(choices.begin(), choices.end(),
                                                 [&](const Choice& c) { return c.word == word; }));
  };
  if (fits(given)) return given;
  if (!given.empty()) throw UsageError(option + " is '" + given + "'; allowed: " + joined(choices));
  if (is_terminal(stderr) && is_terminal(stdin)) {
    fmt::print(stderr, "\n{}\n", question);
    for (std::size_t i = 0; i < choices.size(); ++i)
      fmt::print(stderr, "  {}  {:12} {}\n", i + 1, choices[i].word, choices[i].about);
  }
  for (;;) {
    const std::optional<std::string> answer = ask_at_terminal(choices.empty() ? "> "
                                                              : free ? "A number from above, or what it is: "
                                                                     : "A number or word from above: ");
    if (!answer)
      throw UsageError("give " + option +
                       (choices.empty() || free ? "; see `tachproof rig --help`" : ": " + joined(choices)));
    std::size_t number = 0;
    const auto [end, error] = std::from_chars(answer->data(), answer->data() + answer->size(), number);
    const bool whole = error == std::errc{} && end == answer->data() + answer->size();
    if (whole && number >= 1 && number <= choices.size()) return choices[number - 1].word;
    if (fits(*answer)) return *answer;
  }
}

double number_or_asked(const std::string& option, const std::string& given, const std::string& question,
                       double least, double most) {
  return option_number(option, word_or_asked(option, given, question, {}, true), 0, least, most);
}

std::vector<Choice> choices_of(const std::vector<PortFound>& ports) {
  std::vector<Choice> choices;
  for (const PortFound& port : ports)
    choices.push_back({port.name, port.closed_because.empty() ? port.description : port.closed_because});
  return choices;
}

// As they stand in a rig file beside `out`.
std::string beside(const fs::path& out, const std::string& path) {
  return fs::proximate(fs::absolute(path), fs::absolute(out).parent_path()).string();
}

}  // namespace

void RigWords::declare(Arguments& arguments) {
  arguments.option(source_, "--source", "KIND",
                   "With --out, what plays: board, scpi (a signal generator) or simulated.");
  arguments.option(watch_, "--watch", "KIND",
                   "With --out, what watches: board (its inputs), gpio, camera or simulated. Default beside "
                   "a board: board.");
  arguments.option(port_, "--port", "PORT",
                   "For a board: its port; see `tachproof ports`. Default: the only one.");
  arguments.option(address_, "--address", "ADDRESS",
                   "For a generator: host:port, /dev/usbtmc0 or a serial line.");
  arguments.option(baud_, "--baud", "N", "For a generator on a serial line: its baud rate. Default: 9600.");
  arguments.option(amplitude_v_, "--amplitude-v", "V", "For a generator: volts, peak to peak.");
  arguments.option(offset_v_, "--offset-v", "V", "For a generator: volts, half-way between low and high.");
  arguments.option(
      load_ohm_, "--load-ohm", "OHM",
      "For a generator: the load that the volts are set for; 0 for a high impedance. Default: as it is.");
  arguments.option(answer_ms_, "--answer-ms", "MS",
                   "For a generator: the longest time to read a change back. Default: 20.");
  arguments.option(settle_ms_, "--settle-ms", "MS",
                   "For a generator: the longest time until its output follows. Default: 20.");
  arguments.option(chip_, "--chip", "CHIP",
                   "For GPIO: label, name or device. Default: the one with the lines.");
  arguments.option(
      lines_, "--lines", "LIST",
      "For GPIO: the lines that lamps may be wired to, GPIO17,GPIO27. The lamp test finds which is which.");
  arguments.option(bias_, "--bias", "BIAS", "For GPIO: as-is, off, pull-up or pull-down. Default: as-is.");
  arguments.option(
      unit_, "--unit", "FILE",
      "For a simulated unit: the gauge file that it really runs. Default: the gauge under test.");
  arguments.option(device_, "--device", "DEVICE", "For a camera: its device, such as /dev/video0.");
  arguments.option(clip_, "--clip", "CLIP", "For a camera: a clip of a run, in place of a device.");
  arguments.option(camera_.regions, "--regions", "FILE",
                   "For a camera: where the lamps are. If there is no such file, the camera is taught. "
                   "Default: <rig>-regions.yaml.");
  camera_.declare(arguments);
}

bool RigWords::any() const {
  for (const std::string* word :
       {&source_, &watch_, &port_, &address_, &baud_, &amplitude_v_, &offset_v_, &load_ohm_, &answer_ms_,
        &settle_ms_, &chip_, &lines_, &bias_, &unit_, &device_, &clip_})
    if (!word->empty()) return true;
  return camera_.any();
}

std::string RigWords::source_kind() const {
  if (source_.empty() && !port_.empty()) return "board";
  if (source_.empty() && !address_.empty()) return "scpi";
  if (source_.empty() && !clip_.empty()) return "simulated";
  return word_or_asked("--source", source_, "What plays the tach signal?",
                       {{"board", "the bench's own board"},
                        {"scpi", "a signal generator"},
                        {"simulated", "software: to a simulated unit, or for a clip"}},
                       false);
}

std::string RigWords::watch_kind(const std::string& source) const {
  const bool at_terminal = is_terminal(stdin) && is_terminal(stderr);
  if (watch_.empty()) {
    if (!lines_.empty() || !chip_.empty()) return "gpio";
    if (!device_.empty() || !clip_.empty()) return "camera";
    if (!unit_.empty() || source == "simulated") return "simulated";
    if (source == "board" && (!port_.empty() || !at_terminal)) return "board";
  }
  std::vector<Choice> choices;
  if (source == "board") choices.push_back({"board", "its own inputs, wired to the lamps"});
  if (source == "scpi") choices.push_back({"gpio", "lines of this computer's GPIO chip, wired to the lamps"});
  choices.push_back({"camera", "no wires: a camera that is taught where the lamps are"});
  if (source != "board") choices.push_back({"simulated", "a unit in software: a rehearsal"});
  return word_or_asked("--watch", watch_, "What watches the lamps?", choices, false);
}

void RigWords::refuse_strays(const std::string& source, const std::string& watch) const {
  const auto refuse = [](const char* option, const std::string& given, const std::string& kind) {
    if (!given.empty()) throw UsageError(std::string(option) + " does not go with " + kind);
  };
  const std::string by = "--source " + source, seen = "--watch " + watch;
  if (source != "board") refuse("--port", port_, by);
  if (source != "scpi") {
    refuse("--address", address_, by);
    refuse("--baud", baud_, by);
    refuse("--amplitude-v", amplitude_v_, by);
    refuse("--offset-v", offset_v_, by);
    refuse("--load-ohm", load_ohm_, by);
    refuse("--answer-ms", answer_ms_, by);
    refuse("--settle-ms", settle_ms_, by);
  }
  if (watch != "gpio") {
    refuse("--chip", chip_, seen);
    refuse("--lines", lines_, seen);
    refuse("--bias", bias_, seen);
  }
  if (watch != "simulated") refuse("--unit", unit_, seen);
  if (watch != "camera") {
    refuse("--device", device_, seen);
    refuse("--clip", clip_, seen);
    camera_.refuse_any(seen);
  }
}

std::string RigWords::board_port() const {
  const std::vector<PortFound> ports = ports_present();
  if (!port_.empty()) return port_;
  if (ports.size() < 2) return only_port_present();
  return word_or_asked("--port", "", "Which port is the board on?", choices_of(ports), true);
}

ScpiSetting RigWords::generator() const {
  ScpiSetting scpi;
  scpi.address = word_or_asked("--address", address_, "Where is the generator? (host:port, or one of these)",
                               choices_of(instruments_present()), true);
  if (!baud_.empty() && !scpi.address.starts_with('/'))
    throw UsageError("--baud goes with a serial line; --address is '" + scpi.address + "'");
  scpi.baud = static_cast<unsigned>(option_number("--baud", baud_, scpi.baud, 300, 4e6));
  scpi.amplitude_v = number_or_asked(
      "--amplitude-v", amplitude_v_,
      "Its amplitude, volts peak to peak? The unit's manual says what its input stands.", 0.001, 40);
  scpi.offset_v = number_or_asked("--offset-v", offset_v_,
                                  "Its offset, volts? Half the amplitude for a signal from 0 V up.", -20, 20);
  if (!load_ohm_.empty()) scpi.load_ohm = option_number("--load-ohm", load_ohm_, 0, 0, 1e6);
  scpi.answer = from_seconds(option_number("--answer-ms", answer_ms_, to_ms(scpi.answer), 1, 50) / 1e3);
  scpi.settle = from_seconds(option_number("--settle-ms", settle_ms_, to_ms(scpi.settle), 0, 100) / 1e3);
  return scpi;
}

std::string RigWords::gpio_chip() const {
  if (!chip_.empty() || !is_terminal(stdin)) return chip_;
  std::vector<Choice> choices;
  for (const GpioChipFound& chip : gpio_chips(*linux_gpio()))
    choices.push_back({chip.label, chip.closed_because.empty() ? fmt::format("{} lines", chip.lines.size())
                                                               : chip.closed_because});
  return word_or_asked("--chip", "", "Which GPIO chip?", choices, true);
}

std::vector<std::string> RigWords::gpio_lines() const {
  const std::string list =
      word_or_asked("--lines", lines_,
                    "Which lines may lamps be wired to? Their names or numbers, GPIO17,GPIO27.", {}, true);
  std::vector<std::string> lines;
  for (std::size_t at = 0; at <= list.size();) {
    const std::size_t comma = std::min(list.find(',', at), list.size());
    lines.push_back(list.substr(at, comma - at));
    at = comma + 1;
  }
  for (std::size_t i = 0; i < lines.size(); ++i)
    if (lines[i].empty() || std::count(lines.begin(), lines.end(), lines[i]) > 1)
      throw UsageError("--lines is '" + list + "'; it must name each line once, between commas");
  if (lines.size() > most_lines)
    throw UsageError(fmt::format("--lines names {} lines; at most {}", lines.size(), most_lines));
  return lines;
}

CameraSettings RigWords::camera(const fs::path& out) const {
  CameraSettings camera = camera_.settings();
  if (!device_.empty() && !clip_.empty()) throw UsageError("give --device or --clip, not both");
  camera.live = clip_.empty();
  if (camera.live) {
    std::vector<Choice> devices;
    if (device_.empty())
      for (const CameraFound& found : cameras_present(*linux_video()))
        if (found.closed_because.empty()) devices.push_back({found.name, found.card});
    camera.from = word_or_asked("--device", device_, "Which camera?", devices, true);
  } else {
    camera.from = beside(out, clip_);
  }
  camera.regions =
      beside(out, camera.regions.empty() ? (out.parent_path() / out.stem()).string() + "-regions.yaml"
                                         : camera.regions);
  return camera;
}

RigWanted RigWords::wanted(const fs::path& out) const {
  RigWanted wanted;
  RigFile& rig = wanted.rig;
  rig.source.kind = source_kind();
  rig.watch.kind = watch_kind(rig.source.kind);
  refuse_strays(rig.source.kind, rig.watch.kind);
  if (rig.watch.kind == "gpio") {
    rig.watch.chip = gpio_chip();
    wanted.candidates = gpio_lines();
    if (!bias_.empty())
      rig.watch.bias = word_or_asked("--bias", bias_, "",
                                     {{"as-is", ""}, {"off", ""}, {"pull-up", ""}, {"pull-down", ""}}, false);
  }
  if (rig.watch.kind == "board") wanted.candidates = board_inputs;
  if (rig.watch.kind == "camera") rig.watch.camera = camera(out);
  if (rig.watch.kind == "simulated" && !unit_.empty()) {
    rig.watch.unit = load_gauge(unit_);
    rig.watch.unit_path = beside(out, unit_);
  }
  if (rig.source.kind == "scpi") rig.source.scpi = generator();
  if (rig.source.kind == "board") rig.source.port = board_port();
  if (rig.source.kind == "board" && rig.watch.kind == "camera")
    rig.source.buttons = {{rig.watch.camera.sync, "press-1"}};
  return wanted;
}

}  // namespace tachproof
