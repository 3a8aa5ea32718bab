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

void bind_rest_test(py::module_& module) {
    using Settings = RestTestSettings;
    py::class_<Settings> settings(module, "RestTestSettings", "Knobs of the evaluation of rests.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("capacity_Ah", &Settings::capacity_Ah,
                       "None: from a discharge from full to the floor")
        .def_readwrite("capacity_share_std", &Settings::capacity_share_std,
                       "how well a capacity handed in is known, relative")
        .def_readwrite("floor_voltage_V", &Settings::floor_voltage_V,
                       "voltage that counts as empty; None: where a steady discharge ends steeply")
        .def_readwrite("rest_current_A", &Settings::rest_current_A,
                       "no more than this is a rest; None: 0.2 % of the largest current")
        .def_readwrite("shortest_rest_s", &Settings::shortest_rest_s)
        .def_readwrite("merge_soc", &Settings::merge_soc, "rests closer than this are one")
        .def_readwrite("node_count", &Settings::node_count)
        .def_readwrite("voltage_std_V", &Settings::voltage_std_V)
        .def_readwrite("missing_share_std", &Settings::missing_share_std,
                       "how well what a rest lacks is known, as a share of it")
        .def_readwrite("gain_std", &Settings::gain_std)
        .def_readwrite("offset_share_std", &Settings::offset_share_std)
        .def_readwrite("hysteresis_rate", &Settings::hysteresis_rate);
    py::class_<RestedVoltage>(module, "RestedVoltage", "A relaxation carried on to its end.")
        .def_readonly("voltage_V", &RestedVoltage::voltage_V)
        .def_readonly("voltage_std_V", &RestedVoltage::voltage_std_V)
        .def_readonly("last_voltage_V", &RestedVoltage::last_voltage_V)
        .def_readonly("time_s", &RestedVoltage::time_s);
    py::class_<Rest>(module, "Rest", "A rest with what it says of the OCV.")
        .def_readonly("log", &Rest::log, "which of the logs")
        .def_readonly("first_row", &Rest::first_row)
        .def_readonly("last_row", &Rest::last_row)
        .def_readonly("duration_s", &Rest::duration_s)
        .def_readonly("charge_Ah", &Rest::charge_Ah, "since full, not positive")
        .def_readonly("soc", &Rest::soc)
        .def_readonly("voltage_V", &Rest::voltage_V, "carried on to its end")
        .def_readonly("voltage_std_V", &Rest::voltage_std_V)
        .def_readonly("last_voltage_V", &Rest::last_voltage_V)
        .def_readonly("hysteresis", &Rest::hysteresis, "-1 met after discharge, +1 after charge");
    py::class_<WalkedPoint>(module, "WalkedPoint",
                            "A place on a steady discharge, the overvoltage taken off.")
        .def_readonly("charge_Ah", &WalkedPoint::charge_Ah)
        .def_readonly("soc", &WalkedPoint::soc)
        .def_readonly("voltage_V", &WalkedPoint::voltage_V)
        .def_readonly("voltage_std_V", &WalkedPoint::voltage_std_V);
    py::class_<RestTest>(module, "RestTest", "What the rests of pulse tests say.")
        .def_readonly("capacity_Ah", &RestTest::capacity_Ah)
        .def_readonly("capacity_Ah_std", &RestTest::capacity_Ah_std)
        .def_readonly("capacity_given", &RestTest::capacity_given)
        .def_readonly("temperature_degC", &RestTest::temperature_degC)
        .def_readonly("voltage_min_V", &RestTest::voltage_min_V)
        .def_readonly("voltage_max_V", &RestTest::voltage_max_V)
        .def_readonly("floor_voltage_V", &RestTest::floor_voltage_V)
        .def_readonly("rests", &RestTest::rests, "By falling SOC.")
        .def_readonly("between", &RestTest::between)
        .def_readonly("floor", &RestTest::floor)
        .def_readonly("half_gap_V", &RestTest::half_gap_V)
        .def_readonly("half_gap_V_std", &RestTest::half_gap_V_std)
        .def_readonly("notes", &RestTest::notes);
    module.def(
        "read_rest_test",
        [](const std::vector<Log>& logs, const Settings& s) {
            const py::gil_scoped_release release;
            std::vector<const Log*> all;
            all.reserve(logs.size());
            for (const Log& log : logs)
                all.push_back(&log);
            return read_rest_test(all, s);
        },
        py::arg("logs"), py::arg_v("settings", Settings{}, "RestTestSettings()"),
        "Read the rests of pulse tests that start full, at one temperature.\n\n"
        "Parameters\n----------\nlogs : list of Log\nsettings : RestTestSettings\n\n"
        "Returns\n-------\nRestTest\n    Each relaxation carried on by itself; fit_cell does "
        "better, with its model.\n\nRaises\n------\nDataError\n    Says which log lacks what.");
    module.def("ocv_curve", py::overload_cast<const RestTest&, const Settings&>(&ocv_curve),
               py::arg("test"), py::arg_v("settings", Settings{}, "RestTestSettings()"),
               "OCV curve through the rests, monotone.");
    module.def(
        "rested_voltage", &rested_voltage, py::arg("log"), py::arg("first_row"),
        py::arg("last_row"), py::arg("voltage_std_V") = 0.001, py::arg("missing_share_std") = 0.3,
        "Carry the voltage of a rest on to its end.\n\n"
        "Parameters\n----------\nlog : Log\nfirst_row, last_row : of the rest, from 0; no "
        "current between\nvoltage_std_V : of a reading\nmissing_share_std : how well what is "
        "missing is known, as a share of it\n\nReturns\n-------\nRestedVoltage\n\n"
        "Raises\n------\nDataError\n    Names row and value.");
    module.def(
        "monotone_cubic",
        [](const Column& x, const Column& y, double at) {
            return monotone_cubic(to_vector("x", x), to_vector("y", y), at);
        },
        py::arg("x"), py::arg("y"), py::arg("at"),
        "Shape-preserving cubic interpolation; outside the points the slope of the end goes on.");
}

