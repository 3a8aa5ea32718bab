#pragma once
/// \file common_practice.hpp
/// What is assumed where neither a test nor a data sheet says anything: in one place, so that every
/// cell that lacks a value gets the same one.

#include "voltkeel/io/cell.hpp"

namespace voltkeel {

/// Usual activation energy of a resistance (common practice; published range 15-20 kJ/mol for the
/// electrolyte, 50-65 for charge transfer, 20-35 for the whole over 10 s; from memory, not
/// re-read).
constexpr double usual_activation_J_per_mol(bool ohmic) {
    return ohmic ? 15e3 : 45e3;
}
/// The same of the time constant of the slow branch.
constexpr double usual_slow_time_activation_J_per_mol = 25e3;

/// By how much a quantity grows from one temperature to another with an activation energy
/// (Arrhenius' law).
double arrhenius_factor(double activation_J_per_mol, double from_degC, double to_degC);

/// Currents that the limits and the charge plan are made of, magnitudes in A.
struct UsualCurrents {
    double charge_A{0};       ///< Charge side of the table between 25 degC and the upper window.
    double discharge_A{0};    ///< Discharge side of the table.
    double plan_A{0};         ///< Constant current of the charge plan.
    double end_current_A{0};  ///< End of the charge plan.
};

/// Fills the table of allowed currents and the charge plan from the cell's window: no charging
/// below the window, half of the current up to 10 degC, all of it from 25 degC on.
void set_usual_limits(Cell& cell, const UsualCurrents& currents);

}  // namespace voltkeel
