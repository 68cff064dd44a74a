#include "tests/camera/photographed_units.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "core/signal/pulse_train.h"

namespace tachproof::test {
namespace {

using study::Draw;

constexpr double rest_rpm = 4000, top_rpm = 4800;

struct OtherLight {
  const char* channel;
  Rgb light;
};
// None of these was taught: amber for yellow, green for white and rose, red for violet, blue for cyan.
constexpr std::array<OtherLight, 5> other_lights{{{"rowan yellow", {1.0F, 0.42F, 0.01F}},
                                                  {"birch white", {0.1F, 1.0F, 0.2F}},
                                                  {"hazel violet", {1.0F, 0.05F, 0.02F}},
                                                  {"alder cyan", {0.05F, 0.2F, 1.0F}},
                                                  {"thorn rose", {0.1F, 0.9F, 0.1F}}}};

std::vector<LampEvent> events_of(const std::vector<study::Seen>& lines) {
  std::vector<LampEvent> events;
  for (const study::Seen& line : lines) {
    const Nanos at = std::max<Nanos>(0, from_seconds(line.at_s));
    if (!events.empty() && events.back().at == at)
      events.back().lit = line.lit;
    else
      events.push_back({at, line.lit});
  }
  return events;
}

void add_flashes(const Profile& profile, Photographed& run) {
  for (const Action& action : profile.actions())
    if (const Press* press = std::get_if<Press>(&action.what))
      run.flashes.emplace_back(action.at, action.at + press->lasts);
}

void draw_weather(Phone& phone, Draw& draw) {
  static const std::vector<Phone::Into> into{Phone::Into::mjpg, Phone::Into::h264, Phone::Into::folder};
  phone.seed = static_cast<std::uint64_t>(draw.between(1, 1e9));
  phone.into = draw.of(into);
  if (phone.into == Phone::Into::folder && draw.chance(0.5)) phone.uneven_ms = draw.between(1, 5);
  if (draw.chance(0.4)) phone.haze = draw.between(0.05, 0.2);
  if (draw.chance(0.3)) phone.reflection = draw.between(0.1, 0.25);
  phone.over_lamp = phone.reflection > 0 && draw.chance(0.2);
  if (draw.chance(0.5)) phone.balance = draw.between(0.01, 0.05);
  if (draw.chance(0.5)) phone.exposure_drift = draw.between(0.02, 0.1);
  phone.starts_s = draw.between(0.4, 1.2);
}

}  // namespace

const char* const photographed_gauge_yaml = R"(format: 1
kind: gauge
name: Larch row gauge
pulses_per_rev: 2
lamps:
  - {id: rowan, colours: [yellow, white]}
  - {id: birch, colours: [white]}
  - {id: alder, colours: [cyan, violet]}
  - {id: hazel, colours: [violet]}
  - {id: thorn, colours: [rose]}
windows:
  - {name: low, from: 0, show: {}}
  - {name: near, from: 4100, show: {rowan: yellow}}
  - {name: close, from: 4300, show: {rowan: yellow, birch: white, alder: cyan}}
  - {name: there, from: 4500, show: {hazel: violet, alder: cyan}}
  - {name: past, from: 4700, show: {thorn: rose blinking}}
deadband: {rpm: 20, sits: below}
blink: {hz: 2.5, duty: 0.5}
tolerance: {rpm: 20, response_ms: {from: 0, to: 300}, settle_ms: 10, blink_hz: 0.3, blink_duty: 0.2}
)";

Drive photographed_drive() {
  Drive drive;
  std::vector<std::pair<std::size_t, Press>> presses;
  const auto flash = [&](Nanos lasts) {
    presses.emplace_back(drive.road.pieces().size(), Press{"sync", lasts});
    drive.road.hold(to_seconds(lasts));
  };
  drive.road.hold_at(rest_rpm, 1);
  flash(300 * ns_per_ms);
  drive.road.hold(0.7);
  for (const double rate : {110.0, 420.0}) {
    drive.road.ramp(top_rpm, rate);
    drive.road.hold(rate < 200 ? 2.6 : 0.9);
    if (rate < 200) flash(200 * ns_per_ms);
    drive.road.ramp(rest_rpm, rate);
    drive.road.hold(0.9);
  }
  drive.road.hold_at(top_rpm, 1.5);
  drive.road.hold_at(rest_rpm, 0.9);
  flash(500 * ns_per_ms);
  drive.road.hold(0.9);
  drive.steps = drive.road.steps();
  for (const auto& [piece, press] : presses) drive.steps[piece] = press;
  return drive;
}

