// The refractive effect as JSON: dioptres and degrees, each estimate with its 95 % interval as
// {value, low, high}. The same in result.json and from the command line; docs/schemas holds its
// form.
#pragma once

#include "optics/effect.h"
#include "report/json_values.h"

namespace rhumb::report {

Json estimate_value(const optics::Estimate& estimate);     // in the estimate's own unit
Json degrees_value(const optics::Estimate& estimate_rad);  // in degrees
Json lens_value(const optics::SphereCylinder& lens);       // sphere_D, cylinder_D, axis_deg
Json residual_value(
    const optics::ResidualEstimate& value);  // cylinder, its correction, that's axis
// See optics/effect.h for what each part means; a part without data is null.
Json refraction_value(const optics::RefractiveEffect& effect);

}  // namespace rhumb::report
