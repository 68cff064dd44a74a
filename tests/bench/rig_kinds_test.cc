// The kinds of source and watcher: one list, which the reader of rig files, the factory and the rest of the
// program ask.
#include <gmock/gmock.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "bench/files/readers.h"
#include "bench/files/rig_writer.h"
#include "bench/rigs/factory.h"
#include "tests/bench/error_of.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::EndsWith;
using testing::IsEmpty;
using testing::Not;
using testing::StartsWith;

// What `check` says of a rig file with these two parts.
std::vector<std::string> complaints(const std::string& source, const std::string& watch) {
  std::vector<std::string> all;
  for (const FileError& e :
       check_text("rig.yaml", "format: 1\nkind: rig\nsource: " + source + "\nwatch: " + watch + "\n").errors)
    all.push_back(to_line(e));
  return all;
}

std::vector<std::string> words_after(const std::string& sentence, const std::string& start) {
  std::vector<std::string> words;
  const std::size_t found = sentence.find(start);
  if (found == sentence.npos) return words;
  for (std::size_t at = found + start.size(); at < sentence.size();) {
    const std::size_t end = std::min(sentence.find(", ", at), sentence.size());
    words.push_back(sentence.substr(at, end - at));
    at = end + 2;
  }
  return words;
}

RigFile rig_of(const std::string& source, const std::string& watch) {
  RigFile rig;
  rig.source.kind = source;
  rig.watch.kind = watch;
  rig.watch.line = 4;
  rig.watch.column = 8;
  return rig;
}

std::vector<std::filesystem::path> examples() {
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(source_path("fixtures/rigs")))
    if (entry.path().extension() == ".yaml") files.push_back(entry.path());
  return files;
}

TEST(RigKinds, AKindThatTheReaderDoesNotKnowGetsTheSentenceWithWhatIsAllowed) {
  EXPECT_THAT(complaints("{kind: organ}", "{kind: simulated, unit: gauge-under-test}"),
              ElementsAre("rig.yaml:3:16: 'kind' is 'organ'; allowed: simulated, board, scpi"));
  EXPECT_THAT(complaints("{kind: simulated}", "{kind: eyes}"),
              ElementsAre("rig.yaml:4:15: 'kind' is 'eyes'; allowed: simulated, board, gpio, camera"));
}

TEST(RigKinds, EveryKindThatTheReaderTakesIsKnownToTheFactory) {
  const std::vector<std::string> sources =
      words_after(complaints("{kind: organ}", "{kind: eyes}").at(0), "allowed: ");
  const std::vector<std::string> watches =
      words_after(complaints("{kind: organ}", "{kind: eyes}").at(1), "allowed: ");
  ASSERT_THAT(sources, Not(IsEmpty()));
  ASSERT_THAT(watches, Not(IsEmpty()));
  for (const std::string& word : sources) {
    EXPECT_EQ(kind_of(rig_of(word, "").source).word(), word);
    EXPECT_THAT(kind_of(rig_of(word, "").source).about(), Not(IsEmpty())) << word;
  }
  for (const std::string& word : watches) {
    EXPECT_EQ(kind_of(rig_of("", word).watch).word(), word);
    EXPECT_THAT(kind_of(rig_of("", word).watch).about(), Not(IsEmpty())) << word;
  }
  EXPECT_EQ(sources.size(), source_kinds().size());
  EXPECT_EQ(watches.size(), watch_kinds().size());
}

TEST(RigKinds, EveryPairIsTakenOrRefusedWithASentenceThatSaysWhatGoesInstead) {
  const std::set<std::pair<std::string, std::string>> can{
      {"simulated", "simulated"}, {"simulated", "camera"}, {"board", "board"}, {"board", "camera"},
      {"scpi", "simulated"},      {"scpi", "gpio"},        {"scpi", "camera"},
  };
  for (const SourceKind* source : source_kinds())
    for (const WatchKind* watch : watch_kinds()) {
      const std::string said =
          error_of([&] { refuse_mixed_kinds(rig_of(source->word(), watch->word()), "rig.yaml"); });
      const std::string pair = "a '" + watch->word() + "' watch beside a '" + source->word() + "' source";
      if (can.contains({source->word(), watch->word()})) {
        EXPECT_EQ(said, "none") << pair;
      } else {
        EXPECT_THAT(said, StartsWith("rig.yaml:4:8: " + pair));
        EXPECT_THAT(said, Not(EndsWith(pair)));
      }
    }
}

TEST(RigKinds, TheSentencesOfPairsThatCannotWork) {
  const auto said = [](const std::string& source, const std::string& watch) {
    return error_of([&] { refuse_mixed_kinds(rig_of(source, watch), "rig.yaml"); });
  };
  EXPECT_EQ(said("board", "gpio"),
            "rig.yaml:4:8: a 'gpio' watch beside a 'board' source; a signal generator (scpi) is watched by "
            "gpio or a camera, or plays to a simulated unit");
  EXPECT_EQ(said("scpi", "board"),
            "rig.yaml:4:8: a 'board' watch beside a 'scpi' source; a signal generator (scpi) is watched by "
            "gpio or a camera, or plays to a simulated unit");
  EXPECT_EQ(said("simulated", "gpio"),
            "rig.yaml:4:8: a 'gpio' watch beside a 'simulated' source; a signal generator (scpi) is watched "
            "by gpio or a camera, or plays to a simulated unit");
}

