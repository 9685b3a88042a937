# What is installed, and the Debian package: cmake --install build, or cpack --config build/CPackConfig.cmake.
#
# Manual pages and completions are written from the help texts of the programs when they are installed (manual.py).
include(GNUInstallDirs)
set(CMAKE_SKIP_INSTALL_ALL_DEPENDENCY ON)  # tests need not be built for it
set(configs ${PROJECT_SOURCE_DIR}/configs)
install(CODE "if(NOT EXISTS \"${PROJECT_SOURCE_DIR}/clients/companion/dist/index.html\")
  message(WARNING \"The companion page is not installed: clients/companion/build makes it.\")
endif()")
install(DIRECTORY clients/companion/dist/ DESTINATION share/undersong/page OPTIONAL PATTERN .sources EXCLUDE)
install(FILES ${configs}/undersong.desktop DESTINATION share/applications)
install(FILES clients/companion/public/icon.svg DESTINATION share/icons/hicolor/scalable/apps RENAME undersong.svg)
foreach(size 192 512)
  install(FILES clients/companion/public/icon-${size}.png DESTINATION share/icons/hicolor/${size}x${size}/apps
          RENAME undersong.png)
endforeach()

# The unit names the places that are chosen when it is installed. From share/ it is found under ~/.local too, from lib/
# where a package puts it.
install(CODE "set(unit_source \"${configs}/undersongd.service\")")
install(CODE [[
  get_filename_component(prefix "${CMAKE_INSTALL_PREFIX}" ABSOLUTE)
  file(READ "${unit_source}" unit)
  string(REPLACE "/usr/local" "${prefix}" unit "${unit}")
  set(unit_file "$ENV{DESTDIR}${prefix}/share/systemd/user/undersongd.service")
  if(prefix STREQUAL "/usr")
    set(unit_file "$ENV{DESTDIR}${prefix}/lib/systemd/user/undersongd.service")
  endif()
  file(WRITE "${unit_file}" "${unit}")
  list(APPEND CMAKE_INSTALL_MANIFEST_FILES "${prefix}/share/systemd/user/undersongd.service")
  message(STATUS "Installing: ${unit_file}")
]])

# From the help texts.
find_package(Python3 REQUIRED COMPONENTS Interpreter)
set(manual ${PROJECT_BINARY_DIR}/manual)
install(CODE "execute_process(COMMAND \"${Python3_EXECUTABLE}\" \"${configs}/manual.py\"
  \"${PROJECT_BINARY_DIR}/clients/undersong\" \"${PROJECT_BINARY_DIR}/undersongd\" \"${configs}/undersong.toml\" \"${manual}\"
  COMMAND_ERROR_IS_FATAL ANY)")
install(FILES ${manual}/undersong.1 ${manual}/undersongd.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES ${manual}/undersong.toml.5 DESTINATION ${CMAKE_INSTALL_MANDIR}/man5)
install(FILES ${manual}/undersong DESTINATION share/bash-completion/completions)
install(FILES ${manual}/_undersong DESTINATION share/zsh/vendor-completions)
install(FILES ${manual}/undersong.fish DESTINATION share/fish/vendor_completions.d)

# For the reader, and for programs of others.
set(doc share/doc/undersong)
install(FILES ${configs}/undersong.toml README.md CHANGELOG.md protocol/PROTOCOL.md protocol/schema.json ${configs}/NOTICE
        DESTINATION ${doc})
install(FILES LICENSE DESTINATION ${doc} RENAME copyright)
install(DIRECTORY clients/companion/pictures DESTINATION ${doc}/clients/companion OPTIONAL)
install(FILES clients/example/watch.py ${configs}/demo.mid ${configs}/demo_song.toml DESTINATION ${doc}/examples)
# Libraries whose code is inside our programs, with the licences that Debian keeps for them.
foreach(package libcli11-dev libtomlplusplus-dev libsqlitecpp-dev libboost1.81-dev)
  install(FILES /usr/share/doc/${package}/copyright DESTINATION ${doc}/licences RENAME ${package} OPTIONAL)
endforeach()

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME undersong)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGE_VENDOR "The Undersong founders")
set(CPACK_PACKAGE_CONTACT "The Undersong founders <undersong@localhost>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "names what you play and shows other chords under your melody")
set(CPACK_PACKAGE_DESCRIPTION "You improvise on a MIDI keyboard. Undersong listens while you play. It shows the chord you are playing,
and other chords that fit under the melody note you hold. It keeps every take and writes what you found down for
other musicians. Everything stays on your machine.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "xdg-utils")
set(CPACK_DEBIAN_PACKAGE_SUGGESTS "pipewire-jack, jackd2, fluidsynth")
set(CPACK_OUTPUT_FILE_PREFIX ${PROJECT_BINARY_DIR}/packages)
include(CPack)
