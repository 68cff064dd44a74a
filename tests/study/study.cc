// How often is the bench wrong about units that it knows nothing of? STUDY.md says how this is told.
//
//     study [--pairs 1000] [--seed 1] [--threads 2] [--shard I/N] [--scratch FOLDER] [--out FILE.md] [--wrong
//     FILE.txt]
//           [--program build/bench/tachproof --every 50]    every 50th recording by the program too
//           [--share FILE]                                 the counts as JSON; those of all shares are merged
//           by
//     study --merge FILE...                                  which prints what the whole study would have
//     study --seed 1 --pair 17 [--keep FOLDER]               one pair in full; --keep writes its recording
#include <fmt/format.h>
#include <unistd.h>

#include <csetjmp>
#include <csignal>

#include <atomic>
#include <chrono>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <map>
#include <mutex>
#include <span>
#include <sstream>
#include <string_view>
#include <thread>

#include "tests/study/evidence.h"
#include "tests/study/tally.h"
#include "tests/study/tally_json.h"

namespace {

using namespace tachproof;
using namespace tachproof::study;

// A program that crashes on somebody's recording has given no verdict at all: that is a finding about this
// pair, and the others still have to be judged.
thread_local sigjmp_buf before_crash;
thread_local bool may_crash = false;

extern "C" void crashed(int signal) {
  if (may_crash) siglongjmp(before_crash, signal);
  std::_Exit(70);
}

bool judged_without_crash(const Pair& pair, const std::filesystem::path& folder, RunResult& result) {
  if (sigsetjmp(before_crash, 1) != 0) {
    may_crash = false;
    return false;
  }
  may_crash = true;
  result = judge(pair, folder);
  may_crash = false;
  return true;
}

struct Options {
  std::map<std::string, std::string> given;
  std::string text(const std::string& name, const std::string& otherwise) const {
    const auto it = given.find(name);
    return it == given.end() ? otherwise : it->second;
  }
  std::uint64_t number(const std::string& name, std::uint64_t otherwise) const {
    const auto it = given.find(name);
    return it == given.end() ? otherwise : std::strtoull(it->second.c_str(), nullptr, 10);
  }
};

void in_full(const Options& options, const std::filesystem::path& scratch) {
  const Pair pair = draw_pair(options.number("seed", 1), options.number("pair", 1));
  const PlainGauge gauge(pair.gauge);
  fmt::print("{}\n\nwindow  cue; set rising/falling; the unit's\n", pair.describe());
  for (std::size_t w = 0; w < pair.gauge.windows.size(); ++w)
    fmt::print("{}  {}; {:.2f}/{:.2f}; {:.2f}/{:.2f}; {}\n", pair.gauge.windows[w].name,
               pair.gauge.describe(gauge.cues[w]), gauge.rising[w], gauge.falling[w],
               w ? pair.unit.effective(w, true, gauge.pulses_per_rev).middle() : 0.0,
               w ? pair.unit.effective(w, false, gauge.pulses_per_rev).middle() : 0.0,
               pair.gauge.describe(pair.unit.cues[w]));
  fmt::print("blink {} Hz +-{} duty {} +-{}; the unit's {:.3f}, {:.3f}, {}\n", gauge.blink_hz,
             gauge.blink_hz_within, gauge.blink_duty, gauge.blink_duty_within, pair.unit.blink_hz,
             pair.unit.blink_duty,
             pair.unit.start == Unit::Start::free  ? "free"
             : pair.unit.start == Unit::Start::lit ? "begins lit"
                                                   : "begins dark");
  for (const Spell& spell : pair.unit.spells)
    fmt::print("spell {:.4f} .. {:.4f} s: {}\n", spell.from_s, spell.until_s,
               spell.kind == Spell::Kind::frozen
                   ? "frozen"
                   : fmt::format("window {} shows {}", spell.window, pair.gauge.describe(spell.cue)));
  for (const std::string& why : pair.told.why) fmt::print("unsound: {}\n", why);
  for (const Road::Piece& p : pair.road.pieces())
    fmt::print("  {:8.3f} .. {:8.3f} s  {:9.2f} rpm {:+.2f} rpm/s\n", p.from_s, p.until_s, p.rpm, p.slope);
  for (std::size_t i = 0; i < pair.shown.windows.size() && i < 400; ++i)
    fmt::print("  shows window {} from {:.4f} s, {:.2f} rpm\n", pair.shown.windows[i].window,
               pair.shown.windows[i].at_s, pair.road.rpm_at(pair.shown.windows[i].at_s));
  const std::string keep = options.text("keep", "");
  if (!keep.empty()) fmt::print("{}\n", write_files(pair, keep, false).string());
  std::fflush(stdout);
  fmt::print("\n{}\n", said(judge(pair, scratch / "pair"), true));
}

Share asked_for(const Options& options) {
  const std::string shard = options.text("shard", "1/1");
  Share share{options.number("seed", 1), options.number("pairs", 1000), 1, 1, 0, {}};
  share.part = std::strtoull(shard.c_str(), nullptr, 10);
  share.parts = std::strtoull(shard.substr(shard.find('/') + 1).c_str(), nullptr, 10);
  if (share.part < 1 || share.part > share.parts)
    throw std::runtime_error("--shard is '" + shard + "', allowed is I/N, as 2/8");
  return share;
}

Tally many(const Share& share, const Options& options, const std::filesystem::path& scratch) {
  const std::uint64_t pairs = share.pairs, seed = share.seed, every = options.number("every", 50);
  const std::string program = options.text("program", "");
  const std::uint64_t part = share.part, parts = share.parts;
  std::atomic<std::uint64_t> next{part};
  std::mutex all_mutex;
  Tally all;
  const auto work = [&] {
    Tally mine;
    for (std::uint64_t n; (n = next.fetch_add(parts)) <= pairs;) {
      const Pair pair = draw_pair(seed, n);
      const std::filesystem::path folder = scratch / std::to_string(n);
      try {
        RunResult result;
        if (!judged_without_crash(pair, folder, result)) {
          mine.wrong.push_back({n, Verdict::undecided, pair.describe(), "crashed"});
          continue;
        }
        mine.add(pair, result);
        if (!program.empty() && pair.recording && n % every == 0) {
          ++mine.by_program;
          const Verdict verdict = judge_by_program(pair, folder / "program", program);
          if (verdict != result.verdict)
            mine.wrong.push_back({n, verdict, pair.describe(),
                                  "the program and the library are at odds: " + said(result, false)});
        }
      } catch (const std::exception& e) {
        may_crash = false;
        mine.wrong.push_back({n, Verdict::undecided, pair.describe(), std::string("threw: ") + e.what()});
      }
      std::filesystem::remove_all(folder);
    }
    const std::lock_guard lock(all_mutex);
    all.add(mine);
  };
  std::vector<std::thread> threads;
  for (std::uint64_t i = options.number("threads", std::max(1U, std::thread::hardware_concurrency())); i > 0;
       --i)
    threads.emplace_back(work);
  for (std::thread& t : threads) t.join();
  return all;
}

void print(const Share& share, const Options& options) {
  const Tally& tally = share.tally;
  const std::string head = fmt::format(
      "Seed {}, {} pairs{}: {} unsound, of which {} passed; {} sound, of which {} failed. {} "
      "recordings were judged by the program as well. {:.0f} s of processor.\n\n",
      share.seed, tally.sound.all() + tally.unsound.all(),
      share.parts > 1 ? fmt::format(", shard {}/{}", share.part, share.parts) : "", tally.unsound.all(),
      tally.unsound.by_verdict[0], tally.sound.all(), tally.sound.by_verdict[1], tally.by_program,
      share.cpu_s);
  const std::string out = options.text("out", ""), wrong = options.text("wrong", "");
  if (out.empty())
    fmt::print("{}{}", head, tally.markdown());
  else
    std::ofstream(out) << head << tally.markdown();
  std::string list;
  for (const Wrong& w : tally.wrong) list += fmt::format("{} {}\n{}\n\n", word(w.verdict), w.pair, w.said);
  if (wrong.empty())
    fmt::print("\n{}", list);
  else
    std::ofstream(wrong) << list;
  fmt::print("{}", head);
}

int merge(std::span<char*> files) {
  std::vector<Share> shares;
  for (const char* file : files) {
    std::ifstream in(file);
    std::stringstream text;
    text << in.rdbuf();
    shares.push_back(share_from_json(text.str()));
  }
  print(merged(shares), Options());
  return 0;
}

}  // namespace

int main(int argc, char** argv) try {
  if (argc > 1 && std::string_view(argv[1]) == "--merge") return merge(std::span(argv, argc).subspan(2));
  Options options;
  for (int i = 1; i + 1 < argc; i += 2) options.given[std::string(argv[i]).substr(2)] = argv[i + 1];
  const std::filesystem::path scratch = options.text(
      "scratch", (std::filesystem::temp_directory_path() / ("study-" + std::to_string(getpid()))).string());
  if (options.given.contains("pair")) {
    in_full(options, scratch);
    std::filesystem::remove_all(scratch);
    return 0;
  }
  std::signal(SIGSEGV, crashed);
  std::signal(SIGABRT, crashed);
  const std::clock_t began = std::clock();
  Share share = asked_for(options);
  share.tally = many(share, options, scratch);
  std::filesystem::remove_all(scratch);
  share.cpu_s = static_cast<double>(std::clock() - began) / CLOCKS_PER_SEC;
  if (options.given.contains("share")) std::ofstream(options.text("share", "")) << share_json(share);
  print(share, options);
} catch (const std::exception& e) {
  fmt::print(stderr, "{}\n", e.what());
  return 2;
}
