#include "bench/record/causes_json.h"

namespace tachproof {
namespace {

Json change_to_json(const CauseChange& change) {
  Json json = {{"kind", text_to_json(change.kind)}};
  for (const auto& [key, text] : change.words) json[key] = text_to_json(text);
  for (const auto& [key, number] : change.numbers) json[key] = number_to_json(number);
  if (!change.channels.empty()) json["channels"] = list_of(change.channels, text_to_json);
  return json;
}

CauseChange change_from(const Json& json) {
  CauseChange change;
  for (const auto& [key, value] : json.items()) {
    if (key == "kind")
      change.kind = value.get<std::string>();
    else if (key == "channels")
      change.channels = value.get<std::vector<std::string>>();
    else if (value.is_string())
      change.words.emplace_back(key, value.get<std::string>());
    else
      change.numbers.emplace_back(key, value.is_null() ? not_measured : value.get<double>());
  }
  return change;
}

Cause cause_from(const Json& json) {
  Cause cause;
  cause.text = text_from(json, "text");
  for (const Json& change : json.at("changes")) cause.changes.push_back(change_from(change));
  cause.explains = count_from(json, "explains");
  cause.of = count_from(json, "of");
  cause.left = json.at("left").get<std::vector<std::string>>();
  cause.todo = text_from(json, "do");
  return cause;
}

}  // namespace

Json cause_to_json(const Cause& cause) {
  return {{"text", text_to_json(cause.text)},
          {"changes", list_of(cause.changes, change_to_json)},
          {"explains", cause.explains},
          {"of", cause.of},
          {"left", list_of(cause.left, text_to_json)},
          {"do", text_to_json(cause.todo)}};
}

void causes_into_json(const Causes& causes, Json& object) {
  if (!causes.list.empty() || !causes.none.empty()) {
    object["causes"] = list_of(causes.list, cause_to_json);
    object["told_apart"] = causes.told_apart;
  }
  if (!causes.none.empty()) object["no_cause"] = text_to_json(causes.none);
  if (!causes.missing.empty()) object["missing"] = list_of(causes.missing, text_to_json);
}

Causes causes_from_json(const Json& object) {
  Causes causes;
  if (object.contains("causes"))
    for (const Json& cause : object.at("causes")) causes.list.push_back(cause_from(cause));
  if (object.contains("told_apart")) causes.told_apart = object.at("told_apart").get<bool>();
  if (object.contains("no_cause")) causes.none = text_from(object, "no_cause");
  if (object.contains("missing")) causes.missing = object.at("missing").get<std::vector<std::string>>();
  return causes;
}

}  // namespace tachproof
