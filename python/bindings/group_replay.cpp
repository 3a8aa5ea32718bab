#include "voltkeel/io/group_replay.hpp"
#include "bindings.hpp"
#include "voltkeel/io/group_log.hpp"

namespace voltkeel::python {

namespace {

/// (rows, groups) from what stands row by row.
template <class Value>
py::array_t<Value> by_rows(const std::vector<Value>& values, std::size_t groups) {
    const auto columns = static_cast<py::ssize_t>(groups);
    const auto rows = static_cast<py::ssize_t>(groups == 0 ? 0 : values.size() / groups);
    py::array_t<Value> array({rows, columns});
    std::copy(values.begin(), values.end(), array.mutable_data());
    return array;
}

template <class Source>
GroupTrace run(const Source& source, const GroupLog& log, int parallel,
               std::optional<double> initial_soc, double initial_soc_std,
               std::optional<double> capacity_Ah, const std::optional<Column>& capacity_scale,
               const std::optional<PackFilterSettings<double>>& settings,
               std::optional<bool> starts_at_rest, const std::optional<CellAge>& age,
               const std::optional<SensorReplay>& sensors, const Progress<double>& progress) {
    GroupReplaySettings all;
    all.parallel = parallel;
    all.initial_soc = initial_soc;
    all.initial_soc_std = initial_soc_std;
    all.capacity_Ah = capacity_Ah;
    if (capacity_scale) all.capacity_scale = to_vector("capacity_scale", *capacity_scale);
    all.filter = settings;
    all.starts_at_rest = starts_at_rest;
    all.age = age.value_or(CellAge{});
    all.sensors = sensors.value_or(SensorReplay{});
    // The callback takes the GIL back by itself (pybind11/functional.h).
    const py::gil_scoped_release release;
    return replay_groups(source, log, all, keep_going(progress));
}

void bind_group_log(py::module_& module) {
    py::class_<GroupLog> log(module, "GroupLog",
                             "A log with a voltage for each group of a string: time strictly "
                             "increasing, current of the string positive when charging.");
    log.def(py::init([](const Column& time_s, const Column& current_A, const Column& voltage_V,
                        const Column& temperature_degC, int first_number, const std::string& source,
                        const std::optional<Column>& pack_voltage_V, bool missing_allowed) {
                GroupLog result;
                result.time_s = to_vector("time_s", time_s);
                result.current_A = to_vector("current_A", current_A);
                result.source = source;
                result.first_number = first_number;
                if (temperature_degC.ndim() == 0) {
                    result.temperature_degC.assign(result.size(), *temperature_degC.data());
                } else {
                    result.temperature_degC = to_vector("temperature_degC", temperature_degC);
                }
                if (voltage_V.ndim() != 2) {
                    throw Error(source + ": voltage_V needs a row of groups for each of " +
                                std::to_string(result.size()) + " rows");
                }
                result.groups = static_cast<std::size_t>(voltage_V.shape(1));
                result.voltage_V.assign(voltage_V.data(), voltage_V.data() + voltage_V.size());
                if (pack_voltage_V)
                    result.pack_voltage_V = to_vector("pack_voltage_V", *pack_voltage_V);
                check_log(result, missing_allowed);
                return result;
            }),
            py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"),
            py::arg("temperature_degC"), py::kw_only(), py::arg("first_number") = 0,
            py::arg("source") = "memory", py::arg("pack_voltage_V") = py::none(),
            py::arg("missing_allowed") = false,
            "A log from columns (lists, arrays or data frame columns).\n\nParameters\n----------\n"
            "time_s : (n,) strictly increasing\ncurrent_A : (n,) of the string, positive when "
            "charging\nvoltage_V : (n, groups), NaN where nothing came\ntemperature_degC : (n,) or "
            "one number\nfirst_number : what files call the first group, 0 or 1\nsource : name "
            "used in messages\npack_voltage_V : (n,) of all groups from another sensor\n"
            "missing_allowed : NaN may stand for a current and a temperature, for "
            "SensorUse.replaced\n\n"
            "Raises\n------\nDataError\n    Names column, row and value that cannot be used.");
    log.def("__len__", &GroupLog::size);
    log.def("__repr__", [](const GroupLog& self) {
        return "<voltkeel.GroupLog '" + self.source + "', " + std::to_string(self.size()) +
               " rows of " + std::to_string(self.groups) + " groups>";
    });
    log.def_property_readonly("time_s", [](const GroupLog& self) { return to_array(self.time_s); })
        .def_property_readonly(
            "current_A", [](const GroupLog& self) { return to_array(self.current_A); },
            "(n,) of the string, positive when charging")
        .def_property_readonly(
            "voltage_V", [](const GroupLog& self) { return by_rows(self.voltage_V, self.groups); },
            "(n, groups), NaN where nothing came")
        .def_property_readonly("temperature_degC",
                               [](const GroupLog& self) { return to_array(self.temperature_degC); })
        .def_property_readonly(
            "pack_voltage_V", [](const GroupLog& self) { return to_array(self.pack_voltage_V); },
            "(n,) of all groups from another sensor; (0,) without one")
        .def_readonly("groups", &GroupLog::groups)
        .def_readonly("first_number", &GroupLog::first_number,
                      "What files call the first group, 0 or 1.")
        .def_readwrite("source", &GroupLog::source, "Name used in messages.")
        .def_readwrite("clock_origin_s", &GroupLog::clock_origin_s, "See Log.");

    module.def(
        "read_group_log",
        [](const std::filesystem::path& path, const std::optional<LogReadSettings>& settings) {
            GroupLogReading reading;
            {
                const py::gil_scoped_release release;
                reading = read_group_log(path, settings.value_or(LogReadSettings{}));
            }
            return py::make_tuple(std::move(reading.log), std::move(reading.report));
        },
        py::arg("path"), py::arg("settings") = py::none(),
        "Read a CSV log with one column of voltages for each group.\n\n"
        "Parameters\n----------\npath : file with a header row\nsettings : LogReadSettings, whose "
        "columns.voltage has {} where the number of the group stands, as in 'Cell {} (mV)'; left "
        "at its default it is 'voltage_{}_V'. Numbers go up by one from 0 or 1, from the negative "
        "end.\n\nReturns\n-------\n(GroupLog, LogReport)\n\nRaises\n------\nDataError\n    Names "
        "file, line, column and text of the first cell that cannot be used. One that is empty or "
        "NaN is a voltage that did not come. A column pack_voltage_V (see LogColumns) is the "
        "voltage of "
        "all groups from another sensor.");
    module.def(
        "group_column_count",
        [](const std::filesystem::path& path, const std::optional<LogReadSettings>& settings) {
            return group_column_count(path, settings.value_or(LogReadSettings{}));
        },
        py::arg("path"), py::arg("settings") = py::none(),
        "How many columns of group voltages the header of a file has; 0 where read_log is "
        "to read it.");
}

}  // namespace

void bind_group_replay(py::module_& module) {
    bind_group_log(module);

    using Trace = GroupTrace;
    py::class_<Trace>(module, "GroupTrace",
                      "The answer for a reference cell at every row of a log, and for the groups "
                      "at the rows in which their voltages were looked at.")
        .def_readonly("reference", &Trace::reference,
                      "SocTrace of the reference cell, whose voltage is the mean of the groups. "
                      "What belongs to a voltage is of the last time voltages were looked at.")
        .def_property_readonly(
            "soc_min", [](const Trace& t) { return to_array(t.soc_min); },
            "(n,) of the emptiest group, at every row")
        .def_property_readonly(
            "soc_max", [](const Trace& t) { return to_array(t.soc_max); }, "(n,) of the fullest")
        .def_readonly("groups", &Trace::groups)
        .def_readonly("first_number", &Trace::first_number, "See GroupLog.")
        .def_property_readonly(
            "row", [](const Trace& t) { return to_array(t.row); },
            "(m,) rows of the log that soc, soc_std, resistance_scale and fault_bits tell of: the "
            "first, the last and all in which voltages were looked at")
        .def_property_readonly(
            "soc", [](const Trace& t) { return by_rows(t.soc, t.groups); }, "(m, groups)")
        .def_property_readonly(
            "soc_std", [](const Trace& t) { return by_rows(t.soc_std, t.groups); }, "(m, groups)")
        .def_property_readonly(
            "resistance_scale",
            [](const Trace& t) { return by_rows(t.resistance_scale, t.groups); },
            "(m, groups) 1 for the tested cell")
        .def_property_readonly(
            "fault_bits", [](const Trace& t) { return by_rows(t.fault_bits, t.groups); },
            "(m, groups) see GroupFaultBit")
        .def_readonly("looked", &Trace::looked, "How often voltages were looked at.")
        .def_property_readonly(
            "coasted", [](const Trace& t) { return to_array(t.coasted); },
            "(groups,) of these, how often each group was counted on")
        .def_readonly("group_reset_count", &Trace::group_reset_count)
        .def_readonly("end", &Trace::end,
                      "A GroupState for each group after the last row, for pack_limits and "
                      "pack_charge.")
        .def_readonly(
            "drift", &Trace::drift,
            "A GroupDrift for each group, against the reference: known after days, or much "
            "charge.")
        .def("__len__", [](const Trace& t) { return t.reference.time_s.size(); });

    const auto define = [&](auto function, const char* what, const char* doc) {
        module.def("replay_groups", function, py::arg(what), py::arg("log"), py::kw_only(),
                   py::arg("parallel") = 1, py::arg("initial_soc") = py::none(),
                   py::arg("initial_soc_std") = 0.2, py::arg("capacity_Ah") = py::none(),
                   py::arg("capacity_scale") = py::none(), py::arg("settings") = py::none(),
                   py::arg("starts_at_rest") = py::none(), py::arg("age") = py::none(),
                   py::arg("sensors") = py::none(), py::arg("progress") = py::none(), doc);
    };
    define(&run<Cell>, "cell",
           "Run the pack filter along a log that has the voltage of every group.\n\n"
           "Parameters\n----------\ncell : Cell, or the Pack of one string that the log is of\n"
           "log : GroupLog\nparallel : cells in each group, which share its current; a pack says "
           "it\ninitial_soc : 0..1 of all groups; None lets their first voltages tell\n"
           "initial_soc_std : used with initial_soc\ncapacity_Ah : of a cell, replaces the cell's "
           "capacity\ncapacity_scale : (groups,) of each against that, 1 if left out\nsettings : "
           "PackFilterSettings; None takes filter_settings(cell) for the reference\n"
           "starts_at_rest : as in replay\nage : CellAge of all groups; capacity_Ah comes before "
           "it\nsensors : SensorReplay for current, temperature, clock and the mean of the groups; "
           "each group's own voltage the filter looks at\nprogress : called with the share done; "
           "returning False "
           "cancels\n\nReturns\n-------\nGroupTrace");
    define(&run<voltkeel::Pack>, "pack", "The same for the groups of a pack of one string.");
    module.def("write_group_trace", &write_group_trace, py::arg("path"), py::arg("groups_path"),
               py::arg("trace"),
               "Write the columns of write_trace of the reference, soc_min and soc_max to path; "
               "time_s and soc, soc_std and fault_bits of each group, as in soc_1, to "
               "groups_path.");
}

}  // namespace voltkeel::python
