// Tachproof's files, read strictly.
//
// Every load_... either returns a sound value or throws FileErrors with all
// errors that could be found in one go. The core's types come out with anchors
// resolved and count-ins unrolled.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/judge.h"
#include "core/plan/dwell.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

struct FileError {
  std::string file;
  int line = 0;  // from 1; 0 when the whole file is meant
  int column = 0;
  std::string message;  // "what was found; what is allowed"
};
// "gauge.yaml:12:5: unknown key 'colour'; did you mean 'colours'?"
std::string to_line(const FileError& e);

struct FileErrors : std::runtime_error {
  explicit FileErrors(std::vector<FileError> all);  // what(): every line
  std::vector<FileError> errors;
};

// Which channel of a watcher shows which colour of which lamp.
struct Wiring {
  struct Wire {
    std::string channel;
    std::string lamp;
    std::string colour;
    int line = 0;  // of the colour
    int column = 0;
    int lamp_line = 0;
    int lamp_column = 0;
  };
  std::vector<Wire> wires;  // file order
  bool active_high = true;
  std::string tach;  // recordings: the tach channel; else empty
  bool tach_rising = true;
  std::string file;  // for error messages
};

// A file that a scenario names, as it was read: what is played, kept and hashed.
struct NamedFile {
  std::string name;     // as the scenario says it
  std::string kept_as;  // what its copy in a run folder is called
  std::string bytes;
  std::vector<int> lines = {};  // of the scenario that name it, from 1
};

// What was taken from an rpm log, for who wants to see that it was read as it was meant.
struct LogFacts {
  std::string file;  // as the scenario says it
  std::size_t samples = 0;
  double samples_per_s = 0;     // by the median of the times between them
  std::string time_unit;        // "s", "ms"
  std::string unit_by;          // what says so: "the column's name"
  double from_s = 0, to_s = 0;  // by the log's own clock
  double lowest_rpm = 0, highest_rpm = 0;
};

// A step that sets the unit's supply, and where it stands.
struct SupplyPlace {
  double lowest_v = 0, highest_v = 0;
  int line = 0, column = 0;
};

struct ScenarioFile {
  std::string name;
  std::uint64_t seed = 0;
  std::vector<Step> steps;     // empty when there is a dwell
  std::optional<Dwell> dwell;  // certifies flicker in place of a profile
  Noise noise;
  JudgeWhat judge;
  std::vector<NamedFile> named;            // each once
  std::vector<LogFacts> logs;              // of each replay, in the order of the steps
  std::vector<SupplyPlace> supplied = {};  // of each step that sets the supply, a repeated one once
};

// One fault of the simulated unit; the catalogue is in bench/rigs/simulated/faults.h.
struct FaultSetting {
  std::string kind;                          // "boundary-moved"
  std::map<std::string, std::string> words;  // boundary: on-limit
  std::map<std::string, double> numbers;     // by_rpm: 5
};

struct Behaviour {
  // Nothing: the simulated unit's own default, chosen to suit its gauge.
  std::optional<double> response_ms;       // switching delay
  std::optional<double> averaging_pulses;  // period average over this many pulses ...
  std::optional<double> averaging_ms;      // ... or over this time; not both
  std::optional<double> update_hz;         // 0: at every pulse
  std::optional<double> resolution_rpm;    // 0: none
  std::optional<double> timer_hz;          // of its period measurement
  std::optional<double> signal_lost_ms;
  std::optional<double> boot_ms;  // dark after power-up; default: the gauge's power-up, else 0
  std::optional<double>
      lowest_v;  // fed less, it is off; default 6, or the gauge's lowest supply if that is less
  std::optional<double> holds_ms;  // a dip under lowest_v this short is ridden through; default 20
  std::optional<double> dim;       // 0..1, lit share of the PWM; 1: not dimmed
  std::optional<double> dim_hz;    // default 400
  std::vector<FaultSetting> faults;
};

// A board's clock against true time, as `calibrate` found it.
struct ClockSetting {
  double fast_ppm = 0;         // by how much it is fast: taken out of what is played and stamped
  double uncertainty_ppm = 0;  // standard, of what is left
  std::string calibrated;      // the date, 2031-03-14
};
// Beyond this it is no crystal's clock, and no correction is trusted.
inline constexpr double most_clock_ppm = 500;

// A signal generator that speaks SCPI, and how it is to be used. The defaults
// suit a slow one; a file says what the model needs.
struct ScpiSetting {
  std::string address;  // host, host:port, or a device
  unsigned baud = 9600;
  unsigned channel = 1;
  double amplitude_v = 0;  // peak to peak
  double offset_v = 0;
  // What amplitude and offset are meant into: ohms, 0 for a high impedance.
  // Nothing: left as it is.
  std::optional<double> load_ohm;
  Nanos answer = 20 * ns_per_ms;  // within which a change is read back
  Nanos settle = 20 * ns_per_ms;  // from then until the output is what it should be
  double within_rpm = 0.1;        // steps of a slow ramp are no finer
  double resolution_hz = 1e-3;    // a frequency that is read back may differ by as much
  double clock_ppm = 50;          // standard uncertainty of its time base
  bool reset = true;              // *RST before it is set up
};

