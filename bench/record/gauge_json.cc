#include "bench/record/gauge_json.h"

#include "bench/record/json_values.h"

namespace tachproof {
namespace {

Sits sits_from(const std::string& text) {
  if (const std::optional<Sits> sits = sits_named(text)) return *sits;
  throw std::runtime_error("there is no place for a deadband called " + text);
}

Json channels_to_json(Channels set) {
  Json list = Json::array();
  for (std::size_t i = 0; i < max_channels; ++i)
    if ((set >> i) & 1) list.push_back(i);
  return list;
}

Channels channels_from(const Json& list, const Gauge& gauge) {
  Channels set = 0;
  for (const Json& item : list) {
    const auto index = item.get<std::uint64_t>();
    if (index >= gauge.channels())
      throw std::runtime_error("a cue shows a channel that the gauge does not have");
    set |= Channels{1} << index;
  }
  return set;
}

Json tolerance_to_json(const Tolerance& t) {
  return {{"rpm", number_to_json(t.rpm)},
          {"response_from_s", to_seconds(t.response_from)},
          {"response_to_s", to_seconds(t.response_to)},
          {"settle_s", to_seconds(t.settle)},
          {"blink_hz", number_to_json(t.blink_hz)},
          {"blink_duty", number_to_json(t.blink_duty)},
          {"signal_lost_s", to_seconds(t.signal_lost)}};
}

Tolerance tolerance_from(const Json& json) {
  Tolerance t;
  t.rpm = number_from(json, "rpm");
  t.response_from = instant_from(json, "response_from_s");
  t.response_to = instant_from(json, "response_to_s");
  t.settle = instant_from(json, "settle_s");
  t.blink_hz = number_from(json, "blink_hz");
  t.blink_duty = number_from(json, "blink_duty");
  t.signal_lost = instant_from(json, "signal_lost_s");
  return t;
}

}  // namespace

Json settings_to_json(const Gauge& gauge) {
  Json anchors = Json::array();
  for (const auto& [name, rpm] : gauge.anchors)
    anchors.push_back({{"name", text_to_json(name)}, {"rpm", number_to_json(rpm)}});
  Json lamps = Json::array();
  for (const Lamp& lamp : gauge.lamps) {
    Json colours = Json::array();
    for (const std::string& colour : lamp.colours) colours.push_back(text_to_json(colour));
    lamps.push_back({{"id", text_to_json(lamp.id)}, {"colours", colours}});
  }
  Json windows = Json::array();
  for (const Window& w : gauge.windows) {
    windows.push_back({{"name", text_to_json(w.name)},
                       {"from_rpm", number_to_json(w.from_rpm)},
                       {"steady", channels_to_json(w.cue.steady)},
                       {"blinking", channels_to_json(w.cue.blinking)}});
    if (!w.anchor.empty()) windows.back()["anchor"] = text_to_json(w.anchor);
  }
  Json blink = nullptr;
  if (gauge.blink)
    blink = {{"hz", number_to_json(gauge.blink->hz)}, {"duty", number_to_json(gauge.blink->duty)}};
  return {{"name", text_to_json(gauge.name)},
          {"pulses_per_rev", number_to_json(gauge.pulses_per_rev)},
          {"anchors", anchors},
          {"lamps", lamps},
          {"windows", windows},
          {"deadband", {{"rpm", number_to_json(gauge.deadband.rpm)}, {"sits", word(gauge.deadband.sits)}}},
          {"blink", blink},
          {"tolerance", tolerance_to_json(gauge.tolerance)}};
}

Gauge settings_from_json(const Json& settings) {
  Gauge gauge;
  gauge.name = text_from(settings, "name");
  gauge.pulses_per_rev = number_from(settings, "pulses_per_rev");
  for (const Json& anchor : settings.at("anchors"))
    gauge.anchors.emplace_back(text_from(anchor, "name"), number_from(anchor, "rpm"));
  for (const Json& lamp : settings.at("lamps"))
    gauge.lamps.push_back({text_from(lamp, "id"), lamp.at("colours").get<std::vector<std::string>>()});
  if (gauge.channels() > max_channels) throw std::runtime_error("the gauge has too many channels");
  for (const Json& window : settings.at("windows"))
    gauge.windows.push_back(
        {text_from(window, "name"), number_from(window, "from_rpm"),
         Cue{channels_from(window.at("steady"), gauge), channels_from(window.at("blinking"), gauge)},
         window.contains("anchor") ? text_from(window, "anchor") : ""});
  const Json& deadband = settings.at("deadband");
  gauge.deadband = {number_from(deadband, "rpm"), sits_from(text_from(deadband, "sits"))};
  if (const Json& blink = settings.at("blink"); !blink.is_null())
    gauge.blink = Blink{number_from(blink, "hz"), number_from(blink, "duty")};
  gauge.tolerance = tolerance_from(settings.at("tolerance"));
  return gauge;
}

}  // namespace tachproof
