# Writes OUTPUT, a header with the commit that is built; leaves it alone when nothing changed.
cmake_minimum_required(VERSION 3.25)
set(commit unknown)
if(EXISTS ${SOURCE_DIR}/.git)
  execute_process(COMMAND git -C ${SOURCE_DIR} describe --always --dirty --abbrev=12
    OUTPUT_VARIABLE described OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET RESULT_VARIABLE failed)
  if(NOT failed)
    set(commit ${described})
  endif()
endif()
file(CONFIGURE OUTPUT ${OUTPUT} CONTENT "// Made by cmake/commit.cmake.
#pragma once

#define RHUMB_COMMIT \"@commit@\"
" @ONLY)
