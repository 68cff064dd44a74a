# Writes ${OUTPUT}: the first 32 bits of a hash over the firmware's sources, so
# that a board can say which build it carries.
set(all "")
foreach(source IN LISTS SOURCES)
  file(SHA256 ${source} hash)
  string(APPEND all ${hash})
endforeach()
string(SHA256 id "${all}")
string(SUBSTRING ${id} 0 8 id)
file(CONFIGURE OUTPUT ${OUTPUT} CONTENT "#pragma once\n\n#include <stdint.h>\n\nconst uint32_t build_id = 0x${id};\n" @ONLY)
