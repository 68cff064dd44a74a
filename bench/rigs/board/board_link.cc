#include "bench/rigs/board/board_link.h"

#include <algorithm>

namespace tachproof {
namespace {

std::uint16_t crc_of(std::span<const std::uint8_t> bytes) {
  std::uint16_t crc = link_crc_start;
  for (std::uint8_t byte : bytes) crc = link_crc_add(crc, byte);
  return crc;
}

// Consistent overhead byte stuffing (Cheshire and Baker, 1999). Frames are
// shorter than a full block of 254 bytes; the long block is kept all the same,
// so that the decoder is right about any input.
std::vector<std::uint8_t> stuff(std::span<const std::uint8_t> bytes) {
  std::vector<std::uint8_t> out{0};
  std::size_t code = 0;
  for (std::uint8_t byte : bytes) {
    if (byte != 0) out.push_back(byte);
    if (byte == 0 || out.size() - code == 0xff) {
      out[code] = static_cast<std::uint8_t>(out.size() - code);
      code = out.size();
      out.push_back(0);
    }
  }
  out[code] = static_cast<std::uint8_t>(out.size() - code);
  return out;
}

std::optional<std::vector<std::uint8_t>> unstuff(std::span<const std::uint8_t> bytes) {
  std::vector<std::uint8_t> out;
  while (!bytes.empty()) {
    const std::size_t code = bytes.front();
    if (code > bytes.size()) return std::nullopt;
    out.insert(out.end(), bytes.begin() + 1, bytes.begin() + static_cast<std::ptrdiff_t>(code));
    bytes = bytes.subspan(code);
    if (code != 0xff && !bytes.empty()) out.push_back(0);
  }
  return out;
}

std::optional<LinkFrame> frame_from(std::span<const std::uint8_t> encoded) {
  const auto bytes = unstuff(encoded);
  if (!bytes || bytes->size() < link_header + link_crc) return std::nullopt;
  if (crc_of(*bytes) != 0) return std::nullopt;
  const std::size_t length = bytes->size() - link_header - link_crc;
  if ((*bytes)[1] != length) return std::nullopt;
  LinkFrame frame{(*bytes)[0], (*bytes)[2], {}};
  frame.payload.assign(bytes->begin() + link_header, bytes->end() - link_crc);
  return frame;
}

// Little-endian numbers, one after another.
class Reader {
 public:
  explicit Reader(std::span<const std::uint8_t> bytes) : bytes_(bytes) {}

  template <typename Number>
  void operator()(Number& number, std::size_t size = sizeof(Number)) {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < size; ++i) value |= std::uint64_t{bytes_[i]} << (8 * i);
    bytes_ = bytes_.subspan(size);
    number = static_cast<Number>(value);
  }
  bool at_end() const { return bytes_.empty(); }

 private:
  std::span<const std::uint8_t> bytes_;
};

constexpr std::size_t ticks_size = 6;

void append16(std::vector<std::uint8_t>& out, std::uint16_t value) {
  out.push_back(static_cast<std::uint8_t>(value));
  out.push_back(static_cast<std::uint8_t>(value >> 8));
}

}  // namespace

std::vector<std::uint8_t> encode(const LinkFrame& frame) {
  std::vector<std::uint8_t> bytes{frame.type, static_cast<std::uint8_t>(frame.payload.size()),
                                  frame.sequence};
  bytes.insert(bytes.end(), frame.payload.begin(), frame.payload.end());
  const std::uint16_t crc = crc_of(bytes);
  bytes.push_back(static_cast<std::uint8_t>(crc >> 8));
  bytes.push_back(static_cast<std::uint8_t>(crc));
  std::vector<std::uint8_t> out = stuff(bytes);
  out.push_back(0);
  return out;
}

