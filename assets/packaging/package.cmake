# cmake --install and cpack (.deb). The man page and the shell completion are written by the program itself.
include(GNUInstallDirs)
set(UROKO_PACKAGING ${CMAKE_CURRENT_LIST_DIR})

find_program(GZIP gzip)
set(made ${CMAKE_BINARY_DIR}/packaging)
file(MAKE_DIRECTORY ${made})
string(TIMESTAMP release_date "%a, %d %b %Y 00:00:00 +0000" UTC)
file(WRITE ${made}/changelog "uroko (${PROJECT_VERSION}) stable; urgency=medium\n\n  * Release ${PROJECT_VERSION}.\n\n -- the uroko authors <uroko@localhost.localdomain>  ${release_date}\n")
add_custom_command(
  OUTPUT ${made}/uroko.1.gz ${made}/uroko.bash
  COMMAND sh -c "'$<TARGET_FILE:uroko>' manual man | gzip -9n > uroko.1.gz && '$<TARGET_FILE:uroko>' manual bash > uroko.bash && gzip -9nc changelog > changelog.gz"
  DEPENDS uroko WORKING_DIRECTORY ${made} COMMENT "Writing the man page and the shell completion" VERBATIM)
add_custom_target(uroko_manual ALL DEPENDS ${made}/uroko.1.gz ${made}/uroko.bash)

install(TARGETS uroko RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
install(FILES ${UROKO_PACKAGING}/uroko.desktop DESTINATION ${CMAKE_INSTALL_DATADIR}/applications)
install(FILES ${UROKO_PACKAGING}/uroko-mime.xml DESTINATION ${CMAKE_INSTALL_DATADIR}/mime/packages RENAME uroko.xml)
install(FILES ${UROKO_PACKAGING}/org.uroko.uroko.metainfo.xml DESTINATION ${CMAKE_INSTALL_DATADIR}/metainfo)
install(FILES ${UROKO_PACKAGING}/uroko.svg DESTINATION ${CMAKE_INSTALL_DATADIR}/icons/hicolor/scalable/apps)
install(FILES ${made}/uroko.1.gz DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES ${made}/uroko.bash DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME uroko)
install(FILES ${UROKO_PACKAGING}/copyright ${made}/changelog.gz DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/uroko)
install(FILES ${UROKO_PACKAGING}/lintian-overrides DESTINATION ${CMAKE_INSTALL_DATADIR}/lintian/overrides RENAME uroko)
install(DIRECTORY ${CMAKE_SOURCE_DIR}/assets/guide ${CMAKE_SOURCE_DIR}/assets/schema-json DESTINATION ${CMAKE_INSTALL_DATADIR}/uroko)
install(DIRECTORY ${CMAKE_SOURCE_DIR}/sample_images DESTINATION ${CMAKE_INSTALL_DATADIR}/uroko)
install(PROGRAMS ${CMAKE_SOURCE_DIR}/scripts/sample-case DESTINATION ${CMAKE_INSTALL_DATADIR}/uroko)
# The sample case as the window opens it, made by the program that is being installed.
install(CODE "
  file(REMOVE_RECURSE \"${made}/sample.uroko\")
  execute_process(COMMAND \"${CMAKE_SOURCE_DIR}/scripts/sample-case\" \"$<TARGET_FILE:uroko>\" \"${made}/sample.uroko\" OUTPUT_QUIET COMMAND_ERROR_IS_FATAL ANY)")
install(DIRECTORY ${made}/sample.uroko DESTINATION ${CMAKE_INSTALL_DATADIR}/uroko)

# Packs what is built: build first.
set(CMAKE_SKIP_INSTALL_ALL_DEPENDENCY TRUE)
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME uroko)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_PACKAGE_CONTACT "the uroko authors <uroko@localhost.localdomain>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "measure ulcers of koi on dated photos and follow how they heal")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION "For people who treat ulcerated koi. From photos with a scale reference\nin frame it measures the wound's area with a 95 % interval, what fills the\nwound bed, and how the area changes from visit to visit beside the care\nthat was given. It does not diagnose and recommends no treatment.")
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
# Letters for the window and the sheets are looked up by name, not linked.
set(CPACK_DEBIAN_PACKAGE_DEPENDS "fonts-dejavu-core, libgl1-mesa-dri")
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "fonts-droid-fallback")
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CMAKE_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS ${CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS})
include(CPack)
