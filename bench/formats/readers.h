// Behind open_recording: the two kinds of reader, with every input that a test
// may want to set.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "bench/formats/line_buffer.h"
#include "bench/formats/recording.h"

namespace tachproof {

// `file` is only a name, for messages. `buffer` is the size that reading
// starts with; it grows to hold the longest line.
std::unique_ptr<RecordingReader> open_recording(std::unique_ptr<ByteSource> bytes, const std::string& file,
                                                const std::vector<std::string>& wanted,
                                                std::size_t buffer = default_read_buffer);

std::unique_ptr<RecordingReader> open_vcd(LineBuffer lines, const std::vector<std::string>& wanted);

// `head`: the file's first bytes once more, to judge the time stamps by.
std::unique_ptr<RecordingReader> open_csv(LineBuffer lines, const std::vector<std::string>& wanted,
                                          std::string_view head);

}  // namespace tachproof
