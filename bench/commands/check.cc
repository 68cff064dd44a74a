#include <cstdio>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/files/files.h"

namespace tachproof {

namespace {

class CheckCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"check",
            "validates files of every kind",
            "FILE... [--json]",
            "Reads each file as strictly as a run would and lists every error with its line and column. A "
            "file's kind is what its kind: says.",
            "0  every file is sound\n2  one is not, or bad usage",
            {"tachproof check scenarios/acceptance.yaml fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.words(files_, "FILE", "The files to check.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    bool sound = true;
    nlohmann::ordered_json out;
    out["files"] = nlohmann::ordered_json::array();
    for (const std::string& file : files_) {
      const CheckedFile checked = check_file(file);
      sound = sound && checked.errors.empty();
      if (json_)
        out["files"].push_back(as_json(checked));
      else
        print(checked);
    }
    if (json_) std::puts(out.dump(2).c_str());
    return sound ? exit_pass : exit_usage;
  }

 private:
  static nlohmann::ordered_json as_json(const CheckedFile& checked) {
    nlohmann::ordered_json errors = nlohmann::ordered_json::array();
    for (const FileError& e : checked.errors)
      errors.push_back({{"line", e.line}, {"column", e.column}, {"message", e.message}});
    return {{"file", checked.file}, {"kind", checked.kind}, {"errors", std::move(errors)}};
  }

  static void print(const CheckedFile& checked) {
    if (checked.errors.empty())
      std::printf("%s: a sound %s file\n", checked.file.c_str(), checked.kind.c_str());
    for (const FileError& e : checked.errors) std::fprintf(stderr, "%s\n", to_line(e).c_str());
  }

  std::vector<std::string> files_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_check_command() { return std::make_unique<CheckCommand>(); }

}  // namespace tachproof
