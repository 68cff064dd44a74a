#include "bench/files/files.h"

#include <algorithm>

#include "bench/files/certificate.h"
#include "bench/files/job.h"
#include "bench/files/readers.h"
#include "bench/files/regions.h"
#include "bench/files/rig_alone.h"

namespace tachproof {
namespace {

// Reads and parses; `read` makes the value. Throws with everything that is wrong.
template <typename Read>
auto load(const std::filesystem::path& file, std::string* bytes, Read read) {
  ErrorList errors(file.string());
  if (std::optional<std::string> text = read_file(file, errors))
    if (const std::optional<YamlTree> tree = parse_yaml(*text, errors)) {
      auto value = read(*tree->root, errors);
      errors.throw_if_any();
      if (bytes != nullptr) *bytes = std::move(*text);
      return value;
    }
  throw FileErrors(errors.sorted());
}

// The kind that the file gives itself, if it is one of ours.
std::string kind_of(const YamlNode& root) {
  for (const YamlNode::Entry& e : root.entries)
    if (e.key->text == "kind")
      for (const std::string& kind : file_kinds())
        if (e.value->kind == YamlNode::Kind::scalar && e.value->text == kind) return kind;
  return {};
}

void check(const YamlNode& root, const std::filesystem::path& folder, CheckedFile& checked,
           ErrorList& errors) {
  checked.kind = kind_of(root);
  if (checked.kind == "gauge")
    read_gauge(root, errors);
  else if (checked.kind == "scenario")
    read_scenario(root, folder, errors);
  else if (checked.kind == "rig")
    read_rig(root, folder, errors);
  else if (checked.kind == "wiring")
    read_wiring(root, errors);
  else if (checked.kind == "noise")
    read_noise(root, folder, errors);
  else if (checked.kind == "certificate")
    read_certificate(root, errors);
  else if (checked.kind == "regions")
    read_regions(root, folder, errors);
  else if (checked.kind == "job")
    read_job(root, folder, errors);
  else {
    Mapping file(root, errors, "a file of Tachproof");
    std::string kind;
    file.selector("kind", kind, file_kinds());
  }
}

}  // namespace

const std::vector<std::string>& file_kinds() {
  static const std::vector<std::string> kinds{"gauge", "scenario",    "rig",     "wiring",
                                              "noise", "certificate", "regions", "job"};
  return kinds;
}

bool read_header(Mapping& file, const std::string& kind, ErrorList& errors) {
  if (!file.sound()) return false;
  if (const YamlNode* format = file.any("format", Need::must))
    if (format->kind != YamlNode::Kind::scalar || format->quoted || format->text != "1") {
      errors.add(format->at, "'format' is " + found_text(*format),
                 "1, the only format that this version reads");
      return false;
    }
  const YamlNode* own_kind = file.any("kind", Need::must);
  if (own_kind != nullptr && (own_kind->kind != YamlNode::Kind::scalar || own_kind->text != kind)) {
    const std::vector<std::string>& kinds = file_kinds();
    const bool swapped = own_kind->kind == YamlNode::Kind::scalar &&
                         std::find(kinds.begin(), kinds.end(), own_kind->text) != kinds.end();
    errors.add(own_kind->at,
               swapped ? "a " + own_kind->text + " file in place of a " + kind + " file"
                       : "'kind' is " + found_text(*own_kind),
               swapped ? "a file with kind: " + kind + "; were two files swapped on the command line?"
                       : "kind: " + kind);
    return false;
  }
  return true;
}

Gauge load_gauge(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes, [](const YamlNode& root, ErrorList& errors) { return read_gauge(root, errors); });
}

ScenarioFile load_scenario(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes, [&](const YamlNode& root, ErrorList& errors) {
    return read_scenario(root, file.parent_path(), errors);
  });
}

ScenarioFile load_kept_scenario(const std::filesystem::path& file) {
  return load(file, nullptr, [&](const YamlNode& root, ErrorList& errors) {
    return read_scenario(root, file.parent_path(), errors, NamedFiles::Copies::in_the_run_folder);
  });
}

RigFile load_rig(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes, [&](const YamlNode& root, ErrorList& errors) {
    return read_rig(root, file.parent_path(), errors);
  });
}

RigFile load_rig_alone(const std::filesystem::path& file) {
  return load(file, nullptr, [&](const YamlNode& root, ErrorList& errors) {
    return read_rig_alone(root, file.parent_path(), errors);
  });
}

Wiring load_wiring(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes, [](const YamlNode& root, ErrorList& errors) { return read_wiring(root, errors); });
}

Noise load_noise(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes, [&](const YamlNode& root, ErrorList& errors) {
    return read_noise(root, file.parent_path(), errors);
  });
}

Certificate load_certificate(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes,
              [](const YamlNode& root, ErrorList& errors) { return read_certificate(root, errors); });
}

Regions load_regions(const std::filesystem::path& file) {
  return load(file, nullptr, [&](const YamlNode& root, ErrorList& errors) {
    return read_regions(root, file.parent_path(), errors);
  });
}

Job load_job(const std::filesystem::path& file, std::string* bytes) {
  return load(file, bytes, [&](const YamlNode& root, ErrorList& errors) {
    return read_job(root, file.parent_path(), errors);
  });
}

CheckedFile check_text(const std::filesystem::path& file, std::string_view text) {
  CheckedFile checked;
  checked.file = file.string();
  ErrorList errors(checked.file);
  if (const std::optional<YamlTree> tree = parse_yaml(text, errors))
    check(*tree->root, file.parent_path(), checked, errors);
  checked.errors = errors.sorted();
  return checked;
}

std::string kind_of_file(const std::filesystem::path& file) {
  ErrorList errors(file.string());
  if (const std::optional<std::string> text = read_file(file, errors))
    if (const std::optional<YamlTree> tree = parse_yaml(*text, errors)) return kind_of(*tree->root);
  return {};
}

CheckedFile check_file(const std::filesystem::path& file) {
  ErrorList errors(file.string());
  if (const std::optional<std::string> text = read_file(file, errors)) return check_text(file, *text);
  return {file.string(), {}, errors.sorted()};
}

}  // namespace tachproof
