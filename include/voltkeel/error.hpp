#pragma once
/// \file
/// The exception of the desktop floors (fit, io, simulate). The controller floors never include
/// this header: they return `Status` (voltkeel/status.hpp).

#include <stdexcept>

namespace voltkeel {

/// What every desktop function throws when it cannot do its work. The text is for people: it names
/// the file, the line, the field, the value and the bound, as far as there are any. A call that
/// throws has changed nothing.
class Error : public std::runtime_error {
  public:
    using std::runtime_error::runtime_error;
};

}  // namespace voltkeel
