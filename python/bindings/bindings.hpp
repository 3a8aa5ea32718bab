#pragma once
/// \file bindings.hpp
/// What the binding files share: one function a floor, and arrays in and out.

#include <pybind11/functional.h>
#include <pybind11/numpy.h>
#include <pybind11/pybind11.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>
#include <pybind11/typing.h>

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/error.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel::python {

namespace py = pybind11;

/// A column of numbers: list, NumPy array, or a column of a data frame.
using Column = py::array_t<double, py::array::c_style | py::array::forcecast>;

/// \throws Error with `what` and the status in words, unless it is ok.
inline void need(Status status, const char* what) {
    if (status != Status::ok) throw Error(std::string(what) + ": " + message(status));
}
/// \throws Error naming field, value and bound, unless all was found well.
inline void need(const Finding<double>& finding) {
    if (finding.status == Status::ok) return;
    throw Error(std::string(finding.field) + ": " + std::to_string(finding.value) +
                " against the bound " + std::to_string(finding.bound) + ": " +
                message(finding.status));
}

/// Copies a one-dimensional column. \throws Error naming `field` when it has another shape.
inline std::vector<double> to_vector(const char* field, const Column& column) {
    if (column.ndim() != 1) {
        throw Error(std::string(field) + ": has " + std::to_string(column.ndim()) +
                    " dimensions, needs 1");
    }
    return {column.data(), column.data() + column.size()};
}

/// A NumPy array of its own.
template <class T>
py::array_t<T> to_array(const std::vector<T>& values) {
    return py::array_t<T>(static_cast<py::ssize_t>(values.size()), values.data());
}

/// A two-dimensional NumPy array from rows of equal length.
inline py::array_t<double> to_array(const std::vector<std::vector<double>>& rows) {
    const auto columns = rows.empty() ? 0U : rows.front().size();
    py::array_t<double> result({rows.size(), columns});
    auto out = result.mutable_unchecked<2>();
    for (std::size_t r = 0; r < rows.size(); ++r) {
        if (rows[r].size() != columns) throw Error("rows of a grid have different lengths");
        for (std::size_t c = 0; c < columns; ++c) {
            out(static_cast<py::ssize_t>(r), static_cast<py::ssize_t>(c)) = rows[r][c];
        }
    }
    return result;
}

/// (size, size) covariance of a filter.
template <class Filter>
py::array_t<double> covariance_of(const Filter& filter) {
    py::array_t<double> result({Filter::size, Filter::size});
    auto out = result.mutable_unchecked<2>();
    for (int i = 0; i < Filter::size; ++i) {
        for (int k = 0; k < Filter::size; ++k)
            out(i, k) = filter.state().covariance(i, k);
    }
    return result;
}

/// Rows from a two-dimensional array.
inline std::vector<std::vector<double>> to_rows(const Column& grid) {
    if (grid.ndim() != 2)
        throw Error("a grid has " + std::to_string(grid.ndim()) + " dimensions, needs 2");
    std::vector<std::vector<double>> rows(static_cast<std::size_t>(grid.shape(0)));
    const auto view = grid.unchecked<2>();
    for (std::size_t r = 0; r < rows.size(); ++r) {
        for (py::ssize_t c = 0; c < grid.shape(1); ++c)
            rows[r].push_back(view(static_cast<py::ssize_t>(r), c));
    }
    return rows;
}

/// A constructor that takes the fields of a plain struct as keywords; an unknown keyword is a
/// TypeError.
template <class Struct, class... Options>
void add_keyword_constructor(py::class_<Struct, Options...>& type) {
    type.def(
        py::init([](const py::KWArgs<py::object>& fields) {
            auto result = std::make_unique<Struct>();
            py::object view = py::cast(result.get(), py::return_value_policy::reference);
            for (const auto& field : fields) {
                if (!py::hasattr(view, field.first)) {
                    throw py::type_error("no field '" + py::cast<std::string>(field.first) + "'");
                }
                py::setattr(view, field.first, field.second);
            }
            return result;
        }),
        "Every field can be given as a keyword; the others keep their default.");
}

/// Binds a vector of structs as a list of copies: a reference into the vector would dangle as soon
/// as the vector is set again.
template <class Type, class Struct, class Element>
void list_field(Type& type, const char* name, std::vector<Element> Struct::*field,
                const char* doc) {
    type.def_property(
        name, [field](const Struct& self) { return std::vector<Element>(self.*field); },
        [field](Struct& self, const std::vector<Element>& values) { self.*field = values; }, doc);
}

/// What Python may hand in to watch long work: called with the share done (and a stage). Returning
/// False cancels, returning nothing goes on.
template <class... Arguments>
using Progress = std::optional<std::function<std::optional<bool>(Arguments...)>>;

/// The same as the library takes it; empty when there is none. `progress` must outlive it.
template <class... Arguments>
std::function<bool(Arguments...)> keep_going(const Progress<Arguments...>& progress) {
    if (!progress) return {};
    return [&progress](Arguments... arguments) { return (*progress)(arguments...).value_or(true); };
}

/// Binds a vector field as a NumPy array (a copy in each direction).
template <class Type, class Struct>
void array_field(Type& type, const char* name, std::vector<double> Struct::*field,
                 const char* doc) {
    type.def_property(
        name, [field](const Struct& self) { return to_array(self.*field); },
        [field, name](Struct& self, const Column& column) {
            self.*field = to_vector(name, column);
        },
        doc);
}

/// Binds a grid field as a two-dimensional NumPy array (a copy in each direction).
template <class Type, class Struct>
void grid_field(Type& type, const char* name, std::vector<std::vector<double>> Struct::*field,
                const char* doc) {
    type.def_property(
        name, [field](const Struct& self) { return to_array(self.*field); },
        [field](Struct& self, const Column& grid) { self.*field = to_rows(grid); }, doc);
}

void bind_io(py::module_& module);
void bind_cell(py::module_& module);
void bind_pack(py::module_& module);
void bind_estimate(py::module_& module);
void bind_capacity(py::module_& module);
void bind_pack_state(py::module_& module);
void bind_sigma_filter(py::module_& module);
void bind_group_filters(py::module_& module);
void bind_parallel_strings(py::module_& module);
void bind_sensor_checks(py::module_& module);
void bind_age(py::module_& module);
void bind_limits(py::module_& module);
void bind_pack_limits(py::module_& module);
void bind_group_replay(py::module_& module);
void bind_charge_plan(py::module_& module);
void bind_supply(py::module_& module);
void bind_charge(py::module_& module);
void bind_charge_times(py::module_& module);
void bind_pack_charge(py::module_& module);
void bind_range(py::module_& module);
void bind_charge_control(py::module_& module);
void bind_balancing_plan(py::module_& module);
void bind_fit(py::module_& module);
void bind_thermal(py::module_& module);
void bind_log_check(py::module_& module);
void bind_charge_test(py::module_& module);
void bind_refine(py::module_& module);
void bind_simulate_load(py::module_& module);
void bind_simulate(py::module_& module);
void bind_cooling(py::module_& module);
void bind_sensors(py::module_& module);

}  // namespace voltkeel::python
