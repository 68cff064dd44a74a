// Any bytes as journal.jsonl and as timeline.csv: what can be read of them, within bounds.
#include "bench/record/folder_format.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  constexpr std::size_t most = 1000;
  const std::filesystem::path file = fuzz::file_with(fuzz::text_of(data, size), "journal.jsonl");
  const Journal journal = read_journal(file, most);
  fuzz::require(journal.rpm.size() <= most && journal.reaches.size() <= most);
  const std::size_t channels = size % (max_channels + 1);
  std::optional<Nanos> last;
  for (const LampEvent& event : read_timeline(file, channels, most).events) {
    fuzz::require((channels == max_channels || event.lit >> channels == 0) && !(last && event.at < *last));
    last = event.at;
  }
  return 0;
}
