// Random numbers that depend on nothing but a key and a count, so that a picture is the same
// whatever the number of threads, the order of the calls or the C++ library. Method: the output mix
// of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014) over a counter.
#pragma once

#include <cstdint>

namespace rhumb::render {

std::uint64_t mix(std::uint64_t x);
// A key of its own for each purpose, from the scene's seed and a number of the purpose.
std::uint64_t key_of(std::uint64_t seed, std::uint64_t purpose);

class Rng {
 public:
  explicit Rng(std::uint64_t key) : key_(key) {}
  double uniform();  // [0, 1)
  double uniform(double low, double high);
  double normal();   // mean 0, standard deviation 1 (Box-Muller)
  int below(int n);  // 0 .. n-1
  bool chance(double probability) { return uniform() < probability; }

 private:
  std::uint64_t key_;
  std::uint64_t count_ = 0;
};

// A smooth curve through random heights at whole t: in [-1, 1], two continuous derivatives.
double smooth_noise(std::uint64_t key, double t);
// Three octaves of it, in about [-1, 1].
double wander(std::uint64_t key, double t);
// 0 below a, 1 above b, with two continuous derivatives between.
double ease(double a, double b, double x);

}  // namespace rhumb::render
