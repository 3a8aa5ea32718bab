#include "voltkeel/charge/supply.hpp"

#include <algorithm>

#include "bindings.hpp"
#include "voltkeel/io/supply_file.hpp"

namespace voltkeel::python {
namespace {

void require(Status status, const char* what) {
    if (status != Status::ok) throw Error(std::string(what) + ": " + message(status));
}

void bind_pilot_and_cable(py::module_& module) {
    py::enum_<PilotMeaning>(module, "PilotMeaning",
                            "What the duty cycle of a control pilot says. Numbers are frozen.")
        .value("no_charging", PilotMeaning::no_charging)
        .value("digital_communication", PilotMeaning::digital_communication)
        .value("current", PilotMeaning::current)
        .def_property_readonly(
            "message", [](PilotMeaning m) { return message(m); }, "In plain words.");
    using Pilot = PilotSignal<double>;
    py::class_<Pilot>(module, "PilotSignal", "A control pilot, read; current_A is per line.")
        .def_readonly("meaning", &Pilot::meaning)
        .def_readonly("current_A", &Pilot::current_A);
    module.def(
        "pilot_signal",
        [](double duty_cycle_percent) {
            Pilot result;
            require(pilot_signal(duty_cycle_percent, result), "duty_cycle_percent");
            return result;
        },
        py::arg("duty_cycle_percent"),
        "Line current that a control pilot allows (IEC 61851-1, Annex A); 0..100 percent.");
    py::enum_<CableMeaning>(module, "CableMeaning",
                            "What the proximity resistor says of the cable. Numbers are frozen.")
        .value("none", CableMeaning::none)
        .value("fault", CableMeaning::fault)
        .value("rated", CableMeaning::rated)
        .def_property_readonly(
            "message", [](CableMeaning m) { return message(m); }, "In plain words.");
    py::enum_<ProximityWindows>(
        module, "ProximityWindows",
        "Where one coding of a cable ends and the next begins: without gaps, or with a fault "
        "between.")
        .value("joined", ProximityWindows::joined)
        .value("separate", ProximityWindows::separate);
    using Cable = CableRating<double>;
    py::class_<Cable>(module, "CableRating", "A proximity contact, read; current_A is per line.")
        .def_readonly("meaning", &Cable::meaning)
        .def_readonly("current_A", &Cable::current_A);
    module.def(
        "cable_rating",
        [](double resistance_ohm, int phases, ProximityWindows windows) {
            Cable result;
            require(cable_rating(resistance_ohm, phases, windows, result),
                    "resistance_ohm or phases");
            return result;
        },
        py::arg("resistance_ohm"), py::arg("phases") = 1,
        py::arg_v("windows", ProximityWindows::joined, "ProximityWindows.joined"),
        "Rating of a cable by its proximity resistor (IEC 61851-1, Annex B).");
}

}  // namespace

void bind_supply(py::module_& module) {
    bind_pilot_and_cable(module);
    using Efficiency = PowerEfficiency<double>;
    py::class_<Efficiency>(module, "PowerEfficiency",
                           "Efficiency of a charger over the power it puts out; one value is a "
                           "plain number.")
        .def(py::init([](const Column& power_W, const Column& efficiency) {
                 const std::vector<double> power = to_vector("power_W", power_W);
                 const std::vector<double> share = to_vector("efficiency", efficiency);
                 if (power.empty() || power.size() != share.size() ||
                     power.size() > static_cast<std::size_t>(Efficiency::capacity)) {
                     throw Error("power_W has " + std::to_string(power.size()) +
                                 " values and efficiency " + std::to_string(share.size()) +
                                 ", must be 1 to 16 and as many");
                 }
                 Efficiency result;
                 std::copy(power.begin(), power.end(), result.power_W);
                 std::copy(share.begin(), share.end(), result.efficiency);
                 result.count = static_cast<int>(power.size());
                 return result;
             }),
             py::arg("power_W"), py::arg("efficiency"), "(n,) W put out, increasing, and (n,).")
        .def_property_readonly(
            "power_W",
            [](const Efficiency& e) {
                return to_array(std::vector<double>(e.power_W, e.power_W + e.count));
            })
        .def_property_readonly("efficiency", [](const Efficiency& e) {
            return to_array(std::vector<double>(e.efficiency, e.efficiency + e.count));
        });
    module.def("efficiency_at", &efficiency_at<double>, py::arg("table"), py::arg("power_W"),
               "Efficiency at a power put out.");
    module.def("output_power_W", &output_power_W<double>, py::arg("table"), py::arg("input_W"),
               "Power that a charger puts out when it takes input_W.");
    using Ac = AcSupply<double>;
    py::class_<Ac> ac(module, "AcSupply", "The mains with socket and cable, up to the charger.");
    add_keyword_constructor(ac);
    ac.def_readwrite("mains_voltage_V", &Ac::mains_voltage_V)
        .def_readwrite("phases", &Ac::phases)
        .def_readwrite("outlet_current_A", &Ac::outlet_current_A)
        .def_readwrite("power_factor", &Ac::power_factor)
        .def_readwrite("has_pilot", &Ac::has_pilot)
        .def_readwrite("has_cable", &Ac::has_cable)
        .def_readwrite("duty_cycle_percent", &Ac::duty_cycle_percent)
        .def_readwrite("proximity_ohm", &Ac::proximity_ohm)
        .def_readwrite("windows", &Ac::windows);
    using C = Charger<double>;
    py::class_<C> charger(module, "Charger",
                          "A charger between mains and pack. Ceilings of 0 are not there.");
    add_keyword_constructor(charger);
    charger.def_readwrite("phases", &C::phases)
        .def_readwrite("input_current_max_A", &C::input_current_max_A)
        .def_readwrite("voltage_min_V", &C::voltage_min_V)
        .def_readwrite("voltage_max_V", &C::voltage_max_V)
        .def_readwrite("current_max_A", &C::current_max_A)
        .def_readwrite("power_max_W", &C::power_max_W)
        .def_readwrite("efficiency", &C::efficiency);
    using Station = DcStation<double>;
    py::class_<Station> station(module, "DcStation", "A DC station: what it says it can give now.");
    add_keyword_constructor(station);
    station.def_readwrite("voltage_min_V", &Station::voltage_min_V)
        .def_readwrite("voltage_max_V", &Station::voltage_max_V)
        .def_readwrite("current_max_A", &Station::current_max_A)
        .def_readwrite("power_max_W", &Station::power_max_W);
    py::enum_<SupplyKind>(module, "SupplyKind", "Kinds of supply.")
        .value("ac_charger", SupplyKind::ac_charger)
        .value("dc_station", SupplyKind::dc_station);
    using S = Supply<double>;
    py::class_<S> supply(module, "Supply",
                         "Whatever charges the pack. Only the members of its kind are read.");
    add_keyword_constructor(supply);
    supply.def_readwrite("kind", &S::kind)
        .def_readwrite("ac", &S::ac)
        .def_readwrite("charger", &S::charger)
        .def_readwrite("station", &S::station);
    py::enum_<SupplyReason>(module, "SupplyReason",
                            "What decides the current that a supply gives. Numbers are frozen.")
        .value("battery", SupplyReason::battery)
        .value("pilot", SupplyReason::pilot)
        .value("cable", SupplyReason::cable)
        .value("outlet", SupplyReason::outlet)
        .value("charger_input", SupplyReason::charger_input)
        .value("charger_current", SupplyReason::charger_current)
        .value("charger_power", SupplyReason::charger_power)
        .value("charger_voltage", SupplyReason::charger_voltage)
        .value("station_current", SupplyReason::station_current)
        .value("station_power", SupplyReason::station_power)
        .value("station_voltage", SupplyReason::station_voltage)
        .value("pilot_off", SupplyReason::pilot_off)
        .value("pilot_digital", SupplyReason::pilot_digital)
        .value("no_plug", SupplyReason::no_plug)
        .value("cable_fault", SupplyReason::cable_fault)
        .def_property_readonly(
            "message", [](SupplyReason reason) { return message(reason); }, "In plain words.");
    using Limits = SupplyLimits<double>;
    py::class_<Limits> limits(module, "SupplyLimits",
                              "What a supply can put into a pack: the least of all on the way.");
    add_keyword_constructor(limits);
    limits.def_readwrite("voltage_min_V", &Limits::voltage_min_V)
        .def_readwrite("voltage_max_V", &Limits::voltage_max_V)
        .def_readwrite("current_max_A", &Limits::current_max_A)
        .def_readwrite("power_max_W", &Limits::power_max_W)
        .def_readwrite("line_current_A", &Limits::line_current_A)
        .def_readwrite("current_reason", &Limits::current_reason)
        .def_readwrite("power_reason", &Limits::power_reason)
        .def_readwrite("voltage_reason", &Limits::voltage_reason);
    using Available = AvailableCurrent<double>;
    py::class_<Available>(module, "AvailableCurrent", "Charge current with what decides it.")
        .def_readonly("current_A", &Available::current_A)
        .def_readonly("reason", &Available::reason);
    module.def("check_supply", &check_supply, py::arg("supply"),
               "Raise DataError, naming field, value and bound, unless the supply can be used.");
    module.def(
        "supply_limits",
        [](const S& from) {
            check_supply(from);
            Limits result;
            require(supply_limits(from, result), "supply");
            return result;
        },
        py::arg("supply"),
        "Least of outlet, pilot, cable and charger; power 0 and the reason when nothing may be "
        "drawn.");
    module.def(
        "available_current",
        [](const Limits& from, double pack_voltage_V, double allowed_A) {
            Available result;
            require(available_current(from, pack_voltage_V, allowed_A, result),
                    "pack_voltage_V or allowed_A");
            return result;
        },
        py::arg("limits"), py::arg("pack_voltage_V"), py::arg("allowed_A"),
        "Charge current at a pack voltage: the least of what the supply gives and the pack takes.");
    module.def("socket_power_W", &socket_power_W<double>, py::arg("supply"), py::arg("power_W"),
               "Power drawn from the socket while power_W flows into the pack.");
    using Description = SupplyDescription;
    py::class_<Description> description(module, "SupplyDescription", "A supply with its name.");
    add_keyword_constructor(description);
    description.def_readwrite("name", &Description::name)
        .def_readwrite("supply", &Description::supply);
    module.def("load_supply", &load_supply, py::arg("path"), "Read and check a supply file.");
    module.def("parse_supply", &parse_supply, py::arg("text"), py::arg("source"),
               "Read a supply from JSON text, as load_supply does.");
    module.def("save_supply", &save_supply, py::arg("path"), py::arg("description"),
               "Write a supply file; it appears complete or not at all.");
}

}  // namespace voltkeel::python
