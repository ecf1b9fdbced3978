# A room is a folder of src/ with a static library of its own; tests/ mirrors it.

add_library(rhumb_settings INTERFACE)
target_compile_features(rhumb_settings INTERFACE cxx_std_20)
set(warnings -Wall -Wextra -Wpedantic -Werror -Wshadow -Wconversion -Wno-sign-conversion
  -Wnon-virtual-dtor -Woverloaded-virtual)
# g++ 12 sees overlaps in std::string's operator+ that are not there (GCC bug 105651).
if(CMAKE_CXX_COMPILER_ID STREQUAL GNU)
  list(APPEND warnings -Wno-restrict)
endif()
# Ours only: a program that links the installed library keeps its own warnings.
target_compile_options(rhumb_settings INTERFACE "$<BUILD_INTERFACE:${warnings}>")
# The same bytes on every machine of one build: no contraction into fused multiply-adds.
target_compile_options(rhumb_settings INTERFACE $<BUILD_INTERFACE:-ffp-contract=off>)
target_include_directories(rhumb_settings INTERFACE $<BUILD_INTERFACE:${PROJECT_SOURCE_DIR}/src>
  $<INSTALL_INTERFACE:include/rhumb>)
target_compile_definitions(rhumb_settings INTERFACE
  "$<BUILD_INTERFACE:RHUMB_VERSION=\"${PROJECT_VERSION}\">")
if(RHUMB_SANITIZE)
  target_compile_options(rhumb_settings INTERFACE -fsanitize=address,undefined
    -fno-sanitize-recover=all -fno-omit-frame-pointer)
  # g++ warns falsely of uninitialised values in instrumented code, as its manual says.
  if(CMAKE_CXX_COMPILER_ID STREQUAL GNU)
    target_compile_options(rhumb_settings INTERFACE -Wno-maybe-uninitialized)
  endif()
  target_link_options(rhumb_settings INTERFACE -fsanitize=address,undefined)
endif()
if(RHUMB_THREAD_SANITIZE)
  target_compile_options(rhumb_settings INTERFACE -fsanitize=thread)
  target_link_options(rhumb_settings INTERFACE -fsanitize=thread)
endif()

# OpenCV headers are not ours to mend: they come in as system headers.
add_library(rhumb_opencv INTERFACE)
target_include_directories(rhumb_opencv SYSTEM INTERFACE ${OpenCV_INCLUDE_DIRS})
target_link_libraries(rhumb_opencv INTERFACE opencv_core opencv_imgproc)

# rhumb_room(NAME USES other rooms... LIBS outside libraries...)
function(rhumb_room name)
  cmake_parse_arguments(ROOM "" "" "USES;LIBS" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.cpp)
  list(TRANSFORM ROOM_USES PREPEND rhumb_)
  if(sources)
    add_library(rhumb_${name} STATIC ${sources})
    target_link_libraries(rhumb_${name} PUBLIC rhumb_settings ${ROOM_USES} ${ROOM_LIBS})
  else()
    add_library(rhumb_${name} INTERFACE)
    target_link_libraries(rhumb_${name} INTERFACE rhumb_settings ${ROOM_USES} ${ROOM_LIBS})
  endif()
endfunction()

# rhumb_test(NAME USES rooms... LIBS ...): tests/NAME/*.cpp become the program test_NAME
function(rhumb_test name)
  cmake_parse_arguments(TEST "" "" "USES;LIBS" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.cpp)
  if(NOT sources)
    return()
  endif()
  list(TRANSFORM TEST_USES PREPEND rhumb_)
  add_executable(test_${name} ${sources})
  target_link_libraries(test_${name} PRIVATE rhumb_settings rhumb_test_main ${TEST_USES} ${TEST_LIBS})
  target_include_directories(test_${name} PRIVATE ${PROJECT_SOURCE_DIR}/tests)
  target_compile_definitions(test_${name} PRIVATE
    RHUMB_FIXTURES="${PROJECT_SOURCE_DIR}/fixtures" RHUMB_SOURCE_DIR="${PROJECT_SOURCE_DIR}"
    RHUMB_BINARY_DIR="${PROJECT_BINARY_DIR}")
  # Under sanitizers the tests that take long are left out; Catch's tag [long] marks them.
  if(RHUMB_SANITIZE OR RHUMB_THREAD_SANITIZE)
    add_test(NAME ${name} COMMAND test_${name} "~[long]")
  else()
    add_test(NAME ${name} COMMAND test_${name})
  endif()
endfunction()
