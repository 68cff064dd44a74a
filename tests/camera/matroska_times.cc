#include "tests/camera/matroska_times.h"

#include <bit>
#include <cstdint>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>

namespace tachproof::test {
namespace {

constexpr std::uint32_t segment = 0x18538067, cluster = 0x1F43B675, timestamp = 0xE7, simple_block = 0xA3,
                        block_group = 0xA0, block = 0xA1;

class Matroska {
 public:
  Matroska(std::string& bytes, Nanos from, Nanos by) : bytes_(bytes), from_(from), by_(by) {}

  void walk(std::size_t at, std::size_t end) {
    while (at < end) {
      const auto id = static_cast<std::uint32_t>(number(at, true));
      const std::uint64_t size = number(at, false);
      if (size > end - at) throw std::runtime_error("an element ends behind its file");
      if (id == segment || id == cluster || id == block_group)
        walk(at, at + size);
      else if (id == timestamp)
        cluster_ms_ = big_endian(at, size);
      else if (id == simple_block || id == block)
        delay(at + 1);  // behind the track's number
      at += size;
    }
  }
  int blocks() const { return blocks_; }

 private:
  std::uint8_t byte(std::size_t at) const { return static_cast<std::uint8_t>(bytes_.at(at)); }
  std::uint64_t big_endian(std::size_t at, std::uint64_t size) const {
    std::uint64_t value = 0;
    for (std::uint64_t i = 0; i < size; ++i) value = value << 8 | byte(at + i);
    return value;
  }
  // EBML's (RFC 8794): as many leading zeros as bytes follow; an identifier keeps its marker.
  std::uint64_t number(std::size_t& at, bool marker) {
    const auto more = static_cast<unsigned>(std::countl_zero(byte(at)));
    if (more > 7) throw std::runtime_error("no Matroska file");
    std::uint64_t value = big_endian(at, more + 1);
    if (!marker) value &= (std::uint64_t{1} << 7 * (more + 1)) - 1;
    at += more + 1;
    return value;
  }
  void delay(std::size_t at) {
    ++blocks_;
    const auto within = static_cast<std::int16_t>(big_endian(at, 2));
    if ((static_cast<Nanos>(cluster_ms_) + within) * ns_per_ms < from_) return;
    const auto later = static_cast<std::uint16_t>(within + by_ / ns_per_ms);
    bytes_.at(at) = static_cast<char>(later >> 8);
    bytes_.at(at + 1) = static_cast<char>(later & 0xff);
  }

  std::string& bytes_;
  Nanos from_, by_;
  std::uint64_t cluster_ms_ = 0;
  int blocks_ = 0;
};

}  // namespace

void delay_matroska(const std::filesystem::path& file, Nanos from, Nanos by) {
  std::string bytes;
  {
    std::ifstream in(file, std::ios::binary);
    bytes.assign(std::istreambuf_iterator<char>(in), {});
  }
  Matroska matroska(bytes, from, by);
  matroska.walk(0, bytes.size());
  if (matroska.blocks() == 0) throw std::runtime_error("no Matroska file");
  std::ofstream(file, std::ios::binary) << bytes;
}

}  // namespace tachproof::test
