#pragma once
// One field of a JSON object into a member.

#include <nlohmann/json.hpp>

namespace voltkeel::detail {

/// Takes the field where the object has it; otherwise the member keeps its value.
template <class Value>
void take(const nlohmann::json& object, const char* field, Value& value) {
    const auto found = object.find(field);
    if (found != object.end()) found->get_to(value);
}

}  // namespace voltkeel::detail
