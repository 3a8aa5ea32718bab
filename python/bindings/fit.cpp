#include "bindings.hpp"
#include "voltkeel/fit/fit_cell.hpp"

namespace voltkeel::python {

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

    py::class_<PulseFitSettings> pulses(module, "PulseFitSettings", "Knobs of the pulse fit.");
    add_keyword_constructor(pulses);
    pulses.def_readwrite("branches", &PulseFitSettings::branches, "1 to 4; the last one is slow")
        .def_readwrite("soc_nodes", &PulseFitSettings::soc_nodes)
        .def_readwrite("voltage_std_V", &PulseFitSettings::voltage_std_V)
        .def_readwrite("overvoltage_share_std", &PulseFitSettings::overvoltage_share_std)
        .def_readwrite("rows_per_independent_row", &PulseFitSettings::rows_per_independent_row)
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
        .def_readwrite("hysteresis_rate", &FitSettings::hysteresis_rate)
        .def_readwrite("same_temperature_K", &FitSettings::same_temperature_K)
        .def_readwrite("widest_temperature_K", &FitSettings::widest_temperature_K)
        .def_readwrite("passes", &FitSettings::passes);

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
        .def_readonly("slow", &FitResult::slow);

    module.def("read_slow_test", &read_slow_test, py::arg("log"),
               py::arg_v("settings", SlowTestSettings{}, "SlowTestSettings()"),
               "Capacity from a slow test.");
    module.def(
        "fit_cell",
        [](const Log& slow_log, const std::vector<Log>& pulse_logs, const FitSettings& s,
           const Progress<double, const std::string&>& progress) {
            // The callback takes the GIL back by itself (pybind11/functional.h).
            const py::gil_scoped_release release;
            return fit_cell(slow_log, pulse_logs, s, keep_going(progress));
        },
        py::arg("slow"), py::arg("pulses"), py::arg_v("settings", FitSettings{}, "FitSettings()"),
        py::arg("progress") = py::none(),
        "Make a cell from a slow charge/discharge test and pulse tests at any mix of "
        "temperatures.\n\n"
        "Parameters\n----------\nslow : Log of the slow test\npulses : list of Log, each starting "
        "at rest; the temperature comes from the data\n"
        "settings : FitSettings\nprogress : called with (share, stage); returning False "
        "cancels\n\nReturns\n-------\nFitResult\n\n"
        "Raises\n------\nDataError\n    Says which log lacks what.");
}

}  // namespace voltkeel::python