// A power supply that speaks SCPI, and how it feeds the unit.
struct PowerSupplySetting {
  std::string address;  // host, host:port, or a device
  unsigned baud = 9600;
  unsigned channel = 1;
  double volts = 0;    // before the run, and until the scenario says otherwise
  double limit_a = 0;  // of its current
  std::optional<double> lowest_v = {}, highest_v = {};  // a scenario may ask for no less, and no more
  Nanos answer = 50 * ns_per_ms;                        // within which a setting is read back
  Nanos settle = 100 * ns_per_ms;                       // from then until its output is what it should be
  double within_v = 0.1;  // what it measures may differ by as much from what is set
  bool reset = true;      // *RST before it is set up
};

// A camera, or a clip of one.
struct CameraSettings {
  std::string from;           // device, video file or folder of pictures
  bool live = false;          // a device
  std::string regions;        // path
  std::string sync = "sync";  // the action that flashes the sync lamp
  double fps = 0;             // 0: as it says itself
  double exposure_ms = 0;     // 0: not known
  double readout_ms = -1;     // first row to last; below 0: not known
  double gain = -1;           // below 0: as it is
  // How much later than the middle of the first row's exposure a frame is
  // stamped, from..to; nothing: whatever can be.
  struct Delay {
    Nanos from = 0, to = 0;
  };
  std::optional<Delay> stamp_delay;
  // By how much the exponent of its tone curve may differ from sRGB's, as a share.
  double tone = 0.1;
  double least_level = 1;  // the unit dims its lamps to this share of full light
};

struct RigFile {
  struct SourcePart {
    std::string kind;  // "simulated", "board", "scpi"
    std::optional<ScpiSetting> scpi;
    // board:
    std::string port;                            // empty: the only one present
    std::map<std::string, std::string> buttons;  // an action and the output that performs it
    std::optional<ClockSetting> clock;           // nothing: never calibrated
    int line = 0, column = 0;
  } source;
  struct WatchPart {
    std::string kind;           // "simulated", "board", ...
    std::optional<Gauge> unit;  // simulated: what it really runs; nothing: the gauge under test
    std::string unit_path;
    Behaviour behaviour;
    std::optional<Wiring> wiring;  // board, gpio
    // gpio:
    std::string chip;            // label, name or device; empty: the one that has the lines
    std::string bias = "as-is";  // off, pull-up, pull-down
    CameraSettings camera;
    int line = 0, column = 0;
  } watch;
  // What cuts or sets the unit's supply, where the source is not all.
  struct SupplyPart {
    std::string kind;  // "board", "scpi"
    // board: its switch has cut the supply, or given it back, so long after the output.
    Nanos switch_from = 0, switch_to = 20 * ns_per_ms;
    std::optional<PowerSupplySetting> scpi;
    int line = 0, column = 0;
  };
  std::optional<SupplyPart> supply;  // nothing: the bench has no part in it
};

// `bytes`: gets the file as it was read, byte by byte, for who keeps it or hashes it.
Gauge load_gauge(const std::filesystem::path& file, std::string* bytes = nullptr);
ScenarioFile load_scenario(const std::filesystem::path& file, std::string* bytes = nullptr);
// Of a run folder: the files that it names are the copies beside it, whatever their paths were.
ScenarioFile load_kept_scenario(const std::filesystem::path& file);
RigFile load_rig(const std::filesystem::path& file,
                 std::string* bytes = nullptr);  // loads `unit:` too, relative to the rig
Wiring load_wiring(const std::filesystem::path& file, std::string* bytes = nullptr);
Noise load_noise(const std::filesystem::path& file, std::string* bytes = nullptr);

// `check`: the file's kind as it says itself ("" if it cannot be found), and
// its errors. Never throws for a bad file.
struct CheckedFile {
  std::string file;
  std::string kind;
  std::vector<FileError> errors;
};
CheckedFile check_file(const std::filesystem::path& file);
// "gauge", "job" ...: the kind that a file gives itself, sound or not; "" where there is none.
std::string kind_of_file(const std::filesystem::path& file);

// The board's input that this channel of a wiring means, from 0: "in0" to "in7".
std::optional<unsigned> board_input(std::string_view channel);

// Wires resolved against a gauge: channel i of the watcher lights `channels`.
// Throws FileErrors for a lamp or colour that the gauge does not have.
struct ResolvedWire {
  std::string channel;
  Channels lights = 0;
};
std::vector<ResolvedWire> resolve(const Wiring& wiring, const Gauge& gauge);

}  // namespace tachproof
