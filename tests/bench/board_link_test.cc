#include "bench/rigs/board/board_link.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <numeric>
#include <string>

namespace tachproof {
namespace {

using Bytes = std::vector<std::uint8_t>;

struct Decoded {
  std::vector<LinkFrame> frames;
  int damaged = 0;
};

void feed(LinkDecoder& decoder, std::span<const std::uint8_t> bytes, Decoded& out) {
  while (!bytes.empty()) {
    const LinkDecoder::Step step = decoder.take(bytes);
    ASSERT_GT(step.used, 0u);
    bytes = bytes.subspan(step.used);
    if (step.frame) out.frames.push_back(*step.frame);
    if (step.damaged) ++out.damaged;
  }
}

Decoded decode(std::span<const std::uint8_t> bytes) {
  LinkDecoder decoder;
  Decoded out;
  feed(decoder, bytes, out);
  return out;
}

// One frame of each shape: empty, with zeros, without, as long as can be.
std::vector<LinkFrame> message() {
  std::vector<LinkFrame> frames{{link_query, 0, {}},
                                {link_arm, 1, arm_payload(2000, 0)},
                                {link_train, 2, {1, 2, 3, 4}},
                                {link_status, 3, Bytes(link_status_size, 0)},
                                {link_train, 4, Bytes(link_max_payload, 0xff)}};
  return frames;
}

Bytes on_wire(const std::vector<LinkFrame>& frames) {
  Bytes out;
  for (const LinkFrame& frame : frames) {
    const Bytes bytes = encode(frame);
    out.insert(out.end(), bytes.begin(), bytes.end());
  }
  return out;
}

// Nothing that was not sent, and nothing out of order.
bool is_part_of(const std::vector<LinkFrame>& got, const std::vector<LinkFrame>& sent) {
  auto at = sent.begin();
  for (const LinkFrame& frame : got) {
    at = std::find(at, sent.end(), frame);
    if (at == sent.end()) return false;
    ++at;
  }
  return true;
}

LinkFrame any_frame() {
  LinkFrame frame;
  frame.type = *rc::gen::arbitrary<std::uint8_t>();
  frame.sequence = *rc::gen::arbitrary<std::uint8_t>();
  const auto size = *rc::gen::inRange<std::size_t>(0, link_max_payload + 1);
  // Many zeros: they are what COBS is about.
  const auto byte = rc::gen::oneOf(rc::gen::just<std::uint8_t>(0), rc::gen::arbitrary<std::uint8_t>());
  frame.payload = *rc::gen::container<Bytes>(size, byte);
  return frame;
}

TEST(BoardLink, ChecksumIsCrc16CcittFalse) {
  // Catalogue of parametrised CRC algorithms (G. Cook): CRC-16/IBM-3740, alias
  // CRC-16/CCITT-FALSE, check = 0x29b1.
  const std::string digits = "123456789";
  std::uint16_t crc = link_crc_start;
  for (char digit : digits) crc = link_crc_add(crc, static_cast<std::uint8_t>(digit));
  EXPECT_EQ(crc, 0x29b1);
}

TEST(BoardLink, FrameLooksOnTheWireAsTheReadmeSays) {
  // The example in bench/firmware/README.md, its CRC worked out with Python's
  // binascii.crc_hqx(b"\x02\x03\x01\xd0\x07\x0f", 0xffff).
  EXPECT_EQ(encode({link_arm, 1, arm_payload(2000, 0x0f)}),
            (Bytes{0x09, 0x02, 0x03, 0x01, 0xd0, 0x07, 0x0f, 0x10, 0xda, 0x00}));
}

RC_GTEST_PROP(BoardLink, AnyFrameComesBackAsItWas, ()) {
  const LinkFrame frame = any_frame();
  const Bytes bytes = encode(frame);
  RC_ASSERT(bytes.size() <= link_max_on_wire);
  RC_ASSERT(std::count(bytes.begin(), bytes.end(), 0) == 1);
  const Decoded got = decode(bytes);
  RC_ASSERT(got.frames == std::vector<LinkFrame>{frame});
  RC_ASSERT(got.damaged == 0);
}

TEST(BoardLink, FramesComeOutWholeHoweverTheBytesAreSplit) {
  const std::vector<LinkFrame> sent = message();
  const Bytes bytes = on_wire(sent);
  for (std::size_t cut = 0; cut <= bytes.size(); ++cut) {
    LinkDecoder decoder;
    Decoded got;
    feed(decoder, std::span(bytes).first(cut), got);
    feed(decoder, std::span(bytes).subspan(cut), got);
    EXPECT_EQ(got.frames, sent) << "cut before byte " << cut;
    EXPECT_EQ(got.damaged, 0);
  }
}

TEST(BoardLink, EveryFlippedBitIsNoticedAndNoWrongFrameComesOut) {
  const std::vector<LinkFrame> sent = message();
  const Bytes bytes = on_wire(sent);
  for (std::size_t bit = 0; bit < 8 * bytes.size(); ++bit) {
    Bytes bad = bytes;
    bad[bit / 8] ^= static_cast<std::uint8_t>(1u << (bit % 8));
    const Decoded got = decode(bad);
    EXPECT_TRUE(is_part_of(got.frames, sent)) << "bit " << bit;
    EXPECT_LT(got.frames.size(), sent.size()) << "bit " << bit;
    EXPECT_GE(got.frames.size(), sent.size() - 2) << "bit " << bit;
  }
}

TEST(BoardLink, EveryDroppedByteIsNoticedAndNoWrongFrameComesOut) {
  const std::vector<LinkFrame> sent = message();
  const Bytes bytes = on_wire(sent);
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    Bytes bad = bytes;
    bad.erase(bad.begin() + static_cast<std::ptrdiff_t>(at));
    const Decoded got = decode(bad);
    EXPECT_TRUE(is_part_of(got.frames, sent)) << "byte " << at;
    EXPECT_LT(got.frames.size(), sent.size()) << "byte " << at;
  }
}

TEST(BoardLink, EveryDoubledByteLetsNoWrongFrameOut) {
  const std::vector<LinkFrame> sent = message();
  const Bytes bytes = on_wire(sent);
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    Bytes bad = bytes;
    bad.insert(bad.begin() + static_cast<std::ptrdiff_t>(at), bytes[at]);
    const Decoded got = decode(bad);
    // A second end of frame is an empty frame, which is no harm.
    const std::size_t expected = bytes[at] == 0 ? sent.size() : sent.size() - 1;
    EXPECT_TRUE(is_part_of(got.frames, sent)) << "byte " << at;
    EXPECT_EQ(got.frames.size(), expected) << "byte " << at;
    EXPECT_EQ(got.damaged, bytes[at] == 0 ? 0 : 1) << "byte " << at;
  }
}

