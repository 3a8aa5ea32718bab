#include "voltkeel/fit/thermal.hpp"
#include "bindings.hpp"

namespace voltkeel::python {

void bind_thermal(py::module_& module) {
    using Trace = ThermalTrace;
    const auto column = [](std::vector<double> Trace::*field) {
        return [field](const Trace& trace) { return to_array(trace.*field); };
    };
    py::class_<Trace>(module, "ThermalTrace",
                      "A log as the thermal part of a cell sees it, in rows of 5 s and more.")
        .def_property_readonly("time_s", column(&Trace::time_s), "(n,)")
        .def_property_readonly("heat_W", column(&Trace::heat_W),
                               "(n,) made in the core, mean over the step that ends here")
        .def_property_readonly("ambient_degC", column(&Trace::ambient_degC),
                               "(n,) surroundings, fitted to this log")
        .def_property_readonly("case_degC", column(&Trace::case_degC),
                               "(n,) from the heat and the surroundings")
        .def_property_readonly("core_degC", column(&Trace::core_degC),
                               "(n,) from the heat and the logged case temperature")
        .def_readonly("residual_rms_K", &Trace::residual_rms_K, "case_degC against the log.");
    module.def(
        "fit_thermal",
        [](const std::vector<Log>& logs, const Cell& cell) {
            const py::gil_scoped_release release;
            return fit_thermal(logs, cell);
        },
        py::arg("logs"), py::arg("cell"),
        "Fit core, case and the path to the surroundings to logged case temperatures.\n\n"
        "Parameters\n----------\nlogs : list of Log; pulse tests, drives, constant currents that "
        "warm the cell by at least 1 K\ncell : Cell, its capacity, OCV and resistances\n\n"
        "Returns\n-------\nThermalFit\n    Its source says what was fitted and what the case does "
        "not show.\n\nRaises\n------\nDataError\n    For a log or cell that cannot be used.");
    module.def(
        "follows_core", [](const ThermalFit& thermal) { return follows_core(thermal); },
        py::arg("thermal"),
        "Whether the temperature of the core is worth following behind that of the case.\n\n"
        "There is one, and the warmth of the cell was measured: what is taken as usual has a "
        "larger "
        "spread.\n\n"
        "Parameters\n----------\nthermal : ThermalFit, Cell.thermal\n\nReturns\n-------\nbool");
    module.def(
        "core_log",
        [](const Log& log, const Cell& cell) {
            const py::gil_scoped_release release;
            return core_log(log, cell);
        },
        py::arg("log"), py::arg("cell"),
        "Give a log the temperature of the core in place of that of the case, row by row.\n\n"
        "That is what the cell model goes by. A cell without a core, or whose warmth was not "
        "measured,\nleaves the log as it is.\n\n"
        "Parameters\n----------\nlog : Log\ncell : Cell\n\nReturns\n-------\nLog\n\n"
        "Raises\n------\nDataError\n    For a log or cell that cannot be used.");
    module.def("thermal_rows", &thermal_rows, py::arg("log"), py::arg("cell"),
               py::call_guard<py::gil_scoped_release>(),
               "Give how many rows of a log fit_thermal goes by: means over 5 s and more; 0 for a "
               "log of fewer than 20 rows, which it leaves out.");
    module.def(
        "thermal_trace",
        [](const Log& log, const Cell& cell) {
            const py::gil_scoped_release release;
            return thermal_trace(log, cell);
        },
        py::arg("log"), py::arg("cell"),
        "Run the thermal part of a cell over a log: the core temperature, and how well the case is "
        "met.\n\n"
        "Parameters\n----------\nlog : Log\ncell : Cell\n\nReturns\n-------\nThermalTrace\n\n"
        "Raises\n------\nDataError\n    For a log or cell that cannot be used.");
}

}  // namespace voltkeel::python
