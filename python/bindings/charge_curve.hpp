#pragma once
/// \file charge_curve.hpp
/// Curves of charges as columns.

#include "bindings.hpp"
#include "voltkeel/io/model_state.hpp"

namespace voltkeel::python {

using Columns = py::typing::Dict<py::str, py::array_t<double>>;

/// One column of a list of points.
template <class Point, class Member>
py::array_t<double> column_of(const std::vector<Point>& points, Member member) {
    std::vector<double> values;
    values.reserve(points.size());
    for (const Point& point : points)
        values.push_back(static_cast<double>(point.*member));
    return to_array(values);
}

inline Columns curve_columns(const std::vector<ChargeCurvePoint>& curve) {
    Columns result;
    result["time_s"] = column_of(curve, &ChargeCurvePoint::time_s);
    result["current_A"] = column_of(curve, &ChargeCurvePoint::current_A);
    result["voltage_V"] = column_of(curve, &ChargeCurvePoint::voltage_V);
    result["temperature_degC"] = column_of(curve, &ChargeCurvePoint::temperature_degC);
    result["soc"] = column_of(curve, &ChargeCurvePoint::soc);
    result["phase"] = column_of(curve, &ChargeCurvePoint::phase);
    result["held_back_by"] = column_of(curve, &ChargeCurvePoint::held_back_by);
    return result;
}

inline constexpr const char* curve_doc =
    "dict of arrays: time_s, current_A, voltage_V, temperature_degC, soc, phase, held_back_by "
    "(LimitReason)";

}  // namespace voltkeel::python
