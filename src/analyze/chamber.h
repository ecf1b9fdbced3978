// What viscoelastic in the chamber does to the line of sight, as the iris shows it over time.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <span>
#include <vector>

#include "eye/iris_strip.h"
#include "video/frame.h"

namespace rhumb::analyze {

// Collects the iris while the recording goes by: the median of a few frames each 0.4 s. Of a long
// recording every second entry is given up, and the next are twice as long, as often as needed: the
// log takes 22 MB at most.
class IrisLog {
 public:
  void add(const video::Frame& frame, const eye::EyePose& pose);
  void finish();

  struct Entry {
    double start_s = 0.0;
    double end_s = 0.0;
    cv::Mat1b strip;
  };
  const std::vector<Entry>& entries() const { return entries_; }

 private:
  double entry_s_ = 0.4;
  std::vector<cv::Mat1b> waiting_;
  double start_s_ = 0.0;
  double last_s_ = -1e9;
  std::vector<Entry> entries_;
};

struct ChamberReading {
  // By time: how much the iris is bent against the end of the recording (eye::bending, its own
  // noise taken off), limbal radii.
  std::vector<double> time_s;
  std::vector<double> bending;
  double reach_s = 1.0;  // how far a reading speaks
  bool known() const { return !time_s.empty(); }
  // Between the readings about that time, the larger of the two; nothing where none is near: an
  // iris that was covered says nothing.
  std::optional<double> at(double now_s) const;
};

// settled_from_s: from then on nothing bends; it gives the reference. Nothing is known where that
// stretch is shorter than two entries, or where the iris never moves against it: then the
// recording does not show that anything was washed out.
ChamberReading read_chamber(std::span<const IrisLog::Entry> iris, double settled_from_s,
                            int threads);

}  // namespace rhumb::analyze
