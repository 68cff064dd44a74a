#include "core/time.h"
