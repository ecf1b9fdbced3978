// The two ways in which a run ends early by no fault of the program.
#pragma once

#include <exception>
#include <stdexcept>
#include <string>

namespace rhumb {

// What a user gave cannot be used. It becomes one line on standard error and exit status 2, so it
// must name the file, the place in it (line and column, key, time; may be empty) and the mend.
//
//   throw UserError("case.toml", "line 12, plan.axis_deg", "190 is above 180", "write an axis from
//   0 to 180");
//
// what() is "case.toml: line 12, plan.axis_deg: 190 is above 180; write an axis from 0 to 180",
// with line breaks and other control characters replaced, so that it stays one line whatever the
// input holds.
class UserError : public std::runtime_error {
 public:
  UserError(std::string file, std::string place, std::string problem, std::string mend);

  const std::string& file() const { return file_; }
  const std::string& place() const { return place_; }
  const std::string& problem() const { return problem_; }
  const std::string& mend() const { return mend_; }

 private:
  std::string file_;
  std::string place_;
  std::string problem_;
  std::string mend_;
};

// The user asked to stop (SIGINT, SIGTERM): exit status 130. Thrown by long work that sees its
// std::stop_token set; files::PartialFile removes what is half written.
class Interrupted : public std::exception {
 public:
  const char* what() const noexcept override { return "interrupted"; }
};

// The text with control characters (line breaks, escapes, invalid UTF-8) made visible or dropped,
// cut to `most` bytes: safe on a terminal and in a one-line message.
std::string one_line(const std::string& text, std::size_t most = 400);

}  // namespace rhumb
