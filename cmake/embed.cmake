# Writes a C++ source that holds text files: cmake -DOUTPUT=... -DHEADER=... -DFILES="a;b" -P embed.cmake
# Each file becomes a function rhumb::report::embedded::NAME(), its name's other characters as '_'.
set(source "#include \"${HEADER}\"\n\nnamespace rhumb::report::embedded {\n")
foreach(file ${FILES})
  get_filename_component(name ${file} NAME)
  string(MAKE_C_IDENTIFIER ${name} name)
  file(READ ${file} content)
  string(APPEND source "std::string_view ${name}() {\n  return R\"embedded~(")
  string(APPEND source "${content}")
  string(APPEND source ")embedded~\";\n}\n")
endforeach()
string(APPEND source "}  // namespace rhumb::report::embedded\n")
file(WRITE ${OUTPUT} "${source}")
