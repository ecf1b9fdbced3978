// Test recordings, made at run time by the `ffmpeg` command line tool, and what `ffprobe` reads
// from them.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "video/facts.h"
#include "video/frame.h"
#include "video/reader.h"

namespace made {

// An empty folder that goes when the test ends.
class Folder {
 public:
  Folder();
  ~Folder();
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

// Runs `ffmpeg ARGUMENTS FILE` quietly (FILE is quoted); fails the test when it fails. Gives FILE
// back.
std::filesystem::path ffmpeg(const std::string& arguments, const std::filesystem::path& file);

// Moving test pattern of libavfilter with noise, `frames` pictures at `rate`, as an input for
// ffmpeg().
std::string pattern(int frames, const std::string& size = "160x120",
                    const std::string& rate = "25");

// Standard output of a command.
std::string output_of(const std::string& command);

// Presentation times by ffprobe, an independent reading, counted from the first picture.
std::vector<double> probed_times(const std::filesystem::path& file);

// Planes as ffmpeg decodes them, upright: `plane` is y, u or v. 8 bit unless `wide` (then 16 bit
// words).
std::vector<cv::Mat> planes_by_ffmpeg(const std::filesystem::path& file, char plane, cv::Size size,
                                      bool wide = false, const std::string& before = "");

struct Read {
  std::vector<double> times_s;
  std::vector<cv::Mat> luma;  // copies; only when asked for
  std::vector<cv::Mat> cb;
  std::vector<cv::Mat> cr;
  std::vector<std::int64_t> indices;
  rhumb::video::StreamFacts facts;
};
Read read(const std::vector<std::filesystem::path>& files, bool keep = false,
          const rhumb::video::ReaderOptions& options = {});

double largest_difference(const cv::Mat& a, const cv::Mat& b);
double psnr(const cv::Mat& a, const cv::Mat& b);

std::string bytes_of(const std::filesystem::path& file);
void write_bytes(const std::filesystem::path& file, const std::string& bytes);

}  // namespace made
