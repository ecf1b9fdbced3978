#include "followup/series.h"

#include <fmt/core.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <mutex>
#include <opencv2/imgproc.hpp>
#include <thread>

#include "angle/angle.h"
#include "casefile/patient_orientation.h"
#include "eye/limbus.h"
#include "files/user_error.h"
#include "followup/choose_marks.h"
#include "followup/match_photos.h"
#include "followup/operation.h"
#include "followup/verdict.h"
#include "followup/workers.h"

namespace rhumb::followup {
namespace {

using Prepared = PhotoOfSeries;

void cross_check(const casefile::Series& series, const casefile::Visit& visit,
                 const std::filesystem::path& file, const reference::PhotoFacts& facts) {
  casefile::check_against_file(
      {series.eye, visit.date, visit.superior, visit.mirrored},
      {facts.laterality ? std::string(1, *facts.laterality) : std::string(), facts.date,
       facts.patient_orientation},
      file.string());
}

void read_marks(PhotoResult& result, const reference::Photo& photo, const casefile::LensMarks& lens,
                const SeriesOptions& options) {
  result.candidates = find_marks(photo, *result.limbus, lens, options.marks);
  for (MarkCandidate& candidate : result.candidates)
    candidate.se_rad = std::hypot(candidate.se_rad, options.reading_floor_rad);
}

// What the photographs with plain marks say of the lens, in the eye's frame.
struct MarksSeen {
  double distance = 0, step = 0;
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
};

std::optional<MarksSeen> marks_seen(const SeriesOutcome& out, const JointSolution& joint) {
  MarksSeen seen;
  int n = 0;
  for (std::size_t p = 0; p < out.photos.size(); ++p) {
    const PhotoResult& photo = out.photos[p];
    if (photo.chosen < 0 || !joint.connected[p]) continue;
    const MarkCandidate& mark = photo.candidates[static_cast<std::size_t>(photo.chosen)];
    seen.distance += mark.distance;
    seen.step += mark.step;
    seen.centre += Eigen::Rotation2Dd(-joint.rotation_rad[p]) * mark.centre();
    ++n;
  }
  if (n == 0) return std::nullopt;
  seen.distance /= n;
  seen.step /= n;
  seen.centre /= n;
  return seen;
}

// A glance a few degrees off moves the lens, 3 mm behind the limbus, by 0.15 mm against it.
MarkOptions expected_marks(MarkOptions options, const MarksSeen& seen, double rotation_rad) {
  options.distance_mean = seen.distance;
  options.distance_sd = 0.02;
  options.known_step = seen.step;
  options.centre_mean = Eigen::Rotation2Dd(rotation_rad) * seen.centre;
  options.centre_sd = 0.035;
  options.most_decentred = 0.1;
  return options;
}

void read_expected(PhotoResult& result, const reference::Photo& photo,
                   const casefile::LensMarks& lens, const SeriesOptions& options,
                   const MarkOptions& marks, bool one_end) {
  result.candidates = one_end ? find_one_end(photo, *result.limbus, lens, marks)
                              : find_marks(photo, *result.limbus, lens, marks);
  for (MarkCandidate& candidate : result.candidates) {
    candidate.expected = true;
    candidate.se_rad = std::hypot(candidate.se_rad, options.reading_floor_rad);
  }
}

outcome::Interval interval(double value, double se) {
  constexpr double normal_95 = 1.959964;
  return {value, value - normal_95 * se, value + normal_95 * se};
}

double picture_direction(const PhotoResult& photo) {
  return photo.candidates[static_cast<std::size_t>(photo.chosen)].direction_rad();
}

// What an axis answers to in the joint solution.
Eigen::VectorXd gradient(const JointSolution& joint, int v, double picture_rad) {
  Eigen::VectorXd j = Eigen::VectorXd::Zero(joint.covariance.rows());
  j.segment<3>(Eigen::Index{3} * v) = joint.jacobian(v, picture_rad);
  return j;
}

double joint_variance(const JointSolution& joint, const Eigen::VectorXd& j) {
  return j.dot(joint.covariance * j);
}

struct VisitAxis {
  double axis_rad = 0;
  double reading_var = 0;
  Eigen::VectorXd gradient;  // by the joint solution
};

// Several photographs of a visit: weighted mean of their axes. Where they differ by more than they
// promise, the mean promises less.
std::optional<VisitAxis> visit_axis(const SeriesOutcome& out, const JointSolution& joint,
                                    int visit) {
  VisitAxis result;
  result.gradient = Eigen::VectorXd::Zero(joint.covariance.rows());
  double weights = 0, sum = 0, squares = 0, base = 0;
  int n = 0;
  for (int p = 0; p < static_cast<int>(out.photos.size()); ++p) {
    const PhotoResult& photo = out.photos[static_cast<std::size_t>(p)];
    if (photo.visit != visit || !photo.axis_rad) continue;
    const double w =
        1 / std::pow(photo.candidates[static_cast<std::size_t>(photo.chosen)].se_rad, 2);
    if (n == 0) base = *photo.axis_rad;
    const double off = angle::wrap_deviation(*photo.axis_rad - base);
    sum += w * off;
    squares += w * off * off;
    weights += w;
    result.gradient += w * gradient(joint, p, picture_direction(photo));
    ++n;
  }
  if (n == 0) return std::nullopt;
  const double mean = sum / weights;
  const double scatter = n > 1 ? std::max(0.0, squares - weights * mean * mean) / (n - 1) : 0.0;
  result.axis_rad = angle::wrap_axis(base + mean);
  result.reading_var = std::max(1.0, scatter) / weights;
  result.gradient /= weights;
  return result;
}

// How each photograph shows the eye: by its pair with the base where there is one, which also knows
// the offset.
void place(PhotoResult& photo, int p, const SeriesOutcome& out, const JointSolution& joint) {
  const auto k = static_cast<std::size_t>(p);
  const double c = std::cos(joint.rotation_rad[k]), s = std::sin(joint.rotation_rad[k]);
  photo.linear << c, -s, s, c;
  for (const Pair& pair : out.pairs) {
    if (!pair.match.accepted || pair.outlier) continue;
    if (pair.first == joint.base && pair.second == p) {
      photo.linear = pair.match.linear;
      photo.offset = pair.match.offset;
    } else if (pair.second == joint.base && pair.first == p) {
      photo.linear = pair.match.linear.inverse();
      photo.offset = -photo.linear * pair.match.offset;
    }
  }
}

void fill_visits(SeriesOutcome& out, const JointSolution& joint) {
  std::optional<VisitAxis> first, before;
  for (int v = 0; v < static_cast<int>(out.stated.visits.size()); ++v) {
    VisitResult result;
    result.label = out.stated.visits[static_cast<std::size_t>(v)].label;
    result.date = out.stated.visits[static_cast<std::size_t>(v)].date;
    for (const PhotoResult& photo : out.photos) {
      if (photo.visit != v) continue;
      if (photo.matched && !result.head_tilt)
        result.head_tilt = interval(photo.rotation_rad, std::hypot(photo.rotation_se_rad, 0.0005));
      if (!photo.why_not.empty() && result.why_not.empty()) result.why_not = photo.why_not;
    }
    const auto axis = visit_axis(out, joint, v);
    if (axis) {
      result.why_not.clear();
      result.axis = interval(axis->axis_rad,
                             std::sqrt(axis->reading_var + joint_variance(joint, axis->gradient)));
      const auto since = [&](const VisitAxis& other) {
        const double value = angle::wrap_deviation(axis->axis_rad - other.axis_rad);
        return interval(value, std::sqrt(axis->reading_var + other.reading_var +
                                         joint_variance(joint, axis->gradient - other.gradient)));
      };
      if (v == 0) {
        first = axis;
        result.drift = outcome::Interval{};
        result.step = outcome::Interval{};
      } else {
        if (first) result.drift = since(*first);
        if (before) result.step = since(*before);
      }
    }
    before = axis;
    out.visits.push_back(std::move(result));
  }
}

// Axes, which count from the first photograph's horizontal, to the eye's meridians.
void turn_axes(SeriesOutcome& out) {
  if (out.zero_rad == 0 && out.zero_se_rad == 0) return;
  for (PhotoResult& photo : out.photos)
    if (photo.axis_rad) photo.axis_rad = angle::wrap_axis(*photo.axis_rad + out.zero_rad);
  for (VisitResult& visit : out.visits)
    if (visit.axis) {
      const double se = std::hypot((visit.axis->high_rad - visit.axis->low_rad) / (2 * 1.959964),
                                   out.zero_se_rad);
      visit.axis = interval(angle::wrap_axis(visit.axis->value_rad + out.zero_rad), se);
    }
}

// The operation's frames go before the photographs, as those of a visit of its own.
void add_operation(SeriesOutcome& out, std::vector<Prepared>& prepared,
                   const Operation& operation) {
  if (operation.frames.empty()) return;
  casefile::Visit visit;
  visit.label = "operation";
  visit.date = operation.date;
  for (const casefile::Visit& other : out.stated.visits)
    if (other.label == visit.label) visit.label = "operation (recording)";
  out.stated.visits.insert(out.stated.visits.begin(), visit);
  for (const OperationFrame& frame : operation.frames) {
    PhotoResult photo;
    photo.file = fmt::format("operation-{:.2f}s", frame.time_s);
    photo.from_operation = true;
    out.photos.push_back(std::move(photo));
    Prepared ready;
    ready.photo = reference::photo_of(frame.bgr);
    ready.limbi = {frame.limbus};
    prepared.push_back(std::move(ready));
  }
}

// What the timeline says of a frame stands for a reading of its marks; `distance` only places the
// marks on the page.
void set_operation_marks(PhotoResult& photo, const OperationFrame& frame, std::size_t frames,
                         double distance) {
  MarkCandidate mark;
  const Eigen::Vector2d u(std::cos(frame.direction_rad), std::sin(frame.direction_rad));
  mark.distance = distance > 0 ? distance : MarkOptions{}.distance_mean;
  mark.end_a = mark.distance * u;
  mark.end_b = -mark.distance * u;
  // Frames of one recording share most of their error: averaging them does not make it smaller.
  mark.se_rad = frame.se_rad * std::sqrt(static_cast<double>(frames));
  photo.candidates = {mark};
  photo.chosen = 0;
  photo.why_not.clear();
}

// Axes from the eye's meridians, as the operation knows them.
void count_from_meridians(SeriesOutcome& out, const JointSolution& joint,
                          const Operation& operation) {
  if (!operation.meridians_known) return;
  for (std::size_t k = 0; k < operation.frames.size(); ++k) {
    if (!out.photos[k].matched) continue;
    const double in_eye =
        joint.eye_direction(static_cast<int>(k), operation.frames[k].direction_rad);
    out.zero_rad = angle::wrap_deviation(operation.frames[k].axis_rad - in_eye);
    out.zero_se_rad = operation.zero_se_rad;
    return;
  }
}

SeriesOutcome measure(const casefile::Series& series, const SeriesOptions& options) {
  SeriesOutcome out;
  out.stated = series;
  std::vector<Prepared> prepared;
  if (options.operation != nullptr) add_operation(out, prepared, *options.operation);
  const int frames = static_cast<int>(out.photos.size());
  for (int v = frames > 0 ? 1 : 0; v < static_cast<int>(out.stated.visits.size()); ++v)
    for (const auto& image : out.stated.visits[static_cast<std::size_t>(v)].images) {
      PhotoResult photo;
      photo.file = image;
      photo.visit = v;
      out.photos.push_back(std::move(photo));
    }
  const int count = static_cast<int>(out.photos.size());
  const int threads = options.threads > 0
                          ? options.threads
                          : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  const ForAll each = [&](int tasks, const std::function<void(int)>& work) {
    for_all(tasks, threads, options.cancel, work);
  };
  prepared.resize(out.photos.size());
  int done = 0;
  std::mutex guard;
  each(count, [&](int i) {
    PhotoResult& result = out.photos[static_cast<std::size_t>(i)];
    Prepared& ready = prepared[static_cast<std::size_t>(i)];
    if (!result.from_operation) {
      const casefile::Visit& visit = out.stated.visits[static_cast<std::size_t>(result.visit)];
      const reference::Photo read = reference::read_photo(result.file);
      cross_check(series, visit, result.file, read.facts);
      ready.photo = reference::photo_of(upright_picture(read.bgr, visit.superior, visit.mirrored));
      ready.limbi = eye::likely_limbi(ready.photo.luma, ready.photo.cb, ready.photo.cr, {}, 3);
    }
    const cv::Mat& bgr = ready.photo.bgr;
    result.width = bgr.cols;
    result.height = bgr.rows;
    const double reduce = std::min(1.0, 1600.0 / bgr.cols);
    cv::resize(bgr, result.upright_bgr, cv::Size(), reduce, reduce, cv::INTER_AREA);
    result.reduced = reduce;
    ready.photo.bgr.release();
    const std::lock_guard lock(guard);
    if (options.progress) options.progress(++done, count);
  });

  JointSolution joint = match_photos(prepared, out.pairs, options.match, each);

  each(count, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    PhotoResult& result = out.photos[k];
    if (prepared[k].limbi.empty()) {
      result.why_not = "no limbus was found in the photograph";
      return;
    }
    result.limbus = prepared[k].limbus();
    if (result.from_operation) return;
    read_marks(result, prepared[k].photo, series.lens, options);
  });
  const double distance = choose_marks(out, joint);
  // Where nothing was plain, look again where the other photographs say that the marks are; then
  // for one end by itself.
  for (const bool one_end : {false, true}) {
    const auto seen = marks_seen(out, joint);
    if (!seen) break;
    each(count, [&](int i) {
      PhotoResult& result = out.photos[static_cast<std::size_t>(i)];
      if (result.chosen >= 0 || !result.limbus || result.from_operation) return;
      read_expected(
          result, prepared[static_cast<std::size_t>(i)].photo, series.lens, options,
          expected_marks(options.marks, *seen, joint.rotation_rad[static_cast<std::size_t>(i)]),
          one_end);
    });
    choose_marks(out, joint);
  }

