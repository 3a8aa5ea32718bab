#include "bindings.hpp"
#include "voltkeel/version.hpp"

PYBIND11_MODULE(_voltkeel, module) {
    using namespace voltkeel::python;
    module.doc() =
        "Compiled part of voltkeel: the same code as the C++ library, with the same names.";
    module.attr("__version__") = voltkeel::version;
    py::register_exception<voltkeel::Error>(module, "DataError", PyExc_ValueError).doc() =
        "Data or a setting cannot be used; the text names file, line, field, value and bound.";
    // Structs first, so that signatures name them.
    bind_charge_plan(module);
    bind_cell(module);
    bind_io(module);
    bind_pack(module);
    bind_sensor_checks(module);
    bind_estimate(module);
    bind_sigma_filter(module);
    bind_capacity(module);
    bind_age(module);
    bind_pack_state(module);
    bind_group_filters(module);
    bind_parallel_strings(module);
    bind_limits(module);
    bind_pack_limits(module);
    bind_group_replay(module);
    bind_supply(module);
    bind_charge(module);
    bind_charge_times(module);
    bind_pack_charge(module);
    bind_range(module);
    bind_charge_control(module);
    bind_balancing_plan(module);
    bind_charge_test(module);
    bind_log_check(module);
    bind_fit(module);
    bind_thermal(module);
    bind_refine(module);
    bind_simulate_load(module);
    bind_cooling(module);
    bind_simulate(module);
    bind_sensors(module);
}
