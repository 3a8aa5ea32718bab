#include "voltkeel/fit/charge_test.hpp"
#include "bindings.hpp"

namespace voltkeel::python {

void bind_charge_test(py::module_& module) {
    using Settings = ChargeTestSettings;
    py::class_<Settings> settings(module, "ChargeTestSettings", "Knobs of the fit to charges.");
    add_keyword_constructor(settings);
    settings.def_readwrite("soc_from", &Settings::soc_from, "Rows above this SOC count in full.")
        .def_readwrite("weight_below", &Settings::weight_below)
        .def_readwrite("taper_share", &Settings::taper_share)
        .def_readwrite("full_soc_std", &Settings::full_soc_std)
        .def_readwrite("voltage_std_V", &Settings::voltage_std_V)
        .def_readwrite("overvoltage_share_std", &Settings::overvoltage_share_std)
        .def_readwrite("independent_s", &Settings::independent_s)
        .def_readwrite("row_s", &Settings::row_s)
        .def_readwrite("rest_s", &Settings::rest_s)
        .def_readwrite("scale_log_std", &Settings::scale_log_std,
                       "How far all resistances together may lie from the cell's.")
        .def_readwrite("resistance_log_std", &Settings::resistance_log_std)
        .def_readwrite("soc_start", &Settings::soc_start)
        .def_readwrite("soc_start_std", &Settings::soc_start_std)
        .def_readwrite("max_iterations", &Settings::max_iterations);

    using Fit = ChargeTestFit;
    const auto column = [](std::vector<double> Fit::*field) {
        return [field](const Fit& fit) { return to_array(fit.*field); };
    };
    py::class_<Fit>(
        module, "ChargeTestFit",
        "What charges say about the rise of the resistance near full; arrays have one entry "
        "a charge.")
        .def_readonly("rise", &Fit::rise)
        .def_readonly("soc_start_std", &Fit::soc_start_std)
        .def_property_readonly("initial_soc", column(&Fit::initial_soc),
                               "(n,) at the first row, counted back from full and fitted")
        .def_property_readonly("initial_soc_std", column(&Fit::initial_soc_std), "(n,)")
        .def_property_readonly("resistance_scale", column(&Fit::resistance_scale),
                               "(n,) of all resistances during the charge")
        .def_property_readonly("charge_Ah", column(&Fit::charge_Ah),
                               "(n,) put in from the first row to the end of the charge")
        .def_property_readonly("residual_rms_V", column(&Fit::residual_rms_V),
                               "(n,) above soc_from while charging, with the rise")
        .def_property_readonly("residual_before_rms_V", column(&Fit::residual_before_rms_V),
                               "(n,) with the rise that the cell came with")
        .def_readonly("rows_used", &Fit::rows_used)
        .def_readonly("charge_rows_used", &Fit::charge_rows_used, "of each charge")
        .def_readonly("iterations", &Fit::iterations)
        .def_readonly("notes", &Fit::notes);
    module.def(
        "fit_charge_rise",
        [](const std::vector<Log>& charges, const Cell& cell, const Settings& s,
           const Progress<>& progress) {
            const py::gil_scoped_release release;
            return fit_charge_rise(charges, cell, s, keep_going(progress));
        },
        py::arg("charges"), py::arg("cell"),
        py::arg_v("settings", Settings{}, "ChargeTestSettings()"), py::arg("progress") = py::none(),
        "Fit the rise of the resistance near full to CC-CV charges that end at the "
        "taper.\n\n"
        "Parameters\n----------\ncharges : list of Log, each starting at rest\ncell : Cell, its "
        "capacity, OCV and resistances\nsettings : ChargeTestSettings\n"
        "progress : called before every iteration; returning False cancels\n\n"
        "Returns\n-------\nChargeTestFit\n    Its rise can be set as the cell's charge_rise.\n\n"
        "Raises\n------\nDataError\n    Says which log does not start at rest or does not end "
        "full.");
}

}  // namespace voltkeel::python
