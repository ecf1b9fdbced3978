// A program that uses Rhumb's library: reads a case file and says what a deviation of 5 degrees from its plan
// would leave, by the closed form that the optics room implements. For review after surgery.
#include <angle/angle.h>
#include <casefile/read.h>
#include <files/user_error.h>
#include <optics/effect.h>

#include <iostream>

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: axis_of_a_case CASE.toml\n";
    return 2;
  }
  try {
    const rhumb::casefile::Case stated = rhumb::casefile::read_case(argv[1]);
    if (!stated.plan.axis_rad || !stated.lens.cylinder_D) {
      std::cout << stated.id << ": states no planned axis or no cylinder\n";
      return 1;
    }
    const double planned = *stated.plan.axis_rad;
    const double achieved = planned + rhumb::angle::rad_from_deg(5.0);
    const rhumb::optics::Estimate axis{achieved, achieved, achieved};
    const auto effect = rhumb::optics::refractive_effect(stated.refraction, stated.lens.cylinder_D,
                                                         axis, planned);
    if (!effect || !effect->deviation) return 1;
    std::cout << stated.id << ": 5 degrees would leave "
              << effect->deviation->residual.cylinder_D.value << " D at the cornea\n";
    return 0;
  } catch (const rhumb::UserError& error) {
    std::cerr << error.what() << "\n";
    return 2;
  }
}
