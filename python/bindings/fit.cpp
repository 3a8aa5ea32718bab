#include "bindings.hpp"
#include "voltkeel/fit/data_sheet.hpp"
#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/fit/incremental_capacity.hpp"
#include "voltkeel/fit/single_pulse.hpp"

namespace voltkeel::python {

namespace {

void bind_data_sheet(py::module_& module) {
    py::enum_<Chemistry>(module, "Chemistry",
                         "Positive electrode against graphite; decides the published OCV curve.")
        .value("nmc", Chemistry::nmc)
        .value("nca", Chemistry::nca)
        .value("lco", Chemistry::lco)
        .value("lmo", Chemistry::lmo)
        .value("lfp", Chemistry::lfp);
    py::class_<DataSheet> sheet(module, "DataSheet",
                                "What a data sheet says of one cell; None where it says nothing.");
    add_keyword_constructor(sheet);
    sheet.def_readwrite("name", &DataSheet::name)
        .def_readwrite("chemistry", &DataSheet::chemistry)
        .def_readwrite("capacity_Ah", &DataSheet::capacity_Ah)
        .def_readwrite("resistance_ac_ohm", &DataSheet::resistance_ac_ohm, "at 1 kHz, 25 degC")
        .def_readwrite("resistance_dc_ohm", &DataSheet::resistance_dc_ohm,
                       "after dc_pulse_s, 25 degC, half full")
        .def_readwrite("dc_pulse_s", &DataSheet::dc_pulse_s, "0.5 .. 120")
        .def_readwrite("voltage_min_V", &DataSheet::voltage_min_V)
        .def_readwrite("voltage_max_V", &DataSheet::voltage_max_V)
        .def_readwrite("charge_current_A", &DataSheet::charge_current_A, "standard charge")
        .def_readwrite("charge_current_max_A", &DataSheet::charge_current_max_A)
        .def_readwrite("discharge_current_max_A", &DataSheet::discharge_current_max_A,
                       "a magnitude")
        .def_readwrite("end_current_A", &DataSheet::end_current_A)
        .def_readwrite("charge_temperature_min_degC", &DataSheet::charge_temperature_min_degC)
        .def_readwrite("charge_temperature_max_degC", &DataSheet::charge_temperature_max_degC)
        .def_readwrite("discharge_temperature_min_degC", &DataSheet::discharge_temperature_min_degC)
        .def_readwrite("discharge_temperature_max_degC", &DataSheet::discharge_temperature_max_degC)
        .def_readwrite("mass_kg", &DataSheet::mass_kg);
    module.def("cell_from_data_sheet", &cell_from_data_sheet, py::arg("sheet"),
               "Make a first cell from a data sheet alone.\n\nParameters\n----------\nsheet : "
               "DataSheet\n\nReturns\n-------\nCell\n    With a wide spread on every value; its "
               "provenance says what was assumed and what to measure next. Give the filter "
               "filter_settings(cell).\n\nRaises\n------\nDataError\n    Names field, value and "
               "bound.");
    module.def(
        "published_ocv_V",
        [](Chemistry chemistry, double voltage_min_V, double voltage_max_V, const Column& soc) {
            return to_array(
                published_ocv_V(chemistry, voltage_min_V, voltage_max_V, to_vector("soc", soc)));
        },
        py::arg("chemistry"), py::arg("voltage_min_V"), py::arg("voltage_max_V"), py::arg("soc"),
        "OCV of a chemistry from published curves, drawn to two voltages.\n\n"
        "Parameters\n----------\nchemistry : Chemistry\nvoltage_min_V, voltage_max_V : empty and "
        "full\nsoc : (n,) increasing from 0 to 1\n\nReturns\n-------\n(n,) V");
}

void bind_single_pulse(py::module_& module) {
    py::enum_<PulseForm>(module, "PulseForm", "Which five parameters describe a pulse.")
        .value("two_branches", PulseForm::two_branches)
        .value("lumped", PulseForm::lumped);
    py::enum_<CurrentHold>(module, "CurrentHold", "What the current did between two rows.")
        .value("held", CurrentHold::held)
        .value("ramp", CurrentHold::ramp);
    py::class_<SinglePulseSettings> settings(module, "SinglePulseSettings",
                                             "Knobs of the single-pulse fit.");
    add_keyword_constructor(settings);
    settings.def_readwrite("form", &SinglePulseSettings::form)
        .def_readwrite("hold", &SinglePulseSettings::hold)
        .def_readwrite("slow_time_s", &SinglePulseSettings::slow_time_s,
                       "time constant of the second branch (two_branches)")
        .def_readwrite("ocv_slope_V_per_Ah", &SinglePulseSettings::ocv_slope_V_per_Ah,
                       "known slope of the OCV (two_branches)")
        .def_readwrite("first_row", &SinglePulseSettings::first_row)
        .def_readwrite("row_count", &SinglePulseSettings::row_count, "0 means all that follow")
        .def_readwrite("max_evaluations", &SinglePulseSettings::max_evaluations);
    py::class_<SinglePulseFit>(module, "SinglePulseFit", "Five parameters of one pulse.")
        .def_readonly("ocv_V", &SinglePulseFit::ocv_V)
        .def_readonly("r0_ohm", &SinglePulseFit::r0_ohm)
        .def_readonly("branch_ohm", &SinglePulseFit::branch_ohm)
        .def_readonly("branch_time_s", &SinglePulseFit::branch_time_s)
        .def_readonly("slow_ohm", &SinglePulseFit::slow_ohm)
        .def_readonly("ocv_slope_V_per_Ah", &SinglePulseFit::ocv_slope_V_per_Ah)
        .def_readonly("ocv_V_std", &SinglePulseFit::ocv_V_std)
        .def_readonly("r0_ohm_std", &SinglePulseFit::r0_ohm_std)
        .def_readonly("branch_ohm_std", &SinglePulseFit::branch_ohm_std)
        .def_readonly("branch_time_s_std", &SinglePulseFit::branch_time_s_std)
        .def_readonly("slow_ohm_std", &SinglePulseFit::slow_ohm_std)
        .def_readonly("ocv_slope_V_per_Ah_std", &SinglePulseFit::ocv_slope_V_per_Ah_std)
        .def_property_readonly(
            "correlation", [](const SinglePulseFit& f) { return to_array(f.correlation); },
            "(5, 5): ocv_V, r0_ohm, branch_ohm, ln branch_time_s, slow_ohm or ocv_slope_V_per_Ah")
        .def_readonly("cost_V2", &SinglePulseFit::cost_V2, "half the sum of squared residuals")
        .def_readonly("residual_rms_V", &SinglePulseFit::residual_rms_V)
        .def_readonly("rows_per_independent_row", &SinglePulseFit::rows_per_independent_row)
        .def_readonly("rows", &SinglePulseFit::rows)
        .def_readonly("evaluations", &SinglePulseFit::evaluations);
    module.def("fit_single_pulse", &fit_single_pulse, py::arg("log"),
               py::arg_v("settings", SinglePulseSettings{}, "SinglePulseSettings()"),
               py::call_guard<py::gil_scoped_release>(),
               "Fit five parameters to one pulse, with or without the rest after it.\n\n"
               "Parameters\n----------\nlog : Log, at rest in its first row; temperatures are not "
               "used\nsettings : SinglePulseSettings\n\nReturns\n-------\nSinglePulseFit\n\n"
               "Raises\n------\nDataError\n    Says what the rows lack.");
}

void bind_incremental_capacity(py::module_& module) {
    using Settings = IncrementalCapacitySettings;
    py::class_<Settings> settings(module, "IncrementalCapacitySettings",
                                  "Knobs of the incremental capacity.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("smoothing_V", &Settings::smoothing_V, "standard deviation of the Gaussian")
        .def_readwrite("step_V", &Settings::step_V, "distance of the voltages");
    py::class_<IncrementalCapacity>(module, "IncrementalCapacity", "dQ/dV over voltage.")
        .def_property_readonly(
            "voltage_V", [](const IncrementalCapacity& c) { return to_array(c.voltage_V); },
            "(n,) evenly spaced")
        .def_property_readonly(
            "charge_Ah_per_V",
            [](const IncrementalCapacity& c) { return to_array(c.charge_Ah_per_V); }, "(n,)");
    module.def(
        "incremental_capacity",
        py::overload_cast<const Log&, bool, const Settings&>(&incremental_capacity), py::arg("log"),
        py::arg("charging"), py::arg_v("settings", Settings{}, "IncrementalCapacitySettings()"),
        "Smoothed dQ/dV of the rows of a slow test that charge, or discharge.\n\n"
        "Parameters\n----------\nlog : Log of a slow test, C/20 or so\ncharging : which rows "
        "count\nsettings : IncrementalCapacitySettings\n\n"
        "Returns\n-------\nIncrementalCapacity");
    module.def(
        "incremental_capacity",
        py::overload_cast<const OcvCurve&, double, bool, const Settings&>(&incremental_capacity),
        py::arg("curve"), py::arg("capacity_Ah"), py::arg("charging"),
        py::arg_v("settings", Settings{}, "IncrementalCapacitySettings()"),
        "Smoothed dQ/dV of one branch of an OCV curve.\n\nParameters\n----------\ncurve : "
        "OcvCurve\ncapacity_Ah : between SOC 0 and 1\ncharging : which branch\nsettings : "
        "IncrementalCapacitySettings\n\nReturns\n-------\nIncrementalCapacity");
}

}  // namespace

void bind_fit(py::module_& module) {
    py::class_<SlowTestSettings> slow(module, "SlowTestSettings",
                                      "Knobs of the slow-test evaluation.");
    add_keyword_constructor(slow);
    slow.def_readwrite("fastest_rate_per_h", &SlowTestSettings::fastest_rate_per_h)
        .def_readwrite("node_count", &SlowTestSettings::node_count)
        .def_readwrite("kernel_soc", &SlowTestSettings::kernel_soc)
        .def_readwrite("gain_std", &SlowTestSettings::gain_std)
        .def_readwrite("offset_std_A", &SlowTestSettings::offset_std_A)
        .def_readwrite("overvoltage_share_std", &SlowTestSettings::overvoltage_share_std);

    py::class_<VoltageNoise> noise(module, "VoltageNoise",
                                   "What is left between model and measurement in a fit.");
    add_keyword_constructor(noise);
    noise.def_readwrite("voltage_std_V", &VoltageNoise::voltage_std_V, "constant part")
        .def_readwrite("overvoltage_share_std", &VoltageNoise::overvoltage_share_std,
                       "part that grows with the overvoltage")
        .def_readwrite("rows_per_independent_row", &VoltageNoise::rows_per_independent_row);

    py::class_<PulseFitSettings> pulses(module, "PulseFitSettings", "Knobs of the pulse fit.");
    add_keyword_constructor(pulses);
    pulses.def_readwrite("branches", &PulseFitSettings::branches, "1 to 4; the last one is slow")
        .def_readwrite("soc_nodes", &PulseFitSettings::soc_nodes)
        .def_readwrite("charge_transfer", &PulseFitSettings::charge_transfer,
                       "fit an overvoltage that saturates with the current")
        .def_readwrite("highest_rate_per_h", &PulseFitSettings::highest_rate_per_h,
                       "faster pulses and the rests after them do not count")
        .def_readwrite("noise", &PulseFitSettings::noise, "to start from")
        .def_readwrite("noise_rounds", &PulseFitSettings::noise_rounds)
        .def_readwrite("transfer_time_log_std", &PulseFitSettings::transfer_time_log_std)
        .def_readwrite("transfer_scale_log_std", &PulseFitSettings::transfer_scale_log_std)
        .def_readwrite("least_capacity_std", &PulseFitSettings::least_capacity_std)
        .def_readwrite("smoothness", &PulseFitSettings::smoothness)
        .def_readwrite("smoothness_ends", &PulseFitSettings::smoothness_ends)
        .def_readwrite("time_log_std", &PulseFitSettings::time_log_std)
        .def_readwrite("slow_time_log_std", &PulseFitSettings::slow_time_log_std)
        .def_readwrite("slow_log_std", &PulseFitSettings::slow_log_std)
        .def_readwrite("ocv_std_V", &PulseFitSettings::ocv_std_V)
        .def_readwrite("ocv_soc_std", &PulseFitSettings::ocv_soc_std)
        .def_readwrite("initial_soc_std", &PulseFitSettings::initial_soc_std)
        .def_readwrite("full_above_soc", &PulseFitSettings::full_above_soc)
        .def_readwrite("full_soc_std", &PulseFitSettings::full_soc_std)
        .def_readwrite("max_iterations", &PulseFitSettings::max_iterations);

    py::class_<FitSettings> settings(module, "FitSettings", "Knobs of the whole fit.");
    add_keyword_constructor(settings);
    settings.def_readwrite("name", &FitSettings::name)
        .def_readwrite("slow", &FitSettings::slow)
        .def_readwrite("pulses", &FitSettings::pulses)
        .def_readwrite("charges", &FitSettings::charges)
        .def_readwrite("hysteresis_rate", &FitSettings::hysteresis_rate)
        .def_readwrite("same_temperature_K", &FitSettings::same_temperature_K)
        .def_readwrite("widest_temperature_K", &FitSettings::widest_temperature_K)
        .def_readwrite("pulse_offset_share_std", &FitSettings::pulse_offset_share_std,
                       "offset in the pulse tests, a share of their largest current; 0: known")
        .def_readwrite("passes", &FitSettings::passes)
        .def_readwrite("choose_form", &FitSettings::choose_form,
                       "choose branches and charge transfer by the information criterion");

    py::class_<PulseFit::Branch>(module, "PulseFitBranch", "One RC branch at one temperature.")
        .def_property_readonly(
            "resistance_ohm", [](const PulseFit::Branch& b) { return to_array(b.resistance_ohm); },
            "(s,)")
        .def_property_readonly(
            "resistance_log_std",
            [](const PulseFit::Branch& b) { return to_array(b.resistance_log_std); },
            "(s,) of the logarithm")
        .def_readonly("time_s", &PulseFit::Branch::time_s)
        .def_readonly("time_log_std", &PulseFit::Branch::time_log_std);
    py::class_<ChargeTransferFit>(module, "ChargeTransferFit",
                                  "Charge transfer at one temperature.")
        .def_property_readonly(
            "resistance_ohm", [](const ChargeTransferFit& t) { return to_array(t.resistance_ohm); },
            "(s,) to small currents")
        .def_property_readonly(
            "resistance_log_std",
            [](const ChargeTransferFit& t) { return to_array(t.resistance_log_std); },
            "(s,) of the logarithm")
        .def_readonly("time_s", &ChargeTransferFit::time_s)
        .def_readonly("time_log_std", &ChargeTransferFit::time_log_std)
        .def_readonly("scale_V", &ChargeTransferFit::scale_V)
        .def_readonly("scale_log_std", &ChargeTransferFit::scale_log_std);
    py::class_<FormTrial>(module, "FormTrial", "One form of the model, tried on all pulse tests.")
        .def_readonly("branches", &FormTrial::branches)
        .def_readonly("charge_transfer", &FormTrial::charge_transfer)
        .def_readonly("criterion", &FormTrial::criterion,
                      "Bayesian information criterion; the lowest wins.")
        .def_readonly("residual_rms_V", &FormTrial::residual_rms_V);
    py::class_<PulseFit>(module, "PulseFit", "The fit at one temperature.")
        .def_readonly("temperature_degC", &PulseFit::temperature_degC)
        .def_property_readonly(
            "soc", [](const PulseFit& f) { return to_array(f.soc); }, "(s,)")
        .def_property_readonly(
            "r0_ohm", [](const PulseFit& f) { return to_array(f.r0_ohm); }, "(s,)")
        .def_property_readonly(
            "r0_log_std", [](const PulseFit& f) { return to_array(f.r0_log_std); },
            "(s,) of the logarithm")
        .def_property_readonly(
            "ocv_shift_V", [](const PulseFit& f) { return to_array(f.ocv_shift_V); }, "(s,)")
        .def_property_readonly(
            "ocv_shift_std_V", [](const PulseFit& f) { return to_array(f.ocv_shift_std_V); },
            "(s,)")
        .def_readonly("branches", &PulseFit::branches)
        .def_readonly("charge_transfer", &PulseFit::charge_transfer, "or None")
        .def_readonly("capacity_Ah", &PulseFit::capacity_Ah,
                      "that brings the rested voltages onto the OCV")
        .def_readonly("capacity_Ah_std", &PulseFit::capacity_Ah_std)
        .def_readonly("noise", &PulseFit::noise, "VoltageNoise of the residuals.")
        .def_readonly("deviance", &PulseFit::deviance)
        .def_readonly("effective_parameters", &PulseFit::effective_parameters)
        .def_readonly("findings", &PulseFit::findings, "What the tests leave open.")
        .def_readonly("initial_soc", &PulseFit::initial_soc, "Of each log.")
        .def_readonly("residual_rms_V", &PulseFit::residual_rms_V, "Of each log.")
        .def_readonly("rows_used", &PulseFit::rows_used)
        .def_readonly("iterations", &PulseFit::iterations)
        .def_readonly("soc_low", &PulseFit::soc_low)
        .def_readonly("soc_high", &PulseFit::soc_high)
        .def_readonly("largest_discharge_A", &PulseFit::largest_discharge_A)
        .def_readonly("largest_charge_A", &PulseFit::largest_charge_A);
    py::class_<SlowTest>(module, "SlowTest", "What a slow test says.")
        .def_readonly("capacity_Ah", &SlowTest::capacity_Ah)
        .def_readonly("capacity_Ah_std", &SlowTest::capacity_Ah_std)
        .def_readonly("charged_Ah", &SlowTest::charged_Ah)
        .def_readonly("temperature_degC", &SlowTest::temperature_degC)
        .def_readonly("voltage_min_V", &SlowTest::voltage_min_V)
        .def_readonly("voltage_max_V", &SlowTest::voltage_max_V)
        .def_readonly("notes", &SlowTest::notes);
    py::class_<FitResult>(module, "FitResult", "A cell, and the fit at each temperature behind it.")
        .def_readonly("cell", &FitResult::cell)
        .def_readonly("pulses", &FitResult::pulses, "By rising temperature.")
        .def_readonly("slow", &FitResult::slow)
        .def_readonly("forms", &FitResult::forms, "Forms tried, the chosen one first.")
        .def_readonly("charges", &FitResult::charges, "None when no charges were handed in.");

    module.def("read_slow_test", &read_slow_test, py::arg("log"),
               py::arg_v("settings", SlowTestSettings{}, "SlowTestSettings()"),
               "Capacity from a slow test.");
    module.def(
        "fit_cell",
        [](const Log& slow_log, const std::vector<Log>& pulse_logs, const FitSettings& s,
           const Progress<double, const std::string&>& progress,
           const std::vector<Log>& charge_logs) {
            // The callback takes the GIL back by itself (pybind11/functional.h).
            const py::gil_scoped_release release;
            return fit_cell(slow_log, pulse_logs, s, keep_going(progress), charge_logs);
        },
        py::arg("slow"), py::arg("pulses"), py::arg_v("settings", FitSettings{}, "FitSettings()"),
        py::arg("progress") = py::none(), py::arg("charges") = std::vector<Log>{},
        "Make a cell from a slow charge/discharge test and pulse tests at any mix of "
        "temperatures.\n\n"
        "Parameters\n----------\nslow : Log of the slow test\npulses : list of Log, each starting "
        "at rest; the temperature comes from the data\n"
        "settings : FitSettings\nprogress : called with (share, stage); returning False "
        "cancels\ncharges : list of Log of charges that end full; they give the extra slow "
        "resistance near full\n\nReturns\n-------\nFitResult\n\n"
        "Raises\n------\nDataError\n    Says which log lacks what.");
    bind_data_sheet(module);
    bind_single_pulse(module);
    bind_incremental_capacity(module);
}

}  // namespace voltkeel::python
