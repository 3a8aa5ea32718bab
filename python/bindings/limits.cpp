#include "bindings.hpp"
#include "voltkeel/io/model_state.hpp"

namespace voltkeel::python {

void bind_limits(py::module_& module) {
    py::enum_<LimitReason>(module, "LimitReason", "What decides a limit. Numbers are frozen.")
        .value("none", LimitReason::none)
        .value("voltage", LimitReason::voltage)
        .value("soc", LimitReason::soc)
        .value("temperature", LimitReason::temperature)
        .value("maker_table", LimitReason::maker_table)
        .value("fuse", LimitReason::fuse)
        .value("contactor", LimitReason::contactor)
        .value("cable", LimitReason::cable)
        .value("connector", LimitReason::connector)
        .value("charger", LimitReason::charger)
        .value("drive", LimitReason::drive)
        .value("driver", LimitReason::driver)
        .value("pulse_used", LimitReason::pulse_used)
        .value("opening", LimitReason::opening)
        .def_property_readonly(
            "message", [](LimitReason reason) { return message(reason); }, "In plain words.");
    using Direction = DirectionLimit<double>;
    py::class_<Direction>(module, "DirectionLimit",
                          "What is allowed in one direction for one horizon.")
        .def_readonly("current_A", &Direction::current_A, ">= 0 for charge, <= 0 for discharge.")
        .def_readonly("power_W", &Direction::power_W,
                      "What can be held to the end of the horizon, signed like the current.")
        .def_readonly("end_voltage_V", &Direction::end_voltage_V)
        .def_readonly("reason", &Direction::reason)
        .def_readonly("binding_value", &Direction::binding_value,
                      "The bound that decides, in its own unit.");
    using Horizon = HorizonLimit<double>;
    py::class_<Horizon>(module, "HorizonLimit", "Both directions for one horizon.")
        .def_readonly("horizon_s", &Horizon::horizon_s)
        .def_readonly("charge", &Horizon::charge)
        .def_readonly("discharge", &Horizon::discharge);
    using Settings = LimitSettings<double>;
    py::class_<Settings> settings(module, "LimitSettings", "Knobs of the limit search.");
    add_keyword_constructor(settings);
    settings.def_readwrite("current_tolerance", &Settings::current_tolerance)
        .def_readwrite("current_tolerance_A", &Settings::current_tolerance_A)
        .def_readwrite("largest_rate_per_h", &Settings::largest_rate_per_h)
        .def_readwrite("soc_margin", &Settings::soc_margin)
        .def_readwrite("voltage_margin_V", &Settings::voltage_margin_V)
        .def_readwrite("core_over_case_K", &Settings::core_over_case_K,
                       "Added to that of the state.")
        .def_readwrite("temperature_margin_K", &Settings::temperature_margin_K,
                       "The temperature may be off by this.")
        .def_readwrite("temperature_taper_K", &Settings::temperature_taper_K,
                       "Before an end of the temperature window the current falls to nothing.")
        .def_readwrite("soc_taper", &Settings::soc_taper, "The same for the SOC window.")
        .def_readwrite("warmth_lag_s", &Settings::warmth_lag_s,
                       "The resistance follows what a current warms this much later; 0: at once.")
        .def_readwrite("low_soc", &Settings::low_soc,
                       "Below this SOC a discharge meets more resistance than the model has.")
        .def_readwrite("low_soc_margin", &Settings::low_soc_margin,
                       "By this share at empty; nothing at low_soc.")
        .def_readwrite("untested_sigmas", &Settings::untested_sigmas,
                       "Beyond the cell's tested current its voltage is taken to move further than "
                       "the model says, by this many untested_share_std for every doubling.")
        .def_readwrite("link_ohm", &Settings::link_ohm,
                       "From the cell to where its voltage is measured and limited; its heat does "
                       "not warm the cell.");
    module.def(
        "current_limits",
        [](const Cell& cell, const ModelState& state, const std::vector<double>& horizons_s,
           const Settings& s) { return current_limits(cell, state, horizons_s, s); },
        py::arg("cell"), py::arg("state"), py::arg("horizons_s") = std::vector<double>{2, 10, 30},
        py::arg_v("settings", Settings{}, "LimitSettings()"),
        "Largest charge and discharge current and power of one cell for each horizon, and what "
        "decides them.\n\n"
        "Parameters\n----------\ncell : Cell\nstate : ModelState, its temperature included\n"
        "horizons_s : rising, each from 0 to 600, the last may be inf (continuous)\n\n"
        "Returns\n-------\nlist of HorizonLimit");
}

}  // namespace voltkeel::python