RC_GTEST_PROP(BoardLink, NoiseCostsNoMoreThanTheFrameAfterIt, (const Bytes& noise)) {
  const std::vector<LinkFrame> sent = message();
  const Bytes bytes = on_wire(sent);
  LinkDecoder decoder;
  Decoded got;
  feed(decoder, noise, got);
  got.frames.clear();
  feed(decoder, bytes, got);
  RC_ASSERT(got.frames.size() >= sent.size() - 1);
  RC_ASSERT(is_part_of(got.frames, sent));
}

TEST(BoardLink, AnOverlongFrameIsDamageAndTheNextOneIsRead) {
  Bytes bytes(100'000, 0x55);
  bytes.push_back(0);
  const LinkFrame query{link_query, 7, {}};
  const Bytes good = encode(query);
  bytes.insert(bytes.end(), good.begin(), good.end());
  const Decoded got = decode(bytes);
  EXPECT_EQ(got.damaged, 1);
  EXPECT_EQ(got.frames, std::vector<LinkFrame>{query});
}

TEST(BoardLink, StampsOfOneFrameGoOnAcrossTheClocksWrap) {
  const Bytes payload{0x02, 0x00, 0x05, 0x00,         // extension 2, lost 5
                      0xfe, 0xff, 0xff, 0xff, 0x01,   // just before the wrap
                      0x10, 0x00, 0x00, 0x00, 0x03};  // just after
  const auto lamps = parse_lamps(payload);
  ASSERT_TRUE(lamps);
  EXPECT_EQ(lamps->lost, 5);
  EXPECT_THAT(lamps->stamps, testing::ElementsAre(LinkStamp{0x2fffffffe, 1}, LinkStamp{0x300000010, 3}));
}

TEST(BoardLink, PayloadsOfTheWrongSizeAreRefused) {
  for (std::size_t size = 0; size <= link_max_payload; ++size) {
    const Bytes payload(size, link_protocol_version);
    EXPECT_EQ(parse_hello(payload).has_value(), size == link_hello_size) << size;
    EXPECT_EQ(parse_status(payload).has_value(), size == link_status_size) << size;
    EXPECT_EQ(parse_ticks(payload).has_value(), size == 6) << size;
    EXPECT_EQ(parse_credit(payload).has_value(), size == link_credit_size) << size;
    EXPECT_EQ(parse_lamps(payload).has_value(), size >= 9 && (size - 4) % 5 == 0) << size;
  }
}

TEST(BoardLink, AHelloOfAnotherVersionStillSaysWhichOne) {
  const Bytes later{link_protocol_version + 1, 9, 9, 9};
  const auto hello = parse_hello(later);
  ASSERT_TRUE(hello);
  EXPECT_EQ(hello->protocol, link_protocol_version + 1);
  EXPECT_EQ(hello->queue_entries, 0);
}

RC_GTEST_PROP(BoardLink, EntriesAddUpToTheIntervalAndNoneIsTooShort, ()) {
  const auto ticks = *rc::gen::inRange<std::uint64_t>(link_min_ticks, 2'000'000);
  const bool edge = *rc::gen::arbitrary<bool>();
  std::vector<std::uint16_t> entries;
  append_entries(ticks, edge, entries);
  std::uint64_t sum = 0;
  for (std::uint16_t entry : entries) {
    RC_ASSERT((entry & link_max_ticks) >= link_min_ticks);
    sum += entry & link_max_ticks;
  }
  RC_ASSERT(sum == ticks);
  for (std::size_t i = 0; i + 1 < entries.size(); ++i) RC_ASSERT(entries[i] & link_entry_wait);
  RC_ASSERT(((entries.back() & link_entry_wait) == 0) == edge);
}

}  // namespace
}  // namespace tachproof
