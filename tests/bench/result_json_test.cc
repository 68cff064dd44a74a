#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "bench/record/result_json.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::IsSupersetOf;

std::vector<std::string> keys_of(const json& object) {
  std::vector<std::string> keys;
  for (const auto& [key, value] : object.items()) keys.push_back(key);
  return keys;
}

TEST(ResultJson, ReadsAsApproved) {
  expect_approved("result-fail.json", result_json(without_volatile(drumlin::failing().record)));
}

TEST(ResultJson, HasEveryFieldOfTheContract) {
  RunRecord record = drumlin::failing().record;
  const json j = json::parse(result_json(record));
  EXPECT_THAT(keys_of(j), IsSupersetOf({"format", "tool", "verdict", "complete", "gauge", "scenario", "rig",
                                        "unit", "started", "duration_s", "transitions", "boundaries",
                                        "blinks", "flicker", "findings", "evidence"}));
  EXPECT_THAT(keys_of(j["transitions"][0]),
              IsSupersetOf({"boundary", "direction", "at_s", "nominal_rpm", "observed_rpm", "deviation_rpm",
                            "expanded_uncertainty_rpm", "verdict"}));
  EXPECT_THAT(keys_of(j["boundaries"][0]),
              IsSupersetOf({"boundary", "direction", "threshold_rpm", "expanded_uncertainty_rpm",
                            "response_ms", "visits", "verdict"}));
  EXPECT_THAT(keys_of(j["blinks"][0]), IsSupersetOf({"window", "lamp", "hz", "duty", "verdict"}));
  EXPECT_THAT(keys_of(j["flicker"][0]),
              IsSupersetOf({"boundary", "mean_rpm", "duration_s", "changes", "rate_per_min",
                            "upper_95_per_min", "limit_per_min", "verdict"}));
  EXPECT_THAT(keys_of(j["findings"][0]), IsSupersetOf({"kind", "at_s", "window", "lamp", "message"}));
  EXPECT_EQ(j["format"], 1);
  EXPECT_EQ(j["verdict"], "fail");
  EXPECT_EQ(j["scenario"]["seed"], 42);
  EXPECT_EQ(j["transitions"][1]["verdict"], "fail");
  EXPECT_TRUE(j["flicker"][0]["limit_per_min"].is_null());
}

TEST(ResultJson, WhatWasNotSeenOrMeasuredIsNull) {
  const json j = json::parse(result_json(drumlin::undecided().record));
  const json& last = j["transitions"].back();
  for (const char* key : {"at_s", "observed_rpm", "deviation_rpm", "expanded_uncertainty_rpm"})
    EXPECT_TRUE(last[key].is_null()) << key;
}

TEST(ResultJson, ARunThatDidNotEndIsUndecidedWhateverItShowed) {
  RunRecord record = drumlin::passing().record;
  record.result.complete = false;
  EXPECT_EQ(json::parse(result_json(record))["verdict"], "undecided");
  record.result.verdict = Verdict::fail;
  EXPECT_EQ(json::parse(result_json(record))["verdict"], "undecided");
}

double any_double() {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  return *rc::gen::oneOf(
      rc::gen::arbitrary<double>(),
      rc::gen::element(std::nan(""), infinity, -infinity, -0.0, 5e-324, 1.7976931348623157e308));
}

// Whatever a double can be, as far as a run can have it.
double any_within(double most) {
  const double value = any_double();
  return std::isfinite(value) && std::fabs(value) > most ? std::fmod(value, most) : value;
}

RC_GTEST_PROP(ResultJson, ParsesWhateverTheNumbersAndTextsAre, ()) {
  RunRecord record = drumlin::small().record;
  TransitionResult& t = record.result.transitions[0];
  const double value = t.observed_rpm = any_within(1e12);
  const double tolerance = std::fabs(any_within(1e6));
  record.gauge.tolerance.rpm = std::isfinite(tolerance) ? tolerance : 3;
  record.extra_tolerance_rpm = any_within(1e12);
  record.result.blinks = {
      {*rc::gen::arbitrary<std::string>(), "x", any_within(1e12), any_within(1e12), 1, Verdict::pass}};
  record.unit_serial = *rc::gen::arbitrary<std::string>();
  const std::string text = result_json(record);
  const json seen = json::parse(text)["transitions"][0]["observed_rpm"];
  if (std::isfinite(value))
    RC_ASSERT(seen.get<double>() == value);
  else
    RC_ASSERT(seen.is_null());
  RC_ASSERT(result_json(record_from_json(text)) == text);
}

TEST(ResultJson, ReadsBackToTheSameRecord) {
  for (const drumlin::Run& run : {drumlin::passing(), drumlin::failing(), drumlin::undecided()}) {
    const std::string text = result_json(run.record);
    EXPECT_EQ(result_json(record_from_json(text)), text);
  }
}

std::string error_in(const std::string& text) {
  try {
    record_from_json(text);
  } catch (const std::runtime_error& e) {
    return e.what();
  }
  return "none";
}

TEST(ResultJson, RefusesNumbersThatNoRunCanHave) {
  const json sound = json::parse(result_json(drumlin::small().record));
  const auto refusal = [&](const char* place, const json& value) {
    json j = sound;
    j[json::json_pointer(place)] = value;
    return error_in(j.dump());
  };
  EXPECT_EQ(refusal("/duration_s", 4.6e9), "duration_s is not a time in seconds");
  EXPECT_EQ(refusal("/rig/source_lag_ns", 1e300), "source_lag_ns is not a whole number of nanoseconds");
  EXPECT_EQ(refusal("/rig/source_tick_ns", -1), "source_tick_ns is -1e-09 s; it must be from 0 s to 3600 s");
  EXPECT_EQ(refusal("/rig/clock_ppm", nullptr), "clock_ppm is below 0, or not there");
  EXPECT_EQ(refusal("/gauge/settings/pulses_per_rev", -3),
            "pulses_per_rev of the gauge is below 0, or not there");
  EXPECT_EQ(refusal("/gauge/settings/windows/1/steady", json::array({1e300})),
            "a cue shows a channel that the gauge does not have");
  EXPECT_EQ(refusal("/gauge/settings/tolerance/response_to_s", -1.0),
            "response_to_s of the gauge is below 0");
  EXPECT_EQ(refusal("/transitions/0/observed_rpm", 1e200), "observed_rpm is 1e+200, which no run can have");
}

TEST(ResultJson, RefusesWhatItDidNotWriteWithASentence) {
  json j = json::parse(result_json(drumlin::small().record));
  EXPECT_EQ(error_in("{"), "it is cut short, or not what this program writes");
  EXPECT_EQ(error_in("[]"), "it is cut short, or not what this program writes");
  j["format"] = 2;
  EXPECT_EQ(error_in(j.dump()), "its format is not 1");
  j["format"] = 1;
  j["verdict"] = "passed";
  EXPECT_EQ(error_in(j.dump()), "there is no verdict 'passed'");
  j["verdict"] = "pass";
  j["evidence"]["pulses"] = -1;
  EXPECT_EQ(error_in(j.dump()), "pulses is not a count");
}

}  // namespace
}  // namespace tachproof
