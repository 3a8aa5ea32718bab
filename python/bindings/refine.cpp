#include "voltkeel/fit/refine.hpp"
#include "bindings.hpp"

namespace voltkeel::python {

void bind_refine(py::module_& module) {
    using Settings = RefineSettings;
    py::class_<Settings> settings(module, "RefineSettings", "Knobs of the refinement.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("initial_soc", &Settings::initial_soc,
                       "SOC at the first row of each log, None where its first voltage tells (a "
                       "copy in each direction).")
        .def_readwrite("initial_soc_std", &Settings::initial_soc_std)
        .def_readwrite("block_min", &Settings::block_min)
        .def_readwrite("seed", &Settings::seed, "Which block of each pair is fitted.")
        .def_readwrite("max_rows", &Settings::max_rows)
        .def_readwrite("factor_log_std", &Settings::factor_log_std)
        .def_readwrite("ocv_std_V", &Settings::ocv_std_V)
        .def_readwrite("least_capacity_std", &Settings::least_capacity_std)
        .def_readwrite("voltage_std_V", &Settings::voltage_std_V)
        .def_readwrite("overvoltage_share_std", &Settings::overvoltage_share_std)
        .def_readwrite("least_improvement", &Settings::least_improvement,
                       "The held-out rms must fall by this share at least.")
        .def_readwrite("keep_unimproved", &Settings::keep_unimproved,
                       "Return the refined cell even where it does not.")
        .def_readwrite("max_iterations", &Settings::max_iterations);
    array_field(settings, "ocv_soc", &Settings::ocv_soc, "(k,) knots of the OCV shift");

    py::class_<RefineLog>(module, "RefineLog", "How one log is met, by half.")
        .def_readonly("source", &RefineLog::source)
        .def_readonly("initial_soc", &RefineLog::initial_soc)
        .def_readonly("initial_soc_std", &RefineLog::initial_soc_std)
        .def_readonly("block_count", &RefineLog::block_count)
        .def_readonly("fitted_blocks", &RefineLog::fitted_blocks,
                      "From 0; the others were held out.")
        .def_readonly("fitted_rows", &RefineLog::fitted_rows)
        .def_readonly("rows_used", &RefineLog::rows_used, "of these, after thinning")
        .def_readonly("held_out_rows", &RefineLog::held_out_rows)
        .def_readonly("fitted_before_rms_V", &RefineLog::fitted_before_rms_V)
        .def_readonly("fitted_rms_V", &RefineLog::fitted_rms_V)
        .def_readonly("held_out_before_rms_V", &RefineLog::held_out_before_rms_V)
        .def_readonly("held_out_rms_V", &RefineLog::held_out_rms_V);
    py::class_<RefineFactor>(module, "RefineFactor", "One factor on a quantity of the cell.")
        .def_readonly("name", &RefineFactor::name)
        .def_readonly("factor", &RefineFactor::factor, "New over old.")
        .def_readonly("log_std", &RefineFactor::log_std, "Of its logarithm.");

    using Result = RefineResult;
    const auto column = [](std::vector<double> Result::*field) {
        return [field](const Result& result) { return to_array(result.*field); };
    };
    py::class_<Result>(module, "RefineResult", "A refinement and how it did.")
        .def_readonly("cell", &Result::cell, "Refined; the old one when it was not improved.")
        .def_readonly("improved", &Result::improved, "The held-out half is met better.")
        .def_readonly("fitted_before_rms_V", &Result::fitted_before_rms_V)
        .def_readonly("fitted_rms_V", &Result::fitted_rms_V)
        .def_readonly("held_out_before_rms_V", &Result::held_out_before_rms_V)
        .def_readonly("held_out_rms_V", &Result::held_out_rms_V)
        .def_readonly("logs", &Result::logs)
        .def_readonly("factors", &Result::factors)
        .def_property_readonly("ocv_soc", column(&Result::ocv_soc), "(k,) knots")
        .def_property_readonly("ocv_shift_V", column(&Result::ocv_shift_V), "(k,)")
        .def_property_readonly("ocv_shift_std_V", column(&Result::ocv_shift_std_V), "(k,)")
        .def_readonly("block_s", &Result::block_s)
        .def_readonly("seed", &Result::seed)
        .def_readonly("rows_used", &Result::rows_used)
        .def_readonly("rows_per_independent_row", &Result::rows_per_independent_row)
        .def_readonly("iterations", &Result::iterations)
        .def_readonly("notes", &Result::notes);
    module.def(
        "refine_cell",
        [](const Cell& cell, const std::vector<Log>& logs, const Settings& s,
           const Progress<double, const std::string&>& progress) {
            const py::gil_scoped_release release;
            return refine_cell(cell, logs, s, keep_going(progress));
        },
        py::arg("cell"), py::arg("logs"), py::arg_v("settings", Settings{}, "RefineSettings()"),
        py::arg("progress") = py::none(),
        "Draw a cell closer to whole logs: factors on resistances and time constants, a small OCV "
        "shift, the capacity.\n\nBlocks of the logs that were not fitted decide whether the result "
        "is worth having.\n\n"
        "Parameters\n----------\ncell : Cell\nlogs : list of Log, of the cell as it is now\n"
        "settings : RefineSettings\nprogress : called with (share, stage); returning False "
        "cancels\n\nReturns\n-------\nRefineResult\n\n"
        "Raises\n------\nDataError\n    Names the log or setting that cannot be used.");
}

}  // namespace voltkeel::python
