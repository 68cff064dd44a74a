#include "tests/study/tally_json.h"

#include <set>
#include <stdexcept>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace tachproof::study {
namespace {

using Json = nlohmann::json;

// Every table of a tally by its name: for writing and for reading alike.
template <class Of, class Use>
void for_tables(Of& tally, const Use& use) {
  use("sound_by_unit", tally.sound_by_unit);
  use("sound_by_road", tally.sound_by_road);
  use("sound_by_signal", tally.sound_by_signal);
  use("sound_by_door", tally.sound_by_door);
  use("sound_by_share", tally.sound_by_share);
  use("unsound_by_fault", tally.unsound_by_fault);
  use("unsound_by_road", tally.unsound_by_road);
  use("unsound_by_signal", tally.unsound_by_signal);
  use("unsound_by_unit", tally.unsound_by_unit);
  use("unsound_by_door", tally.unsound_by_door);
  use("unsound_by_magnitude", tally.unsound_by_magnitude);
}

Json json_of(const Tally& tally) {
  Json out = {{"sound", tally.sound.by_verdict}, {"unsound", tally.unsound.by_verdict},
              {"by_program", tally.by_program},  {"tables", Json::object()},
              {"intervals", Json::object()},     {"wrong", Json::array()}};
  for_tables(tally, [&](const char* name, const Tally::Table& table) {
    Json& rows = out["tables"][name] = Json::object();
    for (const auto& [row, counts] : table) rows[row] = counts.by_verdict;
  });
  for (const auto& [name, i] : tally.intervals) out["intervals"][name] = {{"rows", i.rows}, {"hold", i.hold}};
  for (const Wrong& w : tally.wrong)
    out["wrong"].push_back(
        {{"number", w.number}, {"verdict", static_cast<int>(w.verdict)}, {"pair", w.pair}, {"said", w.said}});
  return out;
}

Tally tally_from(const Json& json) {
  Tally tally;
  json.at("sound").get_to(tally.sound.by_verdict);
  json.at("unsound").get_to(tally.unsound.by_verdict);
  json.at("by_program").get_to(tally.by_program);
  for_tables(tally, [&](const char* name, Tally::Table& table) {
    for (const auto& [row, counts] : json.at("tables").at(name).items()) counts.get_to(table[row].by_verdict);
  });
  for (const auto& [name, i] : json.at("intervals").items())
    tally.intervals[name] = {i.at("rows").get<std::uint64_t>(), i.at("hold").get<std::uint64_t>()};
  for (const Json& w : json.at("wrong"))
    tally.wrong.push_back({w.at("number").get<std::uint64_t>(),
                           static_cast<Verdict>(w.at("verdict").get<int>()), w.at("pair").get<std::string>(),
                           w.at("said").get<std::string>()});
  return tally;
}

}  // namespace

std::string share_json(const Share& share) {
  const Json out = {{"seed", share.seed},   {"pairs", share.pairs}, {"part", share.part},
                    {"parts", share.parts}, {"cpu_s", share.cpu_s}, {"tally", json_of(share.tally)}};
  return out.dump(1) + "\n";
}

Share share_from_json(const std::string& text) {
  try {
    const Json json = Json::parse(text);
    return {json.at("seed").get<std::uint64_t>(), json.at("pairs").get<std::uint64_t>(),
            json.at("part").get<std::uint64_t>(), json.at("parts").get<std::uint64_t>(),
            json.at("cpu_s").get<double>(),       tally_from(json.at("tally"))};
  } catch (const Json::exception& e) {
    throw std::runtime_error(fmt::format("this is no share of a study: {}", e.what()));
  }
}

Share merged(std::span<const Share> shares) {
  if (shares.empty()) throw std::runtime_error("no share was given");
  Share all = shares.front();
  all.tally = Tally();
  all.cpu_s = 0;
  std::set<std::uint64_t> seen;
  for (const Share& share : shares) {
    if (share.seed != all.seed || share.pairs != all.pairs || share.parts != all.parts)
      throw std::runtime_error(fmt::format(
          "share {}/{} is of {} pairs of seed {}, share {}/{} of {} of seed {}: not of one study", all.part,
          all.parts, all.pairs, all.seed, share.part, share.parts, share.pairs, share.seed));
    if (!seen.insert(share.part).second)
      throw std::runtime_error(fmt::format("share {}/{} was given twice", share.part, share.parts));
    all.tally.add(share.tally);
    all.cpu_s += share.cpu_s;
  }
  for (std::uint64_t part = 1; part <= all.parts; ++part)
    if (!seen.contains(part))
      throw std::runtime_error(fmt::format("share {}/{} is missing", part, all.parts));
  all.part = all.parts = 1;
  return all;
}

}  // namespace tachproof::study
