// Any bytes as SHA256SUMS: a sentence, or names of one folder that are written as they were read.
#include <stdexcept>

#include "bench/files/own_files.h"
#include "bench/record/checksums.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  const std::string_view text = fuzz::text_of(data, size);
  try {
    const std::vector<FileSum> sums = parse_checksums(text);
    for (const FileSum& sum : sums) fuzz::require(is_plain_name(sum.file) && sum.sha256.size() == 64);
    const std::string written = checksums_text(sums);
    fuzz::require(written == text || written == std::string(text) + "\n");
  } catch (const std::runtime_error& e) {
    fuzz::require_fit_for_a_line(e.what());
  }
  return 0;
}
