#include "bindings.hpp"
#include "voltkeel/io/pack_file.hpp"

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
    py::class_<Pack> pack(module, "Pack", "One pack: its layout and the cell it is made of.");
    add_keyword_constructor(pack);
    pack.def_readwrite("name", &Pack::name)
        .def_readwrite("cell_file", &Pack::cell_file)
        .def_readwrite("cell", &Pack::cell)
        .def_readwrite("layout", &Pack::layout)
        .def_readwrite("notes", &Pack::notes);
    module.def("load_pack", &load_pack, py::arg("path"),
               "Read and check a pack.json and the cell file it names.");
    module.def("save_pack", &save_pack, py::arg("path"), py::arg("pack"),
               "Write a pack.json; the file appears complete or not at all.");
}

}  // namespace voltkeel::python
