// A synthetic eye and its recording, described in millimetres, seconds and light. Everything has a
// default; the defaults' sources stand beside them. Radians; the scene file has degrees
// (scene_file.h).
//
// Frame of the eye: origin in the centre of the limbal plane, x to the examiner's right, y to the
// forehead, z towards the observer, millimetres. Meridians count counter-clockwise from x.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

namespace rhumb::render {

enum class Superior { Top, Bottom, Left, Right };
enum class Iris { Blue, Grey, Green, Hazel, Brown, DarkBrown };
enum class Marks { None, Dots, Lines };
enum class Haptic { Loop, Plate };
enum class Tool { None, Hook, Cannula, Aspirator, Forceps, Injector };
enum class Reference { Ink, Photo, PreviousLens, None };
enum class Surround { Operation, Lids, Open };  // speculum and drape; lids, lashes; nothing
enum class Light { Coaxial, Diffuse, Retro, Slit };

struct Eyeball {
  bool left = false;
  double white_to_white_mm = 11.71;  // Ruefer 2005: 11.71 +/- 0.42
  double limbus_ratio = 0.928;     // vertical / horizontal; ruler study of 51 adults: 10.44 / 11.25
  double limbus_turn_rad = 0.0;    // of the limbal ellipse's long axis from the horizontal
  double limbus_soft_mm = 0.55;    // width of the clear-to-white transition, 10 to 90 %
  double corneal_radius_mm = 7.8;  // ISRN 2011 138941: 7.84 +/- 0.19
  double scleral_radius_mm = 11.8;   // common practice, no source: half an axial length of 23.6
  double refractive_index = 1.3375;  // keratometric index: 43.3 D with 7.8 mm
  double iris_depth_mm = 3.6;        // behind the corneal apex (anatomy table H14)
  double lens_depth_mm = 4.5;        // Ophthalmic Res 2014;51:104: 4.44 +/- 0.40
  double pupil_mm = 6.8;             // dilated, true size
  double pupil_irregular = 0.02;     // share of the radius
  std::array<double, 2> pupil_shift_mm{0.0, 0.0};
  double pupil_shrink_mm = 0.0;  // over the whole recording
  Iris iris = Iris::Hazel;
  double iris_contrast = 1.0;
  double vessels = 1.0;     // 0 none, 1 usual, 2 many
  double redness = 0.25;    // 0..1 diffuse hyperaemia
  double yellowness = 0.2;  // 0..1
  double arcus = 0.0;       // 0..1 grey ring inside the limbus
  int pigment_spots = 4;
  int edge_crypts = 0;   // dark pits in the pupil's edge and pigment on the capsule beside them
  int edge_vessels = 0;  // iris vessels that run over the pupil's edge onto the capsule
  double vessels_changed = 0.0;  // share of the vessels gone or new, against the same seed without
  int vessels_visit = 0;         // which change
};

struct Lens {
  Marks marks = Marks::Dots;
  int per_end = 3;
  double optic_mm = 6.0;
  double mark_radius_mm = 2.72;  // of the outermost dot, or of the line's outer end
  double dot_mm = 0.16;
  double dot_gap_mm = 0.32;
  double line_mm = 0.75;
  double line_width_mm = 0.09;
  double contrast = 0.7;  // light that a mark takes from the red reflex, 0..1
  double grey = 0.05;     // light that it scatters back
  Haptic haptic = Haptic::Loop;
  double haptic_turn_rad = 0.0;  // of the haptics from the marked meridian
  std::array<double, 2> decentre_mm{0.0, 0.0};
  std::array<double, 2> tilt_rad{0.0, 0.0};  // about x and about y of the eye
  double edge = 0.8;                         // brightness of the optic's edge
  double rings = 0.0;                        // faint zone rings, 0..1
  double cylinder_D = 2.25;
};

struct Ink {
  std::vector<double> meridians_rad{0.0, 3.14159265358979323846};
  std::vector<double>
      errors_rad;  // each mark's own; their mean is taken off; empty: drawn by the seed
  double error_sd_rad = 0.007;  // 0.4 degrees
  double strength = 0.8;
  double width_mm = 0.35;
  double length_mm = 2.0;
  double spread_mm = 0.25;  // how far the dye has run
  double fade = 0.35;       // share of the strength lost by the end
  bool target = false;      // also at the planned axis
  double target_error_rad = 0.0;
};

struct Reflex {
  std::array<double, 3> colour{0.88, 0.150, 0.018};  // linear light
  double brightness = 0.55;
  double flat = 0.42;  // 1 even, 0 a bright patch that wanders with tilt
  double patch_mm = 2.8;
  double crescent = 0.5;  // 0..1 dark part opposite the patch
  double haze = 0.014;    // veil over the pupil: cornea, capsule
  double rhexis_mm = 5.1;
  std::array<double, 2> rhexis_shift_mm{0.1, -0.08};  // of its middle from the eye's axis
  double rhexis_visible = 0.5;
  double capsule_haze = 0.05;  // fibrosis outside the rhexis; high in an exchange
  double cortex = 0.15;        // left-over streaks
  bool tension_ring = false;
};

struct Clutter {
  int bubbles = 2;
  int ring_bubbles = 0;            // a ring of small bubbles that stays under the cornea ...
  double ring_mm = 2.8;            // ... at this distance from the axis
  double blood = 0.3;              // 0..1
  double viscoelastic_mm = 0.008;  // how far its schlieren shift the iris, until washed out
  double tear_shine = 0.4;         // 0..1
  bool incisions = true;
  double incision_rad = 1.92;  // meridian of the main incision, 110 degrees
  double side_port_rad = 0.35;
};

struct Motion {
  double torsion_rad =
      0.04;  // standing turn of the eye; Sci Rep 2020 10: seated-supine 4.05 deg mean
  double torsion_wander_rad = 0.012;
  double torsion_jumps_per_s = 0.2;
  double torsion_jump_rad = 0.02;
  double sweep_rad_s = 0.0;  // peak speed of a steady to-and-fro turning by 6 degrees
  std::array<double, 2> tilt_rad{0.0, 0.0};
  double tilt_wander_rad = 0.02;
  double shift_wander_mm = 0.25;
  double pulse_mm = 0.015;  // heartbeat
  double pulse_hz = 1.15;
  double tool_push = 1.0;  // how strongly instruments push and turn the eye
};

struct Microscope {
  Superior superior = Superior::Bottom;
  bool mirrored = false;
  Light light = Light::Coaxial;
  double field_mm = 34.0;  // width of the picture
  std::array<double, 2> centre_mm{0.0, 0.0};
  double field_edge_mm = 0.0;  // diameter of the round field, 0 none
  double exposure = 1.0;
  double gain_wander = 0.03;  // automatic exposure hunting
  std::array<double, 3> white{1.0, 1.0, 1.0};
  double defocus_mm = 0.0;  // blur, standard deviation on the eye
  double defocus_wander_mm = 0.0;
  double vignette = 0.93;  // share of the light lost far from the middle
  int lamps = 2;
  double lamp_mm = 0.28;  // size of a lamp's reflection on the cornea
  bool lamp_placed = false;
  std::array<double, 2> lamp_at_mm{0.0, 0.0};  // where the first one lies if it is placed
  double slit_mm = 3.5;                        // width, with a slit light
};

struct CameraSettings {
  int width = 1280;
  int height = 720;
  double fps = 25.0;
  double shutter = 0.5;  // share of the frame time
  bool interlaced = false;
  double psf_px = 0.7;
  double sharpen = 0.3;
  double noise = 0.006;     // of full scale in mid grey
  int crf = 21;             // x264 quality
  std::string text = "%T";  // recorder text, %T the clock; empty none
};

// What is done to a lens, in order of time.
enum class Act { Insert, Turn, Settle, Work, Remove };
struct Step {
  Act act = Act::Insert;
  double at_s = 0.0;
  double seconds = 1.0;
  double axis_rad = 0.0;  // Insert: where it comes to lie; Turn, Settle: where it is turned to
  Tool tool = Tool::Hook;
  bool over_mark = false;  // the instrument lies over the end of the marks next to its incision
};

// What befalls the recording beside the operation.
enum class Happening { Jump, Leave, Zoom, Refocus, Lamp };
struct Event {
  Happening what = Happening::Jump;
  double at_s = 0.0;
  double seconds = 0.0;   // Jump, Zoom: of the change; Leave, Refocus, Lamp: until it is over
  double turn_rad = 0.0;  // Jump: torsion that stays
  std::array<double, 2> shift_mm{0.0,
                                 0.0};  // Jump: of the eye; Leave: of the head, along the picture
  double factor = 1.0;                  // Zoom: of the magnification; Lamp: of the light
  double defocus_mm = 0.0;              // Refocus: at its worst
};

struct Plan {
  double axis_rad = 0.0;
  bool relative = false;                         // axis_rad is a turn from the previous lens
  double tolerance_rad = 0.0872664625997164788;  // 5 degrees
};

struct Visit {
  std::string label;
  std::string date;
  double axis_rad = 0.0;  // of the lens in the eye
  double head_tilt_rad = 0.0;
  std::array<double, 2> tilt_rad{0.0, 0.0};
  Light light = Light::Retro;
  double pupil_mm = 6.6;
  double field_mm = 24.0;
  double redness = 0.2;
  double vessels_changed = 0.05;  // share of the vessels gone or new since the first visit
  double capsule_haze = 0.05;
};

struct Scene {
  std::string name = "routine";
  std::string shows;
  std::uint64_t seed = 1;
  double seconds = 10.0;
  Eyeball eye;
  Reflex reflex;
  Clutter clutter;
  Ink ink;
  Reference reference = Reference::Ink;
  bool previous_axis_known = true;
  bool photo_dilated = true;
  double photo_tilt_rad = 0.0;
  Plan plan;
  bool has_lens = true;  // a new lens is put in
  bool has_previous = false;
  double previous_axis_rad = 0.0;
  Lens lens;
  Lens previous;
  Motion motion;
  Microscope microscope;
  CameraSettings camera;
  Surround surround = Surround::Operation;
  std::string drape = "green";  // green | blue | grey
  std::vector<Step> steps;
  std::vector<Event> events;
  std::vector<Visit> visits;  // not empty: follow-up photographs instead of a recording
  bool negative = false;      // nothing in it can be read: a final axis would be wrong
  std::string negative_kind;
};

}  // namespace rhumb::render
