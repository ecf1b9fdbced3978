#include "render/rng.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rhumb::render {

std::uint64_t mix(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15ULL;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

std::uint64_t key_of(std::uint64_t seed, std::uint64_t purpose) { return mix(mix(seed) ^ purpose); }

double Rng::uniform() { return static_cast<double>(mix(key_ ^ mix(count_++)) >> 11) * 0x1.0p-53; }

double Rng::uniform(double low, double high) { return low + (high - low) * uniform(); }

double Rng::normal() {
  const double u = 1.0 - uniform();
  const double v = uniform();
  return std::sqrt(-2.0 * std::log(u)) * std::cos(2.0 * std::numbers::pi * v);
}

int Rng::below(int n) { return std::min(n - 1, static_cast<int>(uniform() * n)); }

double smooth_noise(std::uint64_t key, double t) {
  const double cell = std::floor(t);
  const double f = t - cell;
  const auto height = [&](double at) {
    const auto n = static_cast<std::uint64_t>(static_cast<std::int64_t>(at));
    return static_cast<double>(mix(key ^ mix(n)) >> 11) * 0x1.0p-52 - 1.0;
  };
  const double s = f * f * f * (f * (6.0 * f - 15.0) + 10.0);
  return height(cell) + (height(cell + 1.0) - height(cell)) * s;
}

double wander(std::uint64_t key, double t) {
  return 0.62 * smooth_noise(key, t) + 0.28 * smooth_noise(mix(key + 1), 2.3 * t) +
         0.10 * smooth_noise(mix(key + 2), 5.1 * t);
}

double ease(double a, double b, double x) {
  if (b <= a) return x < a ? 0.0 : 1.0;
  const double f = std::clamp((x - a) / (b - a), 0.0, 1.0);
  return f * f * f * (f * (6.0 * f - 15.0) + 10.0);
}

}  // namespace rhumb::render
