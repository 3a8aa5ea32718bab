#include "bindings.hpp"
#include "voltkeel/io/pack_file.hpp"
#include "voltkeel/pack/string_split.hpp"

namespace voltkeel::python {

void bind_pack(py::module_& module) {
    using Layout = PackLayout<double>;
    py::class_<Layout> layout(module, "PackLayout",
                              "Groups in series and cells in parallel per group.");
    add_keyword_constructor(layout);
    layout.def_readwrite("series", &Layout::series).def_readwrite("parallel", &Layout::parallel);
    module.def("cell_count", &cell_count<double>, py::arg("layout"),
               "Number of cells in the pack.");
    module.def("cell_current_A", &cell_current_A<double>, py::arg("layout"),
               py::arg("pack_current_A"), "Current of each cell.");
    module.def("pack_current_A", &pack_current_A<double>, py::arg("layout"),
               py::arg("cell_current_A"), "Current of the pack.");
    module.def("pack_voltage_V", &pack_voltage_V<double>, py::arg("layout"),
               py::arg("group_voltage_V"), "Voltage of the pack.");
    module.def("pack_capacity_Ah", &pack_capacity_Ah<double>, py::arg("layout"),
               py::arg("cell_capacity_Ah"), "Capacity of the pack.");
    module.def("pack_power_W", &pack_power_W<double>, py::arg("layout"), py::arg("cell_power_W"),
               "Power of the pack.");
    module.def("cell_power_W", &cell_power_W<double>, py::arg("layout"), py::arg("pack_power_W"),
               "Power of each cell.");
    py::class_<PackModule> kind(module, "PackModule", "One kind of module.");
    add_keyword_constructor(kind);
    kind.def_readwrite("name", &PackModule::name)
        .def_readwrite("cell_file", &PackModule::cell_file, "Path from the folder of the file.")
        .def_readwrite("cell", &PackModule::cell)
        .def_readwrite("layout", &PackModule::layout)
        .def_readwrite("cell_link_ohm", &PackModule::cell_link_ohm, "Of each cell to its group.")
        .def_readwrite("interconnect_ohm", &PackModule::interconnect_ohm, "Between two groups.")
        .def_readwrite("group_link_W_per_K", &PackModule::group_link_W_per_K,
                       "Heat from case to case between neighbouring groups.")
        .def_readwrite("cell_link_W_per_K", &PackModule::cell_link_W_per_K,
                       "Heat from case to case between neighbouring cells of a group.");
    py::class_<Contactor> contactor(module, "Contactor", "What opens and closes a string.");
    add_keyword_constructor(contactor);
    contactor.def_readwrite("resistance_ohm", &Contactor::resistance_ohm)
        .def_readwrite("current_A", &Contactor::current_A, "Continuous rating.")
        .def_readwrite("voltage_V", &Contactor::voltage_V, "Rating; the string stays below.")
        .def_readwrite("making_current_A", &Contactor::making_current_A, "Most it may close on.")
        .def_readwrite("closed", &Contactor::closed, "At the start.");
    py::class_<Fuse> fuse(module, "Fuse", "What opens a string once and for all.");
    add_keyword_constructor(fuse);
    fuse.def_readwrite("resistance_ohm", &Fuse::resistance_ohm)
        .def_readwrite("current_A", &Fuse::current_A, "Continuous rating.")
        .def_readwrite("i2t_A2s", &Fuse::i2t_A2s,
                       "Of its maker at short times; 0: 20 s times the square of the rating.");
    module.def("fuse_time_constant_s", &fuse_time_constant_s, py::arg("fuse"),
               "Time constant of the fuse's element in s.");
    module.def(
        "fuse_opening_time_s", &fuse_opening_time_s, py::arg("fuse"), py::arg("current_A"),
        "Time after which a cold fuse opens at a held current; inf at its rating and below.");
    py::class_<PackString> string(module, "PackString", "Modules in series.");
    add_keyword_constructor(string);
    string.def_readwrite("name", &PackString::name)
        .def_readwrite("modules", &PackString::modules, "Names of kinds, from the negative end.")
        .def_readwrite("busbar_ohm", &PackString::busbar_ohm, "All busbars and cables together.")
        .def_readwrite("module_link_W_per_K", &PackString::module_link_W_per_K,
                       "Heat from case to case between neighbouring modules.")
        .def_readwrite("contactor", &PackString::contactor)
        .def_readwrite("fuse", &PackString::fuse);
    py::enum_<ChannelQuantity>(module, "ChannelQuantity", "What a channel measures.")
        .value("pack_current", ChannelQuantity::pack_current)
        .value("pack_voltage", ChannelQuantity::pack_voltage)
        .value("string_current", ChannelQuantity::string_current)
        .value("string_voltage", ChannelQuantity::string_voltage)
        .value("group_voltage", ChannelQuantity::group_voltage)
        .value("case_temperature", ChannelQuantity::case_temperature)
        .value("ambient_temperature", ChannelQuantity::ambient_temperature);
    py::class_<Channel> channel(module, "Channel", "A measuring channel.");
    add_keyword_constructor(channel);
    channel.def_readwrite("name", &Channel::name)
        .def_readwrite("quantity", &Channel::quantity)
        .def_readwrite("string", &Channel::string, "Empty for quantities of the pack.")
        .def_readwrite("first_group", &Channel::first_group)
        .def_readwrite("group_count", &Channel::group_count, "One value each.")
        .def_readwrite("cell", &Channel::cell, "Of the group, for temperatures.")
        .def_readwrite("interval_s", &Channel::interval_s)
        .def_readwrite("offset_s", &Channel::offset_s, "Time of the first value.");
    py::class_<BleedResistors> bleed(module, "BleedResistors", "One for every group.");
    add_keyword_constructor(bleed);
    bleed.def_readwrite("resistance_ohm", &BleedResistors::resistance_ohm)
        .def_readwrite("duty", &BleedResistors::duty, "Largest share of time, up to 1.")
        .def_readwrite("heat_to_cells", &BleedResistors::heat_to_cells,
                       "Share of its heat that warms its group's cells; the rest leaves the pack.");
    using Circuit = Precharge<double>;
    py::class_<Circuit> circuit(module, "Precharge", "How the link is charged first.");
    add_keyword_constructor(circuit);
    circuit.def_readwrite("resistance_ohm", &Circuit::resistance_ohm)
        .def_readwrite("capacitance_F", &Circuit::capacitance_F)
        .def_readwrite("complete_share", &Circuit::complete_share, "Closed on from here.");
    using Charged = PrechargeResult<double>;
    py::class_<Charged>(module, "PrechargeResult", "What one precharge takes.")
        .def_readonly("time_s", &Charged::time_s, "Until the share is reached.")
        .def_readonly("remaining_V", &Charged::remaining_V, "Across the contactor then.")
        .def_readonly("peak_current_A", &Charged::peak_current_A)
        .def_readonly("peak_power_W", &Charged::peak_power_W)
        .def_readonly("resistor_energy_J", &Charged::resistor_energy_J)
        .def_readonly("whole_energy_J", &Charged::whole_energy_J, "If it never closed.");
    module.def(
        "precharge",
        [](const Circuit& with, double difference_V) {
            Charged result;
            const Status status = precharge(with, difference_V, result);
            if (status != Status::ok) throw Error(std::string("precharge: ") + message(status));
            return result;
        },
        py::arg("circuit"), py::arg("difference_V"),
        "Work out a precharge over a voltage difference in V, any sign.\n\nRaises\n------\n"
        "DataError\n    For a circuit or difference that cannot be used.");
    py::class_<Pack> pack(module, "Pack", "Modules, strings, what joins them and is measured.");
    add_keyword_constructor(pack);
    pack.def_readwrite("name", &Pack::name);
    list_field(pack, "modules", &Pack::modules,
               "Kinds, each with a name of its own; set the list.");
    list_field(pack, "strings", &Pack::strings, "In parallel; set the list.");
    pack.def_readwrite("busbar_ohm", &Pack::busbar_ohm, "From the joint of the strings on.")
        .def_readwrite("bleed", &Pack::bleed, "BleedResistors or None.")
        .def_readwrite("precharge", &Pack::precharge, "Precharge or None.");
    list_field(pack, "channels", &Pack::channels, "What is measured; set the list.");
    pack.def_readwrite("notes", &Pack::notes);
    module.def("check", py::overload_cast<const Pack&>(&check), py::arg("pack"),
               "Check that a pack can be built; raises DataError naming field, value and bound.");
    module.def("single_string_pack", &single_string_pack, py::arg("name"), py::arg("cell_file"),
               py::arg("cell"), py::arg("layout"), "A pack of equal cells in one string.");
    module.def(
        "split_current",
        [](const Column& open_V, const Column& resistance_ohm, double current_A,
           const std::optional<std::vector<bool>>& closed) {
            const std::vector<double> open = to_vector("open_V", open_V);
            const std::vector<double> resistance = to_vector("resistance_ohm", resistance_ohm);
            if (open.empty() || resistance.size() != open.size() ||
                (closed && closed->size() != open.size())) {
                throw Error("open_V, resistance_ohm and closed: need one value for each string");
            }
            std::vector<StringSource<double>> strings;
            for (std::size_t k = 0; k < open.size(); ++k)
                strings.push_back({open[k], resistance[k], !closed || (*closed)[k]});
            std::vector<double> shares_A(open.size());
            double voltage_V = 0;
            const Status status = split_current(strings.data(), static_cast<int>(strings.size()),
                                                current_A, shares_A.data(), voltage_V);
            if (status != Status::ok) throw Error(std::string("split_current: ") + message(status));
            return py::make_tuple(to_array(shares_A), voltage_V);
        },
        py::arg("open_V"), py::arg("resistance_ohm"), py::arg("current_A"),
        py::arg("closed") = py::none(),
        "How the current of a pack divides between strings in parallel.\n\nParameters\n"
        "----------\nopen_V : (strings,) voltage without current\nresistance_ohm : (strings,)\n"
        "current_A : of the pack, positive when charging\nclosed : (strings,) contactors; None: "
        "all\n\nReturns\n-------\n(strings,) currents, and the voltage they share");
    module.def("equal_layout", &equal_layout, py::arg("pack"),
               "The counts of a pack whose groups are all alike; raises DataError otherwise.");
    module.def("module_named", &module_named, py::arg("pack"), py::arg("name"),
               "The kind of module with a name.");
    module.def("group_count", py::overload_cast<const Pack&>(&group_count), py::arg("pack"),
               "Groups of all strings.");
    module.def("group_count", py::overload_cast<const Pack&, const PackString&>(&group_count),
               py::arg("pack"), py::arg("string"), "Groups in series of a string.");
    module.def("cell_count", static_cast<int (*)(const Pack&)>(&cell_count), py::arg("pack"),
               "Cells of all strings.");
    module.def("load_pack", &load_pack, py::arg("path"),
               "Read and check a pack.json and the cell files it names.");
    module.def("save_pack", &save_pack, py::arg("path"), py::arg("pack"),
               "Write a pack.json; the file appears complete or not at all.");
}

}  // namespace voltkeel::python
