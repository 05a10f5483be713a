/* The detector of the export, each filter section replaced by what check_highpass.c shows of it. */
#include "any_highpass.h"

#include "check_detector.c"
