// Where a lens lies in one frame, by what both its ends look like, near where it is expected.
#pragma once

#include <Eigen/Core>
#include <optional>

#include "analyze/end_strips.h"

namespace rhumb::analyze {

// What both ends look like, and where each template's own marks lie in it.
struct LearnedEnds {
  const PairTemplate& form;
  double offset_a_rad = 0.0;
  double offset_b_rad = 0.0;
};

struct Place {
  double axis_rad = 0.0;                             // atlas
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // atlas
  double match = 0.0;  // gains of both ends over their errors, summed; 25 to 80 of a lens at rest
  bool both_show = false;
};

// Both ends' gains over their errors, summed. A whole lens that is drawn away keeps a third of what
// it reaches at rest (an instrument holds it by one end); what strong compression leaves of one
// that has gone reached 0.28, once 0.31. Where there is nothing the best of all centres reaches 7.
inline constexpr double least_share_of_rest = 0.33;
inline constexpr double least_match = 8.0;

// Keeps references to what it is made of.
class LensFinder {
 public:
  LensFinder(const Source& source, const LearnedEnds& ends) : source_(source), ends_(ends) {}

  // How well both ends match about a centre and an axis, without a search.
  double match_at(std::size_t frame, double axis_rad, const Eigen::Vector2d& centre) const;

  // The best place in the bag, whatever the axis, in a contrast that stands for a frame (an average
  // of some); about one axis; matches count less far from where the lens rests, as below.
  Place anywhere(std::size_t frame, const lens::ContrastMap& map,
                 const Eigen::Vector2d& bag_centre) const;
  Place about(std::size_t frame, const lens::ContrastMap& map, double axis_rad,
              const Eigen::Vector2d& bag_centre) const;
  EndPair ends_at(std::size_t frame, const lens::ContrastMap& map, const Place& place) const {
    return measure_at(source_, frame, map, place.axis_rad, place.centre, ends_.form);
  }

  // The best place near the expected one: the templates are fitted about centres close to it, and
  // axis and centre solved from how far each end is turned. Where that has less than `enough`,
  // centres up to 0.075 limbal radii along the axis (0.045 in the bag) and 0.05 across are tried,
  // then axes 6 degrees to either side. bag_centre: where a lens that turns in its bag rests,
  // matches count less far from it; none where it leaves the bag.
  Place find(std::size_t frame, const Place& expected, double enough,
             const std::optional<Eigen::Vector2d>& bag_centre) const;

 private:
  struct Grid {
    int steps_along = 0;
    int steps_across = 0;
  };
  // What is looked at: a frame's contrast.
  struct Look {
    std::size_t frame = 0;
    lens::ContrastMap map;
    std::optional<Eigen::Vector2d> bag_centre;
  };

  Look look(std::size_t frame, const std::optional<Eigen::Vector2d>& bag_centre) const;
  EndPair measure(const Look& look, double axis_rad, const Eigen::Vector2d& centre) const;
  Place solved(const EndPair& pair, double axis_rad, const Eigen::Vector2d& centre) const;
  // Puts what the ends say about a centre into `best`, where it matches better.
  void keep_better(const Look& look, const EndPair& pair, double axis_rad,
                   const Eigen::Vector2d& centre, Place& best) const;
  // Tries the centres of a grid about `from`, and those between its steps along the axis.
  void search(const Look& look, const Place& from, const Grid& grid, Place& best) const;
  void search_between(const Look& look, const Place& from, Place& best) const;

  const Source& source_;
  const LearnedEnds& ends_;
};

}  // namespace rhumb::analyze
