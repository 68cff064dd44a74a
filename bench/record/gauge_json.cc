#include "bench/record/gauge_json.h"

#include <algorithm>

#include "bench/files/speeds.h"
#include "bench/record/json_values.h"

namespace tachproof {
namespace {

// Far beyond what a gauge file may say; what is read may come from anywhere.
constexpr double slowest_blink_hz = 1e-3;
constexpr double most_rpm = 1e6, most_hz = 1e6, most_v = 1e3, most_ratio = 1e4, most_metres = 1e4;

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

// A setting is always there; no gauge file may have it below 0.
double setting_from(const Json& object, const char* key, double most) {
  const double value = number_from(object, key, most);
  if (!(value >= 0)) throw std::runtime_error(std::string(key) + " of the gauge is below 0, or not there");
  return value;
}
Nanos wait_from(const Json& object, const char* key) {
  const Nanos wait = instant_from(object, key);
  if (wait < 0) throw std::runtime_error(std::string(key) + " of the gauge is below 0");
  return wait;
}

Channels channels_from(const Json& list, const Gauge& gauge) {
  Channels set = 0;
  for (const Json& item : list) {
    if (!item.is_number_unsigned() || item.get<std::uint64_t>() >= gauge.channels())
      throw std::runtime_error("a cue shows a channel that the gauge does not have");
    set |= Channels{1} << item.get<std::uint64_t>();
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
  t.rpm = setting_from(json, "rpm", most_rpm);
  t.response_from = wait_from(json, "response_from_s");
  t.response_to = wait_from(json, "response_to_s");
  t.settle = wait_from(json, "settle_s");
  t.blink_hz = setting_from(json, "blink_hz", most_hz);
  t.blink_duty = setting_from(json, "blink_duty", 1);
  t.signal_lost = wait_from(json, "signal_lost_s");
  return t;
}

Json button_to_json(const Button& button, const Gauge& gauge) {
  Json json = {{"name", text_to_json(button.name)}};
  if (const auto* take = std::get_if<TakeRpm>(&button.does)) {
    json["does"] = "take";
    json["boundary"] = text_to_json(gauge.windows.at(take->boundary).name);
    json["lowest_rpm"] = number_to_json(take->lowest_rpm);
    json["highest_rpm"] = number_to_json(take->highest_rpm);
  } else if (const auto* peak = std::get_if<ShowPeak>(&button.does)) {
    json["does"] = "show-peak";
    json["lasts_s"] = to_seconds(peak->lasts);
  } else {
    json["does"] = "dim";
    json["levels"] = list_of(std::get<Dim>(button.does).levels, number_to_json);
  }
  return json;
}

Button button_from(const Json& json, const Gauge& gauge) {
  Button button{text_from(json, "name"), {}};
  const std::string does = text_from(json, "does");
  if (does == "take") {
    const std::string boundary = text_from(json, "boundary");
    const auto window = std::find_if(gauge.windows.begin(), gauge.windows.end(),
                                     [&](const Window& w) { return w.name == boundary; });
    if (window == gauge.windows.end())
      throw std::runtime_error("a button takes the rpm for a boundary that the gauge does not have");
    button.does =
        TakeRpm{static_cast<std::size_t>(window - gauge.windows.begin()),
                setting_from(json, "lowest_rpm", most_rpm), setting_from(json, "highest_rpm", most_rpm)};
  } else if (does == "show-peak") {
    button.does = ShowPeak{wait_from(json, "lasts_s")};
  } else if (does == "dim") {
    Dim dim;
    for (const Json& level : json.at("levels")) dim.levels.push_back(number_of(level, "a level", 1));
    button.does = dim;
  } else {
    throw std::runtime_error("there is no button that does " + does);
  }
  return button;
}

Json power_up_to_json(const PowerUp& power_up) {
  Json greets = nullptr;
  if (power_up.greets)
    greets = {{"steady", channels_to_json(power_up.greets->cue.steady)},
              {"blinking", channels_to_json(power_up.greets->cue.blinking)},
              {"lasts_s", to_seconds(power_up.greets->lasts)}};
  return {{"boot_from_s", to_seconds(power_up.boot_from)},
          {"boot_to_s", to_seconds(power_up.boot_to)},
          {"greets", greets},
          {"keeps", list_of(power_up.keeps, text_to_json)}};
}

PowerUp power_up_from(const Json& json, const Gauge& gauge) {
  PowerUp power_up{wait_from(json, "boot_from_s"), wait_from(json, "boot_to_s")};
  if (const Json& greets = json.at("greets"); !greets.is_null())
    power_up.greets =
        Greeting{Cue{channels_from(greets.at("steady"), gauge), channels_from(greets.at("blinking"), gauge)},
                 wait_from(greets, "lasts_s")};
  power_up.keeps = json.at("keeps").get<std::vector<std::string>>();
  return power_up;
}

// Only what the gauge has: most have none of it, and runs that were stored before there was any have no
// such keys.
void add_buttons_and_power(const Gauge& gauge, Json& settings) {
  if (!gauge.buttons.empty())
    settings["buttons"] =
        list_of(gauge.buttons, [&](const Button& button) { return button_to_json(button, gauge); });
  if (gauge.power_up) settings["power_up"] = power_up_to_json(*gauge.power_up);
  if (gauge.supply)
    settings["supply"] = {{"lowest_v", number_to_json(gauge.supply->lowest_v)},
                          {"highest_v", number_to_json(gauge.supply->highest_v)}};
}

// What a press makes of a gauge must be a gauge again, so these settings keep the rules of a file.
void read_buttons_and_power(const Json& settings, Gauge& gauge) {
  if (settings.contains("buttons"))
    for (const Json& button : settings.at("buttons")) gauge.buttons.push_back(button_from(button, gauge));
  if (settings.contains("power_up")) gauge.power_up = power_up_from(settings.at("power_up"), gauge);
  if (settings.contains("supply"))
    gauge.supply = SupplyRange{setting_from(settings.at("supply"), "lowest_v", most_v),
                               setting_from(settings.at("supply"), "highest_v", most_v)};
  if (gauge.buttons.empty() && !gauge.power_up && !gauge.supply) return;
  const std::vector<Problem> wrong = problems_of(gauge);
  if (!wrong.empty())
    throw std::runtime_error("the gauge's " + wrong.front().path + " is " + wrong.front().found +
                             "; allowed: " + wrong.front().allowed);
}

Json drive_to_json(const Drive& drive) {
  Json tyre;
  for (const auto& [key, text] : drive.tyre_written) tyre[key] = text_to_json(text);
  return {{"gear", number_to_json(drive.gearing.gear)},
          {"final_drive", number_to_json(drive.gearing.final_drive)},
          {"tyre", tyre},
          {"tyre_circumference_m", number_to_json(drive.tyre.circumference_m.value)},
          {"tyre_standard_uncertainty_m", number_to_json(drive.tyre.circumference_m.standard_uncertainty)},
          {"said_in", word(drive.said_in)}};
}

Drive drive_from(const Json& json) {
  Drive drive;
  drive.gearing.gear = setting_from(json, "gear", most_ratio);
  drive.gearing.final_drive = setting_from(json, "final_drive", most_ratio);
  drive.tyre.circumference_m = {setting_from(json, "tyre_circumference_m", most_metres),
                                setting_from(json, "tyre_standard_uncertainty_m", most_metres)};
  for (const auto& [key, text] : json.at("tyre").items())
    drive.tyre_written.emplace_back(key, text.get<std::string>());
  const std::optional<SpeedUnit> unit = speed_unit_named(text_from(json, "said_in"));
  if (!unit) throw std::runtime_error("said_in of the gauge is no unit of speed");
  drive.said_in = *unit;
  return drive;
}

Speed speed_from(const Json& object, const char* key) {
  const std::string text = text_from(object, key);
  if (std::optional<Speed> speed = speed_in(text)) return *speed;
  throw std::runtime_error("the gauge has a speed that is none: " + text);
}

}  // namespace

Json settings_to_json(const Gauge& gauge) {
  Json anchors = Json::array();
  for (const auto& [name, rpm] : gauge.anchors) {
    anchors.push_back({{"name", text_to_json(name)}, {"rpm", number_to_json(rpm)}});
    if (const Speed* speed = gauge.speed_of_anchor(name))
      anchors.back()["speed"] = text_to_json(speed->written);
  }
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
    if (w.from_speed) windows.back()["from_speed"] = text_to_json(w.from_speed->written);
  }
  Json blink = nullptr;
  if (gauge.blink)
    blink = {{"hz", number_to_json(gauge.blink->hz)}, {"duty", number_to_json(gauge.blink->duty)}};
  Json settings{
      {"name", text_to_json(gauge.name)},
      {"pulses_per_rev", number_to_json(gauge.pulses_per_rev)},
      {"anchors", anchors},
      {"lamps", lamps},
      {"windows", windows},
      {"deadband", {{"rpm", number_to_json(gauge.deadband.rpm)}, {"sits", word(gauge.deadband.sits)}}},
      {"blink", blink},
      {"tolerance", tolerance_to_json(gauge.tolerance)}};
  add_buttons_and_power(gauge, settings);
  // Gauges without speeds are written as they always were.
  if (gauge.drive) settings["drive"] = drive_to_json(*gauge.drive);
  if (gauge.resolution_rpm > 0) settings["resolution_rpm"] = number_to_json(gauge.resolution_rpm);
  return settings;
}

Gauge settings_from_json(const Json& settings) {
  Gauge gauge;
  gauge.name = text_from(settings, "name");
  gauge.pulses_per_rev = setting_from(settings, "pulses_per_rev", 1e4);
  for (const Json& anchor : settings.at("anchors")) {
    gauge.anchors.emplace_back(text_from(anchor, "name"), number_from(anchor, "rpm"));
    if (anchor.contains("speed"))
      gauge.anchor_speeds.emplace_back(text_from(anchor, "name"), speed_from(anchor, "speed"));
  }
  for (const Json& lamp : settings.at("lamps"))
    gauge.lamps.push_back({text_from(lamp, "id"), lamp.at("colours").get<std::vector<std::string>>()});
  if (gauge.channels() > max_channels) throw std::runtime_error("the gauge has too many channels");
  for (const Json& window : settings.at("windows"))
    gauge.windows.push_back(
        {text_from(window, "name"), setting_from(window, "from_rpm", most_rpm),
         Cue{channels_from(window.at("steady"), gauge), channels_from(window.at("blinking"), gauge)},
         window.contains("anchor") ? text_from(window, "anchor") : "",
         window.contains("from_speed") ? std::optional(speed_from(window, "from_speed")) : std::nullopt});
  const Json& deadband = settings.at("deadband");
  gauge.deadband = {setting_from(deadband, "rpm", most_rpm), sits_from(text_from(deadband, "sits"))};
  if (const Json& blink = settings.at("blink"); !blink.is_null())
    gauge.blink = Blink{setting_from(blink, "hz", most_hz), setting_from(blink, "duty", 1)};
  // Times are made of it.
  if (gauge.blink && gauge.blink->hz < slowest_blink_hz)
    throw std::runtime_error(
        fmt::format("blink of the gauge has {} Hz; at least {}", gauge.blink->hz, slowest_blink_hz));
  gauge.tolerance = tolerance_from(settings.at("tolerance"));
  read_buttons_and_power(settings, gauge);
  if (settings.contains("drive")) gauge.drive = drive_from(settings.at("drive"));
  if (settings.contains("resolution_rpm"))
    gauge.resolution_rpm = setting_from(settings, "resolution_rpm", most_rpm);
  return gauge;
}

}  // namespace tachproof
