// What makes a loop for AVX-512 use all of its 512 bits: GCC keeps to 256 unless it is told, and clang
// has no such word. For the end of a target attribute's text.
#pragma once

#ifdef __clang__
#define TACHPROOF_WIDEST_VECTORS ""
#else
#define TACHPROOF_WIDEST_VECTORS ",prefer-vector-width=512"
#endif
