/* SPDX-License-Identifier: MIT */
/* A refusal: why a request is not carried out. */
#ifndef LOOMPROOF_REFUSAL_H
#define LOOMPROOF_REFUSAL_H

#include <stdint.h>

/* Reason 0 = none, the request may be carried out. */
struct refusal {
    uint8_t reason; /* enum wire_refusal */
    uint32_t detail;
};

#define REFUSAL_NONE 0U

static inline struct refusal refusal_of(uint8_t reason, uint32_t detail)
{
    struct refusal refusal = {reason, detail};
    return refusal;
}

static inline struct refusal refusal_none(void)
{
    return refusal_of(REFUSAL_NONE, 0);
}

/* What a decoder returned, as a refusal. */
struct refusal refusal_of_field(uint8_t field);

#endif
