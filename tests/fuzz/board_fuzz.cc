// Any messages from the board, in a run: it is played to and watched, or a RigError says why not. The input
// is messages, each its type, its length and so many bytes; here they get the sequence number and the
// checksum that a sound board gives them. Type 0: bytes as they are.
#include <deque>
#include <memory>
#include <stdexcept>
#include <vector>

#include "bench/rigs/board/board.h"
#include "tests/emulated_board/scripted_board.h"
#include "tests/fuzz/fuzz.h"

namespace {

using namespace tachproof;

constexpr std::size_t most_messages = 400;
constexpr Nanos longest_run = 2 * ns_per_s;

std::deque<ScriptedBoard::Bytes> messages_in(std::span<const std::uint8_t> bytes) {
  std::deque<ScriptedBoard::Bytes> messages;
  std::uint8_t sequence = 0;
  while (bytes.size() >= 2 && messages.size() < most_messages) {
    const std::uint8_t type = bytes[0];
    const std::size_t length = std::min<std::size_t>({bytes[1], link_max_payload, bytes.size() - 2});
    const std::span<const std::uint8_t> payload = bytes.subspan(2, length);
    if (type == link_hello) sequence = 0;
    messages.push_back(type == 0 ? ScriptedBoard::Bytes(payload.begin(), payload.end())
                                 : encode({type, sequence++, {payload.begin(), payload.end()}}));
    bytes = bytes.subspan(2 + length);
  }
  return messages;
}

void play(Rig& rig) {
  rig.source->begin();
  rig.watcher->begin();
  std::vector<LampEvent> events;
  std::vector<Nanos> pulses;
  for (Nanos from = 0; from < longest_run; from += 100 * ns_per_ms) {
    pulses.clear();
    for (Nanos at = from + ns_per_ms; at < from + 100 * ns_per_ms; at += 10 * ns_per_ms) pulses.push_back(at);
    rig.source->play({pulses, from + 100 * ns_per_ms});
    const Seen seen = rig.watcher->collect(from, events);
    fuzz::require(seen.until == from && (seen.lost == 0 || !seen.lost_why.empty()));
  }
  for (const LampEvent& event : events) fuzz::require(event.at >= 0 && event.lit <= 3);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  PseudoTerminal terminal;
  BoardSettings settings;
  settings.port = terminal.path();
  settings.wires = {{"in0", 1}, {"in3", 2}};
  try {
    Rig rig = board_rig(settings, std::make_unique<ScriptedBoard>(terminal, messages_in({data, size})));
    try {
      play(rig);
    } catch (const RigError& e) {
      fuzz::require_fit_for_a_line(e.what());
    }
    rig.source->end();
    rig.watcher->end();
  } catch (const RigError& e) {
    fuzz::require_fit_for_a_line(e.what());
  } catch (const std::invalid_argument& e) {
    fuzz::require_fit_for_a_line(e.what());
  }
  return 0;
}
