#include "bindings.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel::python {

void bind_io(py::module_& module) {
    py::class_<Log> log(module, "Log",
                        "A log: one entry per row in each column, time strictly increasing, "
                        "current positive when charging.");
    log.def(py::init([](const Column& time_s, const Column& current_A, const Column& voltage_V,
                        const py::object& temperature_degC, const std::string& source) {
                Log result{to_vector("time_s", time_s),
                           to_vector("current_A", current_A),
                           to_vector("voltage_V", voltage_V),
                           {},
                           source};
                const auto temperature = Column::ensure(temperature_degC);
                if (!temperature) {
                    PyErr_Clear();
                    throw Error(source + ": temperature_degC is no column of numbers");
                }
                if (temperature.ndim() == 0) {
                    result.temperature_degC.assign(result.size(), *temperature.data());
                } else {
                    result.temperature_degC = to_vector("temperature_degC", temperature);
                }
                check_log(result);
                return result;
            }),
            py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"),
            py::arg("temperature_degC"), py::arg("source") = "memory",
            "A log from columns of one length (lists, arrays or data frame columns).\n\n"
            "Parameters\n----------\ntime_s : (n,) strictly increasing\ncurrent_A : (n,) positive "
            "when charging\n"
            "voltage_V : (n,)\ntemperature_degC : (n,) or one number\nsource : name used in "
            "messages\n\n"
            "Raises\n------\nDataError\n    Names column, row and value that cannot be used.");
    log.def("__len__", &Log::size);
    log.def("__repr__", [](const Log& self) {
        return "<voltkeel.Log '" + self.source + "', " + std::to_string(self.size()) + " rows>";
    });
    log.def_property_readonly(
        "time_s", [](const Log& self) { return to_array(self.time_s); }, "(n,) time in s");
    log.def_property_readonly(
        "current_A", [](const Log& self) { return to_array(self.current_A); },
        "(n,) current in A, positive when charging");
    log.def_property_readonly(
        "voltage_V", [](const Log& self) { return to_array(self.voltage_V); },
        "(n,) terminal voltage in V");
    log.def_property_readonly(
        "temperature_degC", [](const Log& self) { return to_array(self.temperature_degC); },
        "(n,) temperature in degC");
    log.def_readwrite("source", &Log::source, "Name used in messages.");

    py::enum_<TimeFinding>(module, "TimeFinding", "What can be odd about the time of a row.")
        .value("gap", TimeFinding::gap)
        .value("repeated", TimeFinding::repeated)
        .value("backward", TimeFinding::backward);
    py::class_<LogFinding>(module, "LogFinding", "One row with an odd time.")
        .def_readonly("kind", &LogFinding::kind)
        .def_readonly("line", &LogFinding::line, "Line of the file, counted from 1.")
        .def_readonly("time_s", &LogFinding::time_s)
        .def_readonly("step_s", &LogFinding::step_s, "Time since the last row kept.");
    py::class_<LogReport>(module, "LogReport", "What reading a log came across.")
        .def_readonly("findings", &LogReport::findings)
        .def_readonly("rows", &LogReport::rows)
        .def_readonly("rows_dropped", &LogReport::rows_dropped)
        .def_readonly("temperatures_filled", &LogReport::temperatures_filled)
        .def_readonly("last_line_open", &LogReport::last_line_open)
        .def("summary", &LogReport::summary, "The report in plain words.");

    module.def(
        "read_log",
        [](const std::filesystem::path& path, const std::string& time, const std::string& current,
           const std::string& voltage, const std::string& temperature, bool discharge_positive,
           double current_offset_A, double gap_s, std::optional<double> temperature_degC,
           const std::string& separator) {
            if (separator.size() != 1) throw Error("separator: must be one character");
            LogReadSettings settings;
            settings.columns = {time, current, voltage, temperature};
            settings.current_sign =
                discharge_positive ? CurrentSign::discharge_positive : CurrentSign::charge_positive;
            settings.current_offset_A = current_offset_A;
            settings.gap_s = gap_s;
            settings.temperature_degC = temperature_degC;
            settings.separator = separator.front();
            LogReading reading;
            {
                const py::gil_scoped_release release;
                reading = read_log(path, settings);
            }
            return py::make_tuple(std::move(reading.log), std::move(reading.report));
        },
        py::arg("path"), py::kw_only(), py::arg("time") = "time_s",
        py::arg("current") = "current_A", py::arg("voltage") = "voltage_V",
        py::arg("temperature") = "temperature_degC", py::arg("discharge_positive") = false,
        py::arg("current_offset_A") = 0.0, py::arg("gap_s") = 600.0,
        py::arg("temperature_degC") = py::none(), py::arg("separator") = ",",
        "Read a CSV log.\n\nParameters\n----------\npath : file with a header row\ntime, current, "
        "voltage, temperature : names of the columns\n"
        "discharge_positive : the file writes discharge as positive\n"
        "current_offset_A : added to every reading that is not exactly zero, charge positive\n"
        "gap_s : longer steps are reported\ntemperature_degC : stands in for missing "
        "temperatures\n\n"
        "Returns\n-------\n(Log, LogReport)\n\nRaises\n------\nDataError\n    Names file, line, "
        "column and text of the first cell that cannot be used.");

    module.def("load_cell", &load_cell, py::arg("path"),
               "Read and check a cell.json. Raises DataError naming every field that is wrong.");
    module.def("save_cell", &save_cell, py::arg("path"), py::arg("cell"),
               "Write a cell.json; the file appears complete or not at all.");
    module.def("parse_cell", &parse_cell, py::arg("json"), py::arg("source") = "memory",
               "A cell from JSON text.");
    module.def("to_json", &to_json, py::arg("cell"), "A cell as JSON text.");
}

}  // namespace voltkeel::python
