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

void parse_all(std::span<const std::uint8_t> payload) {
  parse_hello(payload);
  parse_ticks(payload);
  parse_credit(payload);
  parse_status(payload);
  if (const std::optional<LinkLamps> lamps = parse_lamps(payload))
    for (std::size_t i = 1; i < lamps->stamps.size(); ++i)
      fuzz::require(lamps->stamps[i].at >= lamps->stamps[i - 1].at);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::span<const std::uint8_t> bytes(data, size);
  const std::vector<LinkFrame> frames = frames_in(bytes, size + 1);
  fuzz::require(frames == frames_in(bytes, 1 + size % 7));
  for (const LinkFrame& frame : frames) {
    const std::vector<LinkFrame> again = frames_in(encode(frame), 1000);
    fuzz::require(again.size() == 1 && again[0] == frame);
    parse_all(frame.payload);
  }
  // As the payload of a frame that a sound board has sent: the checksum keeps most inputs from getting here.
  const std::span<const std::uint8_t> payload = bytes.first(std::min<std::size_t>(size, link_max_payload));
  const LinkFrame sent{link_lamps, 7, {payload.begin(), payload.end()}};
  fuzz::require(frames_in(encode(sent), 3) == std::vector<LinkFrame>{sent});
  parse_all(payload);
  return 0;
}
