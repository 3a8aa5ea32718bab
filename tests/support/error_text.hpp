#pragma once
// What a call that should fail has to say.

#include <string>

#include "voltkeel/error.hpp"

namespace voltkeel_test {

/// What `action` has to say when it fails; empty when it does not.
template <class Action>
[[nodiscard]] std::string error_text(Action&& action) {
    try {
        action();
    } catch (const voltkeel::Error& error) {
        return error.what();
    }
    return {};
}

}  // namespace voltkeel_test
