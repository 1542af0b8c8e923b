/* SPDX-License-Identifier: MIT */
#include "refusal.h"

#include "wire_codec.h"
#include "wire_gen.h"

struct refusal refusal_of_field(uint8_t field)
{
    if (field == WIRE_OK) {
        return refusal_none();
    }
    if (field == WIRE_WRONG_SIZE) {
        return refusal_of(WIRE_REFUSAL_UNKNOWN_MESSAGE, 0);
    }
    return refusal_of(WIRE_REFUSAL_OUT_OF_RANGE, field);
}
