#include "bench/commands/rig_kind_words.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/commands/camera_words.h"
#include "bench/commands/rig_questions.h"
#include "bench/commands/terminal.h"
#include "bench/rigs/camera/cameras.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/gpio/gpio_lines.h"
#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t most_lines = 64;  // of one request to the kernel

// As they stand in a rig file beside `out`.
std::string beside(const fs::path& out, const std::string& path) {
  return fs::proximate(fs::absolute(path), fs::absolute(out).parent_path()).string();
}

class BoardWords : public KindWords {
 public:
  Part part() const override { return Part::source; }
  std::string kind() const override { return "board"; }
  void declare(Arguments& arguments) override {
    arguments.option(port_, "--port", "PORT",
                     "For a board: its port; see `tachproof ports`. Default: the only one.");
  }
  std::string implied_source() const override { return port_.empty() ? "" : kind(); }
  void fill(RigWanted& wanted, const fs::path&) const override {
    wanted.rig.source.port = port();
    if (const CameraSettings* camera = filmed_by(wanted.rig))
      wanted.rig.source.buttons = {{camera->sync, "press-1"}};
  }

 protected:
  Options options() const override { return {{"--port", &port_}}; }

 private:
  std::string port() const {
    const std::vector<PortFound> ports = ports_present();
    if (!port_.empty()) return port_;
    if (ports.size() < 2) return only_port_present();
    return word_or_asked("--port", "", "Which port is the board on?", choices_of(ports), true);
  }

  std::string port_;
};

class BoardInputWords : public KindWords {
 public:
  Part part() const override { return Part::watch; }
  std::string kind() const override { return "board"; }
  void declare(Arguments&) override {}
  void fill(RigWanted& wanted, const fs::path&) const override {
    wanted.candidates = {"in0", "in1", "in2", "in3", "in4", "in5", "in6", "in7"};
  }
};

class GeneratorWords : public KindWords {
 public:
  Part part() const override { return Part::source; }
  std::string kind() const override { return "scpi"; }
  void declare(Arguments& arguments) override {
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
  }
  std::string implied_source() const override { return address_.empty() ? "" : kind(); }
  void fill(RigWanted& wanted, const fs::path&) const override {
    ScpiSetting& scpi = wanted.rig.source.scpi.emplace();
    scpi.address =
        word_or_asked("--address", address_, "Where is the generator? (host:port, or one of these)",
                      choices_of(instruments_present()), true);
    if (!baud_.empty() && !scpi.address.starts_with('/'))
      throw UsageError("--baud goes with a serial line; --address is '" + scpi.address + "'");
    scpi.baud = static_cast<unsigned>(option_number("--baud", baud_, scpi.baud, 300, 4e6));
    scpi.amplitude_v = number_or_asked(
        "--amplitude-v", amplitude_v_,
        "Its amplitude, volts peak to peak? The unit's manual says what its input stands.", 0.001, 40);
    scpi.offset_v = number_or_asked(
        "--offset-v", offset_v_, "Its offset, volts? Half the amplitude for a signal from 0 V up.", -20, 20);
    if (!load_ohm_.empty()) scpi.load_ohm = option_number("--load-ohm", load_ohm_, 0, 0, 1e6);
    scpi.answer = from_seconds(option_number("--answer-ms", answer_ms_, to_ms(scpi.answer), 1, 50) / 1e3);
    scpi.settle = from_seconds(option_number("--settle-ms", settle_ms_, to_ms(scpi.settle), 0, 100) / 1e3);
  }

 protected:
  Options options() const override {
    return {{"--address", &address_},    {"--baud", &baud_},         {"--amplitude-v", &amplitude_v_},
            {"--offset-v", &offset_v_},  {"--load-ohm", &load_ohm_}, {"--answer-ms", &answer_ms_},
            {"--settle-ms", &settle_ms_}};
  }

 private:
  std::string address_, baud_, amplitude_v_, offset_v_, load_ohm_, answer_ms_, settle_ms_;
};

