# Writes ${OUT}: of which commit this build is. It is called at every build, and writes only what has changed.
#   cmake -DOUT=... -DROOT=... [-DCOMMIT=...] -P this_build.cmake
# Nothing of the machine, of the folder or of the time gets in: the same sources make the same program.
if(NOT COMMIT)
  set(COMMIT "unknown: it was built outside of a repository")
  find_program(GIT git)
  # A repository further up is none of ours.
  if(GIT AND EXISTS ${ROOT}/.git)
    execute_process(COMMAND ${GIT} --no-optional-locks log -1 --format=%H --abbrev=40 WORKING_DIRECTORY ${ROOT}
      OUTPUT_VARIABLE hash OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET RESULT_VARIABLE failed)
    execute_process(COMMAND ${GIT} --no-optional-locks status --porcelain --untracked-files=no
      WORKING_DIRECTORY ${ROOT} OUTPUT_VARIABLE changes ERROR_QUIET)
    if(NOT failed)
      string(SUBSTRING ${hash} 0 12 COMMIT)
      if(changes)
        string(APPEND COMMIT ", with changes that are in no commit")
      endif()
    endif()
  endif()
endif()
set(text "// Written by bench/install/this_build.cmake.\n#pragma once\n\n#define TACHPROOF_COMMIT \"${COMMIT}\"\n")
if(EXISTS ${OUT})
  file(READ ${OUT} before)
endif()
if(NOT text STREQUAL before)
  file(WRITE ${OUT} "${text}")
endif()
