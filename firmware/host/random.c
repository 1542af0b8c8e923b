/* SPDX-License-Identifier: MIT */
/* Runs the fuzz target on random inputs, the same for the same seed, without libFuzzer: random SEED RUNS */
#include <stdio.h>
#include <stdlib.h>

#include "oracle.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define INPUT_BYTES 256U

int main(int count, char **arguments)
{
    if (count != 3) {
        fprintf(stderr, "usage: random SEED RUNS\n");
        return 2;
    }
    uint64_t state = strtoull(arguments[1], NULL, 10) * 2654435761U + 88172645463325252ULL;
    unsigned long runs = strtoul(arguments[2], NULL, 10);
    uint64_t dangerous = 0;
    for (unsigned long run = 0; run < runs; run++) {
        uint8_t input[INPUT_BYTES];
        for (unsigned i = 0; i < INPUT_BYTES; i++) {
            state ^= state << 13; /* xorshift64: Marsaglia, J. Stat. Softw. 8 (14), 2003 */
            state ^= state >> 7;
            state ^= state << 17;
            input[i] = (uint8_t)(state >> 32);
        }
        LLVMFuzzerTestOneInput(input, INPUT_BYTES);
        dangerous += oracle_dangerous();
    }
    printf("%lu runs, %llu times a hazardous channel was energised\n", runs, (unsigned long long)dangerous);
    return dangerous == 0;
}
