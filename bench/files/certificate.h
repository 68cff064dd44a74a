// What a reader of a test report wants to know and the bench cannot measure:
// who, where, for whom, with what, in which surroundings. Stated by the shop
// in a file of `kind: certificate`; the bench prints it as stated and checks
// none of it.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

// An empty text, or a number that is not finite: not stated. Dates are ISO
// 8601, YYYY-MM-DD.
struct Certificate {
  struct Party {
    std::string name, address, contact;
  };
  Party shop;
  std::string place;  // where the test was made, when that is not the shop's address
  Party customer;
  std::string customer_reference;  // an order's number

  std::string unit_condition;  // as received
  std::string unit_received;   // date

  std::string bench_name;
  std::string clock_calibrated, clock_due;  // dates
  std::string clock_calibrated_by, clock_record;

  double temperature_c = not_measured;
  double humidity_percent = not_measured;
  double supply_v = not_measured;

  std::string tested_by, authorised_by;
  std::vector<std::string> remarks;
};

// Throws FileErrors (bench/files/files.h).
// `bytes` as for load_gauge.
Certificate load_certificate(const std::filesystem::path& file, std::string* bytes = nullptr);

struct YamlNode;
class ErrorList;
Certificate read_certificate(const YamlNode& root, ErrorList& errors);

}  // namespace tachproof