LinkDecoder::Step LinkDecoder::take(std::span<const std::uint8_t> bytes) {
  Step step;
  const auto end = std::find(bytes.begin(), bytes.end(), 0);
  // One byte more than a frame may have is enough to know that it is too long.
  const std::size_t room = link_max_on_wire - encoded_.size();
  const auto kept = std::min(end, bytes.begin() + static_cast<std::ptrdiff_t>(std::min(room, bytes.size())));
  encoded_.insert(encoded_.end(), bytes.begin(), kept);
  step.used = static_cast<std::size_t>(end - bytes.begin());
  if (end == bytes.end()) return step;
  ++step.used;
  if (encoded_.empty()) return step;
  if (encoded_.size() < link_max_on_wire) step.frame = frame_from(encoded_);
  step.damaged = !step.frame;
  encoded_.clear();
  return step;
}

std::optional<LinkHello> parse_hello(std::span<const std::uint8_t> payload) {
  if (payload.empty()) return std::nullopt;
  LinkHello hello;
  hello.protocol = payload.front();
  if (hello.protocol != link_protocol_version) return hello;
  if (payload.size() != link_hello_size) return std::nullopt;
  Reader read(payload.subspan(1));
  read(hello.firmware_major);
  read(hello.firmware_minor);
  read(hello.build_id);
  read(hello.clock_hz);
  read(hello.inputs);
  read(hello.outputs);
  read(hello.queue_entries);
  read(hello.min_ticks);
  read(hello.stamp_delay_ns);
  read(hello.stamp_spread_ns);
  return hello;
}

std::optional<LinkTicks> parse_ticks(std::span<const std::uint8_t> payload) {
  if (payload.size() != ticks_size) return std::nullopt;
  LinkTicks ticks = 0;
  Reader read(payload);
  read(ticks, ticks_size);
  return ticks;
}

std::optional<LinkCredit> parse_credit(std::span<const std::uint8_t> payload) {
  LinkCredit credit;
  if (payload.size() != link_credit_size) return std::nullopt;
  Reader read(payload);
  read(credit.entries_taken);
  read(credit.ticks_taken);
  return credit;
}

std::optional<LinkLamps> parse_lamps(std::span<const std::uint8_t> payload) {
  if (payload.size() < link_lamps_header + link_stamp_size) return std::nullopt;
  if ((payload.size() - link_lamps_header) % link_stamp_size != 0) return std::nullopt;
  LinkLamps lamps;
  Reader read(payload);
  LinkTicks extension = 0;
  read(extension, 2);
  read(lamps.lost);
  LinkTicks last = 0;
  while (!read.at_end()) {
    LinkStamp stamp;
    read(stamp.at, 4);
    read(stamp.inputs);
    // Stamps are in time order: a smaller one is from after a wrap.
    if (stamp.at < last) ++extension;
    last = stamp.at;
    stamp.at |= extension << 32;
    lamps.stamps.push_back(stamp);
  }
  return lamps;
}

std::optional<LinkStatus> parse_status(std::span<const std::uint8_t> payload) {
  if (payload.size() != link_status_size) return std::nullopt;
  LinkStatus status;
  Reader read(payload);
  read(status.state);
  read(status.flags);
  read(status.taken.entries_taken);
  read(status.taken.ticks_taken);
  read(status.edges);
  read(status.lost);
  read(status.seen_until, ticks_size);
  read(status.inputs);
  return status;
}

std::vector<std::uint8_t> ask_hello_payload() { return {link_protocol_version}; }

std::vector<std::uint8_t> arm_payload(std::uint16_t pulse_ticks, std::uint8_t wired_inputs) {
  std::vector<std::uint8_t> out;
  append16(out, pulse_ticks);
  out.push_back(wired_inputs);
  return out;
}

std::vector<std::uint8_t> train_payload(std::span<const std::uint16_t> entries) {
  std::vector<std::uint8_t> out;
  for (std::uint16_t entry : entries) append16(out, entry);
  return out;
}

void append_entries(std::uint64_t ticks, bool edge, std::vector<std::uint16_t>& out) {
  while (ticks > link_max_ticks) {
    // What is left must not be too short for an entry of its own.
    const std::uint64_t part = std::min<std::uint64_t>(link_max_ticks, ticks - link_min_ticks);
    out.push_back(static_cast<std::uint16_t>(link_entry_wait | part));
    ticks -= part;
  }
  out.push_back(static_cast<std::uint16_t>(edge ? ticks : link_entry_wait | ticks));
}

}  // namespace tachproof
