// The single-pulse fit against the lumped-parameter recursion of the pulse test manuals, against
// the cell model's own step, and against closed forms.

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "support/example_cell.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/fit/single_pulse.hpp"

using voltkeel::CurrentHold;
using voltkeel::fit_single_pulse;
using voltkeel::Log;
using voltkeel::PulseForm;
using voltkeel::SinglePulseFit;
using voltkeel::SinglePulseSettings;

namespace {

/// Polarisation current of the lumped-parameter fit (PNGV battery test manual, appendix D;
/// recursion from memory, not re-read): with x = dt / tau, e = exp(-x),
/// Ip[k] = (1 - (1 - e) / x) I[k] + ((1 - e) / x - e) I[k-1] + e Ip[k-1].
std::vector<double> lumped_current_A(const Log& log, double tau_s) {
    std::vector<double> polarisation_A{0};
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double x = (log.time_s[k] - log.time_s[k - 1]) / tau_s;
        const double e = std::exp(-x);
        polarisation_A.push_back((1 - (1 - e) / x) * log.current_A[k] +
                                 ((1 - e) / x - e) * log.current_A[k - 1] +
                                 e * polarisation_A.back());
    }
    return polarisation_A;
}

/// Discharge, rest and regeneration as pulse test manuals have them: 10 s, 40 s, 10 s at 0.75 of
/// the current, 40 s.
Log profile(double step_s) {
    Log log;
    log.source = "profile";
    for (int k = 0; k * step_s <= 110; ++k) {
        const double t = k * step_s;
        const double current_A = t <= 5 ? 0 : (t <= 15 ? -10 : (t <= 55 ? 0 : (t <= 65 ? 7.5 : 0)));
        log.time_s.push_back(t);
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(0);
        log.temperature_degC.push_back(25);
    }
    return log;
}

}  // namespace

TEST_CASE("the lumped recursion has the published coefficients", "[fit]") {
    // tau 30 s, dt 10 s, 0 then 5 A: 0.7479696586 A, computed with 30 digits.
    Log two;
    two.time_s = {0, 10};
    two.current_A = {0, 5};
    CHECK(std::abs(lumped_current_A(two, 30)[1] - 0.7479696586) < 5.1e-11);
}

TEST_CASE("five lumped values come back to a millionth", "[fit]") {
    const double ocv_V = 3.8;
    const double slope_V_per_Ah = 0.16;
    const double r0_ohm = 10e-3;
    const double rp_ohm = 15e-3;
    for (const double tau_s : {3.0, 12.0, 30.0}) {
        for (const double step_s : {0.1, 1.0}) {
            Log log = profile(step_s);
            const std::vector<double> polarisation_A = lumped_current_A(log, tau_s);
            double charge_Ah = 0;
            for (std::size_t k = 0; k < log.size(); ++k) {
                if (k > 0)
                    charge_Ah += 0.5 * (log.current_A[k] + log.current_A[k - 1]) * step_s / 3600;
                log.voltage_V[k] = ocv_V + slope_V_per_Ah * charge_Ah + r0_ohm * log.current_A[k] +
                                   rp_ohm * polarisation_A[k];
            }
            SinglePulseSettings settings;
            settings.form = PulseForm::lumped;
            settings.hold = CurrentHold::ramp;
            const SinglePulseFit fit = fit_single_pulse(log, settings);
            CAPTURE(tau_s, step_s, fit.evaluations, fit.ocv_V, fit.ocv_slope_V_per_Ah, fit.r0_ohm,
                    fit.branch_ohm, fit.branch_time_s, fit.residual_rms_V);
            CHECK(std::abs(fit.ocv_V / ocv_V - 1) < 1e-6);
            CHECK(std::abs(fit.ocv_slope_V_per_Ah / slope_V_per_Ah - 1) < 1e-6);
            CHECK(std::abs(fit.r0_ohm / r0_ohm - 1) < 1e-6);
            CHECK(std::abs(fit.branch_ohm / rp_ohm - 1) < 1e-6);
            CHECK(std::abs(fit.branch_time_s / tau_s - 1) < 1e-6);
        }
    }
}

TEST_CASE("a pulse of the cell model gives the cell's own values back", "[fit]") {
    // The rows come from step() and voltage_at(), so the recursion of the fit is that of the model;
    // rows are evenly spaced in one case and not in the other.
    voltkeel_test::LinearShape shape;
    shape.r0_ohm = 0.02;
    shape.branch_ohm[0] = 0.015;
    shape.branch_ohm[1] = 0.01;
    shape.branch_time_s[0] = 8;
    shape.branch_time_s[1] = 60;
    const auto owned = voltkeel_test::linear_cell<double, 2>(shape);
    const auto cell = owned.view();
    for (const bool even : {true, false}) {
        Log log;
        log.source = "model";
        voltkeel::CellState<double, 2> state;
        state.soc = 0.5;
        double time_s = 0;
        for (int k = 0; k < 600; ++k) {
            const double dt_s = k == 0 ? 0 : (even ? 0.5 : (k % 7 == 0 ? 1.1 : 0.4));
            time_s += dt_s;
            const double current_A = time_s > 10 && time_s <= 70 ? -5 : 0;
            voltkeel::step(cell, {current_A, dt_s, 25}, state);
            log.time_s.push_back(time_s);
            log.current_A.push_back(current_A);
            log.voltage_V.push_back(voltage_at(cell, state, current_A, 25.0).voltage_V);
            log.temperature_degC.push_back(25);
        }
        SinglePulseSettings settings;
        settings.slow_time_s = 60;
        const double start_V = log.voltage_V.front();
        const double slope_V = voltkeel::ocv_at(cell.ocv, 0.5, 25.0).slope_V;
        settings.ocv_slope_V_per_Ah = slope_V / cell.capacity_Ah;
        const SinglePulseFit fit = fit_single_pulse(log, settings);
        CAPTURE(even, fit.evaluations, fit.residual_rms_V);
        CHECK(fit.residual_rms_V < 1e-9);
        CHECK(std::abs(fit.ocv_V - start_V) < 1e-8);
        CHECK(std::abs(fit.r0_ohm / 0.02 - 1) < 1e-6);
        CHECK(std::abs(fit.branch_ohm / 0.015 - 1) < 1e-6);
        CHECK(std::abs(fit.branch_time_s / 8 - 1) < 1e-6);
        CHECK(std::abs(fit.slow_ohm / 0.01 - 1) < 1e-6);
    }
}
