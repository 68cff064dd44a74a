// Any bytes from the board: the same frames however the bytes are cut up, and every frame that was
// found is encoded as it came.
#include <algorithm>
#include <vector>

#include "bench/rigs/board/board_link.h"
#include "tests/fuzz/fuzz.h"

namespace {

using namespace tachproof;

std::vector<LinkFrame> frames_in(std::span<const std::uint8_t> bytes, std::size_t piece) {
  LinkDecoder decoder;
  std::vector<LinkFrame> frames;
  while (!bytes.empty()) {
    std::span<const std::uint8_t> some = bytes.first(std::min(piece, bytes.size()));
    while (!some.empty()) {
      const LinkDecoder::Step step = decoder.take(some);
      fuzz::require(step.used > 0 && step.used <= some.size());
      if (step.frame) frames.push_back(*step.frame);
      some = some.subspan(step.used);
    }
    bytes = bytes.subspan(std::min(piece, bytes.size()));
  }
  return frames;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::span<const std::uint8_t> bytes(data, size);
  const std::vector<LinkFrame> frames = frames_in(bytes, size + 1);
  fuzz::require(frames == frames_in(bytes, 1 + size % 7));
  for (const LinkFrame& frame : frames) {
    const std::vector<LinkFrame> again = frames_in(encode(frame), 1000);
    fuzz::require(again.size() == 1 && again[0] == frame);
    parse_hello(frame.payload);
    parse_ticks(frame.payload);
    parse_credit(frame.payload);
    parse_lamps(frame.payload);
    parse_status(frame.payload);
  }
  parse_lamps(bytes);
  return 0;
}
