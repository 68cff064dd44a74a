#include "bench/rigs/board/board_train.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cstdlib>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr LinkTicks shortest = 88;  // 44 us, the README's

struct Played {
  std::vector<LinkTicks> edges;
  std::vector<std::pair<LinkTicks, unsigned>> outputs;
  LinkTicks end = 0;
  bool all_long_enough = true;
};

// What the board makes of the entries, by the rules of its README.
Played play(const std::vector<std::uint16_t>& entries) {
  Played out;
  for (std::uint16_t entry : entries) {
    const unsigned ticks = entry & 0x7fff;
    if (ticks >= 0x10 && ticks <= 0x17 && entry < 0x8000) {
      out.outputs.emplace_back(out.end, ticks - 0x10);
      continue;
    }
    out.all_long_enough = out.all_long_enough && ticks >= shortest;
    out.end += ticks;
    if (entry < 0x8000) out.edges.push_back(out.end);
  }
  return out;
}

std::vector<std::uint16_t> encode_in_blocks(TrainEncoder& encoder, const std::vector<Nanos>& pulses,
                                            Nanos block, Nanos until) {
  std::vector<std::uint16_t> entries;
  auto at = pulses.begin();
  for (Nanos played = 0; played < until;) {
    played = std::min(played + block, until);
    const auto end = std::upper_bound(at, pulses.end(), played);
    encoder.block({at, end}, played, entries);
    at = end;
  }
  return entries;
}

