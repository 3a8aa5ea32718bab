#include "bindings.hpp"
#include "voltkeel/simulate/propeller.hpp"
#include "voltkeel/simulate/road_load.hpp"
#include "voltkeel/simulate/speed_trace.hpp"
#include "voltkeel/simulate/vehicle_file.hpp"

namespace voltkeel::python {
namespace {

/// Binds a vector that a call returns as a read-only NumPy array.
template <class Type, class Struct>
void read_only_array(Type& type, const char* name, std::vector<double> Struct::*field,
                     const char* doc) {
    type.def_property_readonly(
        name, [field](const Struct& self) { return to_array(self.*field); }, doc);
}

void bind_speed_trace(py::module_& module) {
    py::enum_<SpeedUnit>(module, "SpeedUnit", "Unit of a column that is called 'speed'.")
        .value("from_name", SpeedUnit::from_name)
        .value("m_per_s", SpeedUnit::m_per_s)
        .value("km_per_h", SpeedUnit::km_per_h)
        .value("mi_per_h", SpeedUnit::mi_per_h)
        .value("kn", SpeedUnit::kn);
    py::class_<SpeedTrace> trace(module, "SpeedTrace",
                                 "Speed over time, straight lines between the rows.");
    add_keyword_constructor(trace);
    array_field(trace, "time_s", &SpeedTrace::time_s, "(n,) strictly increasing");
    array_field(trace, "speed_m_per_s", &SpeedTrace::speed_m_per_s, "(n,) 0 .. 150");
    array_field(trace, "grade", &SpeedTrace::grade,
                "(n,) rise over run of the way that ends in the row, or empty: level");
    trace.def_readwrite("source", &SpeedTrace::source, "The file, for messages.")
        .def("__len__", &SpeedTrace::size);
    module.def("read_speed_trace", &read_speed_trace, py::arg("path"),
               py::arg_v("unit", SpeedUnit::from_name, "SpeedUnit.from_name"),
               "Read a speed trace from a CSV file.\n\n"
               "Parameters\n----------\npath : file with a column time_s, one of speed_m_per_s, "
               "speed_km_per_h, speed_mi_per_h, speed_kn or speed, and perhaps grade\n"
               "unit : SpeedUnit; of a column called speed; a column whose name says another is "
               "refused\n\nReturns\n-------\nSpeedTrace\n\n"
               "Raises\n------\nDataError\n    Naming file, line and column.");
    module.def("parse_speed_trace", &parse_speed_trace, py::arg("text"), py::arg("source"),
               py::arg_v("unit", SpeedUnit::from_name, "SpeedUnit.from_name"),
               "Read a speed trace from CSV text, as read_speed_trace does.");
    module.def("check_speed_trace", &check_speed_trace, py::arg("trace"),
               "Raise DataError unless the trace can be used.");
    module.def("distance_m", &distance_m, py::arg("trace"),
               "Distance along a trace in m, exact for straight lines between the rows.");
}

void bind_road(py::module_& module) {
    module.attr("standard_gravity_m_per_s2") = standard_gravity_m_per_s2;
    py::class_<CoastDown> coast_down(
        module, "CoastDown",
        "Resistance found by letting a vehicle coast on a level road: A + B v + C v^2.");
    add_keyword_constructor(coast_down);
    coast_down.def_readwrite("a_N", &CoastDown::a_N)
        .def_readwrite("b_N_s_per_m", &CoastDown::b_N_s_per_m)
        .def_readwrite("c_N_s2_per_m2", &CoastDown::c_N_s2_per_m2);

    py::class_<EfficiencyCurve> curve(
        module, "EfficiencyCurve",
        "Efficiency over the mechanical power as a fraction of a rated power, straight lines "
        "between the points, held outside.");
    add_keyword_constructor(curve);
    array_field(curve, "power_fraction", &EfficiencyCurve::power_fraction, "(n,) rising, 0 .. 1");
    array_field(curve, "efficiency", &EfficiencyCurve::efficiency, "(n,) above 0 .. 1");
    curve.def("at", &EfficiencyCurve::at, py::arg("fraction"), "Efficiency at a fraction.");
    module.def("check_efficiency_curve", &check_efficiency_curve, py::arg("field"),
               py::arg("curve"),
               "Raise DataError, naming field, value and bound, unless the curve can be used.");
    module.def("motor_fraction", &motor_fraction, py::arg("curve"), py::arg("electric_fraction"),
               "Mechanical power at which a motor takes an electric one, both as fractions of the "
               "rated power.");
    module.def("generator_fraction", &generator_fraction, py::arg("curve"),
               py::arg("electric_fraction"),
               "Mechanical power at which a generator gives an electric one, both as fractions of "
               "the rated power.");
    using V = RoadVehicle;
    py::class_<V> vehicle(module, "RoadVehicle", "A road vehicle as the pack feels it.");
    add_keyword_constructor(vehicle);
    vehicle.def_readwrite("name", &V::name)
        .def_readwrite("mass_kg", &V::mass_kg, "Laden.")
        .def_readwrite("rotating_mass_factor", &V::rotating_mass_factor, "Inertia over mass.")
        .def_readwrite("rolling_resistance", &V::rolling_resistance, "Force over weight.")
        .def_readwrite("drag_area_m2", &V::drag_area_m2, "Drag coefficient times frontal area.")
        .def_readwrite("air_density_kg_per_m3", &V::air_density_kg_per_m3)
        .def_readwrite("coast_down", &V::coast_down,
                       "CoastDown or None; replaces rolling resistance and drag.")
        .def_readwrite("drive_efficiency", &V::drive_efficiency, "From pack to wheels.")
        .def_readwrite("regeneration_efficiency", &V::regeneration_efficiency,
                       "From wheels to pack.")
        .def_readwrite("drive_efficiency_curve", &V::drive_efficiency_curve,
                       "EfficiencyCurve over the power at the wheels by drive_power_max_W, or "
                       "None; replaces drive_efficiency.")
        .def_readwrite("regeneration_efficiency_curve", &V::regeneration_efficiency_curve,
                       "The same for regeneration_efficiency.")
        .def_readwrite("regeneration_share", &V::regeneration_share,
                       "Of the braking power that the drive takes, 0 .. 1.")
        .def_readwrite("regeneration_start_m_per_s", &V::regeneration_start_m_per_s,
                       "Nothing comes back up to this speed.")
        .def_readwrite("regeneration_full_m_per_s", &V::regeneration_full_m_per_s,
                       "The whole share comes back from this speed on.")
        .def_readwrite("regeneration_power_max_W", &V::regeneration_power_max_W, "Into the pack.")
        .def_readwrite("drive_power_max_W", &V::drive_power_max_W, "Out of the pack.")
        .def_readwrite("auxiliary_power_W", &V::auxiliary_power_W, "Out of the pack, always.");

    using E = RoadEnergy;
    py::class_<E>(module, "RoadEnergy", "Energies over a trace in Wh.")
        .def_readonly("traction_Wh", &E::traction_Wh, "At the wheels while driving.")
        .def_readonly("braking_Wh", &E::braking_Wh, "At the wheels while braking.")
        .def_readonly("friction_brake_Wh", &E::friction_brake_Wh, "Turned into heat by brakes.")
        .def_readonly("resistance_Wh", &E::resistance_Wh, "Rolling; A and B of a coast-down.")
        .def_readonly("drag_Wh", &E::drag_Wh, "Of the air; C of a coast-down.")
        .def_readonly("climb_Wh", &E::climb_Wh, "Signed, positive uphill.")
        .def_readonly("kinetic_Wh", &E::kinetic_Wh, "Signed: of the end less that of the start.")
        .def_readonly("shortfall_Wh", &E::shortfall_Wh, "At the wheels: left undone by the bound.")
        .def_readonly("delivered_Wh", &E::delivered_Wh, "At the wheels: by the drive, of traction.")
        .def_readonly("taken_Wh", &E::taken_Wh, "At the wheels: by the drive, of braking.")
        .def_readonly("drive_Wh", &E::drive_Wh, "Out of the pack for driving.")
        .def_readonly("regenerated_Wh", &E::regenerated_Wh, "Into the pack by braking.")
        .def_readonly("auxiliary_Wh", &E::auxiliary_Wh, "Out of the pack.")
        .def_readonly("net_Wh", &E::net_Wh, "Of the pack, positive charges.");

    py::class_<RoadLoad> load(module, "RoadLoad",
                              "What a trace asks of the pack; powers are means over the step that "
                              "ends in the row.");
    read_only_array(load, "time_s", &RoadLoad::time_s, "(n,)");
    read_only_array(load, "speed_m_per_s", &RoadLoad::speed_m_per_s, "(n,) at the row");
    read_only_array(load, "power_W", &RoadLoad::power_W, "(n,) of the pack, positive charges");
    read_only_array(load, "traction_power_W", &RoadLoad::traction_power_W,
                    "(n,) at the wheels, positive drives");
    read_only_array(load, "shortfall_W", &RoadLoad::shortfall_W,
                    "(n,) at the wheels: asked, but above the drive's bound");
    load.def_readonly("distance_m", &RoadLoad::distance_m)
        .def_readonly("energy", &RoadLoad::energy);

    module.def("check_road_vehicle", &check_road_vehicle, py::arg("vehicle"),
               "Raise DataError, naming field, value and bound, unless the vehicle can be used.");
    module.def("traction_force_N", &traction_force_N, py::arg("vehicle"), py::arg("speed_m_per_s"),
               py::arg("acceleration_m_per_s2") = 0.0, py::arg("grade") = 0.0,
               "Force at the wheels in N, positive drives; grade is rise over run. Raises "
               "DataError out of bounds.");
    module.def("road_pack_power_W", &road_pack_power_W, py::arg("vehicle"),
               py::arg("traction_power_W"), py::arg("speed_m_per_s"),
               "Power of the pack in W, positive charges, for a power at the wheels (positive "
               "drives). Raises DataError out of bounds.");
    module.def(
        "road_load",
        [](const RoadVehicle& of, const SpeedTrace& along, const Progress<double>& progress) {
            return road_load(of, along, keep_going(progress));
        },
        py::arg("vehicle"), py::arg("trace"), py::arg("progress") = py::none(),
        "Compute the power that a speed trace asks of the pack.\n\n"
        "Parameters\n----------\nvehicle : RoadVehicle\ntrace : SpeedTrace\n"
        "progress : callable(share) or None; returning False cancels\n\n"
        "Returns\n-------\nRoadLoad\n    The trace is taken as driven even where the drive cannot; "
        "see shortfall_W.\n\nRaises\n------\nDataError\n    For a vehicle or trace that cannot be "
        "used, or when cancelled.");
}

void bind_propeller(py::module_& module) {
    using B = Boat;
    py::class_<B> boat(module, "Boat",
                       "A boat as the pack feels it: shaft power = reference power (speed / "
                       "reference speed)^exponent.");
    add_keyword_constructor(boat);
    boat.def_readwrite("name", &B::name)
        .def_readwrite("reference_speed_m_per_s", &B::reference_speed_m_per_s, "Through the water.")
        .def_readwrite("reference_shaft_power_W", &B::reference_shaft_power_W, "At that speed.")
        .def_readwrite("exponent", &B::exponent, "3 for a displacement hull below hull speed.")
        .def_readwrite("drive_efficiency", &B::drive_efficiency, "From pack to shaft.")
        .def_readwrite("drive_efficiency_curve", &B::drive_efficiency_curve,
                       "EfficiencyCurve over shaft power by shaft_power_max_W, or None; replaces "
                       "drive_efficiency.")
        .def_readwrite("shaft_power_max_W", &B::shaft_power_max_W, "Of the motor.")
        .def_readwrite("auxiliary_power_W", &B::auxiliary_power_W, "Out of the pack, always.");
    using L = PropellerLoad;
    py::class_<L> load(module, "PropellerLoad",
                       "What a trace asks of the pack; powers are means over the step that ends "
                       "in the row.");
    read_only_array(load, "time_s", &L::time_s, "(n,)");
    read_only_array(load, "speed_m_per_s", &L::speed_m_per_s, "(n,) through the water");
    read_only_array(load, "power_W", &L::power_W, "(n,) of the pack, positive charges");
    read_only_array(load, "shaft_power_W", &L::shaft_power_W, "(n,) positive drives");
    read_only_array(load, "shortfall_W", &L::shortfall_W,
                    "(n,) at the shaft: asked, but above the motor's bound");
    load.def_readonly("distance_m", &L::distance_m, "Through the water.")
        .def_readonly("shaft_Wh", &L::shaft_Wh, "Delivered at the shaft.")
        .def_readonly("shortfall_Wh", &L::shortfall_Wh, "Not delivered.")
        .def_readonly("drive_Wh", &L::drive_Wh, "Out of the pack for the shaft.")
        .def_readonly("auxiliary_Wh", &L::auxiliary_Wh, "Out of the pack.")
        .def_readonly("net_Wh", &L::net_Wh, "Of the pack, positive charges: negative here.");
    module.def("check_boat", &check_boat, py::arg("boat"),
               "Raise DataError, naming field, value and bound, unless the boat can be used.");
    module.def("shaft_power_W", &shaft_power_W, py::arg("boat"), py::arg("speed_m_per_s"),
               "Shaft power in W that a speed asks for, whatever the motor can. Raises DataError "
               "out of bounds.");
    module.def("propeller_exponent", &propeller_exponent, py::arg("speed_1_m_per_s"),
               py::arg("power_1_W"), py::arg("speed_2_m_per_s"), py::arg("power_2_W"),
               "Exponent of the propeller law through two speeds of a trial, in either order. "
               "Raises DataError.");
    module.def(
        "propeller_load",
        [](const Boat& of, const SpeedTrace& along, const Progress<double>& progress) {
            return propeller_load(of, along, keep_going(progress));
        },
        py::arg("boat"), py::arg("trace"), py::arg("progress") = py::none(),
        "Compute the power that a trace of the speed through the water asks of the pack.\n\n"
        "Parameters\n----------\nboat : Boat\ntrace : SpeedTrace without a grade\n"
        "progress : callable(share) or None; returning False cancels\n\n"
        "Returns\n-------\nPropellerLoad\n\nRaises\n------\nDataError\n    For a boat or trace "
        "that cannot be used, or when cancelled.");
}

}  // namespace

void bind_simulate_load(py::module_& module) {
    bind_speed_trace(module);
    bind_road(module);
    bind_propeller(module);
    module.def("load_vehicle", &load_vehicle, py::arg("path"),
               "Read and check a vehicle.json; gives a RoadVehicle or a Boat.");
    module.def("parse_vehicle", &parse_vehicle, py::arg("text"), py::arg("source"),
               "Read a vehicle from JSON text, as load_vehicle does.");
    module.def("save_vehicle", &save_vehicle, py::arg("path"), py::arg("vehicle"),
               "Write a vehicle.json; the file appears complete or not at all.");
}

}  // namespace voltkeel::python
