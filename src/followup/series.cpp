#include "followup/series.h"

#include <fmt/core.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>
#include <opencv2/imgproc.hpp>
#include <thread>

#include "angle/angle.h"
#include "casefile/patient_orientation.h"
#include "eye/limbus.h"
#include "files/user_error.h"
#include "followup/choose_marks.h"
#include "followup/operation.h"

namespace rhumb::followup {
namespace {

// Calls work(i) for every i in parallel; the first exception is thrown again.
void for_all(int count, int threads, const SeriesOptions& options,
             const std::function<void(int)>& work) {
  std::atomic<int> next{0};
  std::exception_ptr failure;
  std::mutex guard;
  const auto loop = [&] {
    for (int i = next++; i < count; i = next++) {
      if (options.cancel.stop_requested()) return;
      try {
        work(i);
      } catch (...) {
        const std::lock_guard lock(guard);
        if (!failure) failure = std::current_exception();
        return;
      }
    }
  };
  std::vector<std::jthread> pool;
  for (int k = 1; k < std::min(threads, count); ++k) pool.emplace_back(loop);
  loop();
  pool.clear();
  if (failure) std::rethrow_exception(failure);
  if (options.cancel.stop_requested()) throw Interrupted();
}

void cross_check(const casefile::Series& series, const casefile::Visit& visit,
                 const std::filesystem::path& file, const reference::PhotoFacts& facts) {
  casefile::check_against_file(
      {series.eye, visit.date, visit.superior, visit.mirrored},
      {facts.laterality ? std::string(1, *facts.laterality) : std::string(), facts.date,
       facts.patient_orientation},
      file.string());
}

struct Prepared {
  reference::Photo photo;
  std::vector<eye::LimbusEllipse> limbi;  // likeliest first
  std::vector<eye::RingView> views;       // made when needed
};

constexpr int most_limbi = 3;

// Pairs of photographs under the limbi in use.
void match_pairs(SeriesOutcome& out, std::vector<Prepared>& prepared,
                 const std::vector<int>& limbus, std::vector<Pair>& pairs, int threads,
                 const SeriesOptions& options) {
  for_all(static_cast<int>(pairs.size()), threads, options, [&](int k) {
    Pair& pair = pairs[static_cast<std::size_t>(k)];
    const auto a = static_cast<std::size_t>(pair.first), b = static_cast<std::size_t>(pair.second);
    pair.match =
        eye::match_rings(prepared[a].views[static_cast<std::size_t>(limbus[a])],
                         prepared[b].views[static_cast<std::size_t>(limbus[b])], options.match);
  });
  (void)out;
}

void read_marks(PhotoResult& result, const reference::Photo& photo, const casefile::LensMarks& lens,
                const SeriesOptions& options, const MarkOptions& marks) {
  result.candidates = find_marks(photo, *result.limbus, lens, marks);
  for (MarkCandidate& candidate : result.candidates)
    candidate.se_rad = std::hypot(candidate.se_rad, options.reading_floor_rad);
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
  j.segment<3>(3 * v) = joint.jacobian(v, picture_rad);
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
  prepared.resize(out.photos.size());
  int done = 0;
  std::mutex guard;
  for_all(count, threads, options, [&](int i) {
    PhotoResult& result = out.photos[static_cast<std::size_t>(i)];
    Prepared& ready = prepared[static_cast<std::size_t>(i)];
    if (!result.from_operation) {
      const casefile::Visit& visit = out.stated.visits[static_cast<std::size_t>(result.visit)];
      const reference::Photo read = reference::read_photo(result.file);
      cross_check(series, visit, result.file, read.facts);
      ready.photo = reference::photo_of(upright_picture(read.bgr, visit.superior, visit.mirrored));
      ready.limbi =
          eye::likely_limbi(ready.photo.luma, ready.photo.cb, ready.photo.cr, {}, most_limbi);
    }
    const cv::Mat& bgr = ready.photo.bgr;
    result.width = bgr.cols;
    result.height = bgr.rows;
    for (const auto& limbus : ready.limbi)
      ready.views.push_back(
          eye::ring_view(ready.photo.luma, ready.photo.cb, ready.photo.cr, limbus));
    const double reduce = std::min(1.0, 1600.0 / bgr.cols);
    cv::resize(bgr, result.upright_bgr, cv::Size(), reduce, reduce, cv::INTER_AREA);
    result.reduced = reduce;
    ready.photo.bgr.release();
    const std::lock_guard lock(guard);
    if (options.progress) options.progress(++done, count);
  });

  // All pairs; then, for a photograph that fits no other, the other rings that may be its limbus.
  std::vector<int> limbus(out.photos.size(), 0);
  for (int a = 0; a < count; ++a)
    for (int b = a + 1; b < count; ++b)
      if (!prepared[static_cast<std::size_t>(a)].limbi.empty() &&
          !prepared[static_cast<std::size_t>(b)].limbi.empty()) {
        Pair pair;
        pair.first = a;
        pair.second = b;
        out.pairs.push_back(pair);
      }
  match_pairs(out, prepared, limbus, out.pairs, threads, options);
  JointSolution joint = solve_jointly(count, out.pairs);
  for (int p = 0; p < count; ++p) {
    if (count < 2 || joint.connected[static_cast<std::size_t>(p)]) continue;
    for (int k = 1; k < static_cast<int>(prepared[static_cast<std::size_t>(p)].limbi.size()); ++k) {
      std::vector<Pair> again;
      for (const Pair& pair : out.pairs)
        if (pair.first == p || pair.second == p) again.push_back(pair);
      std::vector<int> other = limbus;
      other[static_cast<std::size_t>(p)] = k;
      match_pairs(out, prepared, other, again, threads, options);
      if (std::none_of(again.begin(), again.end(),
                       [](const Pair& pair) { return pair.match.accepted; }))
        continue;
      limbus = other;
      for (Pair& pair : out.pairs)
        for (const Pair& fresh : again)
          if (pair.first == fresh.first && pair.second == fresh.second) pair = fresh;
      joint = solve_jointly(count, out.pairs);
      break;
    }
  }

  for_all(count, threads, options, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    PhotoResult& result = out.photos[k];
    if (prepared[k].limbi.empty()) {
      result.why_not = "no limbus was found in the photograph";
      return;
    }
    result.limbus = prepared[k].limbi[static_cast<std::size_t>(limbus[k])];
    if (result.from_operation) return;
    read_marks(result, prepared[k].photo, series.lens, options, options.marks);
  });
  const double distance = choose_marks(out, joint);
  // Where nothing was plain, look again for marks at the distance that the other photographs show.
  if (distance > 0) {
    MarkOptions narrow = options.marks;
    narrow.distance_mean = distance;
    narrow.distance_sd = 0.02;
    for_all(count, threads, options, [&](int i) {
      PhotoResult& result = out.photos[static_cast<std::size_t>(i)];
      if (result.chosen < 0 && result.limbus && !result.from_operation)
        read_marks(result, prepared[static_cast<std::size_t>(i)].photo, series.lens, options,
                   narrow);
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
    photo.rotation_se_rad = std::sqrt(std::max(0.0, joint.covariance(3 * p, 3 * p)));
    place(photo, p, out, joint);
    if (photo.chosen < 0) {
      if (photo.why_not.empty()) photo.why_not = "the lens marks can't be read";
      out.notes.push_back(fmt::format("{}: {}", photo.file.filename().string(), photo.why_not));
      continue;
    }
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
  const VisitResult* last = nullptr;
  for (const VisitResult& visit : out.visits)
    if (visit.drift && &visit != &out.visits.front()) last = &visit;
  if (last) {
    out.verdict = fmt::format(
        "Between {} and {} the lens turned by {:+.1f} degrees ({:+.1f} to {:+.1f}).",
        out.visits.front().label, last->label, angle::deg_from_rad(last->drift->value_rad),
        angle::deg_from_rad(last->drift->low_rad), angle::deg_from_rad(last->drift->high_rad));
  } else {
    out.verdict = out.measured ? "No rotation between visits could be measured."
                               : "No axis could be measured in any photograph.";
  }
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