std::vector<Nanos> any_pulses() {
  const auto count = *rc::gen::inRange<std::size_t>(1, 60);
  std::vector<Nanos> pulses;
  Nanos at = 0;
  for (std::size_t i = 0; i < count; ++i) {
    const Nanos longest = *rc::gen::element<Nanos>(60'000, 1'000'000, 100'000'000);
    at += *rc::gen::inRange<Nanos>(44'000, longest);
    pulses.push_back(at);
  }
  return pulses;
}

RC_GTEST_PROP(TrainEncoder, EveryEdgeIsAtItsNearestTickHoweverTheTrainIsCut, ()) {
  const std::vector<Nanos> pulses = any_pulses();
  const Nanos block = *rc::gen::inRange<Nanos>(100'000, 300'000'000);
  TrainEncoder encoder;
  const Played played = play(encode_in_blocks(encoder, pulses, block, pulses.back() + ns_per_ms));
  RC_ASSERT(played.all_long_enough);
  RC_ASSERT(played.edges.size() == pulses.size());
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    // A gap of just the shortest interval may cost one tick more.
    RC_ASSERT(std::abs(static_cast<Nanos>(played.edges[i]) * 500 - pulses[i]) <= 750);
  }
  RC_ASSERT(played.end == encoder.end());
}

TEST(TrainEncoder, RoundingDoesNotAddUp) {
  // 333.333 us, a million times: each edge to the nearest half microsecond.
  TrainEncoder encoder;
  std::vector<Nanos> pulses;
  for (Nanos i = 1; i <= 1'000'000; ++i) pulses.push_back(i * 1'000'000 / 3);
  std::vector<std::uint16_t> entries;
  encoder.block(pulses, pulses.back(), entries);
  EXPECT_EQ(play(entries).end, 666'666'667u);  // 333.333333333 s
}

TEST(TrainEncoder, CoversSilenceUpToJustBeforeTheNextPulseMayCome) {
  TrainEncoder encoder;
  std::vector<std::uint16_t> entries;
  encoder.block({}, 10 * ns_per_s, entries);
  const Played played = play(entries);
  EXPECT_TRUE(played.edges.empty());
  EXPECT_EQ(played.end, 20'000'000u - shortest);
  entries.clear();
  const std::vector<Nanos> pulse{10 * ns_per_s + 1};
  encoder.block(pulse, 11 * ns_per_s, entries);
  EXPECT_EQ(entries.front(), shortest);
}

RC_GTEST_PROP(TrainEncoder, OutputsMoveNoEdgeAndComeWithinTwoShortestIntervals, ()) {
  const std::vector<Nanos> pulses = any_pulses();
  const Nanos until = pulses.back() + ns_per_ms;
  std::vector<Nanos> presses =
      *rc::gen::container<std::vector<Nanos>>(3, rc::gen::inRange<Nanos>(0, pulses.back()));
  std::sort(presses.begin(), presses.end());
  TrainEncoder plain, pressed;
  for (unsigned i = 0; i < presses.size(); ++i) pressed.outputs(presses[i], i + 1);
  const Played without = play(encode_in_blocks(plain, pulses, 20 * ns_per_ms, until));
  const Played with = play(encode_in_blocks(pressed, pulses, 20 * ns_per_ms, until));
  RC_ASSERT(with.edges == without.edges);
  RC_ASSERT(with.all_long_enough);
  std::size_t seen = 0;
  for (std::size_t i = 0; i < presses.size(); ++i) {
    if (seen == with.outputs.size() || with.outputs[seen].second != i + 1) {
      // There was no room for it before the next.
      RC_ASSERT(i + 1 < presses.size());
      RC_ASSERT(presses[i + 1] - presses[i] <= 176'000);
      continue;
    }
    const Nanos early = presses[i] - static_cast<Nanos>(with.outputs[seen++].first) * 500;
    RC_ASSERT(early >= -88'000);
    RC_ASSERT(early <= 88'000);
  }
  RC_ASSERT(seen == with.outputs.size());
}

// Where a press ends as the next begins, the board gets both in one.
TEST(TrainEncoder, SettingsOfTheOutputsAtOneInstantAreOneEntry) {
  TrainEncoder encoder;
  for (const unsigned outputs : {5u, 4u, 6u}) encoder.outputs(ns_per_ms, outputs);
  std::vector<std::uint16_t> entries;
  encoder.block({}, 5 * ns_per_ms, entries);
  EXPECT_THAT(play(entries).outputs, testing::ElementsAre(std::pair(LinkTicks{2000}, 6u)));
}

TEST(TrainEncoder, RefusesPulsesThatTheBoardCannotPlay) {
  TrainEncoder encoder;
  std::vector<std::uint16_t> entries;
  const std::vector<Nanos> pulses{ns_per_ms, ns_per_ms + 43 * ns_per_us};
  try {
    encoder.block(pulses, ns_per_s, entries);
    FAIL() << "taken";
  } catch (const RigError& e) {
    EXPECT_STREQ(e.what(),
                 "playing the train on the board: two pulses at 0.001043 s are 43 us apart; the board needs "
                 "at least 44 us");
  }
}

const std::vector<std::uint16_t> some_entries{1000, 0x8000 | 30'000, 2000, 0x11, 500};

TEST(TrainLedger, AgreesWithABoardThatTakesWhatWasSent) {
  TrainLedger ledger;
  ledger.sent(some_entries);
  EXPECT_EQ(ledger.outstanding(), 5u);
  EXPECT_TRUE(ledger.taken({2, 31'000}));
  EXPECT_TRUE(ledger.edges_agree(1));
  EXPECT_FALSE(ledger.edges_agree(0));  // the wait was taken after that edge
  EXPECT_TRUE(ledger.taken({5, 33'500}));
  EXPECT_TRUE(ledger.edges_agree(3));
  EXPECT_TRUE(ledger.edges_agree(2));  // the last is under way
  EXPECT_FALSE(ledger.edges_agree(1));
  EXPECT_EQ(ledger.outstanding(), 0u);
}

TEST(TrainLedger, NoticesAnEntryThatChangedOnTheWay) {
  TrainLedger ledger;
  ledger.sent(some_entries);
  EXPECT_FALSE(ledger.taken({2, 31'001}));
}

TEST(TrainLedger, NoticesEntriesThatWereNeverSent) {
  TrainLedger ledger;
  ledger.sent(some_entries);
  EXPECT_FALSE(ledger.taken({6, 33'500}));
}

TEST(TrainLedger, CountsOnAcrossTheWrapOfTheReports) {
  TrainLedger ledger;
  std::uint32_t ticks = 0;
  for (std::uint32_t i = 1; i <= 200'000; ++i) {
    const std::vector<std::uint16_t> entry{static_cast<std::uint16_t>(100 + i % 1000)};
    ticks += entry.front();
    ledger.sent(entry);
    ASSERT_TRUE(ledger.taken({static_cast<std::uint16_t>(i), static_cast<std::uint16_t>(ticks)}));
    ASSERT_TRUE(ledger.edges_agree(static_cast<std::uint16_t>(i)));
  }
}

}  // namespace
}  // namespace tachproof
