#include "eye/atlas.h"

#include <fmt/format.h>

#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "eye/average.h"
#include "eye/correlate.h"
#include "eye/gauge.h"
#include "eye/limbus.h"
#include "eye/orientation.h"
#include "eye/register.h"
#include "eye/ring_limbus.h"

namespace rhumb::eye {

namespace {

// Correlation runs on the middle rings: fine enough for vessels, coarse enough to bear a limbus
// that is found a per cent or two beside its place.
constexpr int search_level = 1;
// A sample belongs to the atlas when this much of the ring agrees with it and at this correlation;
// chance gives below 0.1.
constexpr double least_share = 0.3;
constexpr double least_agreement = 0.3;
constexpr std::size_t fewest_samples = 3;

// While the atlas is young its own tilt is unknown, so the shear may wander by what 8 degrees of
// tilt do.
constexpr double young_shear_sd = 0.02;

RingPose pose_from_limbus(const LimbusEllipse& limbus, const Eigen::Matrix2d& upright,
                          double rotation_rad) {
  PoseParts parts;
  parts.scale = limbus.mean_radius_px();
  parts.rotation_rad = rotation_rad;
  RingPose pose;
  pose.linear = linear_of(upright, parts);
  pose.offset_px = limbus.centre_px;
  return pose;
}

class Builder {
 public:
  Builder(std::span<const video::Frame> frames, const Eigen::Matrix2d& upright,
          const AtlasOptions& options)
      : options_(options),
        upright_(upright),
        shapes_(level_shapes(options)),
        samples_(frames.size()),
        spectra_(frames.size()) {
    for (std::size_t i = 0; i < frames.size(); ++i) samples_[i].frame = &frames[i];
  }

  std::optional<EyeAtlas> build(AtlasReport& report);

 private:
  void find_limbi();
  std::size_t best_connected() const;
  void register_all(const RingTemplate& ring, double shear_sd, bool search);
  Alignment search(Aligner& aligner, const RingTemplate& ring, const RingSpectrum& reference,
                   std::size_t i, const AlignOptions& align) const;
  std::size_t used() const;
  RingPlanes average_planes() const;
  EyeAtlas finish(const RingTemplate& ring) const;

