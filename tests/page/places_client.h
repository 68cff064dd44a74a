// The engineer's places without sockets: a shop, a history, and who asks.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include "bench/history/history.h"
#include "bench/page/places.h"
#include "bench/record/run_folder.h"
#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"

namespace tachproof {

class PlacesClient : public testing::Test {
 protected:
  PlacesClient() : shop_(temporary_.path()) {
    settings_.history = (temporary_.path() / "history.db").string();
    open();
  }
  // Anew, as after a restart with these settings.
  void open() {
    router_ = Router();
    const auto errands = std::make_shared<Errands>();
    errands->add_routes(router_);
    add_runs_routes(router_, shop_, settings_, errands);
    add_units_routes(router_, shop_, settings_);
    add_rigs_routes(
        router_, shop_, [this] { return tiles_; }, errands);
  }

  Response get(const std::string& target) {
    Request request;
    request.method = "GET";
    const std::size_t question = std::min(target.find('?'), target.size());
    request.path = target.substr(0, question);
    request.query = Fields::of(std::string_view(target).substr(std::min(question + 1, target.size())));
    return router_(request);
  }
  Response post(const std::string& path, const std::string& form = {}) {
    Request request;
    request.method = "POST";
    request.path = path;
    request.form = Fields::of(form);
    return router_(request);
  }
  // The page of an errand, once it is over.
  Response answer_of(const std::string& path) {
    for (int i = 0; i < 3000; ++i) {
      Response now = get(path);
      if (now.status != 200 || now.body.find("data-errand") == now.body.npos) return now;
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    return refused(500, "it never ended");
  }
  std::string outcome(const std::string& path) { return answer_of(path).body; }

  struct Made {
    std::string name = "20310314-092653-acceptance-DR-0117", unit = "DR-0117";
    std::string started = "2031-03-14T09:26:53+01:00", gauge = "Drumlin four-lamp gauge",
                scenario = "acceptance";
    std::string watch = "board", settings = std::string(64, 'a');
    Verdict verdict = Verdict::pass;
    double off_rpm = 0.2;
    bool in_history = true;
  };
  std::filesystem::path make(const Made& made) {
    drumlin::Run run = drumlin::small();
    RunRecord& r = run.record;
    r.inputs.clear();
    r.unit_serial = made.unit;
    r.started = made.started;
    r.gauge_name = made.gauge;
    r.gauge_sha256 = made.settings;
    r.scenario_name = made.scenario;
    r.watch = made.watch;
    r.result.verdict = made.verdict;
    BoundaryResult b;
    b.boundary = "brisk";
    b.nominal_rpm = 3000;
    b.threshold_rpm = 3000 + made.off_rpm;
    b.expanded_uncertainty_rpm = 0.6;
    b.verdict = Verdict::pass;
    r.result.boundaries = {b};
    const std::filesystem::path folder = shop_.runs() / made.name;
    RunFolder::create(folder, r, run_pages).finish(r, run.trace);
    if (made.in_history) History(settings_.history, History::Open::make).add(folder);
    return folder;
  }
  void write(const std::string& name, const std::string& text) {
    std::filesystem::create_directories((shop_.folder() / name).parent_path());
    write_file(shop_.folder() / name, text);
  }
  void copy(const std::string& fixture, const std::string& name) {
    write(name, read_file(std::filesystem::path(TACHPROOF_SOURCE_DIR) / fixture));
  }

  TemporaryFolder temporary_;
  Shop shop_;
  TileSettings settings_;
  std::vector<TileView> tiles_;
  Router router_;
};

inline std::size_t times(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != text.npos; at = text.find(what, at + what.size())) ++n;
  return n;
}

}  // namespace tachproof
