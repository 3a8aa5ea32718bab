#pragma once
/// \file units.hpp
/// The one vocabulary of Voltkeel. Every header, file format and Python name follows this page.
///
/// **Units** stand in the name: `current_A voltage_V temperature_degC capacity_Ah resistance_ohm
/// power_W energy_Wh time_s`. State of charge (`soc`) is a fraction 0..1; text for people says
/// percent.
///
/// **Sign**: current and power are positive when they charge the cell (passive sign convention, IEC
/// 60375). A reader of files with the other sign has an explicit option; nothing guesses a sign.
///
/// **Spread**: a standard deviation ends in `_std`, a variance in `_var`. `noise` alone is never a
/// name.
///
/// **Words**: cell; group (cells in parallel that share one voltage); module; string; pack.
///
/// **Scalars**: the controller floors (cell, pack, estimate, limits, charge) are templates on
/// `Real`, which is `float` or `double`.

namespace voltkeel {

/// Seconds in an hour: an ampere-hour is this many ampere-seconds.
template <class Real>
inline constexpr Real seconds_per_hour = Real(3600);

/// 0 degC in kelvin (BIPM, SI brochure, 9th edition, section 2.3.1).
template <class Real>
inline constexpr Real zero_celsius_K = Real(273.15);

/// Molar gas constant in J/(mol K) (CODATA 2018, exact).
template <class Real>
inline constexpr Real gas_constant_J_per_mol_K = Real(8.314462618);

}  // namespace voltkeel
