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

RC_GTEST_PROP(ResultJson, ParsesWhateverTheNumbersAndTextsAre, ()) {
  RunRecord record = drumlin::small().record;
  TransitionResult& t = record.result.transitions[0];
  const double value = t.observed_rpm = any_double();
  record.gauge.tolerance.rpm = any_double();
  record.extra_tolerance_rpm = any_double();
  record.result.blinks = {
      {*rc::gen::arbitrary<std::string>(), "x", any_double(), any_double(), 1, Verdict::pass}};
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

std::string error_of(const std::string& text) {
  try {
    record_from_json(text);
  } catch (const std::runtime_error& e) {
    return e.what();
  }
  return "none";
}

TEST(ResultJson, RefusesWhatItDidNotWriteWithASentence) {
  json j = json::parse(result_json(drumlin::small().record));
  EXPECT_EQ(error_of("{"), "it is cut short, or not what this program writes");
  EXPECT_EQ(error_of("[]"), "it is cut short, or not what this program writes");
  j["format"] = 2;
  EXPECT_EQ(error_of(j.dump()), "its format is not 1");
  j["format"] = 1;
  j["verdict"] = "passed";
  EXPECT_EQ(error_of(j.dump()), "there is no verdict 'passed'");
  j["verdict"] = "pass";
  j["evidence"]["pulses"] = -1;
  EXPECT_EQ(error_of(j.dump()), "pulses is no count");
}

}  // namespace
}  // namespace tachproof
