// Any bytes as a recording: a RecordingError or changes in time order, never a
// crash, and the same whatever the size of the read buffer.
#include "tests/bench/recording_support.h"
#include "tests/fuzz/fuzz.h"

namespace {

using tachproof::fuzz::require;

// Some channels that the file has, one of them twice.
std::vector<std::string> channels_of(const std::string& text) {
  try {
    const auto reader = tachproof::open_text(text, {});
    if (reader->channels().empty()) return {};
    return {reader->channels().front(), reader->channels().back(), reader->channels().front()};
  } catch (const tachproof::RecordingError&) {
    return {};
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string text(tachproof::fuzz::text_of(data, size));
  const std::vector<std::string> wanted = channels_of(text);
  const tachproof::Recorded whole = tachproof::read_text(text, wanted);
  const tachproof::Recorded parted = tachproof::read_text(text, wanted, 1 + size % 23, 5);
  require(whole.changes == parted.changes);
  require(whole.error == parted.error);
  require(whole.trouble == parted.trouble);
  require(whole.end == parted.end);
  tachproof::fuzz::require_fit_for_a_line(whole.error);
  tachproof::Nanos last = 0;
  for (const tachproof::ChannelChange& c : whole.changes) {
    require(c.at >= last && c.channel < wanted.size());
    last = c.at;
  }
  require(whole.end >= last);
  return 0;
}
