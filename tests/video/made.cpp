#include "video/made.h"

#include <unistd.h>

#include <array>
#include <catch2/catch.hpp>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <memory>
#include <opencv2/core.hpp>
#include <sstream>
#include <system_error>

namespace made {
namespace fs = std::filesystem;

Folder::Folder() {
  std::string name = (fs::temp_directory_path() / "rhumb-video-XXXXXX").string();
  REQUIRE(::mkdtemp(name.data()) != nullptr);
  path_ = name;
}

Folder::~Folder() {
  std::error_code ignored;
  fs::remove_all(path_, ignored);
}

fs::path ffmpeg(const std::string& arguments, const fs::path& file) {
  const std::string command =
      "ffmpeg -v error -nostdin -y -threads 1 " + arguments + " '" + file.string() + "'";
  INFO(command);
  REQUIRE(std::system(command.c_str()) == 0);
  return file;
}

std::string pattern(int frames, const std::string& size, const std::string& rate) {
  return "-f lavfi -i testsrc2=size=" + size + ":rate=" + rate +
         ",noise=alls=6:allf=t:all_seed=7 -frames:v " + std::to_string(frames) + " ";
}

std::string output_of(const std::string& command) {
  struct Close {
    void operator()(FILE* pipe) const { ::pclose(pipe); }
  };
  const std::unique_ptr<FILE, Close> pipe(::popen(command.c_str(), "r"));
  REQUIRE(pipe != nullptr);
  std::string text;
  std::array<char, 65536> block{};
  for (std::size_t got = 0; (got = std::fread(block.data(), 1, block.size(), pipe.get())) > 0;) {
    text.append(block.data(), got);
  }
  return text;
}

std::vector<double> probed_times(const fs::path& file) {
  std::istringstream lines(
      output_of("ffprobe -v quiet -threads 1 -select_streams v:0 -show_entries "
                "frame=best_effort_timestamp_time "
                "-of csv=p=0 '" +
                file.string() + "'"));
  std::vector<double> times;
  for (std::string line; std::getline(lines, line);) {
    if (!line.empty() && line[0] != ',') {
      times.push_back(std::strtod(line.c_str(), nullptr));
    }
  }
  const double first = times.empty() ? 0.0 : times.front();
  for (double& time : times) {
    time -= first;
  }
  return times;
}

std::vector<cv::Mat> planes_by_ffmpeg(const fs::path& file, char plane, cv::Size size, bool wide,
                                      const std::string& before) {
  const std::string filter = before + (before.empty() ? "" : ",") + "extractplanes=" + plane;
  const std::string raw = output_of("ffmpeg -v quiet -nostdin -threads 1 -i '" + file.string() +
                                    "' -vf '" + filter + "' -fps_mode passthrough -f rawvideo -");
  const int type = wide ? CV_16UC1 : CV_8UC1;
  const std::size_t bytes = static_cast<std::size_t>(size.area()) * (wide ? 2 : 1);
  REQUIRE(raw.size() % bytes == 0);
  std::vector<cv::Mat> planes;
  for (std::size_t at = 0; at < raw.size(); at += bytes) {
    planes.push_back(cv::Mat(size, type, const_cast<char*>(raw.data() + at)).clone());
  }
  return planes;
}

Read read(const std::vector<fs::path>& files, bool keep,
          const rhumb::video::ReaderOptions& options) {
  auto reader = rhumb::video::Reader::open(files, options);
  Read all;
  while (auto frame = reader.next()) {
    all.times_s.push_back(frame->time_s);
    all.indices.push_back(frame->index);
    if (keep) {
      all.luma.push_back(frame->luma.clone());
      all.cb.push_back(frame->cb.clone());
      all.cr.push_back(frame->cr.clone());
    }
  }
  all.facts = reader.facts();
  return all;
}

double largest_difference(const cv::Mat& a, const cv::Mat& b) {
  REQUIRE(a.size() == b.size());
  return cv::norm(a, b, cv::NORM_INF);
}

double psnr(const cv::Mat& a, const cv::Mat& b) {
  REQUIRE(a.size() == b.size());
  return cv::PSNR(a, b);
}

std::string bytes_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream all;
  all << in.rdbuf();
  return all.str();
}

void write_bytes(const fs::path& file, const std::string& bytes) {
  std::ofstream out(file, std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

}  // namespace made
