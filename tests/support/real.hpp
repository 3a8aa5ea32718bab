#pragma once

/// \file
/// The scalar of tests that run on one scalar only. The preset `float` sets
/// VOLTKEEL_TEST_REAL=float, so that those tests see both; tests that loop over float and double
/// themselves do not need this.

#ifndef VOLTKEEL_TEST_REAL
#define VOLTKEEL_TEST_REAL double
#endif

namespace voltkeel_test {

using Real = VOLTKEEL_TEST_REAL;

}  // namespace voltkeel_test
