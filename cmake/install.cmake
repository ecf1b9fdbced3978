# Installing, the library target for other programs, and the Debian package.
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)

# Man pages and completions are made from the program's own help, so that they cannot disagree with it.
find_package(Python3 REQUIRED COMPONENTS Interpreter)
set(help_dir ${PROJECT_BINARY_DIR}/help)
add_custom_command(OUTPUT ${help_dir}/done
  COMMAND ${Python3_EXECUTABLE} ${PROJECT_SOURCE_DIR}/tools/help_files.py $<TARGET_FILE:rhumb> ${help_dir}
  COMMAND ${CMAKE_COMMAND} -E touch ${help_dir}/done
  DEPENDS rhumb ${PROJECT_SOURCE_DIR}/tools/help_files.py VERBATIM)
add_custom_target(rhumb_help ALL DEPENDS ${help_dir}/done)

install(TARGETS rhumb RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT program)
install(DIRECTORY ${help_dir}/man/ DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT program)
install(FILES ${help_dir}/completions/rhumb.bash COMPONENT program
  DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME rhumb)
install(FILES ${help_dir}/completions/_rhumb COMPONENT program
  DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions)
install(FILES ${help_dir}/completions/rhumb.fish COMPONENT program
  DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)
install(FILES README.md docs/casefile.md docs/licences.md CITATION.cff COMPONENT program
  DESTINATION ${CMAKE_INSTALL_DOCDIR})

# find_package(rhumb) gives rhumb::rhumb, which is all rooms; rhumb::angle and so on are single ones.
add_library(rhumb_library INTERFACE)
target_compile_features(rhumb_library INTERFACE cxx_std_20)
set_target_properties(rhumb_library PROPERTIES EXPORT_NAME rhumb)
get_directory_property(RHUMB_ROOMS DIRECTORY src DEFINITION RHUMB_ROOMS)
set(exported rhumb_library rhumb_settings rhumb_opencv)
foreach(room ${RHUMB_ROOMS})
  target_link_libraries(rhumb_library INTERFACE rhumb_${room})
  set_target_properties(rhumb_${room} PROPERTIES EXPORT_NAME ${room})
  list(APPEND exported rhumb_${room})
endforeach()
install(TARGETS ${exported} EXPORT rhumb ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT library)
install(DIRECTORY src/ DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/rhumb COMPONENT library
  FILES_MATCHING PATTERN "*.h" PATTERN cli EXCLUDE PATTERN vendor EXCLUDE PATTERN templates EXCLUDE
  PATTERN page EXCLUDE)
set(config_dir ${CMAKE_INSTALL_LIBDIR}/cmake/rhumb)
install(EXPORT rhumb NAMESPACE rhumb:: FILE rhumb-targets.cmake DESTINATION ${config_dir}
  COMPONENT library)
write_basic_package_version_file(${PROJECT_BINARY_DIR}/rhumb-config-version.cmake
  COMPATIBILITY SameMinorVersion)
install(FILES cmake/rhumb-config.cmake ${PROJECT_BINARY_DIR}/rhumb-config-version.cmake
  DESTINATION ${config_dir} COMPONENT library)

# The Debian package holds the program only: cpack -G DEB in the build folder.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME rhumb)
set(CPACK_PACKAGE_VENDOR "Rhumb")
set(CPACK_PACKAGE_CONTACT "The Rhumb maintainers <maintainers@rhumb.example>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "reads toric lens axes off recordings after surgery")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
  "Rhumb reads recordings of toric intraocular lens operations afterwards and\nreports the achieved against the planned axis with its uncertainty. For\nreview after surgery; not for guidance, diagnosis or treatment.")
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME rhumb)
set(CPACK_COMPONENTS_ALL program)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ
  GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
find_program(GZIP gzip REQUIRED)
execute_process(COMMAND ${CMAKE_COMMAND} -E make_directory ${PROJECT_BINARY_DIR}/debian)
execute_process(COMMAND ${GZIP} -9nc ${PROJECT_SOURCE_DIR}/CHANGELOG.md
  OUTPUT_FILE ${PROJECT_BINARY_DIR}/debian/changelog.gz)
install(FILES ${PROJECT_BINARY_DIR}/debian/changelog.gz DESTINATION ${CMAKE_INSTALL_DOCDIR}
  COMPONENT program)
install(FILES docs/licences.md DESTINATION ${CMAKE_INSTALL_DOCDIR} RENAME copyright
  COMPONENT program)
include(CPack)
