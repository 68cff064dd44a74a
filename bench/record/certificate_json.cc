#include "bench/record/certificate_json.h"

#include "bench/record/json_values.h"

namespace tachproof {
namespace {

// Not stated: null.
Json stated(const std::string& text) { return text.empty() ? Json(nullptr) : text_to_json(text); }
std::string stated_from(const Json& object, const char* key) {
  const Json& value = object.at(key);
  return value.is_null() ? std::string() : value.get<std::string>();
}

Json party_to_json(const Certificate::Party& party) {
  return {
      {"name", stated(party.name)}, {"address", stated(party.address)}, {"contact", stated(party.contact)}};
}

Certificate::Party party_from(const Json& json) {
  return {stated_from(json, "name"), stated_from(json, "address"), stated_from(json, "contact")};
}

}  // namespace

Json certificate_to_json(const std::optional<Certificate>& certificate) {
  if (!certificate) return nullptr;
  const Certificate& c = *certificate;
  Json customer = party_to_json(c.customer);
  customer["reference"] = stated(c.customer_reference);
  Json remarks = Json::array();
  for (const std::string& remark : c.remarks) remarks.push_back(text_to_json(remark));
  const Json clock = {{"calibrated", stated(c.clock_calibrated)},
                      {"due", stated(c.clock_due)},
                      {"by", stated(c.clock_calibrated_by)},
                      {"record", stated(c.clock_record)}};
  return {{"shop", party_to_json(c.shop)},
          {"place", stated(c.place)},
          {"customer", std::move(customer)},
          {"unit", {{"condition", stated(c.unit_condition)}, {"received", stated(c.unit_received)}}},
          {"bench", {{"name", stated(c.bench_name)}, {"clock", clock}}},
          {"environment",
           {{"temperature_c", number_to_json(c.temperature_c)},
            {"humidity_percent", number_to_json(c.humidity_percent)},
            {"supply_v", number_to_json(c.supply_v)}}},
          {"tested_by", stated(c.tested_by)},
          {"authorised_by", stated(c.authorised_by)},
          {"remarks", std::move(remarks)}};
}

std::optional<Certificate> certificate_from_json(const Json& json) {
  if (json.is_null()) return std::nullopt;
  Certificate c;
  c.shop = party_from(json.at("shop"));
  c.place = stated_from(json, "place");
  c.customer = party_from(json.at("customer"));
  c.customer_reference = stated_from(json.at("customer"), "reference");
  c.unit_condition = stated_from(json.at("unit"), "condition");
  c.unit_received = stated_from(json.at("unit"), "received");
  const Json& bench = json.at("bench");
  c.bench_name = stated_from(bench, "name");
  const Json& clock = bench.at("clock");
  c.clock_calibrated = stated_from(clock, "calibrated");
  c.clock_due = stated_from(clock, "due");
  c.clock_calibrated_by = stated_from(clock, "by");
  c.clock_record = stated_from(clock, "record");
  const Json& environment = json.at("environment");
  c.temperature_c = number_from(environment, "temperature_c");
  c.humidity_percent = number_from(environment, "humidity_percent");
  c.supply_v = number_from(environment, "supply_v");
  c.tested_by = stated_from(json, "tested_by");
  c.authorised_by = stated_from(json, "authorised_by");
  c.remarks = json.at("remarks").get<std::vector<std::string>>();
  return c;
}

Json identity_to_json(const RunRecord& record) {
  Json files = Json::array();
  for (const FileSum& sum : record.evidence_files)
    files.push_back({{"file", text_to_json(sum.file)}, {"sha256", text_to_json(sum.sha256)}});
  return {
      {"id", stated(record.report_id)}, {"issued", stated(record.issued)}, {"evidence", std::move(files)}};
}

void identity_from_json(const Json& json, RunRecord& record) {
  record.report_id = stated_from(json, "id");
  record.issued = stated_from(json, "issued");
  for (const Json& sum : json.at("evidence"))
    record.evidence_files.push_back({own_file_from(sum, "file"), text_from(sum, "sha256")});
}

}  // namespace tachproof
