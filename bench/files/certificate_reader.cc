// Certificates: what a shop states about a test. All keys but the shop's name
// and who tested are optional; what is left out is printed as "not stated".
//
//     format: 1
//     kind: certificate
//     shop: {name: TEXT, address: TEXT, contact: TEXT}
//     place: TEXT                                  of the test, when not the shop's
//     customer: {name: TEXT, address: TEXT, contact: TEXT, reference: TEXT}
//     unit: {condition: TEXT, received: DATE}
//     bench: {name: TEXT, clock: {calibrated: DATE, due: DATE, by: TEXT, record: TEXT}}
//     environment: {temperature_c: 21.5, humidity_percent: 45, supply_v: 13.8}
//     tested_by: TEXT
//     authorised_by: TEXT
//     remarks: [TEXT, ...]
//
// DATE is YYYY-MM-DD.
#include "bench/files/certificate.h"

#include "bench/files/dates.h"
#include "bench/files/readers.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr std::size_t most_remarks = 20;

class CertificateReader {
 public:
  explicit CertificateReader(ErrorList& errors) : errors_(errors) {}

  Certificate read(Mapping& file) {
    if (const YamlNode* node = file.any("shop", Need::must)) {
      Mapping shop(*node, errors_, "a shop");
      party(shop, c_.shop, Need::must);
      shop.finish();
    }
    file.text("place", c_.place, Need::may);
    if (const YamlNode* node = file.any("customer", Need::may)) {
      Mapping customer(*node, errors_, "a customer");
      party(customer, c_.customer, Need::may);
      customer.text("reference", c_.customer_reference, Need::may);
      customer.finish();
    }
    if (const YamlNode* node = file.any("unit", Need::may)) {
      Mapping unit(*node, errors_, "a unit");
      unit.text("condition", c_.unit_condition, Need::may);
      date(unit, "received", c_.unit_received);
      unit.finish();
    }
    if (const YamlNode* node = file.any("bench", Need::may)) bench(*node);
    if (const YamlNode* node = file.any("environment", Need::may)) environment(*node);
    file.text("tested_by", c_.tested_by, Need::must);
    file.text("authorised_by", c_.authorised_by, Need::may);
    if (const YamlNode* list = file.list("remarks", Need::may, most_remarks))
      for (const YamlNode* item : list->items) {
        std::string remark;
        if (read_text(*item, "a remark", remark, errors_)) c_.remarks.push_back(remark);
      }
    file.finish();
    return std::move(c_);
  }

 private:
  static void party(Mapping& block, Certificate::Party& into, Need name) {
    block.text("name", into.name, name);
    block.text("address", into.address, Need::may);
    block.text("contact", into.contact, Need::may);
  }

  void date(Mapping& block, const std::string& key, std::string& into) {
    std::string text;
    if (!block.text(key, text, Need::may)) return;
    if (is_date(text))
      into = text;
    else
      errors_.add(block.place(key), "'" + key + "' is '" + on_one_line(text) + "'",
                  "a date as YYYY-MM-DD, such as 2031-03-14");
  }

  void bench(const YamlNode& node) {
    Mapping block(node, errors_, "a bench");
    block.text("name", c_.bench_name, Need::may);
    if (const YamlNode* value = block.any("clock", Need::may)) {
      Mapping clock(*value, errors_, "a clock");
      date(clock, "calibrated", c_.clock_calibrated);
      date(clock, "due", c_.clock_due);
      clock.text("by", c_.clock_calibrated_by, Need::may);
      clock.text("record", c_.clock_record, Need::may);
      clock.finish();
      if (!c_.clock_due.empty() && c_.clock_due < c_.clock_calibrated)
        errors_.add(clock.place("due"), "'due' is before 'calibrated'", "a later date");
    }
    block.finish();
  }

  void environment(const YamlNode& node) {
    Mapping block(node, errors_, "an environment");
    block.number("temperature_c", c_.temperature_c, {-60, 150}, Need::may);
    block.number("humidity_percent", c_.humidity_percent, {0, 100}, Need::may);
    block.number("supply_v", c_.supply_v, {0, 100}, Need::may);
    block.finish();
  }

  ErrorList& errors_;
  Certificate c_;
};

}  // namespace

Certificate read_certificate(const YamlNode& root, ErrorList& errors) {
  Mapping file(root, errors, "a certificate file");
  if (!read_header(file, "certificate", errors)) return {};
  return CertificateReader(errors).read(file);
}

}  // namespace tachproof