void bind_hysteresis(py::module_& module) {
    using Settings = HysteresisSettings;
    py::class_<Settings> settings(module, "HysteresisSettings", "Knobs of the hysteresis fit.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("fastest_rate_per_h", &Settings::fastest_rate_per_h,
                       "rows under more current do not count")
        .def_readwrite("rest_s", &Settings::rest_s, "rests count from here on")
        .def_readwrite("soc_low", &Settings::soc_low)
        .def_readwrite("soc_high", &Settings::soc_high)
        .def_readwrite("window_soc", &Settings::window_soc)
        .def_readwrite("row_soc", &Settings::row_soc)
        .def_readwrite("voltage_std_V", &Settings::voltage_std_V)
        .def_readwrite("overvoltage_share_std", &Settings::overvoltage_share_std)
        .def_readwrite("gap_share_std", &Settings::gap_share_std)
        .def_readwrite("slope_std_V", &Settings::slope_std_V)
        .def_readwrite("rate_low", &Settings::rate_low)
        .def_readwrite("rate_high", &Settings::rate_high)
        .def_readwrite("largest_log_std", &Settings::largest_log_std);
    py::class_<HysteresisRateFit>(module, "HysteresisRateFit", "What the logs say of the rate.")
        .def_readonly("told", &HysteresisRateFit::told, "the data hold the rate")
        .def_readonly("rate", &HysteresisRateFit::rate)
        .def_readonly("rate_log_std", &HysteresisRateFit::rate_log_std, "of the logarithm")
        .def_readonly("turns", &HysteresisRateFit::turns)
        .def_readonly("rows", &HysteresisRateFit::rows)
        .def_readonly("residual_rms_V", &HysteresisRateFit::residual_rms_V)
        .def_readonly("note", &HysteresisRateFit::note);
    module.def("fit_hysteresis_rate", &fit_hysteresis_rate, py::arg("logs"), py::arg("cell"),
               py::arg("initial_soc") = std::vector<double>{},
               py::arg_v("settings", Settings{}, "HysteresisSettings()"),
               py::call_guard<py::gil_scoped_release>(),
               "Fit the hysteresis rate to logs in which the current turns half-way.\n\n"
               "Parameters\n----------\nlogs : list of Log\ncell : Cell, its branches apart\n"
               "initial_soc : of each log; empty: every log starts full\nsettings : "
               "HysteresisSettings\n\nReturns\n-------\nHysteresisRateFit\n    Where `told` is "
               "False, `note` says why.\n\nRaises\n------\nDataError");
}