std::string scenario_text(const Drive& drive) {
  std::string text = "format: 1\nkind: scenario\nname: photographed\nprofile:\n";
  for (const Step& step : drive.steps) {
    if (const Hold* hold = std::get_if<Hold>(&step))
      text += fmt::format("  - {{hold: {}, for: {}us}}\n", hold->rpm, hold->lasts / ns_per_us);
    else if (const RampByRate* ramp = std::get_if<RampByRate>(&step))
      text += fmt::format("  - {{ramp: {}, rate: {}}}\n", ramp->to_rpm, ramp->rpm_per_s);
    else if (const Press* press = std::get_if<Press>(&step))
      text += fmt::format("  - {{press: {}, for: {}ms}}\n", press->action, press->lasts / ns_per_ms);
  }
  return text;
}

Phone draw_phone(Draw& draw) {
  Phone phone;
  phone.fps = draw.chance(0.5) ? 30 : 60;
  // By the least that excludes faster blinks at 2.5 Hz, and more.
  phone.exposure_ms = phone.fps < 45 ? draw.between(8.5, 14) : draw.between(5, 9);
  phone.readout_ms = draw.between(5, 900 / phone.fps);
  phone.light = draw.between(0.6, 1.6);
  phone.bloom = draw.between(0.02, 0.2);
  return phone;
}

PhotographedUnit PhotographedUnit::draw(const Gauge& gauge, const Phone& usual, const std::string& kind,
                                        std::uint64_t seed) {
  const Drive drive = photographed_drive();
  const std::vector<double> none;
  for (std::uint64_t again = 0;; ++again) {
    Draw draw(seed, again);
    PhotographedUnit one;
    one.kind = one.what = kind;
    one.is_sound = kind == "sound" || kind == "dimmed";
    one.phone = usual;
    draw_weather(one.phone, draw);
    one.exposure_stated = draw.chance(0.85);
    study::Pair& pair = one.pair;
    pair.seed = seed;
    pair.gauge = gauge;
    pair.road = drive.road;
    if (!study::draw_unit(pair, draw.between(0, 0.3), draw)) continue;
    study::Unit& unit = pair.unit;
    if (kind != "dimmed") unit.pwm_hz = 0;
    const study::Oracle oracle(gauge, pair.road, none, none, false, 0);
    if (kind == "dimmed") {
      static const std::vector<double> rates{61, 91.5, 120, 240, 480};
      static const std::vector<double> exposures{1, 2, 4};
      unit.pwm_hz = draw.of(rates);
      unit.pwm_duty = draw.between(0.4, 0.7);
      unit.pwm_phase = draw.uniform();
      if (draw.chance(0.6)) one.phone.exposure_ms = draw.of(exposures);
      one.what = fmt::format("dimmed at {:.1f} Hz", unit.pwm_hz);
    } else if (kind == "alias") {
      static const std::vector<double> exposures{0.5, 1, 2, 4};
      const double set = gauge.blink->hz + draw.between(-1, 1) * 0.9 * gauge.tolerance.blink_hz;
      unit.blink_hz = draw.whole(1, 2) * one.phone.fps + draw.sign() * set;
      unit.blink_duty = draw.between(0.4, 0.6);
      if (draw.chance(0.6)) one.phone.exposure_ms = draw.of(exposures);
      one.what = fmt::format("blinks at {:.2f} Hz", unit.blink_hz);
    } else if (kind == "colour") {
      const OtherLight& other = other_lights[draw.index(other_lights.size())];
      one.phone.colours[other.channel] = other.light;
      if (draw.chance(0.5)) one.phone.fade_s = draw.between(0.02, 0.08);
      one.what = fmt::format("another light for {}", other.channel);
      if (one.phone.fade_s > 0) one.what += fmt::format(", fading in {:.0f} ms", 1e3 * one.phone.fade_s);
    } else if (kind == "fault") {
      const std::string name = draw.of(study::fault_names());
      if (name == "misled by bounce" || !study::put_fault(name, pair, oracle, draw)) continue;
      one.what = name;
      if (pair.magnitude > 0) one.what += fmt::format(", {:.1f} of its tolerance", pair.magnitude);
    }
    pair.line.rises = pair.road.pulses(gauge.pulses_per_rev, 0, draw.uniform());
    pair.shown = study::watch(unit, pair.line.rises, 0, pair.road.duration_s());
    pair.told = oracle.tell(unit, pair.shown, !one.is_sound && kind != "colour");
    // A lamp's light is no part of what the oracle is told.
    const bool by_light = kind == "colour";
    if (pair.told.truth != (one.is_sound || by_light ? study::Truth::sound : study::Truth::unsound)) continue;
    one.what += "; " + unit.type();
    return one;
  }
}

