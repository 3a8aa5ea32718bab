#include "voltkeel/simulate/cooling.hpp"

#include "bindings.hpp"
#include "voltkeel/simulate/cooling_file.hpp"

namespace voltkeel::python {

void bind_cooling(py::module_& module) {
    module.def("cross_flow_effectiveness", &cross_flow_effectiveness, py::arg("transfer_units"),
               py::arg("capacity_ratio"),
               "Share of the largest possible heat that a cross-flow heat exchanger carries.");
    using Switch = ThermalSwitch;
    py::class_<Switch> thermal(module, "ThermalSwitch",
                               "A switch with hysteresis; on in the warm where on_degC is above "
                               "off_degC, in the cold otherwise; both inf: always off, both -inf: "
                               "always on.");
    add_keyword_constructor(thermal);
    thermal.def_readwrite("on_degC", &Switch::on_degC)
        .def_readwrite("off_degC", &Switch::off_degC)
        .def("next", &Switch::next, py::arg("on"), py::arg("degC"), "Where it stands next.");
    py::class_<AirTemperature> air(module, "AirTemperature",
                                   "Outside air over the day, straight lines between points.");
    add_keyword_constructor(air);
    array_field(air, "time_s", &AirTemperature::time_s, "(n,) rising");
    array_field(air, "degC", &AirTemperature::degC, "(n,)");
    air.def("at", &AirTemperature::at, py::arg("now_s"), "Temperature at a time.");
    using A = AirCooling;
    py::class_<A> by_air(module, "AirCooling", "Cells in still or moving air.");
    add_keyword_constructor(by_air);
    by_air.def_readwrite("still_factor", &A::still_factor, "On the cell files' resistance.")
        .def_readwrite("moving_factor", &A::moving_factor, "The same with the fan on.")
        .def_readwrite("flow_W_per_K", &A::flow_W_per_K,
                       "Capacity rate of the air past each string; 0: so much it does not warm.")
        .def_readwrite("fan_power_W", &A::fan_power_W)
        .def_readwrite("fan", &A::fan, "By the warmest core.");
    py::class_<Radiator> radiator(module, "Radiator", "Air to coolant, cross-flow.");
    add_keyword_constructor(radiator);
    radiator.def_readwrite("conductance_W_per_K", &Radiator::conductance_W_per_K, "UA; 0: none.")
        .def_readwrite("air_W_per_K", &Radiator::air_W_per_K, "Capacity rate of the air.")
        .def_readwrite("fan_power_W", &Radiator::fan_power_W)
        .def_readwrite("fan", &Radiator::fan, "By the coolant.");
    py::class_<Chiller> chiller(module, "Chiller", "Takes heat out of the coolant.");
    add_keyword_constructor(chiller);
    chiller.def_readwrite("power_W", &Chiller::power_W, "Heat taken out; 0: none.")
        .def_readwrite("performance", &Chiller::performance, "Heat over electric power.")
        .def_readwrite("compressor", &Chiller::compressor, "By the coolant.");
    py::class_<Heater> heater(module, "Heater", "Warms the coolant by electricity.");
    add_keyword_constructor(heater);
    heater.def_readwrite("power_W", &Heater::power_W, "0: none.")
        .def_readwrite("element", &Heater::element, "By the coldest core.")
        .def_readwrite("coolant_max_degC", &Heater::coolant_max_degC, "Off above.");
    using L = LiquidLoop;
    py::class_<L> loop(module, "LiquidLoop", "A liquid loop, of the pack's own or shared.");
    add_keyword_constructor(loop);
    loop.def_readwrite("start_degC", &L::start_degC)
        .def_readwrite("heat_capacity_J_per_K", &L::heat_capacity_J_per_K)
        .def_readwrite("flow_W_per_K", &L::flow_W_per_K, "All strings together.")
        .def_readwrite("pump_power_W", &L::pump_power_W)
        .def_readwrite("pump", &L::pump, "By the warmest core.")
        .def_readwrite("flowing_factor", &L::flowing_factor, "On the cell files' resistance.")
        .def_readwrite("standing_factor", &L::standing_factor, "The same with the pump off.")
        .def_readwrite("radiator", &L::radiator)
        .def_readwrite("chiller", &L::chiller)
        .def_readwrite("heater", &L::heater)
        .def_readwrite("drive_loss_share", &L::drive_loss_share, "Of the discharge power.")
        .def_readwrite("charger_loss_share", &L::charger_loss_share, "Of the charge power.");
    py::enum_<CoolingKind>(module, "CoolingKind", "Which of both a pack has.")
        .value("air", CoolingKind::air)
        .value("liquid", CoolingKind::liquid);
    py::enum_<CoolingSupply>(module, "CoolingSupply",
                             "Who pays for fans, pump, compressor and heater.")
        .value("pack", CoolingSupply::pack)
        .value("outside", CoolingSupply::outside);
    py::class_<CoolingSettings> settings(module, "CoolingSettings", "A way to cool.");
    add_keyword_constructor(settings);
    settings.def_readwrite("name", &CoolingSettings::name)
        .def_readwrite("kind", &CoolingSettings::kind)
        .def_readwrite("supply", &CoolingSettings::supply)
        .def_readwrite("air_temperature", &CoolingSettings::air_temperature)
        .def_readwrite("air", &CoolingSettings::air)
        .def_readwrite("liquid", &CoolingSettings::liquid);
    py::class_<PartUse>(module, "PartUse", "How much a part was used.")
        .def_readonly("on_s", &PartUse::on_s)
        .def_readonly("starts", &PartUse::starts, "Times it was switched on.");
    using T = CoolingTrace;
    py::class_<T> trace(module, "CoolingTrace", "What cooling did, one entry a call.");
    const auto column = [&](const char* name, std::vector<double> T::*field, const char* doc) {
        trace.def_property_readonly(
            name, [field](const T& self) { return to_array(self.*field); }, doc);
    };
    column("time_s", &T::time_s, "(n,)");
    column("air_degC", &T::air_degC, "(n,)");
    column("coolant_degC", &T::coolant_degC, "(n,) of the tank");
    column("flowing", &T::flowing, "(n,) 1 with pump or fan on");
    column("radiator_fan", &T::radiator_fan, "(n,) 1 with the fan on");
    column("chiller", &T::chiller, "(n,) 1 with the compressor on");
    column("heater", &T::heater, "(n,) 1 with the element on");
    trace.def_readonly("from_cells_J", &T::from_cells_J)
        .def_readonly("from_drive_J", &T::from_drive_J, "Drive and charger.")
        .def_readonly("from_heater_J", &T::from_heater_J)
        .def_readonly("to_radiator_J", &T::to_radiator_J)
        .def_readonly("to_chiller_J", &T::to_chiller_J)
        .def_readonly("kept_J", &T::kept_J, "In warmer coolant.")
        .def_readonly("electric_J", &T::electric_J, "Fans, pump, compressor, heater.")
        .def_readonly("flow_use", &T::flow_use, "Pump or fan past the cells.")
        .def_readonly("radiator_fan_use", &T::radiator_fan_use)
        .def_readonly("chiller_use", &T::chiller_use)
        .def_readonly("heater_use", &T::heater_use);
    py::class_<CoolingPlant>(module, "CoolingPlant", "A cooling model for simulate(cooling=...).")
        .def(py::init<const Pack&, const CoolingSettings&, bool>(), py::arg("pack"),
             py::arg("settings"), py::arg("each_cell") = true,
             "Raises DataError naming field, value and bound.")
        .def_property_readonly(
            "trace", [](const CoolingPlant& self) { return self.trace(); }, "What it did.");
    using W = WindowAnswer;
    py::class_<W>(module, "WindowAnswer", "How long a temperature window was left.")
        .def_readonly("kept", &W::kept)
        .def_readonly("below_s", &W::below_s)
        .def_readonly("above_s", &W::above_s)
        .def_readonly("first_left_s", &W::first_left_s, "-1: never.")
        .def_readonly("coldest_degC", &W::coldest_degC)
        .def_readonly("hottest_degC", &W::hottest_degC);
    py::class_<WarmUp>(module, "WarmUp", "How long a resting pack takes to warm.")
        .def_readonly("reached", &WarmUp::reached)
        .def_readonly("time_s", &WarmUp::time_s)
        .def_readonly("electric_J", &WarmUp::electric_J)
        .def_readonly("coldest_degC", &WarmUp::coldest_degC, "At the end.");
    py::class_<TemperatureWindow>(module, "TemperatureWindow",
                                  "The narrowest temperature window over the cells of a pack.")
        .def_readonly("low_degC", &TemperatureWindow::low_degC)
        .def_readonly("high_degC", &TemperatureWindow::high_degC);
    module.def("allowed_temperature", &allowed_temperature, py::arg("pack"), py::arg("charging"),
               "Window in which every cell of the pack may be charged, or discharged.");
    module.def("check_cooling", &check_cooling, py::arg("settings"),
               "Raise DataError, naming field, value and bound, unless the plant can be used.");
    module.def("load_cooling", &load_cooling, py::arg("path"),
               "Read and check a cooling plant from a JSON file "
               "(data/schema/cooling.schema.json).\n\nReturns\n-------\nCoolingSettings\n\n"
               "Raises\n------\nDataError\n    Naming the file and every field that is wrong.");
    module.def("parse_cooling", &parse_cooling, py::arg("text"), py::arg("source"),
               "Read a cooling plant from JSON text, as load_cooling does.");
    module.def("save_cooling", &save_cooling, py::arg("path"), py::arg("cooling"),
               "Write a cooling plant; the file appears complete or not at all.");
    module.def(
        "cooling_columns",
        [](const CoolingTrace& of, const Column& time_s) {
            py::typing::Dict<py::str, py::array_t<double>> all;
            for (const auto& [name, values] : cooling_columns(of, to_vector("time_s", time_s)))
                all[py::str(name)] = to_array(values);
            return all;
        },
        py::arg("trace"), py::arg("time_s"),
        "What cooling did at other times, by column name: air_degC and coolant_degC in straight "
        "lines between the calls; flowing, radiator_fan, chiller and heater (0 or 1) as they "
        "stood.\n\nParameters\n----------\ntrace : CoolingTrace\ntime_s : (n,) in s");
}

}  // namespace voltkeel::python