void bind_efficiency(py::module_& module) {
    using Settings = CoulombicEfficiencySettings;
    py::class_<Settings> settings(module, "CoulombicEfficiencySettings",
                                  "Knobs of the efficiency fit.");
    add_keyword_constructor(settings);
    settings.def_readwrite("balance", &Settings::balance)
        .def_readwrite("offset_std_A", &Settings::offset_std_A,
                       "how well the offset of the current is known; 0: known; None: not at all")
        .def_readwrite("largest_std", &Settings::largest_std)
        .def_readwrite("assumed_std", &Settings::assumed_std);
    py::class_<CoulombicEfficiencyFit>(module, "CoulombicEfficiencyFit",
                                       "Coulombic efficiency with what it rests on.")
        .def_readonly("told", &CoulombicEfficiencyFit::told)
        .def_readonly("efficiency", &CoulombicEfficiencyFit::efficiency)
        .def_readonly("efficiency_std", &CoulombicEfficiencyFit::efficiency_std)
        .def_readonly("current_offset_A", &CoulombicEfficiencyFit::current_offset_A)
        .def_readonly("current_offset_A_std", &CoulombicEfficiencyFit::current_offset_A_std)
        .def_readonly("balances", &CoulombicEfficiencyFit::balances)
        .def_readonly("charged_Ah", &CoulombicEfficiencyFit::charged_Ah)
        .def_readonly("rows", &CoulombicEfficiencyFit::rows, "Of each log, between full cells.")
        .def_readonly("note", &CoulombicEfficiencyFit::note);
    module.def(
        "fit_coulombic_efficiency", &fit_coulombic_efficiency, py::arg("logs"),
        py::arg_v("settings", Settings{}, "CoulombicEfficiencySettings()"),
        py::call_guard<py::gil_scoped_release>(),
        "Efficiency from cycles that come back to full, told apart from the current "
        "offset.\n\nParameters\n----------\nlogs : list of Log of one tester\nsettings : "
        "CoulombicEfficiencySettings\n\nReturns\n-------\nCoulombicEfficiencyFit\n    Where "
        "`told` is False the efficiency is 1 and `note` says why.\n\nRaises\n------\nDataError");
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
        .def_readwrite("drop_share_std", &PulseFitSettings::drop_share_std,
                       "How closely the drops over pulses should be met, as a share; 0: rows only. "
                       "None: 0.005, without a slow test 0.")
        .def_readwrite("least_capacity_std", &PulseFitSettings::least_capacity_std)
        .def_readwrite("smoothness", &PulseFitSettings::smoothness)
        .def_readwrite("ratio_smoothness", &PulseFitSettings::ratio_smoothness)
        .def_readwrite("smoothness_ends", &PulseFitSettings::smoothness_ends)
        .def_readwrite("time_log_std", &PulseFitSettings::time_log_std, "at middle SOC")
        .def_readwrite("time_step_log_std", &PulseFitSettings::time_step_log_std,
                       "change of a time constant over SOC from knot to knot")
        .def_readwrite("slow_time_log_std", &PulseFitSettings::slow_time_log_std)
        .def_readwrite("slow_log_std", &PulseFitSettings::slow_log_std)
        .def_readwrite("ocv_std_V", &PulseFitSettings::ocv_std_V)
        .def_readwrite("ocv_soc_std", &PulseFitSettings::ocv_soc_std)
        .def_readwrite("initial_soc_std", &PulseFitSettings::initial_soc_std)
        .def_readwrite("full_above_soc", &PulseFitSettings::full_above_soc)
        .def_readwrite("full_soc_std", &PulseFitSettings::full_soc_std)
        .def_readwrite("max_iterations", &PulseFitSettings::max_iterations);

    bind_rest_test(module);
    bind_hysteresis(module);
    bind_efficiency(module);
    py::class_<FitSettings> settings(module, "FitSettings", "Knobs of the whole fit.");
    add_keyword_constructor(settings);
    settings.def_readwrite("name", &FitSettings::name)
        .def_readwrite("slow", &FitSettings::slow)
        .def_readwrite("pulses", &FitSettings::pulses)
        .def_readwrite("charges", &FitSettings::charges)
        .def_readwrite("rests", &FitSettings::rests, "without a slow test")
        .def_readwrite("hysteresis", &FitSettings::hysteresis)
        .def_readwrite("efficiency", &FitSettings::efficiency)
        .def_readwrite("hysteresis_rate", &FitSettings::hysteresis_rate,
                       "assumed where no test tells")
        .def_readwrite("same_temperature_K", &FitSettings::same_temperature_K)
        .def_readwrite("widest_temperature_K", &FitSettings::widest_temperature_K)
        .def_readwrite("pulse_offset_share_std", &FitSettings::pulse_offset_share_std,
                       "offset in the pulse tests, a share of their largest current; 0: known")
        .def_readwrite("warmth_lag_s", &FitSettings::warmth_lag_s,
                       "how late the resistances follow the warmth that the pulses make")
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
        .def_property_readonly(
            "time_s", [](const PulseFit::Branch& b) { return to_array(b.time_s); }, "(s,)")
        .def_property_readonly(
            "time_log_std", [](const PulseFit::Branch& b) { return to_array(b.time_log_std); },
            "(s,) of the logarithm");
    py::class_<ChargeTransferFit>(module, "ChargeTransferFit",
                                  "Charge transfer at one temperature.")
        .def_property_readonly(
            "resistance_ohm", [](const ChargeTransferFit& t) { return to_array(t.resistance_ohm); },
            "(s,) to small currents")
        .def_property_readonly(
            "resistance_log_std",
            [](const ChargeTransferFit& t) { return to_array(t.resistance_log_std); },
            "(s,) of the logarithm")
        .def_property_readonly(
            "time_s", [](const ChargeTransferFit& t) { return to_array(t.time_s); }, "(s,)")
        .def_property_readonly(
            "time_log_std", [](const ChargeTransferFit& t) { return to_array(t.time_log_std); },
            "(s,) of the logarithm")
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
        .def_readonly("initial_soc_std", &PulseFit::initial_soc_std, "Of each log.")
        .def_readonly("starts_full", &PulseFit::starts_full,
                      "A log does; else the rests say nothing of how high the whole OCV lies.")
        .def_readonly("residual_rms_V", &PulseFit::residual_rms_V, "Of each log.")
        .def_readonly("rows_used", &PulseFit::rows_used, "Compared with the model, after thinning.")
        .def_readonly("log_rows_used", &PulseFit::log_rows_used, "The same of each log.")
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
        .def_property_readonly(
            "used_rows", [](const SlowTest& t) { return to_array(t.used_rows); },
            "Rows behind capacity and OCV, from 0, rising.")
        .def_readonly("notes", &SlowTest::notes);
    py::class_<FitResult>(module, "FitResult", "A cell, and the fit at each temperature behind it.")
        .def_readonly("cell", &FitResult::cell)
        .def_readonly("pulses", &FitResult::pulses, "By rising temperature.")
        .def_readonly("slow", &FitResult::slow, "Of capacity 0 when there was none.")
        .def_readonly("rests", &FitResult::rests,
                      "RestTest when there was no slow test, else None.")
        .def_readonly("hysteresis", &FitResult::hysteresis)
        .def_readonly("efficiency", &FitResult::efficiency)
        .def_readonly("forms", &FitResult::forms, "Forms tried, the chosen one first.")
        .def_readonly("charges", &FitResult::charges, "None when no charges were handed in.");

    module.def("read_slow_test", &read_slow_test, py::arg("log"),
               py::arg_v("settings", SlowTestSettings{}, "SlowTestSettings()"),
               "Capacity from a slow test.");
    module.def(
        "fit_cell",
        [](const std::optional<Log>& slow_log, const std::vector<Log>& pulse_logs,
           const FitSettings& s, const Progress<double, const std::string&>& progress,
           const std::vector<Log>& charge_logs, const std::vector<Log>& cycle_logs) {
            // The callback takes the GIL back by itself (pybind11/functional.h).
            const py::gil_scoped_release release;
            const FitProgress report = keep_going(progress);
            return slow_log ? fit_cell(*slow_log, pulse_logs, s, report, charge_logs, cycle_logs)
                            : fit_cell(pulse_logs, s, report, charge_logs, cycle_logs);
        },
        py::arg("slow"), py::arg("pulses"), py::arg_v("settings", FitSettings{}, "FitSettings()"),
        py::arg("progress") = py::none(), py::arg("charges") = std::vector<Log>{},
        py::arg("cycles") = std::vector<Log>{},
        "Make a cell from pulse tests at any mix of temperatures, with or without a slow "
        "charge/discharge test.\n\n"
        "Parameters\n----------\nslow : Log of the slow test, or None: capacity and OCV then come "
        "from the rests of the pulse tests nearest 25 degC, which start full and go on to empty "
        "unless settings.rests.capacity_Ah is given\npulses : list of Log, each starting "
        "at rest; the temperature comes from the data\n"
        "settings : FitSettings\nprogress : called with (share, stage); returning False "
        "cancels\ncharges : list of Log of charges that end full; they give the extra slow "
        "resistance near full\ncycles : list of Log that come back to full more than once; they "
        "give the coulombic efficiency\n\nReturns\n-------\nFitResult\n\n"
        "Raises\n------\nDataError\n    Says which log lacks what.");
    bind_data_sheet(module);
    bind_single_pulse(module);
    bind_incremental_capacity(module);
}

}  // namespace voltkeel::python