class GpioWords : public KindWords {
 public:
  Part part() const override { return Part::watch; }
  std::string kind() const override { return "gpio"; }
  void declare(Arguments& arguments) override {
    arguments.option(chip_, "--chip", "CHIP",
                     "For GPIO: label, name or device. Default: the one with the lines.");
    arguments.option(
        lines_, "--lines", "LIST",
        "For GPIO: the lines that lamps may be wired to, GPIO17,GPIO27. The lamp test finds which is which.");
    arguments.option(bias_, "--bias", "BIAS", "For GPIO: as-is, off, pull-up or pull-down. Default: as-is.");
  }
  std::string implied_watch() const override { return lines_.empty() && chip_.empty() ? "" : kind(); }
  void fill(RigWanted& wanted, const fs::path&) const override {
    wanted.rig.watch.chip = chip();
    wanted.candidates = lines();
    if (!bias_.empty())
      wanted.rig.watch.bias = word_or_asked(
          "--bias", bias_, "", {{"as-is", ""}, {"off", ""}, {"pull-up", ""}, {"pull-down", ""}}, false);
  }

 protected:
  Options options() const override { return {{"--chip", &chip_}, {"--lines", &lines_}, {"--bias", &bias_}}; }

 private:
  std::string chip() const {
    if (!chip_.empty() || !is_terminal(stdin)) return chip_;
    std::vector<Choice> choices;
    for (const GpioChipFound& chip : gpio_chips(*linux_gpio()))
      choices.push_back({chip.label, chip.closed_because.empty() ? fmt::format("{} lines", chip.lines.size())
                                                                 : chip.closed_because});
    return word_or_asked("--chip", "", "Which GPIO chip?", choices, true);
  }

  std::vector<std::string> lines() const {
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

  std::string chip_, lines_, bias_;
};

class UnitWords : public KindWords {
 public:
  Part part() const override { return Part::watch; }
  std::string kind() const override { return "simulated"; }
  void declare(Arguments& arguments) override {
    arguments.option(
        unit_, "--unit", "FILE",
        "For a simulated unit: the gauge file that it really runs. Default: the gauge under test.");
  }
  std::string implied_watch() const override { return unit_.empty() ? "" : kind(); }
  void fill(RigWanted& wanted, const fs::path& out) const override {
    if (unit_.empty()) return;
    wanted.rig.watch.unit = load_gauge(unit_);
    wanted.rig.watch.unit_path = beside(out, unit_);
  }

 protected:
  Options options() const override { return {{"--unit", &unit_}}; }

 private:
  std::string unit_;
};

class CameraKindWords : public KindWords {
 public:
  Part part() const override { return Part::watch; }
  std::string kind() const override { return "camera"; }
  void declare(Arguments& arguments) override {
    arguments.option(device_, "--device", "DEVICE", "For a camera: its device, such as /dev/video0.");
    arguments.option(clip_, "--clip", "CLIP", "For a camera: a clip of a run, in place of a device.");
    arguments.option(camera_.regions, "--regions", "FILE",
                     "For a camera: where the lamps are. If there is no such file, the camera is taught. "
                     "Default: <rig>-regions.yaml.");
    camera_.declare(arguments);
  }
  bool any() const override { return KindWords::any() || camera_.any(); }
  void refuse_any(const std::string& by) const override {
    KindWords::refuse_any(by);
    camera_.refuse_any(by);
  }
  // What a clip shows was played before.
  std::string implied_source() const override { return clip_.empty() ? "" : rig_of_clip({}).source.kind; }
  std::string implied_watch() const override { return device_.empty() && clip_.empty() ? "" : kind(); }
  void fill(RigWanted& wanted, const fs::path& out) const override {
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
    wanted.rig.watch.camera = camera;
  }

 protected:
  Options options() const override { return {{"--device", &device_}, {"--clip", &clip_}}; }

 private:
  std::string device_, clip_;
  CameraWords camera_;
};

}  // namespace

bool KindWords::any() const {
  const Options all = options();
  return std::any_of(all.begin(), all.end(), [](const auto& option) { return !option.second->empty(); });
}

void KindWords::refuse_any(const std::string& by) const {
  for (const auto& [name, text] : options())
    if (!text->empty()) throw UsageError(name + " does not go with " + by);
}

std::vector<std::unique_ptr<KindWords>> all_kind_words() {
  std::vector<std::unique_ptr<KindWords>> words;
  words.push_back(std::make_unique<BoardWords>());
  words.push_back(std::make_unique<BoardInputWords>());
  words.push_back(std::make_unique<GeneratorWords>());
  words.push_back(std::make_unique<GpioWords>());
  words.push_back(std::make_unique<UnitWords>());
  words.push_back(std::make_unique<CameraKindWords>());
  return words;
}

}  // namespace tachproof