Photographed PhotographedUnit::seen(const Profile& profile) const {
  Photographed run{pair.gauge, events_of(pair.shown.lines), {}, [this](Nanos t) {
                     return pair.road.rpm_at(std::clamp(to_seconds(t), 0.0, pair.road.duration_s()));
                   }};
  add_flashes(profile, run);
  return run;
}

std::vector<double> PhotographedUnit::errors_by_u(const RunResult& result) const {
  std::vector<double> errors;
  if (kind == "fault") return errors;  // one that is frozen has no threshold
  for (const BoundaryResult& row : result.boundaries) {
    if (std::isnan(row.threshold_rpm) || std::isnan(row.expanded_uncertainty_rpm)) continue;
    for (std::size_t b = 1; b <= pair.gauge.boundaries(); ++b) {
      if (pair.gauge.windows[b].name != row.boundary) continue;
      const study::Unit::Threshold truth =
          pair.unit.effective(b, row.direction == Direction::rising, pair.gauge.pulses_per_rev);
      const double off = row.threshold_rpm - std::clamp(row.threshold_rpm, truth.from, truth.to);
      errors.push_back(off / row.expanded_uncertainty_rpm);
    }
  }
  return errors;
}

RunResult result_of_any_version(const std::filesystem::path& file) {
  RunResult result;
  const nlohmann::json json = nlohmann::json::parse(std::ifstream(file));
  result.verdict = json.at("verdict") == "pass"   ? Verdict::pass
                   : json.at("verdict") == "fail" ? Verdict::fail
                                                  : Verdict::undecided;
  for (const auto& row : json.at("boundaries")) {
    if (!row.at("threshold_rpm").is_number() || !row.at("expanded_uncertainty_rpm").is_number()) continue;
    BoundaryResult& one = result.boundaries.emplace_back();
    one.boundary = row.at("boundary");
    one.direction = row.at("direction") == "rising" ? Direction::rising : Direction::falling;
    one.threshold_rpm = row.at("threshold_rpm");
    one.expanded_uncertainty_rpm = row.at("expanded_uncertainty_rpm");
  }
  return result;
}

Photographed taught_unit(const Gauge& gauge, const Profile& profile) {
  const study::PlainGauge plain(gauge);
  study::Unit unit;
  unit.pulses_per_rev = plain.pulses_per_rev;
  unit.rising = plain.rising;
  unit.falling = plain.falling;
  unit.cues = plain.cues;
  unit.blink_hz = plain.blink_hz;
  unit.delay_up_s = unit.delay_down_s = 0.05;
  unit.late_s.assign(static_cast<std::size_t>(plain.channels), 0.0);
  PulseTrain train(profile, gauge.pulses_per_rev);
  std::array<Nanos, 4096> block;
  std::vector<double> rises;
  while (const std::size_t n = train.next(block))
    for (std::size_t i = 0; i < n; ++i) rises.push_back(to_seconds(block[i]));
  Photographed run{
      gauge,
      events_of(study::watch(unit, rises, 0, to_seconds(profile.duration())).lines),
      {},
      [&profile](Nanos t) { return profile.rpm_at(std::clamp<Nanos>(t, 0, profile.duration() - 1)); }};
  // Without pulses it goes dark; study::Unit has no such thing.
  const Nanos dark_at = from_seconds(rises.back() + 0.4);
  std::erase_if(run.lamps, [&](const LampEvent& event) { return event.at >= dark_at; });
  run.lamps.push_back({dark_at, 0});
  add_flashes(profile, run);
  return run;
}

}  // namespace tachproof::test
