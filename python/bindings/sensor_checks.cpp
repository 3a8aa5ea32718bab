#include "voltkeel/estimate/sensor_checks.hpp"

#include <limits>
#include <optional>
#include <string>

#include "bindings.hpp"

namespace voltkeel::python {

void bind_sensor_checks(py::module_& module) {
    using Settings = SensorCheckSettings<double>;
    py::class_<Settings> settings(module, "SensorCheckSettings",
                                  "Knobs of the checks; voltages are those of one cell.");
    add_keyword_constructor(settings);
    settings
        .def_readwrite("capacity_Ah", &Settings::capacity_Ah,
                       "Of the cell or group: the measure of all currents.")
        .def_readwrite("series", &Settings::series,
                       "Groups whose voltages are added up in voltage_V.")
        .def_readwrite("current_max_per_h", &Settings::current_max_per_h)
        .def_readwrite("current_unknown_per_h", &Settings::current_unknown_per_h)
        .def_readwrite("current_share_std", &Settings::current_share_std)
        .def_readwrite("current_std_per_h", &Settings::current_std_per_h)
        .def_readwrite("offset_per_h", &Settings::offset_per_h)
        .def_readwrite("voltage_low_V", &Settings::voltage_low_V)
        .def_readwrite("voltage_high_V", &Settings::voltage_high_V)
        .def_readwrite("jump_V", &Settings::jump_V)
        .def_readwrite("stuck_V", &Settings::stuck_V)
        .def_readwrite("model_std_V", &Settings::model_std_V)
        .def_readwrite("sum_share", &Settings::sum_share)
        .def_readwrite("temperature_low_degC", &Settings::temperature_low_degC)
        .def_readwrite("temperature_high_degC", &Settings::temperature_high_degC)
        .def_readwrite("temperature_rate_K_per_s", &Settings::temperature_rate_K_per_s)
        .def_readwrite("temperature_step_K", &Settings::temperature_step_K)
        .def_readwrite("gap_s", &Settings::gap_s)
        .def_readwrite("current_latch_s", &Settings::current_latch_s)
        .def_readwrite("voltage_latch_s", &Settings::voltage_latch_s)
        .def_readwrite("settle_s", &Settings::settle_s);

    py::enum_<SensorFaultBit>(module, "SensorFaultBit", py::arithmetic(),
                              "Bits of the word of sensor faults.")
        .value("current_missing", sensor_current_missing)
        .value("current_range", sensor_current_range)
        .value("current_jump", sensor_current_jump)
        .value("current_stuck", sensor_current_stuck)
        .value("current_sign", sensor_current_sign)
        .value("current_offset", sensor_current_offset)
        .value("current_drift", sensor_current_drift)
        .value("current_gain", sensor_current_gain)
        .value("voltage_missing", sensor_voltage_missing)
        .value("voltage_range", sensor_voltage_range)
        .value("voltage_jump", sensor_voltage_jump)
        .value("voltage_stuck", sensor_voltage_stuck)
        .value("voltage_sum", sensor_voltage_sum)
        .value("temperature_missing", sensor_temperature_missing)
        .value("temperature_open", sensor_temperature_open)
        .value("temperature_short", sensor_temperature_short)
        .value("temperature_rate", sensor_temperature_rate)
        .value("time_missing", sensor_time_missing)
        .value("time_backward", sensor_time_backward)
        .value("time_jump", sensor_time_jump)
        .value("time_still", sensor_time_still);

    using View = ModelView<double>;
    py::class_<View> view(module, "ModelView", "What the model expects before a sample.");
    add_keyword_constructor(view);
    view.def_readwrite("open_V", &View::open_V, "Voltage without current, overvoltages included.")
        .def_readwrite("resistance_ohm", &View::resistance_ohm,
                       "What a step of the current shows at once; 0: no model.")
        .def_readwrite("soc", &View::soc)
        .def_readwrite("soc_std", &View::soc_std);

    using Checked = CheckedReadings<double>;
    py::class_<Checked>(module, "CheckedReadings", "What to give the filter.")
        .def_readonly("current_A", &Checked::current_A)
        .def_readonly("current_std_A", &Checked::current_std_A,
                      "How far it may be off for as long as the step lasts.")
        .def_readonly("voltage_V", &Checked::voltage_V, "Of one cell; NaN: not to be used.")
        .def_readonly("temperature_degC", &Checked::temperature_degC)
        .def_readonly("dt_s", &Checked::dt_s)
        .def_readonly("fault_bits", &Checked::fault_bits, "See SensorFaultBit.");

    using Checks = SensorChecks<double>;
    py::class_<Checks> checks(module, "SensorChecks",
                              "Looks at what sensors show before it reaches a filter.");
    checks.def(py::init([](const Settings& s) {
                   need(validate(s));
                   Checks made;
                   (void)made.configure(s);
                   return made;
               }),
               py::arg("settings"));
    checks.def(
        "step",
        [](Checks& c, double time_s, double current_A, double voltage_V, double temperature_degC,
           const std::optional<View>& v, double other_voltage_V, bool no_current,
           bool voltage_asked) {
            return c.step({time_us_of(time_s), current_A, voltage_V, temperature_degC,
                           other_voltage_V, no_current, voltage_asked},
                          v.value_or(View{}));
        },
        py::arg("time_s"), py::arg("current_A"), py::arg("voltage_V"), py::arg("temperature_degC"),
        py::arg("view") = py::none(), py::kw_only(),
        py::arg("other_voltage_V") = std::numeric_limits<double>::quiet_NaN(),
        py::arg("no_current") = false, py::arg("voltage_asked") = true,
        "Look at one row and return CheckedReadings.\n\nParameters\n----------\ntime_s : of any "
        "clock\ncurrent_A : positive when charging\nvoltage_V : of the cell, or of series "
        "groups\ntemperature_degC : of the cell\nview : what the model expects; without one "
        "current "
        "and voltage do not watch each other\nother_voltage_V : the same voltage from another "
        "sensor\nno_current : contactors are known to be open\nvoltage_asked : False where "
        "voltages come "
        "once in so many ticks, and not in this one");
}

}  // namespace voltkeel::python
