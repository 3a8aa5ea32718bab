#include "bindings.hpp"
#include "charge_curve.hpp"
#include "voltkeel/io/model_state.hpp"

namespace voltkeel::python {

void bind_charge(py::module_& module) {
    py::enum_<ChargePhase>(module, "ChargePhase", "Where a charge stands. Numbers are frozen.")
        .value("constant_current", ChargePhase::constant_current)
        .value("constant_voltage", ChargePhase::constant_voltage)
        .value("done", ChargePhase::done)
        .value("not_allowed", ChargePhase::not_allowed)
        .value("constant_power", ChargePhase::constant_power)
        .value("rest", ChargePhase::rest)
        .value("balancing", ChargePhase::balancing)
        .value("no_supply", ChargePhase::no_supply)
        .value("waiting", ChargePhase::waiting)
        .value("fault", ChargePhase::fault)
        .def_property_readonly(
            "message", [](ChargePhase phase) { return message(phase); }, "In plain words.");
    using Settings = ForecastSettings<double>;
    py::class_<Settings> settings(module, "ForecastSettings", "Knobs of the charge forecast.");
    add_keyword_constructor(settings);
    settings.def_readwrite("longest_s", &Settings::longest_s)
        .def_readwrite("step_s", &Settings::step_s)
        .def_readwrite("event_tolerance_s", &Settings::event_tolerance_s)
        .def_readwrite("max_steps", &Settings::max_steps)
        .def_readwrite("least_resistance_scale", &Settings::least_resistance_scale,
                       "A resistance scale below is taken for this (1: ageing does not bring a "
                       "cell below the tested one); 0: as told.")
        .def_readwrite("limits_end_s", &Settings::limits_end_s,
                       "Limits that let in no more than the end current for this long end the "
                       "forecast.");
    using Forecast = ChargeForecast<double>;
    py::class_<Forecast>(module, "ChargeForecast",
                         "How a charge goes, to its target or as far as it gets.")
        .def_readonly("time_s", &Forecast::time_s)
        .def_readonly("constant_current_s", &Forecast::constant_current_s)
        .def_readonly("constant_voltage_s", &Forecast::constant_voltage_s)
        .def_readonly("constant_power_s", &Forecast::constant_power_s)
        .def_readonly("rest_s", &Forecast::rest_s)
        .def_readonly("stored_Wh", &Forecast::stored_Wh)
        .def_readonly("socket_energy_Wh", &Forecast::socket_energy_Wh)
        .def_readonly("end_soc", &Forecast::end_soc)
        .def_readonly("end_temperature_degC", &Forecast::end_temperature_degC)
        .def_readonly("highest_temperature_degC", &Forecast::highest_temperature_degC)
        .def_readonly("charge_Ah", &Forecast::charge_Ah)
        .def_readonly("energy_Wh", &Forecast::energy_Wh)
        .def_readonly("end_current_A", &Forecast::end_current_A)
        .def_readonly("taper_from_A", &Forecast::taper_from_A,
                      "Current at which the voltage is held for the last time; 0: never.")
        .def_readonly("taper_s", &Forecast::taper_s, "How long it is held from there.")
        .def_readonly("limits_s", &Forecast::limits_s,
                      "How long the maker's table or the parts held the current below what plan "
                      "and supply give.")
        .def_readonly("limits_until_s", &Forecast::limits_until_s, "When they last did, from now.")
        .def_readonly("limits_reason", &Forecast::limits_reason,
                      "LimitReason, which of them was the first to.")
        .def_readonly("end_reason", &Forecast::end_reason,
                      "LimitReason.soc: the window's highest SOC ended the charge before plan or "
                      "target did.")
        .def_readonly("end_phase", &Forecast::end_phase)
        .def_readonly("reached", &Forecast::reached);
    py::class_<ChargeOutlook>(module, "ChargeOutlook", "A forecast, how it ended, and its curve.")
        .def_readonly("forecast", &ChargeOutlook::forecast)
        .def_property_readonly(
            "message", [](const ChargeOutlook& o) { return message(o.status); },
            "How it ended, in plain words.")
        .def_property_readonly(
            "curve", [](const ChargeOutlook& o) { return curve_columns(o.curve); }, curve_doc);
    py::class_<PackSupply> pack(
        module, "PackSupply",
        "What charges a pack, and the pack: series groups of parallel cells.");
    add_keyword_constructor(pack);
    pack.def_readwrite("supply", &PackSupply::supply)
        .def_readwrite("series", &PackSupply::series)
        .def_readwrite("parallel", &PackSupply::parallel);
    module.def(
        "time_to_full",
        [](const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
           double ambient_degC, const PackSupply& supply,
           const Settings& s) { return time_to_full(cell, state, plan, ambient_degC, supply, s); },
        py::arg("cell"), py::arg("state"), py::arg("plan"), py::arg("ambient_degC"),
        py::arg("supply"), py::arg_v("settings", Settings{}, "ForecastSettings()"),
        "Time until a pack of such cells is full on a supply; the forecast is of one cell, its "
        "socket_energy_Wh of the whole pack.");
    module.def(
        "time_to_soc",
        [](const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
           double ambient_degC, double target_soc, const PackSupply& supply, const Settings& s) {
            return time_to_soc(cell, state, plan, ambient_degC, target_soc, supply, s);
        },
        py::arg("cell"), py::arg("state"), py::arg("plan"), py::arg("ambient_degC"),
        py::arg("target_soc"), py::arg("supply"),
        py::arg_v("settings", Settings{}, "ForecastSettings()"),
        "Time until an SOC is reached on a supply; see time_to_full.");
    module.def(
        "time_to_full",
        [](const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
           double ambient_degC, double supply_current_A, const Settings& s) {
            return time_to_full(cell, state, plan, ambient_degC, supply_current_A, s);
        },
        py::arg("cell"), py::arg("state"), py::arg("plan"), py::arg("ambient_degC"),
        py::arg("supply_current_A") = 0.0, py::arg_v("settings", Settings{}, "ForecastSettings()"),
        "Time until the cell is full on a plan, by running the model forward.\n\n"
        "Parameters\n----------\ncell : Cell\nstate : ModelState, its temperature included\nplan : "
        "ChargePlan, for example cell.charge\n"
        "ambient_degC : surroundings\nsupply_current_A : most the supply gives; 0 means as much as "
        "the plan asks\n\nReturns\n-------\nChargeOutlook");
    module.def(
        "time_to_soc",
        [](const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
           double ambient_degC, double target_soc, double supply_current_A, const Settings& s) {
            return time_to_soc(cell, state, plan, ambient_degC, target_soc, supply_current_A, s);
        },
        py::arg("cell"), py::arg("state"), py::arg("plan"), py::arg("ambient_degC"),
        py::arg("target_soc"), py::arg("supply_current_A") = 0.0,
        py::arg_v("settings", Settings{}, "ForecastSettings()"),
        "Time until an SOC is reached; see time_to_full.");
}

}  // namespace voltkeel::python
