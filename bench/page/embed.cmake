# Writes a .cc file that holds files as text: cmake -DOUT=... -DWHAT=assets|shop -DROOT=... -P embed.cmake
# A raw string ends at its own word, which none of the files has.
set(text "// Written by bench/page/embed.cmake.\n")
if(WHAT STREQUAL "assets")
  file(READ ${ROOT}/bench/page/page.css style)
  file(READ ${ROOT}/bench/page/gauge.css gauge_style)
  file(READ ${ROOT}/bench/page/page.js script)
  file(READ ${ROOT}/bench/page/gauge.js gauge_script)
  string(APPEND text "#include \"bench/page/frame.h\"\n#include \"bench/page/gauge_place.h\"\n\nnamespace tachproof {\n"
    "std::string_view page_style() { return R\"=====(${style}${gauge_style})=====\"; }\n"
    "std::string_view page_script() { return R\"=====(${script})=====\"; }\n"
    "std::string_view gauge_script() { return R\"=====(${gauge_script})=====\"; }\n}  // namespace tachproof\n")
else()
  string(APPEND text "#include \"bench/page/shipped_files.h\"\n\nnamespace tachproof {\nnamespace {\n"
    "constexpr ShippedFile files[] = {\n")
  file(GLOB names RELATIVE ${ROOT} ${ROOT}/fixtures/jobs/*.yaml ${ROOT}/fixtures/gauges/*.yaml
    ${ROOT}/fixtures/rigs/*.yaml ${ROOT}/fixtures/certificates/*.yaml ${ROOT}/fixtures/noise/*.yaml ${ROOT}/fixtures/logs/*.csv
    ${ROOT}/scenarios/*.yaml)
  foreach(name ${names})
    file(READ ${ROOT}/${name} content)
    string(APPEND text "  {\"${name}\", R\"=====(${content})=====\"},\n")
  endforeach()
  string(APPEND text "};\n}  // namespace\n\nstd::span<const ShippedFile> shipped_files() { return files; }\n"
    "}  // namespace tachproof\n")
endif()
file(WRITE ${OUT} "${text}")
