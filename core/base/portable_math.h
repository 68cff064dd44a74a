// Functions that give the same bits on every IEEE 754 machine.
//
// The C library's sin, exp and log differ in the last bit from version to
// version. These use additions, multiplications, divisions and exact
// operations (floor, an exponent's bits) only, and rely on the build's
// -ffp-contract=off. Unless said otherwise errors stay below 4e-16
// relative, sine and cosine below 4e-16 absolute; the tests compare with the C library.
#pragma once

namespace tachproof::portable {

struct SineCosine {
  double sine;
  double cosine;
};
// Of an angle in turns: sine = sin(2 pi turns). Exact at quarter turns.
SineCosine sine_cosine_of_turns(double turns);

double exp(double x);              // |x| < 700
double exp_to_9_digits(double x);  // |x| < 700; within 3e-10 relative, in a third of the time
double log(double x);              // x > 0, normal

}  // namespace tachproof::portable
