/* Checks of everything that needs a machine's tables: see check_axis.c. */
#ifndef CHECK_AXIS_H
#define CHECK_AXIS_H

#include "check_limits.h"
#include "gw_axis.h"

/* Generated from the promised ranges: any promised value, and whether it is still promised. */
void gw_any_detector(gw_detector *detector);
void gw_any_evidence(gw_evidence *evidence);
void gw_any_pulse(gw_pulse *pulse);
void gw_check_detector(const gw_detector *detector);
void gw_check_pulse(const gw_pulse *pulse);
void gw_any_highpass_coefficients(gw_highpass_coefficients *coefficients);
void gw_any_highpass_past(gw_highpass_past *past);
void gw_check_highpass_past(const gw_highpass_past *past);
void gw_any_band(gw_band *band);
void gw_check_band(const gw_band *band);
void gw_any_level_settings(gw_level_settings *settings);

void gw_check_products(void);
void gw_check_highpass(void);
void gw_check_filter(void);
void gw_check_block(void);
void gw_check_control_tick(void);
void gw_check_evidence_change(void);
void gw_check_evidence_findings(void);
void gw_check_pulse_sample(void);
void gw_check_sequencer_tick(void);
void gw_check_gain(void);
void gw_check_axis_all(void);

#endif