  for (int k = 0; k < frames; ++k)
    set_operation_marks(out.photos[static_cast<std::size_t>(k)],
                        options.operation->frames[static_cast<std::size_t>(k)],
                        options.operation->frames.size(), distance);

  for (int p = 0; p < count; ++p) {
    const auto k = static_cast<std::size_t>(p);
    PhotoResult& photo = out.photos[k];
    photo.matched = photo.limbus && joint.connected[k] != 0;
    if (!photo.matched) {
      if (photo.why_not.empty())
        photo.why_not =
            "the photograph does not match the others: another eye, the fellow eye, a mirrored "
            "picture, or "
            "too little of the limbus in common";
      out.notes.push_back(fmt::format("{}: {}", photo.file.filename().string(), photo.why_not));
      continue;
    }
    photo.rotation_rad = angle::wrap_rotation(joint.rotation_rad[k]);
    photo.rotation_se_rad =
        std::sqrt(std::max(0.0, joint.covariance(Eigen::Index{3} * p, Eigen::Index{3} * p)));
    place(photo, p, out, joint);
    if (photo.chosen < 0) {
      if (photo.why_not.empty()) photo.why_not = "the lens marks can't be read";
      out.notes.push_back(fmt::format("{}: {}", photo.file.filename().string(), photo.why_not));
      continue;
    }
    if (photo.candidates[static_cast<std::size_t>(photo.chosen)].one_end)
      out.notes.push_back(
          fmt::format("{}: only one end of the marks can be seen; the axis rests on it and on the "
                      "lens centre that the other photographs show",
                      photo.file.filename().string()));
    const double direction = picture_direction(photo);
    photo.axis_rad = angle::wrap_axis(joint.eye_direction(p, direction));
    photo.axis_se_rad =
        std::sqrt(std::pow(photo.candidates[static_cast<std::size_t>(photo.chosen)].se_rad, 2) +
                  joint_variance(joint, gradient(joint, p, direction)));
    out.measured = true;
  }
  for (const Pair& pair : out.pairs)
    if (pair.outlier)
      out.notes.push_back(fmt::format(
          "the pair {} and {} is off by {:.2f} degrees against the others and was left out",
          out.photos[static_cast<std::size_t>(pair.first)].file.filename().string(),
          out.photos[static_cast<std::size_t>(pair.second)].file.filename().string(),
          angle::deg_from_rad(pair.residual_rad)));
  if (frames > 0) count_from_meridians(out, joint, *options.operation);
  fill_visits(out, joint);
  turn_axes(out);
  out.verdict = verdict_of(out);
  return out;
}

}  // namespace

SeriesOutcome measure_series(const casefile::Series& series, const SeriesOptions& options) {
  SeriesOutcome out = measure(series, options);
  if (options.operation == nullptr) return out;
  const bool used = !out.photos.empty() && out.photos.front().from_operation;
  if (!used || out.visits.front().axis) {
    out.notes.push_back(options.operation->remark);
    return out;
  }
  // Frames that fit no photograph would leave every visit without a first one.
  SeriesOptions without = options;
  without.operation = nullptr;
  out = measure(series, without);
  out.notes.emplace_back(
      "the operation's frames do not match the photographs, so it is left out: rotation counts "
      "from "
      "the first photographs");
  return out;
}

}  // namespace rhumb::followup
