# The expected number is the closed form 2 C sin(d) with the cylinder at the corneal plane: the example's 2.25 D at
# the lens lie near 1.6 D at the cornea, so 5 degrees leave near 2 * 1.6 * 0.0872 = 0.28 D.
function(run)
  execute_process(COMMAND ${ARGN} RESULT_VARIABLE failed OUTPUT_VARIABLE out ERROR_VARIABLE err)
  if(failed)
    message(FATAL_ERROR "${ARGN}\n${out}${err}")
  endif()
  set(out "${out}" PARENT_SCOPE)
endfunction()

set(work ${BUILD}/library-test)
file(REMOVE_RECURSE ${work})
run(${CMAKE_COMMAND} --install ${BUILD} --prefix ${work}/installed)
foreach(name bin/rhumb share/man/man1/rhumb.1.gz share/bash-completion/completions/rhumb
        share/doc/rhumb/copyright)
  if(NOT EXISTS ${work}/installed/${name})
    message(FATAL_ERROR "${name} was not installed")
  endif()
endforeach()
run(${CMAKE_COMMAND} -S ${SOURCE}/docs/library-example -B ${work}/build -G Ninja
    -DCMAKE_BUILD_TYPE=Release -DCMAKE_PREFIX_PATH=${work}/installed)
run(${CMAKE_COMMAND} --build ${work}/build)
file(WRITE ${work}/video.mp4 "only named")
file(WRITE ${work}/case.toml "[case]
id = \"L-1\"
eye = \"right\"
[video]
file = \"video.mp4\"
superior = \"top\"
[plan]
axis_deg = 30
[reference]
kind = \"none\"
[lens]
marks = \"lines\"
cylinder_D = 2.25
")
run(${work}/build/axis_of_a_case ${work}/case.toml)
if(NOT out MATCHES "^L-1: 5 degrees would leave (0\\.[0-9]+) D")
  message(FATAL_ERROR "the example said: ${out}")
endif()
if(CMAKE_MATCH_1 LESS 0.24 OR CMAKE_MATCH_1 GREATER 0.32)
  message(FATAL_ERROR "5 degrees leave ${CMAKE_MATCH_1} D, not near 0.28")
endif()