TEST(RigKinds, WhatNeedsNoDeviceBesideASourceGoesBesideIt) {
  for (const SourceKind* source : source_kinds()) {
    const RigFile alone = unwatched(rig_of(source->word(), "camera"));
    EXPECT_EQ(alone.watch.kind, source->own_watch());
    EXPECT_EQ(alone.watch.line, 4);
    EXPECT_EQ(error_of([&] { refuse_mixed_kinds(alone, "rig.yaml"); }), "none") << source->word();
  }
}

TEST(RigKinds, OfRecordedWordsOnlyTheSimulatedOneIsSoftware) {
  for (const char* word : {"board", "scpi", "gpio", "camera", "recording", "", "of-a-later-version"}) {
    EXPECT_FALSE(source_is_software(word)) << word;
    EXPECT_FALSE(watches_software(word)) << word;
  }
  EXPECT_TRUE(source_is_software("simulated"));
  EXPECT_TRUE(watches_software("simulated"));
}

TEST(RigKinds, ARigOfAClipIsOneThatTheReaderTakes) {
  CameraSettings camera;
  camera.from = "lap.avi";
  camera.regions = "regions.yaml";
  const ScratchFolder scratch;
  const RigFile read = load_rig(scratch.write("rig.yaml", rig_yaml(rig_of_clip(camera), "A clip.")));
  ASSERT_NE(filmed_by(read), nullptr);
  EXPECT_FALSE(filmed_by(read)->live);
  EXPECT_EQ(error_of([&] { refuse_mixed_kinds(read, "rig.yaml"); }), "none");
  EXPECT_TRUE(can_press(read, "sync"));
}

TEST(RigKinds, EachSourceSaysWhetherItHandlesTheUnitsSupply) {
  for (const SourceKind* kind : source_kinds()) {
    RigFile rig;
    rig.source.kind = kind->word();
    EXPECT_EQ(can_power(rig), kind->is_software()) << kind->word();
    EXPECT_EQ(can_supply(rig), kind->is_software()) << kind->word();
  }
}

TEST(RigKinds, ASupplyIsCutByWhateverTheRigHasForIt) {
  for (const SupplyKind* kind : supply_kinds())
    for (const SourceKind* source : source_kinds()) {
      RigFile rig;
      rig.source.kind = source->word();
      rig.watch.kind = source->own_watch();
      rig.supply = RigFile::SupplyPart{};
      rig.supply->kind = kind->word();
      EXPECT_TRUE(can_power(rig)) << kind->word();
      EXPECT_EQ(can_supply(rig), kind->can_supply()) << kind->word();
      const std::string refused = error_of([&] { refuse_mixed_kinds(rig, "rig.yaml"); });
      if (kind->goes_beside(source->clock())) {
        EXPECT_EQ(refused, "none") << kind->word() << source->word();
      } else {
        EXPECT_EQ(refused, "rig.yaml: a '" + kind->word() + "' supply beside a '" + source->word() +
                               "' source; " + kind->needs());
      }
    }
}

TEST(RigKinds, EachHasAnExampleThatReadsBackAndAPageBesideItsCode) {
  std::set<std::string> sources, watches, supplies;
  const ScratchFolder scratch;
  for (const std::filesystem::path& file : examples()) {
    const RigFile rig = load_rig(file);
    const RigFile again = load_rig(scratch.write("again.yaml", rig_yaml(rig, "Again.")));
    EXPECT_EQ(again.source.kind, rig.source.kind) << file;
    EXPECT_EQ(again.watch.kind, rig.watch.kind) << file;
    EXPECT_EQ(again.watch.wiring.has_value(), rig.watch.wiring.has_value()) << file;
    EXPECT_EQ(again.supply.has_value(), rig.supply.has_value()) << file;
    if (rig.supply) {
      EXPECT_EQ(again.supply->kind, rig.supply->kind) << file;
      EXPECT_EQ(again.supply->switch_to, rig.supply->switch_to) << file;
      supplies.insert(rig.supply->kind);
    }
    sources.insert(rig.source.kind);
    watches.insert(rig.watch.kind);
  }
  for (const SourceKind* kind : source_kinds()) {
    EXPECT_TRUE(sources.contains(kind->word())) << kind->word();
    EXPECT_TRUE(std::filesystem::exists(source_path("bench/rigs/" + kind->word() + "/README.md")));
  }
  for (const SupplyKind* kind : supply_kinds()) EXPECT_TRUE(supplies.contains(kind->word())) << kind->word();
  for (const WatchKind* kind : watch_kinds()) {
    EXPECT_TRUE(watches.contains(kind->word())) << kind->word();
    EXPECT_TRUE(std::filesystem::exists(source_path("bench/rigs/" + kind->word() + "/README.md")));
  }
}

}  // namespace
}  // namespace tachproof
