// The parts of the report that make it a test report.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>

#include "bench/files/certificate.h"
#include "bench/record/result_json.h"
#include "bench/reports/certificate_html.h"
#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/files_cases.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::Not;

RunRecord certified() {
  RunRecord record = drumlin::passing().record;
  record.certificate = load_certificate(source_path("fixtures/certificates/corrie.yaml"));
  record.report_id = "TP-20310314-0123456789ab";
  record.issued = "2031-03-14T09:28:21+01:00";
  record.evidence_files = {{"capture.vcd", std::string(64, 'd')}, {"timeline.csv", std::string(64, 'e')}};
  return record;
}

std::string html(const RunRecord& record) { return report_html(record, drumlin::passing().trace); }

std::string fact(const char* name, const std::string& value) {
  return std::string("<dt>") + name + "</dt><dd>" + value + "</dd>";
}

// ISO/IEC 17025:2017, 7.8.2.1 a to p, as far as they apply to one unit's test.
TEST(Certificate, HasWhatAReaderOfATestReportExpects) {
  const std::string text = html(certified());
  for (const std::string& part :
       {std::string("<h1>Tachproof test report: "),  // a
        fact("Shop",
             "Corrie &amp; Esk Instrument Works, 4 Tarn Lane, Upper Drumlin, "          // b
             "bench@corrie-esk.example"),                                               //
        fact("Place of test", "4 Tarn Lane, Upper Drumlin"),                            // c
        fact("Report", "TP-20310314-0123456789ab"),                                     // d
        std::string("counter(page) \" of \" counter(pages)"),                           // d
        std::string("End of report TP-20310314-0123456789ab"),                          // d
        fact("Customer", "Moraine Hill Climb Club, scrutineer@moraine.example"),        // e
        fact("Scenario", "acceptance"),                                                 // f
        fact("Unit", "serial DR-0117"),                                                 // g
        fact("Condition", "as received; a scratch across the glass, no other damage"),  // g
        fact("Received", "2031-03-12"),                                                 // h
        fact("Tested", "2031-03-14T09:26:53+01:00"),                                    // i
        fact("Issued", "2031-03-14T09:28:21+01:00"),                                    // j
        std::string("The results relate only to the unit named in this report"),        // l
        fact("Authorised by", "Per Holm"),                                              // o
        fact("Tested by", "Una Strath"),                                                //
        fact("Temperature", "21.5 °C"),                                                 // 7.8.3.1
        fact("Supply voltage", "13.80 V"),                                              //
        fact("Clock calibrated",
             "2030-11-05 by Corrie &amp; Esk Instrument Works, record CE-0412, "
             "due again 2031-11-05"),                               //
        std::string("Guarded acceptance with a guard band w = U"),  // 7.8.6
        std::string("below 2.5 % (2.28 %"),                         //
        std::string("claims no accreditation"),                     //
        std::string("<dt>capture.vcd</dt><dd><code>" + std::string(64, 'd'))})
    EXPECT_THAT(text, HasSubstr(part));
  EXPECT_THAT(text, Not(HasSubstr("not stated")));
}

TEST(Certificate, SaysOfWhatIsAbsentThatItIsNotStated) {
  const std::string text = html(drumlin::passing().record);
  for (const char* name :
       {"Shop", "Place of test", "Customer", "Reference", "Tested by", "Authorised by", "Received",
        "Condition", "Bench", "Clock calibrated", "Temperature", "Humidity", "Supply voltage"})
    EXPECT_THAT(text, HasSubstr(fact(name, "<i>not stated</i>")));
  EXPECT_THAT(text, HasSubstr("Nothing was stated about shop, customer, people, calibration"));
}

TEST(Certificate, SaysLoudlyThatACalibrationWasOverdue) {
  RunRecord record = certified();
  EXPECT_THAT(html(record), Not(HasSubstr("overdue")));
  record.started = "2031-11-05T23:59:00+01:00";  // the last day
  EXPECT_THAT(html(record), Not(HasSubstr("overdue")));
  record.started = "2031-11-06T00:01:00+01:00";
  EXPECT_THAT(html(record), HasSubstr("<b>The calibration of the bench’s clock was overdue on the day"));
}

TEST(Certificate, WithoutACalibrationSaysWhatTheClockIsTakenFor) {
  RunRecord record = drumlin::passing().record;
  record.bench.source.clock_ppm = 50;
  EXPECT_THAT(html(record), HasSubstr("taken as known to 50.0 parts in a million"));
}

TEST(Certificate, DrawsTheBudgetOfEveryBoundaryThatHasOne) {
  RunRecord record = certified();
  EXPECT_THAT(html(record), Not(HasSubstr("Uncertainty budget")));
  BoundaryResult& b = record.result.boundaries[0];
  b.budget = {{"source tick", 0.03}, {"repeatability", 0.4, 7}};
  b.coverage_factor = 2.36;
  b.dof = 7.08;
  b.expanded_uncertainty_rpm = 0.947;
  record.result.boundaries[1].budget = {{"clock", 0.12}};
  const std::string text = html(record);
  // Root of the sum of squares: hypot(0.03, 0.4) = 0.40112.
  EXPECT_THAT(text, HasSubstr("<td class=\"n\">0.030</td><td class=\"n\">0.400 (7)</td><td class=\"n\">–</td>"
                              "<td class=\"n\">0.401</td><td class=\"n\">7</td><td class=\"n\">2.36</td>"
                              "<td class=\"n\"><b>0.95</b></td>"));
  EXPECT_THAT(text, HasSubstr("<td class=\"n\">–</td><td class=\"n\">–</td><td class=\"n\">0.120</td>"));
}

TEST(Certificate, EscapesWhatTheShopStates) {
  RunRecord record = certified();
  Certificate& c = *record.certificate;
  const std::string evil = "</style><script>alert(\"1\")</script>";
  for (std::string* text : {&c.shop.name,
                            &c.shop.address,
                            &c.shop.contact,
                            &c.place,
                            &c.customer.name,
                            &c.customer.address,
                            &c.customer.contact,
                            &c.customer_reference,
                            &c.unit_condition,
                            &c.unit_received,
                            &c.bench_name,
                            &c.clock_calibrated,
                            &c.clock_due,
                            &c.clock_calibrated_by,
                            &c.clock_record,
                            &c.tested_by,
                            &c.authorised_by,
                            &c.remarks[0],
                            &record.report_id,
                            &record.issued,
                            &record.evidence_files[0].file,
                            &record.evidence_files[0].sha256})
    *text = evil;
  record.result.boundaries[0].budget = {{evil, 1}};
  EXPECT_THAT(html(record), Not(HasSubstr("<script")));
  EXPECT_THAT(page_style(record), Not(HasSubstr("<")));
}

TEST(Certificate, ComesBackFromResultJsonAsItWas) {
  RunRecord record = certified();
  record.bench = {{500, 50, 40'000'000, 0.12}, {4000, 2600, 1300, TimeRelation::host_clock}};
  const std::string text = result_json(record);
  const RunRecord back = record_from_json(text);
  EXPECT_EQ(result_json(back), text);
  EXPECT_EQ(html(back), html(record));
  EXPECT_EQ(back.bench, record.bench);
  EXPECT_EQ(back.certificate->remarks, record.certificate->remarks);
}

}  // namespace
}  // namespace tachproof
