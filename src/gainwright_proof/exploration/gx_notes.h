/*
 * Gainwright, exhaustive exploration: the first occurrence of everything that is noted.
 */
#ifndef GX_NOTES_H
#define GX_NOTES_H

#include "gx_search.h"

/* Return 0 if memory is short. */
int32_t gx_allocate_notes(gx_search *search);

void gx_note(gx_search *search, int32_t kind, uint32_t subject, uint32_t node, uint32_t vector);

/* What the outputs and requirements of a node show. */
void gx_note_moment(gx_search *search, const gw_sequencer *memory, uint32_t node);

/* For MC/DC of the rows: all literals but one hold. The conditions are checked by the way. */
void gx_note_single_misses(gx_search *search, const gw_sequencer *memory, uint32_t node);

void gx_note_saturated(gx_search *search, gw_variable_set saturated, uint32_t node,
                       uint32_t vector);

/* The code of a node must say everything: a variable left out would make two nodes one. Looked at in
 * every situation, where every variable that counts anything has a step that changes it. */
int32_t gx_code_is_whole(const gw_sequencer *memory, uint64_t code);

#endif
