// The causes of a failed run, and what an undecided one lacks, as JSON and back.
#pragma once

#include "bench/record/json_values.h"
#include "core/cause/cause.h"

namespace tachproof {

Json cause_to_json(const Cause& cause);
// The keys "causes", "told_apart", "missing" and "no_cause" of an object that has them, or lacks them.
void causes_into_json(const Causes& causes, Json& object);
Causes causes_from_json(const Json& object);

}  // namespace tachproof
