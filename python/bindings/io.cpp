#include "bindings.hpp"
#include "voltkeel/io/cell_age.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/csv.hpp"
#include "voltkeel/io/join.hpp"
#include "voltkeel/io/log_mapping.hpp"
#include "voltkeel/io/test_set.hpp"

namespace voltkeel::python {

namespace {

void bind_cell_age(py::module_& module) {
    py::class_<CellAge> age(module, "CellAge",
                            "How a cell has aged against the cell that was tested.");
    add_keyword_constructor(age);
    age.def_readwrite("capacity_scale", &CellAge::capacity_scale,
                      "Capacity over that of the cell file, 0.1 .. 2.")
        .def_readwrite("capacity_log_std", &CellAge::capacity_log_std,
                       "Of its logarithm; 0: not told.")
        .def_readwrite("resistance_scale", &CellAge::resistance_scale,
                       "All resistances over those of the cell file, 0.1 .. 10.")
        .def_readwrite("resistance_log_std", &CellAge::resistance_log_std,
                       "Of its logarithm; 0: not told.")
        .def_readwrite("notes", &CellAge::notes, "Where the numbers come from; set the list.");
    module.def("check", py::overload_cast<const CellAge&>(&check), py::arg("age"),
               "Check an age; raises DataError naming field, value and bound.");
    module.def("aged_cell", &aged_cell, py::arg("cell"), py::arg("age"),
               "The cell with the capacity that it has now. Its resistances are those of the test: "
               "the scale goes with the state (ModelState, GroupState).");
    module.def("load_cell_age", &load_cell_age, py::arg("path"),
               "Read an age file. Raises DataError naming every field that is wrong.");
    module.def("parse_cell_age", &parse_cell_age, py::arg("json"), py::arg("source") = "memory",
               "An age from JSON text.");
    module.def("save_cell_age", &save_cell_age, py::arg("path"), py::arg("age"),
               "Write an age file; it appears complete or not at all.");
}

}  // namespace

void bind_io(py::module_& module) {
    bind_cell_age(module);
    py::class_<Log> log(module, "Log",
                        "A log: one entry per row in each column, time strictly increasing, "
                        "current positive when charging.");
    log.def(py::init([](const Column& time_s, const Column& current_A, const Column& voltage_V,
                        const py::object& temperature_degC, const std::string& source,
                        bool missing_allowed) {
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
                check_log(result, missing_allowed);
                return result;
            }),
            py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"),
            py::arg("temperature_degC"), py::arg("source") = "memory", py::kw_only(),
            py::arg("missing_allowed") = false,
            "A log from columns of one length (lists, arrays or data frame columns).\n\n"
            "Parameters\n----------\ntime_s : (n,) strictly increasing\ncurrent_A : (n,) positive "
            "when charging\n"
            "voltage_V : (n,)\ntemperature_degC : (n,) or one number\nsource : name used in "
            "messages\nmissing_allowed : NaN may stand for a current, a voltage and a temperature, "
            "for SensorUse.replaced\n\n"
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
    log.def_readwrite("clock_origin_s", &Log::clock_origin_s,
                      "Seconds from 1970-01-01 to time_s = 0 on the clock of the file's time "
                      "stamps; None without stamps.");

    py::enum_<CurrentSign>(module, "CurrentSign", "Direction of current a file writes as positive.")
        .value("charge_positive", CurrentSign::charge_positive)
        .value("discharge_positive", CurrentSign::discharge_positive);
    py::enum_<TimeFormat>(module, "TimeFormat", "How the time column is written.")
        .value("automatic", TimeFormat::automatic, "as the first row has it")
        .value("number", TimeFormat::number)
        .value("timestamp", TimeFormat::timestamp, "2024-03-01 12:00:00.5, with T, Z or +01:00")
        .value("elapsed", TimeFormat::elapsed, "HH:MM:SS");
    py::class_<LogColumns> columns(module, "LogColumns",
                                   "Names of the columns. A default name also finds that of the "
                                   "open Battery Data Format.");
    add_keyword_constructor(columns);
    columns.def_readwrite("time", &LogColumns::time)
        .def_readwrite("current", &LogColumns::current)
        .def_readwrite("voltage", &LogColumns::voltage)
        .def_readwrite("temperature", &LogColumns::temperature)
        .def_readwrite("pack_voltage", &LogColumns::pack_voltage,
                       "In a log of groups: of all in series, from another sensor.");
    py::class_<LogUnits> units(module, "LogUnits", "Units of the columns.");
    add_keyword_constructor(units);
    units.def_readwrite("time", &LogUnits::time, "s, ms, min or h")
        .def_readwrite("current", &LogUnits::current, "A or mA")
        .def_readwrite("voltage", &LogUnits::voltage, "V or mV")
        .def_readwrite("temperature", &LogUnits::temperature, "degC, K or degF");
    py::class_<LogReadSettings> how(module, "LogReadSettings",
                                    "How to read a log; kept in a file by save_log_mapping.");
    add_keyword_constructor(how);
    how.def_readwrite("columns", &LogReadSettings::columns)
        .def_readwrite("units", &LogReadSettings::units)
        .def_readwrite("units_from_header", &LogReadSettings::units_from_header,
                       "'Voltage / V', 'Current (mA)' and 'Time [min]' tell their units.")
        .def_readwrite("time_format", &LogReadSettings::time_format)
        .def_readwrite("decimal_comma", &LogReadSettings::decimal_comma)
        .def_readwrite("header_line", &LogReadSettings::header_line, "From 1; 0 looks for it.")
        .def_readwrite("lines_after_header", &LogReadSettings::lines_after_header,
                       "Lines to pass over behind the header.")
        .def_readwrite("current_sign", &LogReadSettings::current_sign)
        .def_readwrite("current_offset_A", &LogReadSettings::current_offset_A,
                       "Added to every reading that is not exactly zero, charge positive.")
        .def_readwrite("gap_s", &LogReadSettings::gap_s, "Longer steps are reported.")
        .def_readwrite("temperature_degC", &LogReadSettings::temperature_degC,
                       "Stands in for missing temperatures.")
        .def_readwrite("keep_missing", &LogReadSettings::keep_missing,
                       "An empty, NaN or infinite cell is a reading that did not come, and no "
                       "error; for SensorUse.replaced.")
        .def_property(
            "separator", [](const LogReadSettings& self) { return std::string(1, self.separator); },
            [](LogReadSettings& self, const std::string& text) {
                if (text.size() != 1) throw Error("separator: must be one character");
                self.separator = text.front();
            },
            "Between the fields of a row, one character.");

    py::enum_<TimeFinding>(module, "TimeFinding", "What can be odd about the time of a row.")
        .value("gap", TimeFinding::gap)
        .value("repeated", TimeFinding::repeated)
        .value("backward", TimeFinding::backward);
    py::class_<LogFinding>(module, "LogFinding", "One row with an odd time.")
        .def_readonly("kind", &LogFinding::kind)
        .def_readonly("line", &LogFinding::line, "Line of the file, counted from 1.")
        .def_readonly("time_s", &LogFinding::time_s)
        .def_readonly("step_s", &LogFinding::step_s, "Time since the last row kept.");
    py::class_<LogColumnTaken>(module, "LogColumnTaken", "A column that was read.")
        .def_readonly("quantity", &LogColumnTaken::quantity, "Our name of it.")
        .def_readonly("name", &LogColumnTaken::name, "Its name in the file.")
        .def_readonly("unit", &LogColumnTaken::unit, "The unit it was read in.");
    py::class_<LogReport>(module, "LogReport", "What reading a log came across.")
        .def_readonly("findings", &LogReport::findings)
        .def_readonly("columns", &LogReport::columns)
        .def_readonly("header_line", &LogReport::header_line)
        .def_readonly("first_row_line", &LogReport::first_row_line)
        .def_readonly("rows", &LogReport::rows)
        .def_readonly("rows_dropped", &LogReport::rows_dropped)
        .def_readonly("temperatures_filled", &LogReport::temperatures_filled)
        .def_readonly("readings_missing", &LogReport::readings_missing)
        .def_readonly("last_line_open", &LogReport::last_line_open)
        .def("line_of", &LogReport::line_of, py::arg("row"), "Line of the file that holds a row.")
        .def("summary", &LogReport::summary, "The report in plain words.");

    module.def(
        "read_log",
        [](const std::filesystem::path& path, const std::optional<LogReadSettings>& mapping,
           const std::optional<std::string>& time, const std::optional<std::string>& current,
           const std::optional<std::string>& voltage, const std::optional<std::string>& temperature,
           std::optional<bool> discharge_positive, std::optional<double> current_offset_A,
           std::optional<double> gap_s, std::optional<double> temperature_degC,
           const std::optional<std::string>& separator) {
            if (separator && separator->size() != 1) {
                throw Error("separator: must be one character");
            }
            LogReadSettings settings = mapping.value_or(LogReadSettings{});
            if (time) settings.columns.time = *time;
            if (current) settings.columns.current = *current;
            if (voltage) settings.columns.voltage = *voltage;
            if (temperature) settings.columns.temperature = *temperature;
            if (discharge_positive) {
                settings.current_sign = *discharge_positive ? CurrentSign::discharge_positive
                                                            : CurrentSign::charge_positive;
            }
            if (current_offset_A) settings.current_offset_A = *current_offset_A;
            if (gap_s) settings.gap_s = *gap_s;
            if (temperature_degC) settings.temperature_degC = temperature_degC;
            if (separator) settings.separator = separator->front();
            LogReading reading;
            {
                const py::gil_scoped_release release;
                reading = read_log(path, settings);
            }
            return py::make_tuple(std::move(reading.log), std::move(reading.report));
        },
        py::arg("path"), py::arg("settings") = py::none(), py::kw_only(),
        py::arg("time") = py::none(), py::arg("current") = py::none(),
        py::arg("voltage") = py::none(), py::arg("temperature") = py::none(),
        py::arg("discharge_positive") = py::none(), py::arg("current_offset_A") = py::none(),
        py::arg("gap_s") = py::none(), py::arg("temperature_degC") = py::none(),
        py::arg("separator") = py::none(),
        "Read a CSV log.\n\nParameters\n----------\npath : file with a header row\nsettings : "
        "LogReadSettings, as load_log_mapping gives; what is given beside it comes first\ntime, "
        "current, voltage, temperature : names of the columns; left out, ours (time_s, current_A, "
        "voltage_V, temperature_degC) or those of the open Battery Data Format\n"
        "discharge_positive : the file writes discharge as positive\n"
        "current_offset_A : added to every reading that is not exactly zero, charge positive\n"
        "gap_s : longer steps are reported (600)\ntemperature_degC : stands in for missing "
        "temperatures\nseparator : between fields (',')\n\n"
        "Returns\n-------\n(Log, LogReport)\n\nRaises\n------\nDataError\n    Names file, line, "
        "column and text of the first cell that cannot be used.");
    module.def("reading_in_words", &reading_in_words, py::arg("settings"),
               "Say how a log was read where it is not written as the library writes logs: sign, "
               "temperature; empty for one that is.");
    module.def("load_log_mapping", &load_log_mapping, py::arg("path"),
               "Read a mapping file. Raises DataError naming every field that is wrong.");
    module.def("parse_log_mapping", &parse_log_mapping, py::arg("json"),
               py::arg("source") = "memory", "A mapping from JSON text.");
    module.def("save_log_mapping", &save_log_mapping, py::arg("path"), py::arg("settings"),
               "Write a mapping file; it appears complete or not at all.");
    py::class_<TestFile>(module, "TestFile", "One log of a set of tests.")
        .def_readonly("path", &TestFile::path)
        .def_readonly("role", &TestFile::role,
                      "'slow test', 'pulse test', 'charge', 'cycles' or 'heat'")
        .def_property_readonly(
            "mapping",
            [](const TestFile& f) {
                return f.mapping.empty() ? std::optional<std::filesystem::path>{} : f.mapping;
            },
            "its mapping file, or None")
        .def_readonly("settings", &TestFile::settings, "LogReadSettings for read_log");
    module.def(
        "load_test_set", &load_test_set, py::arg("path"),
        "Read a set of tests (data/schema/test_set.schema.json) and the mappings it "
        "names.\n\nParameters\n----------\npath : relative paths in the file start at its "
        "folder\n\nReturns\n-------\nlist of TestFile\n\nRaises\n------\nDataError\n    Names "
        "the file and every field that is wrong.");
    module.def(
        "join_logs",
        [](const std::vector<Log>& logs, double pause_s) { return join_logs(logs, {pause_s}); },
        py::arg("logs"), py::arg("pause_s") = 1.0,
        "Join logs to one, in the order given, with time that goes on.\n\n"
        "Parameters\n----------\nlogs : list of Log; by their time stamps where all have some\n"
        "pause_s : time between a log and the next where they have "
        "none\n\nReturns\n-------\nLog\n\n"
        "Raises\n------\nDataError\n    Names the log that starts before the one in front of it "
        "ends.");
    module.def("parse_test_set", &parse_test_set, py::arg("json"), py::arg("source") = "memory",
               py::arg("folder") = ".",
               "A set of tests from JSON text; relative paths start at `folder`.");
    module.def("join_doubts", &join_doubts, py::arg("logs"),
               py::call_guard<py::gil_scoped_release>(),
               "Say what speaks against logs being one test in the order given.\n\n"
               "Parameters\n----------\nlogs : list of Log\n\nReturns\n-------\nlist of str\n    "
               "One line for each place where the voltage jumps by more than a rest explains.\n\n"
               "Raises\n------\nDataError\n    As join_logs does.");

    module.def(
        "write_csv",
        [](const std::filesystem::path& path, const std::vector<std::string>& names,
           const std::vector<Column>& arrays, int significant_digits) {
            std::vector<std::vector<double>> values;
            for (std::size_t k = 0; k < arrays.size(); ++k) {
                values.push_back(
                    to_vector(k < names.size() ? names[k].c_str() : "columns", arrays[k]));
            }
            write_csv(path, names, values, significant_digits);
        },
        py::arg("path"), py::arg("names"), py::arg("columns"), py::arg("significant_digits") = 9,
        "Write columns of numbers as a CSV file; it appears complete or not at all.\n\n"
        "Parameters\n----------\npath : file\nnames : one per column\n"
        "columns : arrays of one length, every value finite\n"
        "significant_digits : 1 .. 17; 17 reads back to the same numbers");

    module.def("load_cell", &load_cell, py::arg("path"),
               "Read and check a cell.json. Raises DataError naming every field that is wrong.");
    module.def("save_cell", &save_cell, py::arg("path"), py::arg("cell"),
               "Write a cell.json; the file appears complete or not at all.");
    module.def("parse_cell", &parse_cell, py::arg("json"), py::arg("source") = "memory",
               "A cell from JSON text.");
    module.def("to_json", &to_json, py::arg("cell"), "A cell as JSON text.");
}

}  // namespace voltkeel::python
