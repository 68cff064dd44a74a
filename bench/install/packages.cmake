# Two Debian packages of the two components. bench/package.sh calls it.
set(TACHPROOF_MAINTAINER "The owner of Tachproof <owner@tachproof.example>" CACHE STRING
  "Who answers for the Debian packages: a name and an address")
set(CPACK_GENERATOR DEB)
set(CPACK_VERBATIM_VARIABLES ON)
set(CPACK_PACKAGE_NAME tachproof)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGE_CONTACT ${TACHPROOF_MAINTAINER})
set(CPACK_PACKAGE_DIRECTORY ${CMAKE_BINARY_DIR}/packages)
set(CPACK_PACKAGING_INSTALL_PREFIX ${CMAKE_INSTALL_PREFIX})
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS ${CMAKE_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS})
set(CPACK_STRIP_FILES ON)
set(CPACK_COMPONENTS_ALL tachproof)
if(TARGET tachproof-camera)
  list(APPEND CPACK_COMPONENTS_ALL camera)
endif()

set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION electronics)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_COMPRESSION_TYPE xz)

set(CPACK_DEBIAN_TACHPROOF_PACKAGE_NAME tachproof)
set(CPACK_COMPONENT_TACHPROOF_DESCRIPTION "bench that proves a tachometer's indicator lamps
Plays tach pulses at scripted rpm profiles into a tachometer, watches the
lamps that tell the driver how close the engine is to a set rpm, works out
from the settings alone what must be seen and when, and gives a verdict with
measured numbers, their uncertainty and a report.
.
It plays by a microcontroller board, a signal generator or in software, and
watches by the board's inputs, GPIO lines or a camera, for which the package
tachproof-camera is needed. Operators test units from a browser.")
# libpq is loaded when a history on a PostgreSQL server is named.
set(CPACK_DEBIAN_TACHPROOF_PACKAGE_SUGGESTS "tachproof-camera, libpq5, xdg-utils, avrdude")

set(CPACK_DEBIAN_CAMERA_PACKAGE_NAME tachproof-camera)
set(CPACK_COMPONENT_CAMERA_DESCRIPTION "camera for tachproof, a bench for tachometers
Lets tachproof watch a tachometer's lamps by a camera or a clip of a run:
finds each lamp in the picture, learns its colours, and says when it changed.
.
It is a package of its own because of the libraries that it needs.")
set(CPACK_DEBIAN_CAMERA_PACKAGE_DEPENDS "tachproof (= ${PROJECT_VERSION})")
set(CPACK_DEBIAN_CAMERA_PACKAGE_ENHANCES tachproof)
include(CPack)
