// A circle through points.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>

namespace rhumb::eye {

struct Circle {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  double radius = 0.0;
};

// Linear least squares over squared distances (Kasa, IEEE Trans Instrum Meas 1976;25:8-14, from
// memory), in the points' own unit. Nothing for points on a line or fewer than three.
std::optional<Circle> fit_circle(std::span<const Eigen::Vector2d> points);

}  // namespace rhumb::eye