  const AtlasOptions& options_;
  Eigen::Matrix2d upright_;
  LevelShapes shapes_;
  std::vector<AtlasSample> samples_;
  std::vector<RingPose> start_;
  std::vector<RingSpectrum> spectra_;
};

void Builder::find_limbi() {
  start_.resize(samples_.size());
  cv::parallel_for_(cv::Range(0, static_cast<int>(samples_.size())), [&](const cv::Range& range) {
    Aligner aligner;
    std::vector<float> contrast, mask;
    for (int i = range.start; i < range.end; ++i) {
      const video::Frame& frame = *samples_[i].frame;
      const auto limbus = options_.find_limbus
                              ? options_.find_limbus(frame)
                              : find_limbus(frame.luma, frame.cb, frame.cr, LimbusOptions{});
      if (!limbus) continue;
      samples_[i].limbus_found = true;
      start_[i] = pose_from_limbus(*limbus, upright_, 0.0);
      aligner.look_at(frame.luma, start_[i], options_.outer_radius);
      aligner.contrast(shapes_[search_level], search_level, start_[i], contrast, mask);
      spectra_[i] = RingSpectrum(shapes_[search_level], contrast);
    }
  });
}

// The sample that correlates best with its better half of the others.
std::size_t Builder::best_connected() const {
  std::vector<std::size_t> some;
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    if (!spectra_[i].empty()) some.push_back(i);
  }
  const std::size_t stride = some.size() / 40 + 1;
  std::size_t best = samples_.size();
  double best_score = -1.0;
  std::vector<float> curve;
  for (std::size_t a = 0; a < some.size(); a += stride) {
    std::vector<float> tops;
    for (std::size_t b = 0; b < some.size(); b += stride) {
      if (a == b) continue;
      spectra_[some[a]].correlate(spectra_[some[b]], curve);
      tops.push_back(*std::max_element(curve.begin(), curve.end()));
    }
    std::sort(tops.begin(), tops.end(), std::greater<>());
    double score = 0.0;
    for (std::size_t t = 0; t < (tops.size() + 1) / 2; ++t) score += static_cast<double>(tops[t]);
    if (score > best_score) {
      best_score = score;
      best = some[a];
    }
  }
  return best;
}

Alignment Builder::search(Aligner& aligner, const RingTemplate& ring, const RingSpectrum& reference,
                          std::size_t i, const AlignOptions& align) const {
  std::vector<float> curve;
  reference.correlate(spectra_[i], curve);
  Alignment best;
  for (const RotationPeak& peak : rotation_peaks(curve, 3)) {
    RingPose start = start_[i];
    PoseParts parts = parts_of(upright_, start.linear);
    parts.rotation_rad += peak.rotation_rad;
    start.linear = linear_of(upright_, parts);
    const Alignment got = aligner.align(ring, start, align, search_level);
    if (got.quality() > best.quality()) best = got;
  }
  return best.agreement > 0.0 ? aligner.align(ring, best.pose, align) : best;
}

void Builder::register_all(const RingTemplate& ring, double shear_sd, bool search_all) {
  AlignOptions align;
  align.shear_sd = shear_sd;
  const TemplateLevel& level = ring.level[search_level];
  const RingSpectrum reference(level.shape, level.value);
  cv::parallel_for_(cv::Range(0, static_cast<int>(samples_.size())), [&](const cv::Range& range) {
    Aligner aligner;
    for (int i = range.start; i < range.end; ++i) {
      AtlasSample& sample = samples_[i];
      if (!sample.limbus_found) continue;
      if (search_all || !sample.used) {
        aligner.look_at(sample.frame->luma, start_[i], options_.outer_radius);
        sample.alignment = search(aligner, ring, reference, static_cast<std::size_t>(i), align);
      } else {
        aligner.look_at(sample.frame->luma, sample.alignment.pose, options_.outer_radius);
        sample.alignment = aligner.align(ring, sample.alignment.pose, align);
      }
      sample.used = sample.alignment.ring_share >= least_share &&
                    sample.alignment.agreement >= least_agreement;
    }
  });
}

std::size_t Builder::used() const {
  return static_cast<std::size_t>(
      std::count_if(samples_.begin(), samples_.end(), [](const AtlasSample& s) { return s.used; }));
}

RingPlanes Builder::average_planes() const {
  RingPlanes planes;
  planes.value = {average_plane(samples_, shapes_[0], &video::Frame::luma, false, &planes.seen),
                  average_plane(samples_, shapes_[0], &video::Frame::cb, true, nullptr),
                  average_plane(samples_, shapes_[0], &video::Frame::cr, true, nullptr)};
  return planes;
}

EyeAtlas Builder::finish(const RingTemplate& ring) const {
  EyeAtlas atlas;
  const RingShape& shape = ring.level[0].shape;
  const RingPlanes planes = average_planes();
  atlas.ring_seen = planes.seen;
  atlas.ring_luma = planes.value[0];
  atlas.ring_cb = planes.value[1] - cv::Scalar(128.0);
  atlas.ring_cr = planes.value[2] - cv::Scalar(128.0);
  atlas.limbus = find_ring_limbus(planes, shape);
  for (const float r : shape.radius) atlas.radii.push_back(static_cast<double>(r));
  atlas.picture_from_upright = upright_;
  return atlas;
}

std::optional<EyeAtlas> Builder::build(AtlasReport& report) {
  report.samples = static_cast<int>(samples_.size());
  find_limbi();
  report.limbus_found = static_cast<int>(std::count_if(
      samples_.begin(), samples_.end(), [](const AtlasSample& s) { return s.limbus_found; }));
  const std::size_t reference = best_connected();
  if (reference == samples_.size()) {
    report.why_not = "the limbus was found in none of the frames looked at";
    return std::nullopt;
  }
  samples_[reference].used = true;
  samples_[reference].alignment.pose = start_[reference];
  RingTemplate ring = average_template(samples_, shapes_, upright_);
  register_all(ring, young_shear_sd, true);
  TiltEstimate tilt;
  for (int round = 0; round < options_.rounds; ++round) {
    if (used() < fewest_samples) {
      report.why_not =
          fmt::format("the ring about the limbus agreed in only {} of {} frames looked at", used(),
                      samples_.size());
      return std::nullopt;
    }
    const TiltEstimate step = settle_gauge(samples_, upright_, round > 0);
    if (round > 0) tilt = step;
    if (round + 1 == options_.rounds) {
      centre_on(samples_, find_ring_limbus(average_planes(), shapes_[0]));
    }
    ring = average_template(samples_, shapes_, upright_);
    register_all(ring, round > 0 ? AlignOptions{}.shear_sd : young_shear_sd, false);
    if (round == 0) learn_depth(samples_, ring, shapes_);
  }
  EyeAtlas atlas = finish(ring);
  atlas.tilt_se_rad = tilt.se_rad;
  atlas.ring = std::make_shared<RingTemplate>(std::move(ring));
  report.used = static_cast<int>(used());
  report.tilt_rad = std::atan(tilt.parallax.norm());
  report.tilt_used = tilt.parallax;
  report.tilt_measured = tilt.measured;
  report.tilt_azimuth_rad = std::atan2(tilt.parallax.y(), tilt.parallax.x());
  report.tilt_se_rad = tilt.se_rad;
  double share = 0.0;
  for (const AtlasSample& s : samples_) {
    EyePose pose = eye_pose_of(s.alignment, upright_);
    pose.found = s.used;
    if (s.used) share += pose.ring_share;
    report.sample_pose.push_back(std::move(pose));
  }
  report.mean_ring_share = share / std::max(1, report.used);
  return atlas;
}

}  // namespace

