#include "voltkeel/io/pack_charge.hpp"

#include "bindings.hpp"
#include "charge_curve.hpp"

namespace voltkeel::python {

void bind_pack_charge(py::module_& module) {
    using Outlook = PackChargeOutlook;
    using Point = PackChargePoint;
    py::class_<Outlook>(module, "PackChargeOutlook", "How the charge of a pack goes.")
        .def_readonly(
            "forecast", &Outlook::forecast,
            "ChargeForecast; charge, energies and end current of the pack, end_soc of the "
            "group that decides, temperatures of the hottest.")
        .def_property_readonly("message", [](const Outlook& o) { return message(o.status); })
        .def_readonly("group", &Outlook::group, "Which decides at the end.")
        .def_readonly("weakest_group", &Outlook::weakest_group, "With the least charge at the end.")
        .def_readonly("weakest_soc", &Outlook::weakest_soc)
        .def_readonly("handovers", &Outlook::handovers, "How often the deciding group changed.")
        .def_readonly("earliest_s", &Outlook::earliest_s)
        .def_readonly("latest_s", &Outlook::latest_s)
        .def_property_readonly(
            "curve",
            [](const Outlook& o) {
                Columns result;
                result["time_s"] = column_of(o.curve, &Point::time_s);
                result["current_A"] = column_of(o.curve, &Point::current_A);
                result["voltage_V"] = column_of(o.curve, &Point::voltage_V);
                result["group_voltage_min_V"] = column_of(o.curve, &Point::group_voltage_min_V);
                result["group_voltage_max_V"] = column_of(o.curve, &Point::group_voltage_max_V);
                result["temperature_min_degC"] = column_of(o.curve, &Point::temperature_min_degC);
                result["temperature_max_degC"] = column_of(o.curve, &Point::temperature_max_degC);
                result["soc_min"] = column_of(o.curve, &Point::soc_min);
                result["soc_max"] = column_of(o.curve, &Point::soc_max);
                result["phase"] = column_of(o.curve, &Point::phase);
                result["group"] = column_of(o.curve, &Point::group);
                result["held_back_by"] = column_of(o.curve, &Point::held_back_by);
                return result;
            },
            "dict of arrays: time_s, current_A and voltage_V of the pack, lowest and highest group "
            "voltage, temperature and SOC, phase, group that decides, held_back_by (LimitReason)");
    module.def(
        "pack_charge", &pack_charge_band, py::arg("pack"), py::arg("groups"), py::arg("plan"),
        py::arg("what"), py::arg("sigmas") = 1.96,
        "The charge of a pack of unequal groups: the group with the highest voltage decides, "
        "the others take the same current.\n\n"
        "Parameters\n----------\npack : Pack, strings of equal counts\n"
        "groups : GroupState of every group, string by string, or one for all\n"
        "plan : ChargePlan of one cell\n"
        "what : ChargeCase; supply_current_A of one cell, counts of its supply are not read\n"
        "sigmas : half width of the band from the groups' standard deviations\n\n"
        "Returns\n-------\nPackChargeOutlook");
    py::class_<PackDeparture>(module, "PackDeparture", "The least current that is ready in time.")
        .def_readonly("current_A", &PackDeparture::current_A, "Of one cell.")
        .def_readonly("charge", &PackDeparture::charge)
        .def_property_readonly("in_time",
                               [](const PackDeparture& d) { return d.status == Status::ok; })
        .def_property_readonly("message", [](const PackDeparture& d) { return message(d.status); });
    module.def("least_pack_charge_current", &least_pack_charge_current, py::arg("pack"),
               py::arg("groups"), py::arg("plan"), py::arg("what"), py::arg("ready_s"),
               py::arg("sigmas") = 1.96, py::arg("tolerance") = 0.002,
               "The least current of a cell with which the late end of the pack's band is ready in "
               "`ready_s`.\n\nReturns\n-------\nPackDeparture");
}

}  // namespace voltkeel::python
