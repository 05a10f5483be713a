/* The control tick of the export, each filter section replaced by what check_highpass.c shows of it. */
#include "any_highpass.h"

#include "gw_axis_control.c"
