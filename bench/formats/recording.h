// Captures made by a logic analyser or a simulator, as streams of changes.
//
// A reader gives, in time order and in constant memory, the state of the
// channels asked for. It says how the file ended: a capture that stops in the
// middle of a record is `truncated`, and nobody may take it for complete.
#pragma once

#include <filesystem>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/base/foreign_text.h"
#include "core/base/time.h"

namespace tachproof {

// A line for the user: "capture.vcd:17: timescale '3 ns'; 1, 10 or 100 of ...".
// A file may have any bytes: what it says is shown as core/base/foreign_text.h does.
struct RecordingError : std::runtime_error {
  explicit RecordingError(const std::string& line) : std::runtime_error(shown(line)) {}
};

enum class Level : std::uint8_t { low, high, unknown };  // unknown: x, z, $dumpoff, not yet given

struct ChannelChange {
  Nanos at = 0;               // from the capture's first time
  std::uint32_t channel = 0;  // index into the wanted list
  Level level = Level::unknown;
};

class RecordingReader {
 public:
  virtual ~RecordingReader() = default;
  // Every channel that the file has, by the name a wiring may use: for VCD the
  // full path "top.D0" and, where it is unique, the last part "D0".
  virtual const std::vector<std::string>& channels() const = 0;
  virtual Nanos resolution() const = 0;  // timescale, or the sample spacing
  // The next changes, at most out.size(); 0 at the end. Throws RecordingError.
  virtual std::size_t next(std::span<ChannelChange> out) = 0;
  virtual bool truncated() const = 0;       // after the end: it stopped in mid-record
  virtual std::string trouble() const = 0;  // after the end: a sentence when truncated
  virtual Nanos end() const = 0;            // after the end: the last time in the file
};

// By content: VCD or CSV. `wanted` are channel names; one that is missing is a
// RecordingError which lists what there is. At the first time every wanted
// channel gets a change with its initial level.
std::unique_ptr<RecordingReader> open_recording(const std::filesystem::path& file,
                                                const std::vector<std::string>& wanted);

// ---- writing ---------------------------------------------------------------

// capture.vcd as other programs like it: timescale 1 us, channel names without
// blanks, $dumpvars, times never backwards, a closing time, a final newline.
class VcdWriter {
 public:
  // Throws std::system_error when the file cannot be written.
  VcdWriter(const std::filesystem::path& file, const std::vector<std::string>& channels,
            Nanos timescale = ns_per_us, const std::string& scope = "tachproof");
  ~VcdWriter();
  // Times in order. A change to the same level writes nothing.
  void change(Nanos at, std::uint32_t channel, bool high);
  void flush();           // everything so far is with the kernel
  void close(Nanos end);  // the closing time; reports any write error

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof
