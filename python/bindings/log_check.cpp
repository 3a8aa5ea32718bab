#include <limits>

#include "bindings.hpp"
#include "voltkeel/fit/data_check.hpp"
#include "voltkeel/fit/steps.hpp"

namespace voltkeel::python {
namespace {

/// A column of the table from one field of the steps.
template <class Value>
py::array_t<Value> column_of(const std::vector<Step>& steps, Value Step::*field) {
    std::vector<Value> values;
    for (const Step& step : steps)
        values.push_back(step.*field);
    return to_array(values);
}

py::dict steps_table(const std::vector<Step>& steps) {
    py::dict table;
    py::list kinds;
    std::vector<double> rates_per_h;
    for (const Step& step : steps) {
        kinds.append(step_kind_name(step.kind));
        rates_per_h.push_back(step.rate_per_h.value_or(std::numeric_limits<double>::quiet_NaN()));
    }
    table["kind"] = kinds;
    table["first_row"] = column_of(steps, &Step::first_row);
    table["last_row"] = column_of(steps, &Step::last_row);
    table["start_time_s"] = column_of(steps, &Step::start_time_s);
    table["end_time_s"] = column_of(steps, &Step::end_time_s);
    table["duration_s"] = column_of(steps, &Step::duration_s);
    table["mean_current_A"] = column_of(steps, &Step::mean_current_A);
    table["charge_Ah"] = column_of(steps, &Step::charge_Ah);
    table["start_voltage_V"] = column_of(steps, &Step::start_voltage_V);
    table["end_voltage_V"] = column_of(steps, &Step::end_voltage_V);
    table["mean_temperature_degC"] = column_of(steps, &Step::mean_temperature_degC);
    table["rate_per_h"] = to_array(rates_per_h);
    return table;
}

void bind_steps(py::module_& module) {
    py::enum_<StepKind>(module, "StepKind", "Kind of a step of a test.")
        .value("rest", StepKind::rest)
        .value("constant_current", StepKind::constant_current)
        .value("constant_voltage", StepKind::constant_voltage)
        .value("pulse", StepKind::pulse)
        .value("drive", StepKind::drive)
        .def_property_readonly("message", &step_kind_name, "In words.");
    py::class_<StepSettings> settings(module, "StepSettings", "How steps are told apart.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("capacity_Ah", &StepSettings::capacity_Ah,
                       "Gives the rates and the smallest current.")
        .def_readwrite("rest_current_A", &StepSettings::rest_current_A,
                       "No more than this is a rest; None takes C/100, or 0.2 % of the largest.")
        .def_readwrite("current_share", &StepSettings::current_share)
        .def_readwrite("voltage_band_V", &StepSettings::voltage_band_V)
        .def_readwrite("longest_pulse_s", &StepSettings::longest_pulse_s)
        .def_readwrite("longest_stop_s", &StepSettings::longest_stop_s,
                       "A longer rest ends a drive.");
    py::class_<Step>(module, "Step", "A stretch of rows of one kind.")
        .def_readonly("kind", &Step::kind)
        .def_readonly("first_row", &Step::first_row, "From 0.")
        .def_readonly("last_row", &Step::last_row, "The last one that belongs to it.")
        .def_readonly("start_time_s", &Step::start_time_s, "Of the row before the first.")
        .def_readonly("end_time_s", &Step::end_time_s)
        .def_readonly("duration_s", &Step::duration_s)
        .def_readonly("mean_current_A", &Step::mean_current_A, "Over time.")
        .def_readonly("charge_Ah", &Step::charge_Ah, "Positive = charged.")
        .def_readonly("start_voltage_V", &Step::start_voltage_V, "In the row before the first.")
        .def_readonly("end_voltage_V", &Step::end_voltage_V)
        .def_readonly("mean_temperature_degC", &Step::mean_temperature_degC, "Over time.")
        .def_readonly("rate_per_h", &Step::rate_per_h, "Over the capacity, if that is given.")
        .def("__repr__", [](const Step& self) {
            return "<voltkeel.Step " + std::string(step_kind_name(self.kind)) + ", rows " +
                   std::to_string(self.first_row) + " .. " + std::to_string(self.last_row) + ">";
        });
    module.def("find_steps", &find_steps, py::arg("log"),
               py::arg_v("settings", StepSettings{}, "StepSettings()"),
               py::call_guard<py::gil_scoped_release>(),
               "Divide a log into steps that follow each other without a hole.");
    module.def("steps_table", &steps_table, py::arg("steps"),
               "Steps as a dict of columns, which pandas.DataFrame takes: kind in words, the other "
               "fields of Step as arrays; rate_per_h is nan where no capacity was given.");
    module.def("rest_current_A", &rest_current_A, py::arg("log"),
               py::arg_v("settings", StepSettings{}, "StepSettings()"),
               "The largest current that counts as rest.");
}

}  // namespace

void bind_log_check(py::module_& module) {
    bind_steps(module);
    py::enum_<DataFault>(module, "DataFault", "What can be wrong with a log.")
        .value("gap", DataFault::gap)
        .value("clock_jump", DataFault::clock_jump)
        .value("repeated_row", DataFault::repeated_row)
        .value("frozen", DataFault::frozen)
        .value("spike", DataFault::spike)
        .value("quantisation", DataFault::quantisation)
        .value("current_offset", DataFault::current_offset)
        .value("current_sign", DataFault::current_sign)
        .value("current_unit", DataFault::current_unit)
        .value("voltage_unit", DataFault::voltage_unit)
        .value("temperature_unit", DataFault::temperature_unit)
        .value("temperature_range", DataFault::temperature_range)
        .value("temperature_constant", DataFault::temperature_constant)
        .value("temperature_jump", DataFault::temperature_jump)
        .value("slow_sampling", DataFault::slow_sampling)
        .def_property_readonly("message", &data_fault_name, "In words.");
    py::enum_<DataSeverity>(module, "DataSeverity", "How much a finding matters.")
        .value("note", DataSeverity::note, "good to know")
        .value("warning", DataSeverity::warning, "look at it before fitting")
        .value("error", DataSeverity::error, "a fit would be wrong")
        .def_property_readonly("message", &data_severity_name, "In words.");
    py::class_<DataFinding>(module, "DataFinding", "One thing that is odd.")
        .def_readonly("kind", &DataFinding::kind)
        .def_readonly("severity", &DataFinding::severity)
        .def_readonly("row", &DataFinding::row, "From 0; None for the whole log.")
        .def_readonly("line", &DataFinding::line, "Of the file, where a report was given.")
        .def_readonly("value", &DataFinding::value, "The size, in the unit that the text names.")
        .def_readonly("text", &DataFinding::text, "In plain words.")
        .def("__repr__", [](const DataFinding& self) {
            return "<voltkeel.DataFinding " + std::string(data_severity_name(self.severity)) +
                   ": " + self.text + ">";
        });
    py::class_<DataCheckSettings> settings(module, "DataCheckSettings", "What counts as odd.");
    add_keyword_constructor(settings);
    settings.def_readwrite("steps", &DataCheckSettings::steps)
        .def_readwrite("gap_s", &DataCheckSettings::gap_s)
        .def_readwrite("voltage_spike_V", &DataCheckSettings::voltage_spike_V)
        .def_readwrite("temperature_spike_K", &DataCheckSettings::temperature_spike_K)
        .def_readwrite("temperature_min_degC", &DataCheckSettings::temperature_min_degC)
        .def_readwrite("temperature_max_degC", &DataCheckSettings::temperature_max_degC)
        .def_readwrite("temperature_rate_K_per_s", &DataCheckSettings::temperature_rate_K_per_s)
        .def_readwrite("edge_s", &DataCheckSettings::edge_s)
        .def_readwrite("frozen_charge_share", &DataCheckSettings::frozen_charge_share)
        .def_readwrite("starts_full", &DataCheckSettings::starts_full,
                       "The cell is full at the first row.")
        .def_readwrite("full_share_std", &DataCheckSettings::full_share_std)
        .def_readwrite("efficiency_std", &DataCheckSettings::efficiency_std);
    py::class_<OffsetBalance>(module, "OffsetBalance",
                              "An offset of the current, from a balance of charge.")
        .def_readonly("current_offset_A", &OffsetBalance::current_offset_A,
                      "True current = logged current + this.")
        .def_readonly("current_offset_A_std", &OffsetBalance::current_offset_A_std)
        .def_readonly("balances", &OffsetBalance::balances, "Pairs of full cells behind it.")
        .def_readonly("time_s", &OffsetBalance::time_s, "With current, between them.");
    py::class_<LogCorrections> corrections(module, "LogCorrections",
                                           "What to change in a log; nothing unasked.");
    add_keyword_constructor(corrections);
    corrections.def_readwrite("turn_current", &LogCorrections::turn_current)
        .def_readwrite("voltage_from_mV", &LogCorrections::voltage_from_mV)
        .def_readwrite("current_from_mA", &LogCorrections::current_from_mA)
        .def_readwrite("temperature_from_K", &LogCorrections::temperature_from_K)
        .def_readwrite("temperature_from_degF", &LogCorrections::temperature_from_degF)
        .def_readwrite("current_offset_A", &LogCorrections::current_offset_A)
        .def_readwrite("drop_spikes", &LogCorrections::drop_spikes);
    py::class_<CorrectedLog>(module, "CorrectedLog", "A corrected log, and what was done to it.")
        .def_readonly("log", &CorrectedLog::log)
        .def_readonly("record", &CorrectedLog::record, "One line per correction.");

    module.def(
        "check_data",
        [](const Log& log, const DataCheckSettings& s, const std::optional<LogReport>& report) {
            const py::gil_scoped_release release;
            return check_data(log, s, report ? &*report : nullptr);
        },
        py::arg("log"), py::arg_v("settings", DataCheckSettings{}, "DataCheckSettings()"),
        py::arg("report") = py::none(),
        "Look a log over: a list of findings, empty for a clean bill.\n\nParameters\n----------\n"
        "log : Log\nsettings : DataCheckSettings\nreport : LogReport of its reading, for lines of "
        "the file and rows left out");
    module.def("offset_from_balance", &offset_from_balance, py::arg("log"),
               py::arg_v("settings", DataCheckSettings{}, "DataCheckSettings()"),
               py::call_guard<py::gil_scoped_release>(),
               "The offset of the current from the charge between times at which the cell was "
               "equally full; None when the log has no two such times.");
    py::class_<FullBalance>(module, "FullBalance",
                            "Charge between two times at which the cell was equally full.")
        .def_readonly("first_row", &FullBalance::first_row)
        .def_readonly("last_row", &FullBalance::last_row)
        .def_readonly("charged_Ah", &FullBalance::charged_Ah, "put in between, as logged")
        .def_readonly("discharged_Ah", &FullBalance::discharged_Ah, "taken out, as logged")
        .def_readonly("gained_Ah", &FullBalance::gained_Ah,
                      "by which it was fuller at the end, from rested voltages")
        .def_readonly("active_s", &FullBalance::active_s, "with current")
        .def_readonly("std_Ah", &FullBalance::std_Ah, "of charged - discharged - gained");
    module.def("full_balances", &full_balances, py::arg("log"),
               py::arg_v("settings", DataCheckSettings{}, "DataCheckSettings()"),
               py::arg("current_offset_A") = 0.0, py::call_guard<py::gil_scoped_release>(),
               "The balances behind offset_from_balance, one by one; the charges as logged.");
    module.def("correct_log", &correct_log, py::arg("log"), py::arg("corrections"),
               py::arg_v("settings", DataCheckSettings{}, "DataCheckSettings()"),
               "Apply corrections: units, sign, offset, spikes, in this order.");
}

}  // namespace voltkeel::python
