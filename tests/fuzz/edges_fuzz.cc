// Any bytes as a file of edge times, for noise and as a recording: a line that says what is wrong,
// or times that increase.
#include <cmath>
#include <variant>

#include "bench/files/replay.h"
#include "bench/formats/recording.h"
#include "bench/formats/tach_edges.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  const std::string_view text = fuzz::text_of(data, size);
  const Replay replay = replay_of(text);
  if (const std::string* trouble = std::get_if<std::string>(&replay))
    fuzz::require_fit_for_a_line(*trouble);
  else
    for (const double deviation : std::get<std::vector<double>>(replay))
      fuzz::require(std::isfinite(deviation));
  try {
    const TachEdges tach = read_tach_edges(fuzz::file_with(text, "edges.csv"), "tach", true);
    for (std::size_t i = 1; i < tach.edges.size(); ++i) fuzz::require(tach.edges[i] > tach.edges[i - 1]);
  } catch (const RecordingError& e) {
    fuzz::require_fit_for_a_line(e.what());
  }
  return 0;
}
