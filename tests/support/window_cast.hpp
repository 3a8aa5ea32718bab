#pragma once

/// \file
/// The windows of a cell in another scalar.

#include "voltkeel/limits/window.hpp"

namespace voltkeel_test {

template <class To, class From>
[[nodiscard]] voltkeel::CellWindow<To> window_cast(const voltkeel::CellWindow<From>& from) {
    const auto cast = [](From x) { return static_cast<To>(x); };
    return {cast(from.voltage_min_V),
            cast(from.voltage_max_V),
            cast(from.soc_min),
            cast(from.soc_max),
            cast(from.charge_temperature_min_degC),
            cast(from.charge_temperature_max_degC),
            cast(from.discharge_temperature_min_degC),
            cast(from.discharge_temperature_max_degC)};
}

}  // namespace voltkeel_test
