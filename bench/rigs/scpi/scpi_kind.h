// A signal generator in a rig file: `kind: scpi`.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     source: {kind: scpi, address: HOST:PORT, amplitude_v: 5, offset_v: 2.5, ...}
//
// The other keys are those of ScpiSetting.
const SourceKind& scpi_source_kind();

}  // namespace tachproof