double EyeAtlas::column_of(double meridian_rad) const {
  const double turns = meridian_rad / (2.0 * std::numbers::pi);
  return (turns - std::floor(turns)) * ring_luma.cols;
}

double EyeAtlas::row_of(double radius) const {
  return (radius - radii.front()) / (radii.back() - radii.front()) *
         static_cast<double>(radii.size() - 1);
}

std::optional<EyeAtlas> build_atlas(std::span<const video::Frame> samples,
                                    casefile::Superior superior, bool mirrored,
                                    const AtlasOptions& options, AtlasReport& report) {
  report = AtlasReport{};
  return Builder(samples, picture_from_upright(superior, mirrored), options).build(report);
}

LimbusEllipse limbus_in_picture(const EyeAtlas& atlas, const EyePose& pose) {
  const LimbusInAtlas& limbus = atlas.limbus;
  const double c = std::cos(limbus.angle_rad), s = std::sin(limbus.angle_rad);
  Eigen::Matrix2d axes;
  axes << c * limbus.semi_major, -s * limbus.semi_minor, s * limbus.semi_major,
      c * limbus.semi_minor;
  const Eigen::JacobiSVD<Eigen::Matrix2d> svd(pose.picture_from_atlas * axes, Eigen::ComputeFullU);
  LimbusEllipse ellipse;
  ellipse.centre_px = pose.picture_from(limbus.centre);
  ellipse.semi_major_px = svd.singularValues()(0);
  ellipse.semi_minor_px = svd.singularValues()(1);
  ellipse.angle_rad = std::atan2(svd.matrixU()(1, 0), svd.matrixU()(0, 0));
  ellipse.arc_share = pose.ring_share;
  return ellipse;
}

}  // namespace rhumb::eye
